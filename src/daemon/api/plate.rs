//! Who and what the next swing belongs to.

use super::Api;
use super::check::Check;
use super::etag::Versioned;
use super::extract::Body;
use super::instant::Instant;
use super::patch::Patch;
use super::problem::{Kind, Place, Problem, Result};
use super::words::{BallSource, Occasion, Side};
use crate::daemon::record::plate::{self, AtBat, PlateError, Saying};
use crate::daemon::store::StoreError;
use axum::extract::State;
use serde::{Deserialize, Serialize};
use std::time::Duration;
use tokio_util::sync::CancellationToken;
use utoipa::ToSchema;
use uuid::Uuid;

/// The kind of the news that somebody else or something else is at the plate.
const PLATE: &str = "plate";
/// A lesson that is over by itself is noticed within this.
const LOOK_EVERY: Duration = Duration::from_secs(20);

/// Who and what the next swing belongs to. What is left out is not known.
#[derive(Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlateBody {
    /// Who swings; null: nobody who is known.
    athlete_id: Option<Uuid>,
    /// From which side.
    side: Option<Side>,
    /// With what.
    bat_id: Option<Uuid>,
    /// What is practised.
    #[schema(min_length = 1, max_length = 100)]
    drill: Option<String>,
    /// Where the ball comes from.
    ball_source: Option<BallSource>,
    /// The ball's speed at the plate, m/s. Off a tee and without a ball it is 0 unless something else is said.
    #[schema(minimum = 0.0, maximum = 100.0)]
    pitch_speed_mps: Option<f64>,
    /// How steeply it comes down there, degrees below the horizontal.
    #[schema(minimum = -89.0, maximum = 89.0)]
    pitch_descent_deg: Option<f64>,
    /// Whether it is a lesson, which is so where nothing is said, or practice.
    occasion: Option<Occasion>,
    /// A note on the round.
    #[schema(max_length = 2000)]
    note: Option<String>,
}

/// Who and what the next swing belongs to.
#[derive(Serialize, ToSchema)]
#[schema(as = AtThePlate)]
pub struct PlateOut {
    /// Who swings; null: nobody who is known.
    #[schema(required)]
    athlete_id: Option<Uuid>,
    /// Their name.
    #[schema(required)]
    nickname: Option<String>,
    /// From which side.
    #[schema(required)]
    side: Option<Side>,
    /// With what.
    #[schema(required)]
    bat_id: Option<Uuid>,
    /// The bat's name.
    #[schema(required)]
    bat: Option<String>,
    /// What is practised.
    #[schema(required)]
    drill: Option<String>,
    /// Where the ball comes from.
    #[schema(required)]
    ball_source: Option<BallSource>,
    /// The ball's speed at the plate, m/s.
    #[schema(required)]
    pitch_speed_mps: Option<f64>,
    /// How steeply it comes down there, degrees below the horizontal.
    #[schema(required)]
    pitch_descent_deg: Option<f64>,
    /// Lesson or practice; null: nobody is at the plate.
    #[schema(required)]
    occasion: Option<Occasion>,
    /// The note on the round.
    #[schema(required)]
    note: Option<String>,
    /// The lesson or practice.
    #[schema(required)]
    lesson_id: Option<Uuid>,
    /// The round.
    #[schema(required)]
    round_id: Option<Uuid>,
    /// Since when.
    since: Instant,
}

/// Read who is at the plate
///
/// Nobody is, once their lesson has ended or began more than 12 h ago.
#[utoipa::path(get, path = "/v1/at-the-plate", tag = "plate", responses((status = 200, body = PlateOut)))]
pub async fn read(State(api): State<Api>) -> Result<Versioned<PlateOut>> {
    let at_bat = plate::current(&mut *api.store.read().await?, &api.cage, api.now()).await?;
    Ok(Versioned(at_bat.plate.version, PlateOut::of(&at_bat)))
}

/// Say who is at the plate
///
/// Finds the athlete's lesson that is going on here or begins one, and its latest round if drill, ball, bat and side are the
/// same, else begins one. Swings from here on belong to them, for every sensor; the switch stands in the recordings.
#[utoipa::path(
    put, path = "/v1/at-the-plate", tag = "plate", request_body = PlateBody, responses((status = 200, body = PlateOut))
)]
pub async fn put(State(api): State<Api>, Body(body): Body<PlateBody>) -> Result<Versioned<PlateOut>> {
    let saying = body.checked()?;
    to_the_end(async move {
        let mut changes = api.store.write().await?;
        let at_bat = plate::put(&mut changes, &api.cage, &saying, api.now()).await?;
        changes.commit().await?;
        Ok(Versioned(at_bat.plate.version, tell(&api, &at_bat)))
    })
    .await
}

/// Changes to who and what the next swing belongs to.
type PlatePatch = Patch<PlateBody>;

/// Say something else of who is at the plate
///
/// What is named is changed, `null` makes it unknown, all else stays as it is said now; then as the whole of it said at once.
/// It needs no If-Match: a touch says only what it changes, so touches in quick succession, and those on two devices, all hold.
/// A note is on the round that goes on or begins; without one, rounds keep theirs.
#[utoipa::path(
    patch, path = "/v1/at-the-plate", tag = "plate",
    request_body(content = PlatePatch, content_type = "application/merge-patch+json"),
    responses((status = 200, body = PlateOut))
)]
pub async fn change(State(api): State<Api>, patch: PlatePatch) -> Result<Versioned<PlateOut>> {
    to_the_end(async move {
        // Whoever changes waits here for the one before, and goes on from what that one said.
        let mut changes = api.store.write().await?;
        let before = plate::current(&mut changes, &api.cage, api.now()).await?;
        let is_noted = patch.names("note");
        let mut saying = patch.apply(&PlateBody::of(&before))?.checked()?;
        if is_noted {
            saying.note.get_or_insert_default();
        }
        let at_bat = plate::put(&mut changes, &api.cage, &saying, api.now()).await?;
        changes.commit().await?;
        Ok(Versioned(at_bat.plate.version, tell(&api, &at_bat)))
    })
    .await
}

/// Stations and stream learn who is at the plate.
pub(super) fn tell(api: &Api, at_bat: &AtBat) -> PlateOut {
    (api.plate)(at_bat);
    let out = PlateOut::of(at_bat);
    if let Ok(data) = serde_json::to_string(&out) {
        api.hub.publish(PLATE, data);
    }
    out
}

/// Work that goes on when nobody waits for the answer any more: what is on disk is told of as well.
///
/// # Errors
/// Those of the work.
pub(super) async fn to_the_end<T: Send + 'static>(work: impl Future<Output = Result<T>> + Send + 'static) -> Result<T> {
    tokio::spawn(work).await.map_err(|error| Problem::new(Kind::Internal, error.to_string()))?
}

/// Looks, until `cancel`, whether whoever is at the plate is still in a lesson: it may have lasted 12 h, or have been ended at
/// another installation that shares the store.
pub async fn watch(api: Api, cancel: CancellationToken) {
    loop {
        if let Err(error) = look(&api).await {
            tracing::warn!(%error, "who is at the plate cannot be looked for");
        }
        tokio::select! {
            () = tokio::time::sleep(LOOK_EVERY) => {}
            () = cancel.cancelled() => return,
        }
    }
}

async fn look(api: &Api) -> std::result::Result<(), StoreError> {
    if plate::is_settled(&mut *api.store.read().await?, &api.cage, api.now()).await? {
        return Ok(());
    }
    let mut changes = api.store.write().await?;
    let at_bat = plate::settle(&mut changes, &api.cage, api.now()).await?;
    changes.commit().await?;
    at_bat.iter().for_each(|at_bat| {
        tell(api, at_bat);
    });
    Ok(())
}

/// How a sensor sits, or what is swung, is known otherwise: the stations hear it. Nobody else is at the plate, so front-ends do
/// not. Should it fail, they hear it with whoever is there next.
pub async fn renew(api: &Api) {
    let current = async { plate::current(&mut *api.store.read().await?, &api.cage, api.now()).await };
    match current.await {
        Ok(at_bat) => (api.plate)(&at_bat),
        Err(error) => tracing::warn!(%error, "a bat or a mount is used from the next one at the plate on"),
    }
}

impl PlateBody {
    /// What is said now, but for the note, which is the round's.
    fn of(at_bat: &AtBat) -> Self {
        let plate = &at_bat.plate;
        Self {
            athlete_id: plate.athlete_id,
            side: plate.side.map(Into::into),
            bat_id: plate.bat_id,
            drill: plate.drill.clone(),
            ball_source: plate.ball_source.map(Into::into),
            pitch_speed_mps: plate.pitch_speed_mps,
            pitch_descent_deg: plate.pitch_descent_deg,
            occasion: at_bat.lesson.as_ref().map(|lesson| lesson.occasion.into()),
            note: None,
        }
    }

    fn checked(self) -> Result<Saying> {
        let mut check = Check::new();
        self.drill.iter().for_each(|drill| {
            check.name("drill", drill, 100);
        });
        check
            .range("pitch_speed_mps", self.pitch_speed_mps, 0.0..=100.0)
            .range("pitch_descent_deg", self.pitch_descent_deg, -89.0..=89.0)
            .text("note", self.note.as_deref().unwrap_or_default(), 2000)
            .done()?;
        Ok(Saying {
            athlete_id: self.athlete_id,
            side: self.side.map(Into::into),
            bat_id: self.bat_id,
            drill: self.drill,
            ball_source: self.ball_source.map(Into::into),
            pitch_speed_mps: self.pitch_speed_mps,
            pitch_descent_deg: self.pitch_descent_deg,
            occasion: self.occasion.unwrap_or(Occasion::Lesson).into(),
            note: self.note,
        })
    }
}

impl PlateOut {
    fn of(at_bat: &AtBat) -> Self {
        let plate = &at_bat.plate;
        Self {
            athlete_id: plate.athlete_id,
            nickname: at_bat.nickname.clone(),
            side: plate.side.map(Into::into),
            bat_id: plate.bat_id,
            bat: at_bat.bat.clone(),
            drill: plate.drill.clone(),
            ball_source: plate.ball_source.map(Into::into),
            pitch_speed_mps: plate.pitch_speed_mps,
            pitch_descent_deg: plate.pitch_descent_deg,
            occasion: at_bat.lesson.as_ref().map(|lesson| lesson.occasion.into()),
            note: at_bat.round.as_ref().map(|round| round.note.clone()),
            lesson_id: plate.lesson_id,
            round_id: plate.round_id,
            since: plate.since.into(),
        }
    }
}

impl From<PlateError> for Problem {
    fn from(error: PlateError) -> Self {
        match error {
            PlateError::Unknown { key } => {
                let detail = "there is none with this id; expected one that was entered".into();
                Self::invalid(vec![Place { pointer: format!("/{key}"), detail }])
            }
            PlateError::Store(error) => error.into(),
        }
    }
}

#[cfg(test)]
mod tests;
