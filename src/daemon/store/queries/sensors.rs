//! Sensors that were ever connected.

use super::super::StoreError;
use super::super::rows::{Seen, Sensor, UtcMicros};
use super::{Slice, changed, uuid};
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, Row};
use uuid::Uuid;

const KIND: &str = "sensor";
const VERSION: &str = "SELECT version FROM sensors WHERE id = $1";

/// Enters one. Its version is taken as 1.
///
/// # Errors
/// If one has its name, or it cannot be written.
pub async fn insert(connection: &mut AnyConnection, sensor: &Sensor) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO sensors (id, name, label, note, first_seen_utc_us, last_seen_utc_us, version)
         VALUES ($1, $2, $3, $4, $5, $6, 1)",
    )
    .bind(sensor.id.to_string())
    .bind(&sensor.name)
    .bind(&sensor.label)
    .bind(&sensor.note)
    .bind(sensor.first_seen.0)
    .bind(sensor.last_seen.0)
    .execute(connection)
    .await?;
    Ok(())
}

/// The sensor of this name was seen: enters it the first time, and moves when it was seen last, which is no edit and
/// counts no version. What was seen earlier than is known moves nothing.
///
/// # Errors
/// If it cannot be written.
pub async fn see(connection: &mut AnyConnection, name: &str, now: UtcMicros) -> Result<Sensor, StoreError> {
    let row = sqlx::query(
        "INSERT INTO sensors (id, name, label, note, first_seen_utc_us, last_seen_utc_us, version)
         VALUES ($1, $2, '', '', $3, $3, 1)
         ON CONFLICT (name) DO UPDATE SET last_seen_utc_us =
             CASE WHEN excluded.last_seen_utc_us > sensors.last_seen_utc_us THEN excluded.last_seen_utc_us
                  ELSE sensors.last_seen_utc_us END
         RETURNING *",
    )
    .bind(Uuid::now_v7().to_string())
    .bind(name)
    .bind(now.0)
    .fetch_one(connection)
    .await?;
    sensor(&row)
}

/// Puts label and note of the row of `sensor.id` to these, if it still has `sensor.version`.
///
/// # Errors
/// If there is none, it was changed since, or it cannot be written.
pub async fn update(connection: &mut AnyConnection, sensor: &Sensor) -> Result<(), StoreError> {
    let done =
        sqlx::query("UPDATE sensors SET label = $3, note = $4, version = version + 1 WHERE id = $1 AND version = $2")
            .bind(sensor.id.to_string())
            .bind(sensor.version)
            .bind(&sensor.label)
            .bind(&sensor.note)
            .execute(&mut *connection)
            .await?;
    let seen = Seen { id: sensor.id, version: sensor.version };
    changed(connection, done.rows_affected(), KIND, seen, VERSION).await
}

/// Removes one with its mounts and aims. Its recordings stay, without a sensor.
///
/// # Errors
/// If there is none, it was changed since, or it cannot be written.
pub async fn delete(connection: &mut AnyConnection, seen: Seen) -> Result<(), StoreError> {
    let done = sqlx::query("DELETE FROM sensors WHERE id = $1 AND version = $2")
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
pub async fn get(connection: &mut AnyConnection, id: Uuid) -> Result<Sensor, StoreError> {
    let row =
        sqlx::query("SELECT * FROM sensors WHERE id = $1").bind(id.to_string()).fetch_optional(connection).await?;
    row.map_or_else(|| Err(StoreError::NoSuch { kind: KIND, id: id.to_string() }), |row| sensor(&row))
}

/// The one with this name, if there is one.
///
/// # Errors
/// If it cannot be read.
pub async fn by_name(connection: &mut AnyConnection, name: &str) -> Result<Option<Sensor>, StoreError> {
    let row = sqlx::query("SELECT * FROM sensors WHERE name = $1").bind(name).fetch_optional(connection).await?;
    row.map(|row| sensor(&row)).transpose()
}

/// A page of them in the order of their ids, which is that in which they were seen first.
///
/// # Errors
/// If they cannot be read.
pub async fn list(connection: &mut AnyConnection, slice: Slice<Uuid>) -> Result<Vec<Sensor>, StoreError> {
    let after = slice.after.map_or_else(String::new, |id| id.to_string());
    let rows = sqlx::query("SELECT * FROM sensors WHERE id > $1 ORDER BY id LIMIT $2")
        .bind(after)
        .bind(slice.limit)
        .fetch_all(connection)
        .await?;
    rows.iter().map(sensor).collect()
}

fn sensor(row: &AnyRow) -> Result<Sensor, StoreError> {
    Ok(Sensor {
        id: uuid(row, "id")?,
        name: row.try_get("name")?,
        label: row.try_get("label")?,
        note: row.try_get("note")?,
        first_seen: UtcMicros(row.try_get("first_seen_utc_us")?),
        last_seen: UtcMicros(row.try_get("last_seen_utc_us")?),
        version: row.try_get("version")?,
    })
}
