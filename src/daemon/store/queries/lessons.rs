//! Lessons and practice.

use super::super::StoreError;
use super::super::rows::{Lesson, Occasion, Seen, UtcMicros, Word};
use super::{Slice, TimeKey, changed, instant, list_of, uuid};
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, AssertSqlSafe, Row};
use std::collections::BTreeMap;
use uuid::Uuid;

const KIND: &str = "lesson";
const VERSION: &str = "SELECT version FROM lessons WHERE id = $1";
/// A lesson with how many swings and rounds it has.
const COUNTED: &str = "SELECT lessons.*,
     (SELECT COUNT(*) FROM swings WHERE swings.lesson_id = lessons.id) AS swings,
     (SELECT COUNT(*) FROM rounds WHERE rounds.lesson_id = lessons.id) AS rounds
     FROM lessons";

/// Which of them; what is not said does not matter.
#[derive(Clone, Copy, Debug, Default)]
pub struct Filter {
    /// Whose.
    pub athlete_id: Option<Uuid>,
    /// Lessons or practice.
    pub occasion: Option<Occasion>,
    /// Begun at this instant or later.
    pub from: Option<UtcMicros>,
    /// Begun before this instant.
    pub to: Option<UtcMicros>,
}

/// A lesson, and what it holds.
#[derive(Clone, Debug, PartialEq)]
pub struct Counted {
    /// The lesson.
    pub lesson: Lesson,
    /// How many swings.
    pub swings: i64,
    /// How many rounds.
    pub rounds: i64,
}

/// An athlete's lessons and practice, at a glance.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Had {
    /// How many.
    pub lessons: i64,
    /// When the last one began.
    pub last: UtcMicros,
}

/// Enters one. Its version is taken as 1.
///
/// # Errors
/// If there is no such athlete, or it cannot be written.
pub async fn insert(connection: &mut AnyConnection, lesson: &Lesson) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO lessons (id, athlete_id, occasion, cage, begun_utc_us, ended_utc_us, title, note, version)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, 1)",
    )
    .bind(lesson.id.to_string())
    .bind(lesson.athlete_id.to_string())
    .bind(lesson.occasion.word())
    .bind(&lesson.cage)
    .bind(lesson.begun.0)
    .bind(lesson.ended.map(|at| at.0))
    .bind(&lesson.title)
    .bind(&lesson.note)
    .execute(connection)
    .await?;
    Ok(())
}

/// Puts the row of `lesson.id` to these values, if it still has `lesson.version`; whose it is, what it is and where it was
/// stay.
///
/// # Errors
/// If there is none, it was changed since, or it cannot be written.
pub async fn update(connection: &mut AnyConnection, lesson: &Lesson) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE lessons SET begun_utc_us = $3, ended_utc_us = $4, title = $5, note = $6, version = version + 1
         WHERE id = $1 AND version = $2",
    )
    .bind(lesson.id.to_string())
    .bind(lesson.version)
    .bind(lesson.begun.0)
    .bind(lesson.ended.map(|at| at.0))
    .bind(&lesson.title)
    .bind(&lesson.note)
    .execute(&mut *connection)
    .await?;
    let seen = Seen { id: lesson.id, version: lesson.version };
    changed(connection, done.rows_affected(), KIND, seen, VERSION).await
}

/// Removes one with its rounds, aims and swings: whoever means to keep swings asks [`counted`] first.
///
/// # Errors
/// If there is none, it was changed since, or it cannot be written.
pub async fn delete(connection: &mut AnyConnection, seen: Seen) -> Result<(), StoreError> {
    let done = sqlx::query("DELETE FROM lessons WHERE id = $1 AND version = $2")
        .bind(seen.id.to_string())
        .bind(seen.version)
        .execute(&mut *connection)
        .await?;
    changed(connection, done.rows_affected(), KIND, seen, VERSION).await
}

/// The one with this id.
///
/// # Errors
/// If there is none, or it cannot be read.
pub async fn get(connection: &mut AnyConnection, id: Uuid) -> Result<Lesson, StoreError> {
    let row =
        sqlx::query("SELECT * FROM lessons WHERE id = $1").bind(id.to_string()).fetch_optional(connection).await?;
    row.map_or_else(|| Err(no_such(id)), |row| lesson(&row))
}

/// The one with this id, and what it holds.
///
/// # Errors
/// If there is none, or it cannot be read.
pub async fn counted(connection: &mut AnyConnection, id: Uuid) -> Result<Counted, StoreError> {
    let sql = AssertSqlSafe(format!("{COUNTED} WHERE id = $1"));
    let row = sqlx::query(sql).bind(id.to_string()).fetch_optional(connection).await?;
    row.map_or_else(|| Err(no_such(id)), |row| with_counts(&row))
}

/// A page of them, the newest first.
///
/// # Errors
/// If they cannot be read.
pub async fn list(
    connection: &mut AnyConnection,
    filter: &Filter,
    slice: Slice<TimeKey>,
) -> Result<Vec<Counted>, StoreError> {
    let athlete = if filter.athlete_id.is_some() { "athlete_id = $1" } else { "$1 = ''" };
    let before = slice.after.map_or((i64::MAX, String::new()), |key| (key.at.0, key.id.to_string()));
    let sql = format!(
        "{COUNTED} WHERE {athlete} AND ($2 = '' OR occasion = $2) AND begun_utc_us >= $3 AND begun_utc_us < $4
         AND (begun_utc_us < $5 OR (begun_utc_us = $5 AND id < $6))
         ORDER BY begun_utc_us DESC, id DESC LIMIT $7"
    );
    let rows = sqlx::query(AssertSqlSafe(sql))
        .bind(filter.athlete_id.map_or_else(String::new, |id| id.to_string()))
        .bind(filter.occasion.map_or("", Word::word))
        .bind(filter.from.map_or(i64::MIN, |at| at.0))
        .bind(filter.to.map_or(i64::MAX, |at| at.0))
        .bind(before.0)
        .bind(before.1)
        .bind(slice.limit)
        .fetch_all(connection)
        .await?;
    rows.iter().map(with_counts).collect()
}

/// What each of these athletes had; whoever had none is not in it.
///
/// # Errors
/// If they cannot be read.
pub async fn had(connection: &mut AnyConnection, athletes: &[Uuid]) -> Result<BTreeMap<Uuid, Had>, StoreError> {
    if athletes.is_empty() {
        return Ok(BTreeMap::new());
    }
    let sql = format!(
        "SELECT athlete_id, COUNT(*) AS lessons, MAX(begun_utc_us) AS last_utc_us FROM lessons
         WHERE athlete_id IN ({}) GROUP BY athlete_id",
        list_of(athletes.len())
    );
    let query = sqlx::query(AssertSqlSafe(sql));
    let query = athletes.iter().fold(query, |query, id| query.bind(id.to_string()));
    let had = |row: &AnyRow| {
        let had = Had { lessons: row.try_get("lessons")?, last: UtcMicros(row.try_get("last_utc_us")?) };
        Ok((uuid(row, "athlete_id")?, had))
    };
    query.fetch_all(connection).await?.iter().map(had).collect()
}

/// The athlete's that is going on at an installation, if one is: the one begun last.
///
/// # Errors
/// If it cannot be read.
pub async fn going_on(
    connection: &mut AnyConnection,
    cage: &str,
    athlete_id: Uuid,
) -> Result<Option<Lesson>, StoreError> {
    let row = sqlx::query(
        "SELECT * FROM lessons WHERE athlete_id = $1 AND cage = $2 AND ended_utc_us IS NULL
         ORDER BY begun_utc_us DESC, id DESC LIMIT 1",
    )
    .bind(athlete_id.to_string())
    .bind(cage)
    .fetch_optional(connection)
    .await?;
    row.map(|row| lesson(&row)).transpose()
}

/// The athlete's that was going on at an installation at an instant, if one was: the one begun last.
///
/// # Errors
/// If it cannot be read.
pub async fn covering(
    connection: &mut AnyConnection,
    athlete_id: Uuid,
    occasion: Occasion,
    cage: &str,
    utc: UtcMicros,
) -> Result<Option<Lesson>, StoreError> {
    let row = sqlx::query(
        "SELECT * FROM lessons WHERE athlete_id = $1 AND occasion = $2 AND cage = $3 AND begun_utc_us <= $4
         AND (ended_utc_us IS NULL OR ended_utc_us >= $4)
         ORDER BY begun_utc_us DESC, id DESC LIMIT 1",
    )
    .bind(athlete_id.to_string())
    .bind(occasion.word())
    .bind(cage)
    .bind(utc.0)
    .fetch_optional(connection)
    .await?;
    row.map(|row| lesson(&row)).transpose()
}

fn no_such(id: Uuid) -> StoreError {
    StoreError::NoSuch { kind: KIND, id: id.to_string() }
}

fn with_counts(row: &AnyRow) -> Result<Counted, StoreError> {
    Ok(Counted { lesson: lesson(row)?, swings: row.try_get("swings")?, rounds: row.try_get("rounds")? })
}

fn lesson(row: &AnyRow) -> Result<Lesson, StoreError> {
    Ok(Lesson {
        id: uuid(row, "id")?,
        athlete_id: uuid(row, "athlete_id")?,
        occasion: Occasion::from_word(row.try_get("occasion")?)?,
        cage: row.try_get("cage")?,
        begun: UtcMicros(row.try_get("begun_utc_us")?),
        ended: instant(row, "ended_utc_us")?,
        title: row.try_get("title")?,
        note: row.try_get("note")?,
        version: row.try_get("version")?,
    })
}
