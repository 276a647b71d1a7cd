//! From samples to readings without holes: what was clipped, lost or not a number is bridged, and said to be.
//!
//! A bridge is the cubic that leaves and meets the good readings on either side with their slopes. It is a guess: how
//! much it may be wrong is taken from how much it bends (the cubic against the straight line), and goes into the noise
//! of the span that holds it. Readings that were bridged are never used to tell rest or contact.

use crate::engine::profile::SensorProfile;
use crate::engine::sample::Sample;
use nalgebra::Vector3;

/// One sample, every channel a number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// On the sensor's clock.
    pub time_s: f64,
    /// In S, uncorrected, rad/s.
    pub gyro_s_radps: Vector3<f64>,
    /// In S, uncorrected, m/s²; from the high-range accelerometer where that had to stand in.
    pub accel_s_mps2: Vector3<f64>,
    /// No smooth curve may be laid through it: at a gap's edge, bridged, or within a blow.
    pub rough: bool,
    /// What is wrong with it.
    pub faults: Faults,
    /// Put in where no sample was.
    pub inserted: bool,
    /// 1 σ of a bridged gyro reading, rad/s; 0 for a good one.
    pub gyro_sigma_radps: f64,
    /// 1 σ of an accelerometer reading that was bridged or that the high range stands in for, m/s²; 0 for a good one.
    pub accel_sigma_mps2: f64,
}

/// What is wrong with a sample.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Faults {
    /// A gyro axis is at the end of its range.
    pub gyro_clipped: bool,
    /// An accelerometer axis is at the end of its range.
    pub accel_clipped: bool,
    /// A channel is missing, or samples before this one are.
    pub gap: bool,
}

impl Faults {
    /// Whether there is any.
    pub fn any(self) -> bool {
        self.gyro_clipped || self.accel_clipped || self.gap
    }
}

/// The ends of the ranges, one 16-bit step inside.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    gyro_radps: f64,
    accel_mps2: f64,
    accel_hi_mps2: f64,
}

impl Limits {
    /// Of a sensor.
    pub fn new(sensor: &SensorProfile) -> Self {
        let inside = |range: f64| range * (1.0 - 1.0 / 32768.0) * (1.0 - 1e-9);
        Self {
            gyro_radps: inside(sensor.gyro_range_radps),
            accel_mps2: inside(sensor.accel_range_mps2),
            accel_hi_mps2: inside(sensor.accel_hi_range_mps2),
        }
    }

    /// A gyro reading of this size is clipped, rad/s.
    pub fn gyro_radps(&self) -> f64 {
        self.gyro_radps
    }

    /// An accelerometer reading of this size is clipped, m/s².
    pub fn accel_mps2(&self) -> f64 {
        self.accel_mps2
    }

    /// Whether an axis of the gyro is clipped.
    pub fn gyro_clipped(&self, gyro_s_radps: &Vector3<f64>) -> bool {
        gyro_s_radps.amax() >= self.gyro_radps
    }

    /// Whether an axis of the accelerometer is clipped.
    pub fn accel_clipped(&self, accel_s_mps2: &Vector3<f64>) -> bool {
        accel_s_mps2.amax() >= self.accel_mps2
    }
}

/// A channel of three axes of which some need bridging.
struct Channel<'a> {
    read: &'a dyn Fn(&Reading) -> Vector3<f64>,
    write: &'a dyn Fn(&mut Reading, usize, f64),
    sigma: &'a dyn Fn(&mut Reading, f64),
}

/// Time in which the slope of what is carried on beyond the last good reading fades to a quarter, s.
const FADE_S: f64 = 0.02;
/// 1 σ of a high-range accelerometer that stands in: constant, and a part of what it reads. Coarse parts; an assumption.
const HIGH_RANGE_MPS2: f64 = 0.8;
const HIGH_RANGE_PART: f64 = 0.008;
/// How a bridge over a clipped stretch may err, as a part of how far it rises above the straight line.
const BRIDGE_DOUBT: f64 = 0.7;

/// The longest gap that is bridged, s. Navigation begins anew after a longer one; among readings it is one long step.
pub const LONGEST_BRIDGE_S: f64 = 0.25;
/// The most readings that are put into a gap.
const MOST_INSERTED: f64 = 256.0;

/// Turns samples into readings and bridges what is missing. `interval_s` is the nominal step.
pub fn readings<'a>(
    samples: impl ExactSizeIterator<Item = &'a Sample>,
    limits: &Limits,
    interval_s: f64,
) -> Vec<Reading> {
    let mut out: Vec<Reading> = Vec::with_capacity(samples.len());
    let (mut bad_gyro, mut bad_accel) = (Vec::new(), Vec::new());
    for sample in samples {
        fill_gap(&mut out, sample.time.0, interval_s, &mut bad_gyro, &mut bad_accel);
        let (reading, gyro_bad, accel_bad) = reading(sample, limits);
        bad_gyro.extend((0..3).filter(|&axis| gyro_bad[axis]).map(|axis| (axis, out.len())));
        bad_accel.extend((0..3).filter(|&axis| accel_bad[axis]).map(|axis| (axis, out.len())));
        out.push(reading);
    }
    mark_edges(&mut out, interval_s);
    bridge(
        &mut out,
        bad_gyro,
        limits.gyro_radps,
        &Channel {
            read: &|r| r.gyro_s_radps,
            write: &|r, axis, value| r.gyro_s_radps[axis] = value,
            sigma: &|r, sigma| r.gyro_sigma_radps = r.gyro_sigma_radps.hypot(sigma),
        },
    );
    bridge(
        &mut out,
        bad_accel,
        limits.accel_mps2,
        &Channel {
            read: &|r| r.accel_s_mps2,
            write: &|r, axis, value| r.accel_s_mps2[axis] = value,
            sigma: &|r, sigma| r.accel_sigma_mps2 = r.accel_sigma_mps2.hypot(sigma),
        },
    );
    out
}

/// Puts empty readings where samples are missing before `next_s`.
fn fill_gap(
    out: &mut Vec<Reading>,
    next_s: f64,
    interval_s: f64,
    bad_gyro: &mut Vec<(usize, usize)>,
    bad_accel: &mut Vec<(usize, usize)>,
) {
    let Some(last) = out.last() else { return };
    let (last_s, gap_s) = (last.time_s, next_s - last.time_s);
    if gap_s <= 1.5 * interval_s || gap_s > LONGEST_BRIDGE_S {
        return;
    }
    let steps = (gap_s / interval_s).round().clamp(2.0, MOST_INSERTED);
    for k in 1..steps as usize {
        for axis in 0..3 {
            bad_gyro.push((axis, out.len()));
            bad_accel.push((axis, out.len()));
        }
        out.push(Reading {
            time_s: last_s + gap_s * k as f64 / steps,
            gyro_s_radps: Vector3::repeat(f64::NAN),
            accel_s_mps2: Vector3::repeat(f64::NAN),
            rough: true,
            faults: Faults { gap: true, ..Faults::default() },
            inserted: true,
            gyro_sigma_radps: 0.0,
            accel_sigma_mps2: 0.0,
        });
    }
}

/// Marks the readings on either side of an uneven step.
fn mark_edges(readings: &mut [Reading], interval_s: f64) {
    for i in 1..readings.len() {
        let step_s = readings[i].time_s - readings[i - 1].time_s;
        if step_s > 1.5 * interval_s {
            readings[i].faults.gap = true;
        }
        if (step_s - interval_s).abs() > 0.2 * interval_s {
            readings[i].rough = true;
            readings[i - 1].rough = true;
        }
    }
}

/// One reading, and which axes of it need bridging.
fn reading(sample: &Sample, limits: &Limits) -> (Reading, [bool; 3], [bool; 3]) {
    let gyro = sample.gyro_s_radps;
    let mut accel = sample.accel_s_mps2;
    let unusable = |v: &Vector3<f64>, limit: f64| [0, 1, 2].map(|axis| !v[axis].is_finite() || v[axis].abs() >= limit);
    let gyro_bad = unusable(&gyro, limits.gyro_radps);
    let mut accel_bad = unusable(&accel, limits.accel_mps2);
    let faults = Faults {
        gyro_clipped: limits.gyro_clipped(&gyro),
        accel_clipped: limits.accel_clipped(&accel),
        gap: !(gyro + accel).iter().all(|x| x.is_finite()),
    };
    let mut accel_sigma_mps2 = 0.0;
    if let Some(hi) = sample.accel_hi_s_mps2 {
        for axis in 0..3 {
            if accel_bad[axis] && hi[axis].is_finite() && hi[axis].abs() < limits.accel_hi_mps2 {
                accel[axis] = hi[axis];
                accel_bad[axis] = false;
                accel_sigma_mps2 = f64::max(accel_sigma_mps2, HIGH_RANGE_MPS2 + HIGH_RANGE_PART * hi[axis].abs());
            }
        }
    }
    let rough = gyro_bad.iter().chain(&accel_bad).any(|bad| *bad);
    let reading = Reading {
        time_s: sample.time.0,
        gyro_s_radps: gyro,
        accel_s_mps2: accel,
        rough,
        faults,
        inserted: false,
        gyro_sigma_radps: 0.0,
        accel_sigma_mps2,
    };
    (reading, gyro_bad, accel_bad)
}

/// Bridges the bad places of each axis.
fn bridge(readings: &mut [Reading], mut bad: Vec<(usize, usize)>, limit: f64, channel: &Channel) {
    bad.sort_unstable();
    let mut rest = bad.as_slice();
    while let Some(&(axis, first)) = rest.first() {
        let length = rest.iter().enumerate().take_while(|(k, place)| **place == (axis, first + k)).count();
        bridge_run(readings, axis, first, first + length, limit, channel);
        rest = &rest[length..];
    }
}

/// Bridges `first..end` of one axis.
fn bridge_run(readings: &mut [Reading], axis: usize, first: usize, end: usize, limit: f64, channel: &Channel) {
    let value = |i: usize| (channel.read)(&readings[i])[axis];
    let good = |i: usize| value(i).is_finite() && value(i).abs() < limit;
    let slope = |a: usize, b: usize| (value(b) - value(a)) / (readings[b].time_s - readings[a].time_s);
    let left = first.checked_sub(1).map(|i| (i, if i >= 1 && good(i - 1) { slope(i - 1, i) } else { 0.0 }));
    let right = (end < readings.len())
        .then(|| (end, if end + 1 < readings.len() && good(end + 1) { slope(end, end + 1) } else { 0.0 }));
    let clipped_at = value(first);
    let mut found = Vec::with_capacity(end - first);
    for i in first..end {
        let (cubic, line) = match (left, right) {
            (Some(l), Some(r)) => hermite(readings, l, r, i, &value),
            // Carried on, ever less steeply.
            (Some((l, slope)), None) => {
                let since_s = readings[i].time_s - readings[l].time_s;
                (value(l) + slope * since_s / (1.0 + since_s / FADE_S), value(l))
            }
            (None, Some((r, _))) => (value(r), value(r)),
            (None, None) => (0.0, 0.0),
        };
        // A clipped value is at least at the limit.
        let bounded =
            if clipped_at.is_finite() { clipped_at.signum() * (cubic * clipped_at.signum()).max(limit) } else { cubic };
        found.push((bounded, (bounded - line).abs()));
    }
    let rise = found.iter().map(|f| f.1).fold(0.0, f64::max);
    let doubt = match (left, right) {
        (Some(_), Some(_)) => BRIDGE_DOUBT * rise,
        (Some(_), None) => rise,
        _ => 0.1 * limit.min(1e3),
    };
    for (i, (bridged, _)) in (first..end).zip(found) {
        (channel.write)(&mut readings[i], axis, bridged);
        (channel.sigma)(&mut readings[i], doubt);
    }
}

/// The cubic and the straight line between two good readings, at the time of reading `i`.
fn hermite(
    readings: &[Reading],
    left: (usize, f64),
    right: (usize, f64),
    i: usize,
    value: &dyn Fn(usize) -> f64,
) -> (f64, f64) {
    let (t0, t1) = (readings[left.0].time_s, readings[right.0].time_s);
    let h = t1 - t0;
    let x = (readings[i].time_s - t0) / h;
    let (a, b) = (value(left.0), value(right.0));
    let line = a + (b - a) * x;
    let bump = x * (1.0 - x) * ((1.0 - x) * (left.1 * h - (b - a)) - x * (right.1 * h - (b - a)));
    (line + bump, line)
}

#[cfg(test)]
mod tests;
