//! Checks of a sensor, its mount and a bat's data, and the taking of an aim: begun here, done by a person with the bat.

use super::Api;
use super::check::Check;
use super::extract::{Body, Id};
use super::instant::Instant;
use super::problem::{Kind as ProblemKind, Problem, Result};
use super::refer::referred;
use crate::daemon::checks::{Begun, Fitted, Kind, Stands, Told, words};
use crate::daemon::store::queries::{bats, sensors};
use crate::engine::check::Against;
use crate::engine::check::aim::{self, Aimed, Aiming};
use crate::engine::check::mount::{self, MountFound, Mounting};
use crate::engine::check::pendulum::{self, Swinging, Swung};
use crate::engine::check::still::{self, Still, Stood};
use axum::Json;
use axum::extract::State;
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use utoipa::ToSchema;
use uuid::Uuid;

/// What is checked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum CheckKind {
    /// The sensor stands still: specific force against gravity, and the gyro's bias.
    Still,
    /// The bat is stood on its barrel end and rolled about its axis: how the sensor sits.
    Mount,
    /// The bat is hung from the point 6 in from the knob and swings: period, and speed against the height fallen.
    Pendulum,
    /// The bat is held out toward the pitcher: the pitcher's heading.
    Aim,
}

/// A check that is begun.
#[derive(Clone, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewCheck {
    /// What is checked.
    kind: CheckKind,
    /// On which bat; where nothing is said, the mount for every bat holds, and no period is expected.
    bat_id: Option<Uuid>,
    /// Where the cage stands, degrees north: gravity is known better then.
    #[schema(minimum = -90.0, maximum = 90.0)]
    latitude_deg: Option<f64>,
}

/// Where in its routine the person is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Step {
    /// Nothing came from the sensor yet.
    Waiting,
    /// `still`: the sensor moves; it is to stand.
    Moving,
    /// `still`: it stands; wait.
    Standing,
    /// `mount`: the bat is to be stood on its barrel end, knob up, and kept still.
    Stand,
    /// `mount`: it is to be rolled about its axis, both ways.
    Roll,
    /// `pendulum`: the bat is to be hung up, drawn aside and let go.
    Hang,
    /// `pendulum`: it swings; wait.
    Swing,
    /// `pendulum`: it swings too little or too far.
    Amplitude,
    /// `aim`: the bat is to be held out toward the pitcher and kept still.
    Hold,
    /// `aim`: it is kept still but is not level.
    Level,
    /// It is over.
    Done,
}

/// Whether what was found is what it should be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Within 1.96 σ of the difference (gravity against rolling: within 3).
    Fits,
    /// Beyond.
    DoesNotFit,
}

/// How the present check of a sensor stands.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct CheckState {
    /// Which sensor.
    pub sensor_id: Uuid,
    /// What is checked.
    pub kind: CheckKind,
    /// When it was begun.
    pub begun: Instant,
    /// On which bat.
    #[schema(required)]
    pub bat_id: Option<Uuid>,
    /// Whether the sensor is connected now; a check waits for one that is not.
    pub is_connected: bool,
    /// Where the person is.
    pub step: Step,
    /// How far the step is, in the step's own measure: s that it stood or was held, rad that it was rolled the way that
    /// lacks more, half swings; null where nothing is counted.
    #[schema(required)]
    pub so_far: Option<f64>,
    /// How far it is to be.
    #[schema(required)]
    pub needed: Option<f64>,
    /// The angle that is wrong, rad: of `amplitude` that at which the bat turns back, of `level` the barrel's elevation.
    #[schema(required)]
    pub angle_rad: Option<f64>,
    /// Whether it fits; null before there is a result, and of an aim.
    #[schema(required)]
    pub verdict: Option<Verdict>,
    /// What to do, for people; null before there is a result.
    #[schema(required)]
    pub remedy: Option<String>,
    /// What was found standing still.
    #[schema(required)]
    pub still: Option<StillFound>,
    /// What was found of the mount.
    #[schema(required)]
    pub mount: Option<MountFoundOut>,
    /// What was found of the pendulum.
    #[schema(required)]
    pub pendulum: Option<PendulumFound>,
    /// The aim that was taken.
    #[schema(required)]
    pub aim: Option<AimFound>,
}

/// What was found of a sensor that stood still.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct StillFound {
    /// How long it stood, s.
    pub stood_s: f64,
    /// Length of the mean specific force, m/s².
    pub force_mps2: f64,
    /// 1 σ of it by what the sensor admits.
    pub force_sigma_mps2: f64,
    /// Gravity there, m/s².
    pub gravity_mps2: f64,
    /// 1 σ of it.
    pub gravity_sigma_mps2: f64,
    /// Whether these two fit.
    pub force_fits: bool,
    /// Mean of the gyro on each of the sensor's axes, rad/s.
    pub gyro_bias_s_radps: [f64; 3],
    /// 1 σ of each by what the sensor admits.
    pub gyro_bias_sigma_radps: f64,
    /// Whether the bias fits.
    pub gyro_bias_fits: bool,
}

/// The mount that was found: what a mount is entered with.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct MountFoundOut {
    /// Where the IMU was taken to sit in B, m; this was not measured.
    pub offset_b_m: [f64; 3],
    /// The rotation that takes a vector from the sensor's frame to the bat's, scalar first.
    pub q_bs_wxyz: [f64; 4],
    /// 1 σ of the direction of the bat's axis in the sensor, rad.
    pub tilt_sigma_rad: f64,
    /// How far the axis found lies from the one before, rad.
    pub from_nominal_rad: f64,
    /// Whether that is so far (30° and more) that the sensor sits another way.
    pub is_another_way: bool,
    /// How far gravity's direction lies from that by rolling, rad.
    pub apart_rad: f64,
    /// 1 σ of that.
    pub apart_sigma_rad: f64,
    /// How far it was rolled, rad: right-handed about knob to tip, and left-handed.
    pub rolled_rad: [f64; 2],
}

/// What was found of a bat that swung as a pendulum.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct PendulumFound {
    /// Half swings that were used.
    pub half_swings: usize,
    /// Angle at which it turned back, on average, rad.
    pub amplitude_rad: f64,
    /// 1 σ.
    pub amplitude_sigma_rad: f64,
    /// Period of small swings, s.
    pub period_s: f64,
    /// 1 σ.
    pub period_sigma_s: f64,
    /// The same by the bat's data, s; null where they say none.
    #[schema(required)]
    pub expected_period_s: Option<f64>,
    /// 1 σ.
    #[schema(required)]
    pub expected_period_sigma_s: Option<f64>,
    /// Whether these two fit; null where nothing was expected.
    #[schema(required)]
    pub period_fits: Option<bool>,
    /// Height that the sweet spot fell, on average, m.
    pub fallen_m: f64,
    /// 1 σ.
    pub fallen_sigma_m: f64,
    /// Speed of the sweet spot at the bottom by the gyro, m/s.
    pub speed_mps: f64,
    /// 1 σ.
    pub speed_sigma_mps: f64,
    /// The same by the height, m/s.
    pub expected_speed_mps: f64,
    /// 1 σ.
    pub expected_speed_sigma_mps: f64,
    /// Whether these two fit.
    pub speed_fits: bool,
}

/// The aim that was taken: what an aim is entered with.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct AimFound {
    /// When, on the sensor's clock, s.
    pub taken_s: f64,
    /// The pitcher's heading in the world frame of this stretch of the recording, rad.
    pub heading_rad: f64,
    /// 1 σ.
    pub heading_sigma_rad: f64,
    /// The barrel above the horizontal, rad.
    pub elevation_rad: f64,
}

/// Read how a check stands
///
/// The present one of this sensor, null if there is none. What nobody asks for a minute is over; so it is to be asked for once
/// a second or so while a person does what `step` says.
#[utoipa::path(
    get, path = "/v1/sensors/{id}/checks", tag = "checks", params(("id" = Uuid, Path)),
    responses((status = 200, body = Option<CheckState>))
)]
pub async fn read(State(api): State<Api>, Id(id): Id<Uuid>) -> Result<Json<Option<CheckState>>> {
    Ok(Json(state(&api, id).await?))
}

/// Begin a check
///
/// What was begun before for this sensor is over. What is found is not stored: a mount and an aim are entered by whoever wants
/// them kept.
#[utoipa::path(
    post, path = "/v1/sensors/{id}/checks", tag = "checks", params(("id" = Uuid, Path)), request_body = NewCheck,
    responses((status = 200, body = CheckState))
)]
pub async fn begin(State(api): State<Api>, Id(id): Id<Uuid>, Body(new): Body<NewCheck>) -> Result<Json<CheckState>> {
    Check::new().range("latitude_deg", new.latitude_deg, -90.0..=90.0).done()?;
    let mut reading = api.store.read().await?;
    let sensor = sensors::get(&mut reading, id).await?;
    if let Some(bat_id) = new.bat_id {
        referred(bats::get(&mut reading, bat_id).await, "bat_id")?;
    }
    let fitted = Fitted::of(&mut reading, id, new.bat_id).await?;
    drop(reading);
    let tap = api.checks.tap(&sensor.name).filter(|_| api.hub.connected().contains(&sensor.name)).ok_or_else(|| {
        let detail = format!("the sensor {} is not connected; expected it to be: wake it by moving it", sensor.name);
        Problem::new(ProblemKind::Conflict, detail)
    })?;
    let begun = Begun {
        kind: new.kind.into(),
        begun: api.now(),
        bat_id: new.bat_id,
        latitude_rad: new.latitude_deg.map(f64::to_radians),
        fitted,
    };
    api.checks.begin(&sensor.name, begun.clone(), tap, api.clock.now());
    Ok(Json(CheckState::of(id, &begun, None, true)))
}

/// How the check of a sensor stands.
///
/// # Errors
/// If there is no such sensor.
pub async fn state(api: &Api, id: Uuid) -> Result<Option<CheckState>> {
    let sensor = sensors::get(&mut *api.store.read().await?, id).await?;
    let is_connected = api.hub.connected().contains(&sensor.name);
    let (checks, now) = (Arc::clone(&api.checks), api.clock.now());
    // Minutes of samples are looked at.
    let told = tokio::task::spawn_blocking(move || checks.told(&sensor.name, now)).await;
    let told = told.map_err(|_| Problem::new(ProblemKind::Internal, "the check failed on what the sensor sent"))?;
    Ok(told.map(|(begun, told)| CheckState::of(id, &begun, told.as_ref(), is_connected)))
}

impl From<CheckKind> for Kind {
    fn from(kind: CheckKind) -> Self {
        match kind {
            CheckKind::Still => Self::Still,
            CheckKind::Mount => Self::Mount,
            CheckKind::Pendulum => Self::Pendulum,
            CheckKind::Aim => Self::Aim,
        }
    }
}

impl From<Kind> for CheckKind {
    fn from(kind: Kind) -> Self {
        match kind {
            Kind::Still => Self::Still,
            Kind::Mount => Self::Mount,
            Kind::Pendulum => Self::Pendulum,
            Kind::Aim => Self::Aim,
        }
    }
}

/// Step, how far it is, how far it is to be, and the angle that is wrong.
type Progress = (Step, Option<f64>, Option<f64>, Option<f64>);

fn progress(stands: &Stands) -> Progress {
    let counted = |step, so_far: f64, needed: f64| (step, Some(so_far), Some(needed), None);
    let bare = |step| (step, None, None, None);
    match *stands {
        Stands::Still(Still::Moving) => bare(Step::Moving),
        Stands::Still(Still::Standing { lasted_s }) => counted(Step::Standing, lasted_s, still::LEAST_S),
        Stands::Mount(Mounting::Stand { lasted_s }) => counted(Step::Stand, lasted_s, mount::LEAST_S),
        Stands::Mount(Mounting::Roll { rolled_rad: [right, left] }) => {
            counted(Step::Roll, right.min(left), mount::LEAST_ROLL_RAD)
        }
        Stands::Pendulum(Swinging::Hang) => bare(Step::Hang),
        Stands::Pendulum(Swinging::Swing { halves }) => {
            counted(Step::Swing, halves as f64, pendulum::LEAST_HALVES as f64)
        }
        Stands::Pendulum(Swinging::Amplitude { amplitude_rad }) => (Step::Amplitude, None, None, Some(amplitude_rad)),
        Stands::Aim(Aiming::Hold { lasted_s }) => counted(Step::Hold, lasted_s, aim::LEAST_S),
        Stands::Aim(Aiming::NotLevel { elevation_rad }) => (Step::Level, None, None, Some(elevation_rad)),
        Stands::Still(Still::Seen(_))
        | Stands::Mount(Mounting::Seen(_) | Mounting::NotUpright)
        | Stands::Pendulum(Swinging::Seen(_))
        | Stands::Aim(Aiming::Seen(_)) => bare(Step::Done),
    }
}

impl CheckState {
    fn of(sensor_id: Uuid, begun: &Begun, told: Option<&Told>, is_connected: bool) -> Self {
        let stands = told.map(|told| &told.stands);
        let (step, so_far, needed, angle_rad) = stands.map_or((Step::Waiting, None, None, None), progress);
        let fits = stands.and_then(words::fits);
        let mut state = Self {
            sensor_id,
            kind: begun.kind.into(),
            begun: begun.begun.into(),
            bat_id: begun.bat_id,
            is_connected,
            step,
            so_far,
            needed,
            angle_rad,
            verdict: fits.map(|fits| if fits { Verdict::Fits } else { Verdict::DoesNotFit }),
            remedy: stands.and_then(words::remedy),
            still: None,
            mount: None,
            pendulum: None,
            aim: None,
        };
        match told.map(|told| (told.stands, told.offset_b_m)) {
            Some((Stands::Still(Still::Seen(stood)), _)) => state.still = Some(stood.into()),
            Some((Stands::Mount(Mounting::Seen(found)), offset_b_m)) => {
                state.mount = Some(MountFoundOut::of(&found, offset_b_m));
            }
            Some((Stands::Pendulum(Swinging::Seen(swung)), _)) => state.pendulum = Some(swung.into()),
            Some((Stands::Aim(Aiming::Seen(aimed)), _)) => state.aim = Some(aimed.into()),
            _ => {}
        }
        state
    }
}

impl From<Stood> for StillFound {
    fn from(stood: Stood) -> Self {
        let Against { found, expected } = stood.force_mps2;
        Self {
            stood_s: stood.stretch.lasted_s(),
            force_mps2: found.value,
            force_sigma_mps2: found.sigma,
            gravity_mps2: expected.value,
            gravity_sigma_mps2: expected.sigma,
            force_fits: stood.force_mps2.fits(),
            gyro_bias_s_radps: stood.bias_s_radps.into(),
            gyro_bias_sigma_radps: stood.bias_sigma_radps,
            gyro_bias_fits: stood.bias_fits(),
        }
    }
}

impl MountFoundOut {
    fn of(found: &MountFound, offset_b_m: [f64; 3]) -> Self {
        let q = found.q_bs;
        Self {
            offset_b_m,
            q_bs_wxyz: [q.w, q.i, q.j, q.k],
            tilt_sigma_rad: found.tilt_sigma_rad,
            from_nominal_rad: found.from_nominal_rad,
            is_another_way: found.is_another_way(),
            apart_rad: found.apart_rad,
            apart_sigma_rad: found.apart_sigma_rad,
            rolled_rad: found.rolled_rad,
        }
    }
}

impl From<Swung> for PendulumFound {
    fn from(swung: Swung) -> Self {
        let Against { found, expected } = swung.speed_mps;
        let period = swung.period_against_s;
        Self {
            half_swings: swung.halves,
            amplitude_rad: swung.amplitude_rad.value,
            amplitude_sigma_rad: swung.amplitude_rad.sigma,
            period_s: swung.period_s.value,
            period_sigma_s: swung.period_s.sigma,
            expected_period_s: period.map(|period| period.expected.value),
            expected_period_sigma_s: period.map(|period| period.expected.sigma),
            period_fits: period.map(|period| period.fits()),
            fallen_m: swung.fallen_m.value,
            fallen_sigma_m: swung.fallen_m.sigma,
            speed_mps: found.value,
            speed_sigma_mps: found.sigma,
            expected_speed_mps: expected.value,
            expected_speed_sigma_mps: expected.sigma,
            speed_fits: swung.speed_mps.fits(),
        }
    }
}

impl From<Aimed> for AimFound {
    fn from(aimed: Aimed) -> Self {
        Self {
            taken_s: aimed.taken_s,
            heading_rad: aimed.heading_rad.value,
            heading_sigma_rad: aimed.heading_rad.sigma,
            elevation_rad: aimed.elevation_rad,
        }
    }
}

#[cfg(test)]
mod tests;
