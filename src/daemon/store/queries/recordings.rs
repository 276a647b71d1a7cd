//! Recordings: files of what sensors sent.

use super::super::StoreError;
use super::super::rows::{Origin, Recording, RecordingState, RecordingSummary, Round, UtcMicros, Word};
use super::{Slice, TimeKey, maybe_uuid, rounds, uuid};
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, Row};
use uuid::Uuid;

/// Which recordings a list has; what is not said lets all through.
#[derive(Clone, Copy, Debug, Default)]
pub struct Filter {
    /// Those that hold swings of this athlete, or were imported for them.
    pub athlete: Option<Uuid>,
    /// Those that came to be so.
    pub origin: Option<Origin>,
    /// Those that began then or later,
    pub from: Option<UtcMicros>,
    /// and before this.
    pub to: Option<UtcMicros>,
}

/// Whom the swings of an imported recording belong to, and what was said of them.
#[derive(Clone, Debug, PartialEq)]
pub struct ImportedFor {
    /// The athlete; `None`: they were erased or never said.
    pub athlete_id: Option<Uuid>,
    /// The round; `None`: it was removed.
    pub round: Option<Round>,
}

/// Enters one. Its version is taken as 1.
///
/// # Errors
/// If there is one of its name in that installation or, of an imported one, of its SHA-256; or it cannot be written.
pub async fn insert(connection: &mut AnyConnection, recording: &Recording) -> Result<(), StoreError> {
    let summary = recording.summary;
    sqlx::query(
        "INSERT INTO recordings (id, cage, file_name, sensor_id, origin, imported_name, athlete_id, begun_utc_us,
             ended_utc_us, duration_s, samples, sample_rate_hz, gaps, missing_samples, sha256, state, version)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, 1)",
    )
    .bind(recording.id.to_string())
    .bind(&recording.cage)
    .bind(&recording.file_name)
    .bind(recording.sensor_id.map(|id| id.to_string()))
    .bind(recording.origin.word())
    .bind(recording.imported_name.as_deref())
    .bind(recording.athlete_id.map(|id| id.to_string()))
    .bind(recording.begun.0)
    .bind(recording.ended.map(|ended| ended.0))
    .bind(summary.map(|summary| summary.duration_s))
    .bind(summary.map(|summary| summary.samples))
    .bind(summary.map(|summary| summary.sample_rate_hz))
    .bind(summary.map(|summary| summary.gaps))
    .bind(summary.map(|summary| summary.missing_samples))
    .bind(recording.sha256.as_deref())
    .bind(recording.state.word())
    .execute(connection)
    .await?;
    Ok(())
}

/// Says which round an imported recording's swings belong to.
///
/// # Errors
/// If it cannot be written.
pub async fn belongs_to(connection: &mut AnyConnection, id: Uuid, round_id: Uuid) -> Result<(), StoreError> {
    sqlx::query("UPDATE recordings SET round_id = $2 WHERE id = $1")
        .bind(id.to_string())
        .bind(round_id.to_string())
        .execute(connection)
        .await?;
    Ok(())
}

/// It was read or recorded to its end. Without a summary, the one it has stays.
///
/// # Errors
/// If there is none, or it cannot be written.
pub async fn end(
    connection: &mut AnyConnection,
    id: Uuid,
    ended: UtcMicros,
    summary: Option<RecordingSummary>,
    state: RecordingState,
) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE recordings SET ended_utc_us = $2, duration_s = COALESCE($3, duration_s),
             samples = COALESCE($4, samples), sample_rate_hz = COALESCE($5, sample_rate_hz), gaps = COALESCE($6, gaps),
             missing_samples = COALESCE($7, missing_samples), state = $8, version = version + 1
         WHERE id = $1",
    )
    .bind(id.to_string())
    .bind(ended.0)
    .bind(summary.map(|summary| summary.duration_s))
    .bind(summary.map(|summary| summary.samples))
    .bind(summary.map(|summary| summary.sample_rate_hz))
    .bind(summary.map(|summary| summary.gaps))
    .bind(summary.map(|summary| summary.missing_samples))
    .bind(state.word())
    .execute(connection)
    .await?;
    if done.rows_affected() == 1 {
        return Ok(());
    }
    Err(StoreError::NoSuch { kind: "recording", id: id.to_string() })
}

/// The one with this id.
///
/// # Errors
/// If there is none, or it cannot be read.
pub async fn get(connection: &mut AnyConnection, id: Uuid) -> Result<Recording, StoreError> {
    let row =
        sqlx::query("SELECT * FROM recordings WHERE id = $1").bind(id.to_string()).fetch_optional(connection).await?;
    row.map_or_else(|| Err(StoreError::NoSuch { kind: "recording", id: id.to_string() }), |row| recording(&row))
}

/// Whether any recording of an installation is known.
///
/// # Errors
/// If it cannot be read.
pub async fn has_any_of(connection: &mut AnyConnection, cage: &str) -> Result<bool, StoreError> {
    let row = sqlx::query("SELECT id FROM recordings WHERE cage = $1 LIMIT 1").bind(cage).fetch_optional(connection);
    Ok(row.await?.is_some())
}

/// The one that lies under this name in an installation's folder.
///
/// # Errors
/// If it cannot be read.
pub async fn of_file(
    connection: &mut AnyConnection,
    cage: &str,
    file_name: &str,
) -> Result<Option<Recording>, StoreError> {
    let row = sqlx::query("SELECT * FROM recordings WHERE cage = $1 AND file_name = $2")
        .bind(cage)
        .bind(file_name)
        .fetch_optional(connection)
        .await?;
    row.as_ref().map(recording).transpose()
}

/// The one that was imported from a file of this SHA-256 (hexadecimal).
///
/// # Errors
/// If it cannot be read.
pub async fn find_sha256(connection: &mut AnyConnection, sha256: &str) -> Result<Option<Recording>, StoreError> {
    let row = sqlx::query("SELECT * FROM recordings WHERE sha256 = $1").bind(sha256).fetch_optional(connection).await?;
    row.as_ref().map(recording).transpose()
}

/// Those of an installation of which swings may not be stored yet, the oldest first.
///
/// # Errors
/// If they cannot be read.
pub async fn open(connection: &mut AnyConnection, cage: &str) -> Result<Vec<Recording>, StoreError> {
    let rows = sqlx::query("SELECT * FROM recordings WHERE cage = $1 AND state = 'open' ORDER BY begun_utc_us, id")
        .bind(cage)
        .fetch_all(connection)
        .await?;
    rows.iter().map(recording).collect()
}

/// A page of them, the newest first.
///
/// # Errors
/// If they cannot be read.
pub async fn list(
    connection: &mut AnyConnection,
    filter: &Filter,
    slice: Slice<TimeKey>,
) -> Result<Vec<Recording>, StoreError> {
    let after = slice.after.map_or((i64::MAX, String::new()), |key| (key.at.0, key.id.to_string()));
    let rows = sqlx::query(
        "SELECT * FROM recordings
         WHERE ($1 = '' OR athlete_id = $1
                 OR EXISTS (SELECT 1 FROM swings WHERE recording_id = recordings.id AND swings.athlete_id = $1))
             AND ($2 = '' OR origin = $2) AND begun_utc_us >= $3 AND begun_utc_us < $4
             AND (begun_utc_us < $5 OR (begun_utc_us = $5 AND id < $6))
         ORDER BY begun_utc_us DESC, id DESC LIMIT $7",
    )
    .bind(filter.athlete.map_or_else(String::new, |id| id.to_string()))
    .bind(filter.origin.map_or("", Word::word))
    .bind(filter.from.map_or(i64::MIN, |from| from.0))
    .bind(filter.to.map_or(i64::MAX, |to| to.0))
    .bind(after.0)
    .bind(after.1)
    .bind(slice.limit)
    .fetch_all(connection)
    .await?;
    rows.iter().map(recording).collect()
}

/// Whom an imported recording's swings belong to; `None` for one that was not imported.
///
/// # Errors
/// If it cannot be read.
pub async fn imported_for(connection: &mut AnyConnection, id: Uuid) -> Result<Option<ImportedFor>, StoreError> {
    let row = sqlx::query("SELECT athlete_id, round_id FROM recordings WHERE id = $1 AND origin = 'import'")
        .bind(id.to_string())
        .fetch_optional(&mut *connection)
        .await?;
    let Some(row) = row else { return Ok(None) };
    let round = match maybe_uuid(&row, "round_id")? {
        Some(id) => Some(rounds::get(connection, id).await?),
        None => None,
    };
    Ok(Some(ImportedFor { athlete_id: maybe_uuid(&row, "athlete_id")?, round }))
}

/// The swings of a recording, in the order of time.
///
/// # Errors
/// If they cannot be read.
pub async fn swing_ids(connection: &mut AnyConnection, id: Uuid) -> Result<Vec<Uuid>, StoreError> {
    let rows = sqlx::query("SELECT id FROM swings WHERE recording_id = $1 ORDER BY run, contact_s, id")
        .bind(id.to_string())
        .fetch_all(connection)
        .await?;
    rows.iter().map(|row| uuid(row, "id")).collect()
}

/// One from a row that holds all columns of `recordings`.
///
/// # Errors
/// If the row is not as this version writes it.
pub fn recording(row: &AnyRow) -> Result<Recording, StoreError> {
    let ended: Option<i64> = row.try_get("ended_utc_us")?;
    Ok(Recording {
        id: uuid(row, "id")?,
        cage: row.try_get("cage")?,
        file_name: row.try_get("file_name")?,
        sensor_id: maybe_uuid(row, "sensor_id")?,
        origin: Origin::from_word(row.try_get("origin")?)?,
        imported_name: row.try_get("imported_name")?,
        athlete_id: maybe_uuid(row, "athlete_id")?,
        begun: UtcMicros(row.try_get("begun_utc_us")?),
        ended: ended.map(UtcMicros),
        summary: summary(row)?,
        sha256: row.try_get("sha256")?,
        state: RecordingState::from_word(row.try_get("state")?)?,
        version: row.try_get("version")?,
    })
}

/// All of it was written at once, or nothing yet.
fn summary(row: &AnyRow) -> Result<Option<RecordingSummary>, StoreError> {
    let Some(duration_s) = row.try_get("duration_s")? else { return Ok(None) };
    Ok(Some(RecordingSummary {
        duration_s,
        samples: row.try_get::<Option<i64>, _>("samples")?.unwrap_or(0),
        sample_rate_hz: row.try_get::<Option<f64>, _>("sample_rate_hz")?.unwrap_or(0.0),
        gaps: row.try_get::<Option<i64>, _>("gaps")?.unwrap_or(0),
        missing_samples: row.try_get::<Option<i64>, _>("missing_samples")?.unwrap_or(0),
    }))
}
