//! What a backup holds, as it says itself.

use crate::daemon::store::copy::Counts;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::Path;

/// The name of the file.
pub const NAME: &str = "manifest.json";
/// The name of the store in a backup.
pub const STORE: &str = "store.sqlite";
/// The folder of recordings in a backup.
pub const RECORDINGS: &str = "recordings";
/// How a backup is laid out.
pub const FORMAT: u32 = 1;

/// What a backup holds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Manifest {
    /// [`FORMAT`].
    pub format: u32,
    /// The program's version that made it.
    pub engine_version: String,
    /// The version of the store's schema.
    pub schema_version: i64,
    /// When, UTC, RFC 3339.
    pub made: String,
    /// The installation whose recordings are in it.
    pub cage: String,
    /// How many rows each table has.
    pub rows: Counts,
    /// Recordings that were being written: each is as after a loss of power at that instant.
    pub live: Vec<String>,
    /// Every file but this one.
    pub files: Vec<FileSum>,
}

/// A file in a backup.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FileSum {
    /// Within the backup, with `/`.
    pub path: String,
    /// Its length.
    pub bytes: u64,
    /// SHA-256, hexadecimal.
    pub sha256: String,
}

impl Manifest {
    /// Of a backup's folder.
    ///
    /// # Errors
    /// In words, what is wrong with it.
    pub fn read(folder: &Path) -> Result<Self, String> {
        let path = folder.join(NAME);
        let text = fs::read_to_string(&path).map_err(|error| format!("{}: {error}", path.display()))?;
        let manifest: Self = serde_json::from_str(&text)
            .map_err(|error| format!("{}: {error}; expected the manifest of a backup", path.display()))?;
        if manifest.format != FORMAT {
            let found = manifest.format;
            return Err(format!("{}: it is of format {found}; expected {FORMAT}", path.display()));
        }
        match manifest.files.iter().find(|file| !is_within(&file.path)) {
            Some(file) => {
                Err(format!("{}: it names {:?}; expected {STORE} or a file in {RECORDINGS}", path.display(), file.path))
            }
            None if manifest.files.iter().all(|file| file.path != STORE) => {
                Err(format!("{}: it names no {STORE}", path.display()))
            }
            None => Ok(manifest),
        }
    }

    /// Into a backup's folder, synced.
    ///
    /// # Errors
    /// If it cannot be written.
    pub fn write(&self, folder: &Path) -> io::Result<()> {
        let mut file = File::create(folder.join(NAME))?;
        file.write_all(&serde_json::to_vec_pretty(self).map_err(io::Error::other)?)?;
        file.sync_all()
    }
}

/// What a manifest may name: nothing outside of its folder.
fn is_within(path: &str) -> bool {
    let name = path.strip_prefix("recordings/");
    let is_name =
        |name: &str| !name.is_empty() && !name.contains(['/', '\\', '\0', ':']) && name != "." && name != "..";
    path == STORE || name.is_some_and(is_name)
}

/// Copies a file, synced; its length and sum.
///
/// # Errors
/// If it cannot be read or written.
pub fn copy_summed(from: &Path, to: &Path, path: String) -> io::Result<FileSum> {
    let (mut source, mut target) = (File::open(from)?, File::create(to)?);
    let sum = summed(&mut source, &mut target, path)?;
    target.sync_all()?;
    Ok(sum)
}

/// The length and sum of a file.
///
/// # Errors
/// If it cannot be read.
pub fn sum(file: &Path, path: String) -> io::Result<FileSum> {
    summed(&mut File::open(file)?, &mut io::sink(), path)
}

fn summed(source: &mut impl Read, target: &mut impl Write, path: String) -> io::Result<FileSum> {
    let (mut hash, mut bytes, mut buffer) = (Sha256::new(), 0, vec![0; 1 << 16]);
    loop {
        let count = source.read(&mut buffer)?;
        let Some(read) = buffer.get(..count).filter(|read| !read.is_empty()) else { break };
        hash.update(read);
        target.write_all(read)?;
        bytes += read.len() as u64;
    }
    let sha256 = hash.finalize().iter().map(|byte| format!("{byte:02x}")).collect();
    Ok(FileSum { path, bytes, sha256 })
}

/// The sums of all files in a backup's folder but the manifest.
///
/// # Errors
/// If one cannot be read.
pub fn sums(folder: &Path) -> io::Result<Vec<FileSum>> {
    let mut all = vec![sum(&folder.join(STORE), STORE.to_owned())?];
    for name in super::cut::names(&folder.join(RECORDINGS))? {
        all.push(sum(&folder.join(RECORDINGS).join(&name), format!("{RECORDINGS}/{name}"))?);
    }
    Ok(all)
}
