//! Answers to creations, kept for a while.

use super::super::StoreError;
use sqlx::{AnyConnection, Row};

/// What was asked, by whom.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Asked {
    /// Who asked; empty: this machine.
    pub caller: String,
    /// The key they gave.
    pub key: String,
    /// SHA-256 of path with query and body, hexadecimal.
    pub request_sha256: String,
}

/// What was answered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Answer {
    /// HTTP status.
    pub status: u16,
    /// Where what was made is.
    pub location: String,
    /// Its version.
    pub version: i64,
    /// JSON.
    pub body: Vec<u8>,
}

/// What was answered to this caller under this key since `oldest` (µs of UTC), and the hash of what was asked then.
///
/// # Errors
/// If it cannot be read.
pub async fn find(
    connection: &mut AnyConnection,
    asked: &Asked,
    oldest: i64,
) -> Result<Option<(String, Answer)>, StoreError> {
    let row = sqlx::query(
        "SELECT request_sha256, status, location, version, body FROM idempotency_keys
         WHERE caller = $1 AND idempotency_key = $2 AND created_utc_us >= $3",
    )
    .bind(&asked.caller)
    .bind(&asked.key)
    .bind(oldest)
    .fetch_optional(connection)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let status = u16::try_from(row.try_get::<i64, _>("status")?).unwrap_or(201);
    let answer = Answer {
        status,
        location: row.try_get("location")?,
        version: row.try_get("version")?,
        body: row.try_get("body")?,
    };
    Ok(Some((row.try_get("request_sha256")?, answer)))
}

/// Keeps an answer.
///
/// # Errors
/// If there is one under this key, or it cannot be written.
pub async fn keep(
    connection: &mut AnyConnection,
    asked: &Asked,
    answer: &Answer,
    now_utc_us: i64,
) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO idempotency_keys (caller, idempotency_key, request_sha256, status, location, version, body,
             created_utc_us)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
    )
    .bind(&asked.caller)
    .bind(&asked.key)
    .bind(&asked.request_sha256)
    .bind(i64::from(answer.status))
    .bind(&answer.location)
    .bind(answer.version)
    .bind(&answer.body[..])
    .bind(now_utc_us)
    .execute(connection)
    .await?;
    Ok(())
}

/// Forgets answers older than `oldest` (µs of UTC).
///
/// # Errors
/// If they cannot be removed.
pub async fn forget(connection: &mut AnyConnection, oldest: i64) -> Result<(), StoreError> {
    sqlx::query("DELETE FROM idempotency_keys WHERE created_utc_us < $1").bind(oldest).execute(connection).await?;
    Ok(())
}

/// Forgets all of them: they may repeat what is to be erased.
///
/// # Errors
/// If they cannot be removed.
pub async fn forget_all(connection: &mut AnyConnection) -> Result<(), StoreError> {
    sqlx::query("DELETE FROM idempotency_keys").execute(connection).await?;
    Ok(())
}
