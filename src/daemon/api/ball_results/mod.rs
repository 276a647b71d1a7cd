//! What other devices said the ball did: entered by hand, by a program or as a table, and matched to swings by time.

pub mod summary;
#[cfg(test)]
mod tests;

use super::Api;
use super::check::Check;
use super::etag::{IfMatch, Versioned};
use super::extract::{Body, Id, Params, late};
use super::idempotency::Creation;
use super::instant::Instant;
use super::page::{Page, page, slice};
use super::patch::Patch;
use super::problem::{Kind, Place, Problem, Result};
use super::refer::referred;
use super::words::{EnteredBy, MatchedBy};
use crate::daemon::ball_import::{self, MOST_WITHIN_S, Options, WITHIN_S, csv, matching::assign, near_to};
use crate::daemon::store::Transaction;
use crate::daemon::store::queries::ball_results::{self, BallFilter};
use crate::daemon::store::queries::{TimeKey, swings_read};
use crate::daemon::store::rows::{self, Seen, Swing, UtcMicros};
use axum::Json;
use axum::body::Bytes;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::Response;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// A device's clock is off by no more than this, s: a day.
const MOST_CLOCK_OFFSET_S: f64 = 86_400.0;

/// What a device said of one ball. One number at least has to be there.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct BallResultBody {
    /// When it was measured. On entering: now, or the contact of the swing that is named.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    measured: Option<Instant>,
    /// The swing it belongs to. On entering, where none is named, it is found by time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    swing_id: Option<Uuid>,
    /// Whose it is; of a result with a swing, whose swing that is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    athlete_id: Option<Uuid>,
    /// Whatever measured it, in words.
    #[serde(default)]
    #[schema(max_length = 100)]
    device: String,
    /// How it came here.
    #[serde(default = "by_program")]
    #[schema(inline)]
    entered_by: EnteredBy,
    /// Exit speed, m/s.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0, maximum = 80.0)]
    exit_speed_mps: Option<f64>,
    /// Launch angle above the horizontal, degrees.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -90.0, maximum = 90.0)]
    launch_angle_deg: Option<f64>,
    /// Direction from straightaway centre, positive toward right field, degrees.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -180.0, maximum = 180.0)]
    direction_deg: Option<f64>,
    /// Carry, m.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0, maximum = 250.0)]
    carry_m: Option<f64>,
    /// Free words.
    #[serde(default)]
    #[schema(max_length = 2000)]
    note: String,
}

/// Changes to a ball result.
pub type BallResultPatch = Patch<BallResultBody>;

/// A ball result as it is stored.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct BallResult {
    /// Its id.
    id: Uuid,
    /// Counts its changes; the ETag.
    version: i64,
    /// How its swing was found; null: it has none.
    #[schema(required)]
    matched_by: Option<MatchedBy>,
    /// Its instant minus the swing's contact, ms; null where one of the two is not known.
    #[schema(required)]
    match_offset_ms: Option<f64>,
    /// What was said of it.
    #[serde(flatten)]
    body: BallResultBody,
}

/// Which of them, and which part of the list.
#[derive(Clone, Debug, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct ListParams {
    /// Of this athlete.
    athlete: Option<Uuid>,
    /// Of this swing.
    swing: Option<Uuid>,
    /// Of swings of this lesson.
    lesson: Option<Uuid>,
    /// Measured at this instant or later.
    #[param(value_type = Option<String>, format = DateTime)]
    from: Option<Instant>,
    /// Measured before this instant.
    #[param(value_type = Option<String>, format = DateTime)]
    to: Option<Instant>,
    /// `true`: only those without a swing.
    unmatched: Option<bool>,
    /// `next` of the page before.
    #[param(max_length = 200)]
    after: Option<String>,
    /// At most so many items.
    #[param(minimum = 1, maximum = 500)]
    limit: Option<u16>,
}

/// How far a swing may be.
#[derive(Clone, Copy, Debug, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct WithinParam {
    /// A swing is taken if its contact lies no farther from the result than this, s; 2.5 where nothing is said.
    #[param(minimum = 0.0, maximum = 30.0)]
    within_s: Option<f64>,
}

/// How a table is to be taken.
#[derive(Clone, Copy, Debug, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct ImportParams {
    /// All of it is this athlete's: only swings of theirs are taken.
    athlete: Option<Uuid>,
    /// The device's clock minus UTC, s.
    #[param(minimum = -86400.0, maximum = 86400.0)]
    clock_offset_s: Option<f64>,
    /// A swing is taken if its contact lies no farther from the result than this, s; 2.5 where nothing is said.
    #[param(minimum = 0.0, maximum = 30.0)]
    within_s: Option<f64>,
}

/// What became of a table.
#[derive(Serialize, ToSchema)]
#[schema(as = ImportedTable)]
pub struct Imported {
    /// Rows that were stored.
    stored: usize,
    /// Those of them that belong to a swing.
    matched: usize,
    /// Rows that were not.
    refused: usize,
    /// Columns that nothing was taken from.
    ignored_columns: Vec<String>,
    /// Every row, in order.
    rows: Vec<ImportedRow>,
}

/// What became of a row.
#[derive(Serialize, ToSchema)]
pub struct ImportedRow {
    /// Its line in the table, from 1, which is the header.
    line: u64,
    /// What was stored; null: nothing.
    #[schema(required)]
    id: Option<Uuid>,
    /// The swing it belongs to; null: none was found.
    #[schema(required)]
    swing_id: Option<Uuid>,
    /// The row's instant minus that swing's contact, ms.
    #[schema(required)]
    match_offset_ms: Option<f64>,
    /// Why it was not stored; null: it was.
    #[schema(required)]
    refused: Option<String>,
}

/// List ball results
///
/// The newest first.
#[utoipa::path(
    get, path = "/v1/ball-results", tag = "ball_results", params(ListParams),
    responses((status = 200, body = Page<BallResult>))
)]
pub async fn list(State(api): State<Api>, Params(params): Params<ListParams>) -> Result<Json<Page<BallResult>>> {
    let filter = BallFilter {
        athlete: params.athlete,
        swing: params.swing,
        lesson: params.lesson,
        from: params.from.map(Into::into),
        to: params.to.map(Into::into),
        is_unmatched: params.unmatched == Some(true),
    };
    let part = slice(params.after.as_deref(), params.limit)?;
    let found = ball_results::list(&mut *api.store.read().await?, &filter, part).await?;
    let key = |row: &rows::BallResult| TimeKey { at: row.measured, id: row.id }.to_string();
    Ok(Json(page(params.limit, found, key, BallResult::of)))
}

/// Enter a ball result
///
/// Where no swing is named, it belongs to the nearest contact with a ball within `within_s` that has no result yet; of the
/// athlete, if one is named. A swing that is named may have other results already: of another device.
#[utoipa::path(
    post, path = "/v1/ball-results", tag = "ball_results", params(WithinParam), request_body = BallResultBody,
    responses((status = 201, body = BallResult))
)]
pub async fn create(
    State(api): State<Api>,
    creation: Creation,
    Params(params): Params<WithinParam>,
    Body(body): Body<BallResultBody>,
) -> Result<Response> {
    body.check()?;
    let within_s = within_s(params.within_s)?;
    let now = api.now();
    let mut changes = api.store.write().await?;
    let row = match body.swing_id {
        Some(id) => {
            let swing = swing(&mut changes, id).await?;
            let measured = body.measured;
            body.row(measured.map_or(swing.contact_utc, Into::into)).of_swing(&swing, measured.is_some())?
        }
        None => {
            let at = body.measured.map_or(now, Into::into);
            let near = near_to(&mut changes, at, body.athlete_id, within_s).await?;
            by_time(body.row(at), &[near])
        }
    };
    ball_results::insert(&mut changes, &row).await?;
    let location = format!("/v1/ball-results/{}", row.id);
    creation.finish(&api, changes, location, 1, &BallResult::of(row)).await
}

/// Read a ball result
#[utoipa::path(
    get, path = "/v1/ball-results/{id}", tag = "ball_results", params(("id" = Uuid, Path)),
    responses((status = 200, body = BallResult))
)]
pub async fn read(State(api): State<Api>, Id(id): Id<Uuid>) -> Result<Versioned<BallResult>> {
    let row = ball_results::get(&mut *api.store.read().await?, id).await?;
    Ok(Versioned(row.version, BallResult::of(row)))
}

/// Edit a ball result
///
/// Another `swing_id` corrects the match, `null` undoes it. Another instant changes the offset, but no match.
#[utoipa::path(
    patch, path = "/v1/ball-results/{id}", tag = "ball_results", params(("id" = Uuid, Path)),
    request_body(content = BallResultPatch, content_type = "application/merge-patch+json"),
    responses((status = 200, body = BallResult))
)]
pub async fn edit(
    State(api): State<Api>,
    Id(id): Id<Uuid>,
    IfMatch(version): IfMatch,
    patch: BallResultPatch,
) -> Result<Versioned<BallResult>> {
    let mut changes = api.store.write().await?;
    let before = ball_results::get(&mut changes, id).await?;
    let names_athlete = patch.names("athlete_id");
    let body = patch.apply(&BallResultBody::of(&before))?;
    body.check()?;
    let at = body.measured.ok_or_else(|| wrong("/measured", "is absent; expected an instant"))?.into();
    let mut row = rows::BallResult { id, version, ..body.row(at) };
    if let Some(id) = row.swing_id {
        let swing = swing(&mut changes, id).await?;
        if before.swing_id == Some(id) {
            let offset = offset_ms(at, &swing);
            let is_as_before = before.measured == at;
            row.match_offset_ms = if is_as_before { before.match_offset_ms } else { Some(offset) };
            row.matched_by = before.matched_by;
            row.athlete_id = if names_athlete { row.athlete_id } else { swing.athlete_id.or(row.athlete_id) };
            row = row.checked_for(&swing)?;
        } else {
            row.athlete_id = row.athlete_id.filter(|_| names_athlete);
            row = row.of_swing(&swing, true)?;
        }
    }
    ball_results::update(&mut changes, &row).await?;
    changes.commit().await?;
    let version = version + 1;
    Ok(Versioned(version, BallResult::of(rows::BallResult { version, ..row })))
}

/// Remove a ball result
#[utoipa::path(
    delete, path = "/v1/ball-results/{id}", tag = "ball_results", params(("id" = Uuid, Path)),
    responses((status = 204))
)]
pub async fn remove(State(api): State<Api>, Id(id): Id<Uuid>, IfMatch(version): IfMatch) -> Result<StatusCode> {
    let mut changes = api.store.write().await?;
    ball_results::delete(&mut changes, Seen { id, version }).await?;
    changes.commit().await?;
    Ok(StatusCode::NO_CONTENT)
}

/// Enter a table of ball results
///
/// CSV (RFC 4180) of at most 256 kB and 5000 rows with a header line; columns in any order: `measured` (RFC 3339), `exit_speed_mps` or
/// `exit_speed_mph` or `exit_speed_kmh`, `launch_angle_deg`, `direction_deg`, `carry_m` or `carry_ft`, `device`, `note`. Good
/// rows are stored, each with the swing it belongs to, no swing twice and the nearest in time first; what is wrong with the
/// others is told. A row that is stored already is refused.
#[utoipa::path(
    post, path = "/v1/ball-results/import", tag = "ball_results", params(ImportParams),
    request_body(content = String, content_type = "text/csv"), responses((status = 200, body = Imported))
)]
pub async fn import(
    State(api): State<Api>,
    creation: Creation,
    Params(params): Params<ImportParams>,
    headers: HeaderMap,
    text: std::result::Result<Bytes, axum::extract::rejection::BytesRejection>,
) -> Result<Response> {
    let kind = headers.get(header::CONTENT_TYPE).map_or(&b""[..], |kind| kind.as_bytes());
    if !kind.starts_with(b"text/csv") {
        return Err(Problem::new(Kind::UnsupportedType, "expected Content-Type: text/csv"));
    }
    let text = text.map_err(|error| late(&error).unwrap_or_else(|| Problem::new(Kind::TooLarge, error.body_text())))?;
    let clock_offset_s = params.clock_offset_s.unwrap_or(0.0);
    if !(-MOST_CLOCK_OFFSET_S..=MOST_CLOCK_OFFSET_S).contains(&clock_offset_s) {
        let words =
            format!("clock_offset_s is {clock_offset_s}; expected −{MOST_CLOCK_OFFSET_S} to {MOST_CLOCK_OFFSET_S}");
        return Err(Problem::new(Kind::Malformed, words));
    }
    let options = Options { athlete: params.athlete, clock_offset_s, within_s: within_s(params.within_s)? };
    let mut table = csv::read(&text).map_err(|error| Problem::new(Kind::Invalid, error.to_string()))?;
    let ignored_columns = std::mem::take(&mut table.ignored_columns);
    let mut changes = api.store.write().await?;
    let rows = ball_import::import(&mut changes, table, options).await?;
    creation.done(&api, changes, &Imported::of(ignored_columns, rows)).await
}

async fn swing(changes: &mut Transaction, id: Uuid) -> Result<Swing> {
    Ok(referred(swings_read::get(changes, id).await, "swing_id")?.swing)
}

fn within_s(asked: Option<f64>) -> Result<f64> {
    let within_s = asked.unwrap_or(WITHIN_S);
    if (0.0..=MOST_WITHIN_S).contains(&within_s) {
        return Ok(within_s);
    }
    Err(Problem::new(Kind::Malformed, format!("within_s is {within_s}; expected 0 to {MOST_WITHIN_S}")))
}

fn by_time(row: rows::BallResult, near: &[Vec<ball_import::matching::Match>]) -> rows::BallResult {
    let Some(found) = assign(near).into_iter().flatten().next() else { return row };
    rows::BallResult {
        swing_id: Some(found.swing_id),
        athlete_id: found.athlete_id.or(row.athlete_id),
        matched_by: Some(rows::MatchedBy::Time),
        match_offset_ms: Some(found.offset_ms()),
        ..row
    }
}

fn offset_ms(at: UtcMicros, swing: &Swing) -> f64 {
    at.0.saturating_sub(swing.contact_utc.0) as f64 / 1e3
}

fn wrong(pointer: &str, detail: &str) -> Problem {
    Problem::invalid(vec![Place { pointer: pointer.into(), detail: detail.into() }])
}

/// What belongs to a swing by somebody's word.
trait OfSwing: Sized {
    fn of_swing(self, swing: &Swing, is_timed: bool) -> Result<Self>;
    fn checked_for(self, swing: &Swing) -> Result<Self>;
}

impl OfSwing for rows::BallResult {
    fn of_swing(self, swing: &Swing, is_timed: bool) -> Result<Self> {
        let match_offset_ms = is_timed.then(|| offset_ms(self.measured, swing));
        let checked = self.checked_for(swing)?;
        Ok(Self {
            athlete_id: swing.athlete_id.or(checked.athlete_id),
            matched_by: Some(rows::MatchedBy::Hand),
            match_offset_ms,
            ..checked
        })
    }

    fn checked_for(self, swing: &Swing) -> Result<Self> {
        if swing.athlete_id.is_some() && self.athlete_id.is_some_and(|athlete| swing.athlete_id != Some(athlete)) {
            return Err(wrong("/athlete_id", "the swing is another athlete's"));
        }
        Ok(self)
    }
}

impl BallResult {
    fn of(row: rows::BallResult) -> Self {
        Self {
            id: row.id,
            version: row.version,
            matched_by: row.matched_by.map(Into::into),
            match_offset_ms: row.match_offset_ms,
            body: BallResultBody::of(&row),
        }
    }
}

impl BallResultBody {
    fn of(row: &rows::BallResult) -> Self {
        Self {
            measured: Some(row.measured.into()),
            swing_id: row.swing_id,
            athlete_id: row.athlete_id,
            device: row.device.clone(),
            entered_by: row.entered_by.into(),
            exit_speed_mps: row.exit_speed_mps,
            launch_angle_deg: row.launch_angle_deg,
            direction_deg: row.direction_deg,
            carry_m: row.carry_m,
            note: row.note.clone(),
        }
    }

    /// New, and not matched yet.
    fn row(self, measured: UtcMicros) -> rows::BallResult {
        rows::BallResult {
            id: Uuid::now_v7(),
            athlete_id: self.athlete_id,
            swing_id: self.swing_id,
            matched_by: None,
            match_offset_ms: None,
            measured,
            device: self.device,
            entered_by: self.entered_by.into(),
            exit_speed_mps: self.exit_speed_mps,
            launch_angle_deg: self.launch_angle_deg,
            direction_deg: self.direction_deg,
            carry_m: self.carry_m,
            note: self.note,
            version: 1,
        }
    }

    fn check(&self) -> Result<()> {
        let numbers = [self.exit_speed_mps, self.launch_angle_deg, self.direction_deg, self.carry_m];
        Check::new()
            .text("device", &self.device, csv::LONGEST_DEVICE)
            .text("note", &self.note, csv::LONGEST_NOTE)
            .range("exit_speed_mps", self.exit_speed_mps, csv::EXIT_SPEED_MPS)
            .range("launch_angle_deg", self.launch_angle_deg, csv::LAUNCH_ANGLE_DEG)
            .range("direction_deg", self.direction_deg, csv::DIRECTION_DEG)
            .range("carry_m", self.carry_m, csv::CARRY_M)
            .that(
                numbers.iter().any(Option::is_some),
                "exit_speed_mps",
                "nothing is said of the ball; expected exit_speed_mps, launch_angle_deg, direction_deg or carry_m",
            )
            .done()
    }
}

impl Imported {
    fn of(ignored_columns: Vec<String>, rows: Vec<ball_import::Row>) -> Self {
        let rows: Vec<_> = rows.into_iter().map(ImportedRow::of).collect();
        let count = |is: fn(&ImportedRow) -> bool| rows.iter().filter(|row| is(row)).count();
        Self {
            stored: count(|row| row.id.is_some()),
            matched: count(|row| row.swing_id.is_some()),
            refused: count(|row| row.refused.is_some()),
            ignored_columns,
            rows,
        }
    }
}

impl ImportedRow {
    fn of(row: ball_import::Row) -> Self {
        let stored = row.outcome.as_ref().ok();
        Self {
            line: row.line,
            id: stored.map(|stored| stored.id),
            swing_id: stored.and_then(|stored| stored.swing_id),
            match_offset_ms: stored.and_then(|stored| stored.match_offset_ms),
            refused: row.outcome.err(),
        }
    }
}

fn by_program() -> EnteredBy {
    EnteredBy::Program
}
