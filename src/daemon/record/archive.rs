//! One athlete as one file: a zip archive with what the store has of them and their stretches of the recordings.
//!
//! It is put together in a folder of its own within the data folder ([`FOLDER`]) and removed with the [`Archive`]; what a kill
//! leaves there goes at the next start.

mod bids;
mod tables;

use super::cut::names;
use super::erase::blocking;
use super::theirs::{Named, Theirs};
use crate::daemon::lock::make_private_folder;
use crate::daemon::store::queries::archive::{self, Theirs as Rows};
use crate::daemon::store::queries::erase;
use crate::daemon::store::{Store, StoreError};
use crate::engine::wire::mcap::{copy_without, copy_without_names};
use crate::report::bids::BidsError;
use crate::report::curves::{decode, to_csv};
use bids::Own;
use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use uuid::Uuid;
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

/// Where archives are put together, in the data folder.
pub const FOLDER: &str = "exporting";

type Zip = ZipWriter<BufWriter<File>>;

/// Why there is no archive.
#[derive(Debug, thiserror::Error)]
pub enum ArchiveError {
    /// The store cannot be read, or there is no such athlete.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A recording cannot be read, or the archive not be written.
    #[error("the archive cannot be written: {0}")]
    File(#[from] io::Error),
    /// The same.
    #[error("the archive cannot be written: {0}")]
    Zip(#[from] zip::result::ZipError),
    /// The data set in it cannot be made.
    #[error("the archive's BIDS data set: {0}")]
    Bids(#[from] BidsError),
}

/// An archive that was made. It is removed with this.
#[derive(Debug)]
pub struct Archive {
    folder: PathBuf,
}

impl Archive {
    /// Where it is.
    pub fn path(&self) -> PathBuf {
        self.folder.join("archive.zip")
    }
}

impl Drop for Archive {
    fn drop(&mut self) {
        // The next start removes it otherwise.
        let _ = fs::remove_dir_all(&self.folder);
    }
}

/// Makes the archive of an athlete.
///
/// # Errors
/// If there is no such athlete, something cannot be read, or there is no room.
pub async fn archive(store: &Store, data_folder: &Path, cage: &str, id: Uuid) -> Result<Archive, ArchiveError> {
    let mut read = store.read().await?;
    let rows = archive::theirs(&mut read, id).await?;
    let called = erase::nickname(&mut read, id).await?;
    let mut curves = Vec::new();
    for swing in &rows.swings {
        let swing_id = tables::word(swing, "id");
        if let Some(compact) = archive::curves(&mut read, swing_id).await? {
            curves.push((format!("curves/{swing_id}.csv"), compact));
        }
    }
    drop(read);
    let is_import = |row: &&_| tables::word(row, "athlete_id") == id.to_string() && tables::word(row, "cage") == cage;
    let imports =
        rows.recordings.iter().filter(is_import).map(|row| tables::word(row, "file_name").to_owned()).collect();
    let theirs = Theirs {
        id,
        is_shared: called.as_ref().is_some_and(|(_, is_shared)| *is_shared),
        nickname: called.map(|(nickname, _)| nickname),
    };
    let archive = Archive { folder: data_folder.join(FOLDER).join(Uuid::now_v7().to_string()) };
    let (work, recordings) = (archive.folder.clone(), data_folder.join("recordings"));
    let written = move || {
        make_private_folder(&work)?;
        let own = own_recordings(&recordings, &work, &theirs, imports)?;
        Ok(write(&work.join("archive.zip"), &rows, &curves, &own))
    };
    blocking(written).await??;
    Ok(archive)
}

/// Removes what a kill left.
///
/// # Errors
/// If it cannot be removed.
pub fn tidy(data_folder: &Path) -> io::Result<()> {
    let folder = data_folder.join(FOLDER);
    if folder.exists() { fs::remove_dir_all(folder) } else { Ok(()) }
}

fn write(path: &Path, rows: &Rows, curves: &[(String, Vec<u8>)], own: &[Own]) -> Result<(), ArchiveError> {
    let mut zip = ZipWriter::new(BufWriter::new(File::create_new(path)?));
    let options = SimpleFileOptions::default().large_file(true);
    for (name, text) in tables::files(rows) {
        zip.start_file(name, options)?;
        zip.write_all(text.as_bytes())?;
    }
    for (name, compact) in curves {
        // Curves of a later form are left out rather than the archive.
        let Ok(curves) = decode(compact) else { continue };
        zip.start_file(name.as_str(), options)?;
        zip.write_all(to_csv(&curves).as_bytes())?;
    }
    for own in own {
        zip.start_file(format!("recordings/{}", own.name), options)?;
        io::copy(&mut File::open(&own.path)?, &mut zip)?;
    }
    bids::write(&mut zip, rows, own)?;
    zip.finish()?.flush()?;
    Ok(())
}

/// Their recordings, and copies of others with nothing but their stretches. Files that are being written are left out.
fn own_recordings(from: &Path, work: &Path, theirs: &Theirs, imports: Vec<String>) -> io::Result<Vec<Own>> {
    let mut own = Vec::new();
    for name in names(from)?.into_iter().filter(|name| !name.ends_with(".live.mcap")) {
        let is_import = imports.contains(&name);
        if name.ends_with(".mcap") {
            let path = work.join(&name);
            let source = File::open(from.join(&name))?;
            let target = File::create_new(&path)?;
            // An import is theirs whatever stands in it, and who was at the plate elsewhere is nobody's business.
            let (out, cut) = if is_import {
                copy_without_names(source, target)?
            } else {
                copy_without(source, target, &|context| theirs.are_at(context) != Named::Yes, true)?
            };
            drop(out);
            match cut.has_sent() {
                true => own.push(Own { name, path }),
                false => fs::remove_file(path)?,
            }
        } else if is_import {
            let profile = Path::new(&name).with_extension("toml");
            for name in [PathBuf::from(&name), profile] {
                let path = from.join(&name);
                own.extend(path.is_file().then(|| Own { name: name.to_string_lossy().into_owned(), path }));
            }
        }
    }
    Ok(own)
}
