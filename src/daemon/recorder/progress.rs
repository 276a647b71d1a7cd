//! How far a recorder has come and what is in its way, as anyone may look at it without waiting for it.

use std::io::{self, ErrorKind};
use std::ops::RangeInclusive;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use super::lost::LostRanges;

/// How long an entry may wait before the disk counts as slow; and how long after the queue was full it does.
const SLOW_AFTER: Duration = Duration::from_secs(1);

const NONE: u64 = u64::MAX;

/// What is in the way of recording.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Trouble {
    /// Everything is written as yet.
    #[error("the disk is nearly full: {} MB are free", free_bytes / 1_000_000)]
    NearlyFull {
        /// How many bytes are free.
        free_bytes: u64,
    },
    /// Nothing is written.
    #[error("the disk is full: nothing is recorded")]
    Full,
    /// Nothing is written.
    #[error("the disk is read-only: nothing is recorded")]
    ReadOnly,
    /// Entries wait in memory; should the queue fill up, the newest are lost.
    #[error("the disk is slow: recording is {behind_s:.1} s behind")]
    Slow {
        /// How long the oldest entry that is not written has waited, s.
        behind_s: f64,
    },
    /// Nothing is written, or it may not outlast a loss of power; in the system's words.
    #[error("the recording cannot be written: {0}")]
    NotWritable(String),
}

impl Trouble {
    /// What a person can do about it. It goes away by itself then.
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::NearlyFull { .. } => "move old recordings elsewhere soon",
            Self::Full => "make room: move old recordings elsewhere",
            Self::ReadOnly => "check the disk, and mount it for writing",
            Self::Slow { .. } => "end what else uses the disk; a card or stick may be worn out",
            Self::NotWritable(_) => {
                "check that the folder of recordings is there and may be written, and that the disk is sound"
            }
        }
    }

    pub(super) fn of(error: &io::Error) -> Self {
        match error.kind() {
            ErrorKind::StorageFull | ErrorKind::QuotaExceeded => Self::Full,
            ErrorKind::ReadOnlyFilesystem => Self::ReadOnly,
            _ => Self::NotWritable(error.to_string()),
        }
    }
}

/// What became of some entries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kept {
    /// All are with the operating system: the end of this program does not harm them.
    Written,
    /// Some are on their way.
    Waiting,
    /// Some are lost.
    Lost,
}

/// How far a recorder has come. Indices are those the entries were handed over with.
#[derive(Debug)]
pub struct Progress {
    written_through: AtomicU64,
    synced_through: AtomicU64,
    messages: AtomicU64,
    bytes: AtomicU64,
    lost: AtomicU64,
    /// When the oldest entry that is not written was handed over, ns.
    waiting_since_ns: AtomicU64,
    /// When an entry found the queue full, ns.
    queue_full_at_ns: AtomicU64,
    closed: AtomicBool,
    shown: Mutex<Shown>,
}

#[derive(Debug, Default)]
struct Shown {
    file: Option<PathBuf>,
    trouble: Option<Trouble>,
    lost: LostRanges,
}

impl Progress {
    pub(super) fn new() -> Self {
        Self {
            written_through: AtomicU64::new(NONE),
            synced_through: AtomicU64::new(NONE),
            messages: AtomicU64::new(0),
            bytes: AtomicU64::new(0),
            lost: AtomicU64::new(0),
            waiting_since_ns: AtomicU64::new(NONE),
            queue_full_at_ns: AtomicU64::new(NONE),
            closed: AtomicBool::new(false),
            shown: Mutex::default(),
        }
    }

    /// The last entry that the operating system has; those before it too, unless they were lost: see
    /// [`kept`](Self::kept).
    pub fn written_through(&self) -> Option<u64> {
        known(&self.written_through)
    }

    /// The last entry that a loss of power does not harm; those before it too, unless they were lost.
    pub fn synced_through(&self) -> Option<u64> {
        known(&self.synced_through)
    }

    /// What became of these entries. Where very many separate ranges were lost, the old ones between them count as lost
    /// too.
    pub fn kept(&self, indices: RangeInclusive<u64>) -> Kept {
        // In this order: that an entry is lost is noted before a later one is written.
        let written = self.written_through().is_some_and(|last| *indices.end() <= last);
        match self.shown().lost.touches(&indices) {
            true => Kept::Lost,
            false if written => Kept::Written,
            false => Kept::Waiting,
        }
    }

    /// How many entries were written; the ones repeated at the head of a file are not counted.
    pub fn messages(&self) -> u64 {
        self.messages.load(Ordering::Relaxed)
    }

    /// How many bytes of live files were written.
    pub fn bytes(&self) -> u64 {
        self.bytes.load(Ordering::Relaxed)
    }

    /// How many entries were lost.
    pub fn lost(&self) -> u64 {
        self.lost.load(Ordering::Relaxed)
    }

    /// The file that is being written.
    pub fn file(&self) -> Option<PathBuf> {
        self.shown().file.clone()
    }

    /// How long the oldest entry that was handed over and is not written has waited. `elapsed` is of the clock that the
    /// recorder was given. It tells of a writer that is stuck, as it does not ask it.
    pub fn behind(&self, elapsed: Duration) -> Duration {
        since(&self.waiting_since_ns, elapsed).unwrap_or_default()
    }

    /// What is in the way now.
    pub fn trouble(&self, elapsed: Duration) -> Option<Trouble> {
        let stored = self.shown().trouble.clone();
        let behind = self.behind(elapsed);
        let queue_was_full = since(&self.queue_full_at_ns, elapsed).is_some_and(|ago| ago < SLOW_AFTER);
        match stored {
            Some(Trouble::NearlyFull { .. }) | None if behind > SLOW_AFTER || queue_was_full => {
                Some(Trouble::Slow { behind_s: behind.as_secs_f64() })
            }
            stored => stored,
        }
    }

    /// Whether the recorder has ended: everything was written and closed as well as it could be.
    pub fn is_closed(&self) -> bool {
        self.closed.load(Ordering::Acquire)
    }

    fn shown(&self) -> MutexGuard<'_, Shown> {
        // Nothing panics while it holds this lock; and if, its parts stay usable.
        self.shown.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub(super) fn wrote(&self, index: u64, bytes: u64) {
        self.messages.fetch_add(1, Ordering::Relaxed);
        self.bytes.fetch_add(bytes, Ordering::Relaxed);
        self.written_through.store(index, Ordering::Release);
    }

    pub(super) fn synced(&self, index: u64) {
        self.synced_through.store(index, Ordering::Release);
    }

    pub(super) fn lose(&self, index: u64) {
        self.lost.fetch_add(1, Ordering::Relaxed);
        self.shown().lost.add(index);
    }

    pub(super) fn queue_was_full(&self, elapsed: Duration) {
        self.queue_full_at_ns.store(nanoseconds(elapsed), Ordering::Relaxed);
    }

    pub(super) fn show_file(&self, file: Option<PathBuf>) {
        self.shown().file = file;
    }

    pub(super) fn show_trouble(&self, trouble: Option<Trouble>) {
        self.shown().trouble = trouble;
    }

    pub(super) fn close(&self) {
        self.closed.store(true, Ordering::Release);
    }

    /// An entry is about to be handed over: it waits from now on, unless an older one does.
    pub(super) fn wait_from(&self, elapsed: Duration) {
        let (old, new) = (NONE, nanoseconds(elapsed));
        // Where another was there already, it is the older one.
        let _ = self.waiting_since_ns.compare_exchange(old, new, Ordering::AcqRel, Ordering::Acquire);
    }

    /// The oldest entry that waits is now the one that was handed over then.
    pub(super) fn waiting_since(&self, elapsed: Option<Duration>) {
        self.waiting_since_ns.store(elapsed.map_or(NONE, nanoseconds), Ordering::Release);
    }
}

fn nanoseconds(elapsed: Duration) -> u64 {
    u64::try_from(elapsed.as_nanos()).unwrap_or(NONE - 1)
}

fn known(value: &AtomicU64) -> Option<u64> {
    Some(value.load(Ordering::Acquire)).filter(|&value| value != NONE)
}

fn since(value: &AtomicU64, elapsed: Duration) -> Option<Duration> {
    known(value).map(|then_ns| elapsed.saturating_sub(Duration::from_nanos(then_ns)))
}
