//! Invented batters with their bats, and how they stand.

use super::builder::Pose;
use super::pose::Angles;
use super::random::Random;
use crate::engine::profile::{Bat, Side, SwingContext};
use nalgebra::Vector3;

/// One batter of one recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Batter {
    /// Whether an adult.
    pub adult: bool,
    /// The bat.
    pub bat: Bat,
    /// The side and the pitch.
    pub context: SwingContext,
    /// Usual speed of the sweet spot at contact, m/s.
    pub bat_speed_mps: f64,
    /// Usual angle of the sweet spot's velocity at contact, rad.
    pub attack_rad: f64,
    /// Usual angle of the bat's axis at contact, rad.
    pub tilt_rad: f64,
    /// Size of sway and tremor; 1 is usual.
    pub wander_level: f64,
}

fn draw_bat(random: &mut Random, adult: bool) -> Bat {
    let (length_m, mass_kg, moi_knob6_kgm2) = if adult {
        (random.between(0.82, 0.86), random.between(0.82, 0.90), random.between(0.165, 0.21))
    } else {
        (random.between(0.71, 0.79), random.between(0.48, 0.62), random.between(0.075, 0.105))
    };
    let balance_m = length_m * random.between(0.61, 0.65);
    Bat { length_m, mass_kg, balance_m, moi_knob6_kgm2, sweet_spot_m: length_m - 0.1524, barrel_diameter_m: 0.066 }
}

impl Batter {
    /// Speeds 15 to 36 m/s from youths to professionals, attack −10 to 20°, tilt −45 to 0°: the spans told by coaches
    /// (common practice, no source).
    pub fn draw(random: &mut Random, wander_level: f64) -> Self {
        let adult = random.chance(0.6);
        let bat = draw_bat(random, adult);
        let side = if random.chance(0.65) { Side::Right } else { Side::Left };
        let on_tee = random.chance(0.15);
        let pitch = if adult { random.between(22.0, 40.0) } else { random.between(14.0, 26.0) };
        let context = SwingContext {
            side,
            pitch_speed_mps: if on_tee { 0.0 } else { pitch },
            pitch_descent_deg: if on_tee { 0.0 } else { random.between(4.0, 12.0) },
        };
        Self {
            adult,
            bat,
            context,
            bat_speed_mps: if adult { random.about(29.5, 2.0) } else { random.about(20.0, 1.6) },
            attack_rad: random.about(7.0, 4.0).to_radians(),
            tilt_rad: random.about(-25.0, 5.0).to_radians(),
            wander_level: wander_level * random.between(0.7, 1.3),
        }
    }

    /// Somewhere a bat is held still between swings.
    pub fn draw_rest_pose(random: &mut Random) -> Pose {
        let ways = [
            // Barrel up in front; on the shoulder; hanging down; level across; pointed out.
            (Vector3::new(0.1, 0.2, 1.2), 80.0),
            (Vector3::new(-0.1, 0.3, 1.4), 35.0),
            (Vector3::new(0.0, 0.2, 0.95), -75.0),
            (Vector3::new(0.1, 0.1, 1.0), 2.0),
            (Vector3::new(0.3, 0.2, 1.3), 25.0),
        ];
        let (hands_w_m, elevation_deg) = ways[random.index(ways.len())];
        let elevation_rad = f64::clamp(random.about(elevation_deg, 8.0), -88.0, 88.0).to_radians();
        let pi = std::f64::consts::PI;
        Pose {
            hands_w_m: hands_w_m + random.normal_vector(0.05),
            angles: Angles::new(random.between(-pi, pi), elevation_rad, random.between(-pi, pi)),
        }
    }
}
