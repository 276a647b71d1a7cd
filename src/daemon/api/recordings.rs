//! Recordings: files of what sensors sent, read, fetched and measured again.

use super::Api;
use super::etag::Versioned;
use super::extract::{Body, Id, Params};
use super::instant::Instant;
use super::page::{self, Page};
use super::problem::{Kind, Place, Problem, Result};
use super::words::{Origin, RecordingState};
use crate::daemon::record::{self, AnalyseError, Busy, RecordingFile, analyse_file};
use crate::daemon::store::queries::TimeKey;
use crate::daemon::store::queries::recordings::{self, Filter};
use crate::daemon::store::rows::{self, UtcMicros};
use crate::engine::profile::Profile;
use axum::Json;
use axum::body::to_bytes;
use axum::extract::{FromRequest, Request, State};
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};
use tokio_util::io::ReaderStream;
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// The text of a profile has no more characters than this.
const LONGEST_PROFILE_TOML: usize = 200_000;
/// The folder of recordings, in the data folder.
pub(super) const FOLDER: &str = "recordings";

/// A recording as it is stored. What is null is not known yet, or does not apply.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Recording {
    /// Its id.
    id: Uuid,
    /// Counts its changes; the ETag.
    version: i64,
    /// The installation in whose folder its file lies.
    cage: String,
    /// The file's name there.
    file_name: String,
    /// How it came to be.
    origin: Origin,
    /// What an imported file was called.
    #[schema(required)]
    imported_name: Option<String>,
    /// Whom an imported file was imported for.
    #[schema(required)]
    athlete_id: Option<Uuid>,
    /// Who sent it.
    #[schema(required)]
    sensor_id: Option<Uuid>,
    /// When it began.
    begun: Instant,
    /// When it ended.
    #[schema(required)]
    ended: Option<Instant>,
    /// From the first sample to the last, s.
    #[schema(required)]
    duration_s: Option<f64>,
    /// Samples.
    #[schema(required)]
    samples: Option<i64>,
    /// Nominal rate, Hz; 0: it has too few samples to tell.
    #[schema(required)]
    sample_rate_hz: Option<f64>,
    /// Places where samples are missing.
    #[schema(required)]
    gaps: Option<i64>,
    /// How many are missing there.
    #[schema(required)]
    missing_samples: Option<i64>,
    /// SHA-256 of an imported file, hexadecimal.
    #[schema(required)]
    sha256: Option<String>,
    /// Whether all its swings are stored.
    state: RecordingState,
}

/// Which recordings.
#[derive(Clone, Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct RecordingParams {
    /// Only those that hold swings of this athlete, or were imported for them.
    athlete: Option<Uuid>,
    /// Only those recorded here, or only imported ones.
    origin: Option<Origin>,
    /// Begun at this instant or later.
    #[param(value_type = Option<String>, format = DateTime)]
    from: Option<Instant>,
    /// Begun before this instant.
    #[param(value_type = Option<String>, format = DateTime)]
    to: Option<Instant>,
    /// `next` of the page before.
    #[param(max_length = 200)]
    after: Option<String>,
    /// At most so many items.
    #[param(minimum = 1, maximum = 500)]
    limit: Option<u16>,
}

/// How a recording is to be measured again.
#[derive(Clone, Debug, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Reanalysis {
    /// The text of a profile (TOML) to measure it by, in place of its own.
    #[schema(max_length = 200_000)]
    profile_toml: Option<String>,
}

/// What came of measuring a recording.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Outcome {
    /// How many swings are in it.
    swings_found: u64,
    /// How many of them were not in the store.
    new: u64,
    /// How many have got another revision of their numbers.
    revised: u64,
    /// How many have the numbers they had.
    unchanged: u64,
    /// Swings that were found before and are not any more, in the order of time. They stay as they are.
    missing: Vec<Uuid>,
    /// What is unusual and what could not be used, for people.
    notes: Vec<String>,
}

/// List recordings
///
/// The newest first.
#[utoipa::path(
    get, path = "/v1/recordings", tag = "recordings", params(RecordingParams),
    responses((status = 200, body = Page<Recording>))
)]
pub async fn list(State(api): State<Api>, Params(params): Params<RecordingParams>) -> Result<Json<Page<Recording>>> {
    let slice = page::slice(params.after.as_deref(), params.limit)?;
    let filter = Filter {
        athlete: params.athlete,
        origin: params.origin.map(rows::Origin::from),
        from: params.from.map(UtcMicros::from),
        to: params.to.map(UtcMicros::from),
    };
    let rows = recordings::list(&mut *api.store.read().await?, &filter, slice).await?;
    let key = |row: &rows::Recording| TimeKey { at: row.begun, id: row.id }.to_string();
    Ok(Json(page::page(params.limit, rows, key, Recording::of)))
}

/// Read a recording
#[utoipa::path(
    get, path = "/v1/recordings/{id}", tag = "recordings", params(("id" = Uuid, Path)),
    responses((status = 200, body = Recording))
)]
pub async fn read(State(api): State<Api>, Id(id): Id<Uuid>) -> Result<Versioned<Recording>> {
    let row = recordings::get(&mut *api.store.read().await?, id).await?;
    Ok(Versioned(row.version, Recording::of(row)))
}

/// Fetch a recording's file
///
/// As it was recorded or imported: MCAP, or CSV.
#[utoipa::path(
    get, path = "/v1/recordings/{id}/file", tag = "recordings", params(("id" = Uuid, Path)),
    responses((status = 200, content(
        (String = "application/octet-stream"),
        (String = "text/csv")
    )))
)]
pub async fn file(State(api): State<Api>, Id(id): Id<Uuid>) -> Result<Response> {
    let row = recordings::get(&mut *api.store.read().await?, id).await?;
    let path = here(&api, &row)?.path()?;
    let gone = |error: std::io::Error| {
        tracing::warn!(path = %path.display(), %error, "a recording cannot be read");
        Problem::new(Kind::NotFound, format!("{}: the file cannot be read", row.file_name))
    };
    let file = tokio::fs::File::open(&path).await.map_err(gone)?;
    let length = file.metadata().await.map_err(gone)?.len();
    let is_csv = path.extension().is_some_and(|ending| ending == "csv");
    let kind = if is_csv { "text/csv" } else { "application/octet-stream" };
    let headers = [
        (header::CONTENT_TYPE, HeaderValue::from_static(kind)),
        (header::CONTENT_LENGTH, HeaderValue::from(length)),
        (header::CONTENT_DISPOSITION, disposition(&row.file_name)),
        (header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff")),
    ];
    Ok((headers, axum::body::Body::from_stream(ReaderStream::new(file))).into_response())
}

/// Measure a recording again
///
/// Reads the file and adds a revision to each swing whose numbers are others than before; marks, notes, tags and owners stay,
/// and so do swings that are not found any more. Without a body it is measured by its own profile. One recording is measured
/// at a time; a few wait for their turn.
#[utoipa::path(
    post, path = "/v1/recordings/{id}/reanalyses", tag = "recordings", params(("id" = Uuid, Path)),
    request_body = Option<Reanalysis>, responses((status = 200, body = Outcome))
)]
pub async fn reanalyse(State(api): State<Api>, Id(id): Id<Uuid>, request: Request) -> Result<Json<Outcome>> {
    let Reanalysis { profile_toml } = asked(request, &api).await?;
    let length = profile_toml.as_ref().map_or(0, |toml| toml.chars().count());
    if length > LONGEST_PROFILE_TOML {
        return Err(invalid(
            "profile_toml",
            format!("has {length} characters; expected at most {LONGEST_PROFILE_TOML}"),
        ));
    }
    if let Some(Err(error)) = profile_toml.as_deref().map(Profile::parse) {
        return Err(invalid("profile_toml", error.to_string()));
    }
    let row = recordings::get(&mut *api.store.read().await?, id).await?;
    let file = here(&api, &row)?;
    let _turn = api.turns.turn().await?;
    Ok(Json(Outcome::of(analyse_file(&api.store, &file, profile_toml, api.now()).await?)))
}

/// No body and `null` say nothing.
async fn asked(request: Request, api: &Api) -> Result<Reanalysis> {
    if request.headers().contains_key(header::CONTENT_TYPE) {
        return Ok(Body::<Option<Reanalysis>>::from_request(request, api).await?.0.unwrap_or_default());
    }
    match to_bytes(request.into_body(), 1).await {
        Ok(bytes) if bytes.is_empty() => Ok(Reanalysis::default()),
        _ => Err(Problem::new(Kind::UnsupportedType, "expected Content-Type: application/json, or no body")),
    }
}

/// The file of a recording, if it is at this installation.
fn here(api: &Api, row: &rows::Recording) -> Result<RecordingFile> {
    let rows::Recording { cage, file_name, .. } = row;
    if *cage != api.cage {
        let words = format!("{file_name}: the file is at `{cage}`, and this is `{}`; ask there", api.cage);
        return Err(Problem::new(Kind::NotFound, words));
    }
    let (cage, file_name) = (cage.clone(), file_name.clone());
    Ok(RecordingFile { cage, folder: api.data_folder.join(FOLDER), file_name })
}

/// Only what every system takes in a name, so that no name can do harm where it is saved (RFC 6266, section 4.3).
fn disposition(file_name: &str) -> HeaderValue {
    let is_plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
    let name: String = file_name.chars().map(|c| if is_plain(c) { c } else { '_' }).collect();
    let value = HeaderValue::from_str(&format!("attachment; filename=\"{}\"", name.trim_start_matches('.')));
    value.unwrap_or(HeaderValue::from_static("attachment"))
}

/// A single value that cannot be used.
pub(super) fn invalid(key: &str, detail: String) -> Problem {
    Problem::invalid(vec![Place { pointer: format!("/{key}"), detail }])
}

impl Recording {
    pub(super) fn of(row: rows::Recording) -> Self {
        let summary = row.summary;
        Self {
            id: row.id,
            version: row.version,
            cage: row.cage,
            file_name: row.file_name,
            origin: row.origin.into(),
            imported_name: row.imported_name,
            athlete_id: row.athlete_id,
            sensor_id: row.sensor_id,
            begun: row.begun.into(),
            ended: row.ended.map(Instant::from),
            duration_s: summary.map(|summary| summary.duration_s),
            samples: summary.map(|summary| summary.samples),
            sample_rate_hz: summary.map(|summary| summary.sample_rate_hz),
            gaps: summary.map(|summary| summary.gaps),
            missing_samples: summary.map(|summary| summary.missing_samples),
            sha256: row.sha256,
            state: row.state.into(),
        }
    }
}

impl Outcome {
    pub(super) fn of(outcome: record::Outcome) -> Self {
        let record::Outcome { swings_found, new, revised, unchanged, missing, notes, .. } = outcome;
        Self { swings_found, new, revised, unchanged, missing, notes }
    }
}

impl From<Busy> for Problem {
    fn from(busy: Busy) -> Self {
        Self::new(Kind::TooMany, busy.to_string())
    }
}

impl From<AnalyseError> for Problem {
    fn from(error: AnalyseError) -> Self {
        let detail = error.to_string();
        match error {
            AnalyseError::Store(error) => error.into(),
            AnalyseError::NoFile(_) => Self::new(Kind::NotFound, detail),
            AnalyseError::File(_) | AnalyseError::NoTime(_) => Self::new(Kind::Conflict, detail),
            AnalyseError::Stopped => Self::new(Kind::Unavailable, detail),
        }
    }
}

#[cfg(test)]
mod tests;
