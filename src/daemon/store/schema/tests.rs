//! A store of any earlier version, with a row in every table, becomes the same as a fresh one and loses nothing. A new step is
//! tested without a change here, but for its checksum.

use super::super::test_store::{empty, on_each_server};
use super::super::{Store, prepare_sqlite};
use super::*;
use crate::daemon::hex::hex;
use sha2::{Digest, Sha256};
use sqlx::{Connection, Executor};
use std::collections::BTreeMap;
use std::path::Path;
use std::time::{Duration, Instant};

/// SHA-256 of each step's SQL. What was released is never edited, or stores that took the step could no longer be opened. Until
/// the first release, with no such store anywhere, the one of the first step may be moved.
const RELEASED: &[(i64, &str)] = &[
    (1, "f67b46625d627c010333239d66e2fe4c7e8fa080bb1ef18512210a3893071b7f"),
    (2, "cb13578fbd961f343bed3d5a23d78e3056e055c918f05b5de316d747e90fabc5"),
    (3, "29244250d3b6e2647fff7321e698a5d2cce88e7a797b869f6d6ab3b298ff08b6"),
];

#[test]
fn released_steps_are_as_they_were() {
    let steps: Vec<_> =
        STEPS.iter().map(|(version, _, sql)| (*version, hex(&Sha256::digest(sql.as_bytes())))).collect();
    let released: Vec<_> = RELEASED.iter().map(|(version, sha256)| (*version, (*sha256).to_owned())).collect();
    assert_eq!(steps, released, "a step was edited, or has no checksum yet");
    let versions: Vec<_> = STEPS.iter().map(|(version, ..)| *version).collect();
    assert_eq!(versions, (1..=LATEST).collect::<Vec<_>>(), "steps are counted from 1");
}

#[test]
fn every_earlier_version_with_a_row_in_each_table_becomes_a_fresh_store_and_loses_nothing() {
    on_each_server(async |server| {
        let fresh = schema_of(server, &mut migrated(server, LATEST).await.1).await;
        assert!(fresh.len() > 20, "{fresh:?}");
        for version in 0..=LATEST {
            let (place, mut connection) = migrated(server, version).await;
            fill(server, version, &mut connection).await;
            let before = contents(server, &mut connection).await;
            // A store is opened as ever: by its own connection, with its foreign keys.
            connection.close().await.unwrap();
            Store::open(&place.place).await.unwrap().close().await;
            let mut connection = connected(&place.place).await;
            assert_kept(version, &before, &contents(server, &mut connection).await);
            assert_eq!(schema_of(server, &mut connection).await, fresh, "from version {version}");
            if server.is_none() {
                assert_sound(&mut connection).await;
            }
            connection.close().await.unwrap();
            // Again: there is nothing left to be done.
            Store::open(&place.place).await.unwrap().close().await;
        }
    });
}

#[test]
fn a_store_of_a_later_version_is_refused_and_left_as_it_is() {
    on_each_server(async |server| {
        let (place, mut connection) = migrated(server, LATEST).await;
        fill(server, LATEST, &mut connection).await;
        let later = format!(
            "INSERT INTO _sqlx_migrations (version, description, success, checksum, execution_time)
             SELECT {}, 'later', success, checksum, 0 FROM _sqlx_migrations WHERE version = 1",
            LATEST + 1
        );
        connection.execute(AssertSqlSafe(later)).await.unwrap();
        let before = contents(server, &mut connection).await;
        connection.close().await.unwrap();
        let bytes = std::fs::read(place.folder.join("store.sqlite")).ok();
        let words = Store::open(&place.place).await.unwrap_err().to_string();
        let expected = format!(
            "its schema is version {}, of a later swingd; this one knows {LATEST}; expected a store of this version of swingd",
            LATEST + 1
        );
        assert!(words.contains(&expected) && words.starts_with(&place.place.to_string()), "{words}");
        assert_eq!(std::fs::read(place.folder.join("store.sqlite")).ok(), bytes);
        let mut connection = AnyConnection::connect(&place.place.url()).await.unwrap();
        assert_eq!(contents(server, &mut connection).await, before);
        connection.close().await.unwrap();
    });
}

#[test]
fn a_file_that_is_no_store_is_refused_at_once_and_left_as_it_is() {
    on_each_server(async |server| {
        let None = server else { return };
        let place = empty(None).await;
        let file = place.folder.join("store.sqlite");
        let lesson = b"time_s,gyro_x_dps\n0.000,1.5\n".repeat(100);
        assert_refused(&place.place, &file, &lesson, "not a database").await;

        std::fs::remove_file(&file).unwrap();
        let mut connection = AnyConnection::connect(&place.place.url()).await.unwrap();
        connection.execute("CREATE TABLE ledger (amount INTEGER)").await.unwrap();
        connection.close().await.unwrap();
        let ledger = std::fs::read(&file).unwrap();
        assert_refused(&place.place, &file, &ledger, "it holds the table `ledger` of another program").await;

        let (other, connection) = migrated(None, LATEST).await;
        connection.close().await.unwrap();
        let whole = std::fs::read(other.folder.join("store.sqlite")).unwrap();
        // Cut behind the header: SQLite sees that there are fewer pages than it says.
        assert_refused(&place.place, &file, &whole[..whole.len() / 8192 * 8192 / 2], "malformed").await;
    });
}

async fn assert_refused(place: &Place, file: &Path, bytes: &[u8], why: &str) {
    std::fs::write(file, bytes).unwrap();
    let begun = Instant::now();
    let words = Store::open(place).await.unwrap_err().to_string();
    assert!(words.contains(why) && words.contains("expected a store"), "{words}");
    assert!(begun.elapsed() < Duration::from_secs(4), "it was tried again and again: {:?}", begun.elapsed());
    assert_eq!(std::fs::read(file).unwrap(), bytes, "{why}");
}

/// A database that took the steps up to a version.
async fn migrated(server: Option<&str>, version: i64) -> (super::super::test_store::TestPlace, AnyConnection) {
    let place = empty(server).await;
    sqlx::any::install_default_drivers();
    let mut connection = connected(&place.place).await;
    migrate_to(&mut connection, server.is_none(), version).await.unwrap();
    (place, connection)
}

async fn connected(place: &Place) -> AnyConnection {
    let mut connection = AnyConnection::connect(&place.url()).await.unwrap();
    if place.is_sqlite() {
        prepare_sqlite(&mut connection).await.unwrap();
    }
    connection
}

/// One column, as SQLite tells of it.
struct Column {
    name: String,
    kind: String,
    /// What it refers to.
    of: Option<(String, String)>,
}

/// A row in every table that a version has, with a value in every column, so that whatever a step loses is missed. The plan is
/// made from a SQLite database of that version, whichever database is filled.
async fn fill(server: Option<&str>, version: i64, connection: &mut AnyConnection) {
    let (_place, mut plan) = migrated(None, version).await;
    let mut left = Vec::new();
    for (table, sql) in tables(&mut plan).await {
        left.push((columns(&mut plan, &table).await, table, sql));
    }
    plan.close().await.unwrap();
    let mut values: BTreeMap<(String, String), String> = BTreeMap::new();
    while !left.is_empty() {
        let is_left = |table: &str| left.iter().any(|(_, left, _)| left == table);
        let is_next = |table: &str, columns: &[Column]| {
            columns.iter().all(|column| column.of.as_ref().is_none_or(|(of, _)| of == table || !is_left(of)))
        };
        let next = left.iter().position(|(columns, table, _)| is_next(table, columns));
        let (columns, table, sql) = left.remove(next.expect("tables refer to each other in a ring"));
        let row: Vec<_> = columns.iter().map(|column| value(server, &table, &sql, column, &values)).collect();
        let names: Vec<_> = columns.iter().map(|column| column.name.as_str()).collect();
        let insert = format!("INSERT INTO {table} ({}) VALUES ({})", names.join(", "), row.join(", "));
        connection.execute(AssertSqlSafe(insert)).await.unwrap_or_else(|error| panic!("{table}: {error}"));
        values.extend(columns.into_iter().zip(row).map(|(column, value)| ((table.clone(), column.name), value)));
    }
}

/// SQL of what stands in a column: what it refers to, the first of the words that it may hold, or something of its kind.
fn value(
    server: Option<&str>,
    table: &str,
    sql: &str,
    column: &Column,
    values: &BTreeMap<(String, String), String>,
) -> String {
    if let Some(value) = column.of.as_ref().and_then(|of| values.get(of)) {
        return value.clone();
    }
    let choice = format!("CHECK ({} IN (", column.name);
    if let Some((_, words)) = sql.split_once(&choice) {
        return words.split([',', ')']).next().unwrap().to_owned();
    }
    match (column.kind.as_str(), server) {
        ("INTEGER", _) => "7".into(),
        ("REAL", _) => "0.25".into(),
        ("BLOB", None) => "X'5357'".into(),
        ("BLOB", Some(_)) => "'\\x5357'".into(),
        ("TEXT", _) => format!("'{table} {}'", column.name),
        (kind, _) => panic!("{table}.{}: {kind}; expected one of the four kinds of STRICT tables", column.name),
    }
}

async fn tables(connection: &mut AnyConnection) -> Vec<(String, String)> {
    let rows = sqlx::query("SELECT name, sql FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' AND name <> '_sqlx_migrations'")
        .fetch_all(connection)
        .await;
    rows.unwrap().iter().map(|row| (row.get("name"), row.get("sql"))).collect()
}

async fn columns(connection: &mut AnyConnection, table: &str) -> Vec<Column> {
    let sql = "SELECT c.name, c.type, k.\"table\" AS of_table, k.\"to\" AS of_column FROM pragma_table_info($1) c
               LEFT JOIN pragma_foreign_key_list($2) k ON k.\"from\" = c.name ORDER BY c.cid, k.id";
    let rows = sqlx::query(sql).bind(table).bind(table).fetch_all(connection).await.unwrap();
    let mut columns: Vec<Column> = Vec::new();
    for row in rows {
        let name: String = row.get("name");
        if columns.last().is_some_and(|last| last.name == name) {
            continue;
        }
        let of: Option<String> = row.get("of_table");
        let of = of.map(|table| (table, row.get("of_column")));
        columns.push(Column { name, kind: row.get("type"), of });
    }
    columns
}

/// Every value by table and column, sorted, as text.
type Contents = BTreeMap<(String, String), Vec<Option<String>>>;

async fn contents(server: Option<&str>, connection: &mut AnyConnection) -> Contents {
    let sql = if server.is_none() {
        "SELECT m.name AS t, c.name AS c FROM sqlite_master m, pragma_table_info(m.name) c
         WHERE m.type = 'table' AND m.name NOT LIKE 'sqlite_%'"
    } else {
        "SELECT CAST(table_name AS TEXT) AS t, CAST(column_name AS TEXT) AS c FROM information_schema.columns
         WHERE table_schema = CURRENT_SCHEMA()"
    };
    let mut contents = Contents::new();
    for row in sqlx::query(sql).fetch_all(&mut *connection).await.unwrap() {
        let (table, column): (String, String) = (row.get("t"), row.get("c"));
        let text = if server.is_none() { format!("quote({column})") } else { format!("CAST({column} AS TEXT)") };
        let sql = format!("SELECT {text} AS text FROM {table} ORDER BY 1");
        let rows = sqlx::query(AssertSqlSafe(sql)).fetch_all(&mut *connection).await.unwrap();
        contents.insert((table, column), rows.iter().map(|row| row.get("text")).collect());
    }
    contents
}

/// Every table and column that was there is there with what stood in it.
fn assert_kept(version: i64, before: &Contents, after: &Contents) {
    for ((table, column), values) in before.iter().filter(|((table, _), _)| table != STEPS_TAKEN) {
        assert!(!values.is_empty(), "{table} was not filled");
        let now = after.get(&(table.clone(), column.clone()));
        assert_eq!(now, Some(values), "{table}.{column}, from version {version}");
    }
}

/// Everything that the schema consists of, a line each.
async fn schema_of(server: Option<&str>, connection: &mut AnyConnection) -> Vec<String> {
    let sql = if server.is_none() {
        "SELECT type || ' ' || name || ': ' || COALESCE(sql, '') AS line FROM sqlite_master ORDER BY type, name"
    } else {
        "SELECT line FROM (
             SELECT table_name || '.' || column_name || ' ' || data_type || ' ' || is_nullable || ' '
                 || COALESCE(column_default, '') AS line
             FROM information_schema.columns WHERE table_schema = CURRENT_SCHEMA()
             UNION ALL SELECT indexdef FROM pg_indexes WHERE schemaname = CURRENT_SCHEMA()
             UNION ALL SELECT CAST(conrelid AS REGCLASS) || ' ' || conname || ' ' || pg_get_constraintdef(oid)
             FROM pg_constraint WHERE connamespace = CAST(CURRENT_SCHEMA() AS REGNAMESPACE)
         ) AS lines ORDER BY line"
    };
    let rows = sqlx::query(sql).fetch_all(connection).await.unwrap();
    rows.iter().map(|row| row.get("line")).collect()
}

/// SQLite's own checks.
async fn assert_sound(connection: &mut AnyConnection) {
    let broken = sqlx::query("PRAGMA foreign_key_check").fetch_all(&mut *connection).await.unwrap();
    assert!(broken.is_empty(), "{} rows refer to nothing", broken.len());
    let words: String = sqlx::query("PRAGMA integrity_check").fetch_one(connection).await.unwrap().get(0);
    assert_eq!(words, "ok");
}
