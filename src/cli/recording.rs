//! Recordings on disk: which kind a file is, and its samples with the profile they are to be read with.

use std::fs::File;
use std::io::{Chain, Cursor, Read};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use crate::engine::profile::{Profile, ProfileError, ProfileWarning};
use crate::engine::sample::{ClockSummary, Issue, IssueLog, Sample, SampleClock};
use crate::engine::wire::csv::CsvReader;
use crate::engine::wire::mcap::{MAGIC, McapReader, OtherEntries};
use crate::engine::wire::{SampleBatches, WireError};

/// How many samples a batch has, about.
pub const BATCH_SAMPLES: usize = 1024;

/// The longest profile that is read, bytes; one with a calibration has about 10 kB.
const LONGEST_PROFILE: u64 = 1024 * 1024;

/// A recording that cannot be read. Says which file, where, what was found and what was expected, in one line.
#[derive(Debug, thiserror::Error)]
pub enum RecordingError {
    /// The file could not be opened or read.
    #[error("{}: cannot be read: {cause}; expected a CSV or MCAP recording", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// Why.
        cause: std::io::Error,
    },
    /// The file is no recording.
    #[error("{}: {cause}", path.display())]
    Wire {
        /// The file.
        path: PathBuf,
        /// Why.
        cause: WireError,
    },
    /// The profile cannot be used.
    #[error("{}: {cause}", path.display())]
    Profile {
        /// The file it is in.
        path: PathBuf,
        /// Why.
        cause: ProfileError,
    },
    /// The profile's file is not one of text.
    #[error("{}: {found}; expected a TOML file of UTF-8 text", path.display())]
    ProfileText {
        /// The file.
        path: PathBuf,
        /// What was found.
        found: String,
    },
}

/// The bytes of a recording, from the start, and what kind they are of.
pub(super) enum Bytes {
    Csv(Source),
    Mcap(Source),
}

/// Bytes of which the first have been looked at, and how many have been read.
pub(super) struct Source {
    bytes: Chain<Cursor<Vec<u8>>, Box<dyn Read + Send>>,
    read: Arc<AtomicU64>,
}

impl Read for Source {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let count = self.bytes.read(buffer)?;
        self.read.fetch_add(count as u64, Ordering::Relaxed);
        Ok(count)
    }
}

/// Opens a file and tells its kind; what is not MCAP is taken for CSV.
pub(super) fn open_bytes(path: &Path) -> Result<Bytes, RecordingError> {
    let file = File::open(path).map_err(|cause| io_error(path, cause))?;
    told_apart(path, Box::new(file))
}

/// Tells by the first bytes which kind of recording they are of.
fn told_apart(path: &Path, mut bytes: Box<dyn Read + Send>) -> Result<Bytes, RecordingError> {
    let mut head = Vec::with_capacity(MAGIC.len());
    bytes.by_ref().take(MAGIC.len() as u64).read_to_end(&mut head).map_err(|cause| io_error(path, cause))?;
    let is_mcap = head == MAGIC;
    let source = Source { bytes: Cursor::new(head).chain(bytes), read: Arc::default() };
    Ok(if is_mcap { Bytes::Mcap(source) } else { Bytes::Csv(source) })
}

fn io_error(path: &Path, cause: std::io::Error) -> RecordingError {
    RecordingError::Io { path: path.into(), cause }
}

/// The text of the profile beside a CSV file, if there is one.
pub(super) fn profile_text_beside(csv: &Path) -> Result<Option<String>, RecordingError> {
    let path = csv.with_extension("toml");
    let file = match File::open(&path) {
        Ok(file) => file,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
        Err(cause) => return Err(RecordingError::Io { path, cause }),
    };
    let mut bytes = Vec::new();
    if let Err(cause) = file.take(LONGEST_PROFILE + 1).read_to_end(&mut bytes) {
        return Err(RecordingError::Io { path, cause });
    }
    if bytes.len() as u64 > LONGEST_PROFILE {
        return Err(RecordingError::ProfileText { path, found: format!("more than {LONGEST_PROFILE} bytes") });
    }
    match String::from_utf8(bytes) {
        Ok(text) => Ok(Some(text)),
        Err(error) => Err(RecordingError::ProfileText { path, found: error.utf8_error().to_string() }),
    }
}

/// A recording that is being read.
pub struct OpenRecording {
    path: PathBuf,
    profile: Profile,
    profile_path: PathBuf,
    warnings: Vec<ProfileWarning>,
    samples: Samples,
    /// Read when the recording was opened, so that one without any sample is an error there.
    first: Vec<Sample>,
    clock: SampleClock,
    /// Bytes read so far.
    read: Arc<AtomicU64>,
    /// Bytes in all, where that is known.
    length: Option<u64>,
}

enum Samples {
    Csv(Box<CsvReader<Source>>),
    Mcap(Box<McapReader<Source>>),
}

/// Opens a recording: CSV, with the profile NAME.toml beside it if there is one, or MCAP, with the profile in it.
pub fn open(path: &Path) -> Result<OpenRecording, RecordingError> {
    let bytes = open_bytes(path)?;
    let length = std::fs::metadata(path).ok().filter(|m| m.is_file());
    let mut recording = match bytes {
        Bytes::Csv(_) => opened(path, bytes, profile_text_beside(path)?)?,
        Bytes::Mcap(_) => opened(path, bytes, None)?,
    };
    recording.length = length.map(|m| m.len());
    Ok(recording)
}

/// A recording from anything that can be read, with the profile that is to go with it if it is CSV. `name` stands for it
/// in messages.
pub fn from_reader(
    name: &Path,
    reader: impl Read + Send + 'static,
    profile_toml: Option<&str>,
) -> Result<OpenRecording, RecordingError> {
    let bytes = told_apart(name, Box::new(reader))?;
    opened(name, bytes, profile_toml.map(str::to_owned))
}

fn opened(path: &Path, bytes: Bytes, beside: Option<String>) -> Result<OpenRecording, RecordingError> {
    let wire_error = |cause| RecordingError::Wire { path: path.into(), cause };
    let read = match &bytes {
        Bytes::Csv(source) | Bytes::Mcap(source) => Arc::clone(&source.read),
    };
    let (samples, text, profile_path) = match bytes {
        Bytes::Csv(source) => {
            let reader = CsvReader::new(source).map_err(wire_error)?;
            let samples = Samples::Csv(Box::new(reader));
            (samples, beside, path.with_extension("toml"))
        }
        Bytes::Mcap(source) => {
            let reader = McapReader::new(source).map_err(wire_error)?;
            let text = reader.profile_toml().map(str::to_owned);
            (Samples::Mcap(Box::new(reader)), text, path.to_owned())
        }
    };
    let (profile, warnings) = Profile::parse(text.as_deref().unwrap_or(""))
        .map_err(|cause| RecordingError::Profile { path: profile_path.clone(), cause })?;
    let mut recording = OpenRecording {
        path: path.into(),
        profile,
        profile_path,
        warnings,
        samples,
        first: Vec::new(),
        clock: SampleClock::new(),
        read,
        length: None,
    };
    let mut first = Vec::new();
    recording.read_batch(&mut first)?;
    recording.first = first;
    Ok(recording)
}

impl OpenRecording {
    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// What its samples are to be read with.
    pub fn profile(&self) -> &Profile {
        &self.profile
    }

    /// What is unusual in the profile, a line each.
    pub fn profile_warnings(&self) -> impl Iterator<Item = String> {
        self.warnings.iter().map(|warning| format!("{}: {warning}", self.profile_path.display()))
    }

    /// Replaces what is in `batch` by the next samples; `false` once there are no more.
    pub fn read_batch(&mut self, batch: &mut Vec<Sample>) -> Result<bool, RecordingError> {
        if !self.first.is_empty() {
            batch.clear();
            batch.append(&mut self.first);
            return Ok(true);
        }
        let batches: &mut dyn SampleBatches = match &mut self.samples {
            Samples::Csv(reader) => reader.as_mut(),
            Samples::Mcap(reader) => reader.as_mut(),
        };
        let more = batches
            .read_batch(batch, BATCH_SAMPLES)
            .map_err(|cause| RecordingError::Wire { path: self.path.clone(), cause })?;
        batch.iter().for_each(|sample| self.clock.push(sample.time));
        Ok(more)
    }

    /// Samples, rate and gaps of what has been read so far (at least the first batch).
    pub fn clock(&self) -> ClockSummary {
        self.clock.summary()
    }

    /// Which share of the file has been read, 0 to 1; `None` if its size is unknown.
    pub fn share_read(&self) -> Option<f64> {
        let read = self.read.load(Ordering::Relaxed) as f64;
        self.length.map(|length| read / length.max(1) as f64)
    }

    /// What could not be used so far.
    pub fn issues(&self) -> &IssueLog {
        match &self.samples {
            Samples::Csv(reader) => reader.issues(),
            Samples::Mcap(reader) => reader.issues(),
        }
    }

    /// How many entries that are no samples have been read so far.
    pub fn others(&self) -> OtherEntries {
        match &self.samples {
            Samples::Csv(_) => OtherEntries::default(),
            Samples::Mcap(reader) => reader.others(),
        }
    }

    /// Lines for people about what could not be used so far: the first few, and how many more there are.
    pub fn issue_lines(&self) -> Vec<String> {
        issue_lines(&self.path, self.issues(), matches!(self.samples, Samples::Mcap(_)))
    }
}

/// How many issues are told one by one.
const TOLD_ISSUES: usize = 10;

/// Lines for people about what could not be used in a file.
pub(super) fn issue_lines(path: &Path, issues: &IssueLog, of_mcap: bool) -> Vec<String> {
    let place = if of_mcap { "record" } else { "line" };
    let line = |issue: &Issue| format!("{}: {place} {}: {}", path.display(), issue.line, issue.kind);
    let mut lines: Vec<_> = issues.kept().iter().take(TOLD_ISSUES).map(line).collect();
    let more = issues.count().saturating_sub(lines.len() as u64);
    if more > 0 {
        lines.push(format!("{}: {more} more of the kind", path.display()));
    }
    lines
}

#[cfg(test)]
mod tests;
