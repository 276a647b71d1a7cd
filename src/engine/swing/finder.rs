//! Finds swings in a stream: constant time and memory per sample.
//!
//! A swing is a fast turn across the bat's axis that sweeps far. What is quick but short (a tap, a bump, a check swing),
//! far but slow (a waggle, a toss) or about the bat's own axis is none. A blow within the turn is a contact: it shows as
//! a step in the angular rate that no hand can make.

use nalgebra::Vector3;

/// A turn is looked at from here on, rad/s.
const TURNING_RADPS: f64 = 9.0;
/// A swing's turn reaches this, rad/s.
const SWING_RADPS: f64 = 21.0;
/// A swing has swept this far when it is fastest or hits, rad.
const SWEEP_RAD: f64 = 0.9;
/// A dry swing sweeps this far in all, rad.
const DRY_SWEEP_RAD: f64 = 2.4;
/// The turn is over when it stayed below [`TURNING_RADPS`] for this long, s.
const OVER_S: f64 = 0.06;
/// A swing that met nothing is told when the turn has fallen to this part of its peak.
const PAST_PEAK: f64 = 0.55;
/// A blow changes the angular rate by this against its own course, rad/s.
const BLOW_RADPS: f64 = 4.0;
/// The same in the specific force, where the gyro is at the end of its range, m/s².
const BLOW_MPS2: f64 = 150.0;
/// Time over which a course is judged, s.
const LAG_S: f64 = 0.001;
/// A turn that goes on longer than this is a bat that spins in the air or in a machine, s.
const LONGEST_TURN_S: f64 = 0.7;

/// What was found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Found {
    /// A fast turn has begun at this time, s.
    Turning(f64),
    /// A blow shows.
    Ball {
        /// When the turn began, s.
        turning_s: f64,
        /// When the blow shows, s.
        seen_s: f64,
    },
    /// A swing met nothing.
    Dry {
        /// When the turn began, s.
        turning_s: f64,
        /// When it was fastest, s.
        fastest_s: f64,
    },
    /// The turn is over, whatever it was.
    Over,
}

#[derive(Clone, Copy, Debug)]
struct Turn {
    began_s: f64,
    last_fast_s: f64,
    peak_radps: f64,
    peak_s: f64,
    sweep_rad: f64,
    sweep_at_peak_rad: f64,
    told: bool,
}

/// The finder.
#[derive(Clone, Debug)]
pub struct Finder {
    lag: usize,
    interval_s: f64,
    recent: Vec<Recent>,
    next: usize,
    turn: Option<Turn>,
}

#[derive(Clone, Copy, Debug)]
struct Recent {
    time_s: f64,
    across_radps: f64,
    gyro: Vector3<f64>,
    accel: Vector3<f64>,
}

impl Finder {
    /// For samples `interval_s` apart.
    pub fn new(interval_s: f64) -> Self {
        let lag = (LAG_S / interval_s).round().clamp(1.0, 32.0) as usize;
        let empty =
            Recent { time_s: f64::NEG_INFINITY, across_radps: 0.0, gyro: Vector3::zeros(), accel: Vector3::zeros() };
        Self { lag, interval_s, recent: vec![empty; 3 * lag + 1], next: 0, turn: None }
    }

    /// Takes the next sample: readings in S without holes, and the angular rate across the bat's axis, rad/s.
    pub fn push(
        &mut self,
        time_s: f64,
        gyro: Vector3<f64>,
        accel: Vector3<f64>,
        across_radps: f64,
        gyro_clipped: bool,
    ) -> Option<Found> {
        let previous_s = self.back(1).time_s;
        self.recent[self.next] = Recent { time_s, across_radps, gyro, accel };
        self.next = if self.next + 1 == self.recent.len() { 0 } else { self.next + 1 };
        let Some(mut turn) = self.turn else {
            if across_radps < TURNING_RADPS {
                return None;
            }
            self.turn = Some(Turn {
                began_s: time_s,
                last_fast_s: time_s,
                peak_radps: across_radps,
                peak_s: time_s,
                sweep_rad: 0.0,
                sweep_at_peak_rad: 0.0,
                told: false,
            });
            return Some(Found::Turning(time_s));
        };
        let found = self.follow(&mut turn, time_s, (time_s - previous_s).min(0.1), across_radps, gyro_clipped);
        self.turn = if found == Some(Found::Over) { None } else { Some(turn) };
        found
    }

    fn follow(&self, turn: &mut Turn, time_s: f64, dt_s: f64, across_radps: f64, gyro_clipped: bool) -> Option<Found> {
        turn.sweep_rad += across_radps * dt_s;
        if across_radps >= TURNING_RADPS {
            turn.last_fast_s = time_s;
        }
        let swept =
            turn.peak_radps >= SWING_RADPS && turn.sweep_rad >= SWEEP_RAD && time_s - turn.began_s < LONGEST_TURN_S;
        if !turn.told
            && swept
            && self.back(1 + 2 * self.lag).across_radps > 0.4 * turn.peak_radps
            && self.is_blow(gyro_clipped)
        {
            turn.told = true;
            return Some(Found::Ball { turning_s: turn.began_s, seen_s: time_s });
        }
        if across_radps > turn.peak_radps && !turn.told {
            turn.peak_radps = across_radps;
            turn.peak_s = time_s;
            turn.sweep_at_peak_rad = turn.sweep_rad;
        }
        let dry =
            turn.peak_radps >= SWING_RADPS && turn.sweep_at_peak_rad >= SWEEP_RAD && turn.sweep_rad >= DRY_SWEEP_RAD;
        if !turn.told && dry && across_radps < PAST_PEAK * turn.peak_radps && time_s - turn.began_s < LONGEST_TURN_S {
            turn.told = true;
            return Some(Found::Dry { turning_s: turn.began_s, fastest_s: turn.peak_s });
        }
        (time_s - turn.last_fast_s > OVER_S).then_some(Found::Over)
    }

    /// The sample this many samples ago, 1 being the newest.
    fn back(&self, samples: usize) -> &Recent {
        let at = self.next + self.recent.len() - samples;
        &self.recent[if at < self.recent.len() { at } else { at - self.recent.len() }]
    }

    /// Whether the newest sample leaves the course of those before it.
    fn is_blow(&self, gyro_clipped: bool) -> bool {
        let at = |k: usize| self.back(1 + k * self.lag);
        let (a, b, c, d) = (at(0), at(1), at(2), at(3));
        let even = a.time_s - d.time_s < 3.5 * self.lag as f64 * self.interval_s;
        if !even {
            let gap_s = a.time_s - b.time_s;
            let course = (b.gyro - c.gyro) / (b.time_s - c.time_s).max(1e-6);
            return gap_s < 0.05 && (a.gyro - b.gyro - course * gap_s).norm() > 2.0 * BLOW_RADPS + 600.0 * gap_s;
        }
        let leaves = |y: fn(&Recent) -> Vector3<f64>| (y(a) - (y(b) - y(c)) * 3.0 - y(d)).norm();
        let limit = if gyro_clipped { 2.0 * BLOW_RADPS } else { BLOW_RADPS };
        leaves(|r| r.gyro) > limit || (gyro_clipped && leaves(|r| r.accel) > BLOW_MPS2)
    }
}

#[cfg(test)]
mod tests;
