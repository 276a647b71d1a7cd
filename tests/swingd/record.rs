//! The commands of the record, as a user runs them: without a service, and with one in the same folder.

use crate::support::serving::Serving;
use crate::support::{Folder, Ran};
use serde_json::Value;

/// The bundled lesson, by its whole path.
fn lesson() -> String {
    format!("{}/replay-data/lesson.mcap", env!("CARGO_MANIFEST_DIR"))
}

/// `words` on a data folder of the test's own; nothing of the machine's user counts.
fn run(folder: &Folder, words: &[&str]) -> Ran {
    let file = folder.path("swingd.toml");
    std::fs::write(&file, "[data]\nfolder = \"kept\"\n[log]\nto_file = false\n[recording]\nnear_full_mb = 1\n")
        .unwrap();
    folder.run_with(words, &[("SWINGD_CONFIG", file.to_str().unwrap()), ("TZ", "UTC")])
}

/// The same, and that all was well.
fn well(folder: &Folder, words: &[&str]) -> String {
    let ran = run(folder, words);
    assert_eq!(ran.status, 0, "{words:?}: {} {}", ran.out, ran.err);
    ran.out
}

/// One line on standard error, status 1, and nothing on standard output.
fn refused(folder: &Folder, words: &[&str]) -> String {
    let ran = run(folder, words);
    assert_eq!((ran.status, ran.out.as_str(), ran.err.lines().count()), (1, "", 1), "{words:?}: {}", ran.err);
    ran.err
}

fn json(folder: &Folder, words: &[&str]) -> Value {
    serde_json::from_str(well(folder, words).lines().next().unwrap()).unwrap()
}

/// Everything a user does with an athlete's practice, from entering to erasing.
fn all_of_it(folder: &Folder) {
    well(folder, &["athletes", "add", "Wren", "--bats", "right", "--birth-year", "2009"]);
    assert!(well(folder, &["athletes"]).lines().any(|line| line.starts_with("Wren") && line.contains("right")));
    let (lesson, begun) = (lesson(), "2026-11-20T18:00:00Z");
    let tee = ["--drill", "high tee", "--ball-source", "tee"];
    let words = [&["import", &lesson, "--athlete", "Wren", "--begun", begun], &tee[..]].concat();
    let imported = well(folder, &words);
    assert!(imported.contains("Wren") && imported.contains("8 swings found: 8 new"), "{imported}");
    let again = refused(folder, &["import", &lesson, "--athlete", "Wren", "--begun", begun]);
    assert!(again.contains("there already"), "{again}");
    let lessons = well(folder, &["lessons", "--athlete", "Wren", "--occasion", "practice"]);
    assert_eq!((lessons.lines().count(), lessons.contains("practice")), (2, true), "{lessons}");
    assert_eq!(well(folder, &["lessons", "--occasion", "lesson"]), "");
    swings(folder);
    compare(folder);
    homework(folder);
    ball(folder);
    let reanalysed = well(folder, &["reanalyse", "--athlete", "Wren"]);
    assert!(reanalysed.contains("8 swings found: 0 new, 0 revised, 8 unchanged; 0 no longer found"), "{reanalysed}");
    well(folder, &["export", "Wren", "--out", "wren.zip"]);
    assert_eq!(&std::fs::read(folder.path("wren.zip")).unwrap()[..4], b"PK\x03\x04");
    assert!(refused(folder, &["export", "Wren", "--out", "wren.zip"]).contains("--force"));
    let kept = refused(folder, &["erase", "Wren", "--confirm", "Wrem"]);
    assert!(kept.contains("nothing was erased"), "{kept}");
    let erased = well(folder, &["erase", "Wren", "--confirm", "Wren"]);
    assert!(erased.lines().any(|line| line.split_whitespace().collect::<Vec<_>>() == ["swings", "8"]), "{erased}");
    assert_eq!(well(folder, &["athletes"]) + &well(folder, &["swings"]) + &well(folder, &["lessons"]), "");
}

fn swings(folder: &Folder) {
    let table = well(folder, &["swings", "--athlete", "Wren"]);
    assert_eq!(table.matches("high tee").count(), 8, "{table}");
    assert!(table.contains("mph") && table.contains('±'), "{table}");
    assert!(well(folder, &["swings", "--units", "metric"]).contains("m/s"));
    assert_eq!(well(folder, &["swings", "--drill", "soft toss"]), "");
    let some = run(folder, &["swings", "--limit", "3", "--json"]);
    let page: Value = serde_json::from_str(&some.out).unwrap();
    assert_eq!((page["items"].as_array().unwrap().len(), some.err.lines().count()), (3, 1), "{}", some.err);
    well(folder, &["export-swings", "--athlete", "Wren", "--out", "wren.csv"]);
    assert_eq!(folder.read("wren.csv").lines().count(), 9);
    well(folder, &["export-swings", "--out", "all.parquet"]);
    assert_eq!(&std::fs::read(folder.path("all.parquet")).unwrap()[..4], b"PAR1");
    assert!(refused(folder, &["export-swings", "--out", "all.xlsx"]).contains(".parquet"));
    for reader in ["athlete", "instructor"] {
        let words = ["--words", "Stay <tall>.", "--force", "--out", "wren.html"];
        well(folder, &[&["report", "--athlete", "Wren", "--for", reader][..], &words].concat());
        let report = folder.read("wren.html");
        assert!(report.contains("Stay &lt;tall&gt;.") && report.contains("Cannot tell"), "of one day: {report}");
        assert!(!report.contains("<script") && !report.contains("href"), "{report}");
    }
    let groups = ["--drill", "high tee", "--then-side", "left", "--now-ball-source", "tee", "--then", "2026-11-20"];
    well(folder, &[&["report", "--athlete", "Wren", "--force", "--out", "wren.html"], &groups[..]].concat());
    let report = folder.read("wren.html");
    assert!(report.contains("from the left") && report.contains("ball: tee"), "{report}");
    let same = ["report", "--athlete", "Wren", "--then", "2026-11-20", "--now", "..2026-11-20", "--out", "none.html"];
    assert!(refused(folder, &same).contains("8 swings are in both groups"));
    assert!(
        refused(folder, &["report", "--athlete", "Wren", "--metric", "power", "--out", "none.html"]).contains("power")
    );
}

/// Two groups, one of which is empty, and the changes that matter.
fn compare(folder: &Folder) {
    let groups = ["--athlete", "Wren", "--then", "..2026-11-19", "--now", "2026-11-20.."];
    let text = well(folder, &[&["compare"], &groups[..]].concat());
    assert!(text.starts_with("then: 0 swings on 0 days\nnow: 8 swings on 1 day, 2026-11-20\n"), "{text}");
    let speed = text.lines().find(|line| line.starts_with("Bat speed at contact")).unwrap();
    assert!(
        speed.contains("mph") && speed.ends_with("cannot tell: none of the earlier swings has this number"),
        "{speed}"
    );
    let one = json(folder, &[&["compare", "--json", "--metric", "bat_speed_mps"], &groups[..]].concat());
    let said = (&one["now"]["swings"], &one["numbers"][0]["amount"], one["numbers"].as_array().map(Vec::len));
    assert_eq!(said, (&8.into(), &0.894.into(), Some(1)));
    let same = refused(folder, &["compare", "--athlete", "Wren"]);
    assert!(same.contains("8 swings are in both groups"), "{same}");
    assert!(well(folder, &["amounts"]).lines().all(|line| !line.contains("instructor")));
    let said = well(folder, &["amounts", "bat_speed_mps=1.5"]);
    assert!(said.lines().any(|line| line.contains("the instructor (default 0.894)") && line.contains("1.5")), "{said}");
    assert_eq!(well(folder, &["amounts", "bat_speed_mps=default"]), well(folder, &["amounts"]));
    assert!(refused(folder, &["amounts", "power=1"]).contains("power"));
}

fn homework(folder: &Folder) {
    assert_eq!(well(folder, &["homework", "list", "Wren"]), "");
    let given = well(folder, &["homework", "add", "Wren", "high tee", "--how-much", "3 × 10 a day"]);
    let id = given.split_whitespace().last().unwrap().to_owned();
    let list = well(folder, &["homework", "list", "Wren"]);
    assert!(list.contains("3 × 10 a day") && !list.contains("Done"), "{list}");
    assert_eq!(well(folder, &["homework", "done", &id]), "high tee is done\n");
    assert!(well(folder, &["homework", "list", "Wren"]).contains("Done"));
    assert_eq!(well(folder, &["homework", "remove", &id]), "high tee is removed\n");
    assert_eq!(well(folder, &["homework", "list", "Wren"]), "");
    assert!(refused(folder, &["homework", "remove", &id]).contains("homework"));
    let nobody = refused(folder, &["homework", "add", "Wrem", "tee"]);
    assert!(nobody.contains("Wren"), "{nobody}");
}

/// One by hand on a swing, one found by time, and a row that cannot be read.
fn ball(folder: &Folder) {
    let page = json(folder, &["swings", "--json"]);
    let hit = |swing: &&Value| swing["contact"] == "ball";
    let hits: Vec<&Value> = page["items"].as_array().unwrap().iter().filter(hit).collect();
    let (first, second) = (hits[0], hits[1]);
    let id = first["id"].as_str().unwrap();
    let added = well(folder, &["ball-results", "add", "--exit-speed", "92mph", "--direction", "-5", "--swing", id]);
    assert!(added.contains(&format!("{id} by hand")), "{added}");
    let at = second["contact_utc"].as_str().unwrap();
    folder.write("ball.csv", format!("measured,exit_speed_mph\n{at},88\n{at},fast\n"));
    let ran = run(folder, &["ball-results", "import", "ball.csv", "--athlete", "Wren"]);
    assert_eq!((ran.status, ran.err.lines().count()), (1, 1), "{} {}", ran.out, ran.err);
    assert!(ran.err.starts_with("ball.csv: line 3: "), "{}", ran.err);
    assert!(ran.out.starts_with(&format!("line 2: {} by time", second["id"].as_str().unwrap())), "{}", ran.out);
    let listed = well(folder, &["ball-results", "--athlete", "Wren"]);
    assert!(listed.contains("92.0") && listed.contains("88.0") && listed.contains("−5.0"), "{listed}");
}

#[test]
fn without_a_service_the_commands_do_all_of_it_themselves() {
    all_of_it(&Folder::new("record-alone"));
}

#[test]
fn with_a_service_in_the_folder_the_commands_ask_it() {
    let folder = Folder::new("record-served");
    let recording = folder.write("still.csv", crate::support::csv(&crate::support::planar::samples()[..1500]));
    // Played slowly, it goes on for longer than the test does.
    let serving = Serving::start(&folder, &recording);
    all_of_it(&folder);
    drop(serving);
    assert_eq!(well(&folder, &["swings"]), "");
}

#[test]
fn what_a_user_meets_first_is_one_line_that_says_what_to_do() {
    let folder = Folder::new("record-errors");
    let nobody = refused(&folder, &["lessons", "--athlete", "Wren"]);
    assert!(nobody.contains("\"Wren\"") && nobody.contains("swingd athletes add"), "{nobody}");
    let made = json(&folder, &["athletes", "add", "Tern", "--json"]);
    let wrong = refused(&folder, &["swings", "--athlete", "Wren"]);
    assert!(wrong.contains("expected one of: Tern"), "{wrong}");
    let missing = refused(&folder, &["import", "none.mcap", "--athlete", "Tern"]);
    assert!(missing.starts_with("none.mcap: "), "{missing}");
    let other = json(&folder, &["athletes", "add", "Tern", "--json"]);
    let several = refused(&folder, &["export", "Tern", "--out", "tern.zip"]);
    let (one, two) = (made["id"].as_str().unwrap(), other["id"].as_str().unwrap());
    assert!(several.contains(one) && several.contains(two), "{several}");
    well(&folder, &["lessons", "--athlete", one]);
    let born = refused(&folder, &["athletes", "add", "Lark", "--birth-year", "1066"]);
    assert!(born.contains("/birth_year"), "{born}");
    folder.write("home.csv", crate::support::csv(&crate::support::planar::samples()));
    let timeless = refused(&folder, &["import", "home.csv", "--athlete", one]);
    assert!(timeless.contains("begun"), "{timeless}");
    folder.write("home.toml", crate::support::planar::PROFILE);
    let words = ["import", "home.csv", "--athlete", one, "--begun", "2026-11-20T18:00:00Z"];
    assert!(well(&folder, &words).contains("2026-11-20 18:00"));
    assert!(refused(&folder, &["erase", one]).contains("--confirm"));
    assert!(refused(&folder, &["reanalyse", "nothing.mcap"]).contains("nothing.mcap"));
    assert!(!folder.path("tern.zip").exists());
}
