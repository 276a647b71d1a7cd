//! Who saw whose data, and the same request once more, through the router.

use super::test_api::{TestApi, sensor};
use super::test_gate::{Gate, MANY, kind, on_each, there, with_body};
use crate::daemon::access::{Patience, Settings};
use crate::daemon::clock::SystemClock;
use crate::daemon::store::queries::swings_read::example::{World, fill};
use crate::daemon::store::test_store;
use axum::body::{Body, Bytes};
use axum::http::Request;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::Duration;
use uuid::Uuid;

const SECOND: Duration = Duration::from_secs(1);
/// After it the same is written down again.
const MINUTE: Duration = Duration::from_secs(60);

async fn filled(gate: &Gate) -> World {
    let mut changes = gate.api.api.store.write().await.unwrap();
    let world = fill(&mut changes, 17, 60).await;
    changes.commit().await.unwrap();
    world
}

/// For whom another machine's request is written down; `None` among them: an entry that names nobody.
async fn written(gate: &Gate, token: &str, method: &str, path: &str, body: Option<Value>) -> BTreeSet<Option<Uuid>> {
    let before = gate.audited("?limit=500").await.len();
    let request =
        there(Request::builder().method(method).uri(path), 9).header("authorization", format!("Bearer {token}"));
    let answer = match body {
        Some(body) => gate.api.send(with_body(request, &body)).await,
        None => gate.api.send(request.body(Body::empty()).unwrap()).await,
    };
    let is_file = path.ends_with("/file");
    assert!(answer.status < 300 || is_file && answer.status == 404, "{method} {path}: {answer:?}");
    gate.clock.pass(MINUTE);
    let entries = gate.audited("?limit=500").await;
    let new = &entries[..entries.len() - before];
    let ids: Vec<_> = new.iter().map(|entry| entry["athlete_id"].as_str().map(|id| id.parse().unwrap())).collect();
    let each: BTreeSet<_> = ids.iter().copied().collect();
    assert_eq!(ids.len(), each.len(), "{method} {path}: one entry for each");
    each
}

/// As a client may write it: its first character encoded.
fn encoded(id: Uuid) -> String {
    let text = id.to_string();
    format!("%{:02x}{}", text.as_bytes()[0], &text[1..])
}

#[test]
fn whoever_is_read_of_has_an_entry() {
    on_each(MANY, async |gate: Gate| {
        let (coach, world) = (gate.token("coach").await, filled(&gate).await);
        let [wren, tern, dunlin] = [0, 1, 2].map(|k| Some(world.athletes[k].id));
        let (lesson, round) = (world.lessons[0].id, world.rounds[0].id);
        let terns = world.swings.iter().find(|found| found.swing.athlete_id == tern).unwrap().swing.id;
        let recording = world.recordings[0].id;
        for (path, expected) in [
            (format!("/v1/athletes/{}", encoded(wren.unwrap())), vec![wren]),
            (format!("/v1/athletes/{}/summary", encoded(wren.unwrap())), vec![wren]),
            ("/v1/athletes".into(), vec![wren, tern, dunlin]),
            ("/v1/athletes?limit=1".into(), vec![wren]),
            (format!("/v1/swings?limit=1&%61thlete={}", encoded(wren.unwrap())), vec![wren]),
            (format!("/v1/swings?athlete={}", dunlin.unwrap()), vec![dunlin]),
            (format!("/v1/swings?lesson={lesson}&limit=1"), vec![wren]),
            (format!("/v1/swings?round={}&limit=1", encoded(round)), vec![wren]),
            ("/v1/swings?limit=500".into(), vec![wren, tern]),
            ("/v1/swings?athlete=none".into(), vec![None]),
            ("/v1/swings/export.csv".into(), vec![wren, tern]),
            (format!("/v1/swings/export.parquet?round={round}"), vec![wren]),
            (format!("/v1/swings/{terns}/curves"), vec![tern]),
            (format!("/v1/swings/{terns}/curves.csv?revision=2"), vec![tern]),
            (format!("/v1/recordings/{recording}/file"), vec![wren, tern]),
            ("/v1/lessons".into(), vec![wren, tern]),
            (format!("/v1/lessons/{lesson}/rounds"), vec![wren]),
            ("/v1/at-the-plate".into(), vec![None]),
        ] {
            let found = written(&gate, &coach, "GET", &path, None).await;
            assert_eq!(found, expected.into_iter().collect(), "{path}");
        }
        let of_tern = gate.audited(&format!("?athlete={}", tern.unwrap())).await;
        let paths: Vec<_> = of_tern.iter().map(|entry| entry["path"].as_str().unwrap()).collect();
        assert!(paths.contains(&"/v1/swings") && paths.contains(&"/v1/swings/export.csv"), "{paths:?}");
    });
}

#[test]
fn whoever_is_changed_or_entered_has_an_entry() {
    on_each(MANY, async |gate: Gate| {
        let (coach, world) = (gate.token("coach").await, filled(&gate).await);
        let [wren, tern] = [0, 1].map(|k| Some(world.athletes[k].id));
        let lesson = world.lessons[0].id;
        let swing = world.swings.iter().find(|found| found.swing.athlete_id == tern).unwrap().swing.id;
        let knob = sensor(&gate.api, "knob").await;
        for (method, path, body, expected) in [
            ("PUT", "/v1/at-the-plate", json!({"athlete_id": wren}), vec![wren]),
            ("PATCH", "/v1/at-the-plate", json!({"side": "left"}), vec![wren]),
            ("POST", "/v1/lessons", json!({"athlete_id": wren}), vec![wren]),
            ("POST", "/v1/rounds", json!({"lesson_id": lesson}), vec![wren]),
            ("POST", "/v1/aims", json!({"sensor_id": knob, "lesson_id": lesson}), vec![wren]),
            ("POST", "/v1/ball-results", json!({"swing_id": swing, "carry_m": 80}), vec![tern]),
            ("POST", "/v1/swings/moves", json!({"swing_ids": [swing], "athlete_id": wren}), vec![wren, tern]),
        ] {
            let found = written(&gate, &coach, method, path, Some(body)).await;
            assert_eq!(found, expected.into_iter().collect(), "{method} {path}");
        }
        assert_eq!(written(&gate, &coach, "GET", "/v1/at-the-plate", None).await, [wren].into());
        let aim = gate.api.get("/v1/aims").await.json["items"][0]["id"].clone();
        let aim = format!("/v1/aims/{}", aim.as_str().unwrap());
        assert_eq!(written(&gate, &coach, "GET", &aim, None).await, [wren].into());
        let added = json!({"nickname": "Plover"});
        assert_eq!(written(&gate, &coach, "POST", "/v1/athletes", Some(added)).await.len(), 1);
        assert!(gate.audited("").await[0]["athlete_id"].is_string(), "the one that was entered");
    });
}

#[test]
fn reading_the_same_within_a_minute_is_one_entry() {
    on_each(MANY, async |gate: Gate| {
        let coach = gate.token("coach").await;
        for (pass_s, entries) in [(0, 1), (30, 1), (30, 2)] {
            gate.clock.pass(pass_s * SECOND);
            assert_eq!(gate.get("/v1/lessons", &coach).await.status, 200);
            assert_eq!(gate.audited("").await.len(), entries, "{pass_s}");
        }
    });
}

#[test]
fn who_gave_and_took_tokens_is_written_down() {
    on_each(MANY, async |gate: Gate| {
        let owner = gate.token("owner").await;
        let asked = |request| there(request, 9).header("authorization", format!("Bearer {owner}"));
        let made = with_body(asked(Request::post("/v1/tokens")), &json!({"role": "viewer", "label": "a script"}));
        let made = gate.api.send(made).await.json;
        gate.clock.pass(SECOND);
        let path = format!("/v1/tokens/{}", made["id"].as_str().unwrap());
        gate.api.send(asked(Request::delete(&path)).body(Body::empty()).unwrap()).await;
        gate.clock.pass(SECOND);
        let code = gate.pair("coach").await;
        let given = gate.redeem(&code, 30).await.json;
        let entries = gate.audited("").await;
        let told: Vec<_> =
            entries.iter().map(|entry| json!([entry["method"], entry["path"], entry["address"]])).collect();
        assert_eq!(
            json!(told),
            json!([
                ["POST", "/v1/pairings/redeem", "192.0.2.30"],
                ["DELETE", path, "192.0.2.9"],
                ["POST", "/v1/tokens", "192.0.2.9"]
            ])
        );
        assert_eq!((&entries[0]["token_id"], &entries[0]["role"]), (&given["id"], &json!("coach")));
    });
}

#[test]
fn a_key_holds_for_path_and_query_and_for_every_type_but_files() {
    on_each(MANY, async |gate: Gate| {
        let wren = gate.api.post("/v1/athletes", json!({"nickname": "Wren"})).await.json["id"].clone();
        let table = "measured,carry_m\n2026-11-25T16:00:00Z,80\n";
        let import = async |query: String, media: &str| {
            let request = Request::post(format!("/v1/ball-results/import{query}")).header("idempotency-key", "k");
            let request = request.header("content-type", media).body(Body::from(table)).unwrap();
            gate.api.send(request).await
        };
        let first = import(String::new(), "text/csv").await;
        let again = import(String::new(), "TEXT/CSV").await;
        assert_eq!((again.status, &again.json), (first.status, &first.json), "{first:?}");
        let other = import(format!("?athlete={}", wren.as_str().unwrap()), "text/csv").await;
        assert_eq!((other.status, kind(&other)), (422, "key-reused"), "another query is another request");
        let body = json!({"name": "Tern", "kind": "bat"}).to_string();
        for _ in 0..2 {
            let request = Request::post("/v1/bats").header("idempotency-key", "b");
            let request = request.header("content-type", "Application/JSON").body(Body::from(body.clone())).unwrap();
            assert_eq!(gate.api.send(request).await.status, 201);
        }
        assert_eq!(gate.api.get("/v1/bats").await.json["items"].as_array().unwrap().len(), 1);
    });
}

#[test]
fn a_body_that_stops_coming_is_too_slow_and_not_too_long() {
    test_store::on_each(async |store| {
        let patience = Patience { piece: Duration::from_millis(1), ..Patience::default() };
        let settings = Settings { patience, ..Settings::default() };
        let api = TestApi::with(store, &settings, Arc::new(SystemClock::new()));
        let never = || Body::from_stream(futures::stream::pending::<Result<Bytes, std::io::Error>>());
        for (path, media, key) in [
            ("/v1/bats", "application/json", None),
            ("/v1/bats", "application/json", Some("k")),
            ("/v1/ball-results/import", "text/csv", None),
            ("/v1/ball-results/import", "text/csv", Some("k")),
        ] {
            let mut request = Request::post(path).header("content-type", media);
            if let Some(key) = key {
                request = request.header("idempotency-key", key);
            }
            let late = api.send(request.body(never()).unwrap()).await;
            assert_eq!((late.status, kind(&late)), (408, "too-slow"), "{path} {key:?}");
        }
    });
}
