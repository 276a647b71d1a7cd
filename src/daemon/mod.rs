//! The background service: radio, files, tasks and HTTP around the pure engine.
//!
//! ```text
//!   radio ─► keeper (task a sensor) ──┐                      ┌─► recorder (thread) ─► disk
//!            drain (task a sensor) ───┼─► ring ─► station ───┤
//!   recording ─► playback (thread) ───┘          (thread)    ├─► ingest (task) ─► store
//!                                                            ├─► hub ─► SSE, Rust channel, event log (thread)
//!                                                            │     └─► board (task, while somebody looks) ─► viewers
//!                                                            └─► tap ─► a check (blocking pool, when it is asked for)
//! ```
//!
//! [`clock`] the host's time; [`radio`] Bluetooth behind a trait; [`link`] a connection kept alive; [`finder`] which sensors
//! to connect to, by what is [`nearby`] and was chosen; [`playback`] a recording as a device, [`example`] the bundled one;
//! [`inlet`] the ring; [`station`] what is done for one sensor, with
//! [`state`] and [`recording`]; [`recorder`] to disk; [`files`] from there; [`hub`] and [`event_log`] where it is told;
//! [`tap`] what a sensor sends for whoever [`checks`] it;
//! [`store`] where it is kept, and [`record`] what comes there; [`api`] the door for front-ends, [`access`] who may go
//! through it, and [`metrics`] what is counted.
//!
//! [`page`] draws what people see of it in a browser: one task for all who look at the cage screen, with tasks beside it that
//! read the store; it ends a while after the last viewer. `opening` is before all of it. [`offline`] is the
//! API where no service runs.
//!
//! Bounds: the ring [`inlet::DEPTH`] (full: dropped, counted, a gap), the recorder's queue [`recorder::QUEUE_DEPTH`] (full:
//! not recorded, counted, a fault), the ingest's queue [`record::ingest::QUEUE_DEPTH`] (full: taken from the recording at
//! the next start), the hub's channels (full: the subscriber catches up or is told that it cannot; whoever draws swings takes
//! the latest), the event log's queue (full: counted). A viewer of the cage screen takes the latest drawing of each part: what
//! waits for it is at most one of each and one of what is spoken, and drawings between are gone. A [`tap`] keeps the last
//! minutes of samples while somebody checks a sensor (full: the oldest go); they are worked through when a check is asked for, on
//! the pool of blocking threads, one asking one thread. Stopping: sources end, stations empty their rings, finish and
//! close, what they told is stored, the event log is written; within [`STOP_WITHIN`].

pub mod access;
pub mod api;
pub mod ball_import;
pub mod checks;
pub mod clock;
pub mod event_log;
pub mod example;
pub mod files;
pub mod finder;
pub mod hex;
pub mod hub;
pub mod inlet;
pub mod link;
pub mod local_days;
pub mod lock;
pub mod logging;
pub mod metrics;
pub mod nearby;
pub mod offline;
mod opening;
mod page;
pub mod playback;
pub mod radio;
pub mod record;
pub mod recorder;
pub mod recording;
pub mod service;
pub mod state;
pub mod station;
pub mod store;
pub mod tap;
#[cfg(test)]
mod test_child;
#[cfg(test)]
pub(crate) mod test_folder;

use clock::Clock;
use hub::{Fault, Hub};
use inlet::{Inlet, Outlet, ring};
use record::ingest::Entrance;
use record::outfit::Slot;
use record::plate::AtBat;
use recorder::{Disk, Settings};
use recording::Recordings;
use station::{Limits, Station};
use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{JoinHandle, Thread};
use std::time::Duration;
use tap::Tap;
use uuid::Uuid;

use crate::engine::wire::mcap::{AtThePlate, Entry};

/// Stopping takes no longer than this: what is not finished by then is at the next start.
pub const STOP_WITHIN: Duration = Duration::from_secs(5);
/// Of that, a recording may take so long to be finished.
const CLOSE_WITHIN: Duration = Duration::from_millis(2500);
/// The analysis keeps its matrices on the stack, and without optimisation a copy of each where it is moved: 2 MB, which is
/// usual, overflow then. Only what is used is ever taken.
const STATION_STACK_BYTES: usize = 16 << 20;
/// More sensors than any cage has, and as many as a machine can serve.
pub const MOST_SENSORS: usize = 32;

/// Makes a way to the disk for each recorder.
pub type MakeDisk<D> = Arc<dyn Fn() -> D + Send + Sync>;

/// All stations, and what they share.
pub struct Stations<D: Disk> {
    hub: Arc<Hub>,
    clock: Arc<dyn Clock>,
    disk: MakeDisk<D>,
    folder: PathBuf,
    nearly_full_bytes: u64,
    limits: Limits,
    entrance: Entrance,
    stopping: Arc<AtomicBool>,
    running: Mutex<BTreeMap<String, Running>>,
    /// Who is at the plate and which version of it, for stations yet to be opened. Locked within `running`.
    at_the_plate: Mutex<Option<(i64, AtThePlate)>>,
    /// Sensors whose swings are one athlete's or nobody's. Locked last.
    kept_to: Mutex<BTreeMap<String, String>>,
    outfit: Slot,
}

struct Running {
    inlet: Arc<Inlet>,
    tap: Arc<Tap>,
    thread: JoinHandle<()>,
}

impl<D: Disk> Stations<D> {
    /// None yet. Recordings go to `folder`, what is told through `entrance`.
    pub fn new(
        hub: Arc<Hub>,
        clock: Arc<dyn Clock>,
        disk: MakeDisk<D>,
        folder: PathBuf,
        nearly_full_bytes: u64,
        limits: Limits,
        entrance: Entrance,
    ) -> Self {
        let (stopping, running) = (Arc::default(), Mutex::default());
        let (at_the_plate, kept_to, outfit) = (Mutex::default(), Mutex::default(), Slot::default());
        Self {
            hub,
            clock,
            disk,
            folder,
            nearly_full_bytes,
            limits,
            entrance,
            stopping,
            running,
            at_the_plate,
            kept_to,
            outfit,
        }
    }

    /// A station for a sensor, and the way into it; the one there is if it has one already. `None` if there are
    /// [`MOST_SENSORS`], or no thread can be started.
    pub fn open(&self, sensor: &str) -> Option<Arc<Inlet>> {
        let mut running = self.running.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(there) = running.get(sensor) {
            return Some(Arc::clone(&there.inlet));
        }
        if running.len() >= MOST_SENSORS {
            self.hub.fault(Fault {
                sensor: None,
                key: "sensors",
                cause: format!("{MOST_SENSORS} sensors were found since the start; no more are taken"),
                remedy: "name yours in sensors.only, and restart the service".into(),
            });
            return None;
        }
        let thread: Arc<Mutex<Option<Thread>>> = Arc::default();
        let sleeper = Arc::clone(&thread);
        let wake = move || {
            if let Some(thread) = &*sleeper.lock().unwrap_or_else(PoisonError::into_inner) {
                thread.unpark();
            }
        };
        let (inlet, outlet) = ring(sensor, Box::new(wake));
        let tap: Arc<Tap> = Arc::default();
        let station = self.station(&inlet, outlet).tapped(Arc::clone(&tap));
        let (clock, stopping) = (Arc::clone(&self.clock), Arc::clone(&self.stopping));
        let builder = std::thread::Builder::new().name("station".into()).stack_size(STATION_STACK_BYTES);
        let started = builder.spawn(move || run(station, &*clock, &stopping));
        match started {
            Ok(started) => {
                *thread.lock().unwrap_or_else(PoisonError::into_inner) = Some(started.thread().clone());
                running.insert(sensor.to_owned(), Running { inlet: Arc::clone(&inlet), tap, thread: started });
                if let Some((_, context)) = &*self.at_the_plate.lock().unwrap_or_else(PoisonError::into_inner) {
                    inlet.push(self.plate_entry(sensor, context));
                }
                Some(inlet)
            }
            Err(error) => {
                tracing::error!(sensor, %error, "no thread can be started for the sensor");
                None
            }
        }
    }

    /// The tap of a sensor; `None` if it was not connected since the start.
    pub fn tap(&self, sensor: &str) -> Option<Arc<Tap>> {
        let running = self.running.lock().unwrap_or_else(PoisonError::into_inner);
        running.get(sensor).map(|there| Arc::clone(&there.tap))
    }

    /// Who is at the plate from here on, for every sensor, those that are yet to come among them. Who was said to be
    /// there before somebody that is known already is passed over: two may say it at once.
    pub fn at_the_plate(&self, at_bat: &AtBat) {
        let running = self.running.lock().unwrap_or_else(PoisonError::into_inner);
        let mut known = self.at_the_plate.lock().unwrap_or_else(PoisonError::into_inner);
        if known.as_ref().is_some_and(|(version, _)| *version > at_bat.plate.version) {
            return;
        }
        let context = at_bat.entry();
        *self.outfit.lock().unwrap_or_else(PoisonError::into_inner) = Arc::clone(&at_bat.outfit);
        for (sensor, station) in &*running {
            station.inlet.push(self.plate_entry(sensor, &context));
        }
        *known = Some((at_bat.plate.version, context));
    }

    /// What is swung and how the sensors sit, for stations yet to be opened.
    pub fn wear(&self, at_bat: &AtBat) {
        *self.outfit.lock().unwrap_or_else(PoisonError::into_inner) = Arc::clone(&at_bat.outfit);
    }

    /// From here on the sensor's swings are this athlete's or, while somebody else is at the plate, nobody's: they are
    /// simulated.
    pub fn keep_to(&self, sensor: &str, athlete_id: Uuid) {
        let mut kept_to = self.kept_to.lock().unwrap_or_else(PoisonError::into_inner);
        kept_to.insert(sensor.to_owned(), athlete_id.to_string());
    }

    fn plate_entry(&self, sensor: &str, context: &AtThePlate) -> Entry {
        let log_time_ns = u64::try_from(self.clock.now().utc_ns).unwrap_or(0);
        let kept_to = self.kept_to.lock().unwrap_or_else(PoisonError::into_inner);
        let is_others = kept_to.get(sensor).is_some_and(|only| context.athlete_id.as_ref() != Some(only));
        let context = if is_others { AtThePlate::default() } else { context.clone() };
        Entry::AtThePlate { log_time_ns, context: Box::new(context) }
    }

    /// Ends all stations: what is in their rings is taken, what is pending told, recordings are closed. Sources must have
    /// ended.
    pub fn stop(&self) {
        self.stopping.store(true, Ordering::Release);
        let running = std::mem::take(&mut *self.running.lock().unwrap_or_else(PoisonError::into_inner));
        for (sensor, Running { thread, .. }) in running {
            thread.thread().unpark();
            if thread.join().is_err() {
                tracing::error!(sensor, "a station ended by a panic; what it sent is in its recording");
            }
        }
    }

    fn station(&self, inlet: &Arc<Inlet>, outlet: Outlet) -> Station<Recordings<D>> {
        let mut settings = Settings::new(self.folder.clone(), inlet.sensor());
        // The station ends recordings that are long enough, together with its session.
        settings.longest_file_bytes = u64::MAX;
        settings.nearly_full_bytes = self.nearly_full_bytes;
        let recordings = Recordings::new(Arc::clone(&self.disk), settings, Arc::clone(&self.clock));
        let entrance = self.entrance.clone();
        Station::new(Arc::clone(inlet), outlet, Arc::clone(&self.hub), recordings, self.limits, entrance)
            .dressed_from(Arc::clone(&self.outfit))
    }
}

/// One station until it is to stop.
fn run<D: Disk>(mut station: Station<Recordings<D>>, clock: &dyn Clock, stopping: &AtomicBool) {
    loop {
        // Asked first: what came before is taken by the last step.
        let is_last = stopping.load(Ordering::Acquire);
        let steps = AssertUnwindSafe(|| while station.step(clock.now()) {});
        if catch_unwind(steps).is_err() {
            station.begin_anew_after_panic(clock.now());
        }
        if is_last {
            return station.finish(clock.now(), CLOSE_WITHIN);
        }
        std::thread::park_timeout(station.due_in());
    }
}
