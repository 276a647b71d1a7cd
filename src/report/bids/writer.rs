//! The files of a data set, in the order in which they can be written without going back.

use super::entity::{About, Event, EventColumn, Participant, Reading, Run, Session};
use super::tables::{self, MISSING};
use super::{BidsError, PIECE_BYTES, Sink, TASK, TRACKING_SYSTEM};
use std::io::Write;

/// An interval longer than this many nominal ones is a gap, as everywhere in the program.
const GAP_INTERVALS: f64 = 1.5;

/// A time this far from the first sample is none, s: thirty years.
const FARTHEST_S: f64 = 1e9;

/// Writes a data set.
pub struct BidsWriter<S: Sink> {
    files: Files<S>,
    columns: Vec<EventColumn>,
    participants: Vec<Participant>,
}

/// Writes what belongs to a participant.
#[must_use = "a participant that is not finished does not appear in the data set"]
pub struct ParticipantWriter<'a, S: Sink> {
    of: &'a mut BidsWriter<S>,
    participant: Participant,
    sessions: Vec<Session>,
}

/// Writes what belongs to a session.
#[must_use = "a session that is not finished does not appear in the data set"]
pub struct SessionWriter<'a, S: Sink> {
    files: &'a mut Files<S>,
    columns: &'a [EventColumn],
    sessions: &'a mut Vec<Session>,
    /// `sub-…/ses-…/`
    folder: String,
    /// `sub-…_ses-…`
    name: String,
    session: Session,
    /// Path and time of each recording.
    scans: Vec<(String, String)>,
}

/// What was written of a recording.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct RunCounts {
    /// Rows of samples.
    pub samples: u64,
    /// Samples left out, as their time is not finite, not after that of the one before or thirty years after the first.
    pub unplaced_samples: u64,
    /// Rows of events.
    pub events: u64,
    /// Events left out, as their time or duration is none.
    pub unplaced_events: u64,
    /// From the first row to the last, s.
    pub duration_s: f64,
    /// Intervals longer than 1.5 nominal ones.
    pub gaps: u64,
    /// One over the mean of all other intervals, Hz; `None` if there is no other.
    pub effective_hz: Option<f64>,
}

impl<S: Sink> BidsWriter<S> {
    /// Writes what describes the data set. `columns` are those of all events.
    ///
    /// # Errors
    /// If a column cannot be used or the sink fails.
    pub fn new(sink: S, about: &About, columns: Vec<EventColumn>) -> Result<Self, BidsError> {
        check_columns(&columns)?;
        let mut files = Files { sink };
        files.whole("dataset_description.json", &tables::dataset_description_json(about))?;
        files.whole("README", tables::README)?;
        files.whole(&format!("task-{TASK}_events.json"), &tables::events_json(&columns))?;
        files.whole(&format!("task-{TASK}_tracksys-{TRACKING_SYSTEM}_channels.json"), &tables::channels_json())?;
        Ok(Self { files, columns, participants: Vec::new() })
    }

    /// Begins the next participant; to be finished before the data set.
    ///
    /// # Errors
    /// If the label is taken.
    pub fn participant(&mut self, participant: &Participant) -> Result<ParticipantWriter<'_, S>, BidsError> {
        if self.participants.iter().any(|other| other.label == participant.label) {
            return Err(BidsError::Doubled { label: format!("sub-{}", participant.label.as_str()) });
        }
        Ok(ParticipantWriter { of: self, participant: participant.clone(), sessions: Vec::new() })
    }

    /// Writes the list of participants, and hands the sink back.
    ///
    /// # Errors
    /// If no participant has a recording or the sink fails.
    pub fn finish(mut self) -> Result<S, BidsError> {
        if self.participants.is_empty() {
            return Err(BidsError::NoRun);
        }
        let with_nickname = self.participants.iter().any(|participant| participant.nickname.is_some());
        self.files.whole("participants.tsv", &tables::participants_tsv(&self.participants))?;
        self.files.whole("participants.json", &tables::participants_json(with_nickname))?;
        Ok(self.files.sink)
    }
}

impl<S: Sink> ParticipantWriter<'_, S> {
    /// Begins the next session; to be finished before the participant.
    ///
    /// # Errors
    /// If the label is taken.
    pub fn session(&mut self, session: &Session) -> Result<SessionWriter<'_, S>, BidsError> {
        if self.sessions.iter().any(|other| other.label == session.label) {
            return Err(BidsError::Doubled { label: format!("ses-{}", session.label.as_str()) });
        }
        let (subject, label) = (self.participant.label.as_str(), session.label.as_str());
        Ok(SessionWriter {
            files: &mut self.of.files,
            columns: &self.of.columns,
            sessions: &mut self.sessions,
            folder: format!("sub-{subject}/ses-{label}/"),
            name: format!("sub-{subject}_ses-{label}"),
            session: session.clone(),
            scans: Vec::new(),
        })
    }

    /// Writes the list of sessions. A participant without a recording does not appear in the data set.
    ///
    /// # Errors
    /// If the sink fails.
    pub fn finish(self) -> Result<(), BidsError> {
        if self.sessions.is_empty() {
            return Ok(());
        }
        let mut text = tables::row(["session_id", "acq_time", "kind"]);
        for session in &self.sessions {
            let id = format!("ses-{}", session.label.as_str());
            text += &tables::row([id.as_str(), &tables::date_time(session.start_utc_ns), session.kind.word()]);
        }
        let path = format!("sub-{0}/sub-{0}_sessions", self.participant.label.as_str());
        self.of.files.whole(&format!("{path}.tsv"), &text)?;
        self.of.files.whole(&format!("{path}.json"), &tables::sessions_json())?;
        self.of.participants.push(self.participant);
        Ok(())
    }
}

impl<S: Sink> SessionWriter<'_, S> {
    /// Writes a recording with its events, which are sorted; the runs of a session are numbered from 1.
    ///
    /// # Errors
    /// Before anything of it is written if the frequency, an event or the first sample cannot be used; if the sink fails.
    pub fn run(
        &mut self,
        run: &Run,
        readings: impl IntoIterator<Item = Reading>,
        events: &[Event],
    ) -> Result<RunCounts, BidsError> {
        self.check(run, events)?;
        let mut readings = readings.into_iter();
        let mut counts = RunCounts::default();
        let first = first_placed(&mut readings, &mut counts).ok_or(BidsError::NoSample)?;
        let number = self.scans.len() + 1;
        let entities = format!("{}_task-{TASK}_tracksys-{TRACKING_SYSTEM}_run-{number:02}", self.name);
        let name = format!("{}motion/{entities}", self.folder);
        self.motion(&format!("{name}_motion.tsv"), run, first, readings, &mut counts)?;
        self.files.whole(&format!("{name}_channels.tsv"), &tables::channels_tsv(run.has_accel_hi))?;
        self.events(&format!("{name}_events.tsv"), first.time_s, events, &mut counts)?;
        self.files.whole(&format!("{name}_motion.json"), &tables::motion_json(run, &counts))?;
        self.scans.push((format!("motion/{entities}_motion.tsv"), tables::date_time(run.start_utc_ns)));
        Ok(counts)
    }

    /// Writes the list of recordings. A session without one does not appear in the data set.
    ///
    /// # Errors
    /// If the sink fails.
    pub fn finish(self) -> Result<(), BidsError> {
        if self.scans.is_empty() {
            return Ok(());
        }
        let rows = self.scans.iter().map(|(path, time)| tables::row([path, time]));
        let text = tables::row(["filename", "acq_time"]) + &rows.collect::<String>();
        self.files.whole(&format!("{}{}_scans.tsv", self.folder, self.name), &text)?;
        self.sessions.push(self.session);
        Ok(())
    }

    fn check(&self, run: &Run, events: &[Event]) -> Result<(), BidsError> {
        let frequency_hz = run.sampling_frequency_hz;
        if !(frequency_hz.is_finite() && frequency_hz > 0.0) {
            return Err(BidsError::Frequency { found_hz: frequency_hz });
        }
        let expected = self.columns.len();
        match events.iter().map(|event| event.values.len()).find(|found| *found != expected) {
            Some(found) => Err(BidsError::Values { found, expected }),
            None => Ok(()),
        }
    }

    fn motion(
        &mut self,
        path: &str,
        run: &Run,
        first: Reading,
        rest: impl Iterator<Item = Reading>,
        counts: &mut RunCounts,
    ) -> Result<(), BidsError> {
        let mut file = self.files.begin(path)?;
        let mut intervals = Intervals { nominal_s: 1.0 / run.sampling_frequency_hz, ..Intervals::default() };
        let mut last_s = first.time_s;
        file.put(|piece| reading_row(piece, &first, 0.0, run.has_accel_hi))?;
        counts.samples = 1;
        for reading in rest {
            if !(reading.time_s > last_s && reading.time_s - first.time_s < FARTHEST_S) {
                counts.unplaced_samples += 1;
                continue;
            }
            intervals.push(reading.time_s - last_s);
            last_s = reading.time_s;
            counts.samples += 1;
            file.put(|piece| reading_row(piece, &reading, last_s - first.time_s, run.has_accel_hi))?;
        }
        (counts.gaps, counts.effective_hz) = (intervals.gaps, intervals.mean_hz());
        counts.duration_s = last_s - first.time_s;
        file.end()
    }

    fn events(&mut self, path: &str, first_s: f64, events: &[Event], counts: &mut RunCounts) -> Result<(), BidsError> {
        let is_placed = |event: &&Event| {
            (event.onset_s - first_s).abs() < FARTHEST_S && (0.0..FARTHEST_S).contains(&event.duration_s)
        };
        let mut placed: Vec<&Event> = events.iter().filter(is_placed).collect();
        placed.sort_by(|a, b| a.onset_s.total_cmp(&b.onset_s));
        counts.events = placed.len() as u64;
        counts.unplaced_events = (events.len() - placed.len()) as u64;
        let mut file = self.files.begin(path)?;
        file.put(|piece| piece.extend(tables::events_head(self.columns).bytes()))?;
        for event in placed {
            let row = tables::event_row(event.onset_s - first_s, event.duration_s, event.trial_type, &event.values);
            file.put(|piece| piece.extend(row.bytes()))?;
        }
        file.end()
    }
}

fn check_columns(columns: &[EventColumn]) -> Result<(), BidsError> {
    let is_name = |name: &str| {
        let letters = |b: u8| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'_';
        name.starts_with(|c: char| c.is_ascii_lowercase()) && name.bytes().all(letters)
    };
    let mut seen = vec!["onset", "duration", "trial_type"];
    for column in columns {
        let name = column.name.as_str();
        if !is_name(name) || seen.contains(&name) {
            return Err(BidsError::Column { found: column.name.clone() });
        }
        seen.push(name);
    }
    Ok(())
}

/// The first reading that has a time; those before it are counted.
fn first_placed(readings: &mut impl Iterator<Item = Reading>, counts: &mut RunCounts) -> Option<Reading> {
    readings.find(|reading| {
        let is_placed = reading.time_s.is_finite();
        counts.unplaced_samples += u64::from(!is_placed);
        is_placed
    })
}

/// A latency has at most six places after the point (BIDS, "Restricted keyword list for channel type").
fn reading_row(piece: &mut Vec<u8>, reading: &Reading, latency_s: f64, has_accel_hi: bool) {
    let hi = reading.accel_hi_mps2.unwrap_or([f64::NAN; 3]);
    let hi = hi.iter().take(if has_accel_hi { 3 } else { 0 });
    // Writing to a vector does not fail.
    let _ = write!(piece, "{latency_s:.6}");
    for value in reading.gyro_radps.iter().chain(&reading.accel_mps2).chain(hi) {
        let _ = match value.is_finite() {
            true => write!(piece, "\t{value}"),
            false => write!(piece, "\t{MISSING}"),
        };
    }
    piece.push(b'\n');
}

/// Intervals between samples as they come.
#[derive(Default)]
struct Intervals {
    nominal_s: f64,
    gaps: u64,
    regular: u64,
    regular_s: f64,
}

impl Intervals {
    fn push(&mut self, interval_s: f64) {
        if interval_s > GAP_INTERVALS * self.nominal_s {
            self.gaps += 1;
        } else {
            self.regular += 1;
            self.regular_s += interval_s;
        }
    }

    fn mean_hz(&self) -> Option<f64> {
        let mean_hz = self.regular as f64 / self.regular_s;
        (self.regular > 0 && mean_hz.is_finite()).then_some(mean_hz)
    }
}

struct Files<S: Sink> {
    sink: S,
}

/// A file that is being written.
struct Open<'a, S: Sink> {
    sink: &'a mut S,
    path: &'a str,
    piece: Vec<u8>,
}

impl<S: Sink> Files<S> {
    fn begin<'a>(&'a mut self, path: &'a str) -> Result<Open<'a, S>, BidsError> {
        self.sink.begin(path).map_err(|cause| write_error(path, cause))?;
        Ok(Open { sink: &mut self.sink, path, piece: Vec::with_capacity(PIECE_BYTES) })
    }

    fn whole(&mut self, path: &str, text: &str) -> Result<(), BidsError> {
        let mut file = self.begin(path)?;
        file.put(|piece| piece.extend(text.bytes()))?;
        file.end()
    }
}

impl<S: Sink> Open<'_, S> {
    /// Adds a row, or a text of which the size is known to be small.
    fn put(&mut self, add: impl FnOnce(&mut Vec<u8>)) -> Result<(), BidsError> {
        add(&mut self.piece);
        if self.piece.len() >= PIECE_BYTES { self.flush() } else { Ok(()) }
    }

    fn flush(&mut self) -> Result<(), BidsError> {
        self.sink.write(&self.piece).map_err(|cause| write_error(self.path, cause))?;
        self.piece.clear();
        Ok(())
    }

    fn end(mut self) -> Result<(), BidsError> {
        if !self.piece.is_empty() {
            self.flush()?;
        }
        self.sink.end().map_err(|cause| write_error(self.path, cause))
    }
}

fn write_error(path: &str, cause: std::io::Error) -> BidsError {
    BidsError::Write { path: path.to_owned(), cause }
}
