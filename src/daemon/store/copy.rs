//! A whole store taken into another: the copy of one instant, for backups and for restoring them.

use super::{Place, Store, StoreError, schema};
use futures::TryStreamExt;
use sqlx::any::{AnyArguments, AnyRow};
use sqlx::query::Query;
use sqlx::{Any, AnyConnection, AssertSqlSafe, Connection, Executor, Row};
use std::collections::BTreeMap;
use std::path::Path;

/// Every table, each after those it refers to. Held to the schema by `every_table_is_known`.
pub const TABLES: [&str; 24] = [
    "athletes",
    "consents",
    "bats",
    "sensors",
    "mounts",
    "lessons",
    "rounds",
    "recordings",
    "aims",
    "profiles",
    "swings",
    "swing_tags",
    "analyses",
    "curves",
    "ball_results",
    "plates",
    "chosen_sensors",
    "amounts",
    "homework",
    "tokens",
    "audit",
    "idempotency_keys",
    "tombstones",
    "backups",
];

/// How many rows each table has.
pub type Counts = BTreeMap<String, i64>;

/// The schema's version that this program makes.
pub const SCHEMA_VERSION: i64 = schema::LATEST;

impl Store {
    /// Writes a copy of one instant into a new SQLite file; others go on writing meanwhile.
    ///
    /// # Errors
    /// If either cannot be read or written, or the file is there.
    pub async fn copy_into(&self, path: &Path) -> Result<(), StoreError> {
        if self.place.is_sqlite() {
            let mut connection = self.readers.acquire().await?;
            sqlx::query("VACUUM INTO $1").bind(path.to_string_lossy().into_owned()).execute(&mut *connection).await?;
            return Ok(());
        }
        let copy = Self::open(&super::Place::File(path.to_owned())).await?;
        let mut from = self.read().await?;
        let mut into = copy.write().await?;
        copy_from_server(&mut from, &mut into).await?;
        into.commit().await?;
        copy.close().await;
        Ok(())
    }

    /// Writes the file anew, so that nothing deleted is in it: also what was left where rows were moved from page to page.
    /// SQLite only. Takes about as long as copying the file does, and nobody else writes meanwhile.
    ///
    /// # Errors
    /// If it cannot be written, or another connection uses it.
    pub async fn rebuild(&self) -> Result<(), StoreError> {
        if self.place.is_sqlite() {
            self.writer.execute("VACUUM").await?;
        }
        Ok(())
    }

    /// Has what deleted rows left removed, as far as it is in reach: SQLite's log is emptied (see [`Self::rebuild`]
    /// for its pages), PostgreSQL's tables are vacuumed. False if somebody is still reading what was there
    /// before.
    ///
    /// # Errors
    /// If the store cannot be written to.
    pub async fn sweep(&self) -> Result<bool, StoreError> {
        let mut connection = self.writer.acquire().await?;
        if self.place.is_sqlite() {
            let row = connection.fetch_one("PRAGMA wal_checkpoint(TRUNCATE)").await?;
            return Ok(row.try_get::<i64, _>(0)? == 0);
        }
        for table in TABLES {
            connection.execute(AssertSqlSafe(format!("VACUUM {table}"))).await?;
        }
        Ok(true)
    }

    /// What is wrong with a SQLite store; empty if nothing is.
    ///
    /// # Errors
    /// If it cannot be read.
    pub async fn faults(&self) -> Result<Vec<String>, StoreError> {
        let mut connection = self.readers.acquire().await?;
        let checked = connection.fetch_all("PRAGMA integrity_check").await?;
        let words: Result<Vec<String>, _> = checked.iter().map(|row| row.try_get(0)).collect();
        let mut faults: Vec<String> = words?.into_iter().filter(|word| word != "ok").collect();
        for row in connection.fetch_all("PRAGMA foreign_key_check").await? {
            let (table, parent): (String, String) = (row.try_get(0)?, row.try_get(2)?);
            faults.push(format!("a row of {table} refers to none of {parent}"));
        }
        Ok(faults)
    }
}

/// Opens a SQLite file that nobody writes to for reading alone: nothing of it is changed, nor a log made beside it.
///
/// # Errors
/// If it cannot be read or is no store.
pub async fn look_at(file: &Path) -> Result<AnyConnection, StoreError> {
    sqlx::any::install_default_drivers();
    let place = Place::File(file.to_owned());
    let cannot_open = |error| StoreError::cannot_open(&place, error);
    AnyConnection::connect(&place.unchanged_url()).await.map_err(cannot_open)
}

/// Closes it.
pub async fn look_away(connection: AnyConnection) {
    // Nothing was written that closing could lose.
    let _ = connection.close().await;
}

/// How many rows each table has.
///
/// # Errors
/// If they cannot be read.
pub async fn counts(connection: &mut AnyConnection) -> Result<Counts, StoreError> {
    let mut counts = Counts::new();
    for table in TABLES {
        let row = connection.fetch_one(AssertSqlSafe(format!("SELECT COUNT(*) FROM {table}"))).await?;
        counts.insert(table.to_owned(), row.try_get(0)?);
    }
    Ok(counts)
}

/// The version of the schema that a store has.
///
/// # Errors
/// If it cannot be read.
pub async fn schema_version(connection: &mut AnyConnection) -> Result<i64, StoreError> {
    let row = connection.fetch_one("SELECT MAX(version) FROM _sqlx_migrations").await?;
    Ok(row.try_get(0)?)
}

/// All rows of a PostgreSQL store into an empty SQLite one.
///
/// # Errors
/// If they cannot be read or written.
pub async fn copy_from_server(from: &mut AnyConnection, into: &mut AnyConnection) -> Result<(), StoreError> {
    for table in TABLES {
        let columns = columns(into, table).await?;
        copy_table(from, into, table, &columns).await?;
    }
    Ok(())
}

/// All rows of a SQLite store into an empty PostgreSQL one.
///
/// # Errors
/// If they cannot be read or written.
pub async fn copy_to_server(from: &mut AnyConnection, into: &mut AnyConnection) -> Result<(), StoreError> {
    for table in TABLES {
        let columns = columns(from, table).await?;
        copy_table(from, into, table, &columns).await?;
    }
    Ok(())
}

#[derive(Clone, Copy)]
enum Kind {
    Text,
    Integer,
    Real,
    Blob,
}

struct Column {
    name: String,
    kind: Kind,
}

/// By SQLite's word.
async fn columns(sqlite: &mut AnyConnection, table: &str) -> Result<Vec<Column>, StoreError> {
    let rows = sqlx::query("SELECT name, type FROM pragma_table_info($1)").bind(table).fetch_all(sqlite).await?;
    let column = |row: &AnyRow| {
        let kind: String = row.try_get(1)?;
        let kind = match kind.as_str() {
            "TEXT" => Kind::Text,
            "INTEGER" => Kind::Integer,
            "REAL" => Kind::Real,
            "BLOB" => Kind::Blob,
            other => return Err(StoreError::Strange(format!("a column of {table} is of type {other}"))),
        };
        Ok(Column { name: row.try_get(0)?, kind })
    };
    rows.iter().map(column).collect()
}

async fn copy_table(
    from: &mut AnyConnection,
    into: &mut AnyConnection,
    table: &str,
    columns: &[Column],
) -> Result<(), StoreError> {
    let names: Vec<_> = columns.iter().map(|column| column.name.as_str()).collect();
    let places: Vec<_> = (1..=columns.len()).map(|number| format!("${number}")).collect();
    let names = names.join(", ");
    let insert = format!("INSERT INTO {table} ({names}) VALUES ({})", places.join(", "));
    let select = AssertSqlSafe(format!("SELECT {names} FROM {table}"));
    let mut rows = from.fetch(select);
    while let Some(row) = rows.try_next().await? {
        let mut query = sqlx::query(AssertSqlSafe(insert.clone()));
        for (at, column) in columns.iter().enumerate() {
            query = bound(query, &row, at, column.kind)?;
        }
        query.execute(&mut *into).await?;
    }
    Ok(())
}

fn bound<'q>(
    query: Query<'q, Any, AnyArguments>,
    row: &AnyRow,
    at: usize,
    kind: Kind,
) -> Result<Query<'q, Any, AnyArguments>, StoreError> {
    Ok(match kind {
        Kind::Text => query.bind(row.try_get::<Option<String>, _>(at)?),
        Kind::Integer => query.bind(row.try_get::<Option<i64>, _>(at)?),
        Kind::Real => query.bind(row.try_get::<Option<f64>, _>(at)?),
        Kind::Blob => query.bind(row.try_get::<Option<Vec<u8>>, _>(at)?),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::daemon::store::test_store::{TestStore, on_each};

    #[test]
    fn every_table_is_known() {
        on_each(async |test: TestStore| {
            let (store, folder) = (&test.store, &test.folder);
            let copy = folder.join("copy.sqlite");
            store.copy_into(&copy).await.unwrap();
            let copy = Store::open(&super::super::Place::File(copy)).await.unwrap();
            let mut read = copy.read().await.unwrap();
            let sql = "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE '\\_sqlx%' ESCAPE '\\'";
            let rows = read.fetch_all(sql).await.unwrap();
            let mut found: Vec<String> = rows.iter().map(|row| row.get(0)).collect();
            let mut known = TABLES.map(str::to_owned).to_vec();
            found.sort();
            known.sort();
            assert_eq!(found, known);
            assert_eq!(schema_version(&mut read).await.unwrap(), SCHEMA_VERSION);
        });
    }
}
