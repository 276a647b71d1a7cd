//! Who and what the next swing belongs to, a row an installation.

use super::super::StoreError;
use super::super::rows::{BallSource, Plate, Side, UtcMicros, Word};
use super::maybe_uuid;
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, Row};
use uuid::Uuid;

/// An installation's, if anything was ever said there.
///
/// # Errors
/// If it cannot be read.
pub async fn get(connection: &mut AnyConnection, cage: &str) -> Result<Option<Plate>, StoreError> {
    let row = sqlx::query("SELECT * FROM plates WHERE cage = $1").bind(cage).fetch_optional(connection).await?;
    row.map(|row| plate(&row)).transpose()
}

/// Takes the place of what was said before; its version, which only rises.
///
/// # Errors
/// If it refers to something that is not there, or cannot be written.
pub async fn put(connection: &mut AnyConnection, plate: &Plate) -> Result<i64, StoreError> {
    let text = |id: Option<Uuid>| id.map(|id| id.to_string());
    let row = sqlx::query(
        "INSERT INTO plates (cage, athlete_id, lesson_id, round_id, side, bat_id, drill, ball_source, pitch_speed_mps,
             pitch_descent_deg, since_utc_us, version)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, 1)
         ON CONFLICT (cage) DO UPDATE SET athlete_id = excluded.athlete_id, lesson_id = excluded.lesson_id,
             round_id = excluded.round_id, side = excluded.side, bat_id = excluded.bat_id, drill = excluded.drill,
             ball_source = excluded.ball_source, pitch_speed_mps = excluded.pitch_speed_mps,
             pitch_descent_deg = excluded.pitch_descent_deg, since_utc_us = excluded.since_utc_us,
             version = plates.version + 1
         RETURNING version",
    )
    .bind(&plate.cage)
    .bind(text(plate.athlete_id))
    .bind(text(plate.lesson_id))
    .bind(text(plate.round_id))
    .bind(plate.side.map(Side::word))
    .bind(text(plate.bat_id))
    .bind(&plate.drill)
    .bind(plate.ball_source.map(BallSource::word))
    .bind(plate.pitch_speed_mps)
    .bind(plate.pitch_descent_deg)
    .bind(plate.since.0)
    .fetch_one(connection)
    .await?;
    Ok(row.try_get("version")?)
}

/// When the last swing of a lesson was, if it has any.
///
/// # Errors
/// If it cannot be read.
pub async fn last_swing(connection: &mut AnyConnection, lesson_id: Uuid) -> Result<Option<UtcMicros>, StoreError> {
    let row =
        sqlx::query("SELECT contact_utc_us FROM swings WHERE lesson_id = $1 ORDER BY contact_utc_us DESC LIMIT 1")
            .bind(lesson_id.to_string())
            .fetch_optional(connection)
            .await?;
    Ok(row.map(|row| row.try_get(0)).transpose()?.map(UtcMicros))
}

fn plate(row: &AnyRow) -> Result<Plate, StoreError> {
    let (side, source): (Option<String>, Option<String>) = (row.try_get("side")?, row.try_get("ball_source")?);
    Ok(Plate {
        cage: row.try_get("cage")?,
        athlete_id: maybe_uuid(row, "athlete_id")?,
        lesson_id: maybe_uuid(row, "lesson_id")?,
        round_id: maybe_uuid(row, "round_id")?,
        side: side.as_deref().map(Side::from_word).transpose()?,
        bat_id: maybe_uuid(row, "bat_id")?,
        drill: row.try_get("drill")?,
        ball_source: source.as_deref().map(BallSource::from_word).transpose()?,
        pitch_speed_mps: row.try_get("pitch_speed_mps")?,
        pitch_descent_deg: row.try_get("pitch_descent_deg")?,
        since: UtcMicros(row.try_get("since_utc_us")?),
        version: row.try_get("version")?,
    })
}
