//! Whoever swings.

use super::super::StoreError;
use super::super::rows::{Athlete, Bats, Seen, UtcMicros, Word};
use super::{Slice, changed, uuid};
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, Row};
use uuid::Uuid;

const KIND: &str = "athlete";
const VERSION: &str = "SELECT version FROM athletes WHERE id = $1";

/// Enters one. Its version is taken as 1.
///
/// # Errors
/// If it cannot be written.
pub async fn insert(connection: &mut AnyConnection, athlete: &Athlete) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO athletes (id, nickname, birth_year, bats, height_m, note, created_utc_us, version)
         VALUES ($1, $2, $3, $4, $5, $6, $7, 1)",
    )
    .bind(athlete.id.to_string())
    .bind(&athlete.nickname)
    .bind(athlete.birth_year)
    .bind(athlete.bats.word())
    .bind(athlete.height_m)
    .bind(&athlete.note)
    .bind(athlete.created.0)
    .execute(connection)
    .await?;
    Ok(())
}

/// Puts the row of `athlete.id` to these values, if it still has `athlete.version`; when it was entered stays.
///
/// # Errors
/// If there is none, it was changed since, or it cannot be written.
pub async fn update(connection: &mut AnyConnection, athlete: &Athlete) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE athletes SET nickname = $3, birth_year = $4, bats = $5, height_m = $6, note = $7, version = version + 1
         WHERE id = $1 AND version = $2",
    )
    .bind(athlete.id.to_string())
    .bind(athlete.version)
    .bind(&athlete.nickname)
    .bind(athlete.birth_year)
    .bind(athlete.bats.word())
    .bind(athlete.height_m)
    .bind(&athlete.note)
    .execute(&mut *connection)
    .await?;
    let seen = Seen { id: athlete.id, version: athlete.version };
    changed(connection, done.rows_affected(), KIND, seen, VERSION).await
}

/// Removes one, with all that is theirs in the store: consents, lessons, swings, ball results. Recordings and backups are
/// not reached by this.
///
/// # Errors
/// If there is none, it was changed since, or it cannot be written.
#[cfg(test)]
pub async fn delete(connection: &mut AnyConnection, seen: Seen) -> Result<(), StoreError> {
    let done = sqlx::query("DELETE FROM athletes WHERE id = $1 AND version = $2")
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
pub async fn get(connection: &mut AnyConnection, id: Uuid) -> Result<Athlete, StoreError> {
    let row =
        sqlx::query("SELECT * FROM athletes WHERE id = $1").bind(id.to_string()).fetch_optional(connection).await?;
    row.map_or_else(|| Err(StoreError::NoSuch { kind: KIND, id: id.to_string() }), |row| athlete(&row))
}

/// A page of them in the order of their ids, which is that in which they were entered; where a nickname is given, of those
/// who have exactly that one.
///
/// # Errors
/// If they cannot be read.
pub async fn list(
    connection: &mut AnyConnection,
    nickname: Option<&str>,
    slice: Slice<Uuid>,
) -> Result<Vec<Athlete>, StoreError> {
    let after = slice.after.map_or_else(String::new, |id| id.to_string());
    let sql = match nickname {
        Some(_) => "SELECT * FROM athletes WHERE nickname = $1 AND id > $2 ORDER BY id LIMIT $3",
        None => "SELECT * FROM athletes WHERE $1 = '' AND id > $2 ORDER BY id LIMIT $3",
    };
    let rows =
        sqlx::query(sql).bind(nickname.unwrap_or_default()).bind(after).bind(slice.limit).fetch_all(connection).await?;
    rows.iter().map(athlete).collect()
}

/// Those who were entered last, the newest first.
///
/// # Errors
/// If they cannot be read.
pub async fn newest(connection: &mut AnyConnection, most: i64) -> Result<Vec<Athlete>, StoreError> {
    let newest = sqlx::query("SELECT * FROM athletes ORDER BY id DESC LIMIT $1").bind(most);
    newest.fetch_all(connection).await?.iter().map(athlete).collect()
}

/// A page of those whose nickname holds these words, in the order of their ids; of capital and small letters only those of
/// ASCII are the same everywhere.
///
/// # Errors
/// If they cannot be read.
pub async fn search(
    connection: &mut AnyConnection,
    words: &str,
    slice: Slice<Uuid>,
) -> Result<Vec<Athlete>, StoreError> {
    let after = slice.after.map_or_else(String::new, |id| id.to_string());
    let escaped = words.replace('!', "!!").replace('%', "!%").replace('_', "!_");
    let rows = sqlx::query(
        "SELECT * FROM athletes WHERE LOWER(nickname) LIKE LOWER($1) ESCAPE '!' AND id > $2 ORDER BY id LIMIT $3",
    )
    .bind(format!("%{escaped}%"))
    .bind(after)
    .bind(slice.limit)
    .fetch_all(connection)
    .await?;
    rows.iter().map(athlete).collect()
}

fn athlete(row: &AnyRow) -> Result<Athlete, StoreError> {
    Ok(Athlete {
        id: uuid(row, "id")?,
        nickname: row.try_get("nickname")?,
        birth_year: row.try_get("birth_year")?,
        bats: Bats::from_word(row.try_get("bats")?)?,
        height_m: row.try_get("height_m")?,
        note: row.try_get("note")?,
        created: UtcMicros(row.try_get("created_utc_us")?),
        version: row.try_get("version")?,
    })
}
