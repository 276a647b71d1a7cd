//! A recording's file into the store: read to its end through a session, and the last word on each of its swings kept.
//!
//! The file is read and measured on a thread of its own, in bounded memory: a swing goes to the store as soon as nothing
//! better is to come of it, at most [`PENDING`] wait for that and [`BATCHES`] of [`BATCH`] are on their way. Whoever drops the
//! future ends the thread. What was written of a recording that was not read to its end stays; it is read again, and what
//! is written already is found to be there.

use super::keep::{Source, keep};
use super::survey::survey;
use crate::daemon::files::{OpenRecording, RecordingError, notes, open_as};
use crate::daemon::recorder::begun_utc_us;
use crate::daemon::store::queries::recordings::{self, ImportedFor};
use crate::daemon::store::queries::sensors;
use crate::daemon::store::rows::{Origin, Owner, Recording, RecordingState, RecordingSummary, Side, UtcMicros, Word};
use crate::daemon::store::{Store, StoreError};
use crate::engine::Stage;
use crate::engine::session::{Session, Told, ToldSwing};
use crate::engine::wire::mcap::{AtThePlate, AtThePlateSide, Entry};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;
use uuid::Uuid;

/// Swings in a transaction: few enough that a live swing does not wait for long.
const BATCH: usize = 64;
/// Batches on their way to the store. A full channel makes the reader wait.
const BATCHES: usize = 2;
/// Swings of which better may be told yet. The engine has no more than those of its last 20 s pending; those of a recording
/// that begins anew again and again are let go early.
const PENDING: usize = 256;
/// Problems that are told one by one.
const MOST_PROBLEMS: usize = 20;

/// A recording's file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecordingFile {
    /// The installation it lies at.
    pub cage: String,
    /// The folder of its recordings.
    pub folder: PathBuf,
    /// Its name there.
    pub file_name: String,
}

/// What came of it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Outcome {
    /// The recording's row.
    pub recording_id: Uuid,
    /// How many swings are in it.
    pub swings_found: u64,
    /// How many of them were not in the store.
    pub new: u64,
    /// How many have got another analysis.
    pub revised: u64,
    /// How many are as they were.
    pub unchanged: u64,
    /// Swings that were in the store and are not found any more, in the order of time. They stay as they are.
    pub missing: Vec<Uuid>,
    /// What is unusual and what could not be used, for people, a line each.
    pub notes: Vec<String>,
}

/// Why a recording was not read to its end.
#[derive(Debug, thiserror::Error)]
pub enum AnalyseError {
    /// There is no such file.
    #[error(
        "{0}: there is no such file in the folder of recordings; one that is being recorded gets its name at its end"
    )]
    NoFile(String),
    /// The file cannot be read.
    #[error(transparent)]
    File(#[from] RecordingError),
    /// The store was not read or written.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// Neither the store nor the file says when it began.
    #[error(
        "{0}: nothing says when it began; expected a name such as 20261125T161018Z-knob.mcap, or packets with their time"
    )]
    NoTime(String),
    /// It was to stop.
    #[error("it was stopped; the recording is read again at the next start")]
    Stopped,
}

/// Measures a recording and writes what is new. A file that the store does not know yet is entered as one recorded here.
/// With `profile_toml` it is measured by that profile in place of its own.
///
/// # Errors
/// If it cannot be read to its end, or the store not be written.
pub async fn analyse_file(
    store: &Store,
    file: &RecordingFile,
    profile_toml: Option<String>,
    now: UtcMicros,
) -> Result<Outcome, AnalyseError> {
    let recording = row(store, file).await?;
    let mut reading = store.read().await?;
    let imported = recordings::imported_for(&mut reading, recording.id).await?;
    let before = recordings::swing_ids(&mut reading, recording.id).await?;
    drop(reading);
    if imported.as_ref().is_some_and(|imported| imported.athlete_id.is_none()) {
        // Whom it was imported for was erased, and it is as good as removed.
        return Err(AnalyseError::NoFile(file.file_name.clone()));
    }
    let way = Way { profile_toml, plate: imported.as_ref().map(plate) };
    let (sender, mut batches) = mpsc::channel(BATCHES);
    let stop = CancellationToken::new();
    let _stopped_when_dropped = stop.clone().drop_guard();
    let read_from = file.clone();
    let reader = tokio::task::spawn_blocking(move || Reader::new(way, sender, stop).read(&read_from));
    let mut tally = Tally {
        store,
        recording: &recording,
        imported: &imported,
        now,
        outcome: Outcome::default(),
        found: BTreeSet::new(),
    };
    while let Some(batch) = batches.recv().await {
        tally.keep(file, &batch).await?;
    }
    let ended = reader.await.map_err(|_| AnalyseError::Stopped)??;
    let mut outcome = tally.outcome;
    outcome.recording_id = recording.id;
    outcome.missing = before.into_iter().filter(|id| !tally.found.contains(id)).collect();
    outcome.notes = ended.notes;
    if recording.state != RecordingState::Stored || recording.summary != Some(ended.summary) {
        let last = ended.last_utc.unwrap_or(later(recording.begun, ended.summary.duration_s));
        let mut changes = store.write().await?;
        recordings::end(&mut changes, recording.id, last, Some(ended.summary), RecordingState::Stored).await?;
        changes.commit().await?;
    }
    Ok(outcome)
}

/// An instant so many seconds after another.
pub(super) fn later(begun: UtcMicros, by_s: f64) -> UtcMicros {
    UtcMicros(begun.0.saturating_add((by_s * 1e6).round() as i64))
}

/// The recording as the store knows it; entered if it does not.
async fn row(store: &Store, file: &RecordingFile) -> Result<Recording, AnalyseError> {
    let name = file.file_name.clone();
    let known = recordings::of_file(&mut *store.read().await?, &file.cage, &name).await?;
    match known {
        Some(recording) if recording.state == RecordingState::Removed => return Err(AnalyseError::NoFile(name)),
        Some(recording) => return Ok(recording),
        None => {}
    }
    let surveyed = file.clone();
    let stop = CancellationToken::new();
    let _stopped_when_dropped = stop.clone().drop_guard();
    let survey = tokio::task::spawn_blocking(move || survey(surveyed.open()?, &stop).map_err(AnalyseError::from));
    let survey = survey.await.map_err(|_| AnalyseError::Stopped)??;
    let named = begun_utc_us(file.stem()).map(UtcMicros);
    let begun = named.or(survey.utc.map(|(first, _)| first)).ok_or(AnalyseError::NoTime(name))?;
    let mut changes = store.write().await?;
    let sensor_id = match &survey.sensor {
        Some(sensor) => Some(sensors::see(&mut changes, sensor, begun).await?.id),
        None => None,
    };
    let recording = Recording {
        id: Uuid::now_v7(),
        cage: file.cage.clone(),
        file_name: file.file_name.clone(),
        sensor_id,
        origin: Origin::Live,
        imported_name: None,
        athlete_id: None,
        begun,
        ended: None,
        summary: None,
        sha256: None,
        state: RecordingState::Open,
        version: 1,
    };
    recordings::insert(&mut changes, &recording).await?;
    changes.commit().await?;
    Ok(recording)
}

impl RecordingFile {
    /// Where it is. Whatever stands in the store, only a file in the folder itself is ever opened: no other folder's, and
    /// none that a link leads to.
    ///
    /// # Errors
    /// If there is none.
    pub fn path(&self) -> Result<PathBuf, AnalyseError> {
        let name = Path::new(&self.file_name);
        let is_bare = name.file_name().is_some_and(|bare| bare == name.as_os_str())
            && !self.file_name.contains(['/', '\\', '\0', ':']);
        let path = self.folder.join(name);
        let is_file = || std::fs::symlink_metadata(&path).is_ok_and(|metadata| metadata.is_file());
        if is_bare && is_file() { Ok(path) } else { Err(AnalyseError::NoFile(self.file_name.clone())) }
    }

    /// Its name without ending.
    fn stem(&self) -> &str {
        Path::new(&self.file_name).file_stem().and_then(|stem| stem.to_str()).unwrap_or(&self.file_name)
    }

    fn open(&self) -> Result<OpenRecording, AnalyseError> {
        Ok(open_as(&self.path()?, Path::new(&self.file_name))?)
    }
}

/// Of an imported recording what the one who imported it said counts, not what stands in it.
fn plate(imported: &ImportedFor) -> AtThePlate {
    let Some(round) = &imported.round else { return AtThePlate::default() };
    AtThePlate {
        side: round.side.map(|side| match side {
            Side::Right => AtThePlateSide::Right,
            Side::Left => AtThePlateSide::Left,
        }),
        drill: round.drill.clone(),
        ball_source: round.ball_source.map(|source| source.word().to_owned()),
        pitch_speed_mps: round.pitch_speed_mps,
        ..AtThePlate::default()
    }
}

/// How a recording's entries are taken.
#[derive(Debug)]
struct Way {
    profile_toml: Option<String>,
    plate: Option<AtThePlate>,
}

impl Way {
    /// Before the first.
    fn first(&self) -> Vec<Entry> {
        let profile = self.profile_toml.clone().map(|toml| Entry::Profile { log_time_ns: 0, toml });
        let plate = self.plate.clone().map(|context| Entry::AtThePlate { log_time_ns: 0, context: Box::new(context) });
        profile.into_iter().chain(plate).collect()
    }

    /// An entry as it is taken; `None`: it is passed over.
    fn taken(&self, entry: Entry) -> Option<Entry> {
        match (entry, &self.plate) {
            (Entry::Profile { .. }, _) if self.profile_toml.is_some() => None,
            // Which side they bat from may be known only there.
            (Entry::AtThePlate { log_time_ns, context }, Some(said)) => {
                let context = AtThePlate { side: said.side.or(context.side), ..said.clone() };
                Some(Entry::AtThePlate { log_time_ns, context: Box::new(context) })
            }
            (entry, _) => Some(entry),
        }
    }
}

/// Swings of which nothing better is to come.
struct Batch {
    first_s: f64,
    swings: Vec<ToldSwing>,
}

/// A recording that was read to its end.
struct Ended {
    summary: RecordingSummary,
    last_utc: Option<UtcMicros>,
    notes: Vec<String>,
}

/// The thread that reads.
struct Reader {
    way: Way,
    session: Session,
    pending: BTreeMap<u64, ToldSwing>,
    ready: Vec<ToldSwing>,
    problems: Vec<String>,
    batches: mpsc::Sender<Batch>,
    stop: CancellationToken,
}

impl Reader {
    fn new(way: Way, batches: mpsc::Sender<Batch>, stop: CancellationToken) -> Self {
        let (session, pending, ready) = (Session::new(), BTreeMap::new(), Vec::new());
        Self { way, session, pending, ready, problems: Vec::new(), batches, stop }
    }

    fn read(mut self, file: &RecordingFile) -> Result<Ended, AnalyseError> {
        let mut open = file.open()?;
        let mut last_utc: Option<UtcMicros> = None;
        for entry in self.way.first() {
            self.take(&entry)?;
        }
        while let Some(entry) = open.next_entry()? {
            if let Entry::Packet(packet) = &entry {
                last_utc = last_utc.max(Some(UtcMicros(packet.received_utc_ns / 1000)).filter(|at| at.0 > 0));
            }
            if let Some(entry) = self.way.taken(entry) {
                self.take(&entry)?;
            }
        }
        let told = self.session.finish();
        self.hear(told);
        self.ready.extend(std::mem::take(&mut self.pending).into_values());
        self.send()?;
        let clock = self.session.clock();
        let summary = RecordingSummary {
            duration_s: clock.duration_s,
            samples: counted(clock.samples),
            sample_rate_hz: clock.sample_rate_hz().unwrap_or(0.0),
            gaps: counted(clock.gaps),
            missing_samples: counted(clock.missing_samples),
        };
        Ok(Ended { summary, last_utc, notes: notes(&open, &self.session, &self.problems) })
    }

    fn take(&mut self, entry: &Entry) -> Result<(), AnalyseError> {
        if self.stop.is_cancelled() {
            return Err(AnalyseError::Stopped);
        }
        let told = self.session.take(entry);
        self.hear(told);
        while self.pending.len() > PENDING {
            self.ready.extend(self.pending.pop_first().map(|(_, swing)| swing));
        }
        if self.ready.len() >= BATCH { self.send() } else { Ok(()) }
    }

    fn hear(&mut self, told: Vec<Told>) {
        for told in told {
            match told {
                Told::Swing(swing) if !is_sound(&swing) => {
                    self.problems.push(format!("swing {} has no time; it is left out", swing.number + 1));
                }
                Told::Swing(swing) if swing.stage == Stage::Revised => {
                    self.pending.remove(&swing.number);
                    self.ready.push(*swing);
                }
                Told::Swing(swing) => drop(self.pending.insert(swing.number, *swing)),
                Told::Problem(cause) => self.problems.push(cause),
                Told::Anew { .. } => self.ready.extend(std::mem::take(&mut self.pending).into_values()),
                Told::Rest { .. } | Told::Roll { .. } => {}
            }
        }
        self.problems.truncate(MOST_PROBLEMS);
    }

    fn send(&mut self) -> Result<(), AnalyseError> {
        let (first_s, swings) = (self.session.first_s().unwrap_or(0.0), std::mem::take(&mut self.ready));
        if swings.is_empty() {
            return Ok(());
        }
        self.batches.blocking_send(Batch { first_s, swings }).map_err(|_| AnalyseError::Stopped)
    }
}

fn is_sound(told: &ToldSwing) -> bool {
    told.swing.contact.0.is_finite() && told.swing.start.0.is_finite()
}

fn counted(count: u64) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}

/// What has become of the swings so far.
struct Tally<'a> {
    store: &'a Store,
    recording: &'a Recording,
    imported: &'a Option<ImportedFor>,
    now: UtcMicros,
    outcome: Outcome,
    found: BTreeSet<Uuid>,
}

impl Tally<'_> {
    async fn keep(&mut self, file: &RecordingFile, batch: &Batch) -> Result<(), AnalyseError> {
        let mut changes = self.store.write().await?;
        for told in &batch.swings {
            let source = Source {
                recording_id: self.recording.id,
                cage: self.recording.cage.clone(),
                file_stem: file.stem().to_owned(),
                begun: self.recording.begun,
                first_s: batch.first_s,
                owner: self.imported.as_ref().map(|imported| owner(imported, told)),
            };
            let Some(kept) = keep(&mut changes, &source, told, self.now).await? else { continue };
            self.outcome.swings_found += 1;
            let count = match (kept.is_new, kept.is_added) {
                (true, _) => &mut self.outcome.new,
                (false, true) => &mut self.outcome.revised,
                (false, false) => &mut self.outcome.unchanged,
            };
            *count += 1;
            self.found.insert(kept.swing_id);
        }
        Ok(changes.commit().await?)
    }
}

fn owner(imported: &ImportedFor, told: &ToldSwing) -> Owner {
    let round = imported.round.as_ref();
    Owner {
        athlete_id: imported.athlete_id,
        lesson_id: round.map(|round| round.lesson_id),
        round_id: round.map(|round| round.id),
        side: told.at_the_plate.side.map(|side| match side {
            AtThePlateSide::Right => Side::Right,
            AtThePlateSide::Left => Side::Left,
        }),
        bat_id: round.and_then(|round| round.bat_id),
    }
}
