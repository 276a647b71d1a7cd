//! A recording without what one athlete did in it: what a sensor sent while they were at the plate is left out, and every
//! message that says so. All else goes over verbatim and in its order, as in [`McapCopy`](super::McapCopy).
//!
//! Left out while they are at the plate: samples, packets, and messages of schemas that are not this project's, of which
//! nobody knows what they hold. Left out everywhere: messages of who is at the plate that name them, or that cannot be
//! read. Kept everywhere: profile, device and link, without which what follows could not be read as it was; a profile's
//! text is not searched for names. Attachments and metadata outside of messages are never copied.
//!
//! To a reader of the new file what is missing is a gap in the sensor's count, or in the samples' times.

use std::io::{self, BufReader, Read, Seek, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use mcap::{McapError, Message};

use super::copy::{SourceEnd, io_error, reader};
use super::entries::{from_json, words_of};
use super::message::AtThePlate;
use super::writer::whole_file;
use super::{AT_THE_PLATE_SCHEMA, DEVICE_SCHEMA, LINK_SCHEMA, PACKET_SCHEMA, PROFILE_SCHEMA, SAMPLES_SCHEMA};

/// What became of a recording's messages.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cut {
    /// Messages that were copied.
    pub kept: u64,
    /// Messages that were left out.
    pub removed: u64,
    /// Of those that were copied, how many a sensor sent: packets, and messages of samples. With none, the new file has
    /// nothing to measure.
    pub kept_sent: u64,
    /// Of those that were left out, how many a sensor sent.
    pub removed_sent: u64,
    /// How the source ended. Of one that is cut short or damaged nothing behind that place is in the new file.
    pub source_end: SourceEnd,
}

impl Cut {
    /// Whether anything that a sensor sent is left.
    pub fn has_sent(&self) -> bool {
        self.kept_sent > 0
    }
}

/// What a message is, as far as a cut has to know.
enum Kind {
    /// A sensor sent it.
    Sent,
    /// Who is at the plate; `None` if it cannot be read.
    Plate(Option<Box<AtThePlate>>),
    /// Needed to read what follows, whoever is at the plate.
    Lasting,
    /// Not of this project.
    Other,
}

impl Kind {
    fn of(message: &Message<'_>) -> Self {
        match message.channel.schema.as_ref().map_or("", |schema| schema.name.as_str()) {
            SAMPLES_SCHEMA | PACKET_SCHEMA => Self::Sent,
            AT_THE_PLATE_SCHEMA => Self::Plate(match message.channel.message_encoding.as_str() {
                "json" => from_json(&message.data).ok(),
                _ => None,
            }),
            PROFILE_SCHEMA | DEVICE_SCHEMA | LINK_SCHEMA => Self::Lasting,
            _ => Self::Other,
        }
    }
}

/// Writes a whole file of what in `source` is not of the one whom `is_theirs` tells. What stands before the first message
/// of who is at the plate is theirs if `is_theirs_before` says so. Hands the output back.
///
/// # Errors
/// Of reading or writing. A source that is cut short or damaged, or is no MCAP, ends there, which
/// [`Cut::source_end`] tells.
pub fn copy_without<R: Read, W: Write + Seek>(
    source: R,
    out: W,
    is_theirs: &dyn Fn(&AtThePlate) -> bool,
    is_theirs_before: bool,
) -> io::Result<(W, Cut)> {
    let mut sieve = Sieve { is_theirs, at_the_plate: is_theirs_before };
    copy_sifted(source, out, |message| sieve.sees(message))
}

/// Writes a recording anew without a word on who was at the plate: all that the sensor sent stays.
///
/// # Errors
/// As [`copy_without`].
pub fn copy_without_names<R: Read, W: Write + Seek>(source: R, out: W) -> io::Result<(W, Cut)> {
    copy_sifted(source, out, |message| match Kind::of(message) {
        Kind::Sent => (false, true),
        Kind::Plate(_) => (true, false),
        Kind::Lasting | Kind::Other => (false, false),
    })
}

/// `sees` says of a message whether it is left out, and whether a sensor sent it.
fn copy_sifted<R: Read, W: Write + Seek>(
    source: R,
    out: W,
    mut sees: impl FnMut(&Message<'_>) -> (bool, bool),
) -> io::Result<(W, Cut)> {
    let is_unreadable = Arc::new(AtomicBool::new(false));
    let source = Watched { source: BufReader::new(source), failed: is_unreadable.clone() };
    let mut out = whole_file().create(out).map_err(io_error)?;
    let mut cut = Cut { kept: 0, removed: 0, kept_sent: 0, removed_sent: 0, source_end: SourceEnd::Whole };
    for message in reader(source) {
        match message {
            Ok(message) => {
                let (is_removed, is_sent) = sees(&message);
                if !is_removed {
                    out.write(&message).map_err(io_error)?;
                }
                cut.count(is_removed, is_sent);
            }
            // What the decompressor makes of a damaged chunk is an error of this kind, too.
            Err(McapError::Io(error)) if is_unreadable.load(Ordering::Relaxed) => return Err(error),
            Err(McapError::UnexpectedEof) => cut.source_end = SourceEnd::Cut,
            Err(other) => cut.source_end = SourceEnd::Damaged(words_of(&other)),
        }
        if cut.source_end != SourceEnd::Whole {
            break;
        }
    }
    out.finish().map_err(io_error)?;
    Ok((out.into_inner(), cut))
}

/// Who is at the plate, and so what is left out.
struct Sieve<'a> {
    is_theirs: &'a dyn Fn(&AtThePlate) -> bool,
    /// Whether they are at the plate.
    at_the_plate: bool,
}

impl Sieve<'_> {
    /// Whether the message is left out, and whether a sensor sent it.
    fn sees(&mut self, message: &Message<'_>) -> (bool, bool) {
        match Kind::of(message) {
            Kind::Sent => (self.at_the_plate, true),
            Kind::Plate(Some(context)) => {
                self.at_the_plate = (self.is_theirs)(&context);
                (self.at_the_plate, false)
            }
            Kind::Plate(None) => (true, false),
            Kind::Lasting => (false, false),
            Kind::Other => (self.at_the_plate, false),
        }
    }
}

/// Remembers whether the source could not be read.
struct Watched<R> {
    source: R,
    failed: Arc<AtomicBool>,
}

impl<R: Read> Read for Watched<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        self.source.read(buffer).inspect_err(|_| self.failed.store(true, Ordering::Relaxed))
    }
}

impl Cut {
    fn count(&mut self, is_removed: bool, is_sent: bool) {
        let (all, sent) = match is_removed {
            true => (&mut self.removed, &mut self.removed_sent),
            false => (&mut self.kept, &mut self.kept_sent),
        };
        *all += 1;
        *sent += u64::from(is_sent);
    }
}

#[cfg(test)]
mod tests;
