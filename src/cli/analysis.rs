//! A recording through the engine: its summary and its swings.
//!
//! One recording by itself is read on one thread and analysed on another; of many, each is read and analysed on one
//! thread, and as many threads run as there are processors. The results are the same.

use super::recording::{OpenRecording, RecordingError};
use crate::engine::sample::Sample;
use crate::engine::swing::Swing;
use crate::engine::{Engine, Event};
use crate::report::RecordingSummary;
use std::collections::BTreeMap;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread;

/// Batches between the reading and the analysing thread: enough that neither waits for the other's single batches, few
/// enough to stay in a processor's cache. A full channel makes the reader wait; nothing is dropped.
const BATCHES: usize = 8;

/// A recording as measured.
#[derive(Clone, Debug, PartialEq)]
pub struct Analysis {
    /// What there is to say of the recording.
    pub recording: RecordingSummary,
    /// What is unusual in its profile, and what in it could not be used: for people, a line each.
    pub notes: Vec<String>,
    /// Its swings, each in its best estimate, in the order of time.
    pub swings: Vec<Swing>,
}

/// Reads on this thread.
pub fn analyse(mut open: OpenRecording) -> Result<Analysis, RecordingError> {
    let mut swings = Swings::new(&open);
    let mut batch = Vec::new();
    while open.read_batch(&mut batch)? {
        swings.push(&batch);
    }
    Ok(swings.finish(&open))
}

/// Reads on a thread of its own; `progress` is told the share read, now and then.
pub fn analyse_while_reading(open: OpenRecording, progress: &mut dyn FnMut(f64)) -> Result<Analysis, RecordingError> {
    let mut swings = Swings::new(&open);
    let (full, batches) = sync_channel(BATCHES);
    let (give_back, empty) = sync_channel(BATCHES);
    let open = thread::scope(|scope| {
        let reader = scope.spawn(move || read_all(open, &full, &empty));
        for Batch { samples, share_read } in batches {
            swings.push(&samples);
            share_read.into_iter().for_each(&mut *progress);
            // Should the reader have ended, or have enough of them, the batch is simply freed.
            let _ = give_back.try_send(samples);
        }
        reader.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
    })?;
    Ok(swings.finish(&open))
}

struct Batch {
    samples: Vec<Sample>,
    share_read: Option<f64>,
}

/// Sends every batch, in vectors that come back; gives the recording back for its summary.
fn read_all(
    mut open: OpenRecording,
    full: &SyncSender<Batch>,
    empty: &Receiver<Vec<Sample>>,
) -> Result<OpenRecording, RecordingError> {
    loop {
        let mut samples = empty.try_recv().unwrap_or_default();
        let more = open.read_batch(&mut samples)?;
        let share_read = open.share_read();
        if !more || full.send(Batch { samples, share_read }).is_err() {
            return Ok(open);
        }
    }
}

/// The engine, and the best estimate of each swing so far.
struct Swings {
    engine: Engine,
    by_number: BTreeMap<u64, Swing>,
}

impl Swings {
    fn new(open: &OpenRecording) -> Self {
        Self { engine: Engine::new(open.profile().clone()), by_number: BTreeMap::new() }
    }

    fn push(&mut self, samples: &[Sample]) {
        let events = self.engine.push(samples);
        self.take(events);
    }

    fn take(&mut self, events: Vec<Event>) {
        for event in events {
            if let Event::Swing { number, swing, .. } = event {
                self.by_number.insert(number, *swing);
            }
        }
    }

    fn finish(mut self, open: &OpenRecording) -> Analysis {
        let events = self.engine.finish();
        self.take(events);
        let mut swings: Vec<Swing> = self.by_number.into_values().collect();
        swings.sort_by(|a, b| a.contact.0.total_cmp(&b.contact.0));
        Analysis {
            recording: summary(open),
            notes: open.profile_warnings().chain(open.issue_lines()).collect(),
            swings,
        }
    }
}

fn summary(open: &OpenRecording) -> RecordingSummary {
    let clock = open.clock();
    RecordingSummary {
        path: open.path().display().to_string(),
        samples: clock.samples,
        duration_s: clock.duration_s,
        sample_rate_hz: clock.sample_rate_hz().unwrap_or(0.0),
        gaps: clock.gaps,
        missing_samples: clock.missing_samples,
        unusable_rows: open.issues().count(),
    }
}
