//! All SQL but the schema's: a function a query, the same text for SQLite and PostgreSQL.
//!
//! Parameters are `$1`, `$2`, …; text that is put together holds only column names and literals of this folder. Every function
//! takes a connection (a [`Transaction`](super::Transaction) or a [`Reading`](super::Reading) derefs to one); those that
//! belong together are called within one.

pub mod aims;
pub mod amounts;
pub mod analyses;
pub mod archive;
pub mod athletes;
pub mod audit;
pub mod backups;
pub mod ball_results;
pub mod bats;
pub mod chosen_sensors;
pub mod consents;
pub mod curves;
pub mod erase;
pub mod homework;
pub mod idempotency;
pub mod lessons;
pub mod mounts;
pub mod plates;
pub mod profiles;
pub mod recordings;
pub mod rounds;
pub mod sensors;
pub mod swings;
pub mod swings_edit;
pub mod swings_read;
#[cfg(test)]
pub mod tests;
pub mod tokens;
pub mod tombstones;

use super::StoreError;
use super::rows::{Seen, UtcMicros};
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, Row};
use std::fmt;
use std::str::FromStr;
use uuid::Uuid;

/// Where a page of a list begins and how long it is: rows after `after`, in the order of the list.
#[derive(Clone, Copy, Debug)]
pub struct Slice<K> {
    /// The last key of the page before; `None`: the first page.
    pub after: Option<K>,
    /// At most so many.
    pub limit: i64,
}

/// A place in a list that is in the order of time; of one instant, in that of the ids.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TimeKey {
    /// The instant by which the list is ordered.
    pub at: UtcMicros,
    /// Which row.
    pub id: Uuid,
}

/// As cursors hold it.
impl fmt::Display for TimeKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.at.0, self.id)
    }
}

impl FromStr for TimeKey {
    type Err = StoreError;

    fn from_str(text: &str) -> Result<Self, StoreError> {
        let key = text
            .split_once(' ')
            .and_then(|(at, id)| Some(Self { at: UtcMicros(at.parse().ok()?), id: id.parse().ok()? }));
        key.ok_or_else(|| StoreError::Strange(format!("`{text}`; expected an instant and an id")))
    }
}

/// The id in a column.
fn uuid(row: &AnyRow, column: &str) -> Result<Uuid, StoreError> {
    let text: String = row.try_get(column)?;
    text.parse().map_err(|_| StoreError::Strange(format!("`{column}` holds `{text}`; expected a UUID")))
}

/// The id in a column that may be NULL.
fn maybe_uuid(row: &AnyRow, column: &str) -> Result<Option<Uuid>, StoreError> {
    let text: Option<String> = row.try_get(column)?;
    let parsed = text.map(|text| {
        text.parse().map_err(|_| StoreError::Strange(format!("`{column}` holds `{text}`; expected a UUID")))
    });
    parsed.transpose()
}

/// The instant in a column that may be NULL.
fn instant(row: &AnyRow, column: &str) -> Result<Option<UtcMicros>, StoreError> {
    Ok(row.try_get::<Option<i64>, _>(column)?.map(UtcMicros))
}

/// So many parameters: `$1, $2, …`.
fn list_of(count: usize) -> String {
    (1..=count).map(|k| format!("${k}")).collect::<Vec<_>>().join(", ")
}

/// 0 or 1.
fn truth(row: &AnyRow, column: &str) -> Result<bool, StoreError> {
    Ok(row.try_get::<i64, _>(column)? != 0)
}

/// What an edit that found no row of its version is told: that there is none, or that it was changed.
///
/// `version_of` selects the version of the row `$1`.
async fn changed(
    connection: &mut AnyConnection,
    rows: u64,
    kind: &'static str,
    seen: Seen,
    version_of: &'static str,
) -> Result<(), StoreError> {
    if rows == 1 {
        return Ok(());
    }
    let now = sqlx::query(version_of).bind(seen.id.to_string()).fetch_optional(connection).await?;
    match now {
        Some(row) => Err(StoreError::Stale { kind, seen: seen.version, now: row.try_get(0)? }),
        None => Err(StoreError::NoSuch { kind, id: seen.id.to_string() }),
    }
}
