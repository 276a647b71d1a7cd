//! The background service: radio, files, tasks and HTTP around the pure engine.
//!
//! ```text
//!   radio ─► keeper (task a sensor) ──┐                      ┌─► recorder (thread) ─► disk
//!            drain (task a sensor) ───┼─► ring ─► station ───┤
//!   recording ─► playback (thread) ───┘          (thread)    └─► hub ─► SSE, Rust channel, event log (thread)
//! ```
//!
//! [`clock`] the host's time; [`radio`] Bluetooth behind a trait; [`link`] a connection kept alive; [`finder`] which sensors
//! to connect to; [`playback`] a recording as a device; [`inlet`] the ring; [`station`] what is done for one sensor, with
//! [`state`] and [`recording`]; [`recorder`] to disk; [`hub`] and [`event_log`] where it is told; [`store`] where it is kept; [`api`] the door for
//! front-ends.
//!
//! Bounds: the ring [`inlet::DEPTH`] (full: dropped, counted, a gap), the recorder's queue [`recorder::QUEUE_DEPTH`] (full:
//! not recorded, counted, a fault), the hub's channel (full: the subscriber catches up or is told that it cannot), the
//! event log's queue (full: counted). Stopping: sources end, stations empty their rings, finish and close, the event log
//! is written; within [`STOP_WITHIN`].

pub mod access;
pub mod api;
pub mod ball_import;
pub mod clock;
pub mod event_log;
pub mod finder;
pub mod hub;
pub mod inlet;
pub mod link;
pub mod lock;
pub mod logging;
pub mod playback;
pub mod radio;
pub mod record;
pub mod recorder;
pub mod recording;
pub mod service;
pub mod state;
pub mod station;
pub mod store;
#[cfg(test)]
mod test_child;

use clock::Clock;
use hub::{Fault, Hub};
use inlet::{Inlet, Outlet, ring};
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

use crate::engine::wire::mcap::{AtThePlate, Entry};

/// Stopping takes no longer than this: what is not finished by then is at the next start.
pub const STOP_WITHIN: Duration = Duration::from_secs(5);
/// Of that, a recording may take so long to be finished.
const CLOSE_WITHIN: Duration = Duration::from_millis(2500);
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
    stopping: Arc<AtomicBool>,
    running: Mutex<BTreeMap<String, Running>>,
    /// Who is at the plate, for stations yet to be opened. Locked within `running`.
    at_the_plate: Mutex<Option<AtThePlate>>,
}

struct Running {
    inlet: Arc<Inlet>,
    thread: JoinHandle<()>,
}

impl<D: Disk> Stations<D> {
    /// None yet. Recordings go to `folder`.
    pub fn new(
        hub: Arc<Hub>,
        clock: Arc<dyn Clock>,
        disk: MakeDisk<D>,
        folder: PathBuf,
        nearly_full_bytes: u64,
        limits: Limits,
    ) -> Self {
        let (stopping, running, at_the_plate) = (Arc::default(), Mutex::default(), Mutex::default());
        Self { hub, clock, disk, folder, nearly_full_bytes, limits, stopping, running, at_the_plate }
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
        let station = self.station(&inlet, outlet);
        let (clock, stopping) = (Arc::clone(&self.clock), Arc::clone(&self.stopping));
        let started =
            std::thread::Builder::new().name("station".into()).spawn(move || run(station, &*clock, &stopping));
        match started {
            Ok(started) => {
                *thread.lock().unwrap_or_else(PoisonError::into_inner) = Some(started.thread().clone());
                running.insert(sensor.to_owned(), Running { inlet: Arc::clone(&inlet), thread: started });
                if let Some(context) = &*self.at_the_plate.lock().unwrap_or_else(PoisonError::into_inner) {
                    inlet.push(self.plate_entry(context));
                }
                Some(inlet)
            }
            Err(error) => {
                tracing::error!(sensor, %error, "no thread can be started for the sensor");
                None
            }
        }
    }

    /// Who is at the plate from here on, for every sensor, those that are yet to come among them.
    pub fn at_the_plate(&self, context: &AtThePlate) {
        let running = self.running.lock().unwrap_or_else(PoisonError::into_inner);
        *self.at_the_plate.lock().unwrap_or_else(PoisonError::into_inner) = Some(context.clone());
        for station in running.values() {
            station.inlet.push(self.plate_entry(context));
        }
    }

    fn plate_entry(&self, context: &AtThePlate) -> Entry {
        let log_time_ns = u64::try_from(self.clock.now().utc_ns).unwrap_or(0);
        Entry::AtThePlate { log_time_ns, context: context.clone() }
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
        Station::new(Arc::clone(inlet), outlet, Arc::clone(&self.hub), recordings, self.limits)
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
