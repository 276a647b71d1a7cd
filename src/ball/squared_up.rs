//! A swing's bat speed as what a ball would do that it met squarely: ranges of exit speed and carry, never a measurement.

use super::Bounds;
use super::air::{USUAL_ELEVATION_M, USUAL_TEMPERATURE_C, densities_kgpm3};
use super::collision::{BatBody, exit_speeds_mps};
use super::flight::{USUAL_LAUNCH_DEG, carries_m};
use super::kind::Kind;

/// Bat and ball before they meet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Meeting {
    /// Speed of the sweet spot, m/s,
    pub bat_speed_mps: f64,
    /// and 1 σ of it.
    pub bat_speed_sigma_mps: f64,
    /// Speed of the ball at the plate, m/s; 0 on a tee.
    pub pitch_speed_mps: f64,
    /// The bat, where enough is known of it.
    pub bat: Option<BatBody>,
    /// The ball.
    pub kind: Kind,
}

/// Where the ball flies, and how it is sent off.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Field {
    /// Above the horizontal, degrees.
    pub launch_angle_deg: Bounds,
    /// Temperature of the air, °C.
    pub temperature_c: Bounds,
    /// Above the sea, m.
    pub elevation_m: f64,
}

impl Default for Field {
    /// What is taken where nothing is said.
    fn default() -> Self {
        Self { launch_angle_deg: USUAL_LAUNCH_DEG, temperature_c: USUAL_TEMPERATURE_C, elevation_m: USUAL_ELEVATION_M }
    }
}

/// What a ball would do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SquaredUp {
    /// Collision efficiency.
    pub q: Bounds,
    /// Whether q is this bat's; otherwise that of usual bats.
    pub is_bats_own: bool,
    /// Exit speed, m/s.
    pub exit_speed_mps: Bounds,
    /// Density of the air, kg/m³.
    pub density_kgpm3: Bounds,
    /// Carry, m.
    pub carry_m: Bounds,
}

/// What a ball would do that is met squarely. `None`: something is no number of bat, ball or field.
///
/// A range holds what is not known of bat, ball (its mass in the collision alone; flight takes the middle one), air and spin, and
/// the 95 % interval of bat speed.
pub fn squared_up(meeting: &Meeting, field: &Field) -> Option<SquaredUp> {
    let own = meeting.bat.and_then(|bat| bat.q(meeting.kind));
    let q = own.unwrap_or_else(|| meeting.kind.usual_q());
    let exit_speed_mps =
        exit_speeds_mps(q, meeting.pitch_speed_mps, meeting.bat_speed_mps, meeting.bat_speed_sigma_mps)?;
    let density_kgpm3 = densities_kgpm3(field.temperature_c, field.elevation_m)?;
    let carry_m = carries_m(meeting.kind, exit_speed_mps, field.launch_angle_deg, density_kgpm3)?;
    Some(SquaredUp { q, is_bats_own: own.is_some(), exit_speed_mps, density_kgpm3, carry_m })
}

#[cfg(test)]
mod tests {
    use super::*;

    const MEETING: Meeting = Meeting {
        bat_speed_mps: 30.0,
        bat_speed_sigma_mps: 0.2,
        pitch_speed_mps: 35.0,
        bat: Some(BatBody { mass_kg: 0.88, balance_m: 0.575, moi_knob6_kgm2: 0.205, sweet_spot_m: 0.711 }),
        kind: Kind::Baseball,
    };

    #[test]
    fn a_known_bat_gives_a_narrower_range_within_that_of_an_unknown_one() {
        let known = squared_up(&MEETING, &Field::default()).unwrap();
        let unknown = squared_up(&Meeting { bat: None, ..MEETING }, &Field::default()).unwrap();
        assert!(known.is_bats_own && !unknown.is_bats_own);
        for (inner, outer) in [(known.exit_speed_mps, unknown.exit_speed_mps), (known.carry_m, unknown.carry_m)] {
            assert!(outer.low < inner.low && inner.high < outer.high, "{inner:?} {outer:?}");
        }
        let impossible = BatBody { mass_kg: 1e-9, ..MEETING.bat.unwrap() };
        assert_eq!(squared_up(&Meeting { bat: Some(impossible), ..MEETING }, &Field::default()), Some(unknown));
    }

    #[test]
    fn what_is_said_of_the_field_narrows_the_carry_alone() {
        let usual = squared_up(&MEETING, &Field::default()).unwrap();
        let said =
            Field { launch_angle_deg: Bounds::exactly(27.0), temperature_c: Bounds::exactly(20.0), elevation_m: 0.0 };
        let here = squared_up(&MEETING, &said).unwrap();
        assert_eq!(here.exit_speed_mps, usual.exit_speed_mps);
        assert!(usual.carry_m.low < here.carry_m.low && here.carry_m.high < usual.carry_m.high);
        let high = squared_up(&MEETING, &Field { elevation_m: 1609.0, ..said }).unwrap();
        assert!(high.carry_m.low > here.carry_m.low && high.carry_m.high > here.carry_m.high);
    }

    #[test]
    fn nothing_is_said_of_what_is_no_swing() {
        for wrong in [f64::NAN, f64::INFINITY, -1.0] {
            assert_eq!(squared_up(&Meeting { bat_speed_mps: wrong, ..MEETING }, &Field::default()), None);
            assert_eq!(squared_up(&Meeting { pitch_speed_mps: wrong, ..MEETING }, &Field::default()), None);
            let nowhere = Field { elevation_m: wrong * 1e9, ..Field::default() };
            assert_eq!(squared_up(&MEETING, &nowhere), None);
        }
    }
}
