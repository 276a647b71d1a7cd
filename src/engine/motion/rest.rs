//! Tells rest from motion, sample by sample.
//!
//! A rest is a stretch in which the angular rate stays within what a batter's tremor and sway make of it and the
//! specific force hardly changes. Both are judged over a sliding window; constant time and memory per sample.

use nalgebra::Vector3;
use std::collections::VecDeque;

/// Length of the window, s.
pub const WINDOW_S: f64 = 0.2;
/// Greatest root mean square of the angular rate over the window, rad/s, bias included.
///
/// Hands at rest reach 0.07, hands that move on purpose seldom stay below 0.17 for a fifth of a second (both seen in the
/// open BROAD recordings, Laidig et al., *Data* 6(7):72, 2021, and in simulated stances).
const STILL_RADPS: f64 = 0.115;
/// Greatest standard deviation of the specific force over the window, all axes together, m/s².
const STILL_MPS2: f64 = 0.65;

/// The detector.
#[derive(Clone, Debug)]
pub struct RestDetector {
    window: VecDeque<Entry>,
    length: usize,
    gyro_square: f64,
    accel_sum: Vector3<f64>,
    accel_square: f64,
    accel_origin: Vector3<f64>,
    pushed: usize,
}

#[derive(Clone, Copy, Debug, Default)]
struct Entry {
    gyro_square: f64,
    accel: Vector3<f64>,
    accel_square: f64,
}

impl RestDetector {
    /// For samples `interval_s` apart.
    pub fn new(interval_s: f64) -> Self {
        let length = (WINDOW_S / interval_s).round().clamp(4.0, 4096.0) as usize;
        Self {
            window: VecDeque::with_capacity(length + 1),
            length,
            gyro_square: 0.0,
            accel_sum: Vector3::zeros(),
            accel_square: 0.0,
            accel_origin: Vector3::zeros(),
            pushed: 0,
        }
    }

    /// How many samples a verdict looks at.
    pub fn length(&self) -> usize {
        self.length
    }

    /// Takes the next sample; whether the last [`length`](Self::length) samples were all a rest.
    /// `usable` is false for a sample that was clipped or has holes: no rest then.
    pub fn push(&mut self, gyro_s_radps: Vector3<f64>, accel_s_mps2: Vector3<f64>, usable: bool) -> bool {
        if !usable {
            self.clear();
            return false;
        }
        if self.window.is_empty() {
            self.accel_origin = accel_s_mps2;
        }
        let accel = accel_s_mps2 - self.accel_origin;
        let entry = Entry { gyro_square: gyro_s_radps.norm_squared(), accel, accel_square: accel.norm_squared() };
        self.window.push_back(entry);
        let old = if self.window.len() > self.length { self.window.pop_front() } else { None };
        self.exchange(entry, old.unwrap_or_default());
        self.pushed += 1;
        if self.pushed >= 8 * self.length {
            self.pushed = 0;
            self.sum_again();
        }
        self.window.len() == self.length && self.is_still()
    }

    fn is_still(&self) -> bool {
        let n = self.length as f64;
        self.gyro_square < STILL_RADPS * STILL_RADPS * n
            && self.accel_square - self.accel_sum.norm_squared() / n < STILL_MPS2 * STILL_MPS2 * n
    }

    fn exchange(&mut self, new: Entry, old: Entry) {
        self.gyro_square += new.gyro_square - old.gyro_square;
        self.accel_sum += new.accel - old.accel;
        self.accel_square += new.accel_square - old.accel_square;
    }

    /// Sums afresh, so that rounding does not pile up over a day.
    fn sum_again(&mut self) {
        let window = std::mem::take(&mut self.window);
        self.gyro_square = 0.0;
        (self.accel_sum, self.accel_square) = (Vector3::zeros(), 0.0);
        let shift = window.front().map_or(Vector3::zeros(), |entry| entry.accel);
        self.accel_origin += shift;
        for entry in window {
            let accel = entry.accel - shift;
            let moved = Entry { accel, accel_square: accel.norm_squared(), ..entry };
            self.window.push_back(moved);
            self.exchange(moved, Entry::default());
        }
    }

    fn clear(&mut self) {
        self.window.clear();
        self.gyro_square = 0.0;
        (self.accel_sum, self.accel_square) = (Vector3::zeros(), 0.0);
    }
}

/// A rest that is over.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EndedRest {
    /// The first time that it is known to cover, s.
    pub from_s: f64,
    /// The last one, s.
    pub to_s: f64,
}

#[cfg(test)]
mod tests;
