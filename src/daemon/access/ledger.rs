//! Who saw what, written down before the answer goes out.
//!
//! A task of its own writes: whatever waits is written in one transaction, so that many readers cost one sync of the disk.
//! A request waits until its entry is kept; where it cannot be kept, the answer must not go out. The queue is bounded
//! and a full one makes requests wait, which limits how many there are. The task ends with the last [`Ledger`].

use crate::daemon::store::queries::audit;
use crate::daemon::store::rows::AuditEntry;
use crate::daemon::store::{Store, StoreError};
use tokio::sync::{mpsc, oneshot};

/// Entries that may wait: more than there are connections.
const DEPTH: usize = 512;

/// The entry could not be kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("it could not be written down who asked")]
pub struct NotKept;

type Waiting = (AuditEntry, oneshot::Sender<bool>);

/// Where it is written down. Clones share it.
#[derive(Clone, Debug)]
pub struct Ledger(mpsc::Sender<Waiting>);

impl Ledger {
    /// In a store; to be called on a runtime.
    pub fn open(store: Store) -> Self {
        let (sender, receiver) = mpsc::channel(DEPTH);
        tokio::spawn(keep(store, receiver));
        Self(sender)
    }

    /// Writes an entry; when it has returned, it is on disk.
    ///
    /// # Errors
    /// If it is not.
    pub async fn write(&self, entry: AuditEntry) -> Result<(), NotKept> {
        let (done, kept) = oneshot::channel();
        self.0.send((entry, done)).await.map_err(|_| NotKept)?;
        if kept.await.unwrap_or(false) { Ok(()) } else { Err(NotKept) }
    }
}

async fn keep(store: Store, mut receiver: mpsc::Receiver<Waiting>) {
    let mut waiting = Vec::new();
    while receiver.recv_many(&mut waiting, DEPTH).await > 0 {
        let kept = write(&store, &waiting).await;
        if let Err(error) = &kept {
            tracing::error!(%error, entries = waiting.len(), "who asked could not be written down; they were refused");
        }
        for (_, done) in waiting.drain(..) {
            // Whoever asked may have gone.
            let _ = done.send(kept.is_ok());
        }
    }
}

async fn write(store: &Store, waiting: &[Waiting]) -> Result<(), StoreError> {
    let mut changes = store.write().await?;
    for (entry, _) in waiting {
        audit::insert(&mut changes, entry).await?;
    }
    changes.commit().await
}
