//! Profiles that swings were analysed with.

use super::super::StoreError;
use sqlx::{AnyConnection, Row};

/// Keeps a profile's text under its SHA-256 (hexadecimal), unless it is there already.
///
/// # Errors
/// If it cannot be written.
pub async fn keep(connection: &mut AnyConnection, sha256: &str, toml: &str) -> Result<(), StoreError> {
    sqlx::query("INSERT INTO profiles (sha256, toml) VALUES ($1, $2) ON CONFLICT (sha256) DO NOTHING")
        .bind(sha256)
        .bind(toml)
        .execute(connection)
        .await?;
    Ok(())
}

/// The text of the one with this SHA-256.
///
/// # Errors
/// If there is none, or it cannot be read.
pub async fn get(connection: &mut AnyConnection, sha256: &str) -> Result<String, StoreError> {
    let row =
        sqlx::query("SELECT toml FROM profiles WHERE sha256 = $1").bind(sha256).fetch_optional(connection).await?;
    let row = row.ok_or_else(|| StoreError::NoSuch { kind: "profile", id: sha256.to_owned() })?;
    Ok(row.try_get("toml")?)
}
