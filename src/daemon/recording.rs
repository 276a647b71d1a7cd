//! A station's recordings: one recorder a file, begun with the first entry and left to finish by itself.

use super::MakeDisk;
use super::clock::{Clock, Now};
use super::recorder::{Disk, Kept, Progress, RecorderCore, RecorderHandle, Settings, spawn};
use super::station::{Recording, RecordingStatus};
use crate::engine::wire::mcap::Entry;
use std::ops::RangeInclusive;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Recordings on a disk, each written by a thread of its own.
pub struct Recordings<D: Disk> {
    disk: MakeDisk<D>,
    settings: Settings,
    clock: Arc<dyn Clock>,
    handle: Option<RecorderHandle>,
    progress: Option<Arc<Progress>>,
    /// Of the recording before, which may still be on its way to the disk.
    before: Option<Arc<Progress>>,
    /// Whether entries of the present recording were not taken, as there was no thread for them.
    is_partial: bool,
    /// No thread could be started: why.
    failed: Option<String>,
}

impl<D: Disk> Recordings<D> {
    /// Nothing is written yet. `disk` makes a way to the disk for each recorder.
    pub fn new(disk: MakeDisk<D>, settings: Settings, clock: Arc<dyn Clock>) -> Self {
        Self { disk, settings, clock, handle: None, progress: None, before: None, is_partial: false, failed: None }
    }

    fn begin(&mut self) {
        let core = RecorderCore::new((self.disk)(), self.settings.clone());
        match spawn(core, Arc::clone(&self.clock)) {
            Ok(handle) => {
                self.progress = Some(handle.progress());
                self.handle = Some(handle);
                self.failed = None;
            }
            Err(error) => self.failed = Some(error.to_string()),
        }
    }
}

impl<D: Disk> Recording for Recordings<D> {
    fn record(&mut self, index: u64, entry: &Entry, _: Now) {
        if self.handle.is_none() {
            self.begin();
        }
        self.is_partial |= self.handle.is_none();
        if let Some(handle) = &self.handle {
            // An entry that is not taken is counted and shown by the recorder's progress.
            let _ = handle.record(index, entry.clone());
        }
    }

    fn sync(&mut self, _: Now) {
        if let Some(handle) = &self.handle {
            // Were the queue full, all of it is synced within a second of its being written.
            let _ = handle.sync();
        }
    }

    fn close(&mut self, _: Now) {
        // The thread writes what waits, finishes its file and ends.
        self.handle = None;
        self.is_partial = false;
        self.before = self.progress.clone();
    }

    fn end(&mut self, limit: Duration) {
        let begun = Instant::now();
        if let Some(handle) = self.handle.take()
            && let Err(error) = handle.close(limit)
        {
            tracing::warn!(sensor = self.settings.sensor, %error, "it is finished at the next start");
        }
        let is_closed = || self.before.as_ref().is_none_or(|before| before.is_closed());
        while !is_closed() && begun.elapsed() < limit {
            std::thread::sleep(Duration::from_millis(10));
        }
    }

    fn kept(&self, indices: RangeInclusive<u64>) -> Kept {
        match &self.progress {
            Some(progress) if !self.is_partial => progress.kept(indices),
            _ => Kept::Lost,
        }
    }

    fn status(&self, now: Now) -> RecordingStatus {
        let failed = || {
            let cause = self.failed.as_ref()?;
            Some((format!("no thread can be started to write recordings: {cause}"), "restart the service".into()))
        };
        self.progress.as_ref().map_or_else(
            || RecordingStatus { trouble: failed(), ..RecordingStatus::default() },
            |progress| {
                // What ailed a recording that is over is over.
                let ails = self.handle.as_ref().and_then(|_| trouble(progress, now));
                RecordingStatus { trouble: failed().or(ails), ..status(progress) }
            },
        )
    }
}

/// A recording's name, the same while it is written (`NAME.live.mcap`) and afterwards (`NAME.mcap`).
pub fn name(path: &Path) -> Option<String> {
    let file = path.file_name()?.to_string_lossy();
    let stem = file.strip_suffix(".mcap").unwrap_or(&file);
    Some(stem.strip_suffix(".live").unwrap_or(stem).to_owned())
}

/// What a recorder's progress says, trouble apart.
fn status(progress: &Progress) -> RecordingStatus {
    RecordingStatus {
        file: progress.file().as_deref().and_then(name),
        written: progress.messages(),
        lost: progress.lost(),
        bytes: progress.bytes(),
        trouble: None,
    }
}

/// What is in a recorder's way: cause and remedy.
fn trouble(progress: &Progress, now: Now) -> Option<(String, String)> {
    progress.trouble(now.elapsed).map(|trouble| (trouble.to_string(), trouble.remedy().to_owned()))
}
