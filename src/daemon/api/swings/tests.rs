use super::super::test_api::{TestApi, on_each};
use crate::daemon::store::queries::swings_read::example::{BEGUN_US, HOUR_US, SHA256, World, fill};
use crate::daemon::store::queries::{lessons, rounds};
use crate::daemon::store::rows::{Occasion, UtcMicros};
use crate::engine::metrics::Metric;
use serde_json::{Value, json};
use uuid::Uuid;

/// Whether an item is one of those asked for.
type IsSo = Box<dyn Fn(&Value) -> bool>;

async fn filled(api: &TestApi, count: usize) -> World {
    let mut changes = api.api.store.write().await.unwrap();
    let world = fill(&mut changes, 17, count).await;
    changes.commit().await.unwrap();
    world
}

fn ids(items: &Value) -> Vec<&str> {
    items.as_array().unwrap().iter().map(|item| item["id"].as_str().unwrap()).collect()
}

/// The first swing of the world that is so.
fn one(world: &World, is: impl Fn(&crate::daemon::store::rows::Swing) -> bool) -> crate::daemon::store::rows::Swing {
    world.swings.iter().map(|found| &found.swing).find(|swing| is(swing)).unwrap().clone()
}

#[test]
fn every_filter_of_the_api_is_the_stores() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 60).await;
        let (athlete, lesson) = (world.athletes[0].id, world.lessons[0].id);
        let from = crate::daemon::api::instant::Instant::from(UtcMicros(BEGUN_US + HOUR_US / 2));
        let is = |key: &'static str, value: Value| move |item: &Value| item[key] == value;
        let flagged = |item: &Value| item["flags"].as_array().unwrap().contains(&json!("low_rate"));
        let tagged = |item: &Value| item["tags"].as_array().unwrap().contains(&json!("roll_over"));
        let cases: Vec<(String, IsSo)> = vec![
            (format!("athlete={athlete}"), Box::new(is("athlete_id", json!(athlete)))),
            ("athlete=none".into(), Box::new(is("athlete_id", Value::Null))),
            (format!("lesson={lesson}"), Box::new(is("lesson_id", json!(lesson)))),
            (format!("round={}", world.rounds[0].id), Box::new(is("round_id", json!(world.rounds[0].id)))),
            (
                format!("recording={}", world.recordings[1].id),
                Box::new(is("recording_id", json!(world.recordings[1].id))),
            ),
            ("occasion=practice".into(), Box::new(is("occasion", json!("practice")))),
            ("side=left".into(), Box::new(is("side", json!("left")))),
            (format!("bat={}", world.bats[1].id), Box::new(is("bat", json!("Rod")))),
            ("drill=high%20tee".into(), Box::new(is("drill", json!("high tee")))),
            ("ball_source=machine".into(), Box::new(is("ball_source", json!("machine")))),
            (
                format!("from={from}"),
                Box::new(move |item| item["contact_utc"].as_str().unwrap() >= from.to_string().as_str()),
            ),
            (
                format!("to={from}"),
                Box::new(move |item| item["contact_utc"].as_str().unwrap() < from.to_string().as_str()),
            ),
            ("contact=ball".into(), Box::new(is("contact", json!("ball")))),
            ("flag=low_rate".into(), Box::new(flagged)),
            ("without_flag=low_rate".into(), Box::new(move |item| !flagged(item))),
            ("unflagged=true".into(), Box::new(is("flags", json!([])))),
            ("mark=keep".into(), Box::new(is("mark", json!("keep")))),
            ("counted=true".into(), Box::new(|item| item["mark"] != "exclude")),
            ("tag=roll_over".into(), Box::new(tagged)),
        ];
        let all = api.get("/v1/swings?limit=500").await.json["items"].clone();
        assert_eq!(all.as_array().unwrap().len(), 60);
        for (query, is) in cases {
            let found = api.get(&format!("/v1/swings?limit=500&{query}")).await;
            let expected: Vec<Value> = all.as_array().unwrap().iter().filter(|item| is(item)).cloned().collect();
            assert!(!expected.is_empty() && expected.len() < 60, "{query}: {}", expected.len());
            assert_eq!(found.json["items"], Value::Array(expected), "{query}");
        }
        for wrong in ["athlete=Wren", "flag=blurred", "side=up", "weight=3", "limit=0", "from=yesterday", "order=any"] {
            assert_eq!(api.get(&format!("/v1/swings?{wrong}")).await.status, 400, "{wrong}");
        }
        assert_eq!(api.get("/v1/swings?after=zz").await.status, 422, "no cursor of this list");
        let oldest = api.get("/v1/swings?limit=500&order=oldest").await.json;
        assert!(ids(&oldest["items"]).iter().eq(ids(&all).iter().rev()));
    });
}

#[test]
fn a_swing_says_all_of_itself_and_its_curves_and_profile_can_be_had() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 2).await;
        let found = &world.swings[0];
        let path = format!("/v1/swings/{}", found.swing.id);
        let answer = api.get(&path).await;
        assert_eq!((answer.status, answer.header("etag")), (200, Some("\"1\"")));
        let read = answer.json;
        let place = json!({"id": found.swing.recording_id, "file_name": found.file_name,
            "start_s": found.analysis.start_s, "contact_s": found.analysis.contact_s});
        assert_eq!(read["recording"], place);
        assert_eq!(
            (&read["revision"], &read["stage"], &read["contact_utc_sigma_s"]),
            (&json!(2), &json!("final"), &json!(0.004))
        );
        for metric in Metric::ALL {
            let expected = found.analysis.metrics[metric.index()].map(|e| json!({"value": e.value, "sigma": e.sigma}));
            assert_eq!(read["metrics"][metric.key()], json!(expected), "{metric:?}");
        }
        let revisions = api.get(&format!("{path}/revisions")).await.json;
        assert_eq!(revisions.as_array().unwrap().iter().map(|r| r["revision"].clone()).collect::<Vec<_>>(), [1, 2]);
        let curves = api.get(&format!("{path}/curves")).await.json;
        assert_eq!((&curves["revision"], &curves["contact"]), (&json!(2), &json!(3)));
        assert_eq!(curves["bat_speed_mps"], json!([1.0, 2.0, 3.0, 4.0, 5.0]));
        let csv = api.get(&format!("{path}/curves.csv")).await;
        assert!(csv.header("content-type").unwrap().starts_with("text/csv"));
        assert!(String::from_utf8(csv.bytes).unwrap().starts_with("t_s,bat_speed_mps,"));
        assert_eq!(api.get(&format!("{path}/curves?revision=1")).await.status, 404);
        assert_eq!(api.get(&format!("/v1/swings/{}", Uuid::nil())).await.status, 404);
        assert_eq!(api.get(&format!("/v1/profiles/{SHA256}")).await.bytes, b"[sensor]\n");
        assert_eq!(api.get("/v1/profiles/zz").await.status, 404);
        let defined = api.get("/v1/definitions").await.json;
        assert_eq!(defined["metrics"][0]["unit"], "m/s");
        assert_eq!(defined["metrics"].as_array().unwrap().len(), Metric::COUNT);
    });
}

#[test]
fn an_edit_changes_what_it_names_and_a_stale_one_nothing() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 10).await;
        let swing = one(&world, |swing| swing.lesson_id.is_some());
        let path = format!("/v1/swings/{}", swing.id);
        let patch = json!({"mark": "exclude", "note": "check swing", "tags": ["late", "early", "late"]});
        let edited = api.patch(&path, "\"1\"", patch.clone()).await;
        assert_eq!((edited.status, edited.header("etag")), (200, Some("\"2\"")), "{}", edited.json);
        assert_eq!(edited.json["tags"], json!(["early", "late"]));
        assert_eq!((&edited.json["mark"], &edited.json["is_moved"]), (&json!("exclude"), &json!(false)));
        assert_eq!(edited.json["lesson_id"], json!(swing.lesson_id));
        assert_eq!(api.patch(&path, "\"1\"", patch).await.status, 412);
        assert_eq!(api.patch(&path, "\"2\"", json!({"tags": [" "]})).await.status, 422);
        assert_eq!(api.patch(&path, "\"2\"", json!({"contact": "none"})).await.status, 422);
        assert_eq!(api.patch(&path, "\"2\"", json!({"bat_id": Uuid::nil()})).await.status, 409);
        assert_eq!(api.patch(&path, "\"2\"", json!({"round_id": Uuid::nil()})).await.status, 409);
        assert_eq!(api.get(&path).await.json, edited.json);
    });
}

#[test]
fn a_round_brings_its_lesson_athlete_side_and_bat() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 30).await;
        let swing = one(&world, |swing| swing.athlete_id == Some(world.athletes[0].id));
        let path = format!("/v1/swings/{}", swing.id);
        let result = json!({"swing_id": swing.id, "carry_m": 80});
        let result = api.post("/v1/ball-results", result).await.json["id"].clone();
        // The first round of the other athlete's lesson: left, the first bat.
        let round = &world.rounds[4];
        let moved = api.patch(&path, "\"1\"", json!({"round_id": round.id, "side": "right"})).await.json;
        assert_eq!(
            (&moved["athlete_id"], &moved["lesson_id"]),
            (&json!(world.athletes[1].id), &json!(round.lesson_id))
        );
        assert_eq!(
            (&moved["side"], &moved["bat_id"], &moved["is_moved"]),
            (&json!("right"), &json!(round.bat_id), &json!(true))
        );
        let result = api.get(&format!("/v1/ball-results/{}", result.as_str().unwrap())).await.json;
        assert_eq!((&result["athlete_id"], &result["version"]), (&moved["athlete_id"], &json!(2)));
        let wrong = json!({"round_id": world.rounds[0].id, "athlete_id": world.athletes[1].id});
        assert_eq!(api.patch(&path, "\"2\"", wrong).await.status, 409);
        let out = api.patch(&path, "\"2\"", json!({"round_id": null})).await.json;
        assert_eq!((&out["round_id"], &out["lesson_id"]), (&Value::Null, &json!(round.lesson_id)));
        let nobodys = api.patch(&path, "\"3\"", json!({"athlete_id": null, "side": null})).await.json;
        for key in ["athlete_id", "lesson_id", "round_id", "side", "occasion"] {
            assert_eq!(nobodys[key], Value::Null, "{key}");
        }
    });
}

#[test]
fn an_athlete_without_a_lesson_then_gets_one_and_a_round_like_the_old_one() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 150).await;
        let dunlin = world.athletes[2].id;
        let in_hour = |swing: &crate::daemon::store::rows::Swing| swing.contact_utc.0 < BEGUN_US + HOUR_US;
        let swings: Vec<_> = world
            .swings
            .iter()
            .map(|found| &found.swing)
            .filter(|swing| swing.round_id == Some(world.rounds[0].id) && in_hour(swing))
            .collect();
        assert!(swings.len() > 1);
        let ids: Vec<_> = swings.iter().map(|swing| swing.id).collect();
        let body = json!({"swing_ids": ids, "athlete_id": dunlin});
        let moved = api.post_with_key("/v1/swings/moves", "m1", body.clone()).await;
        assert_eq!((moved.status, &moved.json["changed"]), (200, &json!(ids.len())), "{}", moved.json);
        assert_eq!(api.post_with_key("/v1/swings/moves", "m1", body.clone()).await.json, moved.json);
        assert_eq!(api.post("/v1/swings/moves", body).await.json["changed"], 0);
        let first = &moved.json["swings"][0];
        let same = |key: &str| moved.json["swings"].as_array().unwrap().iter().all(|swing| swing[key] == first[key]);
        assert!(same("lesson_id") && same("round_id"), "one lesson and one round for all: {}", moved.json);
        let id = |key: &str| first[key].as_str().unwrap().parse::<Uuid>().unwrap();
        let mut reading = api.api.store.read().await.unwrap();
        let lesson = lessons::get(&mut reading, id("lesson_id")).await.unwrap();
        let old = &world.lessons[0];
        assert_eq!(
            (lesson.athlete_id, lesson.occasion, lesson.begun, lesson.ended),
            (dunlin, Occasion::Lesson, old.begun, old.ended)
        );
        let round = rounds::get(&mut reading, id("round_id")).await.unwrap();
        assert_eq!(
            (round.drill.as_deref(), round.ball_source, round.note.as_str()),
            (Some("high tee"), world.rounds[0].ball_source, "")
        );
        drop(reading);
        // All or none: the last id is of nobody's swing that is not there.
        let body = json!({"swing_ids": [ids[0], Uuid::nil()], "athlete_id": world.athletes[0].id});
        let refused = api.post("/v1/swings/moves", body).await;
        assert_eq!((refused.status, &refused.json["errors"][0]["pointer"]), (409, &json!("/swing_ids/1")));
        for key in ["athlete_id", "round_id", "bat_id"] {
            let refused = api.post("/v1/swings/moves", json!({"swing_ids": [ids[0]], key: Uuid::nil()})).await;
            let pointer = json!(format!("/{key}"));
            assert_eq!((refused.status, &refused.json["errors"][0]["pointer"]), (409, &pointer));
        }
        assert_eq!(api.get(&format!("/v1/swings/{}", ids[0])).await.json["athlete_id"], json!(dunlin));
        for wrong in [json!({"swing_ids": [], "side": "left"}), json!({"swing_ids": [ids[0]]})] {
            assert_eq!(api.post("/v1/swings/moves", wrong).await.status, 422);
        }
    });
}

#[test]
fn exports_hold_what_the_list_holds() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 40).await;
        for query in ["".to_owned(), format!("athlete={}&counted=true", world.athletes[0].id), "athlete=none".into()] {
            let list = api.get(&format!("/v1/swings?order=oldest&limit=500&{query}")).await.json;
            let export = api.get(&format!("/v1/swings/export.csv?{query}")).await;
            assert_eq!(export.header("content-length"), Some(export.bytes.len().to_string().as_str()));
            let mut reader = ::csv::Reader::from_reader(export.bytes.as_slice());
            let names = reader.headers().unwrap().clone();
            let rows: Vec<_> = reader.records().map(Result::unwrap).collect();
            assert_eq!(rows.len(), list["items"].as_array().unwrap().len());
            for (row, item) in rows.iter().zip(list["items"].as_array().unwrap()) {
                let cell = |name: &str| row.get(names.iter().position(|other| other == name).unwrap()).unwrap();
                assert_eq!(
                    (cell("swing_id"), cell("contact_utc")),
                    (item["id"].as_str().unwrap(), item["contact_utc"].as_str().unwrap())
                );
                assert_eq!(cell("athlete_id"), item["athlete_id"].as_str().unwrap_or_default());
                assert_eq!(cell("bat_speed_mps").parse().ok(), item["metrics"]["bat_speed_mps"]["value"].as_f64());
                assert_eq!(cell("excluded") == "true", item["mark"] == "exclude");
            }
            let parquet = api.get(&format!("/v1/swings/export.parquet?{query}")).await.bytes;
            let file = <::parquet::file::reader::SerializedFileReader<_>>::new(bytes::Bytes::from(parquet)).unwrap();
            let count = ::parquet::file::reader::FileReader::metadata(&file).file_metadata().num_rows();
            assert_eq!(count as usize, rows.len());
        }
        assert_eq!(api.get("/v1/swings/export.csv?limit=3").await.status, 400);
    });
}

#[test]
fn a_summary_is_of_the_metrics_asked_for() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 60).await;
        let path = format!("/v1/athletes/{}/summary", world.athletes[0].id);
        let some = api.get(&format!("{path}?metric=bat_tilt_deg&metric=bat_speed_mps&by=lesson&side=left")).await.json;
        let groups = some["groups"].as_array().unwrap();
        assert_eq!(groups.len(), 2);
        for group in groups {
            assert_eq!(group["side"], "left");
            let keys: Vec<_> = group["metrics"].as_object().unwrap().keys().collect();
            assert_eq!(keys, ["bat_speed_mps", "bat_tilt_deg"]);
            let speed = &group["metrics"]["bat_speed_mps"];
            assert!(
                speed["count"].as_u64() <= group["counted"].as_u64() && speed["mean"].as_f64() >= speed["min"].as_f64()
            );
        }
        let all = api.get(&path).await.json;
        assert_eq!(all["groups"][0]["metrics"].as_object().unwrap().len(), Metric::COUNT);
        assert_eq!(api.get(&format!("{path}?metric=elegance")).await.status, 400);
        assert_eq!(api.get(&format!("{path}?by=week")).await.status, 400);
        assert_eq!(api.get(&format!("/v1/athletes/{}/summary", Uuid::nil())).await.status, 404);
    });
}
