//! A backup put in place of what is there.
//!
//! It is copied into the data folder first and checked there; athletes who were erased since are erased from that copy. Then
//! a [`Journal`] is written, and from that instant on the new counts: what was there is moved aside and the copy to its
//! place, each by renames that can be repeated. A kill before the journal leaves the old, one after it is made good by
//! [`finish`] at the next start; in between no store can be opened ([`Store::open`] refuses). Into PostgreSQL all rows go in
//! one transaction, with a row by which [`finish`] sees whether that was made.

use super::copies::{CopyError, erase_from};
use super::erase::{FOLDER as ERASING, Removed, blocking, remembered};
use super::manifest::{self, Manifest, RECORDINGS, STORE};
use super::steps::Steps;
use crate::daemon::lock::{Holder, InstanceLock, LockError, make_private_folder};
use crate::daemon::recorder::{Disk, SystemDisk};
use crate::daemon::store::queries::backups::{self, Backup};
use crate::daemon::store::queries::tombstones::{self, Kind, Tombstone};
use crate::daemon::store::queries::{Slice, tokens};
use crate::daemon::store::rows::UtcMicros;
use crate::daemon::store::{Place, RESTORING, Store, StoreError, Transaction, copy};
use serde::{Deserialize, Serialize};
use std::fs::{self, File};
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use uuid::Uuid;

/// Where the copy is until it is put in place, in the data folder.
const STAGED: &str = "restoring";

/// What is to be restored where.
#[derive(Clone, Debug)]
pub struct Restore<'a> {
    /// The backup.
    pub backup: &'a Path,
    /// The data folder.
    pub data_folder: &'a Path,
    /// The installation.
    pub cage: &'a str,
    /// Where the record is.
    pub place: &'a Place,
    /// The present store is damaged: do without what it says was erased or revoked. Then no token is worth anything.
    pub ignore_present: bool,
    /// The backup may be another installation's.
    pub of_any_cage: bool,
    /// The time.
    pub now: UtcMicros,
    /// Ends it in tests.
    pub steps: Arc<Steps>,
}

/// What was restored.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Restored {
    /// What was in the backup.
    pub manifest: Manifest,
    /// Where what was there before is now; `None` if nothing was.
    pub kept: Option<PathBuf>,
    /// Athletes who would have come back and were erased again.
    pub erased_again: Vec<Uuid>,
    /// How many tokens are worth something in the backup, and are not any more.
    pub tokens_revoked: usize,
}

/// Why nothing was restored. What was there before is untouched.
#[derive(Debug, thiserror::Error)]
pub enum RestoreError {
    /// The service works on the folder.
    #[error(transparent)]
    Lock(#[from] LockError),
    /// The backup is not whole, or not one that this version understands.
    #[error("the backup is not as it was made: {0}; nothing was changed")]
    Damaged(String),
    /// The present store cannot be asked whom it erased.
    #[error(
        "the present store cannot be read: {0}; nothing was changed. To do without it, in which athletes erased since \
             the backup come back and all tokens are revoked, say --ignore-present"
    )]
    Present(StoreError),
    /// The backup is of another installation.
    #[error(
        "the backup is of the installation {found:?}; this one is called {expected:?} (cage.name). Nothing was changed. To \
             restore it here all the same, with recordings that count as {found:?}'s, say --other-cage"
    )]
    OtherCage {
        /// Whose it is.
        found: String,
        /// What this one is called.
        expected: String,
    },
    /// The database is not empty.
    #[error("{place} holds {rows} rows; expected an empty database. Nothing was changed")]
    NotEmpty {
        /// Which.
        place: String,
        /// How many rows.
        rows: i64,
    },
    /// A store cannot be read or written.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A file cannot be read or written.
    #[error("{}: {cause}", path.display())]
    File {
        /// Which, or the folder it is in.
        path: PathBuf,
        /// Why.
        cause: io::Error,
    },
}

/// From its being written on, the new counts.
#[derive(Clone, Debug, Serialize, Deserialize)]
struct Journal {
    /// The folder that what was there is moved to.
    kept: PathBuf,
    /// The row in `backups` by which a PostgreSQL store has the new rows; `None` for SQLite.
    marker: Option<Uuid>,
}

/// Restores a backup.
///
/// # Errors
/// If it cannot be restored whole; then what was there before is as it was.
pub async fn restore(asked: &Restore<'_>) -> Result<Restored, RestoreError> {
    let _lock = InstanceLock::take(asked.data_folder, &Holder::this_process(jiff::Timestamp::now(), None))?;
    finish_files(asked.data_folder)?;
    let staged = asked.data_folder.join(STAGED);
    let manifest = stage(asked, &staged).await?;
    let made = jiff::Timestamp::from_microsecond(asked.now.0).unwrap_or(jiff::Timestamp::UNIX_EPOCH);
    let kept = asked.data_folder.join(format!("before-restore-{}", made.strftime("%Y%m%dT%H%M%SZ")));
    let prepared = prepare(asked, &staged, &manifest, &kept).await;
    let Prepared { erased_again, tokens_revoked, marker } = match prepared {
        Ok(prepared) => prepared,
        Err(error) => {
            // Left, it would only be in the way.
            let _ = fs::remove_dir_all(&staged);
            return Err(error);
        }
    };
    let failed = |cause| RestoreError::File { path: asked.data_folder.to_owned(), cause };
    asked.steps.next().map_err(failed)?;
    Journal { kept: kept.clone(), marker }.write(asked.data_folder).map_err(failed)?;
    if marker.is_some() {
        asked.steps.next().map_err(failed)?;
        into_server(asked, &staged, &kept, marker).await?;
    }
    let (folder, steps) = (asked.data_folder.to_owned(), Arc::clone(&asked.steps));
    blocking(move || put_in_place(&folder, &steps)).await.map_err(failed)?;
    let kept = kept.is_dir().then_some(kept);
    Ok(Restored { manifest, kept, erased_again, tokens_revoked })
}

/// Goes on with a restore that was ended in between. To be called by whoever has the folder, before the store is opened.
/// Whether there is one into PostgreSQL left, of which only the store can tell: see [`finish_server`].
///
/// # Errors
/// If a file cannot be moved.
pub fn finish(data_folder: &Path) -> io::Result<bool> {
    let Some(journal) = Journal::read(data_folder)? else {
        let staged = data_folder.join(STAGED);
        if staged.exists() {
            fs::remove_dir_all(staged)?;
        }
        return Ok(false);
    };
    if journal.marker.is_some() {
        return Ok(true);
    }
    put_in_place(data_folder, &Steps::all()).map(|()| false)
}

/// Goes on with a restore into PostgreSQL that was ended in between: forward if its rows are there, back if they are not.
///
/// # Errors
/// If the store cannot be read or a file not be moved.
pub async fn finish_server(store: &Store, data_folder: &Path) -> Result<(), RestoreError> {
    let failed = |cause| RestoreError::File { path: data_folder.to_owned(), cause };
    let Some(journal) = Journal::read(data_folder).map_err(failed)? else { return Ok(()) };
    let all = backups::all(&mut *store.read().await?).await?;
    if journal.marker.is_some_and(|marker| all.iter().any(|backup| backup.id == marker)) {
        return put_in_place(data_folder, &Steps::all()).map_err(failed);
    }
    fs::remove_file(data_folder.join(RESTORING)).map_err(failed)?;
    fs::remove_dir_all(data_folder.join(STAGED)).map_err(failed)
}

fn finish_files(data_folder: &Path) -> Result<(), RestoreError> {
    let failed = |cause| RestoreError::File { path: data_folder.to_owned(), cause };
    match finish(data_folder).map_err(failed)? {
        true => Err(RestoreError::Store(StoreError::Unavailable(
            "an earlier restore was ended in between; start the service once, which ends it".into(),
        ))),
        false => Ok(()),
    }
}

/// The backup in the data folder, each file held to its sum.
async fn stage(asked: &Restore<'_>, staged: &Path) -> Result<Manifest, RestoreError> {
    let manifest = Manifest::read(asked.backup).map_err(RestoreError::Damaged)?;
    if manifest.schema_version > copy::SCHEMA_VERSION {
        let (found, known) = (manifest.schema_version, copy::SCHEMA_VERSION);
        return Err(RestoreError::Damaged(format!("its schema is of version {found}; expected at most {known}")));
    }
    if manifest.cage != asked.cage && !asked.of_any_cage {
        return Err(RestoreError::OtherCage { found: manifest.cage, expected: asked.cage.into() });
    }
    let (from, to, files) = (asked.backup.to_owned(), staged.to_owned(), manifest.files.clone());
    let copying = move || {
        make_private_folder(&to.join(RECORDINGS))?;
        for file in files {
            let copied = match manifest::copy_summed(&from.join(&file.path), &to.join(&file.path), file.path.clone()) {
                Err(error) if error.kind() == ErrorKind::NotFound => {
                    return Ok(Some(format!("{} is missing", file.path)));
                }
                copied => copied?,
            };
            if copied != file {
                return Ok(Some(format!("{}: its sum (SHA-256) is not the one in the manifest", file.path)));
            }
        }
        SystemDisk.sync_folder(&to.join(RECORDINGS))?;
        Ok(None)
    };
    let failed = |cause| RestoreError::File { path: asked.backup.to_owned(), cause };
    match blocking(copying).await.map_err(failed)? {
        None => Ok(manifest),
        Some(words) => {
            let _ = fs::remove_dir_all(staged);
            Err(RestoreError::Damaged(words))
        }
    }
}

/// What was done to the copy.
struct Prepared {
    erased_again: Vec<Uuid>,
    tokens_revoked: usize,
    marker: Option<Uuid>,
}

/// What the present store knows that the restored one has to know too.
#[derive(Default)]
struct Present {
    erased: Vec<Tombstone>,
    copies: Vec<Backup>,
    /// Tokens that were taken back, and when.
    revoked: Vec<(Uuid, UtcMicros)>,
}

/// Checks the copy, erases from it whoever was erased, and enters what the present store knows of tombstones and backups.
async fn prepare(
    asked: &Restore<'_>,
    staged: &Path,
    manifest: &Manifest,
    kept: &Path,
) -> Result<Prepared, RestoreError> {
    let place = Place::File(staged.join(STORE));
    let store = Store::open(&place).await.map_err(|error| RestoreError::Damaged(format!("{STORE}: {error}")))?;
    let ready = ready(asked, &store, staged, manifest, kept).await;
    store.close().await;
    ready
}

async fn ready(
    asked: &Restore<'_>,
    store: &Store,
    staged: &Path,
    manifest: &Manifest,
    kept: &Path,
) -> Result<Prepared, RestoreError> {
    let faults = store.faults().await.map_err(|error| RestoreError::Damaged(format!("{STORE}: {error}")))?;
    if !faults.is_empty() {
        return Err(RestoreError::Damaged(format!("{STORE}: {}", faults.join("; "))));
    }
    let rows = copy::counts(&mut *store.read().await?).await?;
    if let Some((table, found)) = rows.iter().find(|(table, found)| manifest.rows.get(*table) != Some(*found)) {
        let expected = manifest.rows.get(table).map_or("none".to_owned(), i64::to_string);
        return Err(RestoreError::Damaged(format!("{STORE}: {table} has {found} rows; its manifest says {expected}")));
    }
    let Present { mut erased, copies, revoked } = present(asked).await?;
    let mut erased_again = Vec::new();
    for tombstone in erased.iter_mut().filter(|tombstone| tombstone.kind == Kind::Athlete) {
        if erase_again(asked, store, staged, &manifest.cage, tombstone).await? {
            erased_again.push(tombstone.id);
            tombstone.removed = with_more_to_do(tombstone, asked.cage);
        }
    }
    let aside =
        Backup { id: Uuid::now_v7(), cage: asked.cage.into(), folder: kept.to_owned(), made: asked.now, gone: None };
    let source = fs::canonicalize(asked.backup).unwrap_or_else(|_| asked.backup.to_owned());
    let mut changes = store.write().await?;
    for tombstone in &erased {
        tombstones::insert(&mut changes, tombstone).await?;
        tombstones::update(&mut changes, tombstone.id, &tombstone.removed).await?;
    }
    let tokens_revoked = revoke(asked, &mut changes, &revoked).await?;
    let known = backups::all(&mut changes).await?;
    for backup in copies.iter().chain([&aside]) {
        backups::insert(&mut changes, backup).await?;
    }
    if !known.iter().chain(&copies).any(|backup| backup.folder == source) {
        let source = Backup { id: Uuid::now_v7(), folder: source, ..aside.clone() };
        backups::insert(&mut changes, &source).await?;
    }
    changes.commit().await?;
    store.sweep().await?;
    let marker = (!asked.place.is_sqlite()).then_some(aside.id);
    Ok(Prepared { erased_again, tokens_revoked, marker })
}

/// They are in the backup still that is restored from, and may be in others that are registered with it.
fn with_more_to_do(tombstone: &Tombstone, cage: &str) -> String {
    let mut removed = Removed::of(tombstone);
    let here = removed.cages.entry(cage.to_owned()).or_default();
    (here.is_done, here.is_cut, here.tries) = (false, false, 0);
    here.backups.clear();
    removed.text()
}

/// What was taken back does not come back; where that cannot be known, all is taken back. How many were worth something.
async fn revoke(
    asked: &Restore<'_>,
    changes: &mut Transaction,
    revoked: &[(Uuid, UtcMicros)],
) -> Result<usize, StoreError> {
    let mut count = 0;
    for token in tokens::list(changes, Slice { after: None, limit: i64::MAX }).await? {
        let since = revoked.iter().find(|(id, _)| *id == token.id).map(|(_, since)| *since);
        let since = since.or(asked.ignore_present.then_some(asked.now));
        if let (None, Some(since)) = (token.revoked, since) {
            tokens::revoke(changes, token.id, since).await?;
            count += usize::from(token.expires > asked.now);
        }
    }
    Ok(count)
}

/// Erases an athlete from the copy, whose own tombstone says only that the rows are gone; false if they are not in it.
async fn erase_again(
    asked: &Restore<'_>,
    store: &Store,
    staged: &Path,
    cage: &str,
    tombstone: &Tombstone,
) -> Result<bool, RestoreError> {
    let theirs = remembered(&asked.data_folder.join(ERASING), tombstone.id);
    let erased = erase_from(store, &staged.join(RECORDINGS), cage, &theirs, tombstone, &asked.steps).await;
    match erased {
        Ok(erased) => Ok(erased.is_changed),
        Err(CopyError::Store(error)) => Err(error.into()),
        Err(CopyError::File(cause)) => Err(RestoreError::File { path: staged.to_owned(), cause }),
    }
}

async fn present(asked: &Restore<'_>) -> Result<Present, RestoreError> {
    let is_there = !matches!(asked.place, Place::File(path) if !path.exists());
    if !is_there || asked.ignore_present {
        return Ok(Present::default());
    }
    let store = Store::open(asked.place).await.map_err(RestoreError::Present)?;
    let known = async {
        let mut read = store.read().await?;
        if !asked.place.is_sqlite() {
            let rows = copy::counts(&mut read).await?.values().sum();
            return if rows == 0 { Ok(Present::default()) } else { Err(NotEmpty::Rows(rows)) };
        }
        let tokens = tokens::list(&mut read, Slice { after: None, limit: i64::MAX }).await?;
        let revoked = tokens.iter().filter_map(|token| Some((token.id, token.revoked?))).collect();
        Ok(Present { erased: tombstones::all(&mut read).await?, copies: backups::all(&mut read).await?, revoked })
    };
    let known = known.await;
    store.sweep().await.map_err(RestoreError::Present)?;
    store.close().await;
    known.map_err(|error| match error {
        NotEmpty::Rows(rows) => RestoreError::NotEmpty { place: asked.place.to_string(), rows },
        NotEmpty::Store(error) => RestoreError::Present(error),
    })
}

enum NotEmpty {
    Rows(i64),
    Store(StoreError),
}

impl From<StoreError> for NotEmpty {
    fn from(error: StoreError) -> Self {
        Self::Store(error)
    }
}

/// All rows of the copy into the empty database, in one transaction; then the copy's store is of no use any more.
async fn into_server(
    asked: &Restore<'_>,
    staged: &Path,
    kept: &Path,
    marker: Option<Uuid>,
) -> Result<(), RestoreError> {
    let from = Store::open(&Place::File(staged.join(STORE))).await?;
    let into = Store::open(asked.place).await?;
    let copied = async {
        let mut changes = into.write().await?;
        copy::copy_to_server(&mut *from.read().await?, &mut changes).await?;
        changes.commit().await
    };
    let copied = copied.await;
    from.close().await;
    into.close().await;
    if let Err(error) = copied {
        tracing::error!(%error, kept = %kept.display(), ?marker, "the rows were not restored");
        let failed = |cause| RestoreError::File { path: asked.data_folder.to_owned(), cause };
        fs::remove_file(asked.data_folder.join(RESTORING)).map_err(failed)?;
        fs::remove_dir_all(staged).map_err(failed)?;
        return Err(error.into());
    }
    Ok(())
}

impl Journal {
    fn write(&self, data_folder: &Path) -> io::Result<()> {
        let (path, part) = (data_folder.join(RESTORING), data_folder.join(format!("{RESTORING}.part")));
        let mut file = File::create(&part)?;
        file.write_all(&serde_json::to_vec(self)?)?;
        file.sync_all()?;
        fs::rename(part, path)?;
        SystemDisk.sync_folder(data_folder)
    }

    fn read(data_folder: &Path) -> io::Result<Option<Self>> {
        match fs::read(data_folder.join(RESTORING)) {
            Err(error) if error.kind() == ErrorKind::NotFound => Ok(None),
            text => Ok(Some(serde_json::from_slice(&text?)?)),
        }
    }
}

/// What the journal says, from wherever it was left.
fn put_in_place(data_folder: &Path, steps: &Steps) -> io::Result<()> {
    let Some(journal) = Journal::read(data_folder)? else { return Ok(()) };
    let staged = data_folder.join(STAGED);
    steps.next()?;
    make_private_folder(&journal.kept)?;
    if journal.marker.is_some() && staged.join(STORE).exists() {
        // Its rows are in the database.
        fs::remove_file(staged.join(STORE))?;
    }
    if staged.join(STORE).exists() {
        // A log goes with its store: before it, so that it never stands beside another.
        for log in ["store.sqlite-wal", "store.sqlite-shm"] {
            steps.next()?;
            set_aside(data_folder, &journal.kept, log)?;
        }
    }
    for name in [STORE, RECORDINGS] {
        if staged.join(name).exists() {
            steps.next()?;
            set_aside(data_folder, &journal.kept, name)?;
            steps.next()?;
            fs::rename(staged.join(name), data_folder.join(name))?;
        }
    }
    // Of nothing there is nothing to keep.
    let _ = fs::remove_dir(&journal.kept);
    SystemDisk.sync_folder(data_folder)?;
    steps.next()?;
    fs::remove_file(data_folder.join(RESTORING))?;
    steps.next()?;
    fs::remove_dir_all(staged)
}

fn set_aside(data_folder: &Path, kept: &Path, name: &str) -> io::Result<()> {
    match fs::rename(data_folder.join(name), kept.join(name)) {
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(()),
        other => other,
    }
}
