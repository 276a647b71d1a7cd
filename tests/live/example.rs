//! The bundled lesson at the plate of the service, through a socket.

use crate::support::folder::Folder;
use crate::support::in_process::{anonymous_lesson, start};
use crate::support::sse::{Events, request};
use crate::support::within;
use serde_json::{Value, json};
use std::net::SocketAddr;
use std::time::Duration;
use swingd::daemon::example::SENSOR;
use swingd::daemon::playback::Pace;

const JSON: &str = "Content-Type: application/json";

async fn sent(address: SocketAddr, what: &str, body: &Value) -> Value {
    let answer = request(address, what, &[JSON], &body.to_string()).await;
    assert!((200..300).contains(&answer.status), "{what}: {answer:?}");
    answer.json()
}

async fn link(address: SocketAddr) -> Value {
    let sensors = request(address, "GET /v1/sensors", &[], "").await.json();
    sensors["items"][0]["live"]["link"].clone()
}

#[tokio::test(flavor = "multi_thread")]
async fn no_simulated_swing_is_ever_somebodys_who_is_real() {
    let folder = Folder::new("example");
    let service = start(&folder.kept(), 1000).await;
    let address = service.address();
    let wren = sent(address, "POST /v1/athletes", &json!({"nickname": "Wren"})).await["id"].clone();
    let mut events = Events::open(address, None).await;
    events.expect("hello").await;
    let played = sent(address, "POST /v1/example", &json!({"speed": 20.0})).await;
    let told = events.until_stored(1).await;
    let stored = told.last().unwrap().json();
    assert_eq!(stored["athlete_id"], played["athlete_id"]);
    assert!(stored["lesson_id"].is_string() && told.iter().any(|event| event.kind == "fault"), "{told:?}");
    sent(address, "PUT /v1/at-the-plate", &json!({"athlete_id": wren, "side": "left"})).await;
    within("the example to end", async {
        while link(address).await != "lost" {
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    })
    .await;
    let faults = request(address, "GET /v1/faults", &[], "").await.json();
    let of_example = |fault: &&Value| fault["key"] == "example";
    assert_eq!(faults.as_array().unwrap().iter().find(of_example), None, "nothing simulated is shown any more");
    // If something of it were sent all the same, it would be nobody's.
    let mut lesson = anonymous_lesson().into_iter();
    let playing = service.play(SENSOR, move || lesson.next(), Pace { speed: 1000.0 }).unwrap();
    within("the rest", playing).await.unwrap();
    // What the sensor's clock said before is not told again, so that one or two of the eight are missing.
    let told = within("the swings of the rest", events.until_stored(5)).await;
    let stored: Vec<_> = told.iter().filter(|event| event.kind == "stored").map(|event| event.json()).collect();
    let owners: Vec<_> = stored.iter().map(|line| &line["athlete_id"]).collect();
    assert!(owners.iter().all(|owner| **owner == played["athlete_id"] || owner.is_null()), "{owners:?}");
    assert!(owners.iter().filter(|owner| owner.is_null()).count() >= 4, "{owners:?}");
    service.stop().await;
}
