//! Swings as they come in: found again, entered, and given a better analysis.

use super::super::StoreError;
use super::super::rows::{Analysis, Owner, Side, Swing, UtcMicros, Word};
use super::{maybe_uuid, uuid};
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, Row};
use uuid::Uuid;

/// Where a swing is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// In which recording.
    pub recording_id: Uuid,
    /// In which stretch of it between restarts of the sensor.
    pub run: i64,
    /// Its contact on the sensor's clock, s.
    pub contact_s: f64,
}

/// One that is there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Known {
    /// Its id.
    pub id: Uuid,
    /// Its latest analysis.
    pub revision: i64,
    /// Whom it belongs to.
    pub owner: Owner,
}

/// The swing nearest to a place whose contact is no farther from it than `within_s`.
///
/// # Errors
/// If it cannot be read.
pub async fn near(connection: &mut AnyConnection, place: Place, within_s: f64) -> Result<Option<Known>, StoreError> {
    let row = sqlx::query(
        "SELECT id, revision, athlete_id, lesson_id, round_id, side, bat_id FROM swings
         WHERE recording_id = $1 AND run = $2 AND contact_s >= $3 AND contact_s <= $4
         ORDER BY ABS(contact_s - $5), id LIMIT 1",
    )
    .bind(place.recording_id.to_string())
    .bind(place.run)
    .bind(place.contact_s - within_s)
    .bind(place.contact_s + within_s)
    .bind(place.contact_s)
    .fetch_optional(connection)
    .await?;
    let known =
        |row: AnyRow| Ok(Known { id: uuid(&row, "id")?, revision: row.try_get("revision")?, owner: owner(&row)? });
    row.map(known).transpose()
}

/// Whether there is one with this id.
///
/// # Errors
/// If it cannot be read.
pub async fn is_there(connection: &mut AnyConnection, id: Uuid) -> Result<bool, StoreError> {
    let row = sqlx::query("SELECT version FROM swings WHERE id = $1").bind(id.to_string()).fetch_optional(connection);
    Ok(row.await?.is_some())
}

/// Enters one. Its tags are not written: a new swing has none.
///
/// # Errors
/// If it refers to something that is not there, or cannot be written.
pub async fn insert(connection: &mut AnyConnection, swing: &Swing) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO swings (id, recording_id, run, contact_s, contact_utc_us, contact_utc_sigma_us, athlete_id, lesson_id,
             round_id, side, bat_id, mark, note, is_moved, revision, version)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16)",
    )
    .bind(swing.id.to_string())
    .bind(swing.recording_id.to_string())
    .bind(swing.run)
    .bind(swing.contact_s)
    .bind(swing.contact_utc.0)
    .bind(swing.contact_utc_sigma_us)
    .bind(text(swing.athlete_id))
    .bind(text(swing.lesson_id))
    .bind(text(swing.round_id))
    .bind(swing.side.map(Side::word))
    .bind(text(swing.bat_id))
    .bind(swing.mark.word())
    .bind(&swing.note)
    .bind(i64::from(swing.is_moved))
    .bind(swing.revision)
    .bind(swing.version)
    .execute(connection)
    .await?;
    Ok(())
}

/// Makes an analysis the latest of its swing: revision and contact. All that people say of the swing stays.
///
/// # Errors
/// If there is no such swing, or it cannot be written.
pub async fn revise(
    connection: &mut AnyConnection,
    analysis: &Analysis,
    (contact_utc, contact_utc_sigma_us): (UtcMicros, Option<i64>),
) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE swings SET revision = $2, contact_s = $3, contact_utc_us = $4, contact_utc_sigma_us = $5,
             version = version + 1
         WHERE id = $1",
    )
    .bind(analysis.swing_id.to_string())
    .bind(analysis.revision)
    .bind(analysis.contact_s)
    .bind(contact_utc.0)
    .bind(contact_utc_sigma_us)
    .execute(connection)
    .await?;
    if done.rows_affected() == 1 {
        return Ok(());
    }
    Err(StoreError::NoSuch { kind: "swing", id: analysis.swing_id.to_string() })
}

/// What of an owner is in this store: a recording may name an athlete who was erased, or who is of another store.
///
/// # Errors
/// If it cannot be read.
pub async fn known(connection: &mut AnyConnection, claimed: Owner) -> Result<Owner, StoreError> {
    let row = sqlx::query(
        "SELECT (SELECT id FROM athletes WHERE id = $1) AS athlete_id,
                (SELECT id FROM lessons WHERE id = $2 AND athlete_id = $3) AS lesson_id,
                (SELECT id FROM rounds WHERE id = $4 AND lesson_id = $5) AS round_id,
                (SELECT id FROM bats WHERE id = $6) AS bat_id",
    )
    .bind(text(claimed.athlete_id))
    .bind(text(claimed.lesson_id))
    .bind(text(claimed.athlete_id))
    .bind(text(claimed.round_id))
    .bind(text(claimed.lesson_id))
    .bind(text(claimed.bat_id))
    .fetch_one(connection)
    .await?;
    let lesson_id = maybe_uuid(&row, "lesson_id")?;
    Ok(Owner {
        athlete_id: maybe_uuid(&row, "athlete_id")?,
        lesson_id,
        round_id: maybe_uuid(&row, "round_id")?.filter(|_| lesson_id.is_some()),
        side: claimed.side,
        bat_id: maybe_uuid(&row, "bat_id")?,
    })
}

fn owner(row: &AnyRow) -> Result<Owner, StoreError> {
    let side: Option<String> = row.try_get("side")?;
    Ok(Owner {
        athlete_id: maybe_uuid(row, "athlete_id")?,
        lesson_id: maybe_uuid(row, "lesson_id")?,
        round_id: maybe_uuid(row, "round_id")?,
        side: side.as_deref().map(Side::from_word).transpose()?,
        bat_id: maybe_uuid(row, "bat_id")?,
    })
}

fn text(id: Option<Uuid>) -> Option<String> {
    id.map(|id| id.to_string())
}
