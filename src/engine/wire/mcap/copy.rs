//! A file that was written live to one that is whole: chunks, compression, index. Messages go over verbatim, whatever
//! is in them and whoever wrote them, as a recording's first duty is to keep what was received.

use std::io::{self, BufReader, Read, Seek, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use mcap::sans_io::LinearReaderOptions;
use mcap::{McapError, Message};

use super::entries::{LONGEST_RECORD, words_of};
use super::writer::whole_file;

/// How the file that is copied ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SourceEnd {
    /// As a finished file does.
    Whole,
    /// Without an end, as a live file does, perhaps within a record.
    Cut,
    /// Something in it is not MCAP, or contradicts what stands before it; in words.
    Damaged(String),
}

/// Copies some messages at a time, so that whoever has other things to do can do them in between.
pub struct McapCopy<R: Read, W: Write + Seek> {
    messages: mcap::io::MessageReader<Counted<BufReader<R>>>,
    /// How many bytes the reader of messages has asked for. It asks for no byte beyond the record it is at.
    asked_bytes: Arc<AtomicU64>,
    out: mcap::Writer<W>,
    copied: u64,
    copied_bytes: u64,
    ended: Option<SourceEnd>,
}

impl<R: Read, W: Write + Seek> McapCopy<R, W> {
    /// Writes the head of the new file.
    pub fn new(source: R, out: W) -> io::Result<Self> {
        let asked_bytes = Arc::new(AtomicU64::new(0));
        let source = Counted { source: BufReader::new(source), bytes: asked_bytes.clone() };
        let out = whole_file().create(out).map_err(io_error)?;
        Ok(Self { messages: reader(source), asked_bytes, out, copied: 0, copied_bytes: 0, ended: None })
    }

    /// Copies up to so many messages; false once there are no more. An error is one of reading or writing: a source that
    /// is cut or damaged ends there, which [`source_end`](Self::source_end) tells.
    pub fn copy_some(&mut self, most: usize) -> io::Result<bool> {
        for _ in 0..most {
            if self.ended.is_some() {
                return Ok(false);
            }
            self.copy_next()?;
        }
        Ok(self.ended.is_none())
    }

    fn copy_next(&mut self) -> io::Result<()> {
        let copied = match self.messages.next() {
            None => {
                self.ended = Some(SourceEnd::Whole);
                return Ok(());
            }
            Some(Ok(message)) => self.out.write(&message),
            Some(Err(error)) => Err(error),
        };
        match copied {
            Ok(()) => {
                self.copied += 1;
                self.copied_bytes = self.asked_bytes.load(Ordering::Relaxed);
            }
            Err(McapError::Io(error)) => return Err(error),
            Err(McapError::UnexpectedEof) => self.ended = Some(SourceEnd::Cut),
            Err(other) => self.ended = Some(SourceEnd::Damaged(words_of(&other))),
        }
        Ok(())
    }

    /// How many messages were copied.
    pub fn copied(&self) -> u64 {
        self.copied
    }

    /// Where in the source the last copied message ends, bytes.
    pub fn copied_bytes(&self) -> u64 {
        self.copied_bytes
    }

    /// How the source ended; `None` as long as it has not.
    pub fn source_end(&self) -> Option<&SourceEnd> {
        self.ended.as_ref()
    }

    /// Writes the index and the end, and hands the output back.
    pub fn finish(mut self) -> io::Result<W> {
        self.out.finish().map_err(io_error)?;
        Ok(self.out.into_inner())
    }
}

/// Whether two files hold the same messages in the same order, wherever and however they end.
pub fn same_messages(one: impl Read, other: impl Read) -> io::Result<bool> {
    let (mut ones, mut others) = (reader(BufReader::new(one)), reader(BufReader::new(other)));
    loop {
        match (next_message(&mut ones)?, next_message(&mut others)?) {
            (None, None) => return Ok(true),
            (Some(a), Some(b)) if a == b => {}
            _ => return Ok(false),
        }
    }
}

fn next_message(
    messages: &mut impl Iterator<Item = Result<Message<'static>, McapError>>,
) -> io::Result<Option<Message<'static>>> {
    match messages.next() {
        Some(Err(McapError::Io(error))) => Err(error),
        Some(Err(_)) | None => Ok(None),
        Some(Ok(message)) => Ok(Some(message)),
    }
}

pub(super) fn reader<R: Read>(source: R) -> mcap::io::MessageReader<R> {
    let options =
        LinearReaderOptions::default().with_prevalidate_chunk_crcs(true).with_record_length_limit(LONGEST_RECORD);
    mcap::io::MessageReader::new_with_options(source, options)
}

pub(super) fn io_error(error: McapError) -> io::Error {
    match error {
        McapError::Io(error) => error,
        other => io::Error::other(words_of(&other)),
    }
}

struct Counted<R> {
    source: R,
    bytes: Arc<AtomicU64>,
}

impl<R: Read> Read for Counted<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.source.read(buffer)?;
        self.bytes.fetch_add(count as u64, Ordering::Relaxed);
        Ok(count)
    }
}
