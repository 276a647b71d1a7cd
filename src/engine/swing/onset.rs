//! The instant of a blow, to a fraction of a sample.
//!
//! Before the blow every channel follows a smooth course; after it, each leaves its course by an amount of its own times
//! the response of the sensor's chain to a short force. The response is known, the amounts are not: for each instant
//! and each length of the force they follow by least squares, and how well all channels then fit tells the instant.

use super::delay::{Chain, Template};
use crate::engine::motion::conditioning::{Limits, Reading};
use nalgebra::{Matrix4, Vector4};

/// Instant of a blow.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Onset {
    /// On the sensor's clock: the true instant, the chain's delay taken out.
    pub time_s: f64,
    /// 1 σ, s.
    pub sigma_s: f64,
}

/// Lengths of the force that are tried, s, with their weights: 1.05 ± 0.25 ms.
const BLOWS_S: [(f64, f64); 4] = [(0.75e-3, 0.5), (0.95e-3, 1.0), (1.15e-3, 1.0), (1.4e-3, 0.5)];
/// Step of the instants tried, s, for the finest stream; never more than [`MOST_STEPS`] of them.
const STEP_S: f64 = 1.5e-5;
const MOST_STEPS: f64 = 120.0;
/// A channel has left its course when it is off by this: rad/s and m/s².
const LEFT_RADPS: f64 = 0.10;
const LEFT_MPS2: f64 = 3.0;
/// At steps longer than a millisecond a course may be off by this power of the step's length more.
const COARSENESS: f64 = 1.8;
/// 1 σ of the instant for each second by which the step is longer than a millisecond: which sample was the last on
/// course is then often in doubt. Judged on simulated swings at 104 and 208 Hz.
const COARSE_SIGMA: f64 = 0.8;
/// Course: this much before the blow, at the least [`COURSE_SAMPLES`].
const COURSE_S: f64 = 0.012;
const COURSE_SAMPLES: usize = 4;
/// The response is only trusted for this long after contact, s; more where the low-pass is slow.
const TRUSTED_S: f64 = 1.6e-3;
/// 1 σ of what a blow does to each channel, rigid, first and second mode: rad/s for a gyro, m/s for an accelerometer.
const GYRO_SIZES: [f64; 3] = [20.0, 7.0, 3.0];
const ACCEL_SIZES: [f64; 3] = [1.5, 0.7, 0.4];
/// How far a channel may be off its template, as a part of what it shows.
const MODEL_ERROR: f64 = 0.1;
/// How far beyond its range a clipped channel is taken to be, and the doubt of that, as a part of the range.
const BEYOND: f64 = 0.6;
/// Most points of a channel.
const MOST_POINTS: usize = 8;

/// The templates of one sensor.
#[derive(Clone, Debug)]
pub struct OnsetFinder {
    templates: Vec<(Template, f64)>,
    bandwidth_hz: f64,
}

/// A channel's departures from its course, the last sample on course first.
struct Departure {
    is_gyro: bool,
    points: Vec<Point>,
}

/// A departure, its time and the noise in it.
#[derive(Clone, Copy, Debug)]
struct Point {
    time_s: f64,
    departure: f64,
    noise: f64,
}

impl OnsetFinder {
    /// For one sensor's chain.
    pub fn new(chain: &Chain) -> Self {
        let templates = BLOWS_S
            .iter()
            .flat_map(|(blow_s, weight)| Template::all(*blow_s, chain).into_iter().map(move |t| (t, *weight)))
            .collect();
        Self { templates, bandwidth_hz: chain.gyro_bandwidth_hz.unwrap_or(1e3).min(1e3) }
    }

    /// The blow that was seen at `seen`, and the last reading before it. `None` if no course can be told before it.
    pub fn find(
        &self,
        readings: &[Reading],
        seen: usize,
        noise: (f64, f64),
        limits: &Limits,
    ) -> Option<(Onset, usize)> {
        let last = last_on_course(readings, seen)?;
        let first_s = readings[last].time_s;
        let step_s = readings.get(last + 1)?.time_s - first_s;
        let departures = departures(readings, last, noise, limits, TRUSTED_S.max(0.5 / self.bandwidth_hz));
        let early_s = 0.4 * step_s;
        let count = ((step_s + early_s) / STEP_S).clamp(4.0, MOST_STEPS) as usize;
        let instants = (0..=count).map(|k| (step_s + early_s) * k as f64 / count as f64 - early_s);
        let scores: Vec<(f64, f64)> = instants
            .flat_map(|x| self.templates.iter().map(move |(template, weight)| (x, template, weight)))
            .map(|(x, template, weight)| (x, score(&departures, first_s + x, template) - 2.0 * weight.ln()))
            .collect();
        let best = scores.iter().map(|s| s.1).fold(f64::INFINITY, f64::min);
        let (mut weight, mut sum, mut square) = (0.0, 0.0, 0.0);
        for (x, score) in scores {
            let w = (-0.5 * (score - best)).exp();
            (weight, sum, square) = (weight + w, sum + w * x, square + w * x * x);
        }
        let mean = sum / weight;
        let sigma_s = (square / weight - mean * mean)
            .max(0.0)
            .sqrt()
            .hypot(LEAST_SIGMA_S)
            .hypot(COARSE_SIGMA * (step_s - 1.2e-3).max(0.0));
        mean.is_finite().then_some((Onset { time_s: first_s + mean, sigma_s }, last))
    }
}

/// What the templates leave of error at the best, s.
const LEAST_SIGMA_S: f64 = 7e-5;

/// Departures of the six channels from their courses.
fn departures(readings: &[Reading], last: usize, noise: (f64, f64), limits: &Limits, trusted_s: f64) -> Vec<Departure> {
    let base_s = readings[last].time_s;
    let interval_s = readings.get(last + 1).map_or(1e-3, |r| r.time_s - base_s);
    let until_s = base_s + trusted_s.max(2.1 * interval_s);
    let is_good = |r: &Reading, is_gyro: bool| {
        let sigma = if is_gyro { r.gyro_sigma_radps } else { r.accel_sigma_mps2 };
        let clipped = if is_gyro { r.faults.gyro_clipped } else { r.faults.accel_clipped };
        sigma == 0.0 && !clipped && !r.faults.gap
    };
    (0..6)
        .filter_map(|channel| {
            let is_gyro = channel < 3;
            let course = Course::fit(readings, last, channel)?;
            let noise = if is_gyro { noise.0 } else { noise.1 };
            let point = |r: &Reading, value: f64, noise: f64| Point {
                time_s: r.time_s,
                departure: value - course.at(r.time_s),
                noise,
            };
            let mut points: Vec<Point> = readings[last..]
                .iter()
                .take_while(|r| r.time_s <= until_s && is_good(r, is_gyro))
                .take(MOST_POINTS - 1)
                .map(|r| point(r, value(r, channel), noise))
                .collect();
            // The first clipped reading still tells that the channel went beyond its range.
            if let Some(r) = readings.get(last + points.len()).filter(|r| r.time_s <= until_s && !r.inserted) {
                let limit = if is_gyro { limits.gyro_radps() } else { limits.accel_mps2() };
                let bridged = value(r, channel);
                if bridged.abs() >= limit {
                    let beyond = bridged.signum() * (1.0 + BEYOND) * limit;
                    points.push(point(r, beyond, BEYOND * limit));
                }
            }
            (points.len() > 1).then_some(Departure { is_gyro, points })
        })
        .collect()
}

/// −2 log likelihood of a contact at `time_s`: every channel a sum of the three responses with unknown, normal sizes.
fn score(departures: &[Departure], time_s: f64, template: &Template) -> f64 {
    departures.iter().map(|departure| channel_score(departure, time_s, template)).sum()
}

fn channel_score(departure: &Departure, time_s: f64, template: &Template) -> f64 {
    let sizes = if departure.is_gyro { GYRO_SIZES } else { ACCEL_SIZES };
    let n = departure.points.len();
    let mut responses = [[0.0; 3]; MOST_POINTS];
    for (response, point) in responses.iter_mut().zip(&departure.points) {
        *response = template.at(departure.is_gyro, point.time_s - time_s);
        for (value, size) in response.iter_mut().zip(sizes) {
            *value *= size;
        }
    }
    // Cholesky of the covariance, row by row, with the whitened departure solved along the way.
    let mut lower = [[0.0; MOST_POINTS]; MOST_POINTS];
    let mut white = [0.0; MOST_POINTS];
    let mut score = 0.0;
    for i in 0..n {
        for j in 0..=i {
            let mut sum: f64 = responses[i].iter().zip(&responses[j]).map(|(a, b)| a * b).sum();
            if i == j {
                // Before the blow a course errs by noise alone; after it the template errs, too.
                let own = MODEL_ERROR * departure.points[i].departure;
                let noise = departure.points[i].noise;
                sum += noise * noise + if i == 0 { 0.0 } else { own * own };
            }
            sum -= lower[i][..j].iter().zip(&lower[j][..j]).map(|(a, b)| a * b).sum::<f64>();
            lower[i][j] = if i == j { sum.max(1e-18).sqrt() } else { sum / lower[j][j] };
        }
        let known: f64 = lower[i][..i].iter().zip(&white[..i]).map(|(a, b)| a * b).sum();
        white[i] = (departure.points[i].departure - known) / lower[i][i];
        score += white[i] * white[i] + 2.0 * lower[i][i].ln();
    }
    score
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
            let limit = if c < 3 { LEFT_RADPS } else { LEFT_MPS2 } * step.powf(COARSENESS);
            (value(next, c) - course.at(next.time_s)).abs() > limit
        });
        if left {
            break;
        }
        last += 1;
    }
    Some(last.min(seen - 1))
}

/// Part of what the cubic term adds that a course carried on may be wrong by.
const CARRIED_ON: f64 = 2.0;

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

    /// How wrong the course may be after its end: what its cubic part makes of it.
    pub fn doubt(&self, time_s: f64) -> f64 {
        let x = (time_s - self.base_s) / self.scale_s;
        CARRIED_ON * (self.coefficients[3] * x * x * x).abs()
    }

    /// The course at a time, before or after.
    pub fn at(&self, time_s: f64) -> f64 {
        let x = (time_s - self.base_s) / self.scale_s;
        let c = &self.coefficients;
        c[0] + x * (c[1] + x * (c[2] + x * c[3]))
    }
}

#[cfg(test)]
mod tests;
