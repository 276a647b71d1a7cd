//! What another device measured of balls, from its table into the store: read ([`csv`]), matched to swings by time
//! ([`matching`]), and kept. Every row is accounted for.

pub mod csv;
pub mod matching;

use super::store::rows::{BallResult, EnteredBy, MatchedBy, UtcMicros};
use super::store::{StoreError, queries::ball_results};
use csv::{Measured, Table};
use matching::{Match, assign};
use sqlx::AnyConnection;
use std::collections::BTreeMap;
use uuid::Uuid;

/// Where nothing is said, a result belongs to a contact no farther from it than this, s.
pub const WITHIN_S: f64 = 2.5;
/// No contact farther than this is ever taken, s.
pub const MOST_WITHIN_S: f64 = 30.0;

/// How a table is to be taken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// All of it is this athlete's.
    pub athlete: Option<Uuid>,
    /// The device's clock minus UTC, s.
    pub clock_offset_s: f64,
    /// A result belongs to a contact no farther from it than this, s.
    pub within_s: f64,
}

/// What became of a row of a table.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Its line in the text, from 1.
    pub line: u64,
    /// What was stored, or why nothing was.
    pub outcome: Result<BallResult, String>,
}

/// Stores what can be stored of a table, each result with the swing it belongs to if there is one; a row for each of the
/// table's, in order.
///
/// A row that is stored already (same instant, device and values) is refused, so that a table that was sent twice changes
/// nothing.
///
/// # Errors
/// If the store cannot be read or written, or there is no such athlete.
pub async fn import(connection: &mut AnyConnection, table: Table, options: Options) -> Result<Vec<Row>, StoreError> {
    let (mut good, mut rows) = (Vec::new(), Vec::new());
    let mut seen: BTreeMap<UtcMicros, Vec<(u64, Measured)>> = BTreeMap::new();
    for csv::Row { line, read } in table.rows {
        match read.and_then(|measured| measured.on_utc(options.clock_offset_s)) {
            Err(why) => rows.push(Row { line, outcome: Err(why) }),
            Ok(measured) => match repeats(connection, &seen, &measured).await? {
                Some(why) => rows.push(Row { line, outcome: Err(why) }),
                None => {
                    seen.entry(measured.at).or_default().push((line, measured.clone()));
                    good.push((line, measured));
                }
            },
        }
    }
    let matches = matches(connection, &good, options).await?;
    for ((line, measured), found) in good.into_iter().zip(matches) {
        let result = result(measured, options.athlete, found);
        ball_results::insert(connection, &result).await?;
        rows.push(Row { line, outcome: Ok(result) });
    }
    rows.sort_by_key(|row| row.line);
    Ok(rows)
}

/// For each row the swing it belongs to: each swing has one result at most, and the nearest in time go first.
async fn matches(
    connection: &mut AnyConnection,
    rows: &[(u64, Measured)],
    options: Options,
) -> Result<Vec<Option<Match>>, StoreError> {
    let mut near = Vec::new();
    for (_, measured) in rows {
        near.push(near_to(connection, measured.at, options.athlete, options.within_s).await?);
    }
    Ok(assign(&near))
}

/// The contacts that a result of an instant may belong to.
///
/// # Errors
/// If they cannot be read.
pub async fn near_to(
    connection: &mut AnyConnection,
    at: UtcMicros,
    athlete: Option<Uuid>,
    within_s: f64,
) -> Result<Vec<Match>, StoreError> {
    let within_us = (within_s * 1e6).round() as i64;
    let between = (UtcMicros(at.0.saturating_sub(within_us)), UtcMicros(at.0.saturating_add(within_us)));
    let candidates = ball_results::candidates(connection, between, athlete).await?;
    Ok(candidates.into_iter().map(|candidate| Match::of(candidate, at)).collect())
}

async fn repeats(
    connection: &mut AnyConnection,
    seen: &BTreeMap<UtcMicros, Vec<(u64, Measured)>>,
    measured: &Measured,
) -> Result<Option<String>, StoreError> {
    let before = seen.get(&measured.at).into_iter().flatten().find(|(_, other)| other == measured);
    if let Some((line, _)) = before {
        return Ok(Some(format!("repeats line {line}")));
    }
    let stored = ball_results::measured_at(connection, measured.at).await?;
    let same = stored.iter().find(|stored| measured.is_in(stored));
    Ok(same.map(|stored| format!("is stored already: ball result {}", stored.id)))
}

fn result(measured: Measured, athlete: Option<Uuid>, found: Option<Match>) -> BallResult {
    BallResult {
        id: Uuid::now_v7(),
        athlete_id: found.and_then(|found| found.athlete_id).or(athlete),
        swing_id: found.map(|found| found.swing_id),
        matched_by: found.map(|_| MatchedBy::Time),
        match_offset_ms: found.map(|found| found.offset_ms()),
        measured: measured.at,
        device: measured.device,
        entered_by: EnteredBy::Csv,
        exit_speed_mps: measured.exit_speed_mps,
        launch_angle_deg: measured.launch_angle_deg,
        direction_deg: measured.direction_deg,
        carry_m: measured.carry_m,
        note: measured.note,
        version: 1,
    }
}
