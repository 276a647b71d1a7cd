//! Looking back: pages tell what the API tells, and what is said of a swing there is said in the record.

use crate::support::cage::{Cage, Plays, visit};
use crate::support::numbers::agree;
use serde_json::{Value, json};
use std::path::Path;
use std::process::Command;

/// The bundled lesson as Wren's practice.
pub struct Practice {
    pub athlete: String,
    pub lesson: String,
    /// The first one first.
    pub swings: Vec<Value>,
}

pub async fn practice(cage: &Cage) -> Practice {
    let lesson = Path::new(env!("CARGO_MANIFEST_DIR")).join("replay-data/lesson.mcap");
    let wren = cage.send("POST /v1/athletes", json!({"nickname": "Wren", "bats": "both"})).await;
    import(cage, &lesson, "2026-11-20T17:30:00Z");
    let mut swings = cage.get("/v1/swings").await["items"].as_array().expect("swings").clone();
    swings.sort_by_key(|swing| swing["contact_utc"].to_string());
    assert_eq!(swings.len(), 8);
    let text = |value: &Value| value.as_str().expect("text").to_owned();
    Practice { athlete: text(&wren["id"]), lesson: text(&swings[0]["lesson_id"]), swings }
}

/// A recording as Wren's practice at a time.
pub fn import(cage: &Cage, recording: &Path, begun: &str) {
    let mut import = Command::new(env!("CARGO_BIN_EXE_swingd"));
    import.arg("import").arg(recording).args(["--athlete", "Wren", "--drill", "high tee", "--ball-source", "tee"]);
    import.args(["--begun", begun, "--data-folder"]).arg(cage.path("kept"));
    let imported = import.env("SWINGD_CONFIG", cage.path("swingd.toml")).output().expect("an import");
    assert!(imported.status.success(), "{imported:?}");
}

fn page_of(swing: &Value) -> String {
    format!("/swings/{}", swing["id"].as_str().expect("an id"))
}

/// Key, value, half the width of its interval and unit of every number on a swing's page.
const NUMBERS: &str = "return [...document.querySelectorAll('tr[data-metric]')].map((row) => { \
    const [told, , unit] = [...row.querySelectorAll('td')].map((cell) => cell.textContent.trim()); \
    return [row.dataset.metric, ...told.split('±'), unit]; })";

#[tokio::test(flavor = "multi_thread")]
async fn a_swings_numbers_are_those_of_the_api_in_either_unit() {
    visit("numbers", Plays::Nothing, async |cage| {
        let practice = practice(cage).await;
        for swing in [&practice.swings[0], &practice.swings[7]] {
            cage.open(&page_of(swing)).await;
            let us = cage.browser.run(NUMBERS, &[]).await;
            assert!(us.to_string().contains("mph"), "{us}");
            assert_eq!(agree(&us, swing), 14);
            cage.browser.press("Units:").await;
            cage.browser.sees("m/s, m").await;
            let metric = cage.browser.run(NUMBERS, &[]).await;
            assert!(metric.to_string().contains("m/s"), "{metric}");
            assert_eq!(agree(&metric, swing), 14);
            cage.browser.press("Units:").await;
            cage.browser.sees("mph, ft").await;
        }
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_swing_is_found_opened_left_out_and_found_left_out() {
    visit("leave-out", Plays::Nothing, async |cage| {
        let practice = practice(cage).await;
        let browser = &cage.browser;
        cage.open("/").await;
        browser.press("Athletes").await;
        browser.press("Wren").await;
        browser.sees("From lesson to lesson").await;
        browser.press("Fri, Nov 20, 2026").await;
        browser.sees("8 counted, 0 of them flagged; 0 left out.").await;
        browser.press("3, open").await;
        browser.sees("Swing 3 of 8").await;
        browser.press("Leave out").await;
        browser.sees("Left out by the instructor").await;
        let path = format!("/v1{}", page_of(&practice.swings[2]));
        assert_eq!(cage.get(&path).await["mark"], "exclude");
        cage.open(&format!("/lessons/{}", practice.lesson)).await;
        browser.sees("7 counted, 0 of them flagged; 1 left out.").await;
        cage.open(&format!("/athletes/{}", practice.athlete)).await;
        browser.sees("1 swing left out by the instructor").await;
        // And taken in again, from the lesson.
        cage.open(&format!("/lessons/{}", practice.lesson)).await;
        browser.press("Count it").await;
        browser.sees("8 counted").await;
        assert_eq!(cage.get(&path).await["mark"], "none");
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_note_is_kept_and_a_swing_moves_to_whose_it_is() {
    visit("correct", Plays::Nothing, async |cage| {
        let practice = practice(cage).await;
        let robin = cage.send("POST /v1/athletes", json!({"nickname": "Robin", "bats": "left"})).await;
        let (browser, path) = (&cage.browser, page_of(&practice.swings[1]));
        cage.open(&path).await;
        browser.enter("Note", "front foot late").await;
        browser.press("Save the note").await;
        browser
            .until("the note", "return document.querySelector('p.note')?.textContent === 'front foot late'", &[])
            .await;
        browser.enter("Tags", "inside, late").await;
        browser.press("Save the tags").await;
        browser.until("two tags", "return document.querySelectorAll('.tag').length === 2", &[]).await;
        browser.press("Move it to another athlete").await;
        browser.choose("Athlete", "Robin").await;
        browser.choose("Side", "left").await;
        browser.press("Move").await;
        browser.sees("Robin, left").await;
        let swing = cage.get(&format!("/v1{path}")).await;
        assert_eq!((&swing["athlete_id"], &swing["side"]), (&robin["id"], &json!("left")));
        assert_eq!((&swing["note"], &swing["tags"]), (&json!("front foot late"), &json!(["inside", "late"])));
        // What somebody else changed meanwhile is not written over.
        cage.change(&format!("/v1{path}"), json!({"note": "another hand was quicker"})).await;
        browser.enter("Note", "too late").await;
        browser.press("Save the note").await;
        browser.sees("changed meanwhile").await;
        assert!(cage.complaints().await.iter().all(|said| said.contains("status of 412")));
        assert_eq!(cage.get(&format!("/v1{path}")).await["note"], "another hand was quicker");
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_swing_and_a_lesson_are_printed_without_what_is_to_be_touched() {
    visit("print", Plays::Nothing, async |cage| {
        let practice = practice(cage).await;
        for (path, words) in
            [(page_of(&practice.swings[0]), "Numbers"), (format!("/lessons/{}", practice.lesson), "Round 1")]
        {
            cage.open(&path).await;
            cage.browser.sees(words).await;
            let sheets = cage.browser.prints().await;
            assert!((1..=6).contains(&sheets), "{path} takes {sheets} sheets");
        }
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn pages_of_the_past_suit_every_screen_light_and_reader() {
    visit("past", Plays::Nothing, async |cage| {
        let practice = practice(cage).await;
        cage.inspect("athletes", "/athletes", "Wren").await;
        cage.inspect("athlete", &format!("/athletes/{}", practice.athlete), "From lesson to lesson").await;
        let then_now = format!("/athletes/{}/then-and-now", practice.athlete);
        cage.inspect("then-and-now", &then_now, "Has it changed?").await;
        cage.inspect("lesson", &format!("/lessons/{}", practice.lesson), "Round 1").await;
        cage.inspect("lesson-moving", &format!("/lessons/{}?moving=yes", practice.lesson), "Round 1").await;
        let swing = page_of(&practice.swings[0]);
        cage.inspect("swing", &swing, "Numbers").await;
        cage.inspect("swing-moving", &format!("{swing}?moving=yes"), "Move it").await;
        cage.inspect("pair", "/pair", "Code").await;
        cage.inspect("nowhere", "/athletes?name=Kite", "No name holds").await;
    })
    .await;
}
