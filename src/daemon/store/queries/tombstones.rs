//! What was erased, and how far that has come.

use super::super::StoreError;
use super::super::rows::{UtcMicros, Word};
use super::{Slice, uuid};
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, Row};
use uuid::Uuid;

/// That something was erased.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tombstone {
    /// The id it had.
    pub id: Uuid,
    /// What it was.
    pub kind: Kind,
    /// When.
    pub erased: UtcMicros,
    /// Why.
    pub reason: Reason,
    /// How much, as JSON.
    pub removed: String,
}

/// What was erased.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// An athlete with all that was theirs.
    Athlete,
    /// A recording without swings.
    Recording,
}

impl Word for Kind {
    const ALL: &'static [Self] = &[Self::Athlete, Self::Recording];

    fn word(self) -> &'static str {
        match self {
            Self::Athlete => "athlete",
            Self::Recording => "recording",
        }
    }
}

/// Why it was erased.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reason {
    /// Somebody asked for it.
    Request,
    /// It was kept as long as the setting says.
    Retention,
}

impl Word for Reason {
    const ALL: &'static [Self] = &[Self::Request, Self::Retention];

    fn word(self) -> &'static str {
        match self {
            Self::Request => "request",
            Self::Retention => "retention",
        }
    }
}

/// Enters one; one that is there stays as it is.
///
/// # Errors
/// If it cannot be written.
pub async fn insert(connection: &mut AnyConnection, tombstone: &Tombstone) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO tombstones (id, kind, erased_utc_us, reason, removed) VALUES ($1, $2, $3, $4, $5)
         ON CONFLICT (id) DO NOTHING",
    )
    .bind(tombstone.id.to_string())
    .bind(tombstone.kind.word())
    .bind(tombstone.erased.0)
    .bind(tombstone.reason.word())
    .bind(&tombstone.removed)
    .execute(connection)
    .await?;
    Ok(())
}

/// Says anew how much was removed.
///
/// # Errors
/// If it cannot be written.
pub async fn update(connection: &mut AnyConnection, id: Uuid, removed: &str) -> Result<(), StoreError> {
    sqlx::query("UPDATE tombstones SET removed = $2 WHERE id = $1")
        .bind(id.to_string())
        .bind(removed)
        .execute(connection)
        .await?;
    Ok(())
}

/// The one with this id.
///
/// # Errors
/// If it cannot be read.
pub async fn find(connection: &mut AnyConnection, id: Uuid) -> Result<Option<Tombstone>, StoreError> {
    let row =
        sqlx::query("SELECT * FROM tombstones WHERE id = $1").bind(id.to_string()).fetch_optional(connection).await?;
    row.map(|row| tombstone(&row)).transpose()
}

/// A page of them, in the order of their ids: that in which what they stand for was entered.
///
/// # Errors
/// If they cannot be read.
pub async fn list(connection: &mut AnyConnection, slice: Slice<Uuid>) -> Result<Vec<Tombstone>, StoreError> {
    let after = slice.after.map_or_else(String::new, |id| id.to_string());
    let rows = sqlx::query("SELECT * FROM tombstones WHERE id > $1 ORDER BY id LIMIT $2")
        .bind(after)
        .bind(slice.limit)
        .fetch_all(connection)
        .await?;
    rows.iter().map(tombstone).collect()
}

/// All of them.
///
/// # Errors
/// If they cannot be read.
pub async fn all(connection: &mut AnyConnection) -> Result<Vec<Tombstone>, StoreError> {
    list(connection, Slice { after: None, limit: i64::MAX }).await
}

fn tombstone(row: &AnyRow) -> Result<Tombstone, StoreError> {
    Ok(Tombstone {
        id: uuid(row, "id")?,
        kind: Kind::from_word(row.try_get("kind")?)?,
        erased: UtcMicros(row.try_get("erased_utc_us")?),
        reason: Reason::from_word(row.try_get("reason")?)?,
        removed: row.try_get("removed")?,
    })
}
