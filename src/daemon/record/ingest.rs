//! The way of a live swing into the store.
//!
//! Stations hand over what they told ([`Entrance`], never waiting); one task writes it in the order it came ([`Ingest`]),
//! and publishes `stored` when it is on disk: that is the acknowledgement. While the store cannot be used it is tried
//! again, and said so. What does not fit into the queue is counted: its recording stays open, and is analysed at the next
//! start. The task may be cancelled at any time: what was not committed is in the recording.

use super::keep::{Kept, Source, keep, swing_id};
use crate::daemon::clock::Clock;
use crate::daemon::hub::{Fault, Hub};
use crate::daemon::recorder::begun_utc_us;
use crate::daemon::store::queries::{recordings, sensors};
use crate::daemon::store::rows::{Origin, Recording, RecordingState, RecordingSummary, UtcMicros};
use crate::daemon::store::{Store, StoreError, Transaction};
use crate::engine::session::ToldSwing;
use crate::report::event;
use serde::Serialize;
use std::collections::BTreeSet;
use std::pin::pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use uuid::Uuid;

/// What waits for the store: at eight sensors with a swing every ten seconds, each told twice, two and a half minutes; a
/// swing with its curves has some 50 kB.
pub const QUEUE_DEPTH: usize = 256;
/// A store that cannot be used is tried again after this.
const AGAIN_AFTER: Duration = Duration::from_millis(250);
/// A store that has not answered for so long is said to be in the way.
const SLOW_AFTER: Duration = Duration::from_millis(1500);
/// The fault of it.
const STORE: &str = "store";
/// The kind of the news that a swing is on disk.
pub const STORED: &str = "stored";

/// A recording as its station knows it.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct RecordingName {
    /// Which sensor's.
    pub sensor: Arc<str>,
    /// Its file's name without ending.
    pub stem: Arc<str>,
}

/// What a station hands over.
#[derive(Debug)]
pub enum Job {
    /// A file was begun.
    Begun(RecordingName),
    /// A swing was told.
    Swing {
        /// Where it is.
        recording: RecordingName,
        /// The sensor's clock at the recording's begin, s.
        first_s: f64,
        /// What was told.
        told: Box<ToldSwing>,
    },
    /// A file is whole.
    Ended {
        /// Which.
        recording: RecordingName,
        /// When.
        ended: UtcMicros,
        /// How it is; `None` if it is only a part of what its session was about.
        summary: Option<RecordingSummary>,
        /// Whether all that was told of it was handed over.
        is_complete: bool,
    },
    /// Nothing follows.
    Stop,
}

/// Where stations hand over what they told. Clones share it.
#[derive(Clone, Debug)]
pub struct Entrance {
    jobs: mpsc::Sender<Job>,
    cage: Arc<str>,
    missed: Arc<AtomicU64>,
}

/// The task that writes.
pub struct Ingest {
    store: Store,
    hub: Arc<Hub>,
    clock: Arc<dyn Clock>,
    cage: Arc<str>,
    jobs: mpsc::Receiver<Job>,
    /// Recordings of which something could not be stored.
    incomplete: BTreeSet<RecordingName>,
}

/// What is said of a swing that is on disk.
#[derive(Serialize)]
struct StoredLine<'a> {
    swing_id: Uuid,
    revision: i64,
    stage: &'a str,
    recording_id: Uuid,
    athlete_id: Option<Uuid>,
    lesson_id: Option<Uuid>,
    round_id: Option<Uuid>,
}

impl Entrance {
    /// To a task that is yet to run, for an installation of this name.
    pub fn new(cage: &str) -> (Self, mpsc::Receiver<Job>) {
        let (jobs, receiver) = mpsc::channel(QUEUE_DEPTH);
        (Self { jobs, cage: cage.into(), missed: Arc::default() }, receiver)
    }

    /// Hands something over, if there is room; whether there was.
    pub fn offer(&self, job: Job) -> bool {
        let is_taken = self.jobs.try_send(job).is_ok();
        if !is_taken {
            self.missed.fetch_add(1, Ordering::Relaxed);
        }
        is_taken
    }

    /// How much found no room.
    pub fn missed(&self) -> u64 {
        self.missed.load(Ordering::Relaxed)
    }

    /// The id that the swing of this number in a recording has or will have in the store; `None` if the recording's name
    /// says no begin.
    pub fn swing_id(&self, stem: &str, number: u64) -> Option<Uuid> {
        let begun_ms = u64::try_from(begun_utc_us(stem)? / 1000).ok()?;
        Some(swing_id(&self.cage, stem, begun_ms, number))
    }

    /// Lets the task end when it has written what was handed over.
    pub async fn stop(&self) {
        // A task that is gone has nothing to end.
        let _ = self.jobs.send(Job::Stop).await;
    }
}

impl Ingest {
    /// Begins to write what comes through the entrance.
    pub fn spawn(
        store: Store,
        hub: Arc<Hub>,
        clock: Arc<dyn Clock>,
        cage: &str,
        jobs: mpsc::Receiver<Job>,
    ) -> JoinHandle<()> {
        let ingest = Self { store, hub, clock, cage: cage.into(), jobs, incomplete: BTreeSet::new() };
        tokio::spawn(ingest.run())
    }

    async fn run(mut self) {
        while let Some(job) = self.jobs.recv().await {
            if matches!(job, Job::Stop) {
                return;
            }
            self.take(&job).await;
        }
    }

    /// Writes it, however long the store cannot be used.
    async fn take(&mut self, job: &Job) {
        loop {
            match self.attempt(job).await {
                Ok(stored) => {
                    self.hub.clear(None, STORE);
                    if let (Job::Swing { told, .. }, Some((recording_id, kept))) = (job, stored) {
                        self.tell(recording_id, &kept, told);
                    }
                    return;
                }
                Err(error) if error.is_passing() => {
                    self.fault(error.to_string());
                    tokio::time::sleep(AGAIN_AFTER).await;
                }
                Err(error) => {
                    // What the store refuses for good is in the recording, which stays open.
                    let (Job::Begun(recording) | Job::Swing { recording, .. } | Job::Ended { recording, .. }) = job
                    else {
                        return;
                    };
                    tracing::error!(%error, recording = &*recording.stem, "not stored");
                    self.incomplete.insert(recording.clone());
                    return;
                }
            }
        }
    }

    /// Tries once, and says when it takes long.
    async fn attempt(&self, job: &Job) -> Result<Option<(Uuid, Kept)>, StoreError> {
        let mut writing = pin!(self.write(job));
        tokio::select! {
            done = &mut writing => return done,
            () = tokio::time::sleep(SLOW_AFTER) => {}
        }
        self.fault(format!("the store has not answered for {:.1} s", SLOW_AFTER.as_secs_f64()));
        writing.await
    }

    async fn write(&self, job: &Job) -> Result<Option<(Uuid, Kept)>, StoreError> {
        let mut changes = self.store.write().await?;
        let stored = match job {
            Job::Begun(recording) => {
                self.registered(&mut changes, recording).await?;
                None
            }
            Job::Swing { recording, first_s, told } => {
                let Recording { id, begun, .. } = self.registered(&mut changes, recording).await?;
                let source = Source {
                    recording_id: id,
                    cage: self.cage.to_string(),
                    file_stem: recording.stem.to_string(),
                    begun,
                    first_s: *first_s,
                    owner: None,
                };
                keep(&mut changes, &source, told, self.now()).await?.map(|kept| (id, kept))
            }
            Job::Ended { recording, ended, summary, is_complete } => {
                let row = self.registered(&mut changes, recording).await?;
                let is_stored = *is_complete && !self.incomplete.contains(recording);
                let state = if is_stored { RecordingState::Stored } else { RecordingState::Open };
                recordings::end(&mut changes, row.id, *ended, *summary, state).await?;
                None
            }
            Job::Stop => None,
        };
        changes.commit().await?;
        Ok(stored)
    }

    /// The recording's row, made if there is none.
    async fn registered(&self, changes: &mut Transaction, name: &RecordingName) -> Result<Recording, StoreError> {
        let file_name = format!("{}.mcap", name.stem);
        if let Some(there) = recordings::of_file(changes, &self.cage, &file_name).await? {
            return Ok(there);
        }
        let now = self.now();
        let sensor = sensors::see(changes, &name.sensor, now).await?;
        let recording = Recording {
            id: Uuid::now_v7(),
            cage: self.cage.to_string(),
            file_name,
            sensor_id: Some(sensor.id),
            origin: Origin::Live,
            imported_name: None,
            athlete_id: None,
            begun: begun_utc_us(&name.stem).map_or(now, UtcMicros),
            ended: None,
            summary: None,
            sha256: None,
            state: RecordingState::Open,
            version: 1,
        };
        recordings::insert(changes, &recording).await?;
        Ok(recording)
    }

    fn tell(&self, recording_id: Uuid, kept: &Kept, told: &ToldSwing) {
        let line = StoredLine {
            swing_id: kept.swing_id,
            revision: kept.revision,
            stage: event::stage(told.stage),
            recording_id,
            athlete_id: kept.owner.athlete_id,
            lesson_id: kept.owner.lesson_id,
            round_id: kept.owner.round_id,
        };
        if let Ok(data) = serde_json::to_string(&line) {
            self.hub.publish(STORED, data);
        }
    }

    fn fault(&self, cause: String) {
        self.hub.fault(Fault {
            sensor: None,
            key: STORE,
            cause: format!("{cause}; swings wait, and are in their recordings"),
            remedy: "check the disk, and that no other program holds the store; it is tried again by itself".into(),
        });
    }

    fn now(&self) -> UtcMicros {
        UtcMicros(self.clock.now().utc_ns / 1000)
    }
}

#[cfg(test)]
mod tests;
