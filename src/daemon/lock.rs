//! One instance a data folder.
//!
//! The lock is the system's on `<data>/lock`, so that it is gone when the process is, however it ended; the text in the
//! file only tells who holds it. Stale text without a lock means nothing.

use serde::{Deserialize, Serialize};
use std::fs::{DirBuilder, File, OpenOptions, TryLockError};
use std::io::{self, Read, Seek, Write};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Who holds a lock, as its file tells.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Holder {
    /// Process id.
    pub pid: u32,
    /// When it started, UTC, RFC 3339.
    pub started: String,
    /// Where its HTTP server listens, once it does.
    pub http: Option<SocketAddr>,
}

impl Holder {
    /// This process, started now.
    pub fn this_process(started: jiff::Timestamp, http: Option<SocketAddr>) -> Self {
        Self { pid: std::process::id(), started: started.to_string(), http }
    }
}

impl std::fmt::Display for Holder {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "process {}, since {}", self.pid, self.started)?;
        self.http.map_or(Ok(()), |http| write!(f, ", at http://{http}"))
    }
}

/// Why a data folder cannot be had.
#[derive(Debug, thiserror::Error)]
pub enum LockError {
    /// Another instance has it. On Windows a locked file cannot be read, so there it is never told which.
    #[error("{}: another swingd works on this data folder ({}); expected to be the only one: stop it, or give another \
             folder by --data-folder", folder.display(), known(holder.as_ref()))]
    Held {
        /// The data folder.
        folder: PathBuf,
        /// Who, if its file tells.
        holder: Option<Holder>,
    },
    /// The folder or the file cannot be used.
    #[error("{}: {cause}; expected a folder that can be made and written to", path.display())]
    Unusable {
        /// Folder or file.
        path: PathBuf,
        /// Why.
        cause: io::Error,
    },
}

fn known(holder: Option<&Holder>) -> String {
    holder.map_or("it does not tell which".to_owned(), Holder::to_string)
}

/// The data folder is this process's, until this is dropped.
#[derive(Debug)]
pub struct InstanceLock {
    file: File,
    path: PathBuf,
}

/// How often a lock is tried for: [`occupancy`] holds a shared one for an instant.
const TRIES: u32 = 5;
const PAUSE: Duration = Duration::from_millis(20);

/// Longer text is none of ours.
const LONGEST_TEXT: u64 = 4096;

impl InstanceLock {
    /// Makes the folder, for this user alone, if it is missing, and takes it.
    ///
    /// # Errors
    /// If another instance has it or it cannot be written to.
    pub fn take(folder: &Path, holder: &Holder) -> Result<Self, LockError> {
        let unusable = |path: &Path| {
            let path = path.to_owned();
            move |cause| LockError::Unusable { path, cause }
        };
        make_private_folder(folder).map_err(unusable(folder))?;
        let path = lock_path(folder);
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(&path)
            .map_err(unusable(&path))?;
        for tried in 1..=TRIES {
            match file.try_lock() {
                Ok(()) => break,
                Err(TryLockError::WouldBlock) if tried < TRIES => std::thread::sleep(PAUSE),
                Err(TryLockError::WouldBlock) => {
                    return Err(LockError::Held { folder: folder.to_owned(), holder: holder_in(&mut file) });
                }
                Err(TryLockError::Error(cause)) => return Err(unusable(&path)(cause)),
            }
        }
        let mut lock = Self { file, path };
        lock.tell(holder)?;
        Ok(lock)
    }

    /// Changes what the file tells, as when the HTTP server's port has become known.
    ///
    /// # Errors
    /// If the file cannot be written; the lock is held nevertheless.
    pub fn tell(&mut self, holder: &Holder) -> Result<(), LockError> {
        let text = toml::to_string(holder).map_err(io::Error::other);
        let written = text.and_then(|text| {
            self.file.set_len(0)?;
            self.file.rewind()?;
            self.file.write_all(text.as_bytes())
        });
        written.map_err(|cause| LockError::Unusable { path: self.path.clone(), cause })
    }
}

impl Drop for InstanceLock {
    fn drop(&mut self) {
        // Stale text does no harm, and the lock goes with the file. It is let go by name because a program that is being
        // started at this instant may have the file for a moment longer.
        let _ = self.file.set_len(0);
        let _ = self.file.unlock();
    }
}

/// Who works on a data folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Occupancy {
    /// Nobody.
    Free,
    /// Another process, if its file tells which.
    Held(Option<Holder>),
}

/// Who works on a data folder; nothing is made or changed.
///
/// # Errors
/// If the lock is there and cannot be read.
pub fn occupancy(folder: &Path) -> io::Result<Occupancy> {
    let mut file = match File::open(lock_path(folder)) {
        Err(error) if matches!(error.kind(), io::ErrorKind::NotFound | io::ErrorKind::NotADirectory) => {
            return Ok(Occupancy::Free);
        }
        file => file?,
    };
    match file.try_lock_shared() {
        Ok(()) => file.unlock().map(|()| Occupancy::Free),
        Err(TryLockError::WouldBlock) => Ok(Occupancy::Held(holder_in(&mut file))),
        Err(TryLockError::Error(error)) => Err(error),
    }
}

/// What the file tells, if it can be read.
fn holder_in(file: &mut File) -> Option<Holder> {
    let mut text = String::new();
    file.rewind().ok()?;
    file.take(LONGEST_TEXT).read_to_string(&mut text).ok()?;
    toml::from_str(&text).ok()
}

fn lock_path(folder: &Path) -> PathBuf {
    folder.join("lock")
}

/// Makes a folder and those above it, on Unix for this user alone; one that is there stays as it is.
///
/// # Errors
/// If it is not there and cannot be made.
pub fn make_private_folder(folder: &Path) -> io::Result<()> {
    let mut builder = DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(folder)
}

#[cfg(test)]
mod tests;
