//! Tokens, by their hashes.

use super::super::StoreError;
use super::super::rows::{Role, Token, UtcMicros, Word};
use super::{Slice, uuid};
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, Row};
use uuid::Uuid;

/// Keeps a new one.
///
/// # Errors
/// If it cannot be written.
pub async fn insert(connection: &mut AnyConnection, token: &Token) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO tokens (id, sha256, label, role, created_utc_us, expires_utc_us, revoked_utc_us, last_used_utc_us)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
    )
    .bind(token.id.to_string())
    .bind(&token.sha256)
    .bind(&token.label)
    .bind(token.role.word())
    .bind(token.created.0)
    .bind(token.expires.0)
    .bind(token.revoked.map(|at| at.0))
    .bind(token.last_used.map(|at| at.0))
    .execute(connection)
    .await?;
    Ok(())
}

/// The one with this hash, whether or not it is still worth anything.
///
/// # Errors
/// If it cannot be read.
pub async fn with_hash(connection: &mut AnyConnection, sha256: &str) -> Result<Option<Token>, StoreError> {
    let row = sqlx::query("SELECT * FROM tokens WHERE sha256 = $1").bind(sha256).fetch_optional(connection).await?;
    row.as_ref().map(token).transpose()
}

/// A page of them in the order in which they were made.
///
/// # Errors
/// If they cannot be read.
pub async fn list(connection: &mut AnyConnection, slice: Slice<Uuid>) -> Result<Vec<Token>, StoreError> {
    let after = slice.after.map_or_else(String::new, |id| id.to_string());
    let rows = sqlx::query("SELECT * FROM tokens WHERE id > $1 ORDER BY id LIMIT $2")
        .bind(after)
        .bind(slice.limit)
        .fetch_all(connection)
        .await?;
    rows.iter().map(token).collect()
}

/// Takes one back. One that was taken back before keeps its first date.
///
/// # Errors
/// If there is none, or it cannot be written.
pub async fn revoke(connection: &mut AnyConnection, id: Uuid, now: UtcMicros) -> Result<(), StoreError> {
    let done = sqlx::query("UPDATE tokens SET revoked_utc_us = COALESCE(revoked_utc_us, $2) WHERE id = $1")
        .bind(id.to_string())
        .bind(now.0)
        .execute(connection)
        .await?;
    if done.rows_affected() == 0 {
        return Err(StoreError::NoSuch { kind: "token", id: id.to_string() });
    }
    Ok(())
}

/// It was used.
///
/// # Errors
/// If it cannot be written.
pub async fn used(connection: &mut AnyConnection, id: Uuid, now: UtcMicros) -> Result<(), StoreError> {
    sqlx::query("UPDATE tokens SET last_used_utc_us = $2 WHERE id = $1")
        .bind(id.to_string())
        .bind(now.0)
        .execute(connection)
        .await?;
    Ok(())
}

/// Whether one is worth something.
///
/// # Errors
/// If it cannot be read.
pub async fn is_valid(connection: &mut AnyConnection, id: Uuid, now: UtcMicros) -> Result<bool, StoreError> {
    let row = sqlx::query("SELECT id FROM tokens WHERE id = $1 AND revoked_utc_us IS NULL AND expires_utc_us > $2")
        .bind(id.to_string())
        .bind(now.0)
        .fetch_optional(connection)
        .await?;
    Ok(row.is_some())
}

/// How many are worth something.
///
/// # Errors
/// If they cannot be read.
pub async fn count_valid(connection: &mut AnyConnection, now: UtcMicros) -> Result<i64, StoreError> {
    let row = sqlx::query("SELECT COUNT(*) FROM tokens WHERE revoked_utc_us IS NULL AND expires_utc_us > $1")
        .bind(now.0)
        .fetch_one(connection)
        .await?;
    Ok(row.try_get(0)?)
}

fn token(row: &AnyRow) -> Result<Token, StoreError> {
    let role: String = row.try_get("role")?;
    Ok(Token {
        id: uuid(row, "id")?,
        sha256: row.try_get("sha256")?,
        label: row.try_get("label")?,
        role: Role::from_word(&role)?,
        created: UtcMicros(row.try_get("created_utc_us")?),
        expires: UtcMicros(row.try_get("expires_utc_us")?),
        revoked: row.try_get::<Option<i64>, _>("revoked_utc_us")?.map(UtcMicros),
        last_used: row.try_get::<Option<i64>, _>("last_used_utc_us")?.map(UtcMicros),
    })
}
