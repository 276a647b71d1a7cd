//! The recorder of one sensor as a state machine that is told the time.
//!
//! Entries and the time come in; files come out, and [`Progress`]. Whatever the disk does, an entry either is in a file
//! and counted as written, or counted as lost. It never waits but for the disk.

use std::collections::VecDeque;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use super::disk::Disk;
use super::finish::{Finish, Finished};
use super::live::{AppendError, LiveFile};
use super::names::LIVE;
use super::progress::{Progress, Trouble};
use crate::daemon::clock::Now;
use crate::engine::wire::mcap::Entry;

/// How often what was written is made to outlast a loss of power; and how soon writing is tried again, and the free
/// space looked at.
const EVERY: Duration = Duration::from_secs(1);

/// How seldom a disk that fails to sync is asked at most: each failure begins a new file.
const SYNC_SELDOM: Duration = Duration::from_secs(64);

/// How soon a file that could not be finished is tried again.
const FINISH_AGAIN: Duration = Duration::from_secs(10);

/// How many messages are copied in a step of finishing, some 60 KB, and how often: at most 6 MB/s, for a few per cent
/// of a core, so that a file of 2 GiB takes some six minutes beside a recording that goes on.
const FINISH_MESSAGES: usize = 200;
const FINISH_EVERY: Duration = Duration::from_millis(10);

/// How many files may wait to be finished. What is beyond is finished at the next start.
const MOST_UNFINISHED: usize = 256;

/// What a recorder is to do.
#[derive(Clone, Debug, PartialEq)]
pub enum Command {
    /// Write this down.
    Entry {
        /// Greater than any before.
        index: u64,
        /// What.
        entry: Entry,
    },
    /// Make everything that was written outlast a loss of power, now.
    Sync,
    /// Close and finish the file; nothing comes after.
    Close,
}

/// How a recorder works.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Settings {
    /// Where the files go.
    pub folder: PathBuf,
    /// The sensor; files are named after it.
    pub sensor: String,
    /// A live file that is longer is closed and another begun.
    pub longest_file_bytes: u64,
    /// With less free space the disk counts as nearly full.
    pub nearly_full_bytes: u64,
    /// With less free space a disk that was full is not tried again.
    pub resume_bytes: u64,
}

impl Settings {
    /// The usual: files up to 2 GiB; the disk is nearly full below 1 GiB, two hours of eight sensors at 1 kHz and some
    /// 16 bytes a sample; once full, a mebibyte must be free again.
    pub fn new(folder: impl Into<PathBuf>, sensor: impl Into<String>) -> Self {
        Self {
            folder: folder.into(),
            sensor: sensor.into(),
            longest_file_bytes: 2 << 30,
            nearly_full_bytes: 1 << 30,
            resume_bytes: 1 << 20,
        }
    }
}

/// A closed live file.
struct Unfinished {
    stem: String,
    /// Something in it may not outlast a loss of power until it is finished.
    unsynced: bool,
    /// The whole file is there; only the live one is still to be removed.
    is_finished: bool,
}

/// The recorder of one sensor.
pub struct RecorderCore<D: Disk> {
    disk: D,
    settings: Settings,
    progress: Arc<Progress>,
    /// The last of each kind that a reader must know: device, profile, who is at the plate, link.
    preamble: [Option<Entry>; 4],
    live: Option<LiveFile<D::File>>,
    /// Why nothing can be written or kept.
    failure: Option<Trouble>,
    nearly_full: Option<Trouble>,
    retry_at: Duration,
    look_at: Duration,
    sync_at: Duration,
    sync_every: Duration,
    unfinished: VecDeque<Unfinished>,
    finishing: Option<(Unfinished, Finish<D>)>,
    finish_at: Duration,
    /// A file that was not synced is no longer watched: nothing more can be said to be synced.
    is_sync_unknown: bool,
    is_closed: bool,
}

impl<D: Disk> RecorderCore<D> {
    /// Touches nothing yet: a file is begun with the first entry.
    pub fn new(disk: D, settings: Settings) -> Self {
        Self {
            disk,
            settings,
            progress: Arc::new(Progress::new()),
            preamble: [const { None }; 4],
            live: None,
            failure: None,
            nearly_full: None,
            retry_at: Duration::ZERO,
            look_at: Duration::ZERO,
            sync_at: Duration::ZERO,
            sync_every: EVERY,
            unfinished: VecDeque::new(),
            finishing: None,
            finish_at: Duration::ZERO,
            is_sync_unknown: false,
            is_closed: false,
        }
    }

    /// How far it has come.
    pub fn progress(&self) -> Arc<Progress> {
        self.progress.clone()
    }

    /// Does what is told, and what is due.
    pub fn take(&mut self, command: Command, now: Now) {
        match command {
            Command::Entry { index, entry } => self.record(index, entry, now),
            Command::Sync => self.sync(now),
            Command::Close => self.close(now),
        }
        self.tick(now);
    }

    /// Does what is due.
    pub fn tick(&mut self, now: Now) {
        if self.is_closed {
            return;
        }
        if now.elapsed >= self.look_at {
            self.look_at_free_space(now);
        }
        // While nothing comes, too: so that it is seen that all is well again.
        if self.failure.is_some() && self.live.is_none() && self.may_retry(now) {
            self.begin_file(now);
        }
        if self.is_unsynced() && now.elapsed >= self.sync_at {
            self.sync(now);
        }
        if now.elapsed >= self.finish_at {
            self.finish_some(now);
        }
    }

    /// When the next thing is due.
    pub fn next_due(&self) -> Duration {
        let retry = (self.failure.is_some() && self.live.is_none()).then_some(self.retry_at);
        let sync = self.is_unsynced().then_some(self.sync_at);
        let finish = (self.finishing.is_some() || !self.unfinished.is_empty()).then_some(self.finish_at);
        [retry, sync, finish].into_iter().flatten().fold(self.look_at, Duration::min)
    }

    fn is_unsynced(&self) -> bool {
        self.live.as_ref().is_some_and(|live| live.is_unsynced)
    }

    fn record(&mut self, index: u64, entry: Entry, now: Now) {
        if self.is_closed || !self.write(index, &entry, now) {
            self.progress.lose(index);
        }
        let place = match &entry {
            Entry::Device { .. } => 0,
            Entry::Profile { .. } => 1,
            Entry::AtThePlate { .. } => 2,
            Entry::Link { .. } => 3,
            Entry::Samples { .. } | Entry::Packet(_) => return,
        };
        if let Some(kept) = self.preamble.get_mut(place) {
            *kept = Some(entry);
        }
    }

    /// Whether the entry is with the operating system now.
    fn write(&mut self, index: u64, entry: &Entry, now: Now) -> bool {
        if self.live.is_none() && !self.may_retry(now) {
            return false;
        }
        // All is tried twice, the second time with a new file: an error that passes at once costs no entry.
        for _ in 0..2 {
            if self.live.is_none() {
                self.begin_file(now);
            }
            let Some(live) = &mut self.live else { continue };
            match live.append(index, entry) {
                Ok(bytes) => {
                    let is_long = live.bytes >= self.settings.longest_file_bytes;
                    self.progress.wrote(index, bytes);
                    if is_long {
                        self.end_file();
                    }
                    return true;
                }
                Err(AppendError::Entry(why)) => {
                    let sensor = &self.settings.sensor;
                    tracing::warn!(sensor, index, why, "an entry cannot be recorded");
                    return false;
                }
                Err(AppendError::Disk(error)) => {
                    self.end_file();
                    self.fail(Trouble::of(&error));
                }
            }
        }
        self.retry_at = now.elapsed + EVERY;
        false
    }

    /// Whether writing may be tried: always while all is well.
    fn may_retry(&self, now: Now) -> bool {
        if self.failure.is_none() {
            return true;
        }
        let room =
            || self.disk.free_bytes(&self.settings.folder).map_or(true, |free| free >= self.settings.resume_bytes);
        now.elapsed >= self.retry_at && (self.failure != Some(Trouble::Full) || room())
    }

    fn begin_file(&mut self, now: Now) {
        let preamble = self.preamble.iter().flatten();
        match LiveFile::create(&self.disk, &self.settings.folder, &self.settings.sensor, now.utc_ns, preamble) {
            Ok(live) => {
                self.progress.show_file(Some(live.path.clone()));
                self.live = Some(live);
                self.sync_at = now.elapsed + self.sync_every;
                if self.sync_every == EVERY {
                    self.recovered();
                }
            }
            Err(error) => {
                self.retry_at = now.elapsed + EVERY;
                self.fail(Trouble::of(&error));
            }
        }
    }

    /// Closes the live file as it is: up to here it is valid.
    fn end_file(&mut self) {
        let Some(live) = self.live.take() else { return };
        self.progress.show_file(None);
        let LiveFile { stem, path, last, is_unsynced, .. } = live;
        if last.is_none() {
            // Nothing but what every file begins with. Should it stay, the next start finds it.
            let _ = self.disk.remove(&path);
            return;
        }
        self.unfinished.push_back(Unfinished { stem, unsynced: is_unsynced, is_finished: false });
        if self.unfinished.len() > MOST_UNFINISHED
            && let Some(forgotten) = self.unfinished.pop_front()
        {
            self.is_sync_unknown |= forgotten.unsynced;
        }
    }

    fn sync(&mut self, now: Now) {
        let Some(live) = &mut self.live else { return };
        match live.sync() {
            Ok(()) => {
                self.sync_every = EVERY;
                let finishing = self.finishing.iter().map(|(file, _)| file);
                let others = self.unfinished.iter().chain(finishing).any(|file| file.unsynced);
                if let Some(last) = live.last.filter(|_| !others && !self.is_sync_unknown) {
                    self.progress.synced(last);
                }
                self.recovered();
            }
            Err(error) => {
                // After a failure the system may take what it could not write for written (fsync(2), "Errors"), so that
                // syncing again proves nothing: finishing the file reads and writes it anew.
                self.end_file();
                self.sync_every = (2 * self.sync_every).min(SYNC_SELDOM);
                self.retry_at = now.elapsed;
                self.fail(Trouble::of(&error));
            }
        }
        self.sync_at = now.elapsed + self.sync_every;
    }

    fn look_at_free_space(&mut self, now: Now) {
        self.look_at = now.elapsed + EVERY;
        // Where it cannot be told, writing tells soon enough.
        let free_bytes = self.disk.free_bytes(&self.settings.folder).ok();
        let nearly_full = free_bytes.filter(|&free| free < self.settings.nearly_full_bytes);
        self.nearly_full = nearly_full.map(|free_bytes| Trouble::NearlyFull { free_bytes });
        self.show_trouble();
    }

    fn fail(&mut self, trouble: Trouble) {
        if self.failure.is_none() {
            let sensor = &self.settings.sensor;
            tracing::warn!(sensor, cause = %trouble, remedy = trouble.remedy(), "recording fails");
        }
        self.failure = Some(trouble);
        self.show_trouble();
    }

    fn recovered(&mut self) {
        if self.failure.take().is_some() {
            let sensor = &self.settings.sensor;
            tracing::info!(sensor, lost = self.progress.lost(), "recording goes on");
            self.show_trouble();
        }
    }

    fn show_trouble(&self) {
        self.progress.show_trouble(self.failure.clone().or(self.nearly_full.clone()));
    }

    /// A step of finishing what is closed.
    fn finish_some(&mut self, now: Now) {
        self.finish_at = now.elapsed + FINISH_EVERY;
        if self.finishing.is_none() {
            self.start_finishing(now, self.settings.nearly_full_bytes);
        }
        let Some((file, mut finish)) = self.finishing.take() else { return };
        match finish.step(FINISH_MESSAGES) {
            Ok(true) => self.finishing = Some((file, finish)),
            Ok(false) => {
                let finished = finish.complete(&self.disk, &self.settings.folder);
                self.finished(file, finished, now);
            }
            Err(error) => {
                finish.abandon(&self.disk);
                self.finished(file, Err(error), now);
            }
        }
    }

    fn start_finishing(&mut self, now: Now, spare_bytes: u64) {
        let Some(mut file) = self.unfinished.pop_front() else { return };
        if file.is_finished {
            let live = self.settings.folder.join(format!("{}{LIVE}", file.stem));
            let removed = self.disk.sync_folder(&self.settings.folder).and_then(|()| self.disk.remove(&live));
            // What is gone already needs no removing.
            if removed.is_err_and(|error| error.kind() != std::io::ErrorKind::NotFound) {
                self.finish_later(file, now);
            }
            return;
        }
        match Finish::start(&self.disk, &self.settings.folder, &file.stem, spare_bytes) {
            Ok(finish) => self.finishing = Some((file, finish)),
            Err(error) => {
                file.is_finished = error.kind() == std::io::ErrorKind::NotFound;
                self.finished(file, Err(error), now);
            }
        }
    }

    fn finished(&mut self, mut file: Unfinished, finished: std::io::Result<Finished>, now: Now) {
        let sensor = &self.settings.sensor;
        match finished {
            Ok(Finished { whole, messages, damaged, left, .. }) => {
                let whole = whole.unwrap_or_default();
                tracing::info!(sensor, file = %whole.display(), messages, ?damaged, "a recording is whole");
                if let Some(error) = left {
                    tracing::warn!(sensor, file = file.stem, %error, "its live file stays for now");
                    // The whole one's content is synced; its name is once the folder is.
                    file.is_finished = true;
                    self.finish_later(file, now);
                }
            }
            Err(error) => {
                tracing::warn!(sensor, file = file.stem, %error, "a recording is not finished yet");
                self.finish_later(file, now);
            }
        }
    }

    fn finish_later(&mut self, file: Unfinished, now: Now) {
        self.unfinished.push_back(file);
        self.finish_at = now.elapsed + FINISH_AGAIN;
    }

    fn close(&mut self, now: Now) {
        if self.is_closed {
            return;
        }
        self.sync(now);
        self.end_file();
        // Each is tried once; what cannot be finished now is at the next start.
        let mut tries = self.unfinished.len() + usize::from(self.finishing.is_some());
        while tries > 0 {
            self.finish_some(now);
            tries -= usize::from(self.finishing.is_none());
        }
        self.is_closed = true;
        self.progress.close();
    }
}
