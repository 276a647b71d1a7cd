//! The filter fed with a stream: where nodes are set, when a rest begins and ends.
//!
//! Samples go in; they are kept from the last node on. Nodes follow the present at a short distance, so that a rest is
//! only used once it is sure to be one, and a motion is not integrated past the beginning of a rest.

use super::conditioning::{LONGEST_BRIDGE_S, Limits, Reading, readings};
use super::filter::{Drift, Filter, Sway};
use super::level::start;
use super::rest::{EndedRest, RestDetector};
use super::roll::{Roll, RollWatch};
use super::state::{Correction, PARAMETERS};
use crate::engine::profile::{CALIBRATION_SIZE, Calibration, Profile};
use crate::engine::sample::Sample;
use nalgebra::{Matrix3, Vector3};
use std::collections::VecDeque;

/// Samples after a node that shape the last steps before it.
const LOOK_AHEAD: usize = 2;
/// Nodes within a rest stand this far apart, s: the first ones, as short pauses count, and at the most;
const REST_NODE_S: (f64, f64) = (0.1, 0.8);
/// between, by this part of how long the rest has gone on.
const REST_NODE_GROWTH: f64 = 0.3;
/// The last node of a rest stands this long before its end shows, s.
const REST_END_S: f64 = 0.12;
/// Nodes within a motion stand this far apart, s.
const MOTION_NODE_S: f64 = 1.0;
/// A node of a rest is set only when the rest has gone on for this long after it, s.
const REST_MARGIN_S: f64 = 0.06;
/// A rest that has gone on for this long is one, whatever the velocity was thought to be, s.
const SURE_REST_S: f64 = 0.5;
/// Nodes are held back for a swing no longer than this, s: what turns for longer is none, and samples would pile up.
const LONGEST_HOLD_S: f64 = 3.0;
/// No more samples than this are kept from one node to the next.
const MOST_SAMPLES: usize = 1 << 16;
/// What is cut off the first window of a rest, s: the motion before may reach into it.
const REST_TRIM_S: f64 = 0.03;
/// A stream that does not begin with a rest is levelled from this much of it, s.
const LEVEL_S: f64 = 0.6;
/// What is moved within reach is moved about a place that is this far from where it rested, 1 σ a direction, m.
const CENTRE_M: f64 = 0.6;
/// A sensor that is moved about for long keeps below this speed on average, m/s: walking pace and swings of the arm.
const MOVING_SPEED_MPS: f64 = 3.0;

/// What the caller may choose.
#[derive(Clone, Copy, Debug)]
pub struct Options {
    /// How far the sensor goes from where it rested, 1 σ a direction, m; `None`: anywhere.
    pub reach_m: Option<f64>,
    /// Mark every node, for a motion of the whole recording.
    pub mark_all: bool,
    /// Nodes within a rest stand this far apart, s: the first ones, and at the most.
    pub rest_node_s: (f64, f64),
    /// Nodes within a motion stand this far apart, s.
    pub motion_node_s: f64,
    /// The sensor's noise densities, gyro's and accelerometer's, are taken this many times as large.
    pub roughness: (f64, f64),
}

impl Default for Options {
    fn default() -> Self {
        Self {
            reach_m: None,
            mark_all: false,
            rest_node_s: REST_NODE_S,
            motion_node_s: MOTION_NODE_S,
            roughness: (1.0, 1.0),
        }
    }
}

/// The filter fed with a stream.
#[derive(Clone, Debug)]
pub struct Navigator {
    profile: Profile,
    limits: Limits,
    interval_s: f64,
    options: Options,
    detector: RestDetector,
    samples: VecDeque<Sample>,
    /// The filter's node is at this place of `samples`; one sample is kept before it.
    node: usize,
    filter: Option<Filter>,
    /// The rest that now goes on.
    rest: Option<RestSoFar>,
    had_rest: bool,
    /// No nodes at or after this time.
    hold_s: f64,
    motion_nodes: u32,
    mark_times_s: Vec<f64>,
    r_bs: Matrix3<f64>,
    rolls: RollWatch,
    ended_rolls: Vec<Roll>,
    /// A long gap has been: the filter's state is not the present one.
    is_lost: bool,
    given_up: Option<Filter>,
}

#[derive(Clone, Copy, Debug)]
struct RestSoFar {
    began_s: f64,
    gyro_square_sum: f64,
    count: f64,
}

impl Navigator {
    /// For samples `interval_s` apart.
    pub fn new(profile: Profile, interval_s: f64, options: Options) -> Self {
        Self {
            limits: Limits::new(&profile.sensor),
            r_bs: profile.mount.q_bs.to_rotation_matrix().into_inner(),
            detector: RestDetector::new(interval_s),
            profile,
            interval_s,
            options,
            samples: VecDeque::new(),
            node: 0,
            filter: None,
            rest: None,
            had_rest: false,
            hold_s: f64::INFINITY,
            motion_nodes: 0,
            mark_times_s: Vec::new(),
            rolls: RollWatch::default(),
            ended_rolls: Vec::new(),
            is_lost: false,
            given_up: None,
        }
    }

    /// The nominal step, s.
    pub fn interval_s(&self) -> f64 {
        self.interval_s
    }

    /// The ends of the sensor's ranges.
    pub fn limits(&self) -> &Limits {
        &self.limits
    }

    /// The filter, once it has begun.
    pub fn filter(&self) -> Option<&Filter> {
        self.filter.as_ref()
    }

    /// The filter, once it has begun.
    pub fn filter_mut(&mut self) -> Option<&mut Filter> {
        self.filter.as_mut()
    }

    /// Whether there has been a rest to start from.
    pub fn had_rest(&self) -> bool {
        self.had_rest
    }

    /// When the rest that now goes on began, s.
    pub fn resting_since_s(&self) -> Option<f64> {
        self.rest.map(|rest| rest.began_s)
    }

    /// Sets no node at or after `time_s` until told otherwise.
    pub fn hold_from(&mut self, time_s: f64) {
        self.hold_s = time_s;
    }

    /// Nodes may follow the present again.
    pub fn release(&mut self) {
        self.hold_s = f64::INFINITY;
    }

    /// Up, unit, in nominal B, by the estimate at the last node.
    pub fn up_b(&self) -> Vector3<f64> {
        let up_s = self.filter.as_ref().map_or(Vector3::z(), |f| f.state().attitude.to_sensor(Vector3::z()));
        self.r_bs * up_s
    }

    /// The rolls that have been used since this was asked last.
    pub fn take_rolls(&mut self) -> Vec<Roll> {
        std::mem::take(&mut self.ended_rolls)
    }

    /// What has been learnt of the sensor.
    pub fn calibration(&self) -> Option<Calibration> {
        let filter = self.filter.as_ref()?;
        Some(Calibration {
            mean: filter.state().parameters,
            covariance: filter
                .covariance()
                .fixed_view::<CALIBRATION_SIZE, CALIBRATION_SIZE>(PARAMETERS, PARAMETERS)
                .into_owned(),
        })
    }

    /// Takes the next sample; the rest that it shows to be over, if any.
    pub fn push(&mut self, sample: Sample) -> Option<EndedRest> {
        let last_s = self.samples.back().map_or(sample.time.0, |last| last.time.0);
        let step_s = sample.time.0 - last_s;
        let ended = if step_s > LONGEST_BRIDGE_S { self.lose_track(last_s) } else { None };
        let contiguous = step_s < 2.5 * self.interval_s + 0.02;
        let usable = sample.is_whole()
            && contiguous
            && !self.limits.gyro_clipped(&sample.gyro_s_radps)
            && !self.limits.accel_clipped(&sample.accel_s_mps2);
        self.samples.push_back(sample);
        if sample.time.0 - self.hold_s > LONGEST_HOLD_S {
            self.release();
        }
        let still = self.detector.push(sample.gyro_s_radps, sample.accel_s_mps2, usable);
        if self.samples.len() > MOST_SAMPLES {
            self.advance_to(self.samples.len() - 1);
        }
        let now_s = sample.time.0;
        let seen = self.look(still, now_s, last_s);
        ended.or(seen)
    }

    /// Sets nodes and tells rests after a sample that was or was not the end of a still window.
    fn look(&mut self, still: bool, now_s: f64, last_s: f64) -> Option<EndedRest> {
        match (still, self.rest) {
            (true, None) => {
                self.start_rest(now_s);
                None
            }
            (false, Some(rest)) => {
                self.last_rest_node(now_s - REST_END_S);
                self.rest = None;
                self.motion_nodes = 0;
                let to_s = last_s.min(now_s - REST_MARGIN_S);
                (to_s > rest.began_s).then_some(EndedRest { from_s: rest.began_s, to_s })
            }
            (true, Some(_)) => {
                self.rest_node(now_s);
                None
            }
            (false, None) => {
                self.motion_node(now_s);
                None
            }
        }
    }

    /// A gap too long to be bridged: what the sensor did in it is unknown. The parameters stay, navigation begins anew.
    fn lose_track(&mut self, last_s: f64) -> Option<EndedRest> {
        if !self.is_waiting() && !self.samples.is_empty() {
            self.advance_to(self.samples.len() - 1);
            self.mark_if_wanted();
        }
        self.samples.clear();
        self.node = 0;
        self.is_lost = true;
        self.had_rest = false;
        self.motion_nodes = 0;
        self.release();
        let rest = self.rest.take()?;
        (last_s > rest.began_s).then_some(EndedRest { from_s: rest.began_s, to_s: last_s })
    }

    /// Whether there is no state to carry on: before the first node, and after a long gap.
    fn is_waiting(&self) -> bool {
        self.filter.is_none() || self.is_lost
    }

    fn start_rest(&mut self, now_s: f64) {
        let began_s = now_s - (self.detector.length() as f64 * self.interval_s - REST_TRIM_S);
        if began_s >= self.hold_s {
            return;
        }
        let at = self.place_of(began_s);
        if self.is_waiting() {
            self.begin(at, true);
        }
        self.advance_to(at.max(self.node));
        if let Some(filter) = &mut self.filter {
            filter.begin_rest();
        }
        self.had_rest = true;
        self.rest = Some(RestSoFar { began_s, gyro_square_sum: 0.0, count: 0.0 });
    }

    fn rest_node(&mut self, now_s: f64) {
        let node_s = self.node_time_s();
        let rested_s = self.rest.map_or(0.0, |rest| node_s - rest.began_s);
        let next_s =
            node_s + (REST_NODE_GROWTH * rested_s).clamp(self.options.rest_node_s.0, self.options.rest_node_s.1);
        if now_s < next_s + REST_MARGIN_S || next_s >= self.hold_s {
            return;
        }
        self.still_at(next_s);
    }

    /// A node within a rest. One that is too short to be sure of is only believed if the velocity allows it.
    fn still_at(&mut self, time_s: f64) {
        let to = self.place_of(time_s);
        let sway = self.sway(to);
        self.advance_to(to);
        let is_sure = self.rest.is_some_and(|rest| self.node_time_s() - rest.began_s > SURE_REST_S);
        if let Some(filter) = &mut self.filter
            && (is_sure || filter.may_be_still(&sway))
        {
            filter.still(&sway);
        }
        self.mark_if_wanted();
    }

    /// A rest has ended: what was surely still part of it.
    fn last_rest_node(&mut self, until_s: f64) {
        if until_s < self.node_time_s() + self.options.rest_node_s.0 || until_s >= self.hold_s {
            return;
        }
        self.still_at(until_s);
    }

    fn motion_node(&mut self, now_s: f64) {
        let lag_s = self.detector.length() as f64 * self.interval_s + REST_MARGIN_S;
        if self.is_waiting() {
            let first_s = self.samples.front().map_or(now_s, |s| s.time.0);
            if now_s - first_s > LEVEL_S + lag_s {
                self.begin(0, false);
            }
            return;
        }
        let next_s = self.node_time_s() + self.options.motion_node_s;
        if now_s < next_s + lag_s || next_s >= self.hold_s {
            return;
        }
        self.advance_to(self.place_of(next_s));
        self.motion_nodes += 1;
        let reach_m = self.options.reach_m;
        if let (Some(_), 1, Some(filter)) = (reach_m, self.motion_nodes, &mut self.filter) {
            filter.move_off(CENTRE_M);
        }
        if (reach_m.is_some() || self.motion_nodes.is_multiple_of(2))
            && let Some(filter) = &mut self.filter
        {
            filter.within_reach(reach_m, MOVING_SPEED_MPS);
        }
        self.mark_if_wanted();
    }

    /// Carries the filter to the last sample at or before `time_s`, if it is not there already, without a look at what
    /// came after. Returns the time of the node.
    pub fn advance_to_contact(&mut self, time_s: f64) -> f64 {
        if self.is_waiting() {
            self.begin(0, false);
        }
        self.advance(self.place_of(time_s).max(self.node), 0);
        self.node_time_s()
    }

    /// Time of the last sample.
    pub fn now_s(&self) -> f64 {
        self.samples.back().map_or(f64::NEG_INFINITY, |s| s.time.0)
    }

    /// Time of the filter's node.
    pub fn node_time_s(&self) -> f64 {
        self.samples.get(self.node).map_or(f64::NEG_INFINITY, |s| s.time.0)
    }

    /// The stream has ended: the last node is set at its end.
    pub fn finish(&mut self) {
        if self.samples.is_empty() {
            return;
        }
        if self.is_waiting() {
            self.begin(0, false);
        }
        let last = self.samples.len() - 1;
        self.advance_to(last);
        self.mark_if_wanted();
    }

    /// A filter that impossible samples have carried beyond all bounds is given up; the next rest begins a new one.
    fn give_up_if_lost(&mut self) {
        if self.filter.as_ref().is_some_and(|filter| !filter.is_finite()) {
            self.given_up = self.filter.take();
            self.mark_times_s.clear();
            self.rest = None;
            self.had_rest = false;
        }
    }

    fn mark_if_wanted(&mut self) {
        if self.options.mark_all
            && let Some(filter) = &mut self.filter
        {
            filter.mark();
            self.mark_times_s.push(self.samples.get(self.node).map_or(f64::NAN, |s| s.time.0));
        }
    }

    /// Times of the nodes that were marked because all are.
    pub fn mark_times_s(&self) -> &[f64] {
        &self.mark_times_s
    }

    /// The last sample at or before `time_s`, not before the node.
    fn place_of(&self, time_s: f64) -> usize {
        let after = self.samples.partition_point(|s| s.time.0 <= time_s + 1e-9);
        after.saturating_sub(1).max(self.node)
    }

    /// Starts the filter at a sample, levelled by the specific force about it.
    fn begin(&mut self, at: usize, resting: bool) {
        let span = if resting { self.detector.length() } else { (LEVEL_S / self.interval_s) as usize };
        let (state, covariance) = start(&self.profile, self.samples.iter().skip(at).take(span.max(1)), resting);
        let (gyro, accel) = self.options.roughness;
        let drift = Drift::new(&self.profile.sensor).rougher(gyro, accel);
        match (&mut self.filter, self.given_up.take()) {
            (Some(filter), _) => filter.restart(state.attitude, &covariance),
            (none, Some(lost)) => *none = Some(Filter::new(state, covariance, drift).after(&lost)),
            (none, None) => *none = Some(Filter::new(state, covariance, drift)),
        }
        self.is_lost = false;
        self.node = at;
        self.mark_if_wanted();
    }

    /// Readings from one sample before `from` to `ahead` after `to`, and the place of `from` among them.
    fn readings_for(&self, from: usize, to: usize, ahead: usize) -> (Vec<Reading>, usize) {
        let first = from.saturating_sub(1);
        let end = (to + 1 + ahead).min(self.samples.len());
        let list = readings(self.samples.range(first..end), &self.limits, self.interval_s);
        let at = if from > first { list.iter().skip(1).position(|r| !r.inserted).map_or(0, |p| p + 1) } else { 0 };
        (list, at)
    }

    /// How many readings after `from` lead to the sample `to`.
    fn count_of(&self, list: &[Reading], from: usize, to: usize) -> usize {
        let time_s = self.samples[to].time.0;
        list.iter().skip(from).position(|r| !r.inserted && r.time_s >= time_s).unwrap_or(0)
    }

    fn advance_to(&mut self, to: usize) {
        self.advance(to, LOOK_AHEAD);
    }

    fn advance(&mut self, to: usize, ahead: usize) {
        if to <= self.node {
            return;
        }
        let (list, from) = self.readings_for(self.node, to, ahead);
        let count = self.count_of(&list, from, to);
        let rolls = self.rolls_in(&list[from..=from + count]);
        if let Some(filter) = &mut self.filter {
            filter.advance(&list, from, from + count);
        }
        self.give_up_if_lost();
        for roll in rolls {
            if let Some(filter) = &mut self.filter {
                filter.rolled(&roll, &self.r_bs);
            }
            self.ended_rolls.push(roll);
        }
        self.samples.drain(..to - 1);
        self.node = 1;
    }

    /// The rolls about the bat's axis that ended in a stretch.
    fn rolls_in(&mut self, list: &[Reading]) -> Vec<Roll> {
        let Some(filter) = &self.filter else { return Vec::new() };
        if self.rest.is_some() && self.rolls.is_idle() {
            return Vec::new();
        }
        let correction = Correction::new(&filter.state().parameters);
        let r_bs = self.r_bs;
        let rolls = &mut self.rolls;
        list.windows(2)
            .filter_map(|pair| {
                let (before, now) = (&pair[0], &pair[1]);
                let force_s = correction.force_s_mps2(now.accel_s_mps2);
                let omega_b = r_bs * correction.omega_s_radps(now.gyro_s_radps, force_s);
                rolls.push(now.time_s, now.time_s - before.time_s, omega_b, now.gyro_s_radps, force_s)
            })
            .collect()
    }

    /// How much the pose sways in the rest so far, judged by the angular rate.
    fn sway(&mut self, to: usize) -> Sway {
        let bias: Vector3<f64> =
            self.filter.as_ref().map_or(Vector3::zeros(), |f| f.state().parameters.fixed_rows::<3>(0).into_owned());
        let mut rest = self.rest.unwrap_or(RestSoFar { began_s: 0.0, gyro_square_sum: 0.0, count: 0.0 });
        for sample in self.samples.range(self.node..to) {
            rest.gyro_square_sum += (sample.gyro_s_radps - bias).norm_squared();
            rest.count += 1.0;
        }
        self.rest = Some(rest);
        let rate_radps = (rest.gyro_square_sum / rest.count.max(1.0)).sqrt();
        Sway::of_rate(rate_radps)
    }
}

#[cfg(test)]
mod tests;
