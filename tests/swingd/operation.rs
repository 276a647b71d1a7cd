//! Configuration and checks, as the program prints them.

use crate::support::{Folder, Ran};
use std::net::TcpListener;

/// `words` with a file of the folder's own, so that nothing of the machine's user counts.
fn run(folder: &Folder, words: &[&str], environment: &[(&str, &str)]) -> Ran {
    let file = folder.write("swingd.toml", "[data]\nfolder = \"kept\"\n[recording]\nnear_full_mb = 1\n");
    let named = [("SWINGD_CONFIG", file.to_str().unwrap())];
    folder.run_with(words, &[&named, environment].concat())
}

#[test]
fn config_prints_toml_with_origins_and_warns_of_unknown_variables() {
    let folder = Folder::new("config");
    let environment = [("SWINGD_LOG_LEVEL", "warn"), ("SWINGD_LOG_DAZE", "3")];
    let ran = run(&folder, &["config", "--log-days", "30"], &environment);
    assert_eq!(ran.status, 0);
    let nearest = "the nearest known variable is SWINGD_LOG_DAYS";
    assert_eq!(ran.err, format!("environment: \"SWINGD_LOG_DAZE\" is not known and was ignored; {nearest}\n"));
    let file = folder.path("swingd.toml").display().to_string();
    for line in [
        "days = 30  # flag --log-days",
        "level = \"warn\"  # environment SWINGD_LOG_LEVEL",
        &format!("near_full_mb = 1  # file {file} line 4"),
        "to_file = true  # default",
    ] {
        assert!(ran.out.lines().any(|printed| printed == line), "{line}: {}", ran.out);
    }
    let json = run(&folder, &["config", "--json"], &[]).documents().remove(0);
    assert_eq!(json["recording"]["near_full_mb"]["value"], 1);
    // Nothing is made by looking.
    assert_eq!(folder.files(), ["swingd.toml"]);
}

#[test]
fn a_configuration_that_cannot_be_used_is_one_line_on_standard_error() {
    let folder = Folder::new("config-bad");
    let ran = run(&folder, &["config"], &[("SWINGD_LOG_TO_FILE", "yes\nplease")]);
    assert_eq!((ran.status, ran.out.as_str()), (1, ""));
    assert_eq!(ran.err, "environment: SWINGD_LOG_TO_FILE is \"yes\\nplease\"; expected true or false\n");
}

#[test]
fn doctor_ends_with_the_status_that_its_checks_ask_for() {
    let folder = Folder::new("doctor");
    let well = run(&folder, &["doctor", "--json", "--http-listen", "127.0.0.1:0"], &[]);
    let document = well.documents().remove(0);
    let checks = document["checks"].as_array().unwrap();
    // The machine's own clock and disk are not this test's.
    let no_problem = checks.iter().all(|check| check["verdict"] != "problem");
    assert_eq!((document["no_problem"].as_bool(), well.status), (Some(no_problem), i32::from(!no_problem)));
    assert_eq!(checks.len(), 10);

    let taken = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = taken.local_addr().unwrap().to_string();
    let ran = run(&folder, &["doctor", "--http-listen", &address], &[]);
    assert_eq!((ran.status, ran.err.as_str(), ran.out.lines().count()), (1, "", 10));
    let line = ran.out.lines().last().unwrap();
    assert!(line.starts_with(&format!("problem     port           {address} is held by another program; ")), "{line}");
}
