//! What a station hands over to the store of one session, and in which recording it is.
//!
//! Nothing here waits. A swing stays with the recording in which it was told first, even if the session goes on in another
//! one after trouble with the disk.

use super::ingest::{Entrance, Job, RecordingName};
use crate::daemon::recorder::stem;
use crate::daemon::store::rows::{RecordingSummary, UtcMicros};
use crate::engine::Stage;
use crate::engine::sample::ClockSummary;
use crate::engine::session::ToldSwing;
use std::collections::VecDeque;
use std::sync::Arc;
use uuid::Uuid;

/// What one station hands over.
pub struct Handover {
    entrance: Entrance,
    sensor: Arc<str>,
    begun_utc_ns: i64,
    /// The sensor's clock at the first sample, s.
    first_s: Option<f64>,
    /// The session's recordings so far.
    files: Vec<Arc<str>>,
    /// Where swings are that may be told again.
    homes: VecDeque<(u64, Arc<str>)>,
    /// Whether all found room.
    is_complete: bool,
    ended: Option<(UtcMicros, RecordingSummary)>,
}

impl Handover {
    /// Of a sensor, before its first session.
    pub fn new(sensor: &str, entrance: Entrance) -> Self {
        Self {
            entrance,
            sensor: sensor.into(),
            begun_utc_ns: 0,
            first_s: None,
            files: Vec::new(),
            homes: VecDeque::new(),
            is_complete: true,
            ended: None,
        }
    }

    /// A session begins. What was said of the one before counts no longer.
    pub fn begin(&mut self, utc_ns: i64) {
        (self.begun_utc_ns, self.first_s, self.ended, self.is_complete) = (utc_ns, None, None, true);
        self.files.clear();
        self.homes.clear();
    }

    /// The sensor's clock at the first sample, once there is one.
    pub fn first_sample(&mut self, first_s: Option<f64>) {
        self.first_s = self.first_s.or(first_s);
    }

    /// The session is recorded in this file.
    pub fn file(&mut self, file: &str) {
        if !self.files.iter().any(|known| **known == *file) {
            let file: Arc<str> = file.into();
            self.is_complete &= self.entrance.offer(Job::Begun(self.name(&file)));
            self.files.push(file);
        }
    }

    /// The id in the store of the swing of this number, told while the session was recorded in `file`.
    pub fn swing_id(&mut self, number: u64, file: Option<&str>) -> Option<Uuid> {
        let home = self.home(number, file)?;
        self.entrance.swing_id(&home, number)
    }

    /// Hands over a swing, but not the first word on it, which a better one follows within seconds. One whose recording
    /// could not be begun is said to be in the file that there would have been.
    pub fn swing(&mut self, told: Box<ToldSwing>, file: Option<&str>) {
        let home = self.home(told.number, file);
        if told.stage == Stage::Streaming {
            return;
        }
        if told.stage == Stage::Revised {
            self.homes.retain(|(number, _)| *number != told.number);
        }
        let home = home.unwrap_or_else(|| stem(&self.sensor, self.begun_utc_ns).into());
        // A swing has samples before it.
        let first_s = self.first_s.unwrap_or_default();
        self.is_complete &= self.entrance.offer(Job::Swing { recording: self.name(&home), first_s, told });
    }

    /// The session has ended; said once all that it told was handed over: [`Self::settle`].
    pub fn end(&mut self, utc_ns: i64, clock: ClockSummary) {
        let whole = |count: u64| i64::try_from(count).unwrap_or(i64::MAX);
        let summary = RecordingSummary {
            duration_s: clock.duration_s,
            samples: whole(clock.samples),
            sample_rate_hz: clock.sample_rate_hz().unwrap_or(0.0),
            gaps: whole(clock.gaps),
            missing_samples: whole(clock.missing_samples),
        };
        self.ended = Some((UtcMicros(utc_ns.div_euclid(1000)), summary));
    }

    /// Nothing of the session waits any more: if it has ended, its recordings have.
    pub fn settle(&mut self) {
        let Some((ended, summary)) = self.ended.take() else { return };
        let files = std::mem::take(&mut self.files);
        // Of several files none is all that the summary is about.
        let summary = (files.len() == 1).then_some(summary);
        for file in files {
            // Without room, the recording stays open.
            let recording = self.name(&file);
            self.entrance.offer(Job::Ended { recording, ended, summary, is_complete: self.is_complete });
        }
    }

    fn home(&mut self, number: u64, file: Option<&str>) -> Option<Arc<str>> {
        if let Some((_, home)) = self.homes.iter().find(|(known, _)| *known == number) {
            return Some(Arc::clone(home));
        }
        let home: Arc<str> = file?.into();
        self.homes.push_back((number, Arc::clone(&home)));
        Some(home)
    }

    fn name(&self, stem: &Arc<str>) -> RecordingName {
        RecordingName { sensor: Arc::clone(&self.sensor), stem: Arc::clone(stem) }
    }
}
