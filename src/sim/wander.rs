//! What a still batter does all the same: breathing and sway, and physiological tremor.
//!
//! Sums of sines with drawn frequencies and phases: bounded, smooth and known at every instant. The bands are those of
//! postural sway (0.2–1 Hz) and of physiological tremor (8–12 Hz; Elble & Koller, *Tremor*, 1990); the sizes, several
//! mrad and mm of sway and some tenths of that of tremor, are common experience (no source).

use super::curve::Jet;
use super::random::Random;
use std::f64::consts::TAU;

/// How many sines there are: the first half is sway, the rest tremor. All coordinates share their frequencies, as the
/// limbs of one body do, each with its own sizes and phases.
const SINES: usize = 8;

/// A coordinate's share of one sine: its parts in and out of phase.
#[derive(Clone, Copy, Debug, Default)]
struct Share {
    sine: f64,
    cosine: f64,
}

/// Small motions about three position axes (m) and three axes of the bat (rad).
#[derive(Clone, Debug, Default)]
pub struct Wander {
    rates_radps: [f64; SINES],
    coordinates: [[Share; SINES]; 6],
}

impl Wander {
    /// `level` 1 is an ordinary batter, 0 perfect stillness.
    pub fn draw(random: &mut Random, level: f64) -> Self {
        let is_sway = |k: usize| k < SINES / 2;
        let rates_radps = std::array::from_fn(|k| {
            let (low_hz, high_hz) = if is_sway(k) { (0.2, 1.0) } else { (8.0, 12.0) };
            TAU * random.between(low_hz, high_hz)
        });
        let coordinates = std::array::from_fn(|i| {
            std::array::from_fn(|k| {
                let size = match (i < 3, is_sway(k)) {
                    (true, true) => 1.8e-3,
                    (true, false) => 3.5e-5,
                    (false, true) => 3.5e-3,
                    (false, false) => 1.3e-4,
                };
                let (sine, cosine) = random.between(0.0, TAU).sin_cos();
                let amplitude = level * size * random.between(0.4, 1.2);
                Share { sine: amplitude * sine, cosine: amplitude * cosine }
            })
        });
        Self { rates_radps, coordinates }
    }

    /// The mirror image in the x-z plane of W and of B: y, and the turns about x and z, change sign.
    pub fn mirror(&mut self) {
        for coordinate in [1, 3, 5] {
            for share in &mut self.coordinates[coordinate] {
                *share = Share { sine: -share.sine, cosine: -share.cosine };
            }
        }
    }

    /// The six coordinates, positions first.
    pub fn at(&self, t_s: f64) -> [Jet; 6] {
        let waves = self.rates_radps.map(|rate_radps| {
            let (sine, cosine) = (rate_radps * t_s).sin_cos();
            (sine, cosine, rate_radps)
        });
        self.coordinates.map(|shares| {
            let mut out = Jet::default();
            for (share, (sine, cosine, rate_radps)) in shares.iter().zip(waves) {
                let value = share.sine * sine + share.cosine * cosine;
                out.value += value;
                out.rate += rate_radps * (share.sine * cosine - share.cosine * sine);
                out.accel -= rate_radps * rate_radps * value;
            }
            out
        })
    }
}
