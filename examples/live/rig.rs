//! The whole service in this process, with simulated sensors that send in real time and a front-end for each.
//!
//! A thread a sensor hands packets to the real inlet as their last samples would be taken; all behind it is the service's
//! own: ring, station, recorder on this machine's disk, hub, event log, HTTP. A front-end is a thread with a socket.

use super::machine;
use super::motion::{Lesson, due_s};
use super::sse::{self, Heard};
use anyhow::Context;
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread::sleep;
use std::time::{Duration, Instant};
use swingd::daemon::access;
use swingd::daemon::clock::Clock;
use swingd::daemon::inlet::Inlet;
use swingd::daemon::service::{Service, Settings};
use swingd::daemon::station::Limits;
use swingd::daemon::store::Place;
use swingd::engine::device::own;

/// What comes with the program if nothing else is configured.
pub const EVENTS_KEEP: usize = 500;
pub const LIMITS: Limits = Limits { idle_close_s: 600.0, most_bytes: 2_048_000_000 };
/// After the last packet, what is on its way may take so long.
const GRACE: Duration = Duration::from_millis(1500);

/// What came of it, for one sensor.
pub struct Played {
    pub lesson: Lesson,
    /// When the first sample was taken.
    pub start: Instant,
    /// When each packet was handed over.
    pub handed_over: Vec<Instant>,
    pub heard: Vec<Heard>,
    /// The sensor's state at the end.
    pub state: Value,
}

/// What came of it, in all.
pub struct Outcome {
    pub sensors: Vec<Played>,
    /// While packets were sent, s.
    pub seconds: f64,
    /// CPU time used in that time, s: by the whole process, and by the names of threads.
    pub cpu_s: f64,
    pub threads_cpu_s: BTreeMap<String, f64>,
}

/// A folder that is removed at the end.
pub struct TemporaryFolder(pub PathBuf);

impl TemporaryFolder {
    /// A new one for this process.
    ///
    /// # Errors
    /// If it cannot be made.
    pub fn new(name: &str) -> anyhow::Result<Self> {
        Self::within(&std::env::temp_dir(), name)
    }

    /// The same in a folder.
    ///
    /// # Errors
    /// If it cannot be made.
    pub fn within(folder: &Path, name: &str) -> anyhow::Result<Self> {
        let path = folder.join(format!("swingd-live-{}-{name}", std::process::id()));
        std::fs::create_dir_all(&path).with_context(|| path.display().to_string())?;
        Ok(Self(path))
    }
}

impl Drop for TemporaryFolder {
    fn drop(&mut self) {
        if let Err(error) = std::fs::remove_dir_all(&self.0) {
            eprintln!("{}: not removed: {error}", self.0.display());
        }
    }
}

/// Sends the lessons at once for so long, or until they are over.
///
/// # Errors
/// If the service cannot be started or reached.
pub fn play(lessons: Vec<Lesson>, seconds: f64) -> anyhow::Result<Outcome> {
    let folder = TemporaryFolder::new("service")?;
    let runtime = tokio::runtime::Runtime::new()?;
    let settings = Settings {
        data_folder: folder.0.clone(),
        listen: "127.0.0.1:0".parse()?,
        http: access::Settings::default(),
        cage: "cage".into(),
        retention_days: 0,
        events_keep: EVENTS_KEEP,
        nearly_full_bytes: 1_000_000_000,
        limits: LIMITS,
        store: Place::in_folder(&folder.0),
    };
    let service = runtime.block_on(Service::start(&settings))?;
    let outcome = play_on(&service, lessons, seconds);
    runtime.block_on(service.stop());
    // The streams have ended with the service.
    let (mut outcome, front_ends) = outcome?;
    for (sensor, front_end) in outcome.sensors.iter_mut().zip(front_ends) {
        sensor.heard = front_end.join().ok().context("a front-end panicked")?;
    }
    Ok(outcome)
}

type FrontEnds = Vec<std::thread::JoinHandle<Vec<Heard>>>;

fn play_on(service: &Service, lessons: Vec<Lesson>, seconds: f64) -> anyhow::Result<(Outcome, FrontEnds)> {
    let names: Vec<String> = (0..lessons.len()).map(|k| format!("sensor-{k}")).collect();
    let follow = |name: &String| sse::follow(service.address(), name.clone());
    let front_ends = names.iter().map(follow).collect::<anyhow::Result<_>>()?;
    let inlet = |name: &String| service.stations().open(name).context("no station");
    let inlets: Vec<Arc<Inlet>> = names.iter().map(inlet).collect::<anyhow::Result<_>>()?;
    sleep(Duration::from_millis(200));
    let count = lessons.len() as f64;
    let (before_s, threads_before_s) = (machine::process_cpu_s()?, machine::threads_cpu_s()?);
    let began = Instant::now();
    let senders = lessons.into_iter().zip(&inlets).enumerate().map(|(k, (lesson, inlet))| {
        // Sensors know nothing of each other: their packets are spread evenly.
        let start = began + Duration::from_secs_f64(due_s(0) * k as f64 / count);
        let (inlet, clock) = (Arc::clone(inlet), Arc::clone(service.clock()));
        let sender = move || send(lesson, &inlet, &*clock, start, seconds);
        std::thread::Builder::new().name("sensor".into()).spawn(sender)
    });
    let senders = senders.collect::<Result<Vec<_>, _>>()?;
    // Looked at a moment before the first sender may end, with whom its figure goes.
    sleep(Duration::from_secs_f64(seconds - 0.1).saturating_sub(began.elapsed()));
    let threads_cpu_s = difference(&threads_before_s, &machine::threads_cpu_s()?);
    let joined = senders.into_iter().map(|sender| sender.join().ok().context("a sensor panicked"));
    let mut sensors = joined.collect::<anyhow::Result<Vec<Played>>>()?;
    let (seconds, cpu_s) = (began.elapsed().as_secs_f64(), machine::process_cpu_s()? - before_s);
    sleep(GRACE);
    let states = service.hub().sensors();
    let states: Vec<Value> = states.iter().map(|state| serde_json::from_str(state)).collect::<Result<_, _>>()?;
    for (sensor, name) in sensors.iter_mut().zip(&names) {
        let state = states.iter().find(|state| state["sensor"] == name.as_str());
        sensor.state = state.context("a sensor without a state")?.clone();
    }
    Ok((Outcome { sensors, seconds, cpu_s, threads_cpu_s }, front_ends))
}

fn difference(before: &BTreeMap<String, f64>, after: &BTreeMap<String, f64>) -> BTreeMap<String, f64> {
    after.iter().map(|(name, used_s)| (name.clone(), used_s - before.get(name).unwrap_or(&0.0))).collect()
}

fn send(lesson: Lesson, inlet: &Inlet, clock: &dyn Clock, start: Instant, seconds: f64) -> Played {
    let log_time_ns = u64::try_from(clock.now().utc_ns).unwrap_or(0);
    lesson.preamble(log_time_ns).into_iter().for_each(|entry| inlet.push(entry));
    let mut handed_over = Vec::with_capacity(lesson.packets.len());
    for (place, bytes) in lesson.packets.iter().enumerate().take_while(|(place, _)| due_s(*place) < seconds) {
        let due = start + Duration::from_secs_f64(due_s(place));
        sleep(due.saturating_duration_since(Instant::now()));
        handed_over.push(Instant::now());
        inlet.packet(own::DATA.to_owned(), bytes.clone(), clock.now());
    }
    Played { lesson, start, handed_over, heard: Vec::new(), state: Value::Null }
}
