//! How sensors sit on bats.

use super::super::StoreError;
use super::super::rows::{Mount, MountSource, Seen, UtcMicros, Word};
use super::{Slice, changed, instant, maybe_uuid, uuid};
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, Row};
use uuid::Uuid;

const KIND: &str = "mount";
const VERSION: &str = "SELECT version FROM mounts WHERE id = $1";

/// Enters one. Its version is taken as 1.
///
/// # Errors
/// If there is no such sensor or bat, or it cannot be written.
pub async fn insert(connection: &mut AnyConnection, mount: &Mount) -> Result<(), StoreError> {
    let ([x, y, z], [qw, qx, qy, qz]) = (mount.offset_b_m, mount.q_bs_wxyz);
    sqlx::query(
        "INSERT INTO mounts (id, sensor_id, bat_id, offset_b_x_m, offset_b_y_m, offset_b_z_m, q_bs_w, q_bs_x, q_bs_y,
             q_bs_z, tilt_sigma_rad, source, mounted_utc_us, removed_utc_us, note, version)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, 1)",
    )
    .bind(mount.id.to_string())
    .bind(mount.sensor_id.to_string())
    .bind(mount.bat_id.map(|id| id.to_string()))
    .bind(x)
    .bind(y)
    .bind(z)
    .bind(qw)
    .bind(qx)
    .bind(qy)
    .bind(qz)
    .bind(mount.tilt_sigma_rad)
    .bind(mount.source.word())
    .bind(mount.mounted.0)
    .bind(mount.removed.map(|at| at.0))
    .bind(&mount.note)
    .execute(connection)
    .await?;
    Ok(())
}

/// Puts the row of `mount.id` to these values, if it still has `mount.version`; its sensor stays.
///
/// # Errors
/// If there is none, it was changed since, there is no such bat, or it cannot be written.
pub async fn update(connection: &mut AnyConnection, mount: &Mount) -> Result<(), StoreError> {
    let ([x, y, z], [qw, qx, qy, qz]) = (mount.offset_b_m, mount.q_bs_wxyz);
    let done = sqlx::query(
        "UPDATE mounts SET bat_id = $3, offset_b_x_m = $4, offset_b_y_m = $5, offset_b_z_m = $6, q_bs_w = $7,
             q_bs_x = $8, q_bs_y = $9, q_bs_z = $10, tilt_sigma_rad = $11, source = $12, mounted_utc_us = $13,
             removed_utc_us = $14, note = $15, version = version + 1
         WHERE id = $1 AND version = $2",
    )
    .bind(mount.id.to_string())
    .bind(mount.version)
    .bind(mount.bat_id.map(|id| id.to_string()))
    .bind(x)
    .bind(y)
    .bind(z)
    .bind(qw)
    .bind(qx)
    .bind(qy)
    .bind(qz)
    .bind(mount.tilt_sigma_rad)
    .bind(mount.source.word())
    .bind(mount.mounted.0)
    .bind(mount.removed.map(|at| at.0))
    .bind(&mount.note)
    .execute(&mut *connection)
    .await?;
    let seen = Seen { id: mount.id, version: mount.version };
    changed(connection, done.rows_affected(), KIND, seen, VERSION).await
}

/// Removes one.
///
/// # Errors
/// If there is none, it was changed since, or it cannot be written.
pub async fn delete(connection: &mut AnyConnection, seen: Seen) -> Result<(), StoreError> {
    let done = sqlx::query("DELETE FROM mounts WHERE id = $1 AND version = $2")
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
pub async fn get(connection: &mut AnyConnection, id: Uuid) -> Result<Mount, StoreError> {
    let row = sqlx::query("SELECT * FROM mounts WHERE id = $1").bind(id.to_string()).fetch_optional(connection).await?;
    row.map_or_else(|| Err(StoreError::NoSuch { kind: KIND, id: id.to_string() }), |row| mount(&row))
}

/// A page of them, of one sensor where it is named, in the order in which they were entered.
///
/// # Errors
/// If they cannot be read.
pub async fn list(
    connection: &mut AnyConnection,
    sensor_id: Option<Uuid>,
    slice: Slice<Uuid>,
) -> Result<Vec<Mount>, StoreError> {
    let after = slice.after.map_or_else(String::new, |id| id.to_string());
    let rows = sqlx::query("SELECT * FROM mounts WHERE ($1 = '' OR sensor_id = $1) AND id > $2 ORDER BY id LIMIT $3")
        .bind(sensor_id.map_or_else(String::new, |id| id.to_string()))
        .bind(after)
        .bind(slice.limit)
        .fetch_all(connection)
        .await?;
    rows.iter().map(mount).collect()
}

/// How a sensor sits now: on this bat, else what holds for every bat; of several, what was mounted last.
///
/// # Errors
/// If it cannot be read.
pub async fn current(
    connection: &mut AnyConnection,
    sensor_id: Uuid,
    bat_id: Option<Uuid>,
) -> Result<Option<Mount>, StoreError> {
    let row = sqlx::query(
        "SELECT * FROM mounts WHERE sensor_id = $1 AND removed_utc_us IS NULL AND (bat_id = $2 OR bat_id IS NULL)
         ORDER BY CASE WHEN bat_id IS NULL THEN 1 ELSE 0 END, mounted_utc_us DESC, id DESC LIMIT 1",
    )
    .bind(sensor_id.to_string())
    .bind(bat_id.map_or_else(String::new, |id| id.to_string()))
    .fetch_optional(connection)
    .await?;
    row.map(|row| mount(&row)).transpose()
}

fn mount(row: &AnyRow) -> Result<Mount, StoreError> {
    Ok(Mount {
        id: uuid(row, "id")?,
        sensor_id: uuid(row, "sensor_id")?,
        bat_id: maybe_uuid(row, "bat_id")?,
        offset_b_m: [row.try_get("offset_b_x_m")?, row.try_get("offset_b_y_m")?, row.try_get("offset_b_z_m")?],
        q_bs_wxyz: [row.try_get("q_bs_w")?, row.try_get("q_bs_x")?, row.try_get("q_bs_y")?, row.try_get("q_bs_z")?],
        tilt_sigma_rad: row.try_get("tilt_sigma_rad")?,
        source: MountSource::from_word(row.try_get("source")?)?,
        mounted: UtcMicros(row.try_get("mounted_utc_us")?),
        removed: instant(row, "removed_utc_us")?,
        note: row.try_get("note")?,
        version: row.try_get("version")?,
    })
}
