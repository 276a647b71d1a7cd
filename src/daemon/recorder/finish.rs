//! A live file made into a whole one: copied into a temporary file, synced, renamed, and only then removed. Whatever
//! fails or ends in between, the live file is still there or the whole one already is.

use std::io::{self, BufWriter, ErrorKind, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use super::disk::{Disk, DiskFile};
use super::names::{DAMAGED, LIVE, PART, WHOLE, rename_free};
use crate::engine::wire::mcap::{McapCopy, SourceEnd, same_messages};

/// The longest end of a live file that may be cut off, bytes: what the record may be long that was being written when
/// the program or the power ended. A longer rest that cannot be read is no record cut short but damage, and is kept.
const LONGEST_CUT_BYTES: u64 = 64 * 1024;

/// A live file that is being finished.
pub(super) struct Finish<D: Disk> {
    stem: String,
    live: PathBuf,
    part: PathBuf,
    length_bytes: u64,
    copy: McapCopy<D::File, BufWriter<D::File>>,
}

/// What became of a live file.
pub(super) struct Finished {
    /// The whole file; none if there was nothing in the live one.
    pub(super) whole: Option<PathBuf>,
    /// How many messages are in it.
    pub(super) messages: u64,
    /// How many bytes of the live file are not.
    pub(super) cut_bytes: u64,
    /// Where the live file is kept, and what is wrong with it.
    pub(super) damaged: Option<(PathBuf, String)>,
    /// The live file could not be removed.
    pub(super) left: Option<io::Error>,
}

impl<D: Disk> Finish<D> {
    /// Begins, if there is room for another file as long and `spare_bytes` beside it.
    pub(super) fn start(disk: &D, folder: &Path, stem: &str, spare_bytes: u64) -> io::Result<Self> {
        let (live, part) = (folder.join(format!("{stem}{LIVE}")), folder.join(format!("{stem}{PART}")));
        let mut source = disk.open(&live)?;
        let length_bytes = source.seek(SeekFrom::End(0))?;
        source.seek(SeekFrom::Start(0))?;
        // Where the room cannot be told, trying tells.
        let free_bytes = disk.free_bytes(folder).unwrap_or(u64::MAX);
        if free_bytes < length_bytes.saturating_add(spare_bytes) {
            return Err(ErrorKind::StorageFull.into());
        }
        let copied = disk.create_new(&part).and_then(|out| McapCopy::new(source, BufWriter::new(out)));
        match copied {
            Ok(copy) => Ok(Self { stem: stem.to_owned(), live, part, length_bytes, copy }),
            Err(error) => {
                let _ = disk.remove(&part);
                Err(error)
            }
        }
    }

    /// Copies some; false once all is copied.
    pub(super) fn step(&mut self, messages: usize) -> io::Result<bool> {
        self.copy.copy_some(messages)
    }

    /// Puts the whole file in place and removes the live one, once all is copied.
    pub(super) fn complete(self, disk: &D, folder: &Path) -> io::Result<Finished> {
        let part = self.part.clone();
        let placed = self.put_in_place(disk, folder);
        if placed.is_err() {
            // It would only be in the way of the next try; the next start removes it too.
            let _ = disk.remove(&part);
        }
        placed
    }

    fn put_in_place(self, disk: &D, folder: &Path) -> io::Result<Finished> {
        let Self { stem, live, part, length_bytes, copy } = self;
        let (messages, cut_bytes) = (copy.copied(), length_bytes.saturating_sub(copy.copied_bytes()));
        let damage = match copy.source_end() {
            Some(SourceEnd::Damaged(found)) => Some(found.clone()),
            Some(SourceEnd::Cut) if cut_bytes > LONGEST_CUT_BYTES => {
                Some(format!("its last {cut_bytes} bytes cannot be read"))
            }
            Some(_) => None,
            None => return Err(io::Error::other("it was not copied to its end")),
        };
        let mut out = copy.finish()?.into_inner().map_err(|error| error.into_error())?;
        out.sync_data()?;
        drop(out);
        let whole = if messages == 0 {
            disk.remove(&part)?;
            None
        } else {
            let whole = rename_free(disk, &part, folder, &stem, WHOLE)?;
            Some(whole)
        };
        // From here on the whole file counts. Should its name not outlast a loss of power, neither does the removal.
        let synced = disk.sync_folder(folder);
        let (damaged, left) = match damage {
            Some(found) => match rename_free(disk, &live, folder, &stem, DAMAGED) {
                Ok(kept) => (Some((kept, found)), None),
                Err(error) => (Some((live, found)), Some(error)),
            },
            None => (None, synced.and_then(|()| disk.remove(&live)).err()),
        };
        Ok(Finished { whole, messages, cut_bytes, damaged, left })
    }

    /// Leaves the live file as it is.
    pub(super) fn abandon(self, disk: &D) {
        let Self { part, copy, .. } = self;
        drop(copy);
        let _ = disk.remove(&part);
    }
}

/// Finishes a live file in one go.
pub(super) fn finish_now<D: Disk>(disk: &D, folder: &Path, stem: &str, spare_bytes: u64) -> io::Result<Finished> {
    let mut finish = Finish::start(disk, folder, stem, spare_bytes)?;
    loop {
        match finish.step(1024) {
            Ok(true) => {}
            Ok(false) => return finish.complete(disk, folder),
            Err(error) => {
                finish.abandon(disk);
                return Err(error);
            }
        }
    }
}

/// Whether the whole file of a live one is there already: the program ended before it removed the live one.
pub(super) fn is_finished_already<D: Disk>(disk: &D, folder: &Path, stem: &str) -> io::Result<bool> {
    match disk.open(&folder.join(format!("{stem}{WHOLE}"))) {
        Ok(whole) => same_messages(disk.open(&folder.join(format!("{stem}{LIVE}")))?, whole),
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(false),
        Err(error) => Err(error),
    }
}
