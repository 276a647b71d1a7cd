//! A recording through a session: its summary and its swings.
//!
//! One recording by itself is read on one thread and analysed on another; of many, each is read and analysed on one
//! thread, and as many threads run as there are processors. The results are the same.

use crate::daemon::files::{BATCH_SAMPLES, OpenRecording, RecordingError};
use crate::engine::session::{Session, Told};
use crate::engine::swing::Swing;
use crate::engine::wire::mcap::Entry;
use crate::report::RecordingSummary;
use std::collections::BTreeMap;
use std::sync::mpsc::{SyncSender, sync_channel};
use std::thread;

/// Batches between the reading and the analysing thread: enough that neither waits for the other's single batches, few
/// enough to stay in a processor's cache. A full channel makes the reader wait; nothing is dropped.
const BATCHES: usize = 8;

/// An entry that is not samples counts as so many in a batch, about what is in a packet.
const SAMPLES_OF_ANOTHER: usize = 16;

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
    let mut swings = Swings::default();
    while let Some(entry) = open.next_entry()? {
        swings.push(&entry);
    }
    Ok(swings.finish(&open))
}

/// Reads on a thread of its own; `progress` is told the share read, now and then.
pub fn analyse_while_reading(open: OpenRecording, progress: &mut dyn FnMut(f64)) -> Result<Analysis, RecordingError> {
    let mut swings = Swings::default();
    let (full, batches) = sync_channel(BATCHES);
    let open = thread::scope(|scope| {
        let reader = scope.spawn(move || read_all(open, &full));
        for Batch { entries, share_read } in batches {
            entries.iter().for_each(|entry| swings.push(entry));
            share_read.into_iter().for_each(&mut *progress);
        }
        reader.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
    })?;
    Ok(swings.finish(&open))
}

struct Batch {
    entries: Vec<Entry>,
    share_read: Option<f64>,
}

/// Sends every entry; gives the recording back for its summary.
fn read_all(mut open: OpenRecording, full: &SyncSender<Batch>) -> Result<OpenRecording, RecordingError> {
    loop {
        let (mut entries, mut samples) = (Vec::new(), 0);
        while samples < BATCH_SAMPLES {
            let Some(entry) = open.next_entry()? else { break };
            samples += match &entry {
                Entry::Samples { samples, .. } => samples.len(),
                _ => SAMPLES_OF_ANOTHER,
            };
            entries.push(entry);
        }
        let (share_read, done) = (open.share_read(), entries.is_empty());
        if done || full.send(Batch { entries, share_read }).is_err() {
            return Ok(open);
        }
    }
}

/// The session, and the best estimate of each swing so far.
#[derive(Default)]
struct Swings {
    session: Session,
    by_number: BTreeMap<u64, Swing>,
    problems: Vec<String>,
}

impl Swings {
    fn push(&mut self, entry: &Entry) {
        let told = self.session.take(entry);
        self.take(told);
    }

    fn take(&mut self, told: Vec<Told>) {
        for told in told {
            match told {
                Told::Swing(told) => drop(self.by_number.insert(told.number, told.swing)),
                Told::Problem(cause) => self.problems.push(cause),
                Told::Rest { .. } | Told::Roll { .. } | Told::Anew { .. } => {}
            }
        }
    }

    fn finish(mut self, open: &OpenRecording) -> Analysis {
        let told = self.session.finish();
        self.take(told);
        let mut swings: Vec<Swing> = self.by_number.into_values().collect();
        swings.sort_by(|a, b| a.contact.0.total_cmp(&b.contact.0));
        let path = open.path().display();
        let problems = self.problems.iter().map(|cause| format!("{path}: {cause}"));
        let counts = self.session.counts();
        let bad =
            (counts.bad_packets() > 0).then(|| format!("{path}: {} packets cannot be read", counts.bad_packets()));
        let poor = self.session.utc().why_poor().filter(|_| counts.packets > 0);
        let poor = poor.map(|reason| format!("{path}: the sensor's clock is placed on UTC poorly: {reason}"));
        Analysis {
            recording: summary(open, &self.session),
            notes: open.profile_warnings().chain(open.issue_lines()).chain(problems).chain(bad).chain(poor).collect(),
            swings,
        }
    }
}

fn summary(open: &OpenRecording, session: &Session) -> RecordingSummary {
    let clock = session.clock();
    RecordingSummary {
        path: open.path().display().to_string(),
        samples: clock.samples,
        duration_s: clock.duration_s,
        sample_rate_hz: clock.sample_rate_hz().unwrap_or(0.0),
        gaps: clock.gaps,
        missing_samples: clock.missing_samples,
        unusable_rows: open.issues().count() + session.counts().bad_packets(),
    }
}
