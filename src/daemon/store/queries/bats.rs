//! Bats and training implements.

use super::super::StoreError;
use super::super::rows::{Bat, BatKind, Moi, Seen, UtcMicros, Word};
use super::{Slice, changed, truth, uuid};
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, Row};
use uuid::Uuid;

/// Enters one. Its version is taken as 1.
///
/// # Errors
/// If it cannot be written.
pub async fn insert(connection: &mut AnyConnection, bat: &Bat) -> Result<(), StoreError> {
    let moi = MoiColumns::of(bat.moi);
    sqlx::query(
        "INSERT INTO bats (id, name, kind, length_m, mass_kg, balance_m, moi_knob6_kgm2, moi_knob6_sigma_kgm2,
             moi_source, pendulum_period_s, pendulum_period_sigma_s, sweet_spot_m, barrel_diameter_m, note, is_retired,
             created_utc_us, version)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, 1)",
    )
    .bind(bat.id.to_string())
    .bind(&bat.name)
    .bind(bat.kind.word())
    .bind(bat.length_m)
    .bind(bat.mass_kg)
    .bind(bat.balance_m)
    .bind(moi.moi_knob6_kgm2)
    .bind(moi.sigma_kgm2)
    .bind(moi.source)
    .bind(moi.period_s)
    .bind(moi.period_sigma_s)
    .bind(bat.sweet_spot_m)
    .bind(bat.barrel_diameter_m)
    .bind(&bat.note)
    .bind(i64::from(bat.is_retired))
    .bind(bat.created.0)
    .execute(connection)
    .await?;
    Ok(())
}

/// Puts the row of `bat.id` to these values, if it still has `bat.version`.
///
/// # Errors
/// If there is none, it was changed since, or it cannot be written.
pub async fn update(connection: &mut AnyConnection, bat: &Bat) -> Result<(), StoreError> {
    let moi = MoiColumns::of(bat.moi);
    let done = sqlx::query(
        "UPDATE bats SET name = $3, kind = $4, length_m = $5, mass_kg = $6, balance_m = $7, moi_knob6_kgm2 = $8,
             moi_knob6_sigma_kgm2 = $9, moi_source = $10, pendulum_period_s = $11, pendulum_period_sigma_s = $12,
             sweet_spot_m = $13, barrel_diameter_m = $14, note = $15, is_retired = $16, version = version + 1
         WHERE id = $1 AND version = $2",
    )
    .bind(bat.id.to_string())
    .bind(bat.version)
    .bind(&bat.name)
    .bind(bat.kind.word())
    .bind(bat.length_m)
    .bind(bat.mass_kg)
    .bind(bat.balance_m)
    .bind(moi.moi_knob6_kgm2)
    .bind(moi.sigma_kgm2)
    .bind(moi.source)
    .bind(moi.period_s)
    .bind(moi.period_sigma_s)
    .bind(bat.sweet_spot_m)
    .bind(bat.barrel_diameter_m)
    .bind(&bat.note)
    .bind(i64::from(bat.is_retired))
    .execute(&mut *connection)
    .await?;
    let seen = Seen { id: bat.id, version: bat.version };
    changed(connection, done.rows_affected(), "bat", seen, "SELECT version FROM bats WHERE id = $1").await
}

/// Removes one that nothing refers to any more or that may be forgotten: rounds and swings with it lose their bat.
///
/// # Errors
/// If there is none, it was changed since, or it cannot be written.
pub async fn delete(connection: &mut AnyConnection, seen: Seen) -> Result<(), StoreError> {
    let done = sqlx::query("DELETE FROM bats WHERE id = $1 AND version = $2")
        .bind(seen.id.to_string())
        .bind(seen.version)
        .execute(&mut *connection)
        .await?;
    changed(connection, done.rows_affected(), "bat", seen, "SELECT version FROM bats WHERE id = $1").await
}

/// The one with this id.
///
/// # Errors
/// If there is none, or it cannot be read.
pub async fn get(connection: &mut AnyConnection, id: Uuid) -> Result<Bat, StoreError> {
    let row = sqlx::query("SELECT * FROM bats WHERE id = $1").bind(id.to_string()).fetch_optional(connection).await?;
    row.map_or_else(|| Err(StoreError::NoSuch { kind: "bat", id: id.to_string() }), |row| bat(&row))
}

/// A page of them in the order of their ids, which is that in which they were entered.
///
/// # Errors
/// If they cannot be read.
pub async fn list(connection: &mut AnyConnection, slice: Slice<Uuid>) -> Result<Vec<Bat>, StoreError> {
    let after = slice.after.map_or_else(String::new, |id| id.to_string());
    let rows = sqlx::query("SELECT * FROM bats WHERE id > $1 ORDER BY id LIMIT $2")
        .bind(after)
        .bind(slice.limit)
        .fetch_all(connection)
        .await?;
    rows.iter().map(bat).collect()
}

/// Those that were entered last, the newest first.
///
/// # Errors
/// If they cannot be read.
pub async fn newest(connection: &mut AnyConnection, most: i64) -> Result<Vec<Bat>, StoreError> {
    let newest = sqlx::query("SELECT * FROM bats ORDER BY id DESC LIMIT $1").bind(most);
    newest.fetch_all(connection).await?.iter().map(bat).collect()
}

fn bat(row: &AnyRow) -> Result<Bat, StoreError> {
    Ok(Bat {
        id: uuid(row, "id")?,
        name: row.try_get("name")?,
        kind: BatKind::from_word(row.try_get("kind")?)?,
        length_m: row.try_get("length_m")?,
        mass_kg: row.try_get("mass_kg")?,
        balance_m: row.try_get("balance_m")?,
        moi: moi(row)?,
        sweet_spot_m: row.try_get("sweet_spot_m")?,
        barrel_diameter_m: row.try_get("barrel_diameter_m")?,
        note: row.try_get("note")?,
        is_retired: truth(row, "is_retired")?,
        created: UtcMicros(row.try_get("created_utc_us")?),
        version: row.try_get("version")?,
    })
}

fn moi(row: &AnyRow) -> Result<Option<Moi>, StoreError> {
    let Some(moi_knob6_kgm2) = row.try_get("moi_knob6_kgm2")? else { return Ok(None) };
    let sigma_kgm2 = row.try_get("moi_knob6_sigma_kgm2")?;
    let period_s: Option<f64> = row.try_get("pendulum_period_s")?;
    Ok(Some(match period_s {
        Some(period_s) => Moi::Pendulum {
            moi_knob6_kgm2,
            sigma_kgm2,
            period_s,
            period_sigma_s: row.try_get("pendulum_period_sigma_s")?,
        },
        None => Moi::Entered { moi_knob6_kgm2, sigma_kgm2 },
    }))
}

#[derive(Default)]
struct MoiColumns {
    moi_knob6_kgm2: Option<f64>,
    sigma_kgm2: Option<f64>,
    source: Option<&'static str>,
    period_s: Option<f64>,
    period_sigma_s: Option<f64>,
}

impl MoiColumns {
    fn of(moi: Option<Moi>) -> Self {
        match moi {
            None => Self::default(),
            Some(Moi::Entered { moi_knob6_kgm2, sigma_kgm2 }) => {
                Self { moi_knob6_kgm2: Some(moi_knob6_kgm2), sigma_kgm2, source: Some("entered"), ..Self::default() }
            }
            Some(Moi::Pendulum { moi_knob6_kgm2, sigma_kgm2, period_s, period_sigma_s }) => Self {
                moi_knob6_kgm2: Some(moi_knob6_kgm2),
                sigma_kgm2,
                source: Some("pendulum"),
                period_s: Some(period_s),
                period_sigma_s,
            },
        }
    }
}
