//! What earlier runs left in the folder of recordings.

use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

use super::disk::Disk;
use super::finish::{finish_now, is_finished_already};
use super::names::{LIVE, PART, WHOLE};

/// A live file that an earlier run left.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recovered {
    /// The recording that was made of it; if none could be made, the file as it was left, or
    /// would be: one with no whole message in it is removed.
    pub path: PathBuf,
    /// How many messages are in the recording.
    pub messages: u64,
    /// How many bytes at the end of the live file are not: an entry that was being written.
    pub cut_bytes: u64,
    /// What went wrong, and where the live file is kept because of it.
    pub error: Option<String>,
}

/// The files that earlier runs left in a folder, still to be seen to.
#[derive(Debug)]
pub struct Leftovers {
    folder: PathBuf,
    names: Result<Vec<String>, io::Error>,
}

impl Leftovers {
    /// To be called before anything records there; [`recover`](Self::recover), which may take long, then may go on
    /// beside new recordings.
    pub fn look<D: Disk>(disk: &D, folder: &Path) -> Self {
        let names = match disk.list(folder) {
            Err(error) if error.kind() == ErrorKind::NotFound => Ok(Vec::new()),
            names => names,
        };
        Self { folder: folder.to_owned(), names }
    }

    /// Finishes the live files, and removes what was only begun. A live file is removed only once the recording made of
    /// it is synced; one that is damaged is kept beside it. What fails is tried again at the next start.
    pub fn recover<D: Disk>(self, disk: &D) -> Vec<Recovered> {
        let Self { folder, names } = self;
        let names = match names {
            Ok(names) => names,
            Err(error) => return vec![failed(folder, &error)],
        };
        let mut found = Vec::new();
        for name in names.iter().filter(|name| name.ends_with(PART)) {
            let path = folder.join(name);
            if let Err(error) = disk.remove(&path) {
                found.push(failed(path, &error));
            }
        }
        let mut stems: Vec<&str> = names.iter().filter_map(|name| name.strip_suffix(LIVE)).collect();
        stems.sort_unstable();
        found.extend(stems.into_iter().map(|stem| recover_one(disk, &folder, stem)));
        found
    }
}

/// Sees to what earlier runs left in a folder in which nothing records yet.
pub fn recover<D: Disk>(disk: &D, folder: &Path) -> Vec<Recovered> {
    Leftovers::look(disk, folder).recover(disk)
}

fn recover_one<D: Disk>(disk: &D, folder: &Path, stem: &str) -> Recovered {
    let live = folder.join(format!("{stem}{LIVE}"));
    recovered(disk, folder, stem, &live).unwrap_or_else(|error| failed(live, &error))
}

fn recovered<D: Disk>(disk: &D, folder: &Path, stem: &str, live: &Path) -> io::Result<Recovered> {
    if is_finished_already(disk, folder, stem)? {
        disk.sync_folder(folder)?;
        disk.remove(live)?;
        let path = folder.join(format!("{stem}{WHOLE}"));
        return Ok(Recovered { path, messages: 0, cut_bytes: 0, error: None });
    }
    let finished = finish_now(disk, folder, stem, 0)?;
    let kept = finished.damaged.as_ref().map(|(kept, _)| kept.clone());
    let damage = finished.damaged.map(|(kept, found)| format!("{found}; it is kept as {}", kept.display()));
    let left = finished.left.map(|error| format!("{}: cannot be removed: {error}", live.display()));
    Ok(Recovered {
        path: finished.whole.or(kept).unwrap_or(live.to_owned()),
        messages: finished.messages,
        cut_bytes: finished.cut_bytes,
        error: damage.or(left),
    })
}

fn failed(path: PathBuf, error: &io::Error) -> Recovered {
    Recovered { path, messages: 0, cut_bytes: 0, error: Some(error.to_string()) }
}
