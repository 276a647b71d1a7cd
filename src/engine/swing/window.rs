//! The signals of one swing on an even grid that ends (or has a point) exactly at contact, in true time.

use super::delay::Chain;
use super::onset::Course;
use crate::engine::motion::conditioning::Reading;
use nalgebra::Vector3;

/// Time of the grid before contact, s.
pub const BEFORE_S: f64 = 0.62;

/// Gyro and accelerometer at one instant, uncorrected, in S.
#[derive(Clone, Copy, Debug)]
pub struct Signal {
    /// rad/s.
    pub gyro_s_radps: Vector3<f64>,
    /// m/s².
    pub accel_s_mps2: Vector3<f64>,
}

/// The signals.
#[derive(Clone, Debug)]
pub struct Window {
    /// Step, s.
    pub step_s: f64,
    /// One a grid point, in the order of time.
    pub signals: Vec<Signal>,
    /// The grid point at contact.
    pub contact: usize,
    /// The node: seconds from contact, and the signal there.
    pub node_s: f64,
    /// Signal at the node.
    pub node: Signal,
    /// Where the signals are guessed, and how wrong each guess may be.
    pub doubts: Vec<Doubt>,
}

/// A stretch of the grid in which a sensor's three axes are guessed: bridged over lost or clipped readings, or carried on
/// to contact from before it. Within a stretch a guess errs as a whole.
#[derive(Clone, Debug)]
pub struct Doubt {
    /// Of the gyro, or else of the accelerometer.
    pub is_gyro: bool,
    /// First grid point.
    pub first: usize,
    /// 1 σ of each axis at the grid points from there on, rad/s or m/s².
    pub sigma: Vec<f64>,
}

impl Window {
    /// The signals with a guess moved by its 1 σ on one axis.
    pub fn moved(&self, doubt: &Doubt, axis: usize) -> Self {
        let mut out = self.clone();
        for (signal, sigma) in out.signals[doubt.first..].iter_mut().zip(&doubt.sigma) {
            let vector = if doubt.is_gyro { &mut signal.gyro_s_radps } else { &mut signal.accel_s_mps2 };
            vector[axis] += sigma;
        }
        out
    }
}

/// What a window is made from.
pub struct Source<'a> {
    /// Readings in the order of time.
    pub readings: &'a [Reading],
    /// The last reading before the blow; for a swing that met nothing, the last of all.
    pub last_clean: usize,
    /// The reading at the filter's node.
    pub node: usize,
    /// Delays.
    pub chain: &'a Chain,
}

impl Source<'_> {
    /// The grid about a contact at `contact_s` (true time), with `after_s` of it after contact.
    pub fn window(&self, contact_s: f64, after_s: f64, step_s: f64) -> Option<Window> {
        let first_s = self.readings.first()?.time_s + 3.0 * step_s;
        let delay_s = self.chain.gyro_delay_s();
        let before = ((contact_s + delay_s - first_s).clamp(0.0, BEFORE_S) / step_s) as usize;
        let after = (after_s / step_s) as usize;
        if before < 10 {
            return None;
        }
        let courses: Vec<Course> =
            (0..6).map(|c| Course::fit(self.readings, self.last_clean, c)).collect::<Option<_>>()?;
        let times_s: Vec<f64> = (0..=before + after).map(|k| contact_s + (k as f64 - before as f64) * step_s).collect();
        let signals = times_s.iter().map(|time_s| self.signal(&courses, *time_s)).collect();
        let doubts = [true, false].iter().flat_map(|is_gyro| self.doubts(&courses, &times_s, *is_gyro)).collect();
        let node = &self.readings[self.node];
        Some(Window {
            step_s,
            signals,
            contact: before,
            node_s: node.time_s - delay_s - contact_s,
            node: self.signal(&courses, node.time_s - delay_s),
            doubts,
        })
    }

    /// Where one sensor's signals are guessed.
    fn doubts(&self, courses: &[Course], times_s: &[f64], is_gyro: bool) -> Vec<Doubt> {
        let delay_s = if is_gyro { self.chain.gyro_delay_s() } else { self.chain.accel_delay_s() };
        let own = if is_gyro { &courses[..3] } else { &courses[3..] };
        let last_s = self.readings[self.last_clean].time_s;
        let sigma = |at_s: f64| {
            if at_s > last_s {
                return (own.iter().map(|course| course.doubt(at_s).powi(2)).sum::<f64>() / 3.0).sqrt();
            }
            let after = self.readings.partition_point(|r| r.time_s <= at_s).min(self.readings.len() - 1);
            let of = |r: &Reading| if is_gyro { r.gyro_sigma_radps } else { r.accel_sigma_mps2 };
            of(&self.readings[after.saturating_sub(1)]).max(of(&self.readings[after]))
        };
        let mut out: Vec<Doubt> = Vec::new();
        let mut was_in_doubt = false;
        for (k, time_s) in times_s.iter().enumerate() {
            let sigma = sigma(time_s + delay_s);
            match out.last_mut() {
                Some(doubt) if was_in_doubt && sigma > 0.0 => doubt.sigma.push(sigma),
                _ if sigma > 0.0 => out.push(Doubt { is_gyro, first: k, sigma: vec![sigma] }),
                _ => {}
            }
            was_in_doubt = sigma > 0.0;
        }
        out
    }

    /// The signals at a true instant.
    fn signal(&self, courses: &[Course], time_s: f64) -> Signal {
        let gyro_s = time_s + self.chain.gyro_delay_s();
        let accel_s = time_s + self.chain.accel_delay_s();
        let last_s = self.readings[self.last_clean].time_s;
        let vector = |first: usize, at_s: f64, read: fn(&Reading) -> Vector3<f64>| {
            if at_s > last_s {
                Vector3::new(courses[first].at(at_s), courses[first + 1].at(at_s), courses[first + 2].at(at_s))
            } else {
                interpolated(&self.readings[..=self.last_clean], at_s, read)
            }
        };
        Signal {
            gyro_s_radps: vector(0, gyro_s, |r| r.gyro_s_radps),
            accel_s_mps2: vector(3, accel_s, |r| r.accel_s_mps2),
        }
    }
}

/// The cubic through the four readings about a time (Lagrange).
fn interpolated(readings: &[Reading], at_s: f64, read: fn(&Reading) -> Vector3<f64>) -> Vector3<f64> {
    let n = readings.len();
    let after = readings.partition_point(|r| r.time_s <= at_s);
    if n < 4 {
        return readings.last().map_or(Vector3::zeros(), read);
    }
    let first = after.saturating_sub(2).min(n - 4);
    let four = &readings[first..first + 4];
    let mut sum = Vector3::zeros();
    for (i, reading) in four.iter().enumerate() {
        let weight: f64 = four
            .iter()
            .enumerate()
            .filter(|(j, _)| *j != i)
            .map(|(_, other)| (at_s - other.time_s) / (reading.time_s - other.time_s))
            .product();
        sum += read(reading) * weight;
    }
    sum
}

#[cfg(test)]
mod tests;
