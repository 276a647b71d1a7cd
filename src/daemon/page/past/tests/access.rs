//! Who looked at whose page is written down, and only who may change something learns whom there else is.

use super::filled;
use crate::daemon::api::test_gate::{Gate, MANY, on_each, plain, there};
use axum::http::Request;
use std::collections::BTreeSet;
use std::time::Duration;
use uuid::Uuid;

/// For whom another machine's look at a page is written down, and the page.
async fn looked(gate: &Gate, token: &str, path: &str) -> (BTreeSet<Uuid>, String) {
    let before = gate.audited("?limit=500").await.len();
    let answer = gate.get(path, token).await;
    assert_eq!(answer.status, 200, "{path}: {answer:?}");
    gate.clock.pass(Duration::from_secs(60));
    let entries = gate.audited("?limit=500").await;
    let new = &entries[..entries.len() - before];
    let ids = new.iter().filter_map(|entry| entry["athlete_id"].as_str()?.parse().ok()).collect();
    (ids, String::from_utf8(answer.bytes).unwrap())
}

#[test]
fn a_look_over_the_network_is_written_down_for_whom_it_shows() {
    on_each(MANY, async |gate: Gate| {
        let world = filled(&gate.api, 40).await;
        let (viewer, coach) = (gate.token("viewer").await, gate.token("coach").await);
        let [wren, tern, dunlin] = [0, 1, 2].map(|k| world.athletes[k].id);
        let all = BTreeSet::from([wren, tern, dunlin]);
        let terns = world.swings.iter().find(|found| found.swing.athlete_id == Some(tern)).unwrap().swing.id;
        let lesson = world.lessons[0].id;
        for (path, expected) in [
            ("/athletes".to_owned(), all.clone()),
            ("/athletes?name=dun".to_owned(), [dunlin].into()),
            (format!("/athletes/{wren}"), [wren].into()),
            (format!("/lessons/{lesson}"), [wren].into()),
            (format!("/swings/{terns}"), [tern].into()),
        ] {
            assert_eq!(looked(&gate, &viewer, &path).await.0, expected, "{path}");
        }
        for (token, expected) in [(&viewer, false), (&coach, true)] {
            let html = looked(&gate, token, "/athletes").await.1;
            assert_eq!(html.contains("href=\"/setup\""), expected, "a way that is refused is not offered");
        }
        for (path, of) in
            [(format!("/swings/{terns}?moving=yes"), tern), (format!("/lessons/{lesson}?moving=yes"), wren)]
        {
            let (shown, html) = looked(&gate, &viewer, &path).await;
            assert_eq!(shown, [of].into(), "{path}");
            assert!(!html.contains("Dunlin"), "{path}");
            let (shown, html) = looked(&gate, &coach, &path).await;
            assert_eq!(shown, all, "{path}");
            assert!(html.contains("Dunlin"), "{path}");
        }
    });
}

#[test]
fn a_comparison_and_its_report_show_the_athlete_of_the_path_alone_and_are_written_down() {
    on_each(MANY, async |gate: Gate| {
        let world = filled(&gate.api, 40).await;
        let viewer = gate.token("viewer").await;
        let [wren, tern] = [0, 1].map(|k| world.athletes[k].id);
        for path in [format!("/athletes/{wren}/then-and-now"), format!("/v1/athletes/{wren}/report")] {
            let (ids, html) = looked(&gate, &viewer, &path).await;
            assert_eq!(ids, [wren].into(), "{path}");
            assert!(html.contains("Wren") && !html.contains("Tern"), "{path}: {html}");
            let unknown = gate.api.send(plain(there(Request::get(&path), 9))).await;
            assert_eq!(unknown.status, 401, "{path}");
            for key in ["athlete", "then_athlete", "now_athlete", "now%5Fathlete"] {
                let refused = gate.get(&format!("{path}?{key}={tern}"), &viewer).await;
                assert_eq!(refused.status, 400, "{path} {key}");
            }
        }
    });
}
