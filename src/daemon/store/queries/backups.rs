//! Backups that erasing has to reach.

use super::super::StoreError;
use super::super::rows::UtcMicros;
use super::uuid;
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, Row};
use std::path::PathBuf;
use uuid::Uuid;

/// A folder with a copy of the record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Backup {
    /// Its id.
    pub id: Uuid,
    /// The installation on whose machine it lies.
    pub cage: String,
    /// The whole path.
    pub folder: PathBuf,
    /// When it was made.
    pub made: UtcMicros,
    /// When it was found to be gone.
    pub gone: Option<UtcMicros>,
}

/// Enters one; one that is there stays as it is.
///
/// # Errors
/// If it cannot be written.
pub async fn insert(connection: &mut AnyConnection, backup: &Backup) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO backups (id, cage, folder, made_utc_us, gone_utc_us) VALUES ($1, $2, $3, $4, $5)
         ON CONFLICT (id) DO NOTHING",
    )
    .bind(backup.id.to_string())
    .bind(&backup.cage)
    .bind(backup.folder.to_string_lossy().into_owned())
    .bind(backup.made.0)
    .bind(backup.gone.map(|gone| gone.0))
    .execute(connection)
    .await?;
    Ok(())
}

/// All of them, oldest first.
///
/// # Errors
/// If they cannot be read.
pub async fn all(connection: &mut AnyConnection) -> Result<Vec<Backup>, StoreError> {
    let rows = sqlx::query("SELECT * FROM backups ORDER BY made_utc_us, id").fetch_all(connection).await?;
    rows.iter().map(backup).collect()
}

/// It is no longer there.
///
/// # Errors
/// If it cannot be written.
pub async fn mark_gone(connection: &mut AnyConnection, id: Uuid, now: UtcMicros) -> Result<(), StoreError> {
    sqlx::query("UPDATE backups SET gone_utc_us = $2 WHERE id = $1")
        .bind(id.to_string())
        .bind(now.0)
        .execute(connection)
        .await?;
    Ok(())
}

fn backup(row: &AnyRow) -> Result<Backup, StoreError> {
    Ok(Backup {
        id: uuid(row, "id")?,
        cage: row.try_get("cage")?,
        folder: PathBuf::from(row.try_get::<String, _>("folder")?),
        made: UtcMicros(row.try_get("made_utc_us")?),
        gone: row.try_get::<Option<i64>, _>("gone_utc_us")?.map(UtcMicros),
    })
}
