//! Who saw what, written down before the answer goes out.
//!
//! A task of its own writes: whatever waits is written in one transaction, so that many readers cost one sync of the disk.
//! A request waits until its entry is kept; where it cannot be kept, the answer must not go out. The queue is bounded
//! and a full one makes requests wait, which limits how many there are. The task ends with the last [`Ledger`].

use crate::daemon::store::queries::audit;
use crate::daemon::store::rows::{AuditEntry, UtcMicros};
use crate::daemon::store::{Store, StoreError};
use std::collections::BTreeMap;
use tokio::sync::{mpsc, oneshot};
use uuid::Uuid;

/// Entries that may wait: more than there are connections.
const DEPTH: usize = 512;

/// The entry could not be kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("it could not be written down who asked")]
pub struct NotKept;

/// Equal entries of reading within so much time are one, µs.
const FOLDED_US: i64 = 60_000_000;
/// So many are remembered for that; of more, equal ones are written again.
const MOST_REMEMBERED: usize = 20_000;

type Waiting = (Vec<AuditEntry>, oneshot::Sender<bool>);

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

    /// Writes what one request was about; when it has returned, it is on disk. Of reading the same within a minute of an
    /// entry that is on disk nothing more is written.
    ///
    /// # Errors
    /// If it is not.
    pub async fn write(&self, entries: Vec<AuditEntry>) -> Result<(), NotKept> {
        let (done, kept) = oneshot::channel();
        self.0.send((entries, done)).await.map_err(|_| NotKept)?;
        if kept.await.unwrap_or(false) { Ok(()) } else { Err(NotKept) }
    }
}

async fn keep(store: Store, mut receiver: mpsc::Receiver<Waiting>) {
    let (mut waiting, mut recent) = (Vec::new(), Recent::default());
    while receiver.recv_many(&mut waiting, DEPTH).await > 0 {
        let entries = waiting.iter().flat_map(|(entries, _)| entries);
        let new: Vec<_> = entries.filter(|entry| recent.is_new(entry)).collect();
        let kept = write(&store, &new).await;
        if let Err(error) = &kept {
            tracing::error!(%error, entries = new.len(), "who asked could not be written down; they were refused");
            recent = Recent::default();
        }
        for (_, done) in waiting.drain(..) {
            // Whoever asked may have gone.
            let _ = done.send(kept.is_ok());
        }
    }
}

async fn write(store: &Store, entries: &[&AuditEntry]) -> Result<(), StoreError> {
    if entries.is_empty() {
        return Ok(());
    }
    let mut changes = store.write().await?;
    for entry in entries {
        audit::insert(&mut changes, entry).await?;
    }
    changes.commit().await
}

/// What was written down in the last minute.
#[derive(Debug, Default)]
struct Recent(BTreeMap<Key, UtcMicros>);

/// All that an entry says, without its id and its instant.
type Key = (Uuid, String, String, String, Option<Uuid>, u16);

impl Recent {
    /// Whether an entry has to be written; then it is remembered.
    fn is_new(&mut self, entry: &AuditEntry) -> bool {
        if !matches!(entry.method.as_str(), "GET" | "HEAD") {
            return true;
        }
        let AuditEntry { token_id, address, method, path, athlete_id, status, at, .. } = entry.clone();
        let key = (token_id, address, method, path, athlete_id, status);
        // A clock that was set back makes no entry equal.
        let is_now = |then: &UtcMicros| (0..FOLDED_US).contains(&(at.0 - then.0));
        if self.0.get(&key).is_some_and(is_now) {
            return false;
        }
        if self.0.len() >= MOST_REMEMBERED {
            self.0.retain(|_, then| is_now(then));
        }
        if self.0.len() >= MOST_REMEMBERED {
            self.0.clear();
        }
        self.0.insert(key, at);
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::daemon::store::rows::Role;

    fn entry(method: &str, at_s: i64) -> AuditEntry {
        AuditEntry {
            id: Uuid::from_u128(1),
            at: UtcMicros(at_s * 1_000_000),
            cage: "north".into(),
            token_id: Uuid::from_u128(2),
            token_label: "wall".into(),
            role: Role::Viewer,
            address: "192.0.2.9".into(),
            method: method.into(),
            path: "/v1/swings".into(),
            athlete_id: Some(Uuid::from_u128(3)),
            status: 200,
        }
    }

    #[test]
    fn reading_the_same_within_a_minute_is_one_entry() {
        let mut recent = Recent::default();
        assert!(recent.is_new(&entry("GET", 100)));
        assert!(!recent.is_new(&entry("GET", 159)) && recent.is_new(&entry("GET", 160)));
        assert!(!recent.is_new(&entry("GET", 161)), "counted from the one that was written");
        assert!(recent.is_new(&entry("GET", 50)), "the clock was set back");
        assert!(recent.is_new(&entry("PATCH", 50)) && recent.is_new(&entry("PATCH", 50)), "every change is one");
        for other in [
            AuditEntry { status: 404, ..entry("GET", 51) },
            AuditEntry { athlete_id: None, ..entry("GET", 51) },
            AuditEntry { address: "192.0.2.8".into(), ..entry("GET", 51) },
            AuditEntry { token_id: Uuid::from_u128(9), ..entry("GET", 51) },
        ] {
            assert!(recent.is_new(&other), "{other:?}");
        }
    }

    #[test]
    fn what_is_remembered_is_bounded() {
        let mut recent = Recent::default();
        for k in 0..2 * MOST_REMEMBERED as u128 {
            assert!(recent.is_new(&AuditEntry { athlete_id: Some(Uuid::from_u128(k)), ..entry("GET", 1) }));
        }
        assert!(recent.0.len() <= MOST_REMEMBERED);
    }
}
