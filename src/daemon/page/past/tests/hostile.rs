//! Words of people are words, whatever they hold.

use super::{between, filled, page};
use crate::daemon::api::test_api::{TestApi, athlete, on_each};
use serde_json::json;

const SCRIPT: &str = "\"'><script>alert(1)</script>&amp;";

#[test]
fn names_notes_and_tags_are_shown_and_never_run() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 40).await;
        let rtl = "\u{202e}שלום עולם";
        let long = "K".repeat(100);
        for name in [rtl, &long, SCRIPT] {
            athlete(&api, name).await;
        }
        let hostile = athlete(&api, SCRIPT).await;
        let bat = api.post("/v1/bats", json!({"name": SCRIPT, "kind": "bat"})).await.json["id"].clone();
        let lesson = json!({"athlete_id": hostile, "title": SCRIPT, "note": format!("{SCRIPT}\n{rtl}"),
            "begun": "2026-11-25T16:00:00Z"});
        let lesson = api.post("/v1/lessons", lesson).await.json["id"].clone();
        let round = json!({"lesson_id": lesson, "drill": SCRIPT, "note": SCRIPT, "bat_id": bat, "side": "left"});
        let round = api.post("/v1/rounds", round).await.json["id"].clone();
        let swing = world.swings[0].swing.id;
        let patch = json!({"round_id": round, "note": SCRIPT, "tags": [SCRIPT]});
        let moved = api.patch(&format!("/v1/swings/{swing}"), "\"1\"", patch).await;
        assert_eq!(moved.status, 200, "{moved:?}");
        let result = json!({"swing_id": swing, "carry_m": 80, "device": SCRIPT});
        assert_eq!(api.post("/v1/ball-results", result).await.status, 201);
        for path in [
            "/athletes".to_owned(),
            "/athletes?name=%3Cscript%3E%22".to_owned(),
            format!("/athletes/{hostile}"),
            format!("/lessons/{}", lesson.as_str().unwrap()),
            format!("/lessons/{}?moving=yes", lesson.as_str().unwrap()),
            format!("/swings/{swing}"),
            format!("/swings/{swing}?moving=yes"),
        ] {
            let html = page(&api, &path).await;
            assert!(html.contains("&lt;script&gt;"), "{path}: {html}");
            assert_eq!(html.matches("<script").count(), 1, "{path}: the pages' own alone");
            assert!(!html.contains("alert(1)</script>") && !html.contains("style=\""), "{path}: {html}");
        }
        let html = page(&api, "/athletes").await;
        assert!(html.contains(&format!("<bdi class=\"name\">{rtl}</bdi>")) && html.contains(&long), "{html}");
        let html = page(&api, "/athletes?name=%22%3E%3Cscript").await;
        assert_eq!(between(&html, "name=\"name\" value=\"", "\""), "&quot;&gt;&lt;script");
    });
}
