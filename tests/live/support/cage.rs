//! A lesson with a made-up sensor, lived through on virtual time, and what came of it.

use super::VirtualClock;
use super::memory_recording::{FOLDER, MemoryRecording};
use super::radio::{FakeRadio, Radios};
use super::sensor::{PER_PACKET, Sensor};
use serde_json::Value;
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use swingd::daemon::clock::Clock;
use swingd::daemon::finder::{Catalogue, Finder};
use swingd::daemon::hub::{Hub, News};
use swingd::daemon::inlet::ring;
use swingd::daemon::record::ingest::Entrance;
use swingd::daemon::recorder::memory::MemoryDisk;
use swingd::daemon::station::{Limits, Station};
use swingd::engine::session::Session;
use swingd::engine::wire::mcap::{Entry, McapEntries};
use swingd::report::event;
use tokio::time::sleep;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;

/// How often the station's turn comes: what a busy machine leaves it.
const TURN: Duration = Duration::from_millis(5);
/// The most events a session has.
const MOST_EVENTS: usize = 100_000;

/// What happens to sensor, radio or disk.
pub type What = Box<dyn FnOnce(&FakeRadio, &MemoryDisk) + Send>;

/// Something that happens at a time after the first packet.
pub struct Mishap {
    pub at: Duration,
    pub what: What,
}

/// What came of a lesson.
pub struct Outcome {
    pub events: Vec<Arc<News>>,
    /// When each was told, s after the first packet, and for how long the sensor sent.
    pub told_at_s: Vec<f64>,
    pub length_s: f64,
    /// The state of the sensor while it still sends, and the last one before the end.
    pub sending: Value,
    pub state: Value,
    /// Whether the last packet that was sent arrived.
    pub last_arrived: bool,
    pub disk: MemoryDisk,
    pub truly_lost: u64,
    /// True contacts, s after the motion began, and when that was, ns of UTC.
    pub contacts_s: Vec<f64>,
    pub began_utc_ns: i64,
}

/// Lives through it: mishaps in order, then all is well again for a while, then silence, then the end.
pub fn live(sensor: Sensor, mishaps: Vec<Mishap>) -> Outcome {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_time().start_paused(true).build().unwrap();
    runtime.block_on(live_on(sensor, mishaps))
}

async fn live_on(sensor: Sensor, mishaps: Vec<Mishap>) -> Outcome {
    let clock: Arc<dyn Clock> = Arc::new(VirtualClock::new());
    let told_at: Arc<Mutex<Vec<Duration>>> = Arc::default();
    let (times, hub_clock) = (Arc::clone(&told_at), Arc::clone(&clock));
    let keep = move |_: &Arc<News>| times.lock().unwrap().push(hub_clock.now().elapsed);
    let hub = Arc::new(Hub::new(Vec::new(), 1, MOST_EVENTS, Box::new(keep)));
    let begin = hub.publish("begin", "{}".into());
    let (disk, cancel, tasks) = (MemoryDisk::new(), CancellationToken::new(), TaskTracker::new());
    let motion = Arc::clone(&sensor.motion);
    let radio = FakeRadio::new([("knob".to_owned(), sensor)]);
    let (inlet, outlet) = ring("knob", Box::new(|| {}));
    inlet.push(Entry::Profile { log_time_ns: 0, toml: motion.profile_toml.clone() });
    let recording = MemoryRecording::new(disk.clone(), "knob", Arc::clone(&clock));
    let (entrance, _jobs) = Entrance::new("cage");
    let limits = Limits { idle_close_s: 600.0, most_bytes: u64::MAX };
    let station =
        Arc::new(Mutex::new(Station::new(Arc::clone(&inlet), outlet, Arc::clone(&hub), recording, limits, entrance)));
    let finder = Finder {
        radio: Arc::new(radio.clone()),
        catalogue: Catalogue::default(),
        wants: Box::new(|_, _| true),
        open: Box::new(move |_| Some(Arc::clone(&inlet))),
        nearby: Arc::default(),
        hub: Arc::clone(&hub),
        clock: Arc::clone(&clock),
        tasks: tasks.clone(),
        cancel: cancel.clone(),
    };
    tasks.spawn(finder.run());
    let turns = tokio::spawn(take_turns(Arc::clone(&station), Arc::clone(&clock), cancel.clone()));
    let (began_utc_ns, began) = sending(&radio, &*clock, &disk, mishaps).await;
    let sending = serde_json::from_str(&hub.sensors()[0].1).unwrap();
    // Silence: the connection is found to be lost, what is held goes on, the state is told.
    radio.air().cut();
    sleep(Duration::from_secs(5)).await;
    let state = serde_json::from_str(&hub.sensors()[0].1).unwrap();
    let (truly_lost, last_arrived) = {
        let air = radio.air();
        let sensor = &air.sensors["knob"];
        (sensor.truly_lost(), sensor.sent.last().is_some_and(|sent| sent.arrived))
    };
    cancel.cancel();
    tasks.close();
    tasks.wait().await;
    turns.await.unwrap();
    station.lock().unwrap().finish(clock.now(), Duration::ZERO);
    let events = hub.subscribe(Some(begin)).missed.unwrap();
    // The first one told is the mark that they are counted from.
    let told_at = told_at.lock().unwrap();
    let told_at_s = told_at.iter().skip(1).map(|at| at.as_secs_f64() - began.as_secs_f64()).collect();
    let (contacts_s, length_s) = (motion.contacts_s.clone(), motion.samples.len() as f64 * 1e-3);
    Outcome { events, told_at_s, length_s, sending, state, last_arrived, disk, truly_lost, contacts_s, began_utc_ns }
}

async fn take_turns(station: Arc<Mutex<Station<MemoryRecording>>>, clock: Arc<dyn Clock>, cancel: CancellationToken) {
    while !cancel.is_cancelled() {
        while station.lock().unwrap().step(clock.now()) {}
        sleep(TURN).await;
    }
}

/// The sensor sends until its motion is over; when the motion began, and the first packet came.
async fn sending(radio: &FakeRadio, clock: &dyn Clock, disk: &MemoryDisk, mishaps: Vec<Mishap>) -> (i64, Duration) {
    let mut mishaps = mishaps.into_iter().peekable();
    let mut began = None;
    loop {
        sleep(Duration::from_millis(PER_PACKET as u64)).await;
        let now = clock.now();
        if let Some((_, began_at)) = began {
            while mishaps.peek().is_some_and(|mishap| now.elapsed >= began_at + mishap.at) {
                mishaps.next().into_iter().for_each(|mishap| (mishap.what)(radio, disk));
            }
        }
        let mut air = radio.air();
        if air.radio != Radios::On {
            air.cut();
        }
        let sensor = air.sensors.get_mut("knob").unwrap();
        sensor.packet();
        if sensor.has_begun && began.is_none() {
            // The packet's last sample was taken now.
            let length_ns = (PER_PACKET as i64 - 1) * 1_000_000;
            began = Some((now.utc_ns - length_ns, now.elapsed));
        }
        if sensor.is_over() {
            return began.unwrap();
        }
    }
}

impl Outcome {
    /// What the session told, in order: each event's own JSON.
    pub fn told(&self) -> Vec<String> {
        let told = |news: &&Arc<News>| event::KINDS.contains(&news.kind.as_str());
        let line = |news: &Arc<News>| {
            let at = news.data.find("\"told\":").unwrap() + "\"told\":".len();
            news.data[at..news.data.len() - 1].to_owned()
        };
        self.events.iter().filter(told).map(line).collect()
    }

    /// Whether all that was told is in one file: after trouble with the disk a recording goes on in another one, which is
    /// read by itself.
    pub fn all_in_one_file(&self) -> bool {
        let recorded = self.events.iter().all(|news| !news.data.contains("\"recorded\":false"));
        recorded && self.disk.contents().len() == 1
    }

    /// What a replay of the recordings tells.
    pub fn replayed(&self) -> Vec<String> {
        let mut lines = Vec::new();
        for (path, bytes) in self.disk.contents() {
            assert!(path.starts_with(Path::new(FOLDER)), "{path:?}");
            let (mut session, mut entries) = (Session::new(), McapEntries::new(&bytes[..]));
            let mut told = Vec::new();
            while let Some(entry) = entries.next_entry().unwrap() {
                told.extend(session.take(&entry));
            }
            told.extend(session.finish());
            lines.extend(told.iter().map(|told| event::line(told).unwrap().1));
        }
        lines
    }

    /// When a fault was told after `from_s`, and when it was over, s after the first packet.
    pub fn fault(&self, key: &str, from_s: f64) -> (Option<f64>, Option<f64>) {
        let has_key = format!("\"key\":\"{key}\"");
        let find = |kind: &str, from_s: f64| {
            let mut told = self.events.iter().zip(&self.told_at_s);
            let hit = |news: &News, at_s: f64| news.kind == kind && at_s >= from_s && news.data.contains(&has_key);
            told.find(|(news, at_s)| hit(news, **at_s)).map(|(_, at_s)| *at_s)
        };
        let told_s = find("fault", from_s);
        (told_s, told_s.and_then(|told_s| find("fault_cleared", told_s)))
    }

    /// Swings in their last estimate.
    pub fn swings(&self) -> Vec<Value> {
        let mut by_number = std::collections::BTreeMap::new();
        for news in self.events.iter().filter(|news| news.kind == "swing") {
            let event: Value = serde_json::from_str(&news.data).unwrap();
            by_number.insert((event["session"].to_string(), event["told"]["number"].as_u64().unwrap()), event);
        }
        by_number.into_values().map(|event| event["told"].clone()).collect()
    }
}
