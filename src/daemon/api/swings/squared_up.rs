//! What a swing would do to a ball that it met squarely: computed, never measured.

use super::super::Api;
use super::super::check::Check;
use super::super::extract::{Id, Params};
use super::super::problem::Result;
use crate::ball::Bounds;
use crate::ball::flight::{CONTACT_HEIGHT_M, USUAL_BACKSPIN_RPM};
use crate::ball::kind::Kind;
use crate::ball::squared_up::Field;
use crate::daemon::record::squared_up::{self, Asked, IfSquaredUp, Missing, PitchFrom};
use axum::Json;
use axum::extract::State;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// What is taken as given.
#[derive(Clone, Copy, Debug, Default, PartialEq, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct SquaredUpParams {
    /// Speed of the ball at the plate, m/s; where nothing is said, the round's, none on a tee, or that of the swing's profile.
    #[param(minimum = 0.0, maximum = 100.0)]
    pub pitch_speed_mps: Option<f64>,
    /// Launch angle above the horizontal, degrees; 25 to 30 where nothing is said.
    #[param(minimum = -90.0, maximum = 90.0)]
    pub launch_angle_deg: Option<f64>,
    /// Temperature of the air, °C; 10 to 30 where nothing is said.
    #[param(minimum = -45.0, maximum = 60.0)]
    pub temperature_c: Option<f64>,
    /// Elevation above the sea, m; 0 where nothing is said.
    #[param(minimum = -500.0, maximum = 9000.0)]
    pub elevation_m: Option<f64>,
    /// The ball; a baseball where nothing is said.
    #[param(inline)]
    pub ball: Option<BallKind>,
}

/// Which ball.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum BallKind {
    /// A baseball.
    #[default]
    Baseball,
    /// A 12-inch softball.
    Softball,
}

/// What a ball would do if the swing squared it up. Computed from bat speed; nothing of it was measured.
#[derive(Serialize, ToSchema)]
#[schema(as = IfSquaredUp)]
pub struct SquaredUpOut {
    /// Which swing.
    swing_id: Uuid,
    /// Always false.
    is_measured: bool,
    /// Always "if squared up".
    condition: &'static str,
    /// Why nothing can be said; null: something can.
    #[schema(required, inline)]
    why_not: Option<WhyNot>,
    /// Collision efficiency q.
    #[schema(required)]
    collision_efficiency: Option<BoundsOut>,
    /// Exit speed, m/s.
    #[schema(required)]
    exit_speed_mps: Option<BoundsOut>,
    /// Carry, m.
    #[schema(required)]
    carry_m: Option<BoundsOut>,
    /// What the ranges are made of.
    assumed: Assumed,
}

/// What was taken as given.
#[derive(Serialize, ToSchema)]
#[schema(as = SquaredUpAssumed)]
pub struct Assumed {
    /// The ball.
    #[schema(inline)]
    ball: BallKind,
    /// Its mass, kg.
    ball_mass_kg: BoundsOut,
    /// Coefficient of restitution of ball and bat.
    restitution: BoundsOut,
    /// Whether the collision efficiency is that of the swing's own bat, or of bats as they usually are.
    #[schema(required, inline)]
    bat: Option<BatWord>,
    /// Speed of the ball at the plate, m/s.
    #[schema(required)]
    pitch_speed_mps: Option<f64>,
    /// Who said so.
    #[schema(required, inline)]
    pitch_from: Option<PitchWord>,
    /// Launch angle above the horizontal, degrees.
    launch_angle_deg: BoundsOut,
    /// Backspin, revolutions per minute.
    backspin_rpm: BoundsOut,
    /// Drag coefficient without what spin adds.
    drag_without_spin: BoundsOut,
    /// Height of contact above the ground, m.
    contact_height_m: f64,
    /// Temperature, °C.
    temperature_c: BoundsOut,
    /// Elevation above the sea, m.
    elevation_m: f64,
    /// Density of the air, kg/m³.
    #[schema(required)]
    air_density_kgpm3: Option<BoundsOut>,
}

/// Least and greatest.
#[derive(Clone, Copy, Serialize, ToSchema)]
#[schema(as = Bounds)]
pub struct BoundsOut {
    /// Least.
    low: f64,
    /// Greatest.
    high: f64,
}

/// Why nothing can be said.
#[derive(Clone, Copy, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum WhyNot {
    /// The swing has no bat speed.
    NoBatSpeed,
    /// It was made with a training implement.
    TrainingImplement,
    /// Nothing is known of the pitch: say `pitch_speed_mps`.
    NoPitchSpeed,
    /// Its numbers are those of no ball.
    NotABall,
}

/// Whose collision efficiency it is.
#[derive(Clone, Copy, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum BatWord {
    /// That of the swing's bat.
    Own,
    /// That of bats as they usually are: too little is known of the swing's.
    Usual,
}

/// Who said how fast the pitch was.
#[derive(Clone, Copy, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum PitchWord {
    /// Whoever asks.
    Asked,
    /// The swing's round.
    Round,
    /// Nobody: the ball lay still, or there was none.
    Still,
    /// The profile by which the swing was analysed.
    Profile,
}

/// Say what a squared-up ball would do
///
/// Ranges of exit speed and carry of a ball that this swing met squarely. Nothing of it is measured; a ball met off the sweet spot or
/// off its middle leaves slower. Formulas and sources: proto-docs/ball.md.
#[utoipa::path(
    get, path = "/v1/swings/{id}/if-squared-up", tag = "swings", params(("id" = Uuid, Path), SquaredUpParams),
    responses((status = 200, body = SquaredUpOut))
)]
pub async fn if_squared_up(
    State(api): State<Api>,
    Id(id): Id<Uuid>,
    Params(params): Params<SquaredUpParams>,
) -> Result<Json<SquaredUpOut>> {
    let asked = params.asked()?;
    let said = squared_up::read(&mut *api.store.read().await?, id, &asked).await?;
    Ok(Json(SquaredUpOut::of(id, &asked, said)))
}

impl SquaredUpParams {
    fn check(&self) -> Result<()> {
        Check::new()
            .range("pitch_speed_mps", self.pitch_speed_mps, 0.0..=100.0)
            .range("launch_angle_deg", self.launch_angle_deg, -90.0..=90.0)
            .range("temperature_c", self.temperature_c, -45.0..=60.0)
            .range("elevation_m", self.elevation_m, -500.0..=9000.0)
            .done()
    }

    /// Checked, with the usual where nothing is said.
    ///
    /// # Errors
    /// If a number is out of its range.
    pub fn asked(&self) -> Result<Asked> {
        self.check()?;
        let usual = Field::default();
        Ok(Asked {
            pitch_speed_mps: self.pitch_speed_mps,
            field: Field {
                launch_angle_deg: self.launch_angle_deg.map_or(usual.launch_angle_deg, Bounds::exactly),
                temperature_c: self.temperature_c.map_or(usual.temperature_c, Bounds::exactly),
                elevation_m: self.elevation_m.unwrap_or(usual.elevation_m),
            },
            kind: self.ball.unwrap_or_default().into(),
        })
    }
}

impl SquaredUpOut {
    fn of(swing_id: Uuid, asked: &Asked, said: std::result::Result<IfSquaredUp, Missing>) -> Self {
        let ball = said.ok().map(|said| said.ball);
        Self {
            swing_id,
            is_measured: false,
            condition: "if squared up",
            why_not: said.err().map(Into::into),
            collision_efficiency: ball.map(|ball| ball.q.into()),
            exit_speed_mps: ball.map(|ball| ball.exit_speed_mps.into()),
            carry_m: ball.map(|ball| ball.carry_m.into()),
            assumed: Assumed::of(asked, said.ok()),
        }
    }
}

impl Assumed {
    fn of(asked: &Asked, said: Option<IfSquaredUp>) -> Self {
        let Asked { field, kind, .. } = *asked;
        let bat = |said: IfSquaredUp| if said.ball.is_bats_own { BatWord::Own } else { BatWord::Usual };
        Self {
            ball: kind.into(),
            ball_mass_kg: kind.mass_kg().into(),
            restitution: kind.restitution().into(),
            bat: said.map(bat),
            pitch_speed_mps: said.map(|said| said.pitch_speed_mps),
            pitch_from: said.map(|said| said.pitch_from.into()),
            launch_angle_deg: field.launch_angle_deg.into(),
            backspin_rpm: USUAL_BACKSPIN_RPM.into(),
            drag_without_spin: kind.drag_without_spin().into(),
            contact_height_m: CONTACT_HEIGHT_M,
            temperature_c: field.temperature_c.into(),
            elevation_m: field.elevation_m,
            air_density_kgpm3: said.map(|said| said.ball.density_kgpm3.into()),
        }
    }
}

impl From<Bounds> for BoundsOut {
    fn from(range: Bounds) -> Self {
        Self { low: range.low, high: range.high }
    }
}

impl From<BallKind> for Kind {
    fn from(word: BallKind) -> Self {
        match word {
            BallKind::Baseball => Self::Baseball,
            BallKind::Softball => Self::Softball,
        }
    }
}

impl From<Kind> for BallKind {
    fn from(kind: Kind) -> Self {
        match kind {
            Kind::Baseball => Self::Baseball,
            Kind::Softball => Self::Softball,
        }
    }
}

impl From<Missing> for WhyNot {
    fn from(missing: Missing) -> Self {
        match missing {
            Missing::BatSpeed => Self::NoBatSpeed,
            Missing::Bat => Self::TrainingImplement,
            Missing::Pitch => Self::NoPitchSpeed,
            Missing::Ball => Self::NotABall,
        }
    }
}

impl From<PitchFrom> for PitchWord {
    fn from(from: PitchFrom) -> Self {
        match from {
            PitchFrom::Asked => Self::Asked,
            PitchFrom::Round => Self::Round,
            PitchFrom::Still => Self::Still,
            PitchFrom::Profile => Self::Profile,
        }
    }
}

#[cfg(test)]
mod tests;
