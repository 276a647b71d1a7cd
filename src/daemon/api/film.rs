//! An instructor's own film: the sound of a clip, matched with a lesson's swings. The sound is listened to as it arrives and
//! kept nowhere.

use super::Api;
use super::check::Check;
use super::extract::{Id, Params, late};
use super::instant::Instant;
use super::problem::{Kind, Problem, Result};
use super::recordings::invalid;
use super::refer::referred;
use super::then_now::query::UnitsWord;
use crate::daemon::record::film::{Filmed, InPlace, PIECES_WAITING, Pieces};
use crate::daemon::store::queries::swings_read::SwingFilter;
use crate::daemon::store::queries::{lessons, rounds};
use crate::film::{Refusal, Sound, WavError, listen};
use crate::report::captions::InFilm;
use crate::report::words::Units;
use axum::Json;
use axum::body::Body;
use axum::extract::{Request, State};
use axum::http::{HeaderMap, header};
use http_body_util::BodyExt;
use serde::{Deserialize, Serialize};
use tokio::sync::mpsc;
use tokio::task::spawn_blocking;
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// A longer sound is not listened to, bytes: what the head of a WAV file can say. An hour of two channels of 16 bits at 48 kHz
/// has 0.7 GB.
const LONGEST_SOUND: u64 = 4 << 30;
/// The media types that WAV goes by.
const WAV_TYPES: [&str; 4] = ["audio/wav", "audio/x-wav", "audio/wave", "audio/vnd.wave"];

/// What is said of the film.
#[derive(Clone, Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct FilmParams {
    /// Only swings of this round.
    round: Option<Uuid>,
    /// Units of the captions; US where nothing is said.
    #[param(inline)]
    units: Option<UnitsWord>,
    /// From bat to microphone, m, to within half a metre or so. With it film times are those at which a contact is seen;
    /// without, at which it is heard: later by the sound's way, 3 ms a metre.
    #[param(minimum = 0.0, maximum = 100.0)]
    distance_m: Option<f64>,
}

/// The sound.
#[derive(ToSchema)]
#[schema(value_type = String, format = Binary)]
#[allow(dead_code, reason = "only its schema is used: the sound is never in memory as a whole")]
pub struct FilmSound(Vec<u8>);

/// Whether and how film and swings fit.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct FilmMatch {
    /// Whether they do, at one place alone.
    matched: bool,
    /// Why not, in words.
    #[schema(required)]
    reason: Option<String>,
    /// A word for that: few_contacts, many_contacts, far_apart, few_cracks, chance, not_unique, few_matched, vague or goes_along.
    #[schema(required)]
    refusal: Option<String>,
    /// How long the clip is, s.
    duration_s: f64,
    /// Sounds in it that may be cracks of bat on ball.
    cracks_found: usize,
    /// Fainter ones beyond 4,000, which were left out.
    cracks_left_out: usize,
    /// The instant at which the clip begins, by the swings' clock.
    #[schema(required)]
    begun: Option<Instant>,
    /// Film time minus the time since the first swing's contact, in the middle of the contacts that were matched, s.
    #[schema(required)]
    offset_s: Option<f64>,
    /// 1 σ of it, s.
    #[schema(required)]
    offset_sigma_s: Option<f64>,
    /// How much faster film time goes than the swings' clock, parts in a million.
    #[schema(required)]
    drift_ppm: Option<f64>,
    /// Swings that met a ball within the clip.
    #[schema(required)]
    contacts_in_clip: Option<usize>,
    /// How many of them have a crack.
    #[schema(required)]
    matched_contacts: Option<usize>,
    /// Whether film times are those at which a contact is seen, not heard.
    #[schema(required)]
    is_seen: Option<bool>,
    /// Every swing within the clip, in order.
    contacts: Vec<FilmContact>,
    /// Captions with each swing's numbers, WebVTT.
    #[schema(required)]
    captions: Option<String>,
    /// The contacts as a table.
    #[schema(required)]
    contacts_csv: Option<String>,
}

/// A swing in the film.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct FilmContact {
    /// Which.
    swing_id: String,
    /// Counts the swings of the lesson, or of the round, from 1.
    number: usize,
    /// Its contact, seconds from the clip's beginning.
    film_s: f64,
    /// 1 σ of that, s.
    sigma_s: f64,
    /// Whether it met a ball.
    met_ball: bool,
}

/// Match a film's sound with swings
///
/// Finds the cracks of bat on ball in the sound track of a clip and matches their pattern in time with the lesson's contacts.
/// That they do not fit, or at more than one place, is an answer, with a reason. The sound is not stored.
#[utoipa::path(
    post, path = "/v1/lessons/{id}/film-match", tag = "lessons", params(("id" = Uuid, Path), FilmParams),
    request_body(content = FilmSound, content_type = "audio/wav", description = "WAV of 44.1 or 48 kHz: integers of 16, 24 or 32 bits or floats of 32; at most 4 h and 4 GiB"),
    responses((status = 200, body = FilmMatch))
)]
pub async fn film_match(
    State(api): State<Api>,
    Id(id): Id<Uuid>,
    Params(params): Params<FilmParams>,
    request: Request,
) -> Result<Json<FilmMatch>> {
    Check::new().range("distance_m", params.distance_m, 0.0..=100.0).done()?;
    let filmed = read(&api, id, params.round).await?;
    of_wav(request.headers())?;
    let place = api.turns.arrive()?;
    let sound = heard(request.into_body()).await?;
    drop(place);
    let units = params.units.map_or(Units::Us, Units::from);
    let placing = spawn_blocking(move || (filmed.place(&sound, params.distance_m, units), sound));
    let (placed, sound) = placing.await.map_err(|_| stopped())?;
    Ok(Json(FilmMatch::of(&sound, placed)))
}

async fn read(api: &Api, lesson: Uuid, round: Option<Uuid>) -> Result<Filmed> {
    let mut reading = api.store.read().await?;
    lessons::get(&mut reading, lesson).await?;
    if let Some(round) = round {
        let round = referred(rounds::get(&mut reading, round).await, "round")?;
        if round.lesson_id != lesson {
            return Err(invalid("round", "it is of another lesson; expected one of this lesson".to_owned()));
        }
    }
    let filter = SwingFilter { lesson: Some(lesson), round, ..SwingFilter::default() };
    Ok(Filmed::read(&mut reading, &filter).await?)
}

fn of_wav(headers: &HeaderMap) -> Result<()> {
    let kind = headers.get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    let kind = kind.split(';').next().unwrap_or_default().trim();
    if WAV_TYPES.iter().any(|known| kind.eq_ignore_ascii_case(known)) {
        return Ok(());
    }
    Err(Problem::new(Kind::UnsupportedType, "expected Content-Type: audio/wav, and a WAV file as the body"))
}

/// Listens to the body as it comes, on a thread that may wait for it.
async fn heard(mut body: Body) -> Result<Sound> {
    let (sender, receiver) = mpsc::channel(PIECES_WAITING);
    let listening = spawn_blocking(move || listen(Pieces::new(receiver)));
    let mut bytes = 0;
    while let Some(frame) = body.frame().await {
        let unread = || Problem::new(Kind::Malformed, "the body ended early; expected all of the sound");
        let frame = frame.map_err(|error| late(&error).unwrap_or_else(unread))?;
        let Ok(piece) = frame.into_data() else { continue };
        bytes += piece.len() as u64;
        if bytes > LONGEST_SOUND {
            let words = format!("the sound has more than {LONGEST_SOUND} bytes; expected at most as many");
            return Err(Problem::new(Kind::TooLarge, words));
        }
        // What is not listened to any more is let pass, so that whoever sends it gets to hear why.
        let _ = sender.send(piece).await;
    }
    drop(sender);
    Ok(listening.await.map_err(|_| stopped())??)
}

fn stopped() -> Problem {
    Problem::new(Kind::Unavailable, "the service stops; expected another try when it runs again")
}

impl From<WavError> for Problem {
    fn from(error: WavError) -> Self {
        invalid("", error.to_string())
    }
}

impl FilmMatch {
    fn of(sound: &Sound, placed: std::result::Result<InPlace, Refusal>) -> Self {
        let (placed, refusal) = match placed {
            Ok(placed) => (Some(placed), None),
            Err(refusal) => (None, Some(refusal)),
        };
        let alignment = placed.as_ref().map(|placed| &placed.alignment);
        Self {
            matched: placed.is_some(),
            reason: refusal.as_ref().map(ToString::to_string),
            refusal: refusal.map(|refusal| refusal.word().to_owned()),
            duration_s: sound.duration_s,
            cracks_found: sound.cracks.len(),
            cracks_left_out: sound.left_out,
            begun: placed.as_ref().map(|placed| placed.begun.into()),
            offset_s: alignment.map(|found| found.offset_s),
            offset_sigma_s: alignment.map(|found| found.offset_sigma_s),
            drift_ppm: alignment.map(|found| found.drift_ppm),
            contacts_in_clip: alignment.map(|found| found.in_clip),
            matched_contacts: alignment.map(|found| found.matched),
            is_seen: alignment.map(|found| found.is_seen),
            contacts: placed.iter().flat_map(|placed| &placed.swings).map(FilmContact::of).collect(),
            captions: placed.as_ref().map(|placed| placed.captions.clone()),
            contacts_csv: placed.map(|placed| placed.contacts_csv),
        }
    }
}

impl FilmContact {
    fn of(swing: &InFilm) -> Self {
        Self {
            swing_id: swing.id.clone(),
            number: swing.number,
            film_s: swing.film_s,
            sigma_s: swing.film_sigma_s,
            met_ball: swing.met_ball,
        }
    }
}

#[cfg(test)]
mod tests;
