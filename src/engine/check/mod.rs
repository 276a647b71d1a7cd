//! Whether a sensor, its mount and a bat's data are what they are said to be: by physics that a person can do in a cage.
//!
//! Enters: the [`Sample`]s since a check began, as sent, and the [`Profile`]. Leaves: where the person is in the routine, and
//! what was found once enough was seen, each number with its σ. [`still`]: specific force against [`gravity`]; [`mount`]: the
//! bat's axis by gravity and by rolling; [`pendulum`]: period, and speed at the bottom against the height fallen; [`aim`]: the
//! bat's heading. Each looks at all samples anew, so that it keeps nothing and can be asked at any time.
//!
//! What a sensor sends is judged by the errors that its profile admits, not by what was learnt of it since: a check that
//! used what it is to check would find nothing. Equations: estimation.md, "Checks".

pub mod aim;
pub mod gravity;
pub mod mount;
mod passes;
pub mod pendulum;
pub mod still;
mod stretch;

pub use stretch::Stretch;

use super::metrics::Estimate;
use super::motion::conditioning::Limits;
use super::profile::{Profile, SensorProfile};
use super::sample::Sample;
use nalgebra::{Matrix3, Vector3};

/// Two numbers fit if they differ by no more than this many σ of their difference: 95 % of a normal's. What is shown as ± is
/// as wide.
pub const FITS_WITHIN_SIGMAS: f64 = 1.96;

/// A number that was measured and the one that it should be, in one unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Against {
    /// What was measured.
    pub found: Estimate,
    /// What it should be.
    pub expected: Estimate,
}

impl Against {
    /// How far apart they are, by the σ of their difference; they are taken to err independently.
    pub fn sigmas_apart(&self) -> f64 {
        let apart = (self.found.value - self.expected.value).abs();
        let sigma = self.found.sigma.hypot(self.expected.sigma);
        if apart == 0.0 { 0.0 } else { apart / sigma }
    }

    /// Whether they are the same within [`FITS_WITHIN_SIGMAS`].
    pub fn fits(&self) -> bool {
        self.sigmas_apart() <= FITS_WITHIN_SIGMAS
    }
}

/// The samples that can be used, in order of time: whole, not clipped, later than the one before.
fn usable(samples: &[Sample], profile: &Profile) -> Vec<Sample> {
    let limits = Limits::new(&profile.sensor);
    let mut last_s = f64::NEG_INFINITY;
    let is_usable = |sample: &&Sample| {
        let is_later = sample.time.0.is_finite() && sample.time.0 > last_s;
        let is_good = sample.is_whole()
            && !limits.gyro_clipped(&sample.gyro_s_radps)
            && !limits.accel_clipped(&sample.accel_s_mps2);
        if is_later && is_good {
            last_s = sample.time.0;
        }
        is_later && is_good
    };
    samples.iter().filter(is_usable).copied().collect()
}

/// σ of the relative error of a reading along the unit vector `axis_s` of a quantity that points along it: scale errors weigh
/// with the fourth power of its components, misalignments with the rest, as a·E·a = Σ Eᵢⱼ aᵢ aⱼ.
fn along_sigma(axis_s: &Vector3<f64>, scale: f64, misalignment_rad: f64) -> f64 {
    let fourth: f64 = axis_s.iter().map(|part| part.powi(4)).sum();
    (scale.powi(2) * fourth + misalignment_rad.powi(2) * (1.0 - fourth).max(0.0)).sqrt()
}

/// σ, rad, about each axis across `axis_s`, of the direction that a sensor tells of a quantity along it: v·E·a for unit v
/// across a, the mean over both such v.
fn across_sigma(axis_s: &Vector3<f64>, scale: f64, misalignment_rad: f64) -> f64 {
    let fourth: f64 = axis_s.iter().map(|part| part.powi(4)).sum();
    let oblique = 0.5 * (1.0 - fourth).max(0.0);
    (misalignment_rad.powi(2) * (1.0 - oblique) + scale.powi(2) * oblique).sqrt()
}

/// σ of the mean of a white noise of one-sided density `density` over `lasting_s`: N/√(2T).
fn mean_sigma(density: f64, lasting_s: f64) -> f64 {
    density / (2.0 * lasting_s).sqrt()
}

/// Root mean square of the noise of one reading on one axis: gyro (rad/s) and accelerometer (m/s²), with the steps of 16 bits.
fn reading_sigma(sensor: &SensorProfile, interval_s: f64) -> (f64, f64) {
    // A second-order Butterworth low-pass passes the noise of 1.11 times its bandwidth (π / (2√2)).
    let band_hz = |bandwidth_hz: f64| (1.11 * bandwidth_hz).min(0.5 / interval_s);
    let step = |range: f64| range / 32768.0 / 12f64.sqrt();
    let gyro = sensor.gyro_noise_radps_rthz * band_hz(sensor.gyro_bandwidth_hz).sqrt();
    let accel = sensor.accel_noise_mps2_rthz * band_hz(sensor.accel_bandwidth_hz).sqrt();
    (gyro.hypot(step(sensor.gyro_range_radps)), accel.hypot(step(sensor.accel_range_mps2)))
}

/// The mean step between samples, s, at least a microsecond.
fn interval_s(samples: &[Sample]) -> f64 {
    let ends = samples.first().zip(samples.last());
    let span_s = ends.map_or(0.0, |(first, last)| last.time.seconds_since(first.time));
    (span_s / samples.len().saturating_sub(1).max(1) as f64).max(1e-6)
}

/// The line along which most of some vectors lie, and the share of their squares that lies along it: the greatest
/// eigenvector of Σ v·vᵀ.
fn principal(sum: Matrix3<f64>) -> Option<(Vector3<f64>, f64)> {
    let total = sum.trace();
    if !total.is_finite() || total <= 0.0 {
        return None;
    }
    let eigen = sum.symmetric_eigen();
    let greatest = eigen.eigenvalues.imax();
    let axis = eigen.eigenvectors.column(greatest).into_owned();
    axis.iter().all(|part| part.is_finite()).then_some((axis, eigen.eigenvalues[greatest] / total))
}

#[cfg(test)]
mod tests;
