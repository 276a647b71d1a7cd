//! What is done for one sensor: a state machine that is told the time.
//!
//! Enters: entries from the ring ([`Outlet`]), and what came from elsewhere (who is at the plate). Each goes first to the
//! recorder, then to the session; what the session tells is published once the recorder has written the packets it came
//! from, or after [`PATIENCE`] if the disk is slow, as the instructor waits for the number and not for the disk. Then
//! swings go to the store ([`Handover`]), all but the first word on each. Also
//! leaves: the sensor's state four times a second, and faults, found within 2 s and cleared when they are over. A thread calls
//! [`Station::step`]; so does a test on virtual time.

use super::clock::Now;
use super::hub::{Fault, Hub, LiveSwing};
use super::inlet::{Inlet, Outlet};
use super::record::handover::Handover;
use super::record::ingest::Entrance;
use super::record::outfit::{Slot, Wardrobe};
use super::recorder::Kept;
use super::state::{Live, SensorState};
use super::tap::Tap;
use crate::engine::Stage;
use crate::engine::device::own;
use crate::engine::session::{Session, Told, ToldSwing};
use crate::engine::wire::mcap::{Entry, LinkRecord, LinkState};
use crate::report::event;
use serde::Serialize;
use serde_json::value::RawValue;
use std::collections::VecDeque;
use std::ops::RangeInclusive;
use std::sync::Arc;
use std::time::Duration;
use uuid::Uuid;

/// The first word on a swing waits so long for its packets to be on disk: the instructor waits for the number.
const PATIENCE: Duration = Duration::from_millis(20);
/// Anything else is in no hurry.
const LONG_PATIENCE: Duration = Duration::from_millis(500);
/// That the analysis failed is told for so long.
const PANIC_TOLD: Duration = Duration::from_secs(60);
/// The fault of it.
const ANALYSIS: &str = "analysis";
/// State and faults are looked at so often.
const LOOK_EVERY: Duration = Duration::from_millis(250);
/// Entries taken in one step, so that waiting events are looked at in between.
const MOST_A_STEP: usize = 256;

/// Where a station's entries are written. Nothing here blocks.
pub trait Recording: Send {
    /// Takes an entry; `index` counts them from 0 and goes up by one.
    fn record(&mut self, index: u64, entry: &Entry, now: Now);
    /// What has been taken is to be safe from a power cut soon.
    fn sync(&mut self, now: Now);
    /// The file is whole; what follows belongs to the next one.
    fn close(&mut self, now: Now);
    /// The same, and nothing follows: waits until the file is finished, but not longer than `limit`.
    fn end(&mut self, limit: Duration);
    /// What became of these entries.
    fn kept(&self, indices: RangeInclusive<u64>) -> Kept;
    /// How it is.
    fn status(&self, now: Now) -> RecordingStatus;
}

/// How a recording is.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RecordingStatus {
    /// The present recording's name, without ending.
    pub file: Option<String>,
    /// Entries written to files.
    pub written: u64,
    /// Entries that are in no file.
    pub lost: u64,
    /// Bytes in the present file.
    pub bytes: u64,
    /// What is wrong: cause and remedy.
    pub trouble: Option<(String, String)>,
}

/// When recordings end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// A recording in which nothing came for so long is closed, s.
    pub idle_close_s: f64,
    /// A recording that has grown beyond this is closed, bytes.
    pub most_bytes: u64,
}

/// One sensor's station.
pub struct Station<R> {
    inlet: Arc<Inlet>,
    outlet: Outlet,
    hub: Arc<Hub>,
    recording: R,
    limits: Limits,
    session: Session,
    live: Live,
    index: u64,
    /// The first entry of the present recording, and how many it has.
    first_index: u64,
    in_recording: u64,
    begun_at: Duration,
    panicked_at: Option<Duration>,
    session_name: Arc<str>,
    handover: Handover,
    wardrobe: Wardrobe,
    waiting: VecDeque<Waiting>,
    next_look: Duration,
    /// What a recording begins with: the last of each kind.
    preamble: [Option<Entry>; 4],
    tap: Arc<Tap>,
}

/// An event that waits for its packets to be written.
struct Waiting {
    /// Everything it was made from: the recording up to the entry it was told of.
    entries: RangeInclusive<u64>,
    until: Duration,
    kind: &'static str,
    line: String,
    session: Arc<str>,
    file: Option<String>,
    told: Told,
}

/// What stands in the event stream around what the session told.
#[derive(Serialize)]
struct Envelope<'a> {
    sensor: &'a str,
    session: &'a str,
    recording: Option<&'a str>,
    recorded: bool,
    /// Of swings alone.
    #[serde(skip_serializing_if = "Option::is_none")]
    swing_id: Option<Option<Uuid>>,
    told: &'a RawValue,
}

impl<R: Recording> Station<R> {
    /// For the sensor at the other end of the ring.
    pub fn new(
        inlet: Arc<Inlet>,
        outlet: Outlet,
        hub: Arc<Hub>,
        recording: R,
        limits: Limits,
        entrance: Entrance,
    ) -> Self {
        Self {
            live: Live::new(inlet.sensor()),
            wardrobe: Wardrobe::new(inlet.sensor(), Slot::default()),
            handover: Handover::new(inlet.sensor(), entrance),
            inlet,
            outlet,
            hub,
            recording,
            limits,
            session: Session::new(),
            index: 0,
            first_index: 0,
            in_recording: 0,
            begun_at: Duration::ZERO,
            panicked_at: None,
            session_name: Arc::from(""),
            waiting: VecDeque::new(),
            next_look: Duration::ZERO,
            preamble: [const { None }; 4],
            tap: Arc::default(),
        }
    }

    /// What the session decodes is offered there.
    pub fn tapped(mut self, tap: Arc<Tap>) -> Self {
        self.tap = tap;
        self
    }

    /// Its profile is to be what is swung makes of it.
    pub fn dressed_from(mut self, slot: Slot) -> Self {
        self.wardrobe = Wardrobe::new(self.inlet.sensor(), slot);
        self
    }

    /// Takes what has come and tells what there is to tell; whether there may be more right away.
    pub fn step(&mut self, now: Now) -> bool {
        let mut taken = 0;
        while taken < MOST_A_STEP {
            let Some(entry) = self.outlet.pop() else { break };
            self.take(entry, now);
            taken += 1;
        }
        self.release(now);
        if now.elapsed >= self.next_look {
            self.next_look = now.elapsed + LOOK_EVERY;
            self.look(now);
        }
        taken == MOST_A_STEP
    }

    /// When the next step is due even if nothing comes.
    pub fn due_in(&self) -> Duration {
        if self.waiting.is_empty() { LOOK_EVERY } else { Duration::from_millis(1) }
    }

    /// Nothing more will come: what is pending is told, and the recording closed, within `limit` if the disk lets it.
    pub fn finish(&mut self, now: Now, limit: Duration) {
        while self.step(now) {}
        // What found the ring full is taken last.
        self.inlet.settle();
        while self.step(now) {}
        self.end_session(now);
        self.recording.end(limit);
        self.release_all(now);
    }

    /// The analysis panicked, which is a defect of this program: everything it was about is in the recording, which ends
    /// here; the sensor goes on with a new one.
    pub fn begin_anew_after_panic(&mut self, now: Now) {
        tracing::error!(sensor = self.inlet.sensor(), "the analysis panicked; it begins anew");
        self.hub.fault(Fault {
            sensor: Some(self.inlet.sensor().to_owned()),
            key: ANALYSIS,
            cause: "the analysis failed on what the sensor sent, and began anew".into(),
            remedy: "nothing now; the recording holds all of it: please send it with a report".into(),
        });
        self.panicked_at = Some(now.elapsed);
        self.session = Session::new();
        self.recording.close(now);
        self.live.closed();
        self.in_recording = 0;
    }

    fn take(&mut self, entry: Entry, now: Now) {
        match entry {
            Entry::Profile { log_time_ns, toml } => {
                let entry = self.wardrobe.profile(log_time_ns, toml);
                self.take_in(entry, now);
            }
            Entry::AtThePlate { log_time_ns, .. } => {
                self.take_in(entry, now);
                if let Some(entry) = self.wardrobe.plate(log_time_ns) {
                    self.take_in(entry, now);
                }
            }
            entry => self.take_in(entry, now),
        }
    }

    fn take_in(&mut self, entry: Entry, now: Now) {
        let is_sent = match &entry {
            // Answers and batteries alone are no recording.
            Entry::Packet(packet) => ![own::CONTROL, own::BATTERY_LEVEL].contains(&packet.characteristic.as_str()),
            Entry::Samples { .. } => true,
            _ => false,
        };
        if self.in_recording == 0 && is_sent {
            self.begin_recording(now);
        }
        self.remember(&entry);
        if self.in_recording > 0 {
            self.take_one(&entry, now);
        } else {
            // A recording begins with what the sensor sends; until then what comes is kept for its head.
            self.live.take(&entry, now);
        }
        if let Entry::Link { link: LinkRecord { state: LinkState::Lost, .. }, .. } = entry {
            self.look(now);
        }
    }

    fn take_one(&mut self, entry: &Entry, now: Now) {
        self.recording.record(self.index, entry, now);
        self.session.keep_fresh(self.tap.is_open());
        let told = self.session.take(entry);
        self.tap.take(&self.session, now);
        self.live.take(entry, now);
        let problems = told.iter().filter_map(|told| match told {
            Told::Problem(cause) => Some(cause),
            _ => None,
        });
        problems.for_each(|cause| self.live.problem(entry, cause));
        self.tell(told, self.index, now);
        self.index += 1;
        self.in_recording += 1;
    }

    /// A recording can be read by itself: it begins with how, with what and whose.
    fn begin_recording(&mut self, now: Now) {
        // What waits belongs to the recording before.
        self.release_all(now);
        self.begun_at = now.elapsed;
        self.session_name = session_name(now);
        self.handover.begin(now.utc_ns);
        self.first_index = self.index;
        let preamble = self.preamble.clone();
        for entry in preamble.into_iter().flatten() {
            self.take_one(&entry, now);
        }
    }

    fn remember(&mut self, entry: &Entry) {
        let place = match entry {
            Entry::Device { .. } => 0,
            Entry::Profile { .. } => 1,
            Entry::AtThePlate { .. } => 2,
            Entry::Link { .. } => 3,
            Entry::Packet(_) | Entry::Samples { .. } => return,
        };
        if let Some(kept) = self.preamble.get_mut(place) {
            *kept = Some(entry.clone());
        }
    }

    /// What was told of the entry `index`.
    fn tell(&mut self, told: Vec<Told>, index: u64, now: Now) {
        self.handover.first_sample(self.session.first_s());
        for told in told {
            match &told {
                Told::Swing(swing) => {
                    self.recording.sync(now);
                    self.live.swing(swing);
                    tracing::info!(
                        sensor = self.inlet.sensor(),
                        number = swing.number,
                        stage = event::stage(swing.stage),
                        contact_s = swing.swing.contact.0,
                        "swing"
                    );
                }
                Told::Rest { .. } | Told::Roll { .. } | Told::Anew { .. } | Told::Problem(_) => {}
            }
            let Ok((kind, line)) = event::line(&told) else { continue };
            let file = self.recording.status(now).file;
            let entries = self.first_index..=index;
            let is_first = matches!(&told, Told::Swing(swing) if swing.stage == Stage::Streaming);
            let until = now.elapsed + if is_first { PATIENCE } else { LONG_PATIENCE };
            if is_first {
                // What stands before it must not hold it up.
                self.waiting.iter_mut().for_each(|waiting| waiting.until = waiting.until.min(until));
            }
            let session = Arc::clone(&self.session_name);
            self.waiting.push_back(Waiting { entries, until, kind, line, session, file, told });
        }
    }

    /// Publishes what has waited for its packets.
    fn release(&mut self, now: Now) {
        while let Some(first) = self.waiting.front() {
            let kept = self.recording.kept(first.entries.clone());
            if kept == Kept::Waiting && now.elapsed < first.until {
                return;
            }
            self.publish_first(kept == Kept::Written, now);
        }
        self.handover.settle();
    }

    /// Publishes all that waits, as it is now.
    fn release_all(&mut self, now: Now) {
        while let Some(first) = self.waiting.front() {
            let kept = self.recording.kept(first.entries.clone());
            self.publish_first(kept == Kept::Written, now);
        }
        self.handover.settle();
    }

    fn publish_first(&mut self, recorded: bool, now: Now) {
        let Some(Waiting { kind, line, session, file, told, .. }) = self.waiting.pop_front() else { return };
        // Its recorder had not begun the file yet.
        let file = file.or_else(|| self.recording.status(now).file);
        let file = file.as_deref();
        let Ok(line) = RawValue::from_string(line) else { return };
        let swing_id = match &told {
            Told::Swing(swing) => Some(self.handover.swing_id(swing.number, file)),
            _ => None,
        };
        let sensor = self.inlet.sensor();
        let envelope = Envelope { sensor, session: &session, recording: file, recorded, swing_id, told: &line };
        if let Ok(data) = serde_json::to_string(&envelope) {
            match &told {
                Told::Swing(told) => self.publish_swing(kind, data, &session, swing_id.flatten(), told),
                _ => self.hub.publish(kind, data),
            };
        }
        if let Told::Swing(swing) = told {
            self.handover.swing(swing, file);
        }
    }

    fn publish_swing(
        &self,
        kind: &str,
        data: String,
        session: &Arc<str>,
        swing_id: Option<Uuid>,
        told: &ToldSwing,
    ) -> u64 {
        // Only what somebody draws is worth the copy of its curves.
        let drawn = self.hub.draws_swings().then(|| LiveSwing {
            sensor: self.inlet.sensor().into(),
            session: Arc::clone(session),
            swing_id,
            told: Box::new(told.clone()),
        });
        self.hub.swing(kind, data, drawn)
    }

    /// Tells the state, and what is wrong or right again.
    fn look(&mut self, now: Now) {
        let status = self.recording.status(now);
        self.tap.tell_fix(self.session.fix());
        self.tap.expire(now);
        if self.in_recording > 0 {
            status.file.iter().for_each(|file| self.handover.file(file));
        }
        if self.panicked_at.is_some_and(|at| now.elapsed > at + PANIC_TOLD) {
            self.panicked_at = None;
            self.hub.clear(Some(self.inlet.sensor()), ANALYSIS);
        }
        let state: SensorState = self.live.state(&self.session, &self.inlet, &status, now);
        self.hub.sensor(self.inlet.sensor(), &state);
        for (key, wrong) in self.live.faults(&self.session, &self.inlet, &status, now) {
            let sensor = Some(self.inlet.sensor().to_owned());
            match wrong {
                Some((cause, remedy)) => self.hub.fault(Fault { sensor, key, cause, remedy }),
                None => self.hub.clear(sensor.as_deref(), key),
            }
        }
        let begun_s = now.elapsed.saturating_sub(self.begun_at).as_secs_f64();
        let silent_s = self.inlet.silent_s(now).unwrap_or(begun_s).min(begun_s);
        let silent = silent_s > self.limits.idle_close_s;
        if self.in_recording > 0 && (silent || status.bytes > self.limits.most_bytes) {
            self.close_recording(now);
        }
    }

    /// Ends the session with the recording, so that a replay of the one gives what the other told.
    fn close_recording(&mut self, now: Now) {
        self.end_session(now);
        self.recording.close(now);
    }

    fn end_session(&mut self, now: Now) {
        if self.in_recording == 0 {
            return;
        }
        self.recording.status(now).file.iter().for_each(|file| self.handover.file(file));
        let told = self.session.finish();
        self.tell(told, self.index.saturating_sub(1), now);
        self.handover.end(now.utc_ns, self.session.clock());
        self.session = Session::new();
        self.live.closed();
        self.in_recording = 0;
    }
}

/// When a session began, to the millisecond: with the sensor it names the session.
fn session_name(now: Now) -> Arc<str> {
    let begun = jiff::Timestamp::from_millisecond(now.utc_ns.div_euclid(1_000_000)).unwrap_or_default();
    format!("{begun:.3}").into()
}
