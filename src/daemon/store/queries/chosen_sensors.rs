//! Sensors that are to be used, an installation at a time.

use super::super::StoreError;
use super::super::rows::{ChosenSensor, UtcMicros};
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, Row};

/// Those of an installation, in the order of what its radio calls them.
///
/// # Errors
/// If they cannot be read.
pub async fn list(connection: &mut AnyConnection, cage: &str) -> Result<Vec<ChosenSensor>, StoreError> {
    let rows = sqlx::query("SELECT * FROM chosen_sensors WHERE cage = $1 ORDER BY radio_id")
        .bind(cage)
        .fetch_all(connection)
        .await?;
    rows.iter().map(chosen).collect()
}

/// Chooses one. One that is chosen already stays as it is.
///
/// # Errors
/// If it cannot be written.
pub async fn insert(connection: &mut AnyConnection, chosen: &ChosenSensor) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO chosen_sensors (cage, radio_id, name, chosen_utc_us) VALUES ($1, $2, $3, $4)
         ON CONFLICT (cage, radio_id) DO NOTHING",
    )
    .bind(&chosen.cage)
    .bind(&chosen.radio_id)
    .bind(&chosen.name)
    .bind(chosen.chosen.0)
    .execute(connection)
    .await?;
    Ok(())
}

/// Chooses one no longer, if it was.
///
/// # Errors
/// If it cannot be written.
pub async fn delete(connection: &mut AnyConnection, cage: &str, radio_id: &str) -> Result<(), StoreError> {
    sqlx::query("DELETE FROM chosen_sensors WHERE cage = $1 AND radio_id = $2")
        .bind(cage)
        .bind(radio_id)
        .execute(connection)
        .await?;
    Ok(())
}

fn chosen(row: &AnyRow) -> Result<ChosenSensor, StoreError> {
    Ok(ChosenSensor {
        cage: row.try_get("cage")?,
        radio_id: row.try_get("radio_id")?,
        name: row.try_get("name")?,
        chosen: UtcMicros(row.try_get("chosen_utc_us")?),
    })
}
