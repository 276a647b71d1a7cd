//! From what a session tells to the store, through the whole service.

use crate::support::folder::{Folder, entries, lesson};
use crate::support::in_process::{play, start};
use crate::support::sse::{Event, Events};
use serde_json::Value;
use swingd::daemon::store::queries::swings::Place as Where;
use swingd::daemon::store::queries::{analyses, recordings, swings};
use swingd::daemon::store::rows::{Analysis, Recording, RecordingState};
use swingd::daemon::store::{Place, Reading, Store};
use swingd::engine::metrics::Metric;
use uuid::Uuid;

const KEEP: usize = 20_000;

async fn opened(folder: &Folder) -> Store {
    Store::open(&Place::in_folder(&folder.kept())).await.unwrap()
}

fn of_kind<'a>(events: &'a [Event], kind: &str) -> Vec<&'a Event> {
    events.iter().filter(|event| event.kind == kind).collect()
}

/// The row of the only recording in a folder.
async fn recording(folder: &Folder, reading: &mut Reading) -> Recording {
    let files = folder.recordings();
    let [file] = &files[..] else { panic!("{files:?}") };
    let name = file.file_name().unwrap().to_str().unwrap();
    recordings::of_file(reading, "cage", name).await.unwrap().unwrap_or_else(|| panic!("{name} is not known"))
}

fn id(value: &Value) -> Uuid {
    value.as_str().unwrap_or_else(|| panic!("no id: {value}")).parse().unwrap()
}

/// Every word on a swing but the first is there as it was told, found by its contact.
async fn assert_stored(reading: &mut Reading, recording: &Recording, told: &[Event]) {
    let mut last = std::collections::BTreeMap::new();
    for event in of_kind(told, "swing") {
        let envelope = event.json();
        let told = &envelope["told"];
        let number = told["number"].as_u64().unwrap();
        if told["stage"] != "streaming" {
            last.insert((number, told["stage"].as_str().unwrap().to_owned()), envelope);
        }
    }
    assert_eq!(last.len(), 16, "8 swings, each told twice after the first word: {:?}", last.keys());
    for ((number, stage), envelope) in last {
        let told = &envelope["told"];
        let contact_s = told["contact_s"].as_f64().unwrap();
        let run = told["run"].as_i64().unwrap();
        let place = Where { recording_id: recording.id, run, contact_s };
        let known = swings::near(reading, place, 0.1).await.unwrap().unwrap_or_else(|| panic!("{number} is missing"));
        assert_eq!((known.id, known.revision), (id(&envelope["swing_id"]), 2), "{number}");
        let analysis = analyses::latest_of_stage(reading, known.id, &stage).await.unwrap().unwrap();
        assert_eq!(analysis.revision, if stage == "final" { 1 } else { 2 });
        assert_same(&analysis, told);
    }
}

/// Metric for metric, but for the last bit, which reading JSON costs.
fn assert_same(analysis: &Analysis, told: &Value) {
    assert_equal(Some(analysis.contact_s), &told["contact_s"], "contact_s");
    for metric in Metric::ALL {
        let stored = analysis.metrics[metric.index()];
        let told = &told["metrics"][metric.key()];
        assert_equal(stored.map(|it| it.value), &told["value"], metric.key());
        assert_equal(stored.map(|it| it.sigma), &told["sigma"], metric.key());
    }
}

fn assert_equal(stored: Option<f64>, told: &Value, key: &str) {
    let is_equal = match (stored, told.as_f64()) {
        (Some(stored), Some(told)) => (stored - told).abs() <= 2.0 * f64::EPSILON * told.abs(),
        (stored, told) => stored.is_none() && told.is_none(),
    };
    assert!(is_equal, "{key}: {stored:?} {told}");
}

#[tokio::test(flavor = "multi_thread")]
async fn every_swing_of_a_lesson_is_stored_as_it_was_told_and_acknowledged() {
    let folder = Folder::new("stored");
    let service = start(&folder.kept(), KEEP).await;
    let mut events = Events::open(service.address(), None).await;
    play(&service, entries(&lesson())).await;
    let mut told = events.until_stored(8).await;
    let (rest, ()) = tokio::join!(events.rest(), service.stop());
    told.extend(rest);
    let store = opened(&folder).await;
    let mut reading = store.read().await.unwrap();
    let recording = recording(&folder, &mut reading).await;
    assert_stored(&mut reading, &recording, &told).await;

    assert_eq!(recording.state, RecordingState::Stored);
    let summary = recording.summary.unwrap();
    let samples: usize = entries(&folder.recordings()[0]).iter().map(crate::support::folder::samples_in).sum();
    assert_eq!(summary.samples, samples as i64);
    assert!(recording.sensor_id.is_some() && recording.ended.unwrap() >= recording.begun);

    let acknowledged = of_kind(&told, "stored");
    assert_eq!(acknowledged.len(), 16);
    for stored in acknowledged {
        let (line, place) = (stored.json(), stored.id);
        assert_eq!(id(&line["recording_id"]), recording.id);
        let swing = told.iter().find(|event| {
            event.kind == "swing" && {
                let envelope = event.json();
                envelope["swing_id"] == line["swing_id"] && envelope["told"]["stage"] == line["stage"]
            }
        });
        assert!(swing.unwrap_or_else(|| panic!("{line}: was never told")).id < place, "told before it is acknowledged");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_is_lost_while_another_program_holds_the_store() {
    let folder = Folder::new("held");
    let service = start(&folder.kept(), KEEP).await;
    let mut events = Events::open(service.address(), None).await;
    let other = opened(&folder).await;
    let held = other.write().await.unwrap();
    play(&service, entries(&lesson())).await;
    let is = |event: &Event, kind: &str| event.kind == kind && event.json()["key"] == "store";
    let mut told = events.until_it(|event| is(event, "fault")).await;
    assert_eq!(of_kind(&told, "stored").len(), 0);
    drop(held);
    told.extend(events.until_it(|event| is(event, "fault_cleared")).await);
    told.extend(events.until_stored(8).await);
    let (rest, ()) = tokio::join!(events.rest(), service.stop());
    told.extend(rest);
    let mut reading = other.read().await.unwrap();
    let recording = recording(&folder, &mut reading).await;
    assert_stored(&mut reading, &recording, &told).await;
    assert_eq!(recording.state, RecordingState::Stored);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_an_earlier_run_did_not_store_is_stored_after_the_start() {
    let folder = Folder::new("backlog");
    let service = start(&folder.kept(), KEEP).await;
    let mut events = Events::open(service.address(), None).await;
    play(&service, entries(&lesson())).await;
    let mut told = events.until_stored(8).await;
    let (rest, ()) = tokio::join!(events.rest(), service.stop());
    told.extend(rest);
    // As if it had been killed before anything was stored: the recording alone is left.
    for file in ["store.sqlite", "store.sqlite-wal", "store.sqlite-shm"] {
        let _ = std::fs::remove_file(folder.kept().join(file));
    }
    let service = start(&folder.kept(), KEEP).await;
    let store = opened(&folder).await;
    let name = folder.recordings()[0].file_name().unwrap().to_str().unwrap().to_owned();
    let stored = async {
        loop {
            let known = recordings::of_file(&mut store.read().await.unwrap(), "cage", &name).await.unwrap();
            if known.is_some_and(|recording| recording.state == RecordingState::Stored) {
                return;
            }
            tokio::time::sleep(std::time::Duration::from_millis(20)).await;
        }
    };
    crate::support::within("the recording to be stored", stored).await;
    service.stop().await;
    let mut reading = store.read().await.unwrap();
    let recording = recording(&folder, &mut reading).await;
    assert_found_again(&mut reading, &recording, &told).await;
}

/// Swings have the ids that they were told under.
async fn assert_found_again(reading: &mut Reading, recording: &Recording, told: &[Event]) {
    for event in of_kind(told, "swing") {
        let envelope = event.json();
        let (contact_s, run) =
            (envelope["told"]["contact_s"].as_f64().unwrap(), envelope["told"]["run"].as_i64().unwrap());
        let place = Where { recording_id: recording.id, run, contact_s };
        let known =
            swings::near(reading, place, 0.1).await.unwrap().unwrap_or_else(|| panic!("{contact_s} is missing"));
        assert_eq!(known.id, id(&envelope["swing_id"]));
    }
}
