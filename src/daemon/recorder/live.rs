//! A file while it is written: one call to the operating system an entry, so that the end of this program harms nothing
//! that was counted as written.

use std::io::{self, ErrorKind, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use super::disk::{Disk, DiskFile};
use super::names;
use crate::engine::wire::mcap::{Entry, McapWriter};

/// An open live file.
pub(super) struct LiveFile<F> {
    pub(super) stem: String,
    pub(super) path: PathBuf,
    file: F,
    writer: McapWriter<Pending>,
    pending: Pending,
    /// How long it is.
    pub(super) bytes: u64,
    /// The last entry in it; none if it holds no more than its preamble.
    pub(super) last: Option<u64>,
    /// Whether something in it may not outlast a loss of power.
    pub(super) is_unsynced: bool,
}

/// Why an entry is not in the file.
pub(super) enum AppendError {
    /// It cannot be written down at all; the file goes on.
    Entry(String),
    /// The file cannot be written on; what was written before it is in it.
    Disk(io::Error),
}

impl<F: DiskFile> LiveFile<F> {
    /// A new file that begins with the preamble. If it cannot be had whole, no file is left, as far as that can be
    /// done.
    pub(super) fn create<'a, D: Disk<File = F>>(
        disk: &D,
        folder: &Path,
        sensor: &str,
        utc_ns: i64,
        preamble: impl Iterator<Item = &'a Entry>,
    ) -> io::Result<Self> {
        disk.create_folder(folder)?;
        let (stem, file) = names::create_live(disk, folder, &names::stem(sensor, utc_ns))?;
        let path = folder.join(format!("{stem}{}", names::LIVE));
        let begun = Self::begin(file, stem, path.clone(), sensor, preamble);
        let begun = begun.and_then(|live| disk.sync_folder(folder).map(|()| live));
        if begun.is_err() {
            // The error that is told is the one that matters; should the file stay, the next start finds it.
            let _ = disk.remove(&path);
        }
        begun
    }

    fn begin<'a>(
        file: F,
        stem: String,
        path: PathBuf,
        sensor: &str,
        preamble: impl Iterator<Item = &'a Entry>,
    ) -> io::Result<Self> {
        let pending = Pending::default();
        let writer = McapWriter::live(pending.clone(), sensor).map_err(io::Error::other)?;
        let mut live = Self { stem, path, file, writer, pending, bytes: 0, last: None, is_unsynced: true };
        for entry in preamble {
            live.writer.write_entry(entry).map_err(io::Error::other)?;
        }
        live.write_out()?;
        Ok(live)
    }

    /// Writes an entry; how many bytes it took.
    pub(super) fn append(&mut self, index: u64, entry: &Entry) -> Result<u64, AppendError> {
        if let Err(error) = self.writer.write_entry(entry) {
            self.pending.take();
            return Err(AppendError::Entry(error.to_string()));
        }
        let bytes = self.write_out().map_err(AppendError::Disk)?;
        self.last = Some(index);
        self.is_unsynced = true;
        Ok(bytes)
    }

    fn write_out(&mut self) -> io::Result<u64> {
        let bytes = self.pending.take();
        self.file.write_all(&bytes)?;
        self.file.flush()?;
        let count = bytes.len() as u64;
        self.pending.give_back(bytes);
        self.bytes += count;
        Ok(count)
    }

    /// Makes everything in it outlast a loss of power.
    pub(super) fn sync(&mut self) -> io::Result<()> {
        self.file.sync_data()?;
        self.is_unsynced = false;
        Ok(())
    }
}

/// Where the MCAP writer writes to: memory, from which each message goes to the file in one piece.
#[derive(Clone, Default)]
struct Pending(Arc<Mutex<Bytes>>);

#[derive(Default)]
struct Bytes {
    bytes: Vec<u8>,
    /// How many there were in all.
    position: u64,
}

impl Pending {
    fn with<T>(&self, change: impl FnOnce(&mut Bytes) -> T) -> T {
        change(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }

    fn take(&self) -> Vec<u8> {
        self.with(|pending| std::mem::take(&mut pending.bytes))
    }

    /// So that not every message needs new memory.
    fn give_back(&self, mut bytes: Vec<u8>) {
        bytes.clear();
        self.with(|pending| pending.bytes = bytes);
    }
}

impl Write for Pending {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.with(|pending| {
            pending.bytes.extend_from_slice(bytes);
            pending.position += bytes.len() as u64;
        });
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Only to tell where it is: a file without chunks is never written at another place.
impl Seek for Pending {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        match to {
            SeekFrom::Current(0) => Ok(self.with(|pending| pending.position)),
            _ => Err(ErrorKind::Unsupported.into()),
        }
    }
}
