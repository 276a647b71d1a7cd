use super::super::test_api::{TestApi, athlete, on_each, pages, set_clock};
use super::*;
use crate::daemon::store::queries::tests::put_swing;
use serde_json::json;

const HOUR_US: i64 = 3600 * 1_000_000;

fn hour(hour: i64) -> String {
    Instant::from(UtcMicros(hour * HOUR_US)).to_string()
}

#[test]
fn a_lesson_begins_now_and_is_ended_by_an_edit() {
    on_each(async |api: TestApi| {
        let (api, clock) = set_clock(api, 5 * HOUR_US);
        let wren = athlete(&api, "Wren").await;
        let made = api.post("/v1/lessons", json!({"athlete_id": wren, "title": "Hour 1"})).await;
        assert_eq!(made.status, 201, "{:?}", made.json);
        assert_eq!((&made.json["begun"], made.json.get("ended")), (&json!(hour(5)), None));
        assert_eq!((&made.json["occasion"], &made.json["cage"]), (&json!("lesson"), &json!(api.api.cage)));
        let path = made.header("location").unwrap();
        clock.set(6 * HOUR_US);
        let ended = api.patch(path, "\"1\"", json!({"ended": hour(6), "note": "kept her head still"})).await;
        assert_eq!((ended.status, &ended.json["ended"]), (200, &json!(hour(6))));
        let read = api.get(path).await;
        assert_eq!((&read.json, read.header("etag")), (&ended.json, Some("\"2\"")));
        let other = api.patch(path, "\"1\"", json!({"note": "lost?"})).await;
        assert_eq!((other.status, &api.get(path).await.json), (412, &ended.json));
        let early = api.patch(path, "\"2\"", json!({"ended": hour(4)})).await;
        assert_eq!((early.status, &early.json["errors"][0]["pointer"]), (422, &json!("/ended")));
        for changes in [json!({"athlete_id": Uuid::now_v7()}), json!({"begun": null}), json!({"begun": "today"})] {
            assert_eq!(api.patch(path, "\"2\"", changes.clone()).await.status, 422, "{changes}");
        }
        assert_eq!(api.get(path).await.json, ended.json);
    });
}

#[test]
fn a_lesson_of_nobody_is_a_conflict_that_names_the_key() {
    on_each(async |api: TestApi| {
        let refused = api.post("/v1/lessons", json!({"athlete_id": Uuid::now_v7()})).await;
        assert_eq!((refused.status, &refused.json["type"]), (409, &json!("/v1/problems/conflict")));
        assert_eq!(refused.json["errors"][0]["pointer"], "/athlete_id");
        assert_eq!(api.get("/v1/lessons").await.json["items"], json!([]));
    });
}

#[test]
fn a_list_begins_with_the_newest_and_is_filtered_and_paged() {
    on_each(async |api: TestApi| {
        let (wren, tern) = (athlete(&api, "Wren").await, athlete(&api, "Tern").await);
        for (title, whose, occasion, begun) in [
            ("a", &wren, "lesson", 10),
            ("b", &tern, "lesson", 30),
            ("c", &wren, "practice", 20),
            ("d", &wren, "lesson", 20),
            ("e", &tern, "practice", 5),
        ] {
            let body = json!({"athlete_id": whose, "occasion": occasion, "title": title, "cage": "north",
                "begun": hour(begun), "ended": hour(begun + 1)});
            assert_eq!(api.post("/v1/lessons", body).await.status, 201);
        }
        for (query, expected) in [
            ("", "bdcae"),
            (&format!("athlete={wren}"), "dca"),
            (&format!("athlete={tern}&occasion=practice"), "e"),
            ("occasion=lesson", "bda"),
            (&format!("from={}&to={}", hour(10), hour(20)), "a"),
            (&format!("from={}", hour(20)), "bdc"),
            (&format!("athlete={}", Uuid::now_v7()), ""),
        ] {
            let all = pages(&api, &format!("/v1/lessons?limit=2&{query}")).await;
            let titles: String = all.iter().map(|item| item["title"].as_str().unwrap()).collect();
            assert_eq!(titles, expected, "{query}");
        }
        for query in ["occasion=both", "from=today", "athlete=wren", "limit=0"] {
            assert_eq!(api.get(&format!("/v1/lessons?{query}")).await.status, 400, "{query}");
        }
        assert_eq!(api.get("/v1/lessons?after=00").await.status, 422, "no cursor of this list");
    });
}

#[test]
fn only_a_lesson_without_swings_is_removed() {
    on_each(async |api: TestApi| {
        let wren = athlete(&api, "Wren").await;
        let lesson = api.post("/v1/lessons", json!({"athlete_id": wren})).await;
        let path = lesson.header("location").unwrap();
        let round = api.post("/v1/rounds", json!({"lesson_id": lesson.json["id"]})).await;
        let mut changes = api.api.store.write().await.unwrap();
        for _ in 0..2 {
            put_swing(&mut changes, &lesson.json["id"], &round.json["id"]).await;
        }
        changes.commit().await.unwrap();
        let read = api.get(path).await.json;
        assert_eq!((&read["swings"], &read["rounds"]), (&json!(2), &json!(1)));
        let refused = api.delete(path, "\"1\"").await;
        assert_eq!(refused.status, 409);
        assert!(refused.json["detail"].as_str().unwrap().contains("2 swings"), "{:?}", refused.json);
        let round_path = round.header("location").unwrap();
        let refused = api.delete(round_path, "\"1\"").await;
        assert_eq!(refused.status, 409, "nor a round");
        assert_eq!((api.get(path).await.json, api.get(round_path).await.status), (read, 200));
        let empty = api.post("/v1/lessons", json!({"athlete_id": wren})).await;
        let path = empty.header("location").unwrap();
        let round = api.post("/v1/rounds", json!({"lesson_id": empty.json["id"]})).await;
        assert_eq!(api.delete(path, "\"2\"").await.status, 412);
        assert_eq!(api.delete(path, "\"1\"").await.status, 204);
        assert_eq!((api.get(path).await.status, api.get(round.header("location").unwrap()).await.status), (404, 404));
    });
}
