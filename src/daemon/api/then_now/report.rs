//! A comparison as one file to take home.

use super::super::Api;
use super::super::check::Check;
use super::super::extract::Id;
use super::super::problem::{Kind, Problem, Result};
use super::super::swings::squared_up::{BallKind, SquaredUpParams};
use super::query::{OfAthlete, ThenNowQuery, filled_in, read, split};
use super::usual::{completed, days};
use super::{about, refuse_shared};
use crate::daemon::local_days;
use crate::daemon::record::handout::{gather, homework};
use crate::daemon::record::looked_at::looked_at;
use crate::daemon::record::squared_up::Asked;
use crate::daemon::record::then_now::{ThenNow, question};
use crate::daemon::store::Reading;
use crate::daemon::store::queries::athletes;
use crate::report::handout::{Handout, Reader, handout};
use axum::extract::{RawQuery, State};
use axum::http::{HeaderMap, HeaderValue, header};
use axum::response::{Html, Response};
use serde::Deserialize;
use std::collections::BTreeSet;
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// The keys of [`ReportParams`].
const OWN: [&str; 6] = ["for", "words", "file", "ball", "temperature_c", "elevation_m"];
/// The instructor's words are no longer than this, characters.
const MOST_WORDS: usize = 4000;
/// The file carries its own style and asks for nothing (W3C, *Content Security Policy Level 3*).
const POLICY: HeaderValue = HeaderValue::from_static(
    "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
);

/// How the report is to be.
#[derive(Clone, Debug, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct ReportParams {
    /// For the athlete and a parent, or for the instructor.
    #[serde(rename = "for")]
    #[param(inline)]
    reader: Option<ReaderWord>,
    /// The instructor's words; lines are kept.
    #[param(max_length = 4000)]
    words: Option<String>,
    /// `true`: to be kept as a file, not shown.
    file: Option<bool>,
    /// The ball, where it is said what one would do if squared up; a baseball where nothing is said.
    #[param(inline)]
    ball: Option<BallKind>,
    /// Temperature of the air for that, °C; 10 to 30 where nothing is said.
    #[param(minimum = -45.0, maximum = 60.0)]
    temperature_c: Option<f64>,
    /// Elevation above the sea for that, m; 0 where nothing is said.
    #[param(minimum = -500.0, maximum = 9000.0)]
    elevation_m: Option<f64>,
}

impl ReportParams {
    fn asked(&self) -> Result<Asked> {
        let Self { ball, temperature_c, elevation_m, .. } = *self;
        SquaredUpParams { ball, temperature_c, elevation_m, ..SquaredUpParams::default() }.asked()
    }
}

/// For whom.
#[derive(Clone, Copy, Debug, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ReaderWord {
    /// The athlete and a parent: plain words.
    Athlete,
    /// The instructor: everything.
    Instructor,
}

/// A comparison as one file to take home
///
/// HTML that needs nothing else, in a version for athlete and parent and in one for the instructor; it prints on A4 and Letter.
/// Which swings are set side by side is said as for the comparison, but for whose they are. Where no side is said, it is the one
/// with most swings. Where no day is said, the first few days stand against the latest few; all days where the groups differ in
/// side, bat, drill or ball source. What is left empty (`then_side=`, `then_from=`) is either side, and from the first or to the
/// last day.
#[utoipa::path(
    get, path = "/v1/athletes/{id}/report", operation_id = "report", tag = "comparison",
    params(("id" = Uuid, Path), ReportParams, OfAthlete),
    responses((status = 200, content_type = "text/html", body = String))
)]
pub async fn report(State(api): State<Api>, Id(id): Id<Uuid>, RawQuery(query): RawQuery) -> Result<Response> {
    let (own, others) = split(query.as_deref().unwrap_or_default(), &OWN);
    let params: ReportParams = read(&filled_in(&own))?;
    let words = params.words.as_deref().unwrap_or_default().replace("\r\n", "\n");
    Check::new().text("words", &words, MOST_WORDS).done()?;
    let mut reading = api.store.read().await?;
    let made = local_days::text(api.now());
    let (of, read) = read_all(&mut reading, id, &others, &params).await?;
    let all = Handout { words, made, ..read };
    drop(reading);
    let drawn = tokio::task::spawn_blocking(move || handout(&all)).await;
    let html = drawn.map_err(|error| Problem::new(Kind::Internal, error.to_string()))?;
    let mut headers = HeaderMap::new();
    headers.insert(header::CONTENT_SECURITY_POLICY, POLICY);
    if params.file == Some(true) {
        let name = format!("attachment; filename=\"then-and-now-{id}.html\"");
        headers.insert(
            header::CONTENT_DISPOSITION,
            HeaderValue::try_from(name).map_err(|error| Problem::new(Kind::Internal, error.to_string()))?,
        );
    }
    Ok(about(of, (headers, Html(html))))
}

/// A sheet on which nothing stands against nothing is none.
fn refuse_empty(found: &ThenNow) -> Result<()> {
    match found.then.swings.is_empty() && found.now.swings.is_empty() {
        true => {
            Err(Problem::new(Kind::Invalid, "no swing of either group counts; expected other days or another group"))
        }
        false => Ok(()),
    }
}

/// What the report says, and whose swings it is made of.
async fn read_all(
    reading: &mut Reading,
    id: Uuid,
    query: &str,
    params: &ReportParams,
) -> Result<(BTreeSet<Uuid>, Handout)> {
    let athlete = athletes::get(reading, id).await?;
    let days = days(reading, id).await?;
    let ThenNowQuery { filters: [then, now], metrics, units } =
        ThenNowQuery::of_athlete(&completed(query, &days).query, id)?;
    let question = question(reading, metrics).await?;
    let gathered = gather(reading, id, [&then, &now], &question, &params.asked()?).await?;
    refuse_shared(&gathered.compared)?;
    refuse_empty(&gathered.compared)?;
    let [heard_then, heard_now] = gathered.heard;
    let of = gathered.compared.athletes();
    let handout = Handout {
        reader: match params.reader {
            Some(ReaderWord::Instructor) => Reader::Instructor,
            Some(ReaderWord::Athlete) | None => Reader::Athlete,
        },
        units,
        nickname: athlete.nickname,
        then: heard_then,
        now: heard_now,
        looked_at: looked_at(&gathered.compared),
        mismatches: gathered.compared.mismatches,
        numbers: gathered.compared.numbers,
        curves: gathered.compared.curves,
        alike: gathered.alike,
        varied: gathered.over_months.varied_words(),
        trends: gathered.over_months.trends,
        trend_lines: gathered.trend_lines,
        homework: homework(reading, id).await?,
        flags: gathered.flags,
        balls: gathered.balls.into(),
        version: format!("swingd {}", env!("CARGO_PKG_VERSION")),
        ..Handout::default()
    };
    Ok((of, handout))
}
