//! Curves of analyses, in their compact form.

use super::super::StoreError;
use sqlx::AnyConnection;
use uuid::Uuid;

/// Keeps those of an analysis that is there.
///
/// # Errors
/// If it has some already, or they cannot be written.
pub async fn insert(
    connection: &mut AnyConnection,
    swing_id: Uuid,
    revision: i64,
    compact: &[u8],
) -> Result<(), StoreError> {
    sqlx::query("INSERT INTO curves (swing_id, revision, compact) VALUES ($1, $2, $3)")
        .bind(swing_id.to_string())
        .bind(revision)
        .bind(compact)
        .execute(connection)
        .await?;
    Ok(())
}
