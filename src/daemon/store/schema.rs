//! The schema's versions, embedded, in order. A version that was ever released is not edited: a change is a new one.

use super::StoreError;
use sqlx::migrate::{Migration, MigrationType, Migrator};
use sqlx::{AnyConnection, AssertSqlSafe, SqlSafeStr};

/// Version, name and SQL of each step, in SQLite's dialect.
const STEPS: [(i64, &str, &str); 1] = [(1, "record", include_str!("migrations/0001_record.sql"))];

/// The version that the last step leads to.
pub(super) const LATEST: i64 = 1;

/// What PostgreSQL calls things otherwise.
const IN_POSTGRES: [(&str, &str); 4] =
    [(" INTEGER", " BIGINT"), (" REAL", " DOUBLE PRECISION"), (" BLOB", " BYTEA"), (") STRICT;", ");")];

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
