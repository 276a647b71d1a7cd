//! The instant of a blow, to a fraction of a sample.
//!
//! Before the blow every channel follows a smooth course; after it, each leaves its course by an amount of its own times
//! the response of the sensor's chain to a short force. The response is known, the amounts are not: for each instant
//! and each length of the force they follow by least squares, and how well all channels then fit tells the instant.

use super::delay::{Chain, Template};
use crate::engine::motion::conditioning::Reading;
use nalgebra::{Matrix4, Vector4};

/// Instant of a blow.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Onset {
    /// On the sensor's clock: the true instant, the chain's delay taken out.
    pub time_s: f64,
    /// 1 σ, s.
    pub sigma_s: f64,
}

/// Lengths of the force that are tried, s, with their weights: 1.05 ± 0.2 ms.
const BLOWS_S: [(f64, f64); 5] = [(0.7e-3, 0.3), (0.85e-3, 0.8), (1.0e-3, 1.2), (1.2e-3, 0.9), (1.4e-3, 0.3)];
/// Step of the instants tried, s.
const STEP_S: f64 = 1e-5;
/// A channel has left its course when it is off by this: rad/s and m/s².
const LEFT_RADPS: f64 = 0.10;
const LEFT_MPS2: f64 = 3.0;
/// Course: this much before the blow, at the least [`COURSE_SAMPLES`].
const COURSE_S: f64 = 0.012;
const COURSE_SAMPLES: usize = 6;
/// The response is only trusted for this long after contact, s: then the bat's own vibration shows.
const TRUSTED_S: f64 = 2.0e-3;

/// The templates of one sensor.
#[derive(Clone, Debug)]
pub struct OnsetFinder {
    gyro: Vec<Template>,
    accel: Vec<Template>,
    bandwidth_hz: f64,
}

/// A channel's departures from its course after the last sample on it.
struct Departure {
    is_gyro: bool,
    noise: f64,
    /// Time and departure.
    points: Vec<(f64, f64)>,
}

impl OnsetFinder {
    /// For one sensor's chain.
    pub fn new(chain: &Chain) -> Self {
        let templates = |hz: Option<f64>| BLOWS_S.iter().map(|(blow_s, _)| Template::new(*blow_s, hz)).collect();
        Self {
            gyro: templates(chain.gyro_bandwidth_hz),
            accel: templates(chain.accel_bandwidth_hz),
            bandwidth_hz: chain.gyro_bandwidth_hz.unwrap_or(1e3).min(1e3),
        }
    }

    /// The blow that was seen at `seen`, and the last reading before it. `None` if no course can be told before it.
    pub fn find(&self, readings: &[Reading], seen: usize, noise: (f64, f64)) -> Option<(Onset, usize)> {
        let last = last_on_course(readings, seen)?;
        let first_s = readings[last].time_s;
        let next_s = readings.get(last + 1)?.time_s;
        let departures = self.departures(readings, last, noise);
        let early_s = (0.35 * (next_s - first_s)).min(4e-4);
        let count = ((next_s - first_s + early_s) / STEP_S).ceil().clamp(1.0, 5000.0) as usize;
        let (mut weight, mut sum, mut square) = (0.0, 0.0, 0.0);
        let scores: Vec<(f64, f64)> = (0..=count)
            .map(|k| first_s - early_s + (next_s - first_s + early_s) * k as f64 / count as f64)
            .flat_map(|time_s| (0..BLOWS_S.len()).map(move |b| (time_s, b)))
            .map(|(time_s, b)| (time_s, self.score(&departures, time_s, b)))
            .collect();
        let best = scores.iter().map(|s| s.1).fold(f64::INFINITY, f64::min);
        for (time_s, score) in scores {
            let w = (-0.5 * (score - best)).exp();
            let x = time_s - first_s;
            (weight, sum, square) = (weight + w, sum + w * x, square + w * x * x);
        }
        let mean = sum / weight;
        let sigma_s = (square / weight - mean * mean).max(0.0).sqrt().hypot(0.02e-3);
        Some((Onset { time_s: first_s + mean, sigma_s }, last))
    }

    /// Departures of the six channels from their courses.
    fn departures(&self, readings: &[Reading], last: usize, noise: (f64, f64)) -> Vec<Departure> {
        let trusted_s = TRUSTED_S.max(0.6 / self.bandwidth_hz);
        let base_s = readings[last].time_s;
        let interval_s = readings.get(last + 1).map_or(1e-3, |r| r.time_s - base_s);
        let until_s = base_s + trusted_s.max(2.1 * interval_s);
        (0..6)
            .filter_map(|channel| {
                let is_gyro = channel < 3;
                let course = Course::fit(readings, last, channel)?;
                let mut points = Vec::new();
                for reading in readings[last + 1..].iter().take_while(|r| r.time_s <= until_s) {
                    let bad = if is_gyro { reading.faults.gyro_clipped || reading.gyro_sigma_radps > 0.0 }
                        else { reading.accel_sigma_mps2 > 0.0 || reading.faults.accel_clipped };
                    if bad || reading.faults.gap {
                        break;
                    }
                    points.push((reading.time_s, value(reading, channel) - course.at(reading.time_s)));
                }
                (!points.is_empty()).then_some(Departure { is_gyro, noise: if is_gyro { noise.0 } else { noise.1 }, points })
            })
            .collect()
    }

    /// −2 log likelihood of a contact at `time_s` with a force of length `BLOWS_S[blow]`, the amounts at their best.
    fn score(&self, departures: &[Departure], time_s: f64, blow: usize) -> f64 {
        let mut score = -2.0 * BLOWS_S[blow].1.ln();
        let ringing = (self.bandwidth_hz / 300.0).min(1.0).powi(2);
        for departure in departures {
            let template = if departure.is_gyro { &self.gyro[blow] } else { &self.accel[blow] };
            let response = |t: f64| if departure.is_gyro { template.sum(t) } else { template.rate(t) };
            let size = departure.points.iter().map(|p| p.1.abs()).fold(0.0, f64::max);
            let sigma = |t: f64| {
                let since_ms = ((t - time_s) * 1e3).max(0.0);
                let part = 0.015 + 0.25 * since_ms * since_ms * ringing;
                departure.noise.hypot(part.min(1.0) * size)
            };
            let (mut hy, mut hh, mut yy, mut log) = (0.0, 0.0, 0.0, 0.0);
            for &(t, y) in &departure.points {
                let (h, s) = (response(t - time_s), sigma(t));
                hy += h * y / (s * s);
                hh += h * h / (s * s);
                yy += y * y / (s * s);
                log += 2.0 * s.ln();
            }
            // The amount has a broad normal prior: rad/s for a gyro, m/s for an accelerometer.
            let broad: f64 = if departure.is_gyro { 25.0 } else { 0.8 };
            let information = hh + 1.0 / (broad * broad);
            score += yy - hy * hy / information + information.ln() + log;
        }
        score
    }
}

fn value(reading: &Reading, channel: usize) -> f64 {
    if channel < 3 { reading.gyro_s_radps[channel] } else { reading.accel_s_mps2[channel - 3] }
}

/// The last reading on course before the blow seen at `seen`.
fn last_on_course(readings: &[Reading], seen: usize) -> Option<usize> {
    let interval_s = readings.get(seen)?.time_s - readings.get(seen.checked_sub(1)?)?.time_s;
    let lag = (0.001 / interval_s).round().clamp(1.0, 32.0) as usize;
    let mut last = seen.checked_sub(2 * lag + 1)?;
    while last < seen {
        let courses: Vec<Course> = (0..6).filter_map(|c| Course::fit(readings, last, c)).collect();
        if courses.len() < 6 {
            return None;
        }
        let next = &readings[last + 1];
        let step = (interval_s / 1e-3).max(1.0);
        let left = courses.iter().enumerate().any(|(c, course)| {
            let limit = if c < 3 { LEFT_RADPS } else { LEFT_MPS2 } * step * step;
            (value(next, c) - course.at(next.time_s)).abs() > limit
        });
        if left {
            break;
        }
        last += 1;
    }
    Some(last.min(seen - 1))
}

/// A cubic through a channel's last samples.
pub struct Course {
    base_s: f64,
    scale_s: f64,
    coefficients: Vector4<f64>,
}

impl Course {
    /// Of the readings up to and with `last`; `None` if there are too few good ones.
    pub fn fit(readings: &[Reading], last: usize, channel: usize) -> Option<Self> {
        let base_s = readings.get(last)?.time_s;
        let (mut normal, mut right) = (Matrix4::zeros(), Vector4::zeros());
        let mut count = 0;
        let scale_s = COURSE_S;
        for reading in readings[..=last].iter().rev() {
            if base_s - reading.time_s > COURSE_S && count >= COURSE_SAMPLES {
                break;
            }
            let x = (reading.time_s - base_s) / scale_s;
            let row = Vector4::new(1.0, x, x * x, x * x * x);
            normal += row * row.transpose();
            right += row * value(reading, channel);
            count += 1;
        }
        if count < COURSE_SAMPLES {
            return None;
        }
        let coefficients = normal.cholesky()?.solve(&right);
        Some(Self { base_s, scale_s, coefficients })
    }

    /// The course at a time, before or after.
    pub fn at(&self, time_s: f64) -> f64 {
        let x = (time_s - self.base_s) / self.scale_s;
        let c = &self.coefficients;
        c[0] + x * (c[1] + x * (c[2] + x * c[3]))
    }
}
