//! The bundled lesson, played at the plate for whoever has no sensor yet.

use super::Api;
use super::check::Check;
use super::extract::of_json;
use super::plate::{tell, to_the_end};
use super::problem::{Kind, Problem, Result};
use crate::daemon::example::{self, Claim, Example};
use crate::daemon::record::plate::{self, Saying};
use crate::daemon::store::queries::{Slice, athletes, bats};
use crate::daemon::store::rows::{self, BatKind, Moi, Occasion};
use crate::daemon::store::{StoreError, Transaction};
use crate::engine::profile::{Profile, Side};
use axum::Json;
use axum::extract::State;
use axum::extract::rejection::JsonRejection;
use axum::http::StatusCode;
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use utoipa::ToSchema;
use uuid::Uuid;

const NICKNAME: &str = "Example";
const BAT: &str = "Example bat";
/// By it they are known again.
const NOTE: &str = "Simulated; erase it when you have seen enough";
/// More than anybody enters under that name.
const MOST: i64 = 1000;
/// Nothing is said of how fast: a swing about every eight seconds.
const USUAL_SPEED: f64 = 2.0;

/// How it is played.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ExampleBody {
    /// How many times as fast as it was; 2 where nothing is said.
    #[schema(minimum = 1.0, maximum = 20.0, default = 2.0)]
    speed: Option<f64>,
}

/// What is played.
#[derive(Serialize, ToSchema)]
#[schema(as = Example)]
pub struct ExampleOut {
    /// Whose the swings are: an invented athlete, called Example.
    athlete_id: Uuid,
    /// With what they are swung.
    bat_id: Uuid,
    /// The sensor that they come from.
    sensor: &'static str,
    /// How many times as fast as it was.
    speed: f64,
}

/// Play the example
///
/// The lesson that comes with the program, simulated, is played as if a sensor sent it, and an invented athlete is put at the
/// plate; both are made once. Its swings are never anybody else's: it ends when somebody else is put at the plate, or a sensor
/// connects. A conflict while it is played, while a sensor is connected, and while somebody is at the plate. As long as its
/// athlete is at the plate, a fault `example` says that what is shown is simulated.
#[utoipa::path(
    post, path = "/v1/example", operation_id = "play_example", tag = "plate", request_body = Option<ExampleBody>,
    responses((status = 201, body = ExampleOut))
)]
pub async fn create(
    State(api): State<Api>,
    body: std::result::Result<Option<Json<ExampleBody>>, JsonRejection>,
) -> Result<(StatusCode, Json<ExampleOut>)> {
    let body = body.map_err(|rejection| of_json(&rejection))?;
    let speed = body.and_then(|Json(body)| body.speed).unwrap_or(USUAL_SPEED);
    Check::new().range("speed", Some(speed), 1.0..=20.0).done()?;
    let example = player(&api)?;
    if let Some(sensor) = example.real_sensor() {
        return Err(conflict(format!("the sensor {sensor} is connected; expected none, as its swings are real")));
    }
    let claim = example.claim().ok_or_else(|| conflict("the example is played already"))?;
    to_the_end(async move { begin(&api, &example, claim, speed).await }).await
}

/// End the example
///
/// If it is played, and puts nobody at the plate if its athlete still is there.
#[utoipa::path(delete, path = "/v1/example", operation_id = "end_example", tag = "plate", responses((status = 204)))]
pub async fn remove(State(api): State<Api>) -> Result<StatusCode> {
    let example = player(&api)?;
    to_the_end(async move {
        let Some(athlete_id) = example.end() else { return Ok(StatusCode::NO_CONTENT) };
        let mut changes = api.store.write().await?;
        let there = plate::current(&mut changes, &api.cage, api.now()).await?;
        if there.plate.athlete_id == Some(athlete_id) {
            let at_bat = plate::put(&mut changes, &api.cage, &saying(None, None, None), api.now()).await?;
            changes.commit().await?;
            tell(&api, &at_bat);
        }
        Ok(StatusCode::NO_CONTENT)
    })
    .await
}

fn player(api: &Api) -> Result<Arc<Example>> {
    api.example.clone().ok_or_else(|| conflict("no service runs that could play it; expected `swingd serve`"))
}

fn conflict(words: impl Into<String>) -> Problem {
    Problem::new(Kind::Conflict, words)
}

async fn begin(api: &Api, example: &Arc<Example>, claim: Claim, speed: f64) -> Result<(StatusCode, Json<ExampleOut>)> {
    let lesson = example::lesson().map_err(|error| Problem::new(Kind::Internal, error.to_string()))?;
    let mut changes = api.store.write().await?;
    let athlete = athlete(api, &mut changes, lesson.profile()).await?;
    let there = plate::current(&mut changes, &api.cage, api.now()).await?;
    if there.plate.athlete_id.is_some_and(|there| there != athlete.id) {
        let who = there.nickname.unwrap_or_default();
        return Err(conflict(format!("{who} is at the plate; expected nobody, as what is played is simulated")));
    }
    let bat = bat(api, &mut changes, lesson.profile()).await?;
    let side = side_of(lesson.profile());
    let said = saying(Some(athlete.id), Some(bat.id), Some(side));
    let at_bat = plate::put(&mut changes, &api.cage, &said, api.now()).await?;
    example.belongs_to(athlete.id);
    changes.commit().await?;
    tell(api, &at_bat);
    if !example.play(claim, lesson, speed) {
        return Err(conflict("somebody came to the plate meanwhile, or there is no room for another sensor"));
    }
    let out = ExampleOut { athlete_id: athlete.id, bat_id: bat.id, sensor: example::SENSOR, speed };
    Ok((StatusCode::CREATED, Json(out)))
}

fn saying(athlete_id: Option<Uuid>, bat_id: Option<Uuid>, side: Option<rows::Side>) -> Saying {
    Saying {
        athlete_id,
        side,
        bat_id,
        drill: None,
        ball_source: None,
        pitch_speed_mps: None,
        pitch_descent_deg: None,
        occasion: Occasion::Lesson,
        note: None,
    }
}

fn side_of(profile: &Profile) -> rows::Side {
    match profile.swing.side {
        Side::Right => rows::Side::Right,
        Side::Left => rows::Side::Left,
    }
}

/// The invented athlete, entered if they are not there.
async fn athlete(
    api: &Api,
    changes: &mut Transaction,
    profile: &Profile,
) -> std::result::Result<rows::Athlete, StoreError> {
    let called = athletes::list(changes, Some(NICKNAME), Slice { after: None, limit: MOST }).await?;
    if let Some(there) = called.into_iter().find(|athlete| athlete.note == NOTE) {
        return Ok(there);
    }
    let bats = match side_of(profile) {
        rows::Side::Right => rows::Bats::Right,
        rows::Side::Left => rows::Bats::Left,
    };
    let athlete = rows::Athlete {
        id: Uuid::now_v7(),
        nickname: NICKNAME.into(),
        birth_year: None,
        bats,
        height_m: None,
        note: NOTE.into(),
        created: api.now(),
        version: 1,
    };
    athletes::insert(changes, &athlete).await?;
    Ok(athlete)
}

/// The bat that was simulated, entered if it is not there.
async fn bat(api: &Api, changes: &mut Transaction, profile: &Profile) -> std::result::Result<rows::Bat, StoreError> {
    let all = bats::list(changes, Slice { after: None, limit: MOST }).await?;
    if let Some(there) = all.into_iter().find(|bat| bat.name == BAT && bat.note == NOTE) {
        return Ok(there);
    }
    let simulated = &profile.bat;
    let bat = rows::Bat {
        id: Uuid::now_v7(),
        name: BAT.into(),
        kind: BatKind::Bat,
        length_m: Some(simulated.length_m),
        mass_kg: Some(simulated.mass_kg),
        balance_m: Some(simulated.balance_m),
        moi: Some(Moi::Entered { moi_knob6_kgm2: simulated.moi_knob6_kgm2, sigma_kgm2: None }),
        sweet_spot_m: Some(simulated.sweet_spot_m),
        barrel_diameter_m: Some(simulated.barrel_diameter_m),
        note: NOTE.into(),
        is_retired: false,
        created: api.now(),
        version: 1,
    };
    bats::insert(changes, &bat).await?;
    Ok(bat)
}

#[cfg(test)]
mod tests;
