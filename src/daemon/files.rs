//! Recordings on disk: which kind a file is, and its samples with the profile they are to be read with.

use std::collections::VecDeque;
use std::fs::File;
use std::io::{Chain, Cursor, Read};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use crate::engine::device::Device;
use crate::engine::intake::{Arrival, Intake};
use crate::engine::profile::{Profile, ProfileError, ProfileWarning};
use crate::engine::sample::{ClockSummary, Issue, IssueKind, IssueLog, Sample, SampleClock};
use crate::engine::wire::csv::CsvReader;
use crate::engine::wire::mcap::{Entry, MAGIC, McapEntries, sensor_time_ns};
use crate::engine::wire::{SampleBatches, WireError};

/// How many samples a batch has, about.
pub const BATCH_SAMPLES: usize = 1024;

/// So many entries are looked at for the first sample when a recording is opened; one that has none among them is read on
/// as it comes.
const MOST_BEFORE_SAMPLES: usize = 4096;

/// The longest profile that is read, bytes; one with a calibration has about 10 kB.
pub const LONGEST_PROFILE: u64 = 1024 * 1024;

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
enum Bytes {
    Csv(Source),
    Mcap(Source),
}

/// Bytes of which the first have been looked at, and how many have been read.
pub(crate) struct Source {
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

/// Opens a file, which messages call `name`, and tells its kind; what is not MCAP is taken for CSV.
fn open_bytes(path: &Path, name: &Path) -> Result<Bytes, RecordingError> {
    let file = File::open(path).map_err(|cause| io_error(name, cause))?;
    told_apart(name, Box::new(file))
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

/// The text of the profile beside a CSV file, which messages call `name`, if there is one.
fn profile_text_beside(csv: &Path, name: &Path) -> Result<Option<String>, RecordingError> {
    let path = name.with_extension("toml");
    let file = match File::open(csv.with_extension("toml")) {
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

/// A recording of either kind as the entries of one.
pub(crate) enum EntrySource {
    /// Rows, with the text of the profile beside them, which comes first.
    Csv { profile_toml: Option<String>, reader: Box<CsvReader<Source>> },
    /// Messages.
    Mcap(Box<McapEntries<Source>>),
}

impl EntrySource {
    /// From a file.
    pub(crate) fn open(path: &Path) -> Result<Self, RecordingError> {
        let bytes = open_bytes(path, path)?;
        let beside = match bytes {
            Bytes::Csv(_) => profile_text_beside(path, path)?,
            Bytes::Mcap(_) => None,
        };
        Self::of(path, bytes, beside)
    }

    fn of(path: &Path, bytes: Bytes, profile_toml: Option<String>) -> Result<Self, RecordingError> {
        Ok(match bytes {
            Bytes::Mcap(source) => Self::Mcap(Box::new(McapEntries::new(source))),
            Bytes::Csv(source) => {
                let reader = CsvReader::new(source).map_err(|cause| wire_error(path, cause))?;
                Self::Csv { profile_toml, reader: Box::new(reader) }
            }
        })
    }

    /// The next entry; `None` at the end.
    pub(crate) fn next_entry(&mut self) -> Result<Option<Entry>, WireError> {
        match self {
            Self::Mcap(entries) => entries.next_entry(),
            Self::Csv { profile_toml, reader } => {
                if let Some(toml) = profile_toml.take() {
                    return Ok(Some(Entry::Profile { log_time_ns: 0, toml }));
                }
                let mut samples = Vec::new();
                let more = reader.read_batch(&mut samples, BATCH_SAMPLES)?;
                let log_time_ns = samples.last().map_or(0, |sample| sensor_time_ns(sample.time));
                Ok(more.then_some(Entry::Samples { log_time_ns, samples }))
            }
        }
    }

    /// What could not be used so far.
    pub(crate) fn issues(&self) -> &IssueLog {
        match self {
            Self::Mcap(entries) => entries.issues(),
            Self::Csv { reader, .. } => reader.issues(),
        }
    }

    /// Lines for people about it: the first few, and how many more there are.
    pub(crate) fn issue_lines(&self, path: &Path) -> Vec<String> {
        issue_lines(path, self.issues(), matches!(self, Self::Mcap(_)))
    }

    /// The sensor the recording is from, as far as it was read and if it has a name.
    pub(crate) fn sensor(&self) -> Option<String> {
        match self {
            Self::Mcap(entries) => entries.sensor().map(str::to_owned),
            Self::Csv { .. } => None,
        }
    }
}

pub(crate) fn wire_error(path: &Path, cause: WireError) -> RecordingError {
    RecordingError::Wire { path: path.into(), cause }
}

/// A recording that is being read: entry by entry, or only its samples.
pub struct OpenRecording {
    path: PathBuf,
    profile: Profile,
    warnings: Vec<String>,
    source: EntrySource,
    /// Read when the recording was opened, so that one without any sample is an error there.
    first: VecDeque<Entry>,
    /// Packets to samples, for those who want only these.
    intake: Intake,
    clock: SampleClock,
    /// Bytes read so far.
    read: Arc<AtomicU64>,
    /// Bytes in all, where that is known.
    length: Option<u64>,
}

/// Opens a recording: CSV, with the profile NAME.toml beside it if there is one, or MCAP, with the profile in it.
pub fn open(path: &Path) -> Result<OpenRecording, RecordingError> {
    open_as(path, path)
}

/// The same, and messages call it `name`: for those who are not to learn where files lie.
pub fn open_as(path: &Path, name: &Path) -> Result<OpenRecording, RecordingError> {
    let bytes = open_bytes(path, name)?;
    let length = std::fs::metadata(path).ok().filter(|m| m.is_file());
    let mut recording = match bytes {
        Bytes::Csv(_) => opened(name, bytes, profile_text_beside(path, name)?)?,
        Bytes::Mcap(_) => opened(name, bytes, None)?,
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
    let (read, profile_path) = match &bytes {
        Bytes::Csv(source) => (Arc::clone(&source.read), path.with_extension("toml")),
        Bytes::Mcap(source) => (Arc::clone(&source.read), path.to_owned()),
    };
    let mut source = EntrySource::of(path, bytes, beside)?;
    let Head { entries, profile_toml, device } = Head::read(path, &mut source)?;
    let parsed = Profile::parse(profile_toml.as_deref().unwrap_or(""));
    let line = |warning: ProfileWarning| format!("{}: {warning}", profile_path.display());
    let (mut profile, warnings) = match parsed {
        Ok((profile, warnings)) => (profile, warnings.into_iter().map(line).collect()),
        // What was recorded is worth more than the profile in it: it is measured as it was live, by the defaults.
        Err(cause) if matches!(source, EntrySource::Mcap(_)) => {
            let line = format!("{}: profile: {cause}; read without it", profile_path.display());
            (Profile::default(), vec![line])
        }
        Err(cause) => return Err(RecordingError::Profile { path: profile_path, cause }),
    };
    if let Some(device) = device {
        profile.sensor = device.described_in(&profile.sensor);
    }
    Ok(OpenRecording {
        path: path.into(),
        profile,
        warnings,
        source,
        first: entries,
        intake: Intake::new(),
        clock: SampleClock::new(),
        read,
        length: None,
    })
}

/// What stands before the first samples, and these.
struct Head {
    entries: VecDeque<Entry>,
    profile_toml: Option<String>,
    device: Option<Device>,
}

impl Head {
    fn read(path: &Path, source: &mut EntrySource) -> Result<Self, RecordingError> {
        let (mut entries, mut profile_toml, mut intake) = (VecDeque::new(), None, Intake::new());
        while entries.len() < MOST_BEFORE_SAMPLES {
            let Some(entry) = source.next_entry().map_err(|cause| wire_error(path, cause))? else {
                return Err(no_sample(path, source, &intake));
            };
            let has_samples = !samples_of(&entry, &mut intake).is_empty() || matches!(entry, Entry::Samples { .. });
            if let Entry::Profile { toml, .. } = &entry {
                profile_toml = Some(toml.clone());
            }
            entries.push_back(entry);
            if has_samples {
                break;
            }
        }
        Ok(Self { entries, profile_toml, device: intake.device().cloned() })
    }
}

/// The samples that come of an entry that is not samples itself.
pub(crate) fn samples_of(entry: &Entry, intake: &mut Intake) -> Vec<Sample> {
    let mut arrivals = Vec::new();
    match entry {
        Entry::Packet(packet) => intake.packet(packet, &mut arrivals),
        Entry::Link { link, .. } => intake.link(link, &mut arrivals),
        // One that cannot be used leaves packets that cannot be read, which are counted.
        Entry::Device { device, .. } => drop(intake.read_as(device, &mut arrivals)),
        Entry::Samples { .. } | Entry::Profile { .. } | Entry::AtThePlate { .. } => {}
    }
    samples_in(arrivals)
}

fn samples_in(arrivals: Vec<Arrival>) -> Vec<Sample> {
    let samples = |arrival| match arrival {
        Arrival::Samples { samples, .. } => Some(samples),
        Arrival::Anew | Arrival::Exchange { .. } => None,
    };
    arrivals.into_iter().filter_map(samples).flatten().collect()
}

fn no_sample(path: &Path, source: &EntrySource, intake: &Intake) -> RecordingError {
    let bad = intake.counts().bad_packets();
    let found = match source.issues().kept().first() {
        Some(issue) if issue.kind == IssueKind::Truncated => "the file ends before its first sample".to_owned(),
        Some(issue) => issue.kind.to_string(),
        None if bad > 0 => format!("none of the {bad} packets can be read"),
        None => "the file has no sample".to_owned(),
    };
    let record = match source {
        EntrySource::Mcap(entries) => entries.message().max(1),
        EntrySource::Csv { .. } => 1,
    };
    wire_error(path, WireError::NotMcap { record, found })
}

impl OpenRecording {
    /// Whether it is MCAP; else it is CSV.
    pub fn is_mcap(&self) -> bool {
        matches!(self.source, EntrySource::Mcap(_))
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// What its first samples are to be read with.
    pub fn profile(&self) -> &Profile {
        &self.profile
    }

    /// What is unusual in the profile, a line each.
    pub fn profile_warnings(&self) -> impl Iterator<Item = String> {
        self.warnings.iter().cloned()
    }

    /// The next entry; `None` once there are no more.
    ///
    /// # Errors
    /// If the file cannot be read on.
    pub fn next_entry(&mut self) -> Result<Option<Entry>, RecordingError> {
        match self.first.pop_front() {
            Some(entry) => Ok(Some(entry)),
            None => self.source.next_entry().map_err(|cause| wire_error(&self.path, cause)),
        }
    }

    /// Replaces what is in `batch` by the next samples, those in packets included; `false` once there are no more.
    ///
    /// # Errors
    /// If the file cannot be read on.
    pub fn read_batch(&mut self, batch: &mut Vec<Sample>) -> Result<bool, RecordingError> {
        batch.clear();
        while batch.len() < BATCH_SAMPLES {
            match self.next_entry()? {
                Some(Entry::Samples { mut samples, .. }) => batch.append(&mut samples),
                Some(other) => batch.extend(samples_of(&other, &mut self.intake)),
                None => {
                    let mut arrivals = Vec::new();
                    self.intake.flush(&mut arrivals);
                    batch.extend(samples_in(arrivals));
                    break;
                }
            }
        }
        batch.iter().for_each(|sample| self.clock.push(sample.time));
        Ok(!batch.is_empty())
    }

    /// Samples, rate and gaps of the batches read so far.
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
        self.source.issues()
    }

    /// Lines for people about what could not be used so far: the first few, and how many more there are.
    pub fn issue_lines(&self) -> Vec<String> {
        self.source.issue_lines(&self.path)
    }
}

/// How many issues are told one by one.
const TOLD_ISSUES: usize = 10;

/// Lines for people about what could not be used in a file.
fn issue_lines(path: &Path, issues: &IssueLog, of_mcap: bool) -> Vec<String> {
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
