//! One athlete out of everything there is.
//!
//! First the rows, and that they were erased, in one transaction; then what is on this installation's disk: the store's log,
//! what was told, recordings, backups. What is left to do after a kill follows from the tombstone, which names the
//! installations that have done theirs; [`Eraser::resume`] does it, at each start and from time to time. Only the nickname,
//! by which recordings and events of earlier versions tell an athlete, is in no tombstone: until all is done it stands in
//! the data folder ([`FOLDER`]).
//!
//! Not reached: what others wrote of the athlete in notes of their own, blocks that the file system or the medium has freed
//! but not overwritten, copies nobody registered, and PostgreSQL's own log and base backups.

use super::copies;
use super::cut::{Cutting, FilesCut, cut};
use super::plate;
use super::steps::Steps;
use super::theirs::Theirs;
use crate::daemon::hub::{Forget, Hub};
use crate::daemon::store::copy::Counts;
use crate::daemon::store::queries::backups::{self, Backup};
use crate::daemon::store::queries::erase;
use crate::daemon::store::queries::tombstones::{self, Kind, Reason, Tombstone};
use crate::daemon::store::rows::UtcMicros;
use crate::daemon::store::{Store, StoreError};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use tokio::sync::Mutex;
use uuid::Uuid;

/// Where nicknames of those who are being erased are, in the data folder.
pub const FOLDER: &str = "erasing";

/// What was not reached is tried again after this,
const AGAIN_AFTER_US: i64 = 590_000_000;
/// later after twice as long each time, but within this.
const AGAIN_WITHIN_US: i64 = 24 * 3_600_000_000;

/// One at a time: what is being erased is not resumed meanwhile.
static ERASING: Mutex<()> = Mutex::const_new(());

/// What it takes to erase.
#[derive(Clone)]
pub struct Eraser {
    /// The record.
    pub store: Store,
    /// What else there is.
    pub data_folder: PathBuf,
    /// The installation.
    pub cage: String,
    /// What was told; `None` where nothing is told.
    pub hub: Option<Arc<Hub>>,
    /// Hears who is at the plate when somebody who only seemed to be is erased; `None` where nothing is recorded.
    pub plate: Option<plate::Hears>,
    /// Ends it in tests.
    pub steps: Arc<Steps>,
}

/// Why nothing, or not all, was erased.
#[derive(Debug, thiserror::Error)]
pub enum EraseError {
    /// The store cannot be read or written, or there is no such athlete.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// They are at the plate.
    #[error("the athlete is at the plate of {cage}; expected another at the plate, or nobody, and their lesson ended")]
    AtThePlate {
        /// Where.
        cage: String,
    },
    /// A file cannot be read or written. The rows are gone; the rest is tried again.
    #[error("{}: {cause}; the rows are erased, and the rest is tried again within minutes and at the next start", path.display())]
    File {
        /// Which, or the folder it is in.
        path: PathBuf,
        /// Why.
        cause: io::Error,
    },
}

/// How much was removed: what a tombstone says.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Removed {
    /// Rows of each table.
    #[serde(default)]
    pub rows: Counts,
    /// Recordings that were imported for them.
    #[serde(default)]
    pub imports: Vec<Uuid>,
    /// Of each installation, files in which a swing was theirs by a move by hand.
    #[serde(default)]
    pub moved: BTreeMap<String, Vec<String>>,
    /// What each installation has done.
    #[serde(default)]
    pub cages: BTreeMap<String, AtCage>,
    /// Of a recording: its length, bytes.
    #[serde(default)]
    pub bytes: u64,
}

/// What an installation has removed.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct AtCage {
    /// Nothing is left to do.
    pub is_done: bool,
    /// SQLite's file was written anew.
    #[serde(default)]
    pub is_rebuilt: bool,
    /// The store's log was emptied.
    #[serde(default)]
    pub is_swept: bool,
    /// Recordings were cut, all of them.
    #[serde(default)]
    pub is_cut: bool,
    /// Backups that are done.
    #[serde(default)]
    pub backups: Vec<Uuid>,
    /// How often in a row something was not reached,
    #[serde(default)]
    pub tries: u32,
    /// and when last.
    #[serde(default)]
    pub tried_utc_us: i64,
    /// Events.
    pub events: u64,
    /// Files of recordings that are gone.
    pub files_removed: u64,
    /// Files of recordings that were written anew without them.
    pub files_rewritten: u64,
    /// By how much less is in recordings, bytes.
    pub bytes: u64,
    /// Backups they are no longer in.
    pub backups_erased: u64,
    /// Backups that are gone.
    pub backups_gone: u64,
    /// Recordings that are still being written, to be tried again.
    pub waiting: Vec<String>,
    /// What was not reached, and why; to be tried again.
    pub not_reached: Vec<String>,
    /// What may be left, and why; trying again does not help.
    pub left: Vec<String>,
}

impl Removed {
    /// As a tombstone has it.
    pub fn of(tombstone: &Tombstone) -> Self {
        serde_json::from_str(&tombstone.removed).unwrap_or_default()
    }

    /// For a tombstone.
    pub fn text(&self) -> String {
        serde_json::to_string(self).unwrap_or_else(|_| "{}".into())
    }
}

impl Eraser {
    /// Erases an athlete.
    ///
    /// # Errors
    /// If there is none, they are at the plate, or something cannot be read or written.
    pub async fn erase(&self, id: Uuid, reason: Reason, now: UtcMicros) -> Result<Tombstone, EraseError> {
        let _alone = ERASING.lock().await;
        let nickname = erase::nickname(&mut *self.store.read().await?, id).await?;
        let no_such = || StoreError::NoSuch { kind: "athlete", id: id.to_string() };
        let (nickname, is_shared) = nickname.ok_or_else(no_such)?;
        let folder = self.data_folder.join(FOLDER);
        let theirs = Theirs { id, nickname: Some(nickname), is_shared };
        remember(&folder, &theirs).map_err(|cause| EraseError::File { path: folder, cause })?;
        self.step()?;
        self.rows(id, reason, now).await?;
        self.step()?;
        self.rest(&theirs, now).await
    }

    /// Does what is left to do of all that was erased; how many could not be done.
    ///
    /// # Errors
    /// If the store cannot be read or written.
    pub async fn resume(&self, now: UtcMicros) -> Result<usize, EraseError> {
        self.resume_those(now, |_| true).await
    }

    /// The same of those whose time has come: what was not reached again and again is tried less and less often, down to once
    /// a day.
    ///
    /// # Errors
    /// If the store cannot be read or written.
    pub async fn resume_due(&self, now: UtcMicros) -> Result<usize, EraseError> {
        self.resume_those(now, |here| here.is_due(now)).await
    }

    async fn resume_those(&self, now: UtcMicros, is_due: impl Fn(&AtCage) -> bool) -> Result<usize, EraseError> {
        let _alone = ERASING.lock().await;
        let all = tombstones::all(&mut *self.store.read().await?).await?;
        let athletes: Vec<_> = all.into_iter().filter(|tombstone| tombstone.kind == Kind::Athlete).collect();
        let folder = self.data_folder.join(FOLDER);
        forget_others(&folder, &athletes).map_err(|cause| EraseError::File { path: folder.clone(), cause })?;
        let mut left = 0;
        for tombstone in athletes {
            match Removed::of(&tombstone).cages.get(&self.cage) {
                Some(here) if here.is_done => continue,
                Some(here) if !is_due(here) => {
                    left += 1;
                    continue;
                }
                _ => {}
            }
            match self.rest(&remembered(&folder, tombstone.id), now).await {
                Ok(tombstone) if Removed::of(&tombstone).cages.get(&self.cage).is_some_and(|here| here.is_done) => {}
                Ok(_) => left += 1,
                Err(error) => {
                    tracing::warn!(athlete = %tombstone.id, %error, "not all of an athlete is erased yet");
                    left += 1;
                }
            }
        }
        Ok(left)
    }

    async fn rows(&self, id: Uuid, reason: Reason, now: UtcMicros) -> Result<(), EraseError> {
        let mut changes = self.store.write().await?;
        let mut cleared = None;
        for cage in erase::at_the_plate(&mut changes, id).await? {
            if plate::still_there(&mut changes, &cage, now).await? {
                return Err(EraseError::AtThePlate { cage });
            }
            if cage == self.cage {
                cleared = Some(plate::current(&mut changes, &cage, now).await?);
            }
        }
        let moved = erase::moved_to(&mut changes, id).await?;
        let done = erase::athlete(&mut changes, id).await?;
        let removed = Removed { rows: done.rows, imports: done.imports, moved, ..Removed::default() };
        let tombstone = Tombstone { id, kind: Kind::Athlete, erased: now, reason, removed: removed.text() };
        tombstones::insert(&mut changes, &tombstone).await?;
        changes.commit().await?;
        if let (Some(plate), Some(nobody)) = (&self.plate, cleared) {
            // Else recordings would go on to name them.
            plate(&nobody);
        }
        Ok(())
    }

    /// What is not rows. What is done is kept step by step, and not done again.
    async fn rest(&self, theirs: &Theirs, now: UtcMicros) -> Result<Tombstone, EraseError> {
        let no_such = || StoreError::NoSuch { kind: "tombstone", id: theirs.id.to_string() };
        let found = tombstones::find(&mut *self.store.read().await?, theirs.id).await?;
        let tombstone = found.ok_or_else(no_such)?;
        let mut removed = Removed::of(&tombstone);
        let mut here = removed.cages.remove(&self.cage).unwrap_or_default();
        (here.waiting, here.not_reached) = (Vec::new(), Vec::new());
        here.leave(removed.moved.get(&self.cage).into_iter().flatten().map(|name| moved_to(name)));
        if !here.is_rebuilt {
            // SQLite overwrites what it deletes, but not what it moved from page to page before.
            self.store.rebuild().await?;
            here.is_rebuilt = true;
        }
        here.is_swept = here.is_swept || self.store.sweep().await?;
        if !here.is_swept {
            here.not_reached.push("the store's log: somebody is still reading what was there before".into());
        }
        self.save(theirs.id, &here).await?;
        self.step()?;
        if !here.is_cut {
            here.events += self.forget_events(theirs).await?;
            self.step()?;
            self.cut_recordings(theirs, &removed.imports, &mut here).await?;
            self.save(theirs.id, &here).await?;
        }
        self.step()?;
        self.reach_backups(theirs, &tombstone, now, &mut here).await?;
        self.step()?;
        here.is_done = here.waiting.is_empty() && here.not_reached.is_empty();
        // What waits is only until the end of a recording.
        here.tries = if here.not_reached.is_empty() { 0 } else { here.tries.saturating_add(1) };
        here.tried_utc_us = now.0;
        let removed = self.save(theirs.id, &here).await?;
        if here.is_done {
            let path = journal(&self.data_folder.join(FOLDER), theirs.id);
            gone(fs::remove_file(&path)).map_err(|cause| EraseError::File { path, cause })?;
        }
        Ok(Tombstone { removed, ..tombstone })
    }

    /// What is done here, beside what other installations have done meanwhile.
    async fn save(&self, id: Uuid, here: &AtCage) -> Result<String, EraseError> {
        let mut changes = self.store.write().await?;
        let mut removed = tombstones::find(&mut changes, id).await?.map(|now| Removed::of(&now)).unwrap_or_default();
        removed.cages.insert(self.cage.clone(), here.clone());
        tombstones::update(&mut changes, id, &removed.text()).await?;
        changes.commit().await?;
        Ok(removed.text())
    }

    async fn forget_events(&self, theirs: &Theirs) -> Result<u64, EraseError> {
        let Some(hub) = self.hub.clone() else { return Ok(0) };
        let (id, theirs) = (theirs.id, theirs.clone());
        let is_theirs: Forget = Arc::new(move |news| theirs.are_in(news));
        let path = self.data_folder.join("events.jsonl");
        blocking(move || hub.forget(id, &is_theirs)).await.map_err(|cause| EraseError::File { path, cause })
    }

    async fn cut_recordings(&self, theirs: &Theirs, imports: &[Uuid], here: &mut AtCage) -> Result<(), EraseError> {
        let mut whole = erase::files(&mut *self.store.read().await?, &self.cage, imports).await?;
        let folder = self.data_folder.join("recordings");
        let (path, theirs, steps) = (folder.clone(), theirs.clone(), Arc::clone(&self.steps));
        let cutting = move || {
            let cutting = Cutting { folder: &folder, theirs: &theirs, whole: &whole, is_in_use: true, steps: &steps };
            let done = cut(&cutting)?;
            whole.retain(|name| !folder.join(name).exists());
            Ok((done, whole))
        };
        let (done, whole) = blocking(cutting).await.map_err(|cause| EraseError::File { path, cause })?;
        let mut changes = self.store.write().await?;
        for name in done.rewritten.iter().chain(&done.removed) {
            if erase::has_moved(&mut changes, &self.cage, name).await? {
                here.leave([moved_from(name)]);
            }
        }
        for name in whole.iter().chain(&done.removed) {
            erase::file_removed(&mut changes, &self.cage, name).await?;
        }
        for name in &done.rewritten {
            erase::file_rewritten(&mut changes, &self.cage, name).await?;
        }
        changes.commit().await?;
        here.take(done);
        Ok(())
    }

    async fn reach_backups(
        &self,
        theirs: &Theirs,
        tombstone: &Tombstone,
        now: UtcMicros,
        here: &mut AtCage,
    ) -> Result<(), EraseError> {
        let all = backups::all(&mut *self.store.read().await?).await?;
        let here_and_there = |backup: &Backup| backup.cage == self.cage && backup.gone.is_none();
        for backup in all.into_iter().filter(here_and_there) {
            if here.backups.contains(&backup.id) {
                continue;
            }
            self.step()?;
            match copies::erase_in(&backup.folder, &self.cage, theirs, tombstone, &self.steps).await {
                Ok(copies::Outcome::Erased(left)) => {
                    here.backups_erased += 1;
                    here.backups.push(backup.id);
                    here.leave(left);
                    self.save(theirs.id, here).await?;
                }
                Ok(copies::Outcome::NotInIt(left)) => {
                    here.backups.push(backup.id);
                    here.leave(left);
                }
                Ok(copies::Outcome::Gone) => {
                    let mut changes = self.store.write().await?;
                    backups::mark_gone(&mut changes, backup.id, now).await?;
                    changes.commit().await?;
                    here.backups_gone += 1;
                }
                Err(words) => here.not_reached.push(words),
            }
        }
        Ok(())
    }

    fn step(&self) -> Result<(), EraseError> {
        self.steps.next().map_err(|cause| EraseError::File { path: self.data_folder.clone(), cause })
    }
}

impl AtCage {
    fn take(&mut self, cut: FilesCut) {
        self.files_removed += cut.removed.len() as u64;
        self.files_rewritten += cut.rewritten.len() as u64;
        self.bytes += cut.bytes;
        self.is_cut = cut.is_whole();
        self.waiting.extend(cut.waiting);
        self.not_reached.extend(cut.not_reached);
        self.leave(cut.ambiguous);
    }

    /// Says once what may be left.
    fn leave(&mut self, left: impl IntoIterator<Item = String>) {
        for words in left {
            if !self.left.contains(&words) {
                self.left.push(words);
            }
        }
    }

    /// Whether what was not reached is to be tried again: ten minutes after the first time, and then after twice as long
    /// each time, but daily at least. A clock that was set back keeps nothing from being tried.
    fn is_due(&self, now: UtcMicros) -> bool {
        let waits_us = AGAIN_AFTER_US.saturating_mul(1 << self.tries.saturating_sub(1).min(16)).min(AGAIN_WITHIN_US);
        !(0..waits_us).contains(&now.0.saturating_sub(self.tried_utc_us))
    }
}

/// Raw data follow who was said to be at the plate, not whom a swing was moved to.
fn moved_to(name: &str) -> String {
    format!(
        "{name}: a swing of theirs in it was changed by hand; if it was another's turn at the plate, its raw data are \
         there still"
    )
}

fn moved_from(name: &str) -> String {
    format!(
        "{name}: a swing of another in it was changed by hand; if it was this athlete's turn at the plate, its raw data \
         went with theirs, and its numbers stayed"
    )
}

#[derive(Serialize, Deserialize)]
struct Journal {
    nickname: String,
    is_shared: bool,
}

fn journal(folder: &Path, id: Uuid) -> PathBuf {
    folder.join(format!("{id}.json"))
}

fn remember(folder: &Path, theirs: &Theirs) -> io::Result<()> {
    crate::daemon::lock::make_private_folder(folder)?;
    let Some(nickname) = theirs.nickname.clone() else { return Ok(()) };
    let text = serde_json::to_vec(&Journal { nickname, is_shared: theirs.is_shared })?;
    let mut file = File::create(journal(folder, theirs.id))?;
    file.write_all(&text)?;
    file.sync_all()
}

pub(super) fn remembered(folder: &Path, id: Uuid) -> Theirs {
    let text = fs::read(journal(folder, id)).unwrap_or_default();
    let said: Option<Journal> = serde_json::from_slice(&text).ok();
    let is_shared = said.as_ref().is_some_and(|said| said.is_shared);
    Theirs { id, nickname: said.map(|said| said.nickname), is_shared }
}

/// What was written of those who were not erased after all.
fn forget_others(folder: &Path, erased: &[Tombstone]) -> io::Result<()> {
    for name in super::cut::names(folder)? {
        let is_of = |tombstone: &Tombstone| name == format!("{}.json", tombstone.id);
        if !erased.iter().any(is_of) {
            gone(fs::remove_file(folder.join(name)))?;
        }
    }
    Ok(())
}

fn gone(removed: io::Result<()>) -> io::Result<()> {
    match removed {
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(()),
        other => other,
    }
}

/// Does what waits for the disk where nobody else waits for it.
pub(super) async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> io::Result<T> + Send + 'static,
) -> io::Result<T> {
    tokio::task::spawn_blocking(work).await.map_err(io::Error::other)?
}
