//! What a still batter does all the same: breathing and sway, and physiological tremor.
//!
//! Sums of sines with drawn frequencies and phases: bounded, smooth and known at every instant. The bands are those of
//! postural sway (0.2–1 Hz) and of physiological tremor (8–12 Hz; Elble & Koller, *Tremor*, 1990); the sizes, several
//! mrad and mm of sway and some tenths of that of tremor, are common experience (no source).

use super::curve::Jet;
use super::random::Random;
use std::f64::consts::TAU;

/// Sines a coordinate: the first half is sway, the rest tremor.
const SINES: usize = 6;

#[derive(Clone, Copy, Debug, Default)]
struct Sine {
    amplitude: f64,
    rate_radps: f64,
    phase_rad: f64,
}

/// Small motions about three position axes (m) and three axes of the bat (rad).
#[derive(Clone, Debug, Default)]
pub struct Wander {
    coordinates: [[Sine; SINES]; 6],
}

impl Wander {
    /// `level` 1 is an ordinary batter, 0 perfect stillness.
    pub fn draw(random: &mut Random, level: f64) -> Self {
        let mut coordinates = [[Sine::default(); SINES]; 6];
        for (i, sines) in coordinates.iter_mut().enumerate() {
            let is_position = i < 3;
            for (k, sine) in sines.iter_mut().enumerate() {
                let is_sway = k < SINES / 2;
                let (low_hz, high_hz) = if is_sway { (0.2, 1.0) } else { (8.0, 12.0) };
                let size = match (is_position, is_sway) {
                    (true, true) => 2.0e-3,
                    (true, false) => 4.0e-5,
                    (false, true) => 4.0e-3,
                    (false, false) => 1.5e-4,
                };
                *sine = Sine {
                    amplitude: level * size * random.between(0.4, 1.2),
                    rate_radps: TAU * random.between(low_hz, high_hz),
                    phase_rad: random.between(0.0, TAU),
                };
            }
        }
        Self { coordinates }
    }

    /// The mirror image in the x-z plane of W and of B: y, and the turns about x and z, change sign.
    pub fn mirror(&mut self) {
        for coordinate in [1, 3, 5] {
            for sine in &mut self.coordinates[coordinate] {
                sine.amplitude = -sine.amplitude;
            }
        }
    }

    /// The six coordinates, positions first.
    pub fn at(&self, t_s: f64) -> [Jet; 6] {
        self.coordinates.map(|sines| {
            sines.iter().fold(Jet::default(), |sum, sine| {
                sum + Jet::sine(sine.amplitude, sine.rate_radps, sine.rate_radps * t_s + sine.phase_rad)
            })
        })
    }
}
