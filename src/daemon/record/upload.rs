//! A file on its way into the folder of recordings: under a name that shows that it is, until the store knows it.
//!
//! `ID.recording.import` and, of CSV, `ID.profile.import` beside it. Whatever ends the way ends with these removed; after a
//! kill the next start sees to them (see [`finish_imports`](super::finish_imports)).

use crate::daemon::hex::hex;
use crate::daemon::recorder::{Disk, SystemDisk};
use sha2::{Digest, Sha256};
use std::io;
use std::path::{Path, PathBuf};
use tokio::fs::File;
use tokio::io::AsyncWriteExt;
use uuid::Uuid;

/// No longer file is taken, bytes: 10 h of a sensor of 1 kHz.
pub const LONGEST_FILE: u64 = 512 * 1024 * 1024;
/// The endings on the way.
const RECORDING: &str = ".recording.import";
const PROFILE: &str = ".profile.import";

/// Why a file did not arrive. Nothing of it is kept.
#[derive(Debug, thiserror::Error)]
pub enum UploadError {
    /// It is too long.
    #[error("the file has more than {LONGEST_FILE} bytes; expected at most as many")]
    TooLong,
    /// It cannot be written.
    #[error("the file cannot be written: {0}")]
    Io(#[from] io::Error),
}

/// A file that is being written.
#[derive(Debug)]
pub struct Arriving {
    id: Uuid,
    temporary: Temporary,
    file: File,
    hash: Sha256,
    bytes: u64,
}

/// A file that is all on disk. Dropped, it is removed.
#[derive(Debug)]
pub struct Arrived {
    /// The id its recording will have.
    pub id: Uuid,
    /// SHA-256, hexadecimal.
    pub sha256: String,
    /// How long it is.
    pub bytes: u64,
    recording: Temporary,
}

/// What a file on its way is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Part {
    Recording,
    Profile,
}

impl Arriving {
    /// A new file in a folder of recordings.
    ///
    /// # Errors
    /// If it cannot be made.
    pub async fn create(folder: &Path) -> Result<Self, UploadError> {
        let id = Uuid::now_v7();
        let path = folder.join(format!("{id}{RECORDING}"));
        let file = File::options().write(true).create_new(true).open(&path).await?;
        Ok(Self { id, temporary: Temporary(Some(path)), file, hash: Sha256::new(), bytes: 0 })
    }

    /// The next of its bytes.
    ///
    /// # Errors
    /// If there are too many, or they cannot be written.
    pub async fn push(&mut self, bytes: &[u8]) -> Result<(), UploadError> {
        self.bytes += bytes.len() as u64;
        if self.bytes > LONGEST_FILE {
            return Err(UploadError::TooLong);
        }
        self.hash.update(bytes);
        Ok(self.file.write_all(bytes).await?)
    }

    /// All of it is there; when this has returned it is on disk.
    ///
    /// # Errors
    /// If it cannot be written.
    pub async fn finish(mut self) -> Result<Arrived, UploadError> {
        self.file.flush().await?;
        self.file.sync_all().await?;
        let sha256 = hex(&self.hash.finalize());
        Ok(Arrived { id: self.id, sha256, bytes: self.bytes, recording: self.temporary })
    }
}

impl Arrived {
    /// Where it is, as long as it is on its way.
    pub(super) fn path(&self) -> &Path {
        self.recording.0.as_deref().unwrap_or(Path::new(""))
    }

    /// Where its profile goes on its way.
    pub(super) fn profile_path(&self) -> PathBuf {
        self.path().with_file_name(format!("{}{PROFILE}", self.id))
    }

    /// From here on it stays: the store knows it.
    pub(super) fn stays(mut self) -> PathBuf {
        self.recording.0.take().unwrap_or_default()
    }
}

/// Removed when it is dropped, unless it was taken out.
#[derive(Debug)]
pub(super) struct Temporary(pub(super) Option<PathBuf>);

impl Drop for Temporary {
    fn drop(&mut self) {
        if let Some(path) = self.0.take()
            && let Err(error) = std::fs::remove_file(&path)
            && error.kind() != io::ErrorKind::NotFound
        {
            tracing::warn!(path = %path.display(), %error, "what is left of an import is removed at the next start");
        }
    }
}

/// Which recording a file on its way is of, by its name.
pub(super) fn of_name(name: &str) -> Option<(Uuid, Part)> {
    let named = |ending, part| Some((name.strip_suffix(ending)?.parse().ok()?, part));
    named(RECORDING, Part::Recording).or_else(|| named(PROFILE, Part::Profile))
}

/// Gives what is on its way its place in the folder, for good.
pub(super) fn put_in_place(from: &Path, to: &Path) -> io::Result<()> {
    std::fs::rename(from, to)?;
    SystemDisk.sync_folder(to.parent().unwrap_or(Path::new(".")))
}
