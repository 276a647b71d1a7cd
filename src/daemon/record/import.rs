//! A recording from elsewhere into an athlete's record.
//!
//! It is checked first; what cannot be read leaves nothing behind. Then the store is told of it, with the lesson or practice
//! and the round it makes; only then has its file its name, and last its swings are measured. Killed in between, the next
//! start goes on where it was ([`finish_imports`], then [`analyse_file`] for what is open).

use super::analyse::{AnalyseError, Outcome, RecordingFile, analyse_file, later};
use super::survey::{Survey, survey};
use super::upload::{Arrived, Part, Temporary, of_name, put_in_place};
use crate::daemon::files::{RecordingError, from_reader};
use crate::daemon::hex::hex;
use crate::daemon::recorder::stem;
use crate::daemon::store::queries::{athletes, bats, lessons, recordings, rounds};
use crate::daemon::store::rows::{
    BallSource, Lesson, Occasion, Origin, Recording, RecordingState, Round, Side, UtcMicros,
};
use crate::daemon::store::{Store, StoreError, Transaction};
use sha2::{Digest, Sha256};
use std::fs::File;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use tokio::task::spawn_blocking;
use tokio_util::sync::CancellationToken;
use uuid::Uuid;

/// What is said of a recording that is brought from elsewhere.
#[derive(Clone, Debug, PartialEq)]
pub struct Import {
    /// Whose swings are in it, whatever stands in it.
    pub athlete_id: Uuid,
    /// Lesson or practice.
    pub occasion: Occasion,
    /// From which side; `None`: as the recording says.
    pub side: Option<Side>,
    /// With what.
    pub bat_id: Option<Uuid>,
    /// What was practised.
    pub drill: Option<String>,
    /// Where the ball came from.
    pub ball_source: Option<BallSource>,
    /// The ball's speed at the plate, m/s.
    pub pitch_speed_mps: Option<f64>,
    /// When it began, for a recording that does not say.
    pub begun: Option<UtcMicros>,
    /// What the file was called.
    pub name: String,
    /// The profile of a CSV file.
    pub profile_toml: Option<String>,
}

/// Why a recording was not taken in.
#[derive(Debug, thiserror::Error)]
pub enum ImportError {
    /// It cannot be read.
    #[error(transparent)]
    File(#[from] RecordingError),
    /// A profile came with a recording that holds its own.
    #[error("a profile came with an MCAP recording, which holds its own; expected one only with CSV")]
    NeedlessProfile,
    /// Nothing says when it was made.
    #[error("the recording does not say when it began; expected `begun`")]
    NoTime,
    /// It is there already.
    #[error("this file is there already, as recording {0}")]
    Known(Uuid),
    /// The store was not read or written.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The disk was not.
    #[error("the folder of recordings: {0}; expected one that can be written to")]
    Io(#[from] io::Error),
    /// It is in the store, but its swings are not all.
    #[error(
        "the recording is kept as {id}, but its swings could not be stored: {cause}; expected `reanalyses` of it, or the next start, to find them"
    )]
    NotMeasured {
        /// Its id.
        id: Uuid,
        /// Why.
        cause: Box<AnalyseError>,
    },
    /// It was to stop.
    #[error("it was stopped; what was taken in is gone on with at the next start")]
    Stopped,
}

/// Takes in a file that has arrived in the folder of an installation's recordings.
///
/// # Errors
/// If it cannot be read, is there already, does not say when it was made, or cannot be written. Only with
/// [`ImportError::NotMeasured`] is anything kept.
pub async fn import(
    store: &Store,
    cage: &str,
    arrived: Arrived,
    import: Import,
    now: UtcMicros,
) -> Result<(Recording, Outcome), ImportError> {
    let folder = arrived.path().parent().unwrap_or(Path::new("")).to_owned();
    refuse_known(store, cage, &folder, &arrived).await?;
    let stop = CancellationToken::new();
    let _stopped_when_dropped = stop.clone().drop_guard();
    let (arrived, import, survey, is_mcap, profile) =
        spawn_blocking(move || checked(arrived, import, &stop)).await.map_err(|_| ImportError::Stopped)??;
    let (begun, ended) = match (survey.utc, import.begun) {
        (Some(utc), _) => utc,
        (None, Some(begun)) => (begun, later(begun, survey.duration_s)),
        (None, None) => return Err(ImportError::NoTime),
    };
    let ending = if is_mcap { "mcap" } else { "csv" };
    let file_name = format!("{}.{ending}", file_stem(arrived.id, begun));
    let recording = Recording {
        id: arrived.id,
        cage: cage.to_owned(),
        file_name,
        sensor_id: None,
        origin: Origin::Import,
        imported_name: Some(import.name.clone()),
        athlete_id: Some(import.athlete_id),
        begun,
        ended: Some(ended),
        summary: None,
        sha256: Some(arrived.sha256.clone()),
        state: RecordingState::Open,
        version: 1,
    };
    enter(store, &recording, &import).await?;
    let from = arrived.stays();
    let to = folder.join(&recording.file_name);
    let placed = spawn_blocking(move || place(profile, &from, &to)).await.map_err(|_| ImportError::Stopped)?;
    let not_measured = |cause| ImportError::NotMeasured { id: recording.id, cause: Box::new(cause) };
    let unplaced = |cause| RecordingError::Io { path: PathBuf::from(&recording.file_name), cause };
    placed.map_err(|cause| not_measured(unplaced(cause).into()))?;
    let file = RecordingFile { cage: cage.to_owned(), folder, file_name: recording.file_name.clone() };
    let outcome = analyse_file(store, &file, None, now).await.map_err(not_measured)?;
    let recording = recordings::get(&mut *store.read().await?, recording.id).await?;
    Ok((recording, outcome))
}

/// When it began and the end of its id: no other file has that name.
fn file_stem(id: Uuid, begun: UtcMicros) -> String {
    let id = id.simple().to_string();
    format!("{}-{}", stem("import", begun.0.saturating_mul(1000)), id.get(20..).unwrap_or(&id))
}

/// Goes on with imports that a kill has cut short: files that the store knows get their names, others are removed. To be
/// called before the first import. Tells how many of each there were.
///
/// # Errors
/// If the store cannot be read, or the folder not be written to.
pub async fn finish_imports(store: &Store, cage: &str, folder: &Path) -> Result<(usize, usize), ImportError> {
    let (mut finished, mut removed) = (0, 0);
    for entry in std::fs::read_dir(folder)? {
        let (path, name) = entry.map(|entry| (entry.path(), entry.file_name()))?;
        let Some((id, part)) = name.to_str().and_then(of_name) else { continue };
        let known = match recordings::get(&mut *store.read().await?, id).await {
            Ok(recording) => Some(recording),
            Err(StoreError::NoSuch { .. }) => None,
            Err(error) => return Err(error.into()),
        };
        match known.filter(|recording| recording.cage == cage && recording.state != RecordingState::Removed) {
            Some(recording) => {
                let whole = folder.join(&recording.file_name);
                let to = if part == Part::Profile { whole.with_extension("toml") } else { whole };
                put_in_place(&path, &to)?;
                finished += 1;
            }
            None => {
                std::fs::remove_file(&path)?;
                removed += 1;
            }
        }
    }
    Ok((finished, removed))
}

/// Neither imported before, nor recorded here and brought back.
async fn refuse_known(store: &Store, cage: &str, folder: &Path, arrived: &Arrived) -> Result<(), ImportError> {
    let known = recordings::find_sha256(&mut *store.read().await?, &arrived.sha256).await?;
    if let Some(known) = known {
        return Err(ImportError::Known(known.id));
    }
    let (folder, bytes, sha256) = (folder.to_owned(), arrived.bytes, arrived.sha256.clone());
    let same =
        spawn_blocking(move || same_files(&folder, bytes, &sha256)).await.map_err(|_| ImportError::Stopped)??;
    for name in same {
        if let Some(known) = recordings::of_file(&mut *store.read().await?, cage, &name).await? {
            return Err(ImportError::Known(known.id));
        }
    }
    Ok(())
}

/// Recordings with the same bytes: those of another length are not read.
fn same_files(folder: &Path, bytes: u64, sha256: &str) -> io::Result<Vec<String>> {
    let mut same = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let entry = entry?;
        let metadata = entry.metadata()?;
        let Ok(name) = entry.file_name().into_string() else { continue };
        if !metadata.is_file() || metadata.len() != bytes || of_name(&name).is_some() {
            continue;
        }
        let mut hash = Sha256::new();
        io::copy(&mut File::open(entry.path())?, &mut HashWriter(&mut hash))?;
        if hex(&hash.finalize()) == sha256 {
            same.push(name);
        }
    }
    Ok(same)
}

struct HashWriter<'a>(&'a mut Sha256);

impl Write for HashWriter<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.update(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

type Checked = (Arrived, Import, Survey, bool, Temporary);

/// Read to its end, and its profile written beside it.
fn checked(arrived: Arrived, import: Import, stop: &CancellationToken) -> Result<Checked, ImportError> {
    let name = Path::new(&import.name);
    let file = File::open(arrived.path())?;
    let open = from_reader(name, file, import.profile_toml.as_deref())?;
    let is_mcap = open.is_mcap();
    if is_mcap && import.profile_toml.is_some() {
        return Err(ImportError::NeedlessProfile);
    }
    let survey = survey(open, stop)?;
    let mut profile = Temporary(None);
    if let Some(toml) = &import.profile_toml {
        let path = arrived.profile_path();
        let mut file = File::options().write(true).create_new(true).open(&path)?;
        profile = Temporary(Some(path));
        file.write_all(toml.as_bytes())?;
        file.sync_all()?;
    }
    Ok((arrived, import, survey, is_mcap, profile))
}

/// The recording, its round and, if none of theirs covers it, a lesson or practice, in one transaction.
async fn enter(store: &Store, recording: &Recording, import: &Import) -> Result<(), ImportError> {
    let mut changes = store.write().await?;
    athletes::get(&mut changes, import.athlete_id).await?;
    if let Some(bat_id) = import.bat_id {
        bats::get(&mut changes, bat_id).await?;
    }
    let lesson_id = lesson(&mut changes, recording, import).await?;
    let round = Round {
        id: Uuid::now_v7(),
        lesson_id,
        begun: recording.begun,
        drill: import.drill.clone(),
        ball_source: import.ball_source,
        pitch_speed_mps: import.pitch_speed_mps,
        pitch_descent_deg: None,
        bat_id: import.bat_id,
        side: import.side,
        note: String::new(),
        version: 1,
    };
    rounds::insert(&mut changes, &round).await?;
    recordings::insert(&mut changes, recording).await?;
    recordings::belongs_to(&mut changes, recording.id, round.id).await?;
    Ok(changes.commit().await?)
}

async fn lesson(changes: &mut Transaction, recording: &Recording, import: &Import) -> Result<Uuid, StoreError> {
    let (begun, ended) = (recording.begun, recording.ended);
    let covering = lessons::covering(changes, import.athlete_id, import.occasion, &recording.cage, begun).await?;
    let covers = |lesson: &Lesson| lesson.ended.is_none_or(|last| ended.is_none_or(|ended| ended <= last));
    if let Some(lesson) = covering.filter(covers) {
        return Ok(lesson.id);
    }
    let lesson = Lesson {
        id: Uuid::now_v7(),
        athlete_id: import.athlete_id,
        occasion: import.occasion,
        cage: recording.cage.clone(),
        begun,
        ended,
        title: String::new(),
        note: String::new(),
        version: 1,
    };
    lessons::insert(changes, &lesson).await?;
    Ok(lesson.id)
}

/// What the store knows now gets its name.
fn place(mut profile: Temporary, recording: &Path, to: &Path) -> io::Result<()> {
    if let Some(profile) = profile.0.take() {
        put_in_place(&profile, &to.with_extension("toml"))?;
    }
    put_in_place(recording, to)
}
