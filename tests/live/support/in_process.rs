//! The service within the test, listening on a port of its own.

use super::folder::{entries, lesson};
use std::path::Path;
use swingd::daemon::access;
use swingd::daemon::playback::Pace;
use swingd::daemon::service::{Service, Settings};
use swingd::daemon::station::Limits;
use swingd::daemon::store::Place;
use swingd::engine::wire::mcap::Entry;

/// Starts it on a folder, to keep so many events.
pub async fn start(folder: &Path, events_keep: usize) -> Service {
    let settings = Settings {
        data_folder: folder.to_owned(),
        listen: "127.0.0.1:0".parse().unwrap(),
        http: access::Settings::default(),
        cage: "cage".into(),
        retention_days: 0,
        events_keep,
        nearly_full_bytes: 1,
        limits: Limits { idle_close_s: 600.0, most_bytes: u64::MAX },
        store: Place::in_folder(folder),
    };
    Service::start(&settings).await.unwrap()
}

/// The bundled lesson without the names in it.
pub fn anonymous_lesson() -> Vec<Entry> {
    let mut all = entries(&lesson());
    all.retain(|entry| !matches!(entry, Entry::AtThePlate { .. }));
    all
}

/// Plays entries as fast as 1000 times; ends when all are in the ring.
pub async fn play(service: &Service, entries: Vec<Entry>) {
    let mut entries = entries.into_iter();
    let playing = service.play("knob", move || entries.next(), Pace { speed: 1000.0 }).unwrap();
    super::within("the lesson to be played", playing).await.unwrap();
}
