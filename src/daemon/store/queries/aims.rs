//! Directions toward the pitcher, as they were taken.

use super::super::StoreError;
use super::super::rows::{Aim, Seen, UtcMicros};
use super::{Slice, changed, maybe_uuid, uuid};
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, Row};
use uuid::Uuid;

const KIND: &str = "aim";
const VERSION: &str = "SELECT version FROM aims WHERE id = $1";

/// Which of them; what is not said does not matter.
#[derive(Clone, Copy, Debug, Default)]
pub struct Filter {
    /// In which lesson.
    pub lesson_id: Option<Uuid>,
    /// With which sensor.
    pub sensor_id: Option<Uuid>,
}

/// Enters one. Its version is taken as 1.
///
/// # Errors
/// If there is no such sensor, lesson or recording, or it cannot be written.
pub async fn insert(connection: &mut AnyConnection, aim: &Aim) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO aims (id, sensor_id, lesson_id, recording_id, taken_utc_us, taken_s, heading_rad,
             heading_sigma_rad, note, version)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, 1)",
    )
    .bind(aim.id.to_string())
    .bind(aim.sensor_id.to_string())
    .bind(aim.lesson_id.map(|id| id.to_string()))
    .bind(aim.recording_id.map(|id| id.to_string()))
    .bind(aim.taken.0)
    .bind(aim.taken_s)
    .bind(aim.heading_rad)
    .bind(aim.heading_sigma_rad)
    .bind(&aim.note)
    .execute(connection)
    .await?;
    Ok(())
}

/// Puts the row of `aim.id` to these values, if it still has `aim.version`; its sensor stays.
///
/// # Errors
/// If there is none, it was changed since, there is no such lesson or recording, or it cannot be written.
pub async fn update(connection: &mut AnyConnection, aim: &Aim) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE aims SET lesson_id = $3, recording_id = $4, taken_utc_us = $5, taken_s = $6, heading_rad = $7,
             heading_sigma_rad = $8, note = $9, version = version + 1
         WHERE id = $1 AND version = $2",
    )
    .bind(aim.id.to_string())
    .bind(aim.version)
    .bind(aim.lesson_id.map(|id| id.to_string()))
    .bind(aim.recording_id.map(|id| id.to_string()))
    .bind(aim.taken.0)
    .bind(aim.taken_s)
    .bind(aim.heading_rad)
    .bind(aim.heading_sigma_rad)
    .bind(&aim.note)
    .execute(&mut *connection)
    .await?;
    let seen = Seen { id: aim.id, version: aim.version };
    changed(connection, done.rows_affected(), KIND, seen, VERSION).await
}

/// Removes one.
///
/// # Errors
/// If there is none, it was changed since, or it cannot be written.
pub async fn delete(connection: &mut AnyConnection, seen: Seen) -> Result<(), StoreError> {
    let done = sqlx::query("DELETE FROM aims WHERE id = $1 AND version = $2")
        .bind(seen.id.to_string())
        .bind(seen.version)
        .execute(&mut *connection)
        .await?;
    changed(connection, done.rows_affected(), KIND, seen, VERSION).await
}

/// The one with this id.
///
/// # Errors
/// If there is none, or it cannot be read.
pub async fn get(connection: &mut AnyConnection, id: Uuid) -> Result<Aim, StoreError> {
    let row = sqlx::query("SELECT * FROM aims WHERE id = $1").bind(id.to_string()).fetch_optional(connection).await?;
    row.map_or_else(|| Err(StoreError::NoSuch { kind: KIND, id: id.to_string() }), |row| aim(&row))
}

/// A page of them in the order in which they were entered.
///
/// # Errors
/// If they cannot be read.
pub async fn list(connection: &mut AnyConnection, filter: &Filter, slice: Slice<Uuid>) -> Result<Vec<Aim>, StoreError> {
    let text = |id: Option<Uuid>| id.map_or_else(String::new, |id| id.to_string());
    let rows = sqlx::query(
        "SELECT * FROM aims WHERE ($1 = '' OR lesson_id = $1) AND ($2 = '' OR sensor_id = $2) AND id > $3
         ORDER BY id LIMIT $4",
    )
    .bind(text(filter.lesson_id))
    .bind(text(filter.sensor_id))
    .bind(text(slice.after))
    .bind(slice.limit)
    .fetch_all(connection)
    .await?;
    rows.iter().map(aim).collect()
}

fn aim(row: &AnyRow) -> Result<Aim, StoreError> {
    Ok(Aim {
        id: uuid(row, "id")?,
        sensor_id: uuid(row, "sensor_id")?,
        lesson_id: maybe_uuid(row, "lesson_id")?,
        recording_id: maybe_uuid(row, "recording_id")?,
        taken: UtcMicros(row.try_get("taken_utc_us")?),
        taken_s: row.try_get("taken_s")?,
        heading_rad: row.try_get("heading_rad")?,
        heading_sigma_rad: row.try_get("heading_sigma_rad")?,
        note: row.try_get("note")?,
        version: row.try_get("version")?,
    })
}
