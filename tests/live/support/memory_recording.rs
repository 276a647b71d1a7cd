//! A recorder that works within the call, on a disk in memory: for sessions on virtual time.

use std::ops::RangeInclusive;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use swingd::daemon::clock::{Clock, Now};
use swingd::daemon::recorder::memory::MemoryDisk;
use swingd::daemon::recorder::{Command, Kept, Progress, RecorderCore, Settings};
use swingd::daemon::recording::name;
use swingd::daemon::station::{Recording, RecordingStatus};
use swingd::engine::wire::mcap::Entry;

pub const FOLDER: &str = "recordings";

pub struct MemoryRecording {
    disk: MemoryDisk,
    sensor: String,
    clock: Arc<dyn Clock>,
    core: Option<RecorderCore<MemoryDisk>>,
    progress: Option<Arc<Progress>>,
}

impl MemoryRecording {
    pub fn new(disk: MemoryDisk, sensor: &str, clock: Arc<dyn Clock>) -> Self {
        Self { disk, sensor: sensor.into(), clock, core: None, progress: None }
    }

    fn command(&mut self, command: Command, now: Now) {
        let (disk, sensor) = (&self.disk, &self.sensor);
        let core = self.core.get_or_insert_with(|| {
            let settings = Settings { longest_file_bytes: u64::MAX, ..Settings::new(Path::new(FOLDER), sensor) };
            RecorderCore::new(disk.clone(), settings)
        });
        self.progress = Some(core.progress());
        core.take(command, now);
    }
}

impl Recording for MemoryRecording {
    fn record(&mut self, index: u64, entry: &Entry, now: Now) {
        self.command(Command::Entry { index, entry: entry.clone() }, now);
    }

    fn sync(&mut self, now: Now) {
        self.command(Command::Sync, now);
    }

    fn close(&mut self, now: Now) {
        self.command(Command::Close, now);
        self.core = None;
    }

    fn end(&mut self, _: Duration) {
        self.close(self.clock.now());
    }

    fn kept(&self, indices: RangeInclusive<u64>) -> Kept {
        self.progress.as_ref().map_or(Kept::Lost, |progress| progress.kept(indices))
    }

    fn status(&self, now: Now) -> RecordingStatus {
        let Some(progress) = &self.progress else { return RecordingStatus::default() };
        RecordingStatus {
            file: progress.file().as_deref().and_then(name),
            written: progress.messages(),
            lost: progress.lost(),
            bytes: progress.bytes(),
            trouble: progress.trouble(now.elapsed).map(|it| (it.to_string(), it.remedy().to_owned())),
        }
    }
}
