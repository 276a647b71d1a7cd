//! What the recorder needs of a disk, and the real one.

use std::fs::{self, File, OpenOptions};
use std::io::{self, ErrorKind, Read, Seek, Write};
use std::path::Path;

/// A folder's worth of file system. Tests have one that fails on purpose: [`super::memory::MemoryDisk`].
pub trait Disk: Send + 'static {
    /// An open file.
    type File: DiskFile;

    /// A new file to be written; `AlreadyExists` if one of that name is there.
    fn create_new(&self, path: &Path) -> io::Result<Self::File>;

    /// A file to be read.
    fn open(&self, path: &Path) -> io::Result<Self::File>;

    /// Gives a file another name in its folder; `AlreadyExists` if one of that name is there.
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()>;

    /// Removes a file.
    fn remove(&self, path: &Path) -> io::Result<()>;

    /// The names of the files in a folder.
    fn list(&self, folder: &Path) -> io::Result<Vec<String>>;

    /// Makes a folder and those above it; nothing if it is there.
    fn create_folder(&self, folder: &Path) -> io::Result<()>;

    /// How many bytes this program may still write there.
    fn free_bytes(&self, folder: &Path) -> io::Result<u64>;

    /// Makes the names in a folder outlast a loss of power.
    fn sync_folder(&self, folder: &Path) -> io::Result<()>;
}

/// An open file.
pub trait DiskFile: Read + Write + Seek + Send {
    /// Makes what was written outlast a loss of power.
    fn sync_data(&mut self) -> io::Result<()>;
}

/// The operating system's.
#[derive(Clone, Copy, Debug, Default)]
pub struct SystemDisk;

impl Disk for SystemDisk {
    type File = File;

    fn create_new(&self, path: &Path) -> io::Result<File> {
        OpenOptions::new().write(true).create_new(true).open(path)
    }

    fn open(&self, path: &Path) -> io::Result<File> {
        File::open(path)
    }

    // Between the look and the renaming someone else may take the name. Nobody does: one program at a time records into
    // a folder. A hard link would leave no such gap, but not every file system has them.
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        if to.try_exists()? {
            return Err(ErrorKind::AlreadyExists.into());
        }
        fs::rename(from, to)
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        fs::remove_file(path)
    }

    fn list(&self, folder: &Path) -> io::Result<Vec<String>> {
        let names = fs::read_dir(folder)?.map(|entry| Ok(entry?.file_name().into_string().ok()));
        names.filter_map(Result::transpose).collect()
    }

    fn create_folder(&self, folder: &Path) -> io::Result<()> {
        fs::create_dir_all(folder)
    }

    fn free_bytes(&self, folder: &Path) -> io::Result<u64> {
        fs4::available_space(folder)
    }

    #[cfg(unix)]
    fn sync_folder(&self, folder: &Path) -> io::Result<()> {
        or_not_supported(File::open(folder)?.sync_all())
    }

    // Elsewhere a folder cannot be opened as a file; NTFS keeps names in its journal (from memory).
    #[cfg(not(unix))]
    fn sync_folder(&self, _folder: &Path) -> io::Result<()> {
        Ok(())
    }
}

impl DiskFile for File {
    fn sync_data(&mut self) -> io::Result<()> {
        or_not_supported(File::sync_data(self))
    }
}

/// A file system that cannot sync at all says so this way (fsync(2), EINVAL); that is no failure of this recording.
fn or_not_supported(synced: io::Result<()>) -> io::Result<()> {
    match synced {
        Err(error) if matches!(error.kind(), ErrorKind::InvalidInput | ErrorKind::Unsupported) => Ok(()),
        other => other,
    }
}
