//! A day of one sensor, played as fast as it goes: whether memory stays flat.
//!
//! One lesson with many swings is repeated, its ticks going on. Between two rounds the sensor is out of range for some seconds, so that
//! the bat, at rest before and after, may lie elsewhere then. The simulation is a process of its own that sends the packets
//! through a pipe; in this one are ring, station, recorder on this machine's disk, hub and event log, on a clock that
//! follows the motion. The recorder keeps the machine's own time, and the station waits for it where a live one would have
//! had a thousand times as long.

use super::machine::{load_average, resident_mb};
use super::motion::{Lesson, PER_PACKET, at_s, densest, due_s, moved};
use super::rig::{EVENTS_KEEP, LIMITS, TemporaryFolder};
use super::verdict::Verdicts;
use anyhow::{Context, ensure};
use std::io::{BufReader, BufWriter, Read, Write};
use std::ops::RangeInclusive;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};
use swingd::daemon::clock::{Clock, Now, SystemClock};
use swingd::daemon::event_log::EventLog;
use swingd::daemon::hub::{Hub, News};
use swingd::daemon::inlet::{Inlet, ring};
use swingd::daemon::record::ingest::Entrance;
use swingd::daemon::recorder::{Kept, Settings, SystemDisk};
use swingd::daemon::recording::Recordings;
use swingd::daemon::station::{Recording, RecordingStatus, Station};
use swingd::engine::device::own;
use swingd::engine::wire::mcap::Entry;
use tokio::sync::broadcast::error::RecvError;

pub const HOURS: f64 = 8.0;
/// Seeds of its own, used nowhere else; the lesson with the most swings a minute is played.
const SEEDS: std::ops::Range<u64> = 840_000..840_600;
const EVENTS: usize = 20;
/// Between two rounds, packets that are not received: 4 s.
const OUT_OF_RANGE: usize = 211;
const LEAST_SWINGS_AN_HOUR: f64 = 250.0;
/// Memory is looked at so often, s of the day, and compared from here on.
const LOOK_EVERY_S: f64 = 600.0;
const SETTLED_S: f64 = 1800.0;
const MOST_CHANGE: f64 = 5.0;
/// The station waits if the recorder is so many entries behind: half of its queue.
const MOST_BEHIND: u64 = 8192;
/// When the day begins, ns since 1970 UTC.
const BEGIN_UTC_NS: i64 = 1_780_000_000_000_000_000;

/// Sends the day's packets to the standard output.
///
/// # Errors
/// If nobody reads them.
pub fn send(hours: f64) -> anyhow::Result<()> {
    let lesson = densest_lesson()?;
    let mut out = BufWriter::new(std::io::stdout().lock());
    for entry in lesson.preamble(0) {
        let text = match entry {
            Entry::Profile { toml, .. } => toml,
            Entry::Device { device, .. } => serde_json::to_string(&device)?,
            _ => continue,
        };
        write_frame(&mut out, 0, text.as_bytes())?;
    }
    let round = lesson.packets.len() + OUT_OF_RANGE;
    let all = (0..).step_by(round).flat_map(|first| (first..).zip(&lesson.packets));
    for (place, bytes) in all.take_while(|(place, _)| at_s(*place) < hours * 3600.0) {
        write_frame(&mut out, place, &moved(bytes.clone(), place))?;
    }
    Ok(out.flush()?)
}

fn densest_lesson() -> anyhow::Result<Lesson> {
    let seed = densest(SEEDS, EVENTS, f64::INFINITY, 1);
    Lesson::simulated(*seed.first().context("no seed")?, EVENTS)
}

fn write_frame(out: &mut impl Write, place: usize, bytes: &[u8]) -> std::io::Result<()> {
    out.write_all(&(place as u64).to_le_bytes())?;
    out.write_all(&(bytes.len() as u64).to_le_bytes())?;
    out.write_all(bytes)
}

/// The next frame; `None` at the end.
fn read_frame(from: &mut impl Read) -> anyhow::Result<Option<(usize, Vec<u8>)>> {
    let mut number = [0; 8];
    match from.read_exact(&mut number) {
        Err(error) if error.kind() == std::io::ErrorKind::UnexpectedEof => return Ok(None),
        read => read?,
    }
    let place = u64::from_le_bytes(number) as usize;
    from.read_exact(&mut number)?;
    let mut bytes = Vec::new();
    let length = u64::from_le_bytes(number);
    from.take(length).read_to_end(&mut bytes)?;
    ensure!(bytes.len() as u64 == length, "the simulation broke off");
    Ok(Some((place, bytes)))
}

pub fn run(hours: f64, verdicts: &mut Verdicts) -> anyhow::Result<()> {
    println!("day: {hours} hours of one sensor, as fast as it goes (load before {})", load_average());
    let folder = TemporaryFolder::new("day")?;
    let mut child = Command::new(std::env::current_exe()?)
        .args(["send-day", &hours.to_string()])
        .stdout(Stdio::piped())
        .spawn()
        .context("the simulation cannot be started")?;
    let mut packets = BufReader::new(child.stdout.take().context("no pipe")?);
    let mut day = Day::begin(&folder)?;
    let played = day.play(&mut packets);
    if played.is_err() {
        child.kill()?;
    }
    let status = child.wait()?;
    played?;
    ensure!(status.success(), "the simulation failed: {status}");
    day.report(hours, verdicts);
    Ok(())
}

/// The day so far.
struct Day {
    inlet: Arc<Inlet>,
    station: Station<Patient>,
    swings: Arc<AtomicU64>,
    began: Instant,
    packets: u64,
    /// When, s of the day, and how much, MB.
    memory: Vec<(f64, f64)>,
    lost_entries: u64,
}

impl Day {
    fn begin(folder: &TemporaryFolder) -> anyhow::Result<Self> {
        let (_, _, log) = EventLog::open(&folder.0, EVENTS_KEEP)?;
        let (swings, keep) = (Arc::new(AtomicU64::new(0)), log.keeper());
        let count = Arc::clone(&swings);
        let keep = move |news: &Arc<News>| {
            let is_new = news.kind == "swing" && news.data.contains(r#""stage":"streaming""#);
            count.fetch_add(u64::from(is_new), Ordering::Relaxed);
            keep(news);
        };
        let hub = Arc::new(Hub::new(Vec::new(), 1, EVENTS_KEEP, Box::new(keep)));
        read_all(&hub)?;
        let clock: Arc<dyn Clock> = Arc::new(SystemClock::new());
        let mut settings = Settings::new(folder.0.join("recordings"), "day");
        settings.longest_file_bytes = u64::MAX;
        let recordings = Recordings::new(Arc::new(|| SystemDisk), settings, Arc::clone(&clock));
        let recording = Patient { recordings, clock, handed_over: 0 };
        let (inlet, outlet) = ring("day", Box::new(|| {}));
        let station = Station::new(Arc::clone(&inlet), outlet, hub, recording, LIMITS, Entrance::new("cage").0);
        let (began, memory) = (Instant::now(), Vec::new());
        Ok(Self { inlet, station, swings, began, packets: 0, memory, lost_entries: 0 })
    }

    fn play(&mut self, from: &mut impl Read) -> anyhow::Result<()> {
        let mut frame = || read_frame(from)?.context("the simulation sent nothing");
        let (profile, device) = (frame()?.1, frame()?.1);
        self.inlet.push(Entry::Profile { log_time_ns: 0, toml: String::from_utf8(profile)? });
        self.inlet.push(Entry::Device { log_time_ns: 0, device: serde_json::from_slice(&device)? });
        let (mut now, mut next_look_s) = (at(0), LOOK_EVERY_S);
        while let Some((place, bytes)) = read_frame(from)? {
            now = at(place);
            self.inlet.packet(own::DATA.to_owned(), bytes, now);
            self.station.step(now);
            self.packets += 1;
            if now.elapsed.as_secs_f64() >= next_look_s {
                self.memory.push((next_look_s, resident_mb()?));
                next_look_s += LOOK_EVERY_S;
            }
        }
        self.memory.push((now.elapsed.as_secs_f64(), resident_mb()?));
        self.station.finish(now, Duration::from_secs(600));
        self.lost_entries = self.inlet.dropped();
        Ok(())
    }

    fn report(&self, hours: f64, verdicts: &mut Verdicts) {
        let settled = self.memory.iter().filter(|(at_s, _)| *at_s >= SETTLED_S).map(|(_, mb)| *mb);
        let reference_mb = settled.clone().next().unwrap_or(f64::NAN);
        let (least_mb, most_mb) = (settled.clone().fold(f64::NAN, f64::min), settled.clone().fold(f64::NAN, f64::max));
        let change = 100.0 * (most_mb - reference_mb).max(reference_mb - least_mb) / reference_mb;
        let looks: Vec<String> = self.memory.iter().map(|(at_s, mb)| format!("{:.0}: {mb:.1}", at_s / 60.0)).collect();
        println!("  resident memory, minute: MB: {}", looks.join(", "));
        let samples = self.packets * PER_PACKET as u64;
        let (swings, took_s) = (self.swings.load(Ordering::Relaxed), self.began.elapsed().as_secs_f64());
        println!("  {samples} samples in {took_s:.0} s; from minute 30 on {least_mb:.1} to {most_mb:.1} MB");
        verdicts.at_least("swings told", swings as f64, LEAST_SWINGS_AN_HOUR * hours, "");
        verdicts.at_most("packets dropped", self.lost_entries as f64, 0.0, "");
        verdicts.at_most("resident memory, greatest change since minute 30", change, MOST_CHANGE, "%");
    }
}

fn at(place: usize) -> Now {
    let elapsed = Duration::from_secs_f64(due_s(place));
    Now { utc_ns: BEGIN_UTC_NS + elapsed.as_nanos() as i64, elapsed }
}

/// A front-end that reads everything, in a thread that ends with the hub.
fn read_all(hub: &Hub) -> std::io::Result<()> {
    let mut news = hub.subscribe(None).news;
    let read = move || while !matches!(news.blocking_recv(), Err(RecvError::Closed)) {};
    std::thread::Builder::new().name("front-end".into()).spawn(read).map(drop)
}

/// Recordings that are waited for.
struct Patient {
    recordings: Recordings<SystemDisk>,
    clock: Arc<dyn Clock>,
    handed_over: u64,
}

impl Recording for Patient {
    fn record(&mut self, index: u64, entry: &Entry, _: Now) {
        self.recordings.record(index, entry, self.clock.now());
        self.handed_over += 1;
        let behind = |status: RecordingStatus| self.handed_over.saturating_sub(status.written + status.lost);
        while self.handed_over.is_multiple_of(256) && behind(self.recordings.status(self.clock.now())) > MOST_BEHIND {
            std::thread::sleep(Duration::from_millis(1));
        }
    }

    fn sync(&mut self, _: Now) {
        self.recordings.sync(self.clock.now());
    }

    fn close(&mut self, _: Now) {
        self.recordings.close(self.clock.now());
    }

    fn end(&mut self, limit: Duration) {
        self.recordings.end(limit);
    }

    fn kept(&self, indices: RangeInclusive<u64>) -> Kept {
        self.recordings.kept(indices)
    }

    fn status(&self, _: Now) -> RecordingStatus {
        self.recordings.status(self.clock.now())
    }
}
