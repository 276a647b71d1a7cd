//! What a packet costs: CPU time a sample, swings and their analysis included.

use super::machine::{load_average, thread_cpu_s};
use super::motion::{Lesson, PER_PACKET, due_s};
use super::rig::{EVENTS_KEEP, LIMITS, TemporaryFolder};
use super::verdict::Sorted;
use std::ops::RangeInclusive;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use swingd::daemon::clock::Now;
use swingd::daemon::hub::Hub;
use swingd::daemon::inlet::ring;
use swingd::daemon::record::ingest::Entrance;
use swingd::daemon::recorder::{Command, Kept, Progress, RecorderCore, Settings, SystemDisk};
use swingd::daemon::station::{Recording, RecordingStatus, Station};
use swingd::engine::device::own;
use swingd::engine::session::Session;
use swingd::engine::wire::mcap::{Entry, Packet};

/// A seed of its own, used nowhere else.
const SEED: u64 = 830_000;
const EVENTS: usize = 40;
const TIMES: usize = 5;

/// A folder in memory, where Linux has one; else the usual temporary one.
const MEMORY: &str = "/dev/shm";

pub fn run() -> anyhow::Result<()> {
    let lesson = Lesson::simulated(SEED, EVENTS)?;
    let (swings, length_s) = (lesson.swings.len(), lesson.length_s());
    println!("cost: a lesson of {length_s:.0} s with {swings} swings, {TIMES} times (load {})", load_average());
    print("session alone", &lesson, session)?;
    print("ring, session, recorder into memory, hub", &lesson, station)
}

fn print(what: &str, lesson: &Lesson, once: fn(&Lesson) -> anyhow::Result<f64>) -> anyhow::Result<()> {
    let samples = (lesson.packets.len() * PER_PACKET) as f64;
    let mut all_ns = Vec::new();
    for _ in 0..TIMES {
        all_ns.push(1e9 * once(lesson)? / samples);
    }
    let all_ns = Sorted::new(all_ns);
    let (least, middle, most) = (all_ns.quantile(0.01), all_ns.quantile(0.5), all_ns.quantile(1.0));
    println!("  {what:58} {middle:.0} ns a sample ({least:.0} to {most:.0})");
    Ok(())
}

/// CPU time, s.
fn session(lesson: &Lesson) -> anyhow::Result<f64> {
    let mut session = Session::new();
    lesson.preamble(0).iter().for_each(|entry| drop(session.take(entry)));
    let before_s = thread_cpu_s()?;
    for bytes in &lesson.packets {
        let (sensor, characteristic) = ("knob".to_owned(), own::DATA.to_owned());
        drop(session.take(&Entry::Packet(Packet { received_utc_ns: 0, sensor, characteristic, bytes: bytes.clone() })));
    }
    Ok(thread_cpu_s()? - before_s)
}

/// CPU time, s, finishing the recording at the end left out.
fn station(lesson: &Lesson) -> anyhow::Result<f64> {
    let folder = TemporaryFolder::within(Path::new(MEMORY), "cost").or_else(|_| TemporaryFolder::new("cost"))?;
    let hub = Arc::new(Hub::new(Vec::new(), 1, EVENTS_KEEP, Box::new(|_| {})));
    let (inlet, outlet) = ring("knob", Box::new(|| {}));
    let settings = Settings { longest_file_bytes: u64::MAX, ..Settings::new(&folder.0, "knob") };
    let core = RecorderCore::new(SystemDisk, settings);
    let (recording, entrance) = (Inline { progress: core.progress(), core }, Entrance::new("cage").0);
    let mut station = Station::new(Arc::clone(&inlet), outlet, hub, recording, LIMITS, entrance);
    lesson.preamble(0).into_iter().for_each(|entry| inlet.push(entry));
    let before_s = thread_cpu_s()?;
    for (place, bytes) in lesson.packets.iter().enumerate() {
        let now = at(place);
        inlet.packet(own::DATA.to_owned(), bytes.clone(), now);
        station.step(now);
    }
    let used_s = thread_cpu_s()? - before_s;
    station.finish(at(lesson.packets.len()), Duration::ZERO);
    Ok(used_s)
}

fn at(place: usize) -> Now {
    let elapsed = Duration::from_secs_f64(due_s(place));
    Now { utc_ns: elapsed.as_nanos() as i64, elapsed }
}

/// A recorder that works within the call, so that its time is this thread's.
struct Inline {
    core: RecorderCore<SystemDisk>,
    progress: Arc<Progress>,
}

impl Recording for Inline {
    fn record(&mut self, index: u64, entry: &Entry, now: Now) {
        self.core.take(Command::Entry { index, entry: entry.clone() }, now);
    }

    fn sync(&mut self, now: Now) {
        self.core.take(Command::Sync, now);
    }

    fn close(&mut self, now: Now) {
        self.core.take(Command::Close, now);
    }

    fn end(&mut self, _: Duration) {}

    fn kept(&self, indices: RangeInclusive<u64>) -> Kept {
        self.progress.kept(indices)
    }

    fn status(&self, _: Now) -> RecordingStatus {
        RecordingStatus {
            written: self.progress.messages(),
            bytes: self.progress.bytes(),
            ..RecordingStatus::default()
        }
    }
}
