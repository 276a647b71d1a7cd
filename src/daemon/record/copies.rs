//! One athlete out of a copy of the record: a backup, or what a restore has put aside.
//!
//! The new copy is made beside the old one and takes its place by two renames, so that a kill leaves one of them whole;
//! the next try goes on from there.

use super::cut::{Cutting, FilesCut, cut, is_named_in, names};
use super::erase::{Removed, blocking};
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
    /// They were not in it, or had been erased before; recordings of which that cannot be told, and why.
    NotInIt(Vec<String>),
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
    let at = (folder.to_owned(), new.clone(), old.clone());
    blocking(move || finish(&at.0, &at.1, &at.2)).await.map_err(|error| told(&error))?;
    match fs::metadata(folder) {
        Ok(_) => {}
        Err(error) if error.kind() == ErrorKind::NotFound => {
            if is_begun(folder) {
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
    if !may_be_in(folder, cage, theirs, tombstone).await.map_err(|error| told(&error))? {
        return Ok(Outcome::NotInIt(Vec::new()));
    }
    let left = match make_new(folder, &new, cage, theirs, tombstone, steps).await {
        Ok(erased) if erased.is_changed => erased.left,
        Ok(erased) => {
            blocking(move || fs::remove_dir_all(new)).await.map_err(|error| told(&error))?;
            return Ok(Outcome::NotInIt(erased.left.iter().map(|words| told(words)).collect()));
        }
        Err(error) => {
            // The next try removes it too.
            let _ = blocking(move || fs::remove_dir_all(new)).await;
            return Err(told(&error));
        }
    };
    let (at, steps) = ((folder.to_owned(), new, old), Arc::clone(steps));
    blocking(move || replace(&at.0, &at.1, &at.2, &steps)).await.map_err(|error| told(&error))?;
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

/// The copy without them; of no use if nothing was changed.
async fn make_new(
    folder: &Path,
    new: &Path,
    cage: &str,
    theirs: &Theirs,
    tombstone: &Tombstone,
    steps: &Arc<Steps>,
) -> Result<ErasedFrom, CopyError> {
    let (from, to) = (folder.to_owned(), new.to_owned());
    let copied = move || {
        make_private_folder(&to)?;
        fs::copy(from.join(STORE), to.join(STORE))?;
        let log = log_of(&from);
        if log.exists() {
            fs::copy(log, log_of(&to))?;
        }
        link_all(&from.join(RECORDINGS), &to.join(RECORDINGS))
    };
    blocking(copied).await?;
    let store = Store::open(&Place::File(new.join(STORE))).await?;
    steps.next()?;
    let erased = erase_from(&store, &new.join(RECORDINGS), cage, theirs, tombstone, steps).await?;
    let rows = copy::counts(&mut *store.read().await?).await?;
    store.close().await;
    if !erased.is_changed {
        return Ok(erased);
    }
    let (folder, new) = (folder.to_owned(), new.to_owned());
    let described = move || {
        if let Ok(manifest) = Manifest::read(&folder) {
            let (files, schema_version) = (manifest::sums(&new)?, copy::SCHEMA_VERSION);
            Manifest { rows, files, schema_version, ..manifest }.write(&new)?;
        }
        SystemDisk.sync_folder(&new)
    };
    blocking(described).await?;
    Ok(erased)
}

/// SQLite's log beside a store, which a damaged one may have been put aside with.
fn log_of(folder: &Path) -> PathBuf {
    folder.join(format!("{STORE}-wal"))
}

/// Whether they are in a copy, or it cannot be told; nothing of it is changed for that, nor anything beside it made.
async fn may_be_in(folder: &Path, cage: &str, theirs: &Theirs, tombstone: &Tombstone) -> Result<bool, CopyError> {
    if log_of(folder).exists() {
        return Ok(true);
    }
    let mut copy = copy::look_at(&folder.join(STORE)).await?;
    let looked = async {
        let is_there = erase::nickname(&mut copy, theirs.id).await?.is_some();
        let whole = erase::files(&mut copy, cage, &Removed::of(tombstone).imports).await?;
        let is_cut = tombstones::find(&mut copy, theirs.id).await?.is_some_and(|known| is_cut(&known, cage));
        Ok::<_, StoreError>((is_there, whole, is_cut))
    };
    let looked = looked.await;
    copy::look_away(copy).await;
    let (is_there, whole, is_cut) = looked?;
    let (recordings, theirs) = (folder.join(RECORDINGS), theirs.clone());
    let in_files = move || {
        let has_import = whole.iter().any(|name| recordings.join(name).exists());
        Ok(has_import || !is_cut && is_named_in(&recordings, &theirs)?)
    };
    Ok(is_there || blocking(in_files).await?)
}

/// Whether a tombstone says that the recordings of an installation were cut before it was copied. That it is there says
/// only that the rows are gone.
fn is_cut(tombstone: &Tombstone, cage: &str) -> bool {
    Removed::of(tombstone).cages.get(cage).is_some_and(|here| here.is_cut || here.is_done)
}

/// What came of taking an athlete out of a copy.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ErasedFrom {
    /// Whether anything of theirs was in it.
    pub is_changed: bool,
    /// Recordings in which something may be left, and why.
    pub left: Vec<String>,
}

/// Takes an athlete out of a store nobody else uses and the recordings beside it, and leaves a tombstone there.
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
) -> Result<ErasedFrom, CopyError> {
    let mut changes = store.write().await?;
    let mut theirs = theirs.clone();
    // What they were called then counts.
    if let Some((nickname, is_shared)) = erase::nickname(&mut changes, theirs.id).await? {
        (theirs.nickname, theirs.is_shared) = (Some(nickname), is_shared);
    }
    let known = tombstones::find(&mut changes, theirs.id).await?;
    let done = erase::athlete(&mut changes, theirs.id).await?;
    let mut imports = Removed::of(tombstone).imports;
    imports.extend(&done.imports);
    imports.sort();
    imports.dedup();
    let whole = erase::files(&mut changes, cage, &imports).await?;
    let are_rows_changed = done.rows.values().any(|count| *count > 0);
    let cut = match known.is_some_and(|known| is_cut(&known, cage)) && !are_rows_changed && whole.is_empty() {
        true => FilesCut::default(),
        false => {
            let (folder, names, steps) = (recordings.to_owned(), whole.clone(), Arc::clone(steps));
            let cutting = move || {
                cut(&Cutting { folder: &folder, theirs: &theirs, whole: &names, is_in_use: false, steps: &steps })
            };
            blocking(cutting).await?
        }
    };
    if !cut.is_whole() {
        return Err(io::Error::other(cut.not_reached.join("; ")).into());
    }
    for name in whole.iter().chain(&cut.removed) {
        erase::file_removed(&mut changes, cage, name).await?;
    }
    for name in &cut.rewritten {
        erase::file_rewritten(&mut changes, cage, name).await?;
    }
    let mut removed = Removed::of(tombstone);
    removed.cages.entry(cage.to_owned()).or_default().is_cut = true;
    let removed = removed.text();
    tombstones::insert(&mut changes, tombstone).await?;
    tombstones::update(&mut changes, tombstone.id, &removed).await?;
    changes.commit().await?;
    let is_changed = are_rows_changed || !(cut.removed.is_empty() && cut.rewritten.is_empty());
    if are_rows_changed {
        store.rebuild().await?;
    }
    if !store.sweep().await? {
        return Err(io::Error::other("its store is in use").into());
    }
    Ok(ErasedFrom { is_changed, left: cut.ambiguous })
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

/// Whether a backup of this name is being made, or its making was ended: see [`part_of`].
fn is_begun(folder: &Path) -> bool {
    let begun = beside(folder, ".").file_name().unwrap_or_default().to_string_lossy().into_owned();
    let names = folder.parent().map(names).and_then(Result::ok).unwrap_or_default();
    names.iter().any(|name| name.starts_with(&begun) && name.ends_with(PART))
}

/// What a backup is called until it is whole: with the number of the process, so that two at once do not meet.
pub fn part_of(folder: &Path) -> PathBuf {
    beside(folder, &format!(".{}{PART}", std::process::id()))
}

/// How what is not whole yet ends.
pub const PART: &str = ".part";
