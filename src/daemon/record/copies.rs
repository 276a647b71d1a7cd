//! One athlete out of a copy of the record: a backup, or what a restore has put aside.
//!
//! The new copy is made beside the old one and takes its place by two renames, so that a kill leaves one of them whole;
//! the next try goes on from there.

use super::cut::{Cutting, cut, names};
use super::erase::blocking;
use super::manifest::{self, Manifest, RECORDINGS, STORE};
use super::steps::Steps;
use super::theirs::Theirs;
use crate::daemon::lock::make_private_folder;
use crate::daemon::recorder::{Disk, SystemDisk};
use crate::daemon::store::queries::erase;
use crate::daemon::store::queries::tombstones::{self, Tombstone};
use crate::daemon::store::{Place, Store, StoreError, copy};
use std::fs;
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// What became of a copy.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// They were in it, and are no longer; recordings in which something may be left, and why.
    Erased(Vec<String>),
    /// They were not in it, or had been erased before.
    NotInIt,
    /// The copy is gone.
    Gone,
}

/// Takes an athlete out of a copy.
///
/// # Errors
/// In words with its path, why it was not reached; then it is as it was.
pub async fn erase_in(
    folder: &Path,
    cage: &str,
    theirs: &Theirs,
    tombstone: &Tombstone,
    steps: &Arc<Steps>,
) -> Result<Outcome, String> {
    let told = |cause: &dyn std::fmt::Display| format!("{}: {cause}", folder.display());
    let (new, old) = (beside(folder, ".erasing"), beside(folder, ".erased"));
    finish(folder, &new, &old).map_err(|error| told(&error))?;
    match fs::metadata(folder) {
        Ok(_) => {}
        Err(error) if error.kind() == ErrorKind::NotFound => {
            if beside(folder, ".part").exists() {
                return Err(told(
                    &"it is being made, or its making was ended; back up there again, or remove its .part",
                ));
            }
            // Where not even the folder above is, the medium may only be elsewhere.
            return match folder.parent().is_some_and(Path::is_dir) {
                true => Ok(Outcome::Gone),
                false => Err(told(&"the folder that it is in cannot be found")),
            };
        }
        Err(error) => return Err(told(&error)),
    }
    let left = match make_new(folder, &new, cage, theirs, tombstone, steps).await {
        Ok(Some(left)) => left,
        Ok(None) => {
            fs::remove_dir_all(&new).map_err(|error| told(&error))?;
            return Ok(Outcome::NotInIt);
        }
        Err(error) => {
            // The next try removes it too.
            let _ = fs::remove_dir_all(&new);
            return Err(told(&error));
        }
    };
    replace(folder, &new, &old, steps).map_err(|error| told(&error))?;
    Ok(Outcome::Erased(left.iter().map(|words| told(words)).collect()))
}

/// Why a copy could not be made.
#[derive(Debug, thiserror::Error)]
pub enum CopyError {
    /// Its store.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// Its files.
    #[error(transparent)]
    File(#[from] io::Error),
}

/// The copy without them; `None` if they were taken out before.
async fn make_new(
    folder: &Path,
    new: &Path,
    cage: &str,
    theirs: &Theirs,
    tombstone: &Tombstone,
    steps: &Arc<Steps>,
) -> Result<Option<Vec<String>>, CopyError> {
    make_private_folder(new)?;
    fs::copy(folder.join(STORE), new.join(STORE))?;
    let store = Store::open(&Place::File(new.join(STORE))).await?;
    let is_known = tombstones::find(&mut *store.read().await?, theirs.id).await?.is_some();
    if is_known {
        store.close().await;
        return Ok(None);
    }
    let (from, to) = (folder.join(RECORDINGS), new.join(RECORDINGS));
    blocking(move || link_all(&from, &to)).await?;
    steps.next()?;
    let left = erase_from(&store, &new.join(RECORDINGS), cage, theirs, tombstone, steps).await?;
    let rows = copy::counts(&mut *store.read().await?).await?;
    store.close().await;
    if let Ok(manifest) = Manifest::read(folder) {
        let new = new.to_owned();
        let described = move || {
            let (files, schema_version) = (manifest::sums(&new)?, copy::SCHEMA_VERSION);
            Manifest { rows, files, schema_version, ..manifest }.write(&new)
        };
        blocking(described).await?;
    }
    SystemDisk.sync_folder(new)?;
    Ok(Some(left))
}

/// Takes an athlete out of a store nobody else uses and the recordings beside it, and leaves a tombstone there; recordings
/// in which something may be left, and why.
///
/// # Errors
/// If something cannot be read or written.
pub async fn erase_from(
    store: &Store,
    recordings: &Path,
    cage: &str,
    theirs: &Theirs,
    tombstone: &Tombstone,
    steps: &Arc<Steps>,
) -> Result<Vec<String>, CopyError> {
    let mut changes = store.write().await?;
    let mut theirs = theirs.clone();
    // What they were called then counts.
    if let Some((nickname, is_shared)) = erase::nickname(&mut changes, theirs.id).await? {
        (theirs.nickname, theirs.is_shared) = (Some(nickname), is_shared);
    }
    let done = erase::athlete(&mut changes, theirs.id).await?;
    let whole = erase::files(&mut changes, cage, &done.imports).await?;
    let (folder, names, steps) = (recordings.to_owned(), whole.clone(), Arc::clone(steps));
    let cutting =
        move || cut(&Cutting { folder: &folder, theirs: &theirs, whole: &names, is_in_use: false, steps: &steps });
    let cut = blocking(cutting).await?;
    for name in whole.iter().chain(&cut.removed) {
        erase::file_removed(&mut changes, cage, name).await?;
    }
    for name in &cut.rewritten {
        erase::file_rewritten(&mut changes, cage, name).await?;
    }
    tombstones::insert(&mut changes, tombstone).await?;
    changes.commit().await?;
    store.rebuild().await?;
    if !store.sweep().await? {
        return Err(io::Error::other("its store is in use").into());
    }
    Ok(cut.ambiguous)
}

/// All recordings of a copy in another folder: the same files where the file system can, else copies.
fn link_all(from: &Path, to: &Path) -> io::Result<()> {
    make_private_folder(to)?;
    for name in names(from)? {
        let (from, to) = (from.join(&name), to.join(&name));
        if fs::hard_link(&from, &to).is_err() {
            fs::copy(&from, &to)?;
            fs::File::open(&to)?.sync_all()?;
        }
    }
    Ok(())
}

fn replace(folder: &Path, new: &Path, old: &Path, steps: &Steps) -> io::Result<()> {
    steps.next()?;
    fs::rename(folder, old)?;
    steps.next()?;
    fs::rename(new, folder)?;
    sync_parent(folder)?;
    steps.next()?;
    fs::remove_dir_all(old)
}

/// What an earlier try left.
fn finish(folder: &Path, new: &Path, old: &Path) -> io::Result<()> {
    if !folder.exists() && old.exists() && new.exists() {
        fs::rename(new, folder)?;
        sync_parent(folder)?;
    }
    if !folder.exists() && old.exists() {
        fs::rename(old, folder)?;
    }
    for left in [new, old] {
        if left.exists() {
            fs::remove_dir_all(left)?;
        }
    }
    Ok(())
}

fn sync_parent(folder: &Path) -> io::Result<()> {
    folder.parent().map_or(Ok(()), |parent| SystemDisk.sync_folder(parent))
}

/// A hidden name in the same folder.
pub fn beside(folder: &Path, ending: &str) -> PathBuf {
    let name = folder.file_name().unwrap_or_default().to_string_lossy();
    folder.with_file_name(format!(".{name}{ending}"))
}
