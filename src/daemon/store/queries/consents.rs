//! Who allowed what for an athlete.

use super::super::StoreError;
use super::super::rows::{Consent, Relation, Scope, Seen, UtcMicros, Word};
use super::{Slice, changed, instant, list_of, uuid};
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, AssertSqlSafe, Row};
use uuid::Uuid;

const KIND: &str = "consent";
const VERSION: &str = "SELECT version FROM consents WHERE id = $1";

/// Enters one. Its version is taken as 1.
///
/// # Errors
/// If there is no such athlete, or it cannot be written.
pub async fn insert(connection: &mut AnyConnection, consent: &Consent) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO consents (id, athlete_id, given_by, relation, scope, given_utc_us, expires_utc_us,
             withdrawn_utc_us, note, version)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, 1)",
    )
    .bind(consent.id.to_string())
    .bind(consent.athlete_id.to_string())
    .bind(&consent.given_by)
    .bind(consent.relation.word())
    .bind(joined(&consent.scope))
    .bind(consent.given.0)
    .bind(consent.expires.map(|at| at.0))
    .bind(consent.withdrawn.map(|at| at.0))
    .bind(&consent.note)
    .execute(connection)
    .await?;
    Ok(())
}

/// Puts the row of `consent.id` to these values, if it still has `consent.version`; whose it is stays.
///
/// # Errors
/// If there is none, it was changed since, or it cannot be written.
pub async fn update(connection: &mut AnyConnection, consent: &Consent) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE consents SET given_by = $3, relation = $4, scope = $5, given_utc_us = $6, expires_utc_us = $7,
             withdrawn_utc_us = $8, note = $9, version = version + 1
         WHERE id = $1 AND version = $2",
    )
    .bind(consent.id.to_string())
    .bind(consent.version)
    .bind(&consent.given_by)
    .bind(consent.relation.word())
    .bind(joined(&consent.scope))
    .bind(consent.given.0)
    .bind(consent.expires.map(|at| at.0))
    .bind(consent.withdrawn.map(|at| at.0))
    .bind(&consent.note)
    .execute(&mut *connection)
    .await?;
    let seen = Seen { id: consent.id, version: consent.version };
    changed(connection, done.rows_affected(), KIND, seen, VERSION).await
}

/// Removes one. A withdrawn consent is kept, with the date; this is for what was never one.
///
/// # Errors
/// If there is none, it was changed since, or it cannot be written.
pub async fn delete(connection: &mut AnyConnection, seen: Seen) -> Result<(), StoreError> {
    let done = sqlx::query("DELETE FROM consents WHERE id = $1 AND version = $2")
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
pub async fn get(connection: &mut AnyConnection, id: Uuid) -> Result<Consent, StoreError> {
    let row =
        sqlx::query("SELECT * FROM consents WHERE id = $1").bind(id.to_string()).fetch_optional(connection).await?;
    row.map_or_else(|| Err(StoreError::NoSuch { kind: KIND, id: id.to_string() }), |row| consent(&row))
}

/// A page of an athlete's, in the order in which they were entered.
///
/// # Errors
/// If they cannot be read.
pub async fn list(
    connection: &mut AnyConnection,
    athlete_id: Uuid,
    slice: Slice<Uuid>,
) -> Result<Vec<Consent>, StoreError> {
    let after = slice.after.map_or_else(String::new, |id| id.to_string());
    let rows = sqlx::query("SELECT * FROM consents WHERE athlete_id = $1 AND id > $2 ORDER BY id LIMIT $3")
        .bind(athlete_id.to_string())
        .bind(after)
        .bind(slice.limit)
        .fetch_all(connection)
        .await?;
    rows.iter().map(consent).collect()
}

/// All of some athletes (as many as a page has), by athlete.
///
/// # Errors
/// If they cannot be read.
pub async fn of_athletes(connection: &mut AnyConnection, athletes: &[Uuid]) -> Result<Vec<Consent>, StoreError> {
    if athletes.is_empty() {
        return Ok(Vec::new());
    }
    let places = list_of(athletes.len());
    let sql = format!("SELECT * FROM consents WHERE athlete_id IN ({places}) ORDER BY athlete_id, id");
    let mut query = sqlx::query(AssertSqlSafe(sql));
    for id in athletes {
        query = query.bind(id.to_string());
    }
    query.fetch_all(connection).await?.iter().map(consent).collect()
}

fn consent(row: &AnyRow) -> Result<Consent, StoreError> {
    let scope: String = row.try_get("scope")?;
    let words = scope.split(',').filter(|word| !word.is_empty());
    Ok(Consent {
        id: uuid(row, "id")?,
        athlete_id: uuid(row, "athlete_id")?,
        given_by: row.try_get("given_by")?,
        relation: Relation::from_word(row.try_get("relation")?)?,
        scope: words.map(Scope::from_word).collect::<Result<_, _>>()?,
        given: UtcMicros(row.try_get("given_utc_us")?),
        expires: instant(row, "expires_utc_us")?,
        withdrawn: instant(row, "withdrawn_utc_us")?,
        note: row.try_get("note")?,
        version: row.try_get("version")?,
    })
}

/// Each once, in the order of the set.
fn joined(scope: &[Scope]) -> String {
    let named = Scope::ALL.iter().filter(|word| scope.contains(word));
    named.map(|word| word.word()).collect::<Vec<_>>().join(",")
}
