use super::super::imports::tests::{BEGUN, Cage, SWINGS, csv, lesson, mcap};
use super::super::test_api::{TestApi, on_each};
use super::*;
use crate::daemon::store::queries::swings;
use axum::body::Body;
use serde_json::{Value, json};
use std::collections::BTreeSet;

async fn reanalyse(cage: &Cage, id: &str, body: Value) -> super::super::test_api::Answer {
    cage.api.post(&format!("/v1/recordings/{id}/reanalyses"), body).await
}

fn counts(outcome: &Value) -> [u64; 4] {
    ["swings_found", "new", "revised", "unchanged"].map(|key| outcome[key].as_u64().unwrap())
}

/// The lesson's own profile, with the sweet spot elsewhere.
fn other_profile(toml: &str) -> String {
    let mut profile = Profile::parse(toml).unwrap().0;
    profile.bat.sweet_spot_m -= 0.05;
    profile.to_toml()
}

async fn edit(cage: &Cage) {
    let mut changes = cage.api.api.store.write().await.unwrap();
    let sql = "UPDATE swings SET mark = 'exclude', note = 'late', athlete_id = $1, lesson_id = NULL, round_id = NULL,
         side = 'left', is_moved = 1, version = version + 1";
    sqlx::query(sql).bind(&cage.tern).execute(&mut *changes).await.unwrap();
    sqlx::query("INSERT INTO swing_tags SELECT id, 'inside' FROM swings").execute(&mut *changes).await.unwrap();
    changes.commit().await.unwrap();
}

#[test]
fn measuring_again_adds_a_revision_only_where_numbers_changed_and_keeps_what_was_said() {
    on_each(async |api: TestApi| {
        let cage = Cage::new(api).await;
        let (bytes, profile) = csv(&lesson());
        let parts: [(&str, &str, &[u8]); 2] =
            [("recording", "a.csv", &bytes), ("profile", "a.toml", profile.as_bytes())];
        let made = cage.import(&format!("&begun={BEGUN}"), &parts).await;
        let id = made.json["recording"]["id"].as_str().unwrap().to_owned();
        edit(&cage).await;
        let edited = cage.swings().await;
        let found = SWINGS as u64;

        let none = Request::post(format!("/v1/recordings/{id}/reanalyses")).body(Body::empty()).unwrap();
        let same = cage.api.send(none).await;
        let untyped = Request::post(format!("/v1/recordings/{id}/reanalyses")).body(Body::from("{}")).unwrap();
        assert_eq!(cage.api.send(untyped).await.status, 415, "a body is not passed over in silence");
        assert_eq!(reanalyse(&cage, &id, Value::Null).await.json, same.json);
        assert_eq!((same.status, counts(&same.json)), (200, [found, 0, 0, found]), "{:?}", same.json);
        assert_eq!((cage.swings().await, cage.count("analyses").await), (edited.clone(), SWINGS as i64));

        let other = json!({"profile_toml": other_profile(&profile)});
        let revised = reanalyse(&cage, &id, other.clone()).await;
        assert_eq!(counts(&revised.json), [found, 0, found, 0], "{:?}", revised.json);
        assert_eq!(cage.count("analyses").await, 2 * SWINGS as i64);
        assert_eq!(counts(&reanalyse(&cage, &id, other).await.json), [found, 0, 0, found]);
        let (now, tags) = (cage.swings().await, cage.count("swing_tags").await);
        assert_eq!(tags, SWINGS as i64);
        for (before, now) in edited.iter().zip(&now) {
            assert_eq!((&now.0, &now.2, &now.3), (&Some(cage.tern.clone()), &None, &Some("left".to_owned())));
            assert_eq!((now.5.as_str(), now.6.as_str(), before.7, now.7), ("exclude", "late", 1, 2));
        }
        let path = format!("/v1/recordings/{id}");
        assert_eq!(cage.api.get(&path).await.header("etag"), made.header("etag"), "nothing of the recording changed");
    });
}

#[test]
fn swings_that_are_not_found_any_more_stay_and_are_named() {
    on_each(async |api: TestApi| {
        let cage = Cage::new(api).await;
        let made = cage.import(&format!("&begun={BEGUN}"), &[("recording", "a.mcap", &mcap(&lesson()[..400]))]).await;
        let id: Uuid = made.json["recording"]["id"].as_str().unwrap().parse().unwrap();
        let swing = rows::Swing {
            id: Uuid::now_v7(),
            recording_id: id,
            run: 0,
            contact_s: 3.0,
            contact_utc: UtcMicros(1),
            contact_utc_sigma_us: None,
            athlete_id: None,
            lesson_id: None,
            round_id: None,
            side: None,
            bat_id: None,
            mark: rows::Mark::Keep,
            note: String::new(),
            tags: Vec::new(),
            is_moved: false,
            revision: 1,
            version: 1,
        };
        let mut changes = cage.api.api.store.write().await.unwrap();
        swings::insert(&mut changes, &swing).await.unwrap();
        changes.commit().await.unwrap();
        let outcome = reanalyse(&cage, &id.to_string(), json!({})).await.json;
        assert_eq!((counts(&outcome), &outcome["missing"]), ([0, 0, 0, 0], &json!([swing.id])));
        assert_eq!(cage.count("swings").await, 1);
    });
}

#[test]
fn a_profile_that_cannot_be_used_changes_nothing() {
    on_each(async |api: TestApi| {
        let cage = Cage::new(api).await;
        let id = cage.enter("north", "20261125T161018Z-knob.mcap").await.to_string();
        std::fs::write(cage.folder().join("20261125T161018Z-knob.mcap"), mcap(&lesson()[..40])).unwrap();
        let refused = reanalyse(&cage, &id, json!({"profile_toml": "[bat]\nlength_m = 5.0\n"})).await;
        assert_eq!((refused.status, &refused.json["errors"][0]["pointer"]), (422, &json!("/profile_toml")));
        assert_eq!(reanalyse(&cage, &id, json!({"profile": "x"})).await.status, 422);
        assert_eq!(cage.api.get(&format!("/v1/recordings/{id}")).await.json["state"], "open");
        assert_eq!(reanalyse(&cage, "01890a5d-ac96-774b-bcce-b302099a8057", json!({})).await.status, 404);
    });
}

/// As a file lies in the folder when its service had no store.
#[test]
fn a_file_that_the_store_does_not_know_is_entered_as_recorded_here() {
    on_each(async |api: TestApi| {
        let cage = Cage::new(api).await;
        let file_name = "20261125T161018Z-knob.mcap".to_owned();
        std::fs::write(cage.folder().join(&file_name), mcap(&lesson())).unwrap();
        let file = RecordingFile { cage: "north".into(), folder: cage.folder(), file_name };
        let store = &cage.api.api.store;
        let outcome = analyse_file(store, &file, None, UtcMicros(1)).await.unwrap();
        assert_eq!((outcome.swings_found, outcome.new), (SWINGS as u64, SWINGS as u64));
        let again = analyse_file(store, &file, None, UtcMicros(2)).await.unwrap();
        assert_eq!((again.unchanged, again.recording_id), (SWINGS as u64, outcome.recording_id));
        let listed = cage.list("").await;
        assert_eq!(listed.len(), 1);
        assert_eq!((&listed[0]["origin"], &listed[0]["state"]), (&json!("live"), &json!("stored")));
        assert_eq!(
            (&listed[0]["begun"], listed[0]["samples"].as_i64()),
            (&json!("2026-11-25T16:10:18.000000Z"), Some(44_300))
        );
        let nameless = RecordingFile { file_name: "lesson.mcap".into(), ..file.clone() };
        std::fs::write(cage.folder().join("lesson.mcap"), mcap(&lesson()[..40])).unwrap();
        let refused = analyse_file(store, &nameless, None, UtcMicros(3)).await;
        assert!(matches!(refused, Err(AnalyseError::NoTime(_))), "{refused:?}");
    });
}

#[test]
fn recordings_are_listed_the_newest_first_by_whose_and_how_and_when() {
    on_each(async |api: TestApi| {
        let cage = Cage::new(api).await;
        let part = mcap(&lesson()[..60]);
        let imported = cage.import("&begun=2026-11-27T10:00:00Z", &[("recording", "a.mcap", &part)]).await;
        let imported = imported.json["recording"]["id"].clone();
        let mut all: Vec<Value> = Vec::new();
        for name in ["a.mcap", "b.mcap", "c.mcap"] {
            all.insert(0, json!(cage.enter("north", name).await));
        }
        all.insert(0, imported.clone());
        let ids = |listed: Vec<Value>| listed.into_iter().map(|item| item["id"].clone()).collect::<Vec<_>>();
        assert_eq!(ids(cage.list("").await), all);
        assert_eq!(ids(cage.list("?origin=import").await), std::slice::from_ref(&imported));
        assert_eq!(ids(cage.list(&format!("?athlete={}", cage.wren)).await), std::slice::from_ref(&imported));
        assert_eq!(ids(cage.list(&format!("?athlete={}", cage.tern)).await), [Value::Null; 0]);
        assert_eq!(ids(cage.list("?from=2026-11-26T00:00:00Z").await), std::slice::from_ref(&imported));
        assert_eq!(ids(cage.list("?to=2026-11-27T10:00:00Z&origin=live").await), all[1..]);
        let page = cage.api.get("/v1/recordings?limit=3").await.json;
        let next = page["next"].as_str().unwrap();
        let rest = cage.list(&format!("?limit=3&after={next}")).await;
        assert_eq!(ids([page["items"].as_array().unwrap().clone(), rest].concat()), all);
        assert_eq!(cage.api.get("/v1/recordings?after=6162").await.status, 422);
        assert_eq!(all.iter().map(Value::to_string).collect::<BTreeSet<_>>().len(), 4);
    });
}

#[test]
fn a_name_for_saving_holds_nothing_that_could_harm() {
    let shown = |name: &str| disposition(name).to_str().unwrap().to_owned();
    assert_eq!(shown("20261125T161018Z-knob.mcap"), "attachment; filename=\"20261125T161018Z-knob.mcap\"");
    assert_eq!(shown("../a\"b\r\né.csv"), "attachment; filename=\"_a_b___.csv\"");
}
