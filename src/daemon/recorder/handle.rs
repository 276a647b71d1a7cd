//! A recorder in a thread of its own, behind a bounded queue: whoever records never waits for the disk.

use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TryRecvError, TrySendError, sync_channel};
use std::time::Duration;

use super::core::{Command, RecorderCore};
use super::disk::Disk;
use super::progress::{Progress, Trouble};
use crate::daemon::clock::Clock;
use crate::engine::wire::mcap::Entry;

/// How many commands may wait: a minute of an 8 kHz sensor that sends 30 samples a packet, or five of one of 1 kHz that
/// sends 19; some 7 MB of packets of 240 bytes. A disk that is stuck longer has failed.
pub const QUEUE_DEPTH: usize = 16_384;

/// How long the thread sleeps at most when nothing comes.
const LONGEST_SLEEP: Duration = Duration::from_millis(100);

/// The queue is full: the entry was not taken, and is counted as lost.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the queue to the disk is full, or the recorder has ended")]
pub struct QueueFull;

/// The recorder did not end in time; it goes on as long as the program does. What is not finished is at the next start.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the recording was not closed within {} s", .0.as_secs_f64())]
pub struct NotClosed(pub Duration);

/// Something to do and since when.
type Queued = (Command, Duration);

/// Where entries are handed to a recorder. Once it is dropped, the recorder writes what waits, finishes its file and
/// ends.
pub struct RecorderHandle {
    queue: SyncSender<Queued>,
    ended: Receiver<()>,
    clock: Arc<dyn Clock>,
    progress: Arc<Progress>,
}

/// Starts the thread.
pub fn spawn<D: Disk>(core: RecorderCore<D>, clock: Arc<dyn Clock>) -> std::io::Result<RecorderHandle> {
    let (queue, commands) = sync_channel(QUEUE_DEPTH);
    let (end, ended) = sync_channel::<()>(0);
    let progress = core.progress();
    let thread_clock = clock.clone();
    std::thread::Builder::new().name("recorder".to_owned()).spawn(move || {
        run(core, &commands, &*thread_clock);
        drop(end);
    })?;
    Ok(RecorderHandle { queue, ended, clock, progress })
}

impl RecorderHandle {
    /// Hands an entry over; each index greater than the one before. If the queue is full, the entry is lost, and that
    /// is counted and shown.
    pub fn record(&self, index: u64, entry: Entry) -> Result<(), QueueFull> {
        let elapsed = self.clock.now().elapsed;
        // Before it is sent: once it is, it may be written already.
        self.progress.wait_from(elapsed);
        self.queue.try_send((Command::Entry { index, entry }, elapsed)).map_err(|error| {
            match error {
                TrySendError::Full(_) => self.progress.queue_was_full(elapsed),
                // Only after a panic in the thread: it ends otherwise when this handle is gone.
                TrySendError::Disconnected(_) => {
                    self.progress.show_trouble(Some(Trouble::NotWritable("the recorder has ended".to_owned())));
                }
            }
            self.progress.lose(index);
            QueueFull
        })
    }

    /// Has everything that was handed over made to outlast a loss of power, at once. If the queue is full, that happens
    /// within a second of its being written anyway.
    pub fn sync(&self) -> Result<(), QueueFull> {
        self.queue.try_send((Command::Sync, self.clock.now().elapsed)).map_err(|_| QueueFull)
    }

    /// How far it has come.
    pub fn progress(&self) -> Arc<Progress> {
        self.progress.clone()
    }

    /// Has everything written and the file finished, and waits for that, but not longer than `limit`.
    pub fn close(self, limit: Duration) -> Result<(), NotClosed> {
        let Self { queue, ended, .. } = self;
        drop(queue);
        match ended.recv_timeout(limit) {
            Err(RecvTimeoutError::Disconnected) | Ok(()) => Ok(()),
            Err(RecvTimeoutError::Timeout) => Err(NotClosed(limit)),
        }
    }
}

/// Until nobody can hand over any more.
fn run<D: Disk>(mut core: RecorderCore<D>, commands: &Receiver<Queued>, clock: &dyn Clock) {
    let progress = core.progress();
    loop {
        let next = match commands.try_recv() {
            Err(TryRecvError::Empty) => {
                progress.waiting_since(None);
                let sleep = core.next_due().saturating_sub(clock.now().elapsed).min(LONGEST_SLEEP);
                commands.recv_timeout(sleep)
            }
            Err(TryRecvError::Disconnected) => Err(RecvTimeoutError::Disconnected),
            Ok(queued) => Ok(queued),
        };
        match next {
            Ok((command, handed_over)) => {
                if matches!(command, Command::Entry { .. }) {
                    progress.waiting_since(Some(handed_over));
                }
                core.take(command, clock.now());
            }
            Err(RecvTimeoutError::Timeout) => core.tick(clock.now()),
            Err(RecvTimeoutError::Disconnected) => {
                progress.waiting_since(None);
                return core.take(Command::Close, clock.now());
            }
        }
    }
}
