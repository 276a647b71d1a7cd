use super::super::test_api::{Answer, TestApi, on_each};
use crate::daemon::store::queries::swings_read::example::{BEGUN_US, World, fill};
use crate::daemon::store::rows::UtcMicros;
use crate::film::example::{PATTERN_S, SPEC, wav};
use axum::body::{Body, Bytes};
use axum::http::Request;
use futures::stream;
use serde_json::Value;

/// The clip begins so long before the first contact, s.
const LEAD_S: f64 = 4.25;
const CLIP_S: f64 = 70.0;

/// A lesson with a swing at each instant of the pattern, and what they are called, in order.
async fn lesson(api: &TestApi) -> (World, Vec<String>) {
    let mut changes = api.api.store.write().await.unwrap();
    let mut world = fill(&mut changes, 17, 0).await;
    let mut ids = Vec::new();
    for at_s in PATTERN_S {
        let at = UtcMicros(BEGUN_US + (at_s * 1e6).round() as i64);
        ids.push(world.add_at(&mut changes, at).await.to_string());
    }
    changes.commit().await.unwrap();
    (world, ids)
}

fn sound() -> Vec<u8> {
    wav(SPEC, &PATTERN_S.map(|at_s| LEAD_S + at_s), CLIP_S)
}

async fn send(api: &TestApi, path: &str, kind: &str, body: impl Into<Body>) -> Answer {
    api.send(Request::post(path).header("content-type", kind).body(body.into()).unwrap()).await
}

fn path(world: &World, query: &str) -> String {
    format!("/v1/lessons/{}/film-match{query}", world.lessons[0].id)
}

#[test]
fn a_film_is_matched_and_nothing_of_it_is_kept() {
    on_each(async |api: TestApi| {
        let (world, ids) = lesson(&api).await;
        let before = files(&api);
        let pieces: Vec<_> =
            sound().chunks(10_001).map(|piece| Ok::<_, std::io::Error>(Bytes::copy_from_slice(piece))).collect();
        let answer =
            send(&api, &path(&world, "?units=metric"), "audio/wav", Body::from_stream(stream::iter(pieces))).await;
        assert_eq!(answer.status, 200, "{:?}", answer.json);
        let said = &answer.json;
        assert_eq!(
            (&said["matched"], &said["reason"], &said["refusal"]),
            (&Value::from(true), &Value::Null, &Value::Null)
        );
        assert_eq!((said["matched_contacts"].as_u64(), said["contacts_in_clip"].as_u64()), (Some(9), Some(9)));
        let sigma_s = said["offset_sigma_s"].as_f64().unwrap();
        // An onset is known to 0.4 ms, the way of the sound to 1 ms, and there are nine; 0.3 ms are shared.
        assert!((0.3e-3..1.0e-3).contains(&sigma_s), "{sigma_s}");
        assert!((said["offset_s"].as_f64().unwrap() - LEAD_S).abs() < 1e-3, "{said}");
        let contacts = said["contacts"].as_array().unwrap();
        for ((contact, id), at_s) in contacts.iter().zip(&ids).zip(PATTERN_S) {
            assert_eq!(contact["swing_id"], **id);
            assert!((contact["film_s"].as_f64().unwrap() - LEAD_S - at_s).abs() < 1e-3, "{contact}");
        }
        assert_eq!(contacts.len(), PATTERN_S.len());
        let captions = said["captions"].as_str().unwrap();
        assert!(captions.starts_with("WEBVTT\n\n00:00:03.7") && captions.contains("\nSwing 9\n"), "{captions}");
        assert!(captions.contains(" m/s") && !captions.contains("mph"));
        assert_eq!(said["contacts_csv"].as_str().unwrap().lines().count(), 1 + PATTERN_S.len());
        assert_eq!(files(&api), before);
    });
}

fn files(api: &TestApi) -> Vec<String> {
    let name = |entry: std::io::Result<std::fs::DirEntry>| entry.unwrap().file_name().into_string().unwrap();
    let entries = std::fs::read_dir(&api.api.data_folder).map(|all| all.map(name).collect::<Vec<_>>());
    entries.unwrap_or_default()
}

#[test]
fn a_film_that_does_not_fit_is_an_answer_and_a_file_that_is_none_a_problem() {
    on_each(async |api: TestApi| {
        let (world, _) = lesson(&api).await;
        let silent = send(&api, &path(&world, ""), "audio/x-wav", wav(SPEC, &[], 5.0)).await;
        assert_eq!((silent.status, &silent.json["matched"]), (200, &Value::from(false)), "{:?}", silent.json);
        assert_eq!((&silent.json["refusal"], &silent.json["captions"]), (&Value::from("few_cracks"), &Value::Null));
        assert!(silent.json["reason"].as_str().unwrap().contains("0 cracks"));
        for (kind, body, status, word) in [
            ("audio/wav", b"no sound".to_vec(), 422, "not a WAV file"),
            ("audio/wav", sound()[..50_000].to_vec(), 422, "breaks off"),
            ("audio/mpeg", sound(), 415, "audio/wav"),
        ] {
            let answer = send(&api, &path(&world, ""), kind, body).await;
            assert_eq!(answer.status, status, "{:?}", answer.json);
            assert!(answer.json["detail"].as_str().unwrap().contains(word), "{:?}", answer.json);
        }
    });
}

#[test]
fn lesson_round_and_distance_are_looked_at_first() {
    on_each(async |api: TestApi| {
        let (world, _) = lesson(&api).await;
        let nowhere = format!("/v1/lessons/{}/film-match", world.rounds[0].id);
        let other = world.rounds.iter().find(|round| round.lesson_id != world.lessons[0].id).unwrap().id;
        let none = world.lessons[0].id;
        for (path, status) in [
            (nowhere, 404),
            (path(&world, "?distance_m=-1"), 422),
            (path(&world, "?units=ells"), 400),
            (path(&world, &format!("?round={other}")), 422),
            (path(&world, &format!("?round={none}")), 409),
        ] {
            let answer = send(&api, &path, "audio/wav", b"".to_vec()).await;
            assert_eq!(answer.status, status, "{path}: {:?}", answer.json);
        }
        let of_round =
            send(&api, &path(&world, &format!("?round={}", world.rounds[0].id)), "audio/wav", wav(SPEC, &[], 2.0))
                .await;
        assert_eq!(of_round.json["refusal"], "few_contacts", "{:?}", of_round.json);
    });
}
