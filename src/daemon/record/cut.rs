//! A folder of recordings without one athlete. A file in which nothing else is left is removed, others are written anew:
//! into a temporary file, synced, renamed. Whatever ends in between, each file is as it was or as it should be, and doing it
//! again does the rest.

use super::steps::Steps;
use super::theirs::{Named, Theirs};
use crate::daemon::recorder::{Disk, SystemDisk};
use crate::engine::wire::mcap::{Entry, McapEntries, copy_without};
use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::{self, BufReader, BufWriter, ErrorKind, Read};
use std::path::{Path, PathBuf};

const WHOLE: &str = ".mcap";
const LIVE: &str = ".live.mcap";
/// As the recorder's: the next start removes what ends so.
const PART: &str = ".mcap.part";

/// What is to be done.
#[derive(Clone, Copy, Debug)]
pub struct Cutting<'a> {
    /// Where the recordings are.
    pub folder: &'a Path,
    /// Whose stretches are to go.
    pub theirs: &'a Theirs,
    /// Files that are theirs as a whole.
    pub whole: &'a [String],
    /// Whether somebody may be writing the live files.
    pub is_in_use: bool,
    /// Ends it in tests.
    pub steps: &'a Steps,
}

/// What was done.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct FilesCut {
    /// Files that are gone.
    pub removed: Vec<String>,
    /// Files that were written anew.
    pub rewritten: Vec<String>,
    /// By how much less is there now, bytes.
    pub bytes: u64,
    /// Files that are still being written; to be tried again.
    pub waiting: Vec<String>,
    /// Files that could not be read or written, and why; to be tried again.
    pub not_reached: Vec<String>,
    /// Files in which something of theirs may be left, and why; trying again does not help.
    pub ambiguous: Vec<String>,
}

impl FilesCut {
    /// Whether nothing is to be tried again.
    pub fn is_whole(&self) -> bool {
        self.waiting.is_empty() && self.not_reached.is_empty()
    }

    /// A file that fails keeps no other from being done. Interrupted is only what [`Steps`] end.
    fn past(&mut self, name: &str, tried: io::Result<()>) -> io::Result<()> {
        match tried {
            Err(error) if error.kind() == ErrorKind::Interrupted => Err(error),
            Err(error) if error.kind() == ErrorKind::NotFound => Ok(()),
            Err(error) => {
                self.not_reached.push(format!("{name}: {error}"));
                Ok(())
            }
            Ok(()) => Ok(()),
        }
    }
}

/// A folder without them.
///
/// # Errors
/// If the folder cannot be read. What was done until then stays done.
pub fn cut(cutting: &Cutting<'_>) -> io::Result<FilesCut> {
    let mut done = FilesCut::default();
    for name in cutting.whole {
        cutting.steps.next()?;
        let removed = remove(cutting.folder, name, &mut done);
        done.past(name, removed)?;
    }
    let mut seen = BTreeSet::new();
    // A live file may get its last name while others are looked at.
    loop {
        let new: Vec<String> = names(cutting.folder)?.into_iter().filter(|name| !seen.contains(name)).collect();
        if new.is_empty() {
            break;
        }
        for name in new {
            if name.ends_with(WHOLE) {
                let tried = cut_one(cutting, &name, &mut done);
                done.past(&name, tried)?;
            }
            seen.insert(name);
        }
    }
    if !(done.removed.is_empty() && done.rewritten.is_empty()) {
        SystemDisk.sync_folder(cutting.folder)?;
    }
    Ok(done)
}

/// The names in a folder, sorted; none if it is not there.
pub fn names(folder: &Path) -> io::Result<Vec<String>> {
    let mut names = match SystemDisk.list(folder) {
        Err(error) if error.kind() == ErrorKind::NotFound => Vec::new(),
        names => names?,
    };
    names.sort();
    Ok(names)
}

/// Removes a file and what describes it beside it; nothing if it is gone.
pub fn remove(folder: &Path, name: &str, done: &mut FilesCut) -> io::Result<()> {
    // A name out of the store is never a way out of the folder.
    let Some(name) = Path::new(name).file_name() else { return Ok(()) };
    let path = folder.join(name);
    for path in [path.with_extension("toml"), path.clone()] {
        let bytes = match fs::metadata(&path) {
            Err(error) if error.kind() == ErrorKind::NotFound => continue,
            metadata => metadata?.len(),
        };
        fs::remove_file(&path)?;
        done.bytes += bytes;
        done.removed.extend(path.file_name().map(|name| name.to_string_lossy().into_owned()));
    }
    Ok(())
}

fn cut_one(cutting: &Cutting<'_>, name: &str, done: &mut FilesCut) -> io::Result<()> {
    let path = cutting.folder.join(name);
    let found = named(&path, cutting.theirs)?;
    if found.may_be_named {
        done.ambiguous.push(format!("{name}: says only a nickname that another athlete has too"));
    }
    if !found.is_named {
        // A live one has no compressed parts: what is not found in its bytes is not in it.
        if !found.is_read && !name.ends_with(LIVE) {
            done.ambiguous.push(format!("{name}: cannot be read to its end, and what is behind may be of theirs"));
        }
        return Ok(());
    }
    if name.ends_with(LIVE) && cutting.is_in_use {
        done.waiting.push(name.to_owned());
        return Ok(());
    }
    let part = cutting.folder.join(format!("erasing-{}", name.replace(WHOLE, PART)));
    let is_theirs = |context: &_| cutting.theirs.are_at(context) == Named::Yes;
    let before = fs::metadata(&path)?.len();
    let (out, cut) = copy_without(File::open(&path)?, BufWriter::new(File::create(&part)?), &is_theirs, false)?;
    let file = out.into_inner().map_err(|error| error.into_error())?;
    file.sync_all()?;
    let after = file.metadata()?.len();
    drop(file);
    cutting.steps.next()?;
    if cut.has_sent() {
        put(&part, &path, cutting.is_in_use)?;
        done.bytes += before.saturating_sub(after);
        done.rewritten.push(name.to_owned());
    } else {
        fs::remove_file(&part)?;
        remove(cutting.folder, name, done)?;
    }
    Ok(())
}

/// Under the name of the old file; what was live is whole now, so that nobody goes on from it.
fn put(part: &Path, path: &Path, is_in_use: bool) -> io::Result<()> {
    let live = path.to_string_lossy().into_owned();
    let whole = live.strip_suffix(LIVE).map(|stem| PathBuf::from(format!("{stem}{WHOLE}")));
    match whole.filter(|whole| !is_in_use && !whole.exists()) {
        Some(whole) => {
            fs::rename(part, whole)?;
            fs::remove_file(path)
        }
        None => fs::rename(part, path),
    }
}

/// What a file says of them.
#[derive(Default)]
struct Found {
    /// It names them.
    is_named: bool,
    /// It says a nickname that is theirs and another's.
    may_be_named: bool,
    /// It was read to its end, and nothing in it was passed over.
    is_read: bool,
}

/// Whether a folder's recordings name them anywhere, or cannot tell. Stops at the first that does.
///
/// # Errors
/// If the folder or a file cannot be read.
pub fn is_named_in(folder: &Path, theirs: &Theirs) -> io::Result<bool> {
    for name in names(folder)?.into_iter().filter(|name| name.ends_with(WHOLE)) {
        let found = named(&folder.join(name), theirs)?;
        if found.is_named || found.may_be_named || !found.is_read {
            return Ok(true);
        }
    }
    Ok(false)
}

/// Whether they were at the plate anywhere in a file. In what cannot be read, their name is looked for.
fn named(path: &Path, theirs: &Theirs) -> io::Result<Found> {
    let mut entries = McapEntries::new(File::open(path)?);
    let mut found = Found::default();
    found.is_read = loop {
        match entries.next_entry() {
            Ok(Some(Entry::AtThePlate { context, .. })) => match theirs.are_at(&context) {
                Named::Yes => found.is_named = true,
                Named::Perhaps => found.may_be_named = true,
                Named::No => {}
            },
            Ok(Some(_)) => {}
            Ok(None) => break entries.issues().count() == 0,
            Err(_) => break false,
        }
    };
    found.is_named = found.is_named || !found.is_read && is_within(path, theirs)?;
    Ok(found)
}

/// So many bytes are looked through at once, those of a name before them again.
const WINDOW_BYTES: usize = 1 << 20;
const OVERLAP_BYTES: usize = 1024;

fn is_within(path: &Path, theirs: &Theirs) -> io::Result<bool> {
    let mut reader = BufReader::new(File::open(path)?);
    let mut window = Vec::new();
    loop {
        let read = reader.by_ref().take(WINDOW_BYTES as u64).read_to_end(&mut window)?;
        if theirs.are_within(&window) {
            return Ok(true);
        }
        if read == 0 {
            return Ok(false);
        }
        window.drain(..window.len().saturating_sub(OVERLAP_BYTES));
    }
}
