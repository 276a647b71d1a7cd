//! Files of what sensors sent.

use super::super::StoreError;
use super::super::rows::{Origin, Recording, RecordingState, RecordingSummary, UtcMicros, Word};
use super::{maybe_uuid, uuid};
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, Row};
use uuid::Uuid;

/// Enters one. Its version is taken as 1.
///
/// # Errors
/// If there is one of this file already, or it cannot be written.
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
    .bind(&recording.imported_name)
    .bind(recording.athlete_id.map(|id| id.to_string()))
    .bind(recording.begun.0)
    .bind(recording.ended.map(|ended| ended.0))
    .bind(summary.map(|summary| summary.duration_s))
    .bind(summary.map(|summary| summary.samples))
    .bind(summary.map(|summary| summary.sample_rate_hz))
    .bind(summary.map(|summary| summary.gaps))
    .bind(summary.map(|summary| summary.missing_samples))
    .bind(&recording.sha256)
    .bind(recording.state.word())
    .execute(connection)
    .await?;
    Ok(())
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

/// It was read or recorded to its end.
///
/// # Errors
/// If there is none, or it cannot be written.
pub async fn end(
    connection: &mut AnyConnection,
    id: Uuid,
    ended: UtcMicros,
    summary: RecordingSummary,
    state: RecordingState,
) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE recordings SET ended_utc_us = $2, duration_s = $3, samples = $4, sample_rate_hz = $5, gaps = $6,
             missing_samples = $7, state = $8, version = version + 1
         WHERE id = $1",
    )
    .bind(id.to_string())
    .bind(ended.0)
    .bind(summary.duration_s)
    .bind(summary.samples)
    .bind(summary.sample_rate_hz)
    .bind(summary.gaps)
    .bind(summary.missing_samples)
    .bind(state.word())
    .execute(connection)
    .await?;
    if done.rows_affected() == 1 {
        return Ok(());
    }
    Err(StoreError::NoSuch { kind: "recording", id: id.to_string() })
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

fn summary(row: &AnyRow) -> Result<Option<RecordingSummary>, StoreError> {
    let Some(duration_s) = row.try_get("duration_s")? else { return Ok(None) };
    Ok(Some(RecordingSummary {
        duration_s,
        samples: row.try_get("samples")?,
        sample_rate_hz: row.try_get("sample_rate_hz")?,
        gaps: row.try_get("gaps")?,
        missing_samples: row.try_get("missing_samples")?,
    }))
}
