//! Recordings from elsewhere, into an athlete's record.

use super::Api;
use super::check::Check;
use super::etag::etag;
use super::extract::Params;
use super::instant::Instant;
use super::problem::{Kind, Problem, Result};
use super::recordings::{FOLDER, Outcome, Recording, invalid};
use super::refer::referred;
use super::words::{BallSource, Occasion, Side};
use crate::daemon::files::{LONGEST_PROFILE, RecordingError};
use crate::daemon::record::{Arrived, Arriving, Import, ImportError, LONGEST_FILE, UploadError, import};
use crate::daemon::store::queries::{athletes, bats};
use crate::daemon::store::rows::UtcMicros;
use axum::Json;
use axum::extract::multipart::{Field, Multipart, MultipartError};
use axum::extract::{FromRequest, Request, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};
use std::io::ErrorKind;
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// A body is not longer than this: the file, its profile, and what stands between them, bytes.
pub(super) const LONGEST_BODY: usize = (LONGEST_FILE + LONGEST_PROFILE) as usize + 64 * 1024;
/// A file's name has no more characters than this.
const LONGEST_NAME: usize = 200;

/// What is said of the file.
#[derive(Clone, Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct ImportParams {
    /// Whose swings are in it: all of them, whatever the recording says of who was at the plate.
    athlete: Uuid,
    /// Practice where nothing is said.
    occasion: Option<Occasion>,
    /// From which side; where nothing is said, as the recording or its profile says.
    side: Option<Side>,
    /// With which bat.
    bat: Option<Uuid>,
    /// What was practised.
    #[param(min_length = 1, max_length = 100)]
    drill: Option<String>,
    /// Where the ball came from.
    ball_source: Option<BallSource>,
    /// The ball's speed at the plate, m/s.
    #[param(minimum = 0.0, maximum = 100.0)]
    pitch_speed_mps: Option<f64>,
    /// When it began. Needed for a recording that does not say (CSV); where it does, that counts.
    #[param(value_type = Option<String>, format = DateTime)]
    begun: Option<Instant>,
    /// What the file is called; where nothing is said, as the part of the body says.
    #[param(max_length = 200)]
    name: Option<String>,
}

/// The file.
#[derive(ToSchema)]
#[allow(dead_code, reason = "only its schema is used: the file is never in memory")]
pub struct ImportBody {
    /// MCAP or CSV, at most 512 MB.
    #[schema(value_type = String, format = Binary)]
    recording: Vec<u8>,
    /// The profile (TOML) of a CSV recording.
    profile: Option<String>,
}

/// A recording that was taken in, and what is in it.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct Imported {
    /// The recording.
    recording: Recording,
    /// Its swings.
    outcome: Outcome,
}

/// Import a recording
///
/// Takes in a file made elsewhere, as an athlete's practice or lesson, and measures it. It belongs to theirs that covers the
/// time, or to a new one. The same file is not taken twice: a conflict names the recording that is there. A file that cannot
/// be read is refused with what is wrong and where, and nothing of it is kept.
#[utoipa::path(
    post, path = "/v1/recordings", tag = "recordings", params(ImportParams),
    request_body(content = ImportBody, content_type = "multipart/form-data"),
    responses((status = 201, body = Imported))
)]
pub async fn create(
    State(api): State<Api>,
    Params(params): Params<ImportParams>,
    request: Request,
) -> Result<Response> {
    params.check()?;
    let mut reading = api.store.read().await?;
    referred(athletes::get(&mut reading, params.athlete).await, "athlete")?;
    if let Some(bat) = params.bat {
        referred(bats::get(&mut reading, bat).await, "bat")?;
    }
    drop(reading);
    let place = api.turns.arrive()?;
    let received = Received::from(&api, request).await?;
    let wanted = params.import(&received)?;
    let _turn = api.turns.turn().await?;
    drop(place);
    let now = api.now();
    // Whoever sent it may go away; what was begun is gone on with.
    let (store, cage) = (api.store.clone(), api.cage.clone());
    let arrived = received.arrived;
    let importing = tokio::spawn(async move {
        let _turn = _turn;
        import(&store, &cage, arrived, wanted, now).await
    });
    let (row, outcome) = importing.await.map_err(|_| ImportError::Stopped)??;
    let headers = [(header::LOCATION, format!("/v1/recordings/{}", row.id))];
    let version = [etag(row.version)];
    let imported = Imported { recording: Recording::of(row), outcome: Outcome::of(outcome) };
    Ok((StatusCode::CREATED, headers, version, Json(imported)).into_response())
}

impl ImportParams {
    fn check(&self) -> Result<()> {
        let mut check = Check::new();
        if let Some(drill) = &self.drill {
            check.name("drill", drill, 100);
        }
        check
            .text("name", self.name.as_deref().unwrap_or_default(), LONGEST_NAME)
            .range("pitch_speed_mps", self.pitch_speed_mps, 0.0..=100.0)
            .done()
    }

    fn import(&self, received: &Received) -> Result<Import> {
        let name = self.name.as_ref().or(received.name.as_ref()).map_or("recording", |name| bare(name));
        Check::new().text("name", name, LONGEST_NAME).done()?;
        Ok(Import {
            athlete_id: self.athlete,
            occasion: self.occasion.unwrap_or(Occasion::Practice).into(),
            side: self.side.map(Into::into),
            bat_id: self.bat,
            drill: self.drill.clone(),
            ball_source: self.ball_source.map(Into::into),
            pitch_speed_mps: self.pitch_speed_mps,
            begun: self.begun.map(UtcMicros::from),
            name: if name.is_empty() { "recording" } else { name }.to_owned(),
            profile_toml: received.profile_toml.clone(),
        })
    }
}

/// A name without the folders before it, whichever system they are of.
fn bare(name: &str) -> &str {
    name.rsplit(['/', '\\']).next().unwrap_or(name)
}

/// What the body held.
struct Received {
    arrived: Arrived,
    name: Option<String>,
    profile_toml: Option<String>,
}

impl Received {
    async fn from(api: &Api, request: Request) -> Result<Self> {
        let mut parts = Multipart::from_request(request, api).await.map_err(|_| {
            let words = "expected multipart/form-data with a part `recording` and, for CSV, a part `profile`";
            Problem::new(Kind::UnsupportedType, words)
        })?;
        let (mut arrived, mut name, mut profile_toml) = (None, None, None);
        while let Some(field) = parts.next_field().await? {
            match field.name() {
                Some("recording") if arrived.is_none() => {
                    name = field.file_name().map(str::to_owned);
                    arrived = Some(arrive(api, field).await?);
                }
                Some("profile") if profile_toml.is_none() => profile_toml = Some(text(field).await?),
                other => {
                    let words =
                        format!("a part `{}`; expected one `recording` and at most one `profile`", other.unwrap_or(""));
                    return Err(Problem::new(Kind::Malformed, words));
                }
            }
        }
        let missing = || Problem::new(Kind::Malformed, "there is no part `recording`; expected the file in it");
        Ok(Self { arrived: arrived.ok_or_else(missing)?, name, profile_toml })
    }
}

async fn arrive(api: &Api, mut field: Field<'_>) -> Result<Arrived> {
    let mut arriving = Arriving::create(&api.data_folder.join(FOLDER)).await?;
    while let Some(bytes) = field.chunk().await? {
        arriving.push(&bytes).await?;
    }
    Ok(arriving.finish().await?)
}

async fn text(mut field: Field<'_>) -> Result<String> {
    let mut text = Vec::new();
    while let Some(bytes) = field.chunk().await? {
        text.extend_from_slice(&bytes);
        if text.len() as u64 > LONGEST_PROFILE {
            let words = format!("the profile has more than {LONGEST_PROFILE} bytes; expected a TOML file");
            return Err(Problem::new(Kind::TooLarge, words));
        }
    }
    String::from_utf8(text).map_err(|error| invalid("profile", format!("{error}; expected a TOML file of UTF-8 text")))
}

impl From<MultipartError> for Problem {
    fn from(error: MultipartError) -> Self {
        let kind = match error.status() {
            StatusCode::PAYLOAD_TOO_LARGE => Kind::TooLarge,
            _ => Kind::Malformed,
        };
        Self::new(kind, error.body_text())
    }
}

impl From<UploadError> for Problem {
    fn from(error: UploadError) -> Self {
        match error {
            UploadError::TooLong => Self::new(Kind::TooLarge, error.to_string()),
            UploadError::Io(cause) => of_disk(&cause),
        }
    }
}

impl From<ImportError> for Problem {
    fn from(error: ImportError) -> Self {
        let detail = error.to_string();
        match error {
            ImportError::File(RecordingError::Profile { .. } | RecordingError::ProfileText { .. }) => {
                invalid("profile", detail)
            }
            ImportError::File(_) => invalid("recording", detail),
            ImportError::NeedlessProfile => invalid("profile", detail),
            ImportError::NoTime => invalid("begun", detail),
            ImportError::Known(_) => Self::new(Kind::Conflict, detail),
            ImportError::Store(error) => error.into(),
            ImportError::Io(cause) => of_disk(&cause),
            ImportError::NotMeasured { cause, .. } => Self { detail, ..Self::from(*cause) },
            ImportError::Stopped => Self::new(Kind::Unavailable, detail),
        }
    }
}

fn of_disk(cause: &std::io::Error) -> Problem {
    tracing::error!(error = %cause, "a recording could not be written");
    match cause.kind() {
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => {
            Problem::new(Kind::DiskFull, "nothing was kept; make room on the disk and try again")
        }
        _ => Problem::new(Kind::Internal, "the folder of recordings cannot be written to; the log says more"),
    }
}

#[cfg(test)]
pub(super) mod tests;
