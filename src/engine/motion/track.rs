//! The motion of a whole recording, whatever it is: forward filter, backward smoother, one row a sample.

use super::conditioning::{Limits, Reading, readings};
use super::navigator::{Navigator, Options};
use super::rest::EndedRest;
use super::span::integrate;
use super::state::NavState;
use crate::engine::geometry::Attitude;
use crate::engine::profile::{Calibration, Profile};
use crate::engine::sample::Sample;
use nalgebra::Vector3;

/// Motion at one sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrackRow {
    /// On the sensor's clock.
    pub time_s: f64,
    /// q_WS; the heading starts at an arbitrary zero.
    pub attitude: Attitude,
    /// Velocity of the IMU in W, m/s.
    pub velocity_w_mps: Vector3<f64>,
    /// Whether the sensor was judged to move.
    pub moving: bool,
}

/// Who holds the sensor moves it about one place: 1 σ a direction, m.
///
/// The first is for what is learnt of the sensor, the second for the motion itself. A hand's place is not independent from
/// one half second to the next nor from the sensor's attitude, and the filter takes it to be; the looser value keeps that
/// from being taken for an error of the sensor. These two and [`ROUGHNESS`] were chosen on eight trials of the BROAD data
/// set (Laidig et al., *Data* 6(7):72, 2021).
const REACH_TO_LEARN_M: f64 = 1.0;
const REACH_M: f64 = 0.3;
/// In motion a real sensor errs by more than its white noise (nonlinearity, timing, vibration): gyro and accelerometer.
const ROUGHNESS: (f64, f64) = (11.0, 5.5);
/// A rest is told this much shorter at either end than it was found, s: its ends are where motion is slowest.
const LABEL_TRIM_S: f64 = 0.04;
/// Nodes within a rest stand this far apart, s: where motion may be slow, a short stillness is not yet a rest.
const REST_NODE_S: (f64, f64) = (0.2, 0.25);
/// Nodes within a motion stand this far apart, s: each says that the sensor is within reach.
const MOTION_NODE_S: f64 = 0.5;
/// What the second pass still may learn: a part of the first one's variance.
const STILL_LEARNING: f64 = 0.01;

/// The motion at every sample. `interval_s` is the nominal step.
pub fn track(samples: &[Sample], profile: &Profile, interval_s: f64) -> Vec<TrackRow> {
    let calibrated = calibrated(samples, profile, interval_s);
    let (navigator, rests) = navigate(samples, &calibrated, interval_s, REACH_M);
    let Some(filter) = navigator.filter() else { return Vec::new() };
    let nodes: Vec<(f64, NavState)> = navigator.mark_times_s().iter().copied().zip(filter.smoothed_marks()).collect();
    let list = readings(samples.iter(), &Limits::new(&profile.sensor), interval_s);
    let mut rows = Vec::with_capacity(list.len());
    rows_before(&list, &nodes, &mut rows);
    for pair in nodes.windows(2) {
        rows_between(&list, &pair[0], &pair[1], &mut rows);
    }
    if let Some((_, last)) = nodes.last() {
        rows.push((list.len() - 1, last.attitude, last.velocity_w_mps));
    }
    label(&list, rows, &rests)
}

/// The profile with what a first pass over the recording teaches of the sensor.
fn calibrated(samples: &[Sample], profile: &Profile, interval_s: f64) -> Profile {
    let (learnt, _) = navigate(samples, profile, interval_s, REACH_TO_LEARN_M);
    let calibration = learnt
        .calibration()
        .map(|calibration| Calibration { mean: calibration.mean, covariance: calibration.covariance * STILL_LEARNING });
    Profile { calibration, ..profile.clone() }
}

/// The filter over the whole recording, and the rests.
fn navigate(samples: &[Sample], profile: &Profile, interval_s: f64, reach_m: f64) -> (Navigator, Vec<(f64, f64)>) {
    let options = Options {
        reach_m: Some(reach_m),
        mark_all: true,
        rest_node_s: REST_NODE_S,
        motion_node_s: MOTION_NODE_S,
        roughness: ROUGHNESS,
    };
    let mut navigator = Navigator::new(profile.clone(), interval_s, options);
    let mut rests = Vec::new();
    for sample in samples {
        if let Some(EndedRest { from_s, to_s }) = navigator.push(*sample) {
            rests.push((from_s, to_s));
        }
    }
    rests.extend(navigator.resting_since_s().map(|since_s| (since_s, f64::INFINITY)));
    navigator.finish();
    (navigator, rests)
}

type Row = (usize, Attitude, Vector3<f64>);

/// Place of the last reading at or before `time_s`.
fn place(list: &[Reading], time_s: f64) -> usize {
    list.partition_point(|r| r.time_s <= time_s + 1e-9).saturating_sub(1)
}

/// Rows from one node up to the next, led from the state at the first to the state at the second.
fn rows_between(list: &[Reading], from: &(f64, NavState), to: &(f64, NavState), rows: &mut Vec<Row>) {
    let (first, last) = (place(list, from.0), place(list, to.0));
    if last <= first {
        return;
    }
    let steps = integrate(list, first, last, &from.1);
    let Some(end) = steps.last() else { return };
    let miss_rad = to.1.attitude.rotation_vector_w_from(end.attitude);
    let miss_mps = to.1.velocity_w_mps - end.velocity_w_mps;
    let duration_s = to.0 - from.0;
    for (k, step) in steps.iter().enumerate().take(last - first) {
        let part = (list[first + k].time_s - from.0) / duration_s;
        rows.push((first + k, step.attitude.turned_in_world(miss_rad * part), step.velocity_w_mps + miss_mps * part));
    }
}

/// Rows before the first node, by integration backward in time from it.
fn rows_before(list: &[Reading], nodes: &[(f64, NavState)], rows: &mut Vec<Row>) {
    let Some((time_s, state)) = nodes.first() else { return };
    let first = place(list, *time_s);
    let mirrored: Vec<Reading> = list[..=first].iter().rev().map(|r| Reading { time_s: -r.time_s, ..*r }).collect();
    let steps = integrate(&mirrored, 0, first, state);
    rows.extend(steps.iter().enumerate().skip(1).map(|(k, step)| (first - k, step.attitude, step.velocity_w_mps)));
    rows.reverse();
}

fn label(list: &[Reading], rows: Vec<Row>, rests: &[(f64, f64)]) -> Vec<TrackRow> {
    let resting = |time_s: f64| {
        let next = rests.partition_point(|rest| rest.0 <= time_s);
        next > 0 && time_s >= rests[next - 1].0 + LABEL_TRIM_S && time_s <= rests[next - 1].1 - LABEL_TRIM_S
    };
    rows.into_iter()
        .filter(|(i, ..)| !list[*i].inserted)
        .map(|(i, attitude, velocity_w_mps)| TrackRow {
            time_s: list[i].time_s,
            attitude: attitude.renormalised(),
            velocity_w_mps,
            moving: !resting(list[i].time_s),
        })
        .collect()
}
