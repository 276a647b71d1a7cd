//! What other devices said the ball did, and the swings they are held to belong to.

use super::super::StoreError;
use super::super::rows::{BallResult, EnteredBy, Mark, MatchedBy, Seen, Side, UtcMicros, Word};
use super::swings_read::filter::Conditions;
use super::swings_read::maybe_word;
use super::{Slice, TimeKey, changed, maybe_uuid, uuid};
use crate::ball::measured::Ball;
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, Row};
use uuid::Uuid;

const VERSION: &str = "SELECT version FROM ball_results WHERE id = $1";

/// Which of them; a `None` and a `false` leave it open.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct BallFilter {
    /// Whose.
    pub athlete: Option<Uuid>,
    /// Of this swing.
    pub swing: Option<Uuid>,
    /// Of swings of this lesson.
    pub lesson: Option<Uuid>,
    /// Measured at this instant or later,
    pub from: Option<UtcMicros>,
    /// and before this one.
    pub to: Option<UtcMicros>,
    /// Without a swing.
    pub is_unmatched: bool,
}

/// A swing that met a ball and has no result yet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Candidate {
    /// Which.
    pub swing_id: Uuid,
    /// Whose.
    pub athlete_id: Option<Uuid>,
    /// Its contact.
    pub contact: UtcMicros,
}

/// Which of an athlete's results are to be counted; a `None` leaves it open.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeasuredOf {
    /// Whose.
    pub athlete: Uuid,
    /// Of swings with this bat.
    pub bat: Option<Uuid>,
    /// Measured at this instant or later,
    pub from: Option<UtcMicros>,
    /// and before this one.
    pub to: Option<UtcMicros>,
}

/// What was measured of one ball.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeasuredBall {
    /// From which side its swing was; `None`: not said, or it has none.
    pub side: Option<Side>,
    /// Whether the instructor left its swing out.
    pub is_excluded: bool,
    /// What was measured.
    pub ball: Ball,
}

/// Enters one. Its version is taken as 1.
///
/// # Errors
/// If it refers to something that is not there, or cannot be written.
pub async fn insert(connection: &mut AnyConnection, result: &BallResult) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO ball_results (id, athlete_id, swing_id, matched_by, match_offset_ms, measured_utc_us, device,
             entered_by, exit_speed_mps, launch_angle_deg, direction_deg, carry_m, note, version)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, 1)",
    )
    .bind(result.id.to_string())
    .bind(result.athlete_id.map(|id| id.to_string()))
    .bind(result.swing_id.map(|id| id.to_string()))
    .bind(result.matched_by.map(MatchedBy::word))
    .bind(result.match_offset_ms)
    .bind(result.measured.0)
    .bind(&result.device)
    .bind(result.entered_by.word())
    .bind(result.exit_speed_mps)
    .bind(result.launch_angle_deg)
    .bind(result.direction_deg)
    .bind(result.carry_m)
    .bind(&result.note)
    .execute(connection)
    .await?;
    Ok(())
}

/// Puts the row of `result.id` to these values, if it still has `result.version`.
///
/// # Errors
/// If there is none, it was changed since, or it cannot be written.
pub async fn update(connection: &mut AnyConnection, result: &BallResult) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE ball_results SET athlete_id = $3, swing_id = $4, matched_by = $5, match_offset_ms = $6,
             measured_utc_us = $7, device = $8, exit_speed_mps = $9, launch_angle_deg = $10, direction_deg = $11,
             carry_m = $12, note = $13, entered_by = $14, version = version + 1
         WHERE id = $1 AND version = $2",
    )
    .bind(result.id.to_string())
    .bind(result.version)
    .bind(result.athlete_id.map(|id| id.to_string()))
    .bind(result.swing_id.map(|id| id.to_string()))
    .bind(result.matched_by.map(MatchedBy::word))
    .bind(result.match_offset_ms)
    .bind(result.measured.0)
    .bind(&result.device)
    .bind(result.exit_speed_mps)
    .bind(result.launch_angle_deg)
    .bind(result.direction_deg)
    .bind(result.carry_m)
    .bind(&result.note)
    .bind(result.entered_by.word())
    .execute(&mut *connection)
    .await?;
    let seen = Seen { id: result.id, version: result.version };
    changed(connection, done.rows_affected(), "ball result", seen, VERSION).await
}

/// Removes one.
///
/// # Errors
/// If there is none, it was changed since, or it cannot be removed.
pub async fn delete(connection: &mut AnyConnection, seen: Seen) -> Result<(), StoreError> {
    let done = sqlx::query("DELETE FROM ball_results WHERE id = $1 AND version = $2")
        .bind(seen.id.to_string())
        .bind(seen.version)
        .execute(&mut *connection)
        .await?;
    changed(connection, done.rows_affected(), "ball result", seen, VERSION).await
}

/// The one with this id.
///
/// # Errors
/// If there is none, or it cannot be read.
pub async fn get(connection: &mut AnyConnection, id: Uuid) -> Result<BallResult, StoreError> {
    let row = sqlx::query("SELECT * FROM ball_results WHERE id = $1").bind(id.to_string()).fetch_optional(connection);
    let row = row.await?.ok_or_else(|| StoreError::NoSuch { kind: "ball result", id: id.to_string() })?;
    ball_result(&row)
}

/// A page of them, the newest first.
///
/// # Errors
/// If they cannot be read.
pub async fn list(
    connection: &mut AnyConnection,
    filter: &BallFilter,
    slice: Slice<TimeKey>,
) -> Result<Vec<BallResult>, StoreError> {
    let mut conditions = Conditions::default();
    conditions.is("b.swing_id = ", filter.swing);
    conditions.is("b.athlete_id = ", filter.athlete);
    if filter.lesson.is_some() {
        conditions.is("b.swing_id IN (SELECT s.id FROM swings s WHERE s.lesson_id = ", filter.lesson);
        conditions.close();
    }
    conditions.number("b.measured_utc_us >= ", filter.from.map(|at| at.0));
    conditions.number("b.measured_utc_us < ", filter.to.map(|at| at.0));
    if filter.is_unmatched {
        conditions.and("b.swing_id IS NULL");
    }
    conditions.past("b.measured_utc_us, b.id", true, slice.after);
    let tail = "ORDER BY b.measured_utc_us DESC, b.id DESC";
    let rows = conditions.query("SELECT b.* FROM ball_results b", tail, slice.limit).fetch_all(connection).await?;
    rows.iter().map(ball_result).collect()
}

/// Swings that met a ball between two instants, both included, and have no result yet; an athlete's only, if one is named.
///
/// # Errors
/// If they cannot be read.
pub async fn candidates(
    connection: &mut AnyConnection,
    (from, to): (UtcMicros, UtcMicros),
    athlete: Option<Uuid>,
) -> Result<Vec<Candidate>, StoreError> {
    let mut conditions = Conditions::default();
    conditions.is("s.athlete_id = ", athlete);
    conditions.number("s.contact_utc_us >= ", Some(from.0));
    conditions.number("s.contact_utc_us <= ", Some(to.0));
    conditions.and("a.contact = 'ball' AND NOT EXISTS (SELECT 1 FROM ball_results b WHERE b.swing_id = s.id)");
    let head = "SELECT s.id, s.athlete_id, s.contact_utc_us FROM swings s
                JOIN analyses a ON a.swing_id = s.id AND a.revision = s.revision";
    let rows = conditions.query_all(head).fetch_all(connection).await?;
    let candidate = |row: &AnyRow| {
        Ok(Candidate {
            swing_id: uuid(row, "id")?,
            athlete_id: maybe_uuid(row, "athlete_id")?,
            contact: UtcMicros(row.try_get("contact_utc_us")?),
        })
    };
    rows.iter().map(candidate).collect()
}

/// An athlete's results as they are counted.
///
/// # Errors
/// If they cannot be read.
pub async fn measured(connection: &mut AnyConnection, of: &MeasuredOf) -> Result<Vec<MeasuredBall>, StoreError> {
    let mut conditions = Conditions::default();
    conditions.is("b.athlete_id = ", Some(of.athlete));
    conditions.is("s.bat_id = ", of.bat);
    conditions.number("b.measured_utc_us >= ", of.from.map(|at| at.0));
    conditions.number("b.measured_utc_us < ", of.to.map(|at| at.0));
    let head = "SELECT b.exit_speed_mps, b.carry_m, b.launch_angle_deg, s.side, s.mark FROM ball_results b
                LEFT JOIN swings s ON s.id = b.swing_id";
    let rows = conditions.query_all(head).fetch_all(connection).await?;
    let measured = |row: &AnyRow| {
        Ok(MeasuredBall {
            side: maybe_word(row, "side")?,
            is_excluded: maybe_word(row, "mark")? == Some(Mark::Exclude),
            ball: Ball {
                exit_speed_mps: row.try_get("exit_speed_mps")?,
                carry_m: row.try_get("carry_m")?,
                launch_angle_deg: row.try_get("launch_angle_deg")?,
            },
        })
    };
    rows.iter().map(measured).collect()
}

/// All that were measured at an instant.
///
/// # Errors
/// If they cannot be read.
pub async fn measured_at(connection: &mut AnyConnection, at: UtcMicros) -> Result<Vec<BallResult>, StoreError> {
    let rows = sqlx::query("SELECT * FROM ball_results WHERE measured_utc_us = $1 ORDER BY id")
        .bind(at.0)
        .fetch_all(connection);
    rows.await?.iter().map(ball_result).collect()
}

/// A match ends with its swing.
fn ball_result(row: &AnyRow) -> Result<BallResult, StoreError> {
    let swing_id = maybe_uuid(row, "swing_id")?;
    Ok(BallResult {
        id: uuid(row, "id")?,
        athlete_id: maybe_uuid(row, "athlete_id")?,
        swing_id,
        matched_by: maybe_word(row, "matched_by")?.filter(|_| swing_id.is_some()),
        match_offset_ms: row.try_get::<Option<f64>, _>("match_offset_ms")?.filter(|_| swing_id.is_some()),
        measured: UtcMicros(row.try_get("measured_utc_us")?),
        device: row.try_get("device")?,
        entered_by: EnteredBy::from_word(row.try_get("entered_by")?)?,
        exit_speed_mps: row.try_get("exit_speed_mps")?,
        launch_angle_deg: row.try_get("launch_angle_deg")?,
        direction_deg: row.try_get("direction_deg")?,
        carry_m: row.try_get("carry_m")?,
        note: row.try_get("note")?,
        version: row.try_get("version")?,
    })
}
