use super::*;
use crate::daemon::clock::SystemClock;
use crate::daemon::store::Place;
use crate::daemon::store::test_store::{TestStore, on_each};
use crate::engine::Stage;
use crate::engine::wire::mcap::AtThePlate;
use crate::report::example;

fn name() -> RecordingName {
    RecordingName { sensor: "knob".into(), stem: "20261125T161018Z-knob".into() }
}

fn swing(number: u64) -> Job {
    let told = ToldSwing {
        number,
        run: 0,
        stage: Stage::Smoothed,
        swing: example::swing(number as usize + 1),
        contact_utc: None,
        at_the_plate: AtThePlate::default(),
        profile: Arc::default(),
    };
    Job::Swing { recording: name(), first_s: 0.0, told: Box::new(told) }
}

fn ended(is_complete: bool) -> Job {
    Job::Ended { recording: name(), ended: UtcMicros(1_795_623_100_000_000), summary: None, is_complete }
}

/// What was stored of these, and the fate of their recording.
async fn stored(store: &TestStore, jobs: Vec<Job>) -> (usize, RecordingState) {
    let hub = Arc::new(Hub::new(Vec::new(), 1, 100, Box::new(|_| {})));
    let begin = hub.publish("begin", "{}".into());
    let (entrance, receiver) = Entrance::new("north");
    let ingest = Ingest::spawn(store.store.clone(), Arc::clone(&hub), Arc::new(SystemClock::new()), "north", receiver);
    assert!(jobs.into_iter().all(|job| entrance.offer(job)));
    entrance.stop().await;
    ingest.await.unwrap();
    let told = hub.subscribe(Some(begin)).missed.unwrap();
    let mut reading = store.store.read().await.unwrap();
    let recording = recordings::of_file(&mut reading, "north", "20261125T161018Z-knob.mcap").await.unwrap().unwrap();
    (told.iter().filter(|news| news.kind == STORED).count(), recording.state)
}

#[test]
fn a_recording_is_closed_only_if_all_of_it_is_stored() {
    on_each(async |store| {
        let (count, state) = stored(&store, vec![Job::Begun(name()), swing(0), swing(1), ended(false)]).await;
        assert_eq!((count, state), (2, RecordingState::Open));
        let mut hopeless = swing(2);
        if let Job::Swing { told, .. } = &mut hopeless {
            told.swing.contact.0 = f64::NAN;
        }
        let (count, state) = stored(&store, vec![hopeless, swing(3), ended(true)]).await;
        assert_eq!((count, state), (1, RecordingState::Open), "what is refused holds up nothing, and is not forgotten");
        let (_, state) = stored(&store, vec![swing(0), ended(true)]).await;
        assert_eq!(state, RecordingState::Stored);
    });
}

#[test]
fn what_finds_no_room_is_counted() {
    let (entrance, _receiver) = Entrance::new("cage");
    for number in 0..QUEUE_DEPTH as u64 {
        assert!(entrance.offer(swing(number)));
    }
    assert!(!entrance.offer(swing(0)));
    assert_eq!(entrance.missed(), 1);
}

#[test]
fn a_store_that_fails_for_a_while_is_tried_again_until_it_works() {
    let folder = std::env::temp_dir().join(format!("swingd-ingest-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let store = Store::open(&Place::in_folder(&folder)).await.unwrap();
        let held = store.write().await.unwrap();
        // From here on the pool's time-out passes at once, as often as it is waited for.
        tokio::time::pause();
        let hub = Arc::new(Hub::new(Vec::new(), 1, 100, Box::new(|_| {})));
        let begin = hub.publish("begin", "{}".into());
        let (entrance, receiver) = Entrance::new("north");
        let ingest = Ingest::spawn(store.clone(), Arc::clone(&hub), Arc::new(SystemClock::new()), "north", receiver);
        entrance.offer(swing(0));
        tokio::time::sleep(Duration::from_secs(60)).await;
        assert_eq!(hub.faults().iter().map(|fault| fault.key).collect::<Vec<_>>(), [STORE]);
        drop(held);
        tokio::time::resume();
        entrance.stop().await;
        ingest.await.unwrap();
        let told = hub.subscribe(Some(begin)).missed.unwrap();
        let kinds: Vec<_> = told.iter().map(|news| news.kind.as_str()).collect();
        assert_eq!(kinds, ["fault", "fault_cleared", STORED]);
        store.close().await;
    });
    std::fs::remove_dir_all(&folder).unwrap();
}
