//! The routes, who may ask for them, and the end of the service, through a socket.

use crate::support::folder::{Folder, entries};
use crate::support::in_process::{anonymous_lesson, play, start};
use crate::support::sse::{Event, Events, request};
use crate::support::{WAIT, within};
use serde_json::{Value, json};
use std::net::SocketAddr;
use std::time::{Duration, Instant};
use swingd::daemon::hub::Fault;
use swingd::daemon::playback::Pace;
use swingd::daemon::store::queries::{recordings, swings};
use swingd::daemon::store::rows::Word;
use swingd::daemon::store::{Place, Store};
use swingd::engine::profile::Profile;
use swingd::engine::wire::mcap::Entry;
use tokio::io::AsyncWriteExt;

const JSON: &str = "Content-Type: application/json";

async fn put(address: SocketAddr, body: &str) -> u16 {
    request(address, "PUT /v1/at-the-plate", &[JSON], body).await.status
}

/// Enters something; its id.
async fn made(address: SocketAddr, path: &str, body: &Value) -> Value {
    let made = request(address, &format!("POST {path}"), &[JSON], &body.to_string()).await;
    assert_eq!(made.status, 201, "{made:?}");
    made.json()["id"].clone()
}

#[tokio::test(flavor = "multi_thread")]
async fn routes_answer_with_what_is_so_now_and_there_are_no_others() {
    let folder = Folder::new("routes");
    let service = start(&folder.kept(), 10).await;
    let address = service.address();
    let none = json!({"items": [], "next": null});
    assert_eq!(request(address, "GET /v1/sensors", &[], "").await.json(), none);
    let (cause, remedy) = ("the disk is full".to_owned(), "make room".to_owned());
    service.hub().fault(Fault { sensor: None, key: "recording", cause, remedy });
    service.hub().sensor("knob", &json!({"link": "lost"}));
    let sensors = request(address, "GET /v1/sensors", &[], "").await;
    assert!(sensors.head.to_ascii_lowercase().contains("content-type: application/json"), "{}", sensors.head);
    let sensors = sensors.json();
    assert_eq!(
        (&sensors["items"][0]["name"], &sensors["items"][0]["live"]),
        (&json!("knob"), &json!({"link": "lost"}))
    );
    assert_eq!((sensors["items"].as_array().unwrap().len(), &sensors["next"]), (1, &json!(null)));
    let faults = request(address, "GET /v1/faults", &[], "").await.json();
    let expected = json!({"sensor": null, "key": "recording", "cause": "the disk is full", "remedy": "make room"});
    assert_eq!(faults, json!([expected]));
    for (what, status) in [
        ("GET /v1", 404),
        ("GET /v1/event", 404),
        ("GET /v1/events/", 404),
        ("GET /v1/events?after=soon", 400),
        ("POST /v1/at-the-plate", 405),
        ("DELETE /v1/events", 405),
    ] {
        assert_eq!(request(address, what, &[], "").await.status, status, "{what}");
    }
    service.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn only_names_of_this_machine_are_taken_for_the_host() {
    let folder = Folder::new("host");
    let service = start(&folder.kept(), 10).await;
    let port = service.address().port();
    let names = ["localhost", "127.0.0.1", "[::1]"];
    let with_port = names.map(|name| format!("{name}:{port}"));
    for host in names.iter().copied().chain(with_port.iter().map(String::as_str)) {
        let answer = request(service.address(), "GET /v1/sensors", &[&format!("Host: {host}")], "").await;
        assert_eq!(answer.status, 200, "{host}");
    }
    for host in
        ["bats.example", "bats.example:80", "localhost.bats.example", "127.0.0.1.bats.example", "::1", "", "a b"]
    {
        for what in ["GET /v1/events", "GET /v1/sensors", "PUT /v1/at-the-plate", "GET /"] {
            let answer = request(service.address(), what, &[&format!("Host: {host}"), JSON], "").await;
            assert_eq!(answer.status, 421, "{what} at {host:?}");
            assert!(answer.body.contains("expected localhost"), "{}", answer.body);
        }
    }
    service.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn who_is_at_the_plate_is_refused_unless_it_can_be_understood() {
    let folder = Folder::new("plate");
    let service = start(&folder.kept(), 10).await;
    let address = service.address();
    let drill = |length: usize| format!("{{\"drill\":\"{}\"}}", "é".repeat(length));
    for (body, status) in [
        ("{", 400),
        ("Wren", 400),
        ("\"Wren\"", 422),
        ("null", 422),
        ("{\"drill\":7}", 422),
        ("{\"side\":\"both\"}", 422),
        ("{\"nickname\":\"Wren\"}", 422),
        (&drill(101), 422),
        (&drill(600_000), 413),
        (&drill(100), 200),
        ("{}", 200),
    ] {
        assert_eq!(put(address, body).await, status, "{}", body.chars().take(40).collect::<String>());
    }
    // What a page of another origin can send unasked.
    let plain = request(address, "PUT /v1/at-the-plate", &["Content-Type: text/plain"], "{}").await;
    assert_eq!(plain.status, 415);
    service.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn who_is_at_the_plate_is_in_later_swings_and_in_the_recording() {
    const CHANGE_S: f64 = 65.0;
    let folder = Folder::new("names");
    let service = start(&folder.kept(), 1000).await;
    let address = service.address();
    let wren_id = made(address, "/v1/athletes", &json!({"nickname": "Wren", "bats": "left"})).await;
    let robin_id = made(address, "/v1/athletes", &json!({"nickname": "Robin", "bats": "right"})).await;
    let bat_id = made(address, "/v1/bats", &json!({"name": "the old one", "kind": "bat", "length_m": 0.8})).await;
    // Before there is any sensor.
    assert_eq!(put(address, &json!({"athlete_id": wren_id, "side": "left"}).to_string()).await, 200);
    let wrens = request(address, "GET /v1/at-the-plate", &[], "").await.json();
    let mut events = Events::open(address, None).await;
    events.expect("hello").await;
    let (at_change, reached) = tokio::sync::oneshot::channel();
    let (go_on, changed) = std::sync::mpsc::channel::<()>();
    let (mut lesson, mut at_change) = (anonymous_lesson().into_iter(), Some(at_change));
    let next = move || {
        let entry = lesson.next()?;
        let is_later =
            matches!(&entry, Entry::Samples { samples, .. } if samples.iter().any(|it| it.time.0 > CHANGE_S));
        if is_later && let Some(at_change) = at_change.take() {
            at_change.send(()).unwrap();
            changed.recv_timeout(WAIT).unwrap();
        }
        Some(entry)
    };
    let playing = service.play("knob", next, Pace { speed: 1000.0 }).unwrap();
    within("half of the lesson", reached).await.unwrap();
    let saying = json!({"athlete_id": robin_id, "bat_id": bat_id, "pitch_speed_mps": 31.5});
    assert_eq!(put(address, &saying.to_string()).await, 200);
    let robins = request(address, "GET /v1/at-the-plate", &[], "").await.json();
    go_on.send(()).unwrap();
    within("the other half", playing).await.unwrap();
    let mut told = events.until_stored(8).await;
    let (rest, ()) = tokio::join!(events.rest(), service.stop());
    told.extend(rest);
    assert_eq!(told.iter().filter(|event| event.kind == "plate").count(), 1, "the second, since the stream began");
    let swings: Vec<_> = told.iter().filter(|event| event.kind == "swing").map(Event::json).collect();
    let (lesson_id, round_id) = (&wrens["lesson_id"], &wrens["round_id"]);
    let wren = json!({"nickname": "Wren", "side": "left", "athlete_id": wren_id, "lesson_id": lesson_id,
        "round_id": round_id});
    let (lesson_id, round_id) = (&robins["lesson_id"], &robins["round_id"]);
    let robin = json!({"nickname": "Robin", "bat": "the old one", "athlete_id": robin_id, "lesson_id": lesson_id,
        "round_id": round_id, "bat_id": bat_id, "pitch_speed_mps": 31.5});
    let (mut of_wren, mut of_robin) = (0, 0);
    for swing in &swings {
        let told = &swing["told"];
        let is_wrens = told["contact_s"].as_f64().unwrap() < CHANGE_S;
        assert_eq!(told["at_the_plate"], if is_wrens { wren.clone() } else { robin.clone() }, "{told}");
        *(if is_wrens { &mut of_wren } else { &mut of_robin }) += 1;
    }
    assert!(of_wren >= 6 && of_robin >= 10, "{of_wren} {of_robin}");
    let recorded = entries(&folder.recordings()[0]);
    let names = recorded.iter().filter_map(|entry| match entry {
        Entry::AtThePlate { context, .. } => Some(serde_json::to_value(context).unwrap()),
        _ => None,
    });
    assert_eq!(names.collect::<Vec<_>>(), [wren, robin]);
    assert_measured_with(&recorded, (0.8, 31.5));
    assert_owned(&folder, &swings, CHANGE_S, [&wrens, &robins]).await;

    let service = start(&folder.kept(), 1000).await;
    let again = request(service.address(), "GET /v1/at-the-plate", &[], "").await.json();
    assert_eq!(again, robins, "a restart forgets nobody");
    service.stop().await;
}

/// The bat that is swung and the pitch are in the profile from the switch on.
fn assert_measured_with(recorded: &[Entry], length_m_and_pitch_mps: (f64, f64)) {
    let profiles = recorded.iter().filter_map(|entry| match entry {
        Entry::Profile { toml, .. } => Some(Profile::parse(toml).unwrap().0),
        _ => None,
    });
    let worn: Vec<_> = profiles.map(|profile| (profile.bat.length_m, profile.swing.pitch_speed_mps)).collect();
    assert_eq!(worn.len(), 2, "{worn:?}");
    assert_eq!(worn[1], length_m_and_pitch_mps);
    assert_ne!(worn[0], worn[1]);
}

/// Swings are in the store under whoever was at the plate when they were told first.
async fn assert_owned(folder: &Folder, swings: &[Value], change_s: f64, plates: [&Value; 2]) {
    let store = Store::open(&Place::in_folder(&folder.kept())).await.unwrap();
    let mut reading = store.read().await.unwrap();
    let file = folder.recordings()[0].file_name().unwrap().to_str().unwrap().to_owned();
    let recording = recordings::of_file(&mut reading, "cage", &file).await.unwrap().unwrap();
    for swing in swings {
        let contact_s = swing["told"]["contact_s"].as_f64().unwrap();
        let run = swing["told"]["run"].as_i64().unwrap();
        let place = swings::Place { recording_id: recording.id, run, contact_s };
        let stored = swings::near(&mut reading, place, 0.1).await.unwrap().unwrap();
        let plate = plates[usize::from(contact_s >= change_s)];
        let owner = stored.owner;
        let side = owner.side.map(|side| json!(side.word())).unwrap_or_default();
        let found = json!([owner.athlete_id, owner.lesson_id, owner.round_id, owner.bat_id, side]);
        let expected =
            json!([plate["athlete_id"], plate["lesson_id"], plate["round_id"], plate["bat_id"], plate["side"]]);
        assert_eq!(found, expected, "{contact_s}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn stopping_ends_streams_and_waits_for_nobody_who_does_not_read() {
    const KEEP: usize = 4000;
    let folder = Folder::new("stop");
    let service = start(&folder.kept(), KEEP).await;
    let mut reading = Events::open(service.address(), None).await;
    let first = reading.expect("hello").await.id.unwrap();
    let mut stalled = Events::open(service.address(), None).await;
    stalled.expect("hello").await;
    let mut half = tokio::net::TcpStream::connect(service.address()).await.unwrap();
    half.write_all(b"GET /v1/eve").await.unwrap();
    let data = format!("{{\"pad\":\"{}\"}}", "x".repeat(9000));
    let last = (0..3000).map(|_| service.hub().publish("k", data.clone())).max().unwrap();
    let told = reading.until(last).await;
    let began = Instant::now();
    let (rest, ()) = within("the stop", async { tokio::join!(reading.rest(), service.stop()) }).await;
    let took = began.elapsed();
    assert!(rest.is_empty() && reading.ended_well, "{rest:?}");
    println!("stopped in {took:?} with a front-end that does not read");
    // It may take 5 s; without anything to finish it is the wait for front-ends.
    assert!(took < Duration::from_secs(1), "{took:?}");

    let service = start(&folder.kept(), KEEP).await;
    let mut resumed = Events::open(service.address(), Some(&told[0].id.unwrap().to_string())).await;
    resumed.expect("hello").await;
    let again = resumed.until(last).await;
    assert_eq!(again, told[1..], "all was in the event log; the first was {first}");
    service.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn stopping_in_the_middle_of_a_lesson_tells_the_last_and_finishes_the_file() {
    let folder = Folder::new("middle");
    let service = start(&folder.kept(), 1000).await;
    let mut events = Events::open(service.address(), None).await;
    events.expect("hello").await;
    play(&service, anonymous_lesson().into_iter().take(900).collect()).await;
    let began = Instant::now();
    let (told, ()) = tokio::join!(events.rest(), service.stop());
    assert!(began.elapsed() < Duration::from_secs(5) && events.ended_well);
    assert!(told.iter().any(|event| event.kind == "swing"));
    let files = folder.recordings();
    let name = files[0].file_name().unwrap().to_str().unwrap();
    assert!(files.len() == 1 && !name.contains(".live"), "{files:?}");
    let lines: Vec<_> = crate::support::folder::replayed(&entries(&files[0])).into_iter().map(|told| told.1).collect();
    let kinds = swingd::report::event::KINDS;
    let told = told.iter().filter(|event| kinds.contains(&event.kind.as_str()));
    let told: Vec<_> = told.map(|event| crate::support::folder::told_in(&event.data).1).collect();
    assert_eq!(told, lines);
}
