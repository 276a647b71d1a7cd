//! Rounds of a lesson.

use super::super::StoreError;
use super::super::rows::{BallSource, Round, Seen, Side, UtcMicros, Word};
use super::{Slice, TimeKey, changed, maybe_uuid, uuid};
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, AssertSqlSafe, Row};
use uuid::Uuid;

const KIND: &str = "round";
const VERSION: &str = "SELECT version FROM rounds WHERE id = $1";

/// A round, and the lesson it is in.
#[derive(Clone, Debug, PartialEq)]
pub struct InLesson {
    /// The round.
    pub round: Round,
    /// When its lesson began.
    pub lesson_begun: UtcMicros,
    /// Whose it is.
    pub athlete_id: Uuid,
    /// What the athlete is called.
    pub nickname: String,
}

/// Enters one. Its version is taken as 1.
///
/// # Errors
/// If there is no such lesson or bat, or it cannot be written.
pub async fn insert(connection: &mut AnyConnection, round: &Round) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO rounds (id, lesson_id, begun_utc_us, drill, ball_source, pitch_speed_mps, pitch_descent_deg,
             bat_id, side, note, version)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, 1)",
    )
    .bind(round.id.to_string())
    .bind(round.lesson_id.to_string())
    .bind(round.begun.0)
    .bind(&round.drill)
    .bind(round.ball_source.map(Word::word))
    .bind(round.pitch_speed_mps)
    .bind(round.pitch_descent_deg)
    .bind(round.bat_id.map(|id| id.to_string()))
    .bind(round.side.map(Word::word))
    .bind(&round.note)
    .execute(connection)
    .await?;
    Ok(())
}

/// Puts the row of `round.id` to these values, if it still has `round.version`; its lesson stays.
///
/// # Errors
/// If there is none, it was changed since, there is no such bat, or it cannot be written.
pub async fn update(connection: &mut AnyConnection, round: &Round) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE rounds SET begun_utc_us = $3, drill = $4, ball_source = $5, pitch_speed_mps = $6,
             pitch_descent_deg = $7, bat_id = $8, side = $9, note = $10, version = version + 1
         WHERE id = $1 AND version = $2",
    )
    .bind(round.id.to_string())
    .bind(round.version)
    .bind(round.begun.0)
    .bind(&round.drill)
    .bind(round.ball_source.map(Word::word))
    .bind(round.pitch_speed_mps)
    .bind(round.pitch_descent_deg)
    .bind(round.bat_id.map(|id| id.to_string()))
    .bind(round.side.map(Word::word))
    .bind(&round.note)
    .execute(&mut *connection)
    .await?;
    let seen = Seen { id: round.id, version: round.version };
    changed(connection, done.rows_affected(), KIND, seen, VERSION).await
}

/// Removes one. Its swings stay, without a round.
///
/// # Errors
/// If there is none, it was changed since, or it cannot be written.
pub async fn delete(connection: &mut AnyConnection, seen: Seen) -> Result<(), StoreError> {
    let done = sqlx::query("DELETE FROM rounds WHERE id = $1 AND version = $2")
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
pub async fn get(connection: &mut AnyConnection, id: Uuid) -> Result<Round, StoreError> {
    let row = sqlx::query("SELECT * FROM rounds WHERE id = $1").bind(id.to_string()).fetch_optional(connection).await?;
    row.map_or_else(|| Err(StoreError::NoSuch { kind: KIND, id: id.to_string() }), |row| round(&row))
}

/// A page of a lesson's, in the order of time.
///
/// # Errors
/// If they cannot be read.
pub async fn list(
    connection: &mut AnyConnection,
    lesson_id: Uuid,
    slice: Slice<TimeKey>,
) -> Result<Vec<Round>, StoreError> {
    let after = slice.after.map_or((i64::MIN, String::new()), |key| (key.at.0, key.id.to_string()));
    let rows = sqlx::query(
        "SELECT * FROM rounds WHERE lesson_id = $1 AND (begun_utc_us > $2 OR (begun_utc_us = $2 AND id > $3))
         ORDER BY begun_utc_us, id LIMIT $4",
    )
    .bind(lesson_id.to_string())
    .bind(after.0)
    .bind(after.1)
    .bind(slice.limit)
    .fetch_all(connection)
    .await?;
    rows.iter().map(round).collect()
}

/// Those of the latest lessons, of one athlete or of all; within a lesson in the order of time.
///
/// # Errors
/// If they cannot be read.
pub async fn of_latest_lessons(
    connection: &mut AnyConnection,
    athlete: Option<Uuid>,
    limit: i64,
) -> Result<Vec<InLesson>, StoreError> {
    let whose = if athlete.is_some() { "l.athlete_id = $1" } else { "$1 = ''" };
    let sql = format!(
        "SELECT r.*, l.begun_utc_us AS lesson_begun_utc_us, l.athlete_id, h.nickname FROM rounds r
         JOIN lessons l ON l.id = r.lesson_id JOIN athletes h ON h.id = l.athlete_id WHERE {whose}
         ORDER BY l.begun_utc_us DESC, l.id DESC, r.begun_utc_us, r.id LIMIT $2"
    );
    let rows = sqlx::query(AssertSqlSafe(sql))
        .bind(athlete.map_or_else(String::new, |id| id.to_string()))
        .bind(limit)
        .fetch_all(connection)
        .await?;
    let in_lesson = |row: &AnyRow| {
        Ok(InLesson {
            round: round(row)?,
            lesson_begun: UtcMicros(row.try_get("lesson_begun_utc_us")?),
            athlete_id: uuid(row, "athlete_id")?,
            nickname: row.try_get("nickname")?,
        })
    };
    rows.iter().map(in_lesson).collect()
}

/// The one of a lesson that was begun last, if there is one.
///
/// # Errors
/// If it cannot be read.
pub async fn latest(connection: &mut AnyConnection, lesson_id: Uuid) -> Result<Option<Round>, StoreError> {
    let row = sqlx::query("SELECT * FROM rounds WHERE lesson_id = $1 ORDER BY begun_utc_us DESC, id DESC LIMIT 1")
        .bind(lesson_id.to_string())
        .fetch_optional(connection)
        .await?;
    row.map(|row| round(&row)).transpose()
}

/// How many swings it has.
///
/// # Errors
/// If they cannot be counted.
pub async fn swings(connection: &mut AnyConnection, id: Uuid) -> Result<i64, StoreError> {
    let row = sqlx::query("SELECT COUNT(*) FROM swings WHERE round_id = $1")
        .bind(id.to_string())
        .fetch_one(connection)
        .await?;
    Ok(row.try_get(0)?)
}

fn round(row: &AnyRow) -> Result<Round, StoreError> {
    let ball_source: Option<String> = row.try_get("ball_source")?;
    let side: Option<String> = row.try_get("side")?;
    Ok(Round {
        id: uuid(row, "id")?,
        lesson_id: uuid(row, "lesson_id")?,
        begun: UtcMicros(row.try_get("begun_utc_us")?),
        drill: row.try_get("drill")?,
        ball_source: ball_source.map(|word| BallSource::from_word(&word)).transpose()?,
        pitch_speed_mps: row.try_get("pitch_speed_mps")?,
        pitch_descent_deg: row.try_get("pitch_descent_deg")?,
        bat_id: maybe_uuid(row, "bat_id")?,
        side: side.map(|word| Side::from_word(&word)).transpose()?,
        note: row.try_get("note")?,
        version: row.try_get("version")?,
    })
}
