//! The bat as a pendulum about the point 6 in from its knob: its period, and its speed at the bottom against the height that
//! it fell.
//!
//! At a turning point nothing turns and the specific force across the bat is (g − s·Ω²)·sin θ, s the IMU's place along the bat
//! from the pivot (negative toward the knob) and Ω the rate of small swings: so the accelerometer tells how far the bat has
//! swung, half the difference between one side and the other being free of its bias and of the mount's tilt. From there the
//! bat falls, and passes the bottom with ω² = 2Ω²(1 − cos θ) (energy; of the two turning points beside a bottom the mean
//! counts, so that what is lost on the way cancels). The gyro reads ω. So Ω comes from time alone, θ from the accelerometer
//! alone and ω from the gyro alone, and the three either fit or do not. See estimation.md, "Checks".

use super::along_sigma;
use super::passes::{Passes, passes};
use super::{Against, interval_s, reading_sigma, usable};
use crate::engine::metrics::{Estimate, HANDS_FROM_KNOB_M};
use crate::engine::profile::{Profile, SensorProfile};
use crate::engine::sample::Sample;
use nalgebra::{Matrix3, Vector3};
use std::f64::consts::{PI, TAU};

/// Half swings that are to be seen.
pub const LEAST_HALVES: usize = 8;
/// Amplitudes at which it is looked at, rad: below, the accelerometer's error counts too much; above, hands and hooks do.
pub const AMPLITUDES_RAD: (f64, f64) = (7.0 * PI / 180.0, 50.0 * PI / 180.0);
/// Where the IMU sits along the bat, and where the pivot is, are known to this, 1 σ, m: a ruler and a hook.
const PLACE_SIGMA_M: f64 = 1.0e-3;
/// The value in the middle of a parabola through n readings has 9/4 of the variance of their mean.
const PARABOLA_GAIN: f64 = 1.5;

/// Where the person is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Swinging {
    /// The bat does not swing.
    Hang,
    /// It swings; so many half swings were seen.
    Swing {
        /// How many.
        halves: usize,
    },
    /// It swings too little or too far.
    Amplitude {
        /// By the gyro, rad.
        amplitude_rad: f64,
    },
    /// Enough was seen.
    Seen(Swung),
}

/// What was found of a bat that swung as a pendulum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Swung {
    /// Half swings that were used.
    pub halves: usize,
    /// Mean angle at the turning points, by the accelerometer, rad.
    pub amplitude_rad: Estimate,
    /// Period of small swings, s.
    pub period_s: Estimate,
    /// The same against that of the bat's data, if there are any.
    pub period_against_s: Option<Against>,
    /// Height that the sweet spot fell, m, on average.
    pub fallen_m: Estimate,
    /// Speed of the sweet spot at the bottom: by the gyro, against what follows from the height, m/s, on average.
    pub speed_mps: Against,
}

impl Swung {
    /// By how much the gyro reads more than the height fallen says, as a fraction, with its σ.
    pub fn rate_excess(&self) -> Estimate {
        let Against { found, expected } = self.speed_mps;
        let sigma = (found.sigma / found.value).hypot(expected.sigma / expected.value);
        Estimate { value: found.value / expected.value - 1.0, sigma }
    }

    /// Whether all that can be compared fits.
    pub fn fits(&self) -> bool {
        self.speed_mps.fits() && self.period_against_s.is_none_or(|period| period.fits())
    }
}

/// How much longer a swing of this amplitude lasts than a small one: T/T₀ = 2K(sin²(θ/2))/π = 1/agm(1, cos(θ/2)), exact
/// (Carvalhaes & Suppes, *Am. J. Phys.* 76, 2008, by the arithmetic-geometric mean; its series is 1 + θ²/16 + 11θ⁴/3072 + …).
pub fn stretched_by(amplitude_rad: f64) -> f64 {
    let (mut a, mut b) = (1.0, (0.5 * amplitude_rad).cos().abs());
    for _ in 0..6 {
        (a, b) = (0.5 * (a + b), (a * b).sqrt());
    }
    1.0 / a
}

/// The period of small swings of a bat about the pivot, s: T = 2π√(I/(m·g·d)), and its σ where these are known to
/// `relative_sigma` together. `None` where the bat would not hang from the pivot.
pub fn period_of_bat(bat: &crate::engine::profile::Bat, gravity_mps2: f64, relative_sigma: f64) -> Option<Estimate> {
    let arm_m = bat.balance_m - HANDS_FROM_KNOB_M;
    let value = TAU * (bat.moi_knob6_kgm2 / (bat.mass_kg * gravity_mps2 * arm_m)).sqrt();
    let is_possible = arm_m > 0.0 && value.is_finite() && value > 0.0;
    is_possible.then_some(Estimate { value, sigma: relative_sigma * value })
}

/// What the samples since the check began say. `expected_s` is the period that the bat's data say.
pub fn look(samples: &[Sample], profile: &Profile, gravity_mps2: Estimate, expected_s: Option<Estimate>) -> Swinging {
    let samples = usable(samples, profile);
    let Some(passes) = passes(&samples) else { return Swinging::Hang };
    let halves = passes.crossings.len().saturating_sub(1);
    if halves < 2 {
        return Swinging::Swing { halves };
    }
    let amplitude_rad = passes.amplitude_rad();
    if !(AMPLITUDES_RAD.0..AMPLITUDES_RAD.1).contains(&amplitude_rad) {
        return Swinging::Amplitude { amplitude_rad };
    }
    if halves < LEAST_HALVES {
        return Swinging::Swing { halves };
    }
    let measuring = Measuring { profile, gravity_mps2, noise: reading_sigma(&profile.sensor, interval_s(&samples)) };
    measuring.swung(&passes, expected_s).map_or(Swinging::Swing { halves }, Swinging::Seen)
}

struct Measuring<'a> {
    profile: &'a Profile,
    gravity_mps2: Estimate,
    /// Of one reading: gyro and accelerometer.
    noise: (f64, f64),
}

impl Measuring<'_> {
    fn swung(&self, passes: &Passes, expected_s: Option<Estimate>) -> Option<Swung> {
        let sides = Sides::of(passes)?;
        // The amplitude needs the rate of small swings and the other way round: each pass makes the error some 30 times less.
        let mut small_radps = TAU / (2.0 * passes.mean_half_s());
        let mut angles_rad = Vec::new();
        let mut period = None;
        for _ in 0..4 {
            angles_rad = sides.angles_rad(self.force_per_sine(small_radps));
            let found = fitted_period(passes, &angles_rad, self.noise.0)?;
            small_radps = TAU / found.value;
            period = Some(found);
        }
        let period = period?;
        let n = angles_rad.len() as f64;
        let mean_rad = angles_rad.iter().sum::<f64>() / n;
        let angle_sigma = mean_rad.tan() * self.sine_sigma(&sides, small_radps, mean_rad);
        let bottoms = bottoms_radps(passes)?;
        let fall = |pair: &[f64]| pair.iter().map(|angle| 1.0 - angle.cos()).sum::<f64>() / pair.len() as f64;
        let said: Vec<f64> = angles_rad.windows(2).map(|pair| small_radps * (2.0 * fall(pair)).sqrt()).collect();
        let (found_radps, said_radps) = (mean(&bottoms)?, mean(&said)?);
        let by_angle = 0.5 / (0.5 * mean_rad).tan() * angle_sigma;
        let by_amplitude = mean_rad * angle_sigma / 8.0;
        let period_s = Estimate { value: period.value, sigma: period.sigma.hypot(period.value * by_amplitude) };
        let said_sigma = said_radps * by_angle.hypot(period_s.sigma / period_s.value);
        let arm_m = self.profile.bat.sweet_spot_m - HANDS_FROM_KNOB_M;
        let speed_mps = Against {
            found: Estimate { value: found_radps * arm_m, sigma: self.rate_sigma(passes, found_radps) * arm_m },
            expected: Estimate { value: said_radps * arm_m, sigma: said_sigma * arm_m },
        };
        Some(Swung {
            halves: bottoms.len(),
            amplitude_rad: Estimate { value: mean_rad, sigma: angle_sigma },
            period_s,
            period_against_s: expected_s.map(|expected| Against { found: period_s, expected }),
            fallen_m: Estimate { value: arm_m * fall(&angles_rad), sigma: arm_m * mean_rad.sin() * angle_sigma },
            speed_mps,
        })
        .filter(Swung::is_finite)
    }

    /// (g − s·Ω²), m/s²: the specific force across the bat at a turning point for each unit of sin θ.
    fn force_per_sine(&self, small_radps: f64) -> f64 {
        self.gravity_mps2.value - self.place_m() * small_radps.powi(2)
    }

    /// The IMU's place along the bat from the pivot, toward the tip, m.
    fn place_m(&self) -> f64 {
        self.profile.mount.offset_b_m.z - HANDS_FROM_KNOB_M
    }

    /// σ of sin θ, as a fraction: the accelerometer's scale along the difference of both sides, gravity, place, noise.
    fn sine_sigma(&self, sides: &Sides, small_radps: f64, angle_rad: f64) -> f64 {
        let sensor: &SensorProfile = &self.profile.sensor;
        let per_sine = self.force_per_sine(small_radps);
        let by_scale = along_sigma(&sides.across_s, sensor.accel_scale_error, sensor.misalignment_rad);
        let by_noise = self.noise.1 * sides.noise_gain / (per_sine * angle_rad.sin());
        let by_place = PLACE_SIGMA_M * 2f64.sqrt() * small_radps.powi(2) / per_sine;
        by_scale.hypot(self.gravity_mps2.sigma / per_sine).hypot(by_place).hypot(by_noise)
    }

    /// σ of the mean rate at the bottoms, rad/s.
    fn rate_sigma(&self, passes: &Passes, rate_radps: f64) -> f64 {
        let sensor = &self.profile.sensor;
        let by_scale = along_sigma(&passes.axis_s, sensor.gyro_scale_error, sensor.misalignment_rad);
        let n = (passes.bottoms.len() * passes.samples_fitted).max(1) as f64;
        (rate_radps * by_scale).hypot(PARABOLA_GAIN * self.noise.0 / n.sqrt())
    }
}

impl Swung {
    fn is_finite(&self) -> bool {
        let Against { found, expected } = self.speed_mps;
        [self.period_s, found, expected, self.amplitude_rad].iter().all(|e| e.value.is_finite() && e.sigma.is_finite())
    }
}

/// The specific forces at the turning points.
struct Sides {
    /// How far each lies from the middle between the sides, across the bat, m/s².
    across_mps2: Vec<f64>,
    /// Across the bat in S, unit.
    across_s: Vector3<f64>,
    /// Noise of the mean of them, in that of one reading.
    noise_gain: f64,
}

impl Sides {
    fn of(passes: &Passes) -> Option<Self> {
        let forces: Vec<Vector3<f64>> = passes.crossings.iter().map(|crossing| crossing.force_s_mps2).collect();
        let middle = middle(&forces)?;
        let sum: Vector3<f64> = forces.iter().zip(signs()).map(|(force, sign)| (force - middle) * sign).sum();
        let across_s = sum.try_normalize(1e-9)?;
        let across_mps2 = forces.iter().map(|force| (force - middle).dot(&across_s).abs()).collect();
        let readings = (forces.len() * passes.samples_fitted).max(1) as f64;
        Some(Self { across_mps2, across_s, noise_gain: PARABOLA_GAIN / readings.sqrt() })
    }

    fn angles_rad(&self, per_sine: f64) -> Vec<f64> {
        self.across_mps2.iter().map(|across| (across / per_sine).clamp(0.0, 1.0).asin()).collect()
    }
}

fn signs() -> impl Iterator<Item = f64> {
    (0..).map(|k| if k % 2 == 0 { 1.0 } else { -1.0 })
}

/// The middle of what is now on one side and now on the other and dies away slowly: the mean of (a + 2b + c)/4 over three
/// neighbours, which a steady decay leaves alone.
fn middle<V>(sides: &[V]) -> Option<V>
where
    V: Copy + std::iter::Sum + std::ops::Add<Output = V> + std::ops::Mul<f64, Output = V>,
{
    let threes = sides.windows(3).count();
    let sum: V = sides.windows(3).map(|three| (three[0] + three[1] * 2.0 + three[2]) * 0.25).sum();
    (threes > 0).then(|| sum * (1.0 / threes as f64))
}

/// The rate at each bottom without the gyro's bias, rad/s.
fn bottoms_radps(passes: &Passes) -> Option<Vec<f64>> {
    let bias = middle(&passes.bottoms)?;
    Some(passes.bottoms.iter().map(|rate| (rate - bias).abs()).collect())
}

fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

/// The period of small swings by least squares of the times of all turning points: t = t₀ + T·(half swings, each as much
/// longer as its amplitude makes it) ± d, where d is what the gyro's bias shifts every other one by.
fn fitted_period(passes: &Passes, angles_rad: &[f64], gyro_noise: f64) -> Option<Estimate> {
    let crossings = &passes.crossings;
    let first_s = crossings.first()?.time_s;
    let mut swung = 0.0;
    let (mut normal, mut right) = (Matrix3::zeros(), Vector3::zeros());
    let mut rows = Vec::with_capacity(crossings.len());
    for (k, crossing) in crossings.iter().enumerate() {
        if let Some(&[before, now]) = k.checked_sub(1).and_then(|before| angles_rad.get(before..=k)) {
            swung += 0.5 * stretched_by(0.5 * (before + now));
        }
        let row = Vector3::new(1.0, swung, if k % 2 == 0 { 1.0 } else { -1.0 });
        let time_s = crossing.time_s - first_s;
        normal += row * row.transpose();
        right += row * time_s;
        rows.push((row, time_s, crossing.slope_radps2));
    }
    let inverse = normal.try_inverse()?;
    let found = inverse * right;
    let left: f64 = rows.iter().map(|(row, time_s, _)| (time_s - row.dot(&found)).powi(2)).sum();
    let by_residual = (left / (rows.len() as f64 - 3.0).max(1.0)).sqrt();
    let slope = mean(&rows.iter().map(|(_, _, slope)| slope.abs()).collect::<Vec<_>>())?;
    let by_noise = gyro_noise / slope / (passes.samples_fitted.max(1) as f64).sqrt();
    Some(Estimate { value: found.y, sigma: by_residual.max(by_noise) * inverse[(1, 1)].max(0.0).sqrt() })
}
