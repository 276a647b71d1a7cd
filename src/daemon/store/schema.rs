//! The schema's versions, embedded, in order. A version that was ever released is not edited: a change is a new one.

use super::{Place, StoreError};
use sqlx::migrate::{Migration, MigrationType, Migrator};
use sqlx::{AnyConnection, AssertSqlSafe, Row, SqlSafeStr};

/// Version, name and SQL of each step, in SQLite's dialect.
const STEPS: [(i64, &str, &str); 3] = [
    (1, "record", include_str!("migrations/0001_record.sql")),
    (2, "chosen_sensors", include_str!("migrations/0002_chosen_sensors.sql")),
    (3, "then_and_now", include_str!("migrations/0003_then_and_now.sql")),
];

/// The version that the last step leads to.
pub(super) const LATEST: i64 = 3;

/// What PostgreSQL calls things otherwise.
const IN_POSTGRES: [(&str, &str); 4] =
    [(" INTEGER", " BIGINT"), (" REAL", " DOUBLE PRECISION"), (" BLOB", " BYTEA"), (") STRICT;", ");")];

/// Where both databases' migrations are told of, by sqlx.
const STEPS_TAKEN: &str = "_sqlx_migrations";

/// Looks whether a database is empty or one of this program's, of this version or an earlier one, and changes nothing.
/// A PostgreSQL database may hold tables of others beside.
pub(super) async fn check(connection: &mut AnyConnection, place: &Place) -> Result<(), StoreError> {
    let tables = if place.is_sqlite() {
        "SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name"
    } else {
        "SELECT CAST(table_name AS TEXT) AS name FROM information_schema.tables
         WHERE table_schema = CURRENT_SCHEMA() ORDER BY table_name"
    };
    let cannot_open = |error| StoreError::cannot_open(place, error);
    let rows = sqlx::query(tables).fetch_all(&mut *connection).await.map_err(cannot_open)?;
    let tables = rows.iter().map(|row| row.try_get("name")).collect::<Result<Vec<String>, _>>()?;
    let foreign = |found| StoreError::Foreign { place: place.to_string(), found };
    if !tables.iter().any(|table| table == STEPS_TAKEN) {
        let other = tables.first().filter(|_| place.is_sqlite());
        return other.map_or(Ok(()), |other| Err(foreign(format!("it holds the table `{other}` of another program"))));
    }
    let last = "SELECT MAX(version) AS version FROM _sqlx_migrations";
    let row = sqlx::query(last).fetch_one(connection).await.map_err(cannot_open)?;
    match row.try_get::<Option<i64>, _>("version")? {
        Some(version) if version > LATEST => {
            Err(foreign(format!("its schema is version {version}, of a later swingd; this one knows {LATEST}")))
        }
        _ => Ok(()),
    }
}

/// Takes the steps that a database lacks.
pub(super) async fn migrate(connection: &mut AnyConnection, is_sqlite: bool) -> Result<(), StoreError> {
    migrate_to(connection, is_sqlite, i64::MAX).await
}

/// The same, up to a version.
pub(super) async fn migrate_to(connection: &mut AnyConnection, is_sqlite: bool, last: i64) -> Result<(), StoreError> {
    let steps = STEPS.iter().filter(|(version, ..)| *version <= last);
    let migrations = steps.map(|(version, name, sql)| {
        let sql = if is_sqlite { (*sql).to_owned() } else { in_postgres(sql) };
        let sql = AssertSqlSafe(sql).into_sql_str();
        Migration::new(*version, (*name).into(), MigrationType::Simple, sql, false)
    });
    Ok(Migrator::with_migrations(migrations.collect()).run_direct(None, connection, false).await?)
}

/// SQLite's dialect as PostgreSQL reads it. Comments are left as they are.
fn in_postgres(sql: &str) -> String {
    let line = |line: &str| {
        if line.trim_start().starts_with("--") {
            return line.to_owned();
        }
        IN_POSTGRES.iter().fold(line.to_owned(), |line, (sqlite, postgres)| line.replace(sqlite, postgres))
    };
    sql.lines().map(line).collect::<Vec<_>>().join("\n")
}

#[cfg(test)]
mod tests;
