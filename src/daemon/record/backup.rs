//! A copy of the record, made while the service works.
//!
//! Rows are those of one instant. Recordings are copied after that: one that is finished as it is; one that is being
//! written as far as it has come, which is what a loss of power at that instant would have left, and is finished as such
//! once it was restored. All of it is written under another name, synced, and renamed at the end.

use super::copies::{self, PART, part_of};
use super::cut::names;
use super::erase::{FOLDER as ERASING, blocking, remembered};
use super::manifest::{self, FORMAT, FileSum, Manifest, NAME, RECORDINGS, STORE};
use super::steps::Steps;
use crate::daemon::lock::make_private_folder;
use crate::daemon::recorder::{Disk, SystemDisk};
use crate::daemon::store::queries::backups::{self, Backup};
use crate::daemon::store::queries::tombstones::{self, Kind};
use crate::daemon::store::rows::UtcMicros;
use crate::daemon::store::{Place, Store, StoreError, copy};
use std::fs;
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use uuid::Uuid;

/// What the folder of a backup is called before its time.
const PREFIX: &str = "swingd-backup-";
const LIVE: &str = ".live.mcap";
/// What is being imported ends so.
const IMPORT: &str = ".import";
/// What was begun so long ago is not being made any more, s.
const BEGUN_FOR_S: i64 = 24 * 3600;
/// The time in a backup's name.
const TIME: &str = "%Y%m%dT%H%M%SZ";

/// Why there is no backup. What was begun is removed by the next one in the same folder.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    /// The store cannot be read, or the copy not be written.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A file cannot be read or written.
    #[error("{}: {cause}; no backup was made", path.display())]
    File {
        /// The backup's folder, or what it was made from.
        path: PathBuf,
        /// Why.
        cause: io::Error,
    },
    /// An athlete was erased meanwhile, and could not be erased from the backup too.
    #[error("{0}; an athlete was erased while the backup was made: remove it and make another")]
    Erased(String),
}

/// A backup that was made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Made {
    /// Its folder.
    pub folder: PathBuf,
    /// What is in it.
    pub manifest: Manifest,
}

/// Makes a backup in a new folder within `into`.
///
/// # Errors
/// If it cannot be made whole.
pub async fn backup(
    store: &Store,
    data_folder: &Path,
    cage: &str,
    into: &Path,
    now: UtcMicros,
) -> Result<Made, BackupError> {
    let failed = |cause| BackupError::File { path: into.to_owned(), cause };
    make_private_folder(into).map_err(failed)?;
    let into = fs::canonicalize(into).map_err(failed)?;
    let made = jiff::Timestamp::from_microsecond(now.0).unwrap_or(jiff::Timestamp::UNIX_EPOCH);
    let begun = into.clone();
    blocking(move || remove_begun(&begun, made)).await.map_err(failed)?;
    let folder = into.join(format!("{PREFIX}{}", made.strftime(TIME)));
    let part = part_of(&folder);
    if folder.exists() {
        return Err(BackupError::File { path: folder, cause: ErrorKind::AlreadyExists.into() });
    }
    make_private_folder(&part).map_err(failed)?;
    // Erasing has to know of it before anything is in it.
    let backup = Backup { id: Uuid::now_v7(), cage: cage.into(), folder: folder.clone(), made: now, gone: None };
    let mut changes = store.write().await?;
    backups::insert(&mut changes, &backup).await?;
    changes.commit().await?;
    let manifest = fill(store, data_folder, cage, &part, made).await?;
    fs::rename(&part, &folder).and_then(|()| SystemDisk.sync_folder(&into)).map_err(failed)?;
    erase_again(store, data_folder, cage, &folder).await.map_err(BackupError::Erased)?;
    let manifest = Manifest::read(&folder).unwrap_or(manifest);
    Ok(Made { folder, manifest })
}

async fn fill(
    store: &Store,
    data_folder: &Path,
    cage: &str,
    part: &Path,
    made: jiff::Timestamp,
) -> Result<Manifest, BackupError> {
    let failed = |path: &Path| {
        let path = path.to_owned();
        move |cause| BackupError::File { path, cause }
    };
    store.copy_into(&part.join(STORE)).await?;
    // Opened once, it is as every later opening leaves it.
    let copied = Store::open(&Place::File(part.join(STORE))).await?;
    let rows = copy::counts(&mut *copied.read().await?).await?;
    copied.sweep().await?;
    copied.close().await;
    let (from, to) = (data_folder.join("recordings"), part.to_owned());
    let copying = move || {
        fs::File::open(to.join(STORE))?.sync_all()?;
        let mut files = vec![manifest::sum(&to.join(STORE), STORE.into())?];
        let live = copy_recordings(&from, &to.join(RECORDINGS), &mut files)?;
        Ok((files, live))
    };
    let (files, live) = blocking(copying).await.map_err(failed(part))?;
    let manifest = Manifest {
        format: FORMAT,
        engine_version: env!("CARGO_PKG_VERSION").into(),
        schema_version: copy::SCHEMA_VERSION,
        made: made.to_string(),
        cage: cage.into(),
        rows,
        live,
        files,
    };
    manifest.write(part).map_err(failed(&part.join(NAME)))?;
    SystemDisk.sync_folder(part).map_err(failed(part))?;
    Ok(manifest)
}

/// Every recording and what lies beside it, but no file that somebody is only making; the names of live ones.
fn copy_recordings(from: &Path, to: &Path, files: &mut Vec<FileSum>) -> io::Result<Vec<String>> {
    make_private_folder(to)?;
    let (mut seen, mut live) = (Vec::new(), Vec::new());
    // A live one may get its last name meanwhile; then it is found under that.
    loop {
        let mut new = names(from)?;
        new.retain(|name| !name.ends_with(PART) && !name.ends_with(IMPORT) && !seen.contains(name));
        if new.is_empty() {
            break;
        }
        for name in new {
            seen.push(name.clone());
            let was_live = name.strip_suffix(".mcap").is_some_and(|stem| live.contains(&format!("{stem}{LIVE}")));
            if was_live || !from.join(&name).is_file() {
                continue;
            }
            match manifest::copy_summed(&from.join(&name), &to.join(&name), format!("{RECORDINGS}/{name}")) {
                Err(error) if error.kind() == ErrorKind::NotFound => {}
                Err(error) => return Err(error),
                Ok(sum) => {
                    files.push(sum);
                    live.extend(name.ends_with(LIVE).then_some(name));
                }
            }
        }
    }
    SystemDisk.sync_folder(to)?;
    Ok(live)
}

/// Whoever was erased after the rows were read, or of whom not all recordings had been cut when these were copied, before
/// erasing could find the backup.
async fn erase_again(store: &Store, data_folder: &Path, cage: &str, folder: &Path) -> Result<(), String> {
    let all = async { tombstones::all(&mut *store.read().await?).await };
    let all = all.await.map_err(|error: StoreError| error.to_string())?;
    let steps = Arc::new(Steps::all());
    for tombstone in all.iter().filter(|one| one.kind == Kind::Athlete) {
        let theirs = remembered(&data_folder.join(ERASING), tombstone.id);
        copies::erase_in(folder, cage, &theirs, tombstone, &steps).await?;
    }
    Ok(())
}

/// What earlier backups in this folder began and never ended: what was begun a day ago. Another may be at work on the rest.
fn remove_begun(into: &Path, now: jiff::Timestamp) -> io::Result<()> {
    let oldest =
        now.saturating_sub(jiff::SignedDuration::from_secs(BEGUN_FOR_S)).unwrap_or(now).strftime(TIME).to_string();
    for name in fs::read_dir(into)? {
        let path = name?.path();
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let begun = name.strip_prefix(&format!(".{PREFIX}")).filter(|_| name.ends_with(PART));
        if begun.is_some_and(|begun| begun < oldest.as_str()) {
            fs::remove_dir_all(path)?;
        }
    }
    Ok(())
}
