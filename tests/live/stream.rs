//! The stream of events as a front-end reads it, through a socket.

use crate::support::folder::{Folder, entries, lesson};
use crate::support::in_process::{play, start};
use crate::support::sse::{Event, Events};
use crate::support::within;
use serde_json::json;
use std::sync::Arc;
use std::time::{Duration, Instant};
use swingd::daemon::access::{self, Access};
use swingd::daemon::api::{self, Api};
use swingd::daemon::clock::SystemClock;
use swingd::daemon::hub::{Fault, Hub};
use swingd::daemon::store::{Place, Store};
use tokio_util::sync::CancellationToken;

const KEEP: usize = 20_000;

fn numbered(events: &[Event]) -> Vec<Event> {
    events.iter().filter(|event| event.id.is_some() && event.kind != "hello").cloned().collect()
}

fn ids(events: &[Event]) -> Vec<u64> {
    events.iter().filter_map(|event| event.id).collect()
}

fn fault(cause: &str) -> Fault {
    Fault { sensor: Some("knob".into()), key: "no_data", cause: cause.into(), remedy: "wake it".into() }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_lesson_is_told_to_its_end_and_resumed_after_a_restart() {
    let folder = Folder::new("lesson");
    let service = start(&folder.kept(), KEEP).await;
    let mut events = Events::open(service.address(), None).await;
    let hello = events.expect("hello").await;
    assert_eq!(hello.retry_ms, Some(1000));
    assert_eq!(hello.json()["last_id"].as_u64(), hello.id);
    play(&service, entries(&lesson())).await;
    let (told, ()) = tokio::join!(events.rest(), service.stop());
    assert!(events.ended_well, "the last chunk is missing");
    let told = numbered(&told);
    assert!(ids(&told).is_sorted_by(|a, b| a < b) && told[0].id > hello.id);
    for stage in ["streaming", "final", "revised"] {
        let of_stage = |event: &&Event| event.kind == "swing" && event.json()["told"]["stage"] == stage;
        let numbers: Vec<_> = told.iter().filter(of_stage).map(|it| it.json()["told"]["number"].clone()).collect();
        let distinct: std::collections::BTreeSet<_> = numbers.iter().map(|number| number.as_u64().unwrap()).collect();
        assert!(distinct.into_iter().eq(0..8), "{stage}: {numbers:?}");
    }

    let service = start(&folder.kept(), KEEP).await;
    let known = told.len() / 3;
    let last_id = told[known].id.unwrap().to_string();
    let mut resumed = Events::open(service.address(), Some(&last_id)).await;
    let hello = resumed.expect("hello").await;
    assert_eq!(hello.id, None, "a front-end that ends here knows no more than it did");
    let id = service.hub().publish("mark", "{}".into());
    assert!(id > told.last().unwrap().id.unwrap());
    let mut missed = resumed.until(id).await;
    missed.pop();
    assert_eq!(missed, told[known + 1..]);
    service.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_gone_or_was_never_told_is_a_reset_and_what_is_so_now() {
    let folder = Folder::new("reset");
    let service = start(&folder.kept(), 5).await;
    let hub = service.hub();
    let first = hub.publish("k", "0".into());
    for k in 1..12 {
        hub.publish("k", k.to_string());
    }
    hub.sensor("knob", &json!({"link": "connected"}));
    let mut last = first + 11;
    for unknown in
        [first.to_string(), (last - 5).to_string(), (last + 1000).to_string(), u64::MAX.to_string(), "x".into()]
    {
        let mut events = Events::open(service.address(), Some(&unknown)).await;
        events.expect("hello").await;
        assert_eq!(events.expect("reset").await.id, Some(last), "{unknown}");
        assert_eq!(events.expect("sensor").await.data, r#"{"link":"connected"}"#);
        last = hub.publish("k", "later".into());
        assert_eq!(events.expect("k").await.id, Some(last), "{unknown}");
    }
    let mut events = Events::open(service.address(), Some(&(last - 4).to_string())).await;
    events.expect("hello").await;
    events.expect("sensor").await;
    assert_eq!(ids(&events.until(last).await), Vec::from_iter(last - 3..=last), "the oldest that is kept is known");
    service.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn who_came_before_anything_was_told_misses_nothing() {
    let folder = Folder::new("before");
    let service = start(&folder.kept(), 5).await;
    let mut events = Events::open(service.address(), None).await;
    let id = events.expect("hello").await.id.unwrap();
    drop(events);
    let told: Vec<u64> = (0..3).map(|k| service.hub().publish("k", k.to_string())).collect();
    let mut events = Events::open(service.address(), Some(&id.to_string())).await;
    events.expect("hello").await;
    assert_eq!(ids(&events.until(told[2]).await), told);
    service.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_so_now_comes_first_and_changes_follow() {
    let folder = Folder::new("now");
    let service = start(&folder.kept(), KEEP).await;
    let hub = service.hub();
    hub.sensor("knob", &json!({"battery_percent": 80}));
    hub.sensor("other", &json!({"battery_percent": 20}));
    hub.fault(fault("it is silent"));
    let mut events = Events::open(service.address(), None).await;
    let mut first = Vec::new();
    for _ in 0..4 {
        let event = events.next().await.unwrap();
        first.push((event.kind, event.id.is_some()));
    }
    let expected = [("hello", true), ("sensor", false), ("sensor", false), ("fault", false)];
    assert_eq!(first, expected.map(|(kind, has_id)| (kind.to_owned(), has_id)));
    hub.sensor("knob", &json!({"battery_percent": 79}));
    assert_eq!(events.expect("sensor").await.json(), json!({"battery_percent": 79}));
    hub.clear(Some("knob"), "no_data");
    let cleared = events.expect("fault_cleared").await;
    let what = json!({"sensor": "knob", "key": "no_data", "cause": "it is silent", "remedy": "wake it"});
    assert!(cleared.id.is_some() && cleared.json() == what, "{cleared:?}");
    hub.fault(fault("it is silent again"));
    assert_eq!(events.expect("fault").await.id, Some(cleared.id.unwrap() + 1));
    service.stop().await;
}

/// Every id is one more than that before, but after a reset; whether there was one.
fn in_order(first: u64, events: &[Event]) -> bool {
    let (mut last, mut was_reset) = (first, false);
    for event in events.iter().filter(|event| event.id.is_some()) {
        let id = event.id.unwrap();
        if event.kind == "reset" {
            assert!(id >= last, "{id} after {last}");
            was_reset = true;
        } else {
            assert_eq!(id, last + 1);
        }
        last = id;
    }
    was_reset
}

#[tokio::test(flavor = "multi_thread")]
async fn a_front_end_that_does_not_read_holds_up_nobody() {
    // More than sockets hold: those of Linux grow to some 10 MB.
    const COUNT: usize = 10_000;
    let pad = "x".repeat(4000);
    for (keep, is_reset) in [(KEEP, false), (1000, true)] {
        let folder = Folder::new("slow");
        let service = start(&folder.kept(), keep).await;
        let mut slow = Events::open(service.address(), None).await;
        let first = slow.expect("hello").await.id.unwrap();
        let mut quick = Events::open(service.address(), None).await;
        quick.expect("hello").await;
        let quick = tokio::spawn(async move {
            let mut all = Vec::new();
            // Should it be too slow itself, the last is in a reset.
            while all.last().is_none_or(|event: &Event| event.id < Some(first + COUNT as u64 + 1)) {
                all.push(quick.next().await.expect("an event"));
            }
            all
        });
        let hub = Arc::clone(service.hub());
        let data = format!("{{\"pad\":\"{pad}\"}}");
        let publish = move || {
            let began = Instant::now();
            for _ in 0..COUNT {
                hub.publish("k", data.clone());
            }
            (hub.publish("mark", "{}".into()), began.elapsed())
        };
        let published = tokio::task::spawn_blocking(publish);
        let (mark, took) = within("all to be published", published).await.unwrap();
        let quick = within("the one that reads", quick).await.unwrap();
        in_order(first, &quick);
        let slow = slow.until(mark).await;
        assert_eq!(in_order(first, &slow), is_reset);
        let count = ids(&slow).len();
        // Beside these the event log may say that it could not take all of them.
        assert!(is_reset || count > COUNT, "{count}");
        println!("keep {keep}: {COUNT} published in {took:?}, the slow one got {count}, the quick one {}", quick.len());
        assert!(took < Duration::from_secs(5), "{took:?}: the hub waited");
        service.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn heartbeats_come_while_there_is_nothing_to_tell() {
    let (cancel, folder) = (CancellationToken::new(), Folder::new("heartbeats"));
    std::fs::create_dir_all(folder.kept()).unwrap();
    let store = Store::open(&Place::in_folder(&folder.kept())).await.unwrap();
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let shared = Api {
        access: Arc::new(Access::new(&access::Settings::default(), "north".into(), address, store.clone())),
        metrics: Arc::default(),
        nearly_full_bytes: 1,
        store,
        cage: "north".into(),
        clock: Arc::new(SystemClock::new()),
        data_folder: folder.kept(),
        turns: Arc::default(),
        nearby: Arc::default(),
        checks: Arc::default(),
        hub: Arc::new(Hub::new(Vec::new(), 1, 10, Box::new(|_| {}))),
        plate: Arc::new(|_| {}),
        example: None,
        screen: Arc::default(),
        cancel: cancel.clone(),
        heartbeat: Duration::from_millis(50),
    };
    let head = access::Patience::default().head;
    let server = tokio::spawn(access::server::serve(vec![listener], api::app(shared), head, cancel.clone()));
    let mut events = Events::open(address, None).await;
    events.expect("hello").await;
    for _ in 0..3 {
        let beat = within("a heartbeat", events.next_or_comment()).await.unwrap();
        assert_eq!(beat, Event::default());
    }
    cancel.cancel();
    assert_eq!(events.rest().await, []);
    within("the server to end", server).await.unwrap();
    assert_eq!(api::HEARTBEAT, Duration::from_secs(5), "what front-ends are promised");
}
