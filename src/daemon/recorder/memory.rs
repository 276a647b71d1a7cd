//! A disk in memory that fails on purpose: for tests of the recorder, and of what uses one.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, ErrorKind, Read, Seek, SeekFrom, Write};
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};

use super::disk::{Disk, DiskFile};

/// A disk in memory; clones are the same disk. Each call to it or to a file of it is one operation.
#[derive(Clone, Default)]
pub struct MemoryDisk {
    shared: Arc<Shared>,
}

#[derive(Default)]
struct Shared {
    state: Mutex<State>,
    changed: Condvar,
}

#[derive(Default)]
struct State {
    names: BTreeMap<PathBuf, u64>,
    /// As a loss of power leaves them if nothing that was not synced lasts; and if removals do.
    synced_names: BTreeMap<PathBuf, u64>,
    synced_and_not_removed: BTreeMap<PathBuf, u64>,
    files: BTreeMap<u64, Contents>,
    folders: BTreeSet<PathBuf>,
    next_file: u64,
    operations: u64,
    failing: Vec<(Range<u64>, ErrorKind)>,
    capacity_bytes: Option<u64>,
    is_read_only: bool,
    is_never_synced: bool,
    is_stuck: bool,
    /// How many calls wait for it to be unstuck.
    waiting: usize,
}

#[derive(Clone, Default)]
struct Contents {
    bytes: Vec<u8>,
    synced: Vec<u8>,
}

impl MemoryDisk {
    /// Empty, endless and without fault.
    pub fn new() -> Self {
        Self::default()
    }

    /// How many operations there were.
    pub fn operations(&self) -> u64 {
        self.state().operations
    }

    /// Lets the operations of these numbers (the first is 0) fail; one that writes half of it first.
    pub fn fail(&self, operations: Range<u64>, kind: ErrorKind) {
        self.state().failing.push((operations, kind));
    }

    /// Lets nothing fail any more.
    pub fn heal(&self) {
        let mut state = self.state();
        (state.failing, state.capacity_bytes) = (Vec::new(), None);
        (state.is_read_only, state.is_never_synced) = (false, false);
    }

    /// How many bytes all files together may have; `None` for any.
    pub fn limit(&self, capacity_bytes: Option<u64>) {
        self.state().capacity_bytes = capacity_bytes;
    }

    /// Whether everything that changes something fails.
    pub fn make_read_only(&self, is_read_only: bool) {
        self.state().is_read_only = is_read_only;
    }

    /// Whether syncing a file fails.
    pub fn make_never_synced(&self, is_never_synced: bool) {
        self.state().is_never_synced = is_never_synced;
    }

    /// Whether operations wait until this is taken back.
    pub fn make_stuck(&self, is_stuck: bool) {
        self.state().is_stuck = is_stuck;
        self.shared.changed.notify_all();
    }

    /// Waits until an operation waits.
    pub fn wait_until_stuck(&self) {
        let mut state = self.state();
        while state.waiting == 0 {
            state = self.shared.changed.wait(state).unwrap_or_else(PoisonError::into_inner);
        }
    }

    /// All files as they are: what the end of the program leaves.
    pub fn contents(&self) -> BTreeMap<PathBuf, Vec<u8>> {
        let state = self.state();
        let bytes = |file: &u64| state.files.get(file).map(|contents| contents.bytes.clone()).unwrap_or_default();
        state.names.iter().map(|(path, file)| (path.clone(), bytes(file))).collect()
    }

    /// Another disk with what a loss of power now would leave at worst: only what was synced, and of names that were
    /// removed since, all or none.
    pub fn after_power_loss(&self, removals_last: bool) -> Self {
        let state = self.state();
        let left = Self::new();
        for (path, file) in if removals_last { &state.synced_and_not_removed } else { &state.synced_names } {
            left.put(path, state.files.get(file).map(|contents| contents.synced.clone()).unwrap_or_default());
        }
        left
    }

    /// Puts a file there, synced.
    pub fn put(&self, path: &Path, bytes: Vec<u8>) {
        let mut state = self.state();
        let file = state.next_file;
        state.next_file += 1;
        state.files.insert(file, Contents { synced: bytes.clone(), bytes });
        state.names.insert(path.to_owned(), file);
        state.synced_names.insert(path.to_owned(), file);
        state.synced_and_not_removed.insert(path.to_owned(), file);
        if let Some(folder) = path.parent() {
            state.folders.insert(folder.to_owned());
        }
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.shared.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Begins an operation: waits while stuck, and tells whether it is to fail.
    fn begin(&self, changes: bool) -> (MutexGuard<'_, State>, io::Result<()>) {
        let mut state = self.state();
        while state.is_stuck {
            state.waiting += 1;
            self.shared.changed.notify_all();
            state = self.shared.changed.wait(state).unwrap_or_else(PoisonError::into_inner);
            state.waiting -= 1;
        }
        let number = state.operations;
        state.operations += 1;
        let failing = state.failing.iter().find(|(operations, _)| operations.contains(&number));
        let result = match failing {
            Some(&(_, kind)) => Err(kind.into()),
            None if changes && state.is_read_only => Err(ErrorKind::ReadOnlyFilesystem.into()),
            None => Ok(()),
        };
        (state, result)
    }

    fn operate<T>(&self, changes: bool, operation: impl FnOnce(&mut State) -> io::Result<T>) -> io::Result<T> {
        let (mut state, result) = self.begin(changes);
        result.and_then(|()| operation(&mut state))
    }
}

impl State {
    fn named(&self, path: &Path) -> io::Result<u64> {
        self.names.get(path).copied().ok_or(ErrorKind::NotFound.into())
    }

    fn free_bytes(&self) -> u64 {
        let used: u64 =
            self.names.values().filter_map(|file| self.files.get(file)).map(|file| file.bytes.len() as u64).sum();
        self.capacity_bytes.map_or(u64::MAX, |capacity| capacity.saturating_sub(used))
    }

    /// Writes as many of the bytes as there is room for; how many.
    fn write(&mut self, file: u64, at: usize, bytes: &[u8]) -> io::Result<usize> {
        let free_bytes = usize::try_from(self.free_bytes()).unwrap_or(usize::MAX);
        let contents = &mut self.files.get_mut(&file).ok_or(ErrorKind::NotFound)?.bytes;
        let room = contents.len().saturating_sub(at).saturating_add(free_bytes);
        let count = bytes.len().min(room);
        if count == 0 && !bytes.is_empty() {
            return Err(ErrorKind::StorageFull.into());
        }
        let end = at + count;
        if contents.len() < end {
            contents.resize(end, 0);
        }
        if let (Some(place), Some(bytes)) = (contents.get_mut(at..end), bytes.get(..count)) {
            place.copy_from_slice(bytes);
        }
        Ok(count)
    }
}

impl Disk for MemoryDisk {
    type File = MemoryFile;

    fn create_new(&self, path: &Path) -> io::Result<MemoryFile> {
        let file = self.operate(true, |state| {
            if state.names.contains_key(path) {
                return Err(ErrorKind::AlreadyExists.into());
            }
            if !path.parent().is_some_and(|folder| state.folders.contains(folder)) {
                return Err(ErrorKind::NotFound.into());
            }
            let file = state.next_file;
            state.next_file += 1;
            state.files.insert(file, Contents::default());
            state.names.insert(path.to_owned(), file);
            Ok(file)
        })?;
        Ok(MemoryFile { disk: self.clone(), file, at: 0 })
    }

    fn open(&self, path: &Path) -> io::Result<MemoryFile> {
        let file = self.operate(false, |state| state.named(path))?;
        Ok(MemoryFile { disk: self.clone(), file, at: 0 })
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.operate(true, |state| {
            let file = state.named(from)?;
            if state.names.contains_key(to) {
                return Err(ErrorKind::AlreadyExists.into());
            }
            state.names.remove(from);
            state.names.insert(to.to_owned(), file);
            Ok(())
        })
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        self.operate(true, |state| {
            state.synced_and_not_removed.remove(path);
            state.names.remove(path).map(|_| ()).ok_or(ErrorKind::NotFound.into())
        })
    }

    fn list(&self, folder: &Path) -> io::Result<Vec<String>> {
        self.operate(false, |state| {
            if !state.folders.contains(folder) {
                return Err(ErrorKind::NotFound.into());
            }
            let names = state.names.keys().filter(|path| path.parent() == Some(folder));
            Ok(names.filter_map(|path| Some(path.file_name()?.to_str()?.to_owned())).collect())
        })
    }

    fn create_folder(&self, folder: &Path) -> io::Result<()> {
        self.operate(true, |state| {
            state.folders.insert(folder.to_owned());
            Ok(())
        })
    }

    fn free_bytes(&self, _folder: &Path) -> io::Result<u64> {
        self.operate(false, |state| Ok(state.free_bytes()))
    }

    fn sync_folder(&self, folder: &Path) -> io::Result<()> {
        self.operate(false, |state| {
            state.synced_names.retain(|path, _| path.parent() != Some(folder));
            let names = state.names.iter().filter(|(path, _)| path.parent() == Some(folder));
            state.synced_names.extend(names.map(|(path, file)| (path.clone(), *file)));
            state.synced_and_not_removed = state.synced_names.clone();
            Ok(())
        })
    }
}

/// An open file of a [`MemoryDisk`].
pub struct MemoryFile {
    disk: MemoryDisk,
    file: u64,
    at: usize,
}

impl Read for MemoryFile {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let (file, at) = (self.file, self.at);
        let count = self.disk.operate(false, |state| {
            let contents = state.files.get(&file).ok_or(ErrorKind::NotFound)?;
            contents.bytes.get(at..).unwrap_or_default().read(buffer)
        })?;
        self.at += count;
        Ok(count)
    }
}

impl Write for MemoryFile {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let (mut state, result) = self.disk.begin(true);
        if let Err(error) = result {
            // What is interrupted has written nothing, by the contract of `Write`.
            if !matches!(error.kind(), ErrorKind::ReadOnlyFilesystem | ErrorKind::Interrupted) {
                let half = bytes.get(..bytes.len() / 2).unwrap_or_default();
                self.at += state.write(self.file, self.at, half).unwrap_or(0);
            }
            return Err(error);
        }
        let count = state.write(self.file, self.at, bytes)?;
        self.at += count;
        Ok(count)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Seek for MemoryFile {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let length = self.disk.operate(false, |state| {
            state.files.get(&self.file).map(|contents| contents.bytes.len()).ok_or(ErrorKind::NotFound.into())
        })?;
        let at = match to {
            SeekFrom::Start(at) => usize::try_from(at).ok(),
            SeekFrom::End(by) => isize::try_from(by).ok().and_then(|by| length.checked_add_signed(by)),
            SeekFrom::Current(by) => isize::try_from(by).ok().and_then(|by| self.at.checked_add_signed(by)),
        };
        self.at = at.ok_or(ErrorKind::InvalidInput)?;
        Ok(self.at as u64)
    }
}

impl DiskFile for MemoryFile {
    fn sync_data(&mut self) -> io::Result<()> {
        self.disk.operate(true, |state| {
            if state.is_never_synced {
                return Err(ErrorKind::Other.into());
            }
            let contents = state.files.get_mut(&self.file).ok_or(ErrorKind::NotFound)?;
            contents.synced = contents.bytes.clone();
            Ok(())
        })
    }
}
