//! What a stored swing would do to a ball that it met squarely: its bat speed, its bat and its pitch handed to
//! [`ball::squared_up`](crate::ball::squared_up). Never a measurement.

use super::super::store::StoreError;
use super::super::store::queries::swings_read::{self, FoundSwing};
use super::super::store::queries::{bats, profiles, rounds};
use super::super::store::rows::{BallSource, Bat, BatKind, Moi, Round};
use crate::ball::collision::BatBody;
use crate::ball::kind::Kind;
use crate::ball::squared_up::{Field, Meeting, SquaredUp, squared_up};
use crate::engine::metrics::Metric;
use crate::engine::profile::Profile;
use crate::report::squared_up::Taken;
use sqlx::AnyConnection;
use uuid::Uuid;

pub use crate::report::squared_up::PitchFrom;

/// Sweet spot from the barrel's end where nothing is said of it, m: 6 in (common practice, no source).
const SWEET_SPOT_FROM_TIP_M: f64 = 0.1524;

/// What whoever asks takes as given.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Asked {
    /// Speed of the ball at the plate, m/s; `None`: the round's, or what is known otherwise.
    pub pitch_speed_mps: Option<f64>,
    /// Launch and air.
    pub field: Field,
    /// The ball.
    pub kind: Kind,
}

/// What a swing was made with.
#[derive(Clone, Copy, Debug, Default)]
pub struct With<'a> {
    /// The bat, as it is known now.
    pub bat: Option<&'a Bat>,
    /// The round.
    pub round: Option<&'a Round>,
    /// What it was analysed with.
    pub profile: Option<&'a Profile>,
}

/// What a ball would do, and by what pitch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct IfSquaredUp {
    /// It.
    pub ball: SquaredUp,
    /// Speed of the ball at the plate, m/s.
    pub pitch_speed_mps: f64,
    /// Who said so.
    pub pitch_from: PitchFrom,
}

impl IfSquaredUp {
    /// What was taken for it.
    pub fn taken(&self, asked: &Asked) -> Taken {
        let Self { pitch_speed_mps, pitch_from, .. } = *self;
        Taken { pitch_speed_mps, pitch_from, kind: asked.kind, field: asked.field }
    }
}

/// Why nothing can be said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Missing {
    /// The swing has no bat speed.
    BatSpeed,
    /// It was not made with a bat: of rods and weighted bats nobody knows how a ball would leave them.
    Bat,
    /// Nothing is known of the pitch.
    Pitch,
    /// Its numbers are those of no ball.
    Ball,
}

/// What a ball would do that this swing met squarely.
///
/// # Errors
/// Why nothing can be said.
pub fn if_squared_up(found: &FoundSwing, with: With<'_>, asked: &Asked) -> Result<IfSquaredUp, Missing> {
    if with.bat.is_some_and(|bat| bat.kind == BatKind::Implement) {
        return Err(Missing::Bat);
    }
    let bat_speed = found.analysis.metrics[Metric::BatSpeed.index()].ok_or(Missing::BatSpeed)?;
    let (pitch_speed_mps, pitch_from) = pitch(found, with, asked).ok_or(Missing::Pitch)?;
    let meeting = Meeting {
        bat_speed_mps: bat_speed.value,
        bat_speed_sigma_mps: bat_speed.sigma,
        pitch_speed_mps,
        bat: with.bat.and_then(body),
        kind: asked.kind,
    };
    let ball = squared_up(&meeting, &asked.field).ok_or(Missing::Ball)?;
    Ok(IfSquaredUp { ball, pitch_speed_mps, pitch_from })
}

/// The same of the swing with this id.
///
/// # Errors
/// If there is none, or it cannot be read.
pub async fn read(
    connection: &mut AnyConnection,
    id: Uuid,
    asked: &Asked,
) -> Result<Result<IfSquaredUp, Missing>, StoreError> {
    let found = swings_read::get(connection, id).await?;
    let bat = match found.swing.bat_id {
        Some(id) => Some(bats::get(connection, id).await?),
        None => None,
    };
    let round = match found.swing.round_id {
        Some(id) => Some(rounds::get(connection, id).await?),
        None => None,
    };
    let profile = match profiles::get(connection, &found.analysis.profile_sha256).await {
        Ok(toml) => Profile::parse(&toml).ok().map(|(profile, _)| profile),
        Err(StoreError::NoSuch { .. }) => None,
        Err(error) => return Err(error),
    };
    let with = With { bat: bat.as_ref(), round: round.as_ref(), profile: profile.as_ref() };
    Ok(if_squared_up(&found, with, asked))
}

/// Speed of the ball at the plate, m/s, and who said so.
fn pitch(found: &FoundSwing, with: With<'_>, asked: &Asked) -> Option<(f64, PitchFrom)> {
    let of_round = with.round.and_then(|round| round.pitch_speed_mps);
    let is_still = matches!(found.ball_source, Some(BallSource::Tee | BallSource::Dry));
    // A toss is much slower than any pitch that a profile means.
    let is_tossed = matches!(found.ball_source, Some(BallSource::Toss | BallSource::FrontToss));
    let of_profile = with.profile.filter(|_| !is_tossed).map(|profile| profile.swing.pitch_speed_mps);
    [
        (asked.pitch_speed_mps, PitchFrom::Asked),
        (of_round, PitchFrom::Round),
        (is_still.then_some(0.0), PitchFrom::Still),
        (of_profile, PitchFrom::Profile),
    ]
    .into_iter()
    .find_map(|(speed_mps, from)| Some((speed_mps?, from)))
}

/// The bat as a body; `None`: something that is needed is not known.
fn body(bat: &Bat) -> Option<BatBody> {
    let moi_knob6_kgm2 = match bat.moi? {
        Moi::Entered { moi_knob6_kgm2, .. } | Moi::Pendulum { moi_knob6_kgm2, .. } => moi_knob6_kgm2,
    };
    let from_tip_m = bat.length_m.map(|length_m| length_m - SWEET_SPOT_FROM_TIP_M);
    Some(BatBody {
        mass_kg: bat.mass_kg?,
        balance_m: bat.balance_m?,
        moi_knob6_kgm2,
        sweet_spot_m: bat.sweet_spot_m.or(from_tip_m)?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A release takes about 1 ms on two cores of a small machine; a debug build some ten times longer, beside other tests more.
    #[test]
    fn a_page_does_not_wait_for_it() {
        let meeting = Meeting {
            bat_speed_mps: 30.0,
            bat_speed_sigma_mps: 0.2,
            pitch_speed_mps: 35.0,
            bat: None,
            kind: Kind::Baseball,
        };
        let begun = std::time::Instant::now();
        assert!((0..20).all(|_| squared_up(&meeting, &Field::default()).is_some()));
        let each_ms = begun.elapsed().as_secs_f64() * 1e3 / 20.0;
        assert!(each_ms < 100.0, "{each_ms} ms");
    }
}
