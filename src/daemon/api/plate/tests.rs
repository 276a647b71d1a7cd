use super::super::patch::MERGE_PATCH;
use super::super::test_api::{Answer, TestApi, on_each, set_clock};
use super::*;
use crate::daemon::store::queries::lessons;
use crate::daemon::store::rows::UtcMicros;
use crate::engine::wire::mcap::AtThePlate;
use axum::body::Body;
use axum::http::{Request, header};
use serde_json::{Value, json};

const PATH: &str = "/v1/at-the-plate";

async fn made(api: &TestApi, path: &str, body: Value) -> Value {
    let made = api.post(path, body).await;
    assert_eq!(made.status, 201, "{}", made.json);
    made.json["id"].clone()
}

async fn put(api: &TestApi, body: Value) -> Answer {
    let said = api.put(PATH, body).await;
    assert_eq!(said.status, 200, "{}", said.json);
    said
}

#[test]
fn one_request_begins_lesson_and_round_and_the_next_goes_on_with_them() {
    on_each(async |api: TestApi| {
        let empty = api.get(PATH).await;
        assert_eq!(
            (empty.status, &empty.json["athlete_id"], &empty.json["lesson_id"]),
            (200, &Value::Null, &Value::Null)
        );
        let wren = made(&api, "/v1/athletes", json!({"nickname": "Wren", "bats": "left"})).await;
        let tern = made(&api, "/v1/athletes", json!({"nickname": "Tern", "bats": "right"})).await;
        let bat = made(&api, "/v1/bats", json!({"name": "Ash 33", "kind": "bat", "length_m": 0.838})).await;
        let tee = json!({"athlete_id": wren, "side": "left", "bat_id": bat, "drill": "low", "ball_source": "tee"});
        let first = put(&api, tee.clone()).await;
        assert_eq!((&first.json["nickname"], &first.json["bat"]), (&json!("Wren"), &json!("Ash 33")));
        assert_eq!(first.json["occasion"], "lesson");
        let again = put(&api, tee.clone()).await;
        assert_eq!(
            (&again.json, again.header("etag")),
            (&first.json, first.header("etag")),
            "the same again is nothing"
        );
        let mut machine = tee.clone();
        (machine["ball_source"], machine["pitch_speed_mps"]) = (json!("machine"), json!(29.0));
        let second = put(&api, machine).await;
        assert_eq!(second.json["lesson_id"], first.json["lesson_id"]);
        assert_ne!(second.json["round_id"], first.json["round_id"]);
        let other = put(&api, json!({"athlete_id": tern})).await;
        assert_ne!(other.json["lesson_id"], first.json["lesson_id"]);
        let back = put(&api, json!({"athlete_id": wren, "note": "tired"})).await;
        assert_eq!((&back.json["lesson_id"], &back.json["note"]), (&first.json["lesson_id"], &json!("tired")));
        let read = api.get(PATH).await;
        assert_eq!((&read.json, read.header("etag")), (&back.json, back.header("etag")));
        let told = api.plate.lock().unwrap();
        let nicknames: Vec<_> = told.iter().map(|told| told.nickname.as_deref()).collect();
        assert_eq!(nicknames, ["Wren", "Wren", "Wren", "Tern", "Wren"].map(Some));
        assert_eq!(told[2].ball_source.as_deref(), Some("machine"));
        assert_eq!(json!(told[4].lesson_id), first.json["lesson_id"]);
    });
}

#[test]
fn practice_is_another_lesson_and_a_forgotten_one_is_over() {
    on_each(async |api: TestApi| {
        let wren = made(&api, "/v1/athletes", json!({"nickname": "Wren", "bats": "left"})).await;
        let practice = put(&api, json!({"athlete_id": wren, "occasion": "practice"})).await.json["lesson_id"].clone();
        let lesson = put(&api, json!({"athlete_id": wren})).await.json["lesson_id"].clone();
        assert_ne!(lesson, practice);
        let row = async |id: &Value| {
            let id = id.as_str().unwrap().parse().unwrap();
            lessons::get(&mut api.api.store.read().await.unwrap(), id).await.unwrap()
        };
        assert!(row(&practice).await.ended.is_some());
        // Begun thirteen hours ago, and forgotten.
        let mut old = row(&lesson).await;
        old.begun = UtcMicros(old.begun.0 - 13 * 3_600_000_000);
        let mut changes = api.api.store.write().await.unwrap();
        lessons::update(&mut changes, &old).await.unwrap();
        changes.commit().await.unwrap();
        assert_eq!(api.get(PATH).await.json["athlete_id"], Value::Null, "nobody bats for so long");
        let next = put(&api, json!({"athlete_id": wren})).await.json["lesson_id"].clone();
        assert_ne!(next, lesson);
        assert_eq!(row(&lesson).await.ended, Some(old.begun), "without a swing it ended where it began");
    });
}

#[test]
fn what_is_not_there_is_refused_with_its_place_and_changes_nothing() {
    on_each(async |api: TestApi| {
        let nobody = "01890a5d-ac96-774b-bcce-b302099a8057";
        for (body, pointer) in [
            (json!({"athlete_id": nobody}), "/athlete_id"),
            (json!({"bat_id": nobody}), "/bat_id"),
            (json!({"pitch_speed_mps": 101.0}), "/pitch_speed_mps"),
            (json!({"drill": " "}), "/drill"),
        ] {
            let refused = api.put(PATH, body).await;
            assert_eq!((refused.status, &refused.json["errors"][0]["pointer"]), (422, &json!(pointer)));
        }
        assert_eq!(api.put(PATH, json!({"nickname": "Wren"})).await.status, 422);
        assert!(api.plate.lock().unwrap().is_empty());
    });
}

#[test]
fn whoever_is_at_the_plate_leaves_it_with_their_lesson_and_stations_learn_that() {
    on_each(async |api: TestApi| {
        let wren = made(&api, "/v1/athletes", json!({"nickname": "Wren", "bats": "left"})).await;
        for (is_removed, changes) in [
            (false, json!({"ended": Instant::from(UtcMicros(api.api.now().0 + 60_000_000)), "note": "late"})),
            (false, json!({"begun": "2001-01-01T00:00:00Z"})),
            (true, Value::Null),
        ] {
            let said = put(&api, json!({"athlete_id": wren, "drill": "low"})).await;
            let path = format!("/v1/lessons/{}", said.json["lesson_id"].as_str().unwrap());
            let told_before = api.plate.lock().unwrap().len();
            assert_eq!(api.patch(&path, "\"1\"", json!({"title": "Hour 1"})).await.status, 200);
            assert_eq!(api.plate.lock().unwrap().len(), told_before, "a title ends nothing");
            let event = api.api.hub.publish("before", "{}".into());
            let changed = match is_removed {
                true => api.delete(&path, "\"2\"").await.status,
                false => api.patch(&path, "\"2\"", changes.clone()).await.status,
            };
            assert!(changed < 300, "{changed}: {changes}");
            let told = api.plate.lock().unwrap().clone();
            assert_eq!((told.len(), told.last()), (told_before + 1, Some(&AtThePlate::default())), "{changes}");
            assert_eq!(api.api.hub.publish("after", "{}".into()), event + 2, "so does the stream");
            let (read, before) = (api.get(PATH).await, said.header("etag").unwrap());
            assert_eq!((&read.json["athlete_id"], &read.json["drill"]), (&Value::Null, &Value::Null));
            assert_ne!(read.header("etag"), Some(before), "it is another version");
        }
    });
}

#[test]
fn stations_learn_that_a_lesson_has_lasted_too_long() {
    on_each(async |api: TestApi| {
        let begun = UtcMicros(1_795_619_418_000_000);
        let (api, clock) = set_clock(api, begun.0);
        let wren = made(&api, "/v1/athletes", json!({"nickname": "Wren", "bats": "left"})).await;
        put(&api, json!({"athlete_id": wren})).await;
        for (hours, told) in [(12, 1), (13, 2), (30, 2)] {
            clock.set(begun.0 + hours * 3_600_000_000);
            look(&api.api).await.unwrap();
            assert_eq!(api.plate.lock().unwrap().len(), told, "after {hours} h");
        }
        assert_eq!(api.plate.lock().unwrap().last(), Some(&AtThePlate::default()));
    });
}

/// Without If-Match, as a touch sends it.
async fn change(api: &TestApi, body: Value) -> Answer {
    let request = Request::patch(PATH).header(header::CONTENT_TYPE, MERGE_PATCH);
    api.send(request.body(Body::from(body.to_string())).unwrap()).await
}

#[test]
fn touches_in_quick_succession_all_hold() {
    on_each(async |api: TestApi| {
        let wren = made(&api, "/v1/athletes", json!({"nickname": "Wren", "bats": "both"})).await;
        let said =
            json!({"athlete_id": wren, "side": "right", "drill": "low", "occasion": "practice", "note": "tired"});
        let before = put(&api, said).await;
        // Neither knows of the other.
        let (left, machine) = (json!({"side": "left"}), json!({"ball_source": "machine", "pitch_speed_mps": 29.0}));
        let (left, machine) = tokio::join!(change(&api, left), change(&api, machine));
        assert_eq!((left.status, machine.status), (200, 200), "{} {}", left.json, machine.json);
        let now = api.get(PATH).await;
        assert_eq!(
            (&now.json["side"], &now.json["ball_source"], &now.json["pitch_speed_mps"]),
            (&json!("left"), &json!("machine"), &json!(29.0))
        );
        assert_eq!((&now.json["drill"], &now.json["occasion"]), (&json!("low"), &json!("practice")), "the rest stays");
        assert_eq!(now.json["lesson_id"], before.json["lesson_id"]);
        let tee = change(&api, json!({"ball_source": "tee", "pitch_speed_mps": null})).await;
        assert_eq!((&tee.json["pitch_speed_mps"], &tee.json["side"]), (&Value::Null, &json!("left")));
        assert_eq!(api.plate.lock().unwrap().len(), 4, "stations learn each");
    });
}

#[test]
fn a_note_is_changed_where_it_is_named_alone() {
    on_each(async |api: TestApi| {
        let wren = made(&api, "/v1/athletes", json!({"nickname": "Wren", "bats": "both"})).await;
        put(&api, json!({"athlete_id": wren, "side": "left", "note": "tired"})).await;
        assert_eq!(change(&api, json!({"side": "left"})).await.json["note"], "tired");
        assert_eq!(change(&api, json!({"side": "right"})).await.json["note"], "", "another round has its own");
        assert_eq!(change(&api, json!({"note": "late"})).await.json["note"], "late");
        assert_eq!(change(&api, json!({"note": null})).await.json["note"], "");
        assert_eq!(change(&api, json!({"athlete_id": null, "side": null})).await.json["athlete_id"], Value::Null);
    });
}

#[test]
fn a_change_that_cannot_be_is_refused_with_its_place() {
    on_each(async |api: TestApi| {
        let nobody = "01890a5d-ac96-774b-bcce-b302099a8057";
        for (body, pointer) in [
            (json!({"athlete_id": nobody}), "/athlete_id"),
            (json!({"pitch_speed_mps": 101.0}), "/pitch_speed_mps"),
            (json!({"drill": " "}), "/drill"),
        ] {
            let refused = change(&api, body).await;
            assert_eq!((refused.status, &refused.json["errors"][0]["pointer"]), (422, &json!(pointer)));
        }
        assert_eq!(change(&api, json!({"nickname": "Wren"})).await.status, 422);
        assert!(api.plate.lock().unwrap().is_empty());
    });
}
