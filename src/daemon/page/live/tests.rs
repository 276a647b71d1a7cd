//! The page and its stream through the router.

use super::scene::tests::live;
use crate::daemon::api::instant::Instant;
use crate::daemon::api::test_api::{TestApi, athlete, on_each};
use crate::daemon::record::plate;
use crate::daemon::store::rows::UtcMicros;
use crate::engine::Stage;
use axum::body::{Body, BodyDataStream};
use axum::http::{Request, header};
use futures::StreamExt;
use serde_json::{Value, json};
use std::time::Duration;
use uuid::Uuid;

/// A viewer's stream, read as it comes.
struct Viewer {
    body: BodyDataStream,
    text: String,
}

impl Viewer {
    async fn open(api: &TestApi, cookie: &str) -> Self {
        let request = Request::get("/live/stream").header(header::COOKIE, cookie).body(Body::empty()).unwrap();
        let response = api.open(request).await;
        assert_eq!(response.headers()[header::CONTENT_TYPE], "text/event-stream");
        Self { body: response.into_body().into_data_stream(), text: String::new() }
    }

    /// The data of the first event of this kind that fits, of those that were not looked at.
    async fn next(&mut self, kind: &str, fits: impl Fn(&Value) -> bool) -> Value {
        let reading = async {
            loop {
                while let Some((event, rest)) = self.text.split_once("\n\n") {
                    let data = event.strip_prefix(&format!("event: {kind}\ndata: ")).map(str::to_owned);
                    self.text = rest.to_owned();
                    if let Some(data) = data.map(|data| serde_json::from_str(&data).unwrap()).filter(|data| fits(data))
                    {
                        return data;
                    }
                }
                let piece = self.body.next().await.expect("the stream goes on").unwrap();
                self.text += std::str::from_utf8(&piece).unwrap();
            }
        };
        tokio::time::timeout(Duration::from_secs(20), reading).await.expect("it comes")
    }

    /// The part once it holds these words.
    async fn part(&mut self, slot: &str, words: &str) -> String {
        let fits = |part: &Value| part["slot"] == slot && part["html"].as_str().unwrap().contains(words);
        self.next("part", fits).await["html"].as_str().unwrap().to_owned()
    }
}

async fn wren_at_the_plate(api: &TestApi) -> String {
    let wren = athlete(api, "Wren").await;
    let said = api.put("/v1/at-the-plate", json!({"athlete_id": wren, "side": "right"})).await;
    assert_eq!(said.status, 200);
    wren
}

/// A swing of whoever is at the plate, as a station tells it.
async fn tell(api: &TestApi, number: u64, stage: Stage) {
    let mut reading = api.api.store.read().await.unwrap();
    let at_bat = plate::current(&mut reading, &api.api.cage, api.api.now()).await.unwrap();
    assert!(api.api.hub.draws_swings(), "somebody looks");
    api.api.hub.swing("swing", "{}".into(), Some(live(number, stage, &at_bat)));
}

#[test]
fn each_viewer_gets_every_part_in_their_units_and_what_changes() {
    on_each(async |api| {
        wren_at_the_plate(&api).await;
        let mut us = Viewer::open(&api, "").await;
        us.part("who", "Wren").await;
        us.part("sensor", "None is connected").await;
        tell(&api, 1, Stage::Streaming).await;
        assert!(us.part("numbers", "first values").await.contains("67.11"));
        us.part("speed", "<svg").await;
        us.part("round", "67.11 mph").await;
        let mut metric = Viewer::open(&api, "units=metric").await;
        assert!(metric.part("numbers", "first values").await.contains("30.00"));
        assert!(metric.part("plate", "Pitch at the plate").await.contains("m/s"));
    });
}

#[test]
fn a_final_swing_is_spoken_once_and_not_to_who_comes_later() {
    on_each(async |api| {
        wren_at_the_plate(&api).await;
        let mut viewer = Viewer::open(&api, "").await;
        viewer.part("who", "Wren").await;
        tell(&api, 1, Stage::Streaming).await;
        tell(&api, 1, Stage::Smoothed).await;
        let said = viewer.next("say", |_| true).await;
        assert_eq!(said["text"], "Swing 1. 67.1 miles per hour. 157 milliseconds to contact.");
        let mut late = Viewer::open(&api, "").await;
        late.part("numbers", "final values").await;
        tell(&api, 2, Stage::Smoothed).await;
        let said = late.next("say", |_| true).await;
        assert!(said["text"].as_str().unwrap().starts_with("Swing 2."), "{said}");
    });
}

#[test]
fn a_switch_at_the_plate_comes_by_the_stream() {
    on_each(async |api| {
        let wren = wren_at_the_plate(&api).await;
        let robin = athlete(&api, "Robin").await;
        let mut viewer = Viewer::open(&api, "").await;
        viewer.part("who", "bats right").await;
        api.put("/v1/at-the-plate", json!({"athlete_id": wren, "side": "left", "drill": "high tee"})).await;
        assert!(viewer.part("who", "bats left").await.contains("high tee"));
        tell(&api, 1, Stage::Streaming).await;
        viewer.part("numbers", "67.11").await;
        api.put("/v1/at-the-plate", json!({"athlete_id": robin})).await;
        viewer.part("who", "Robin").await;
        viewer.part("numbers", "No swing yet").await;
        let ash = api.post("/v1/bats", json!({"name": "Ash 33", "kind": "bat"})).await;
        let html = viewer.part("plate", "Ash 33").await;
        assert!(html.contains(ash.json["id"].as_str().unwrap()), "what was entered elsewhere can be chosen");
    });
}

#[test]
fn of_who_is_erased_nothing_is_shown_any_more() {
    on_each(async |api| {
        let wren = wren_at_the_plate(&api).await;
        let mut viewer = Viewer::open(&api, "").await;
        viewer.part("plate", "Wren").await;
        tell(&api, 1, Stage::Streaming).await;
        viewer.part("numbers", "67.11").await;
        let robin = athlete(&api, "Robin").await;
        let lesson = api.get("/v1/at-the-plate").await.json["lesson_id"].as_str().unwrap().to_owned();
        api.put("/v1/at-the-plate", json!({"athlete_id": robin})).await;
        viewer.part("numbers", "No swing yet").await;
        let ended =
            api.patch(&format!("/v1/lessons/{lesson}"), "\"1\"", json!({"ended": Instant::from(api.api.now())})).await;
        assert_eq!(ended.status, 200, "{:?}", ended.json);
        let etag = api.get(&format!("/v1/athletes/{wren}")).await.header("etag").unwrap().to_owned();
        let erased = api.delete(&format!("/v1/athletes/{wren}?confirm=Wren"), &etag).await;
        assert_eq!(erased.status, 200, "{:?}", erased.json);
        viewer.next("part", |part| part["slot"] == "plate" && !part["html"].as_str().unwrap().contains("Wren")).await;
        let page = api.get("/").await;
        assert!(!String::from_utf8(page.bytes).unwrap().contains("Wren"));
    });
}

#[test]
fn the_page_is_whole_before_the_stream_and_leads_on_where_nobody_is_entered() {
    on_each(async |api| {
        let first = api.get("/").await;
        assert_eq!((first.status, first.header("location")), (303, Some("/start")));
        wren_at_the_plate(&api).await;
        let page = api.get("/").await;
        let html = String::from_utf8(page.bytes).unwrap();
        assert_eq!(page.status, 200);
        for slot in super::Slot::ALL {
            assert!(html.contains(&format!("data-slot=\"{}\"", slot.name())), "{slot:?}");
        }
        assert!(html.contains("<h1><bdi>Wren</bdi></h1>") && html.contains("data-stream=\"/live/stream\""));
        assert!(!html.contains("style=\"") && !html.contains("onclick"), "the policy forbids it");
        assert!(!html.contains(&Uuid::nil().to_string()) && UtcMicros(0) < api.api.now());
    });
}

#[test]
fn a_beat_says_that_the_connection_lives() {
    on_each(async |api| {
        athlete(&api, "Wren").await;
        let mut viewer = Viewer::open(&api, "").await;
        assert_eq!(viewer.next("beat", |_| true).await, json!({}));
    });
}

#[test]
fn only_what_changes_what_is_shown_is_looked_at_again() {
    let is_shown = |method: &str, path: &str| super::changes(&method.parse().unwrap(), path);
    for path in ["/v1/swings/1", "/v1/bats", "/v1/athletes/1", "/v1/lessons/1", "/v1/recordings/1/reanalyses"] {
        assert!(is_shown("PATCH", path) && !is_shown("GET", path), "{path}");
    }
    // Who is at the plate is news, so it is read anyway.
    for path in [
        "/pair",
        "/pair/leave",
        "/v1/pairings",
        "/v1/nearby/1",
        "/v1/at-the-plate",
        "/v1/example",
        "/v1/sensors/1/checks",
    ] {
        assert!(!is_shown("POST", path), "{path}");
    }
}

#[test]
fn a_bat_that_is_retired_is_not_offered_with_its_athlete() {
    on_each(async |api| {
        let (wren, robin) = (athlete(&api, "Wren").await, athlete(&api, "Robin").await);
        let ash = api.post("/v1/bats", json!({"name": "Ash 33", "kind": "bat"})).await;
        let (id, etag) = (ash.json["id"].as_str().unwrap(), ash.header("etag").unwrap());
        api.put("/v1/at-the-plate", json!({"athlete_id": wren, "bat_id": id})).await;
        api.put("/v1/at-the-plate", json!({"athlete_id": robin})).await;
        let offered = async || {
            let question = super::read::Question::default();
            let read = super::read::read(&api.api, question, api.api.now()).await.unwrap();
            read.choices.athletes.into_iter().find(|athlete| athlete.nickname == "Wren").unwrap().bat_id
        };
        assert_eq!(offered().await.unwrap().to_string(), id);
        let retired = api.patch(&format!("/v1/bats/{id}"), etag, json!({"is_retired": true})).await;
        assert_eq!(retired.status, 200, "{:?}", retired.json);
        assert_eq!(offered().await, None);
    });
}

/// The task has ended by itself, or failed: whoever looks on or comes gets parts.
#[test]
fn a_viewer_is_never_left_without_a_task_that_draws() {
    on_each(async |api| {
        wren_at_the_plate(&api).await;
        let mut viewer = Viewer::open(&api, "").await;
        viewer.part("who", "Wren").await;
        let board = &api.api.screen;
        assert!(!board.ends(false), "somebody looks");
        drop(viewer);
        assert!(board.ends(false), "nobody does");
        let mut next = Viewer::open(&api, "").await;
        next.part("who", "Wren").await;
    });
}
