//! The estimate at chosen instants ("nodes"): an error-state Kalman filter forward, a smoother backward.
//!
//! Between nodes the strapdown integral of the samples carries the state and its sensitivities carry the covariance
//! ([`span`](super::span)); at nodes within a rest the state is compared with "the pose stays where it was, but for the
//! sway of the one who holds the bat". Backward runs the modified Bryson–Frazier smoother (G. J. Bierman,
//! *Fixed interval smoothing with discrete measurements*, Int. J. Control 18(1), 1973): equal to Rauch–Tung–Striebel,
//! but without the inverse of a predicted covariance, so parameters that are known exactly do no harm.

use super::conditioning::Reading;
use super::roll::Roll;
use super::span::{Sensitivity, SpanNoise, Step, add_noise, preintegrate, rest_reset, rest_reset_back};
use super::state::{
    ATTITUDE, Covariance, ErrorVector, NavState, PARAMETERS, POSITION, REST_HEADING, VELOCITY, parameter,
};
use crate::engine::geometry::Attitude;
use crate::engine::profile::SensorProfile;
use nalgebra::{Matrix3, Vector3};
use std::collections::VecDeque;

/// What a turn leaves of error beyond white noise, as a part of the angle swept, and what a gain of velocity does, as a
/// part of it: nonlinearity, timing, the low-pass. Chosen so that σ is honest on simulated swings that met nothing.
const TURN_PART: f64 = 6e-4;
const GAIN_PART: f64 = 5e-4;
/// χ² of three velocities that a rest seldom exceeds: beyond its 0.9999 quantile, with room for what is not modelled.
const UNLIKELY: f64 = 30.0;

/// What the sensor adds to the uncertainty as time goes by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drift {
    /// Angle random walk, rad²/s.
    pub attitude_rad2ps: f64,
    /// Velocity random walk, (m/s)²/s.
    pub velocity_m2ps3: f64,
    /// Random walk of the gyro bias, (rad/s)²/s.
    pub gyro_bias_rad2ps3: f64,
    /// Random walk of the accelerometer bias, (m/s²)²/s.
    pub accel_bias_m2ps5: f64,
    /// What a turn leaves of error beyond noise, as a part of the angle swept.
    pub turn_part: f64,
    /// What a gain of velocity leaves of error beyond noise, as a part of it.
    pub gain_part: f64,
}

/// Random walk of a bias over a second, as a part of the noise density's number: for want of a figure in the profile.
/// Parts of this class wander by some 0.01 m/s² and 3e-4 rad/s over a minute (Allan deviations of common parts; order
/// of magnitude from memory).
const GYRO_BIAS_WALK: f64 = 0.5;
const ACCEL_BIAS_WALK: f64 = 0.5;

impl Drift {
    /// Of a sensor: an integral of white noise of one-sided density n grows by n²/2 a second. A sensor without noise is
    /// taken to have no other error of this kind either.
    pub fn new(sensor: &SensorProfile) -> Self {
        let square = |x: f64| x * x;
        Self {
            attitude_rad2ps: 0.5 * square(sensor.gyro_noise_radps_rthz),
            velocity_m2ps3: 0.5 * square(sensor.accel_noise_mps2_rthz),
            gyro_bias_rad2ps3: square(GYRO_BIAS_WALK * sensor.gyro_noise_radps_rthz),
            accel_bias_m2ps5: square(ACCEL_BIAS_WALK * sensor.accel_noise_mps2_rthz),
            turn_part: if sensor.gyro_noise_radps_rthz > 0.0 { TURN_PART } else { 0.0 },
            gain_part: if sensor.accel_noise_mps2_rthz > 0.0 { GAIN_PART } else { 0.0 },
        }
    }

    /// What turning and speeding up over a stretch leave of error beyond noise: rad and m/s.
    fn beyond_noise(&self, steps: &[Step], readings: &[Reading]) -> (f64, f64) {
        let (swept_rad, gained_mps) = swept(steps, readings);
        (self.turn_part * swept_rad, self.gain_part * gained_mps)
    }

    /// With noise densities these many times as large.
    pub fn rougher(self, gyro: f64, accel: f64) -> Self {
        Self {
            attitude_rad2ps: self.attitude_rad2ps * gyro * gyro,
            velocity_m2ps3: self.velocity_m2ps3 * accel * accel,
            ..self
        }
    }
}

/// How still a rest is: 1 σ of what sway does to each reading of the pose.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sway {
    /// Of the velocity, m/s.
    pub velocity_mps: f64,
    /// Of the position about its mean, m.
    pub position_m: f64,
    /// Of the heading about its mean, rad.
    pub heading_rad: f64,
}

/// How sway at rest follows from the angular rate at rest: m/s, m and rad for each rad/s. Chosen on simulated stances.
const SWAY_VELOCITY_M: f64 = 0.25;
const SWAY_POSITION_M_S: f64 = 0.10;
const SWAY_HEADING_S: f64 = 0.20;

impl Sway {
    /// Of a rest in which the angular rate has this root mean square, rad/s.
    pub fn of_rate(rate_radps: f64) -> Self {
        Self {
            velocity_mps: (SWAY_VELOCITY_M * rate_radps).max(1e-6),
            position_m: (SWAY_POSITION_M_S * rate_radps).max(1e-6),
            heading_rad: (SWAY_HEADING_S * rate_radps).max(1e-7),
        }
    }
}

/// One step of the filter, as the smoother needs it.
#[derive(Clone, Debug)]
enum Record {
    Span(Box<Sensitivity>),
    RestReset,
    /// Navigation was lost and begun anew; the parameters went on.
    Restart,
    Update(Box<Update>),
    Mark(Box<Mark>),
}

/// A scalar measurement that was made.
#[derive(Clone, Debug)]
struct Update {
    row: Row,
    gain: ErrorVector,
    innovation: f64,
    variance: f64,
}

/// What of the error state a scalar measurement sees.
#[derive(Clone, Debug)]
enum Row {
    /// One place.
    Place(usize),
    /// One place less another.
    Difference(usize, usize),
    /// A sum over all places.
    Sum(Box<ErrorVector>),
}

impl Row {
    fn of(&self, v: &ErrorVector) -> f64 {
        match self {
            Row::Place(place) => v[*place],
            Row::Difference(place, minus) => v[*place] - v[*minus],
            Row::Sum(row) => row.dot(v),
        }
    }

    /// P·hᵀ.
    fn column(&self, covariance: &Covariance) -> ErrorVector {
        match self {
            Row::Place(place) => covariance.column(*place).into_owned(),
            Row::Difference(place, minus) => covariance.column(*place) - covariance.column(*minus),
            Row::Sum(row) => covariance * **row,
        }
    }

    /// Adds `factor` times the row to a vector.
    fn add_to(&self, v: &mut ErrorVector, factor: f64) {
        match self {
            Row::Place(place) => v[*place] += factor,
            Row::Difference(place, minus) => {
                v[*place] += factor;
                v[*minus] -= factor;
            }
            Row::Sum(row) => *v += **row * factor,
        }
    }
}

/// A node to which the smoother can go back.
#[derive(Clone, Debug)]
pub struct Mark {
    /// State as known when the node was passed.
    pub state: NavState,
    /// Its covariance.
    pub covariance: Covariance,
}

/// Names a [`Mark`] for as long as it is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct MarkId(u64);

/// The filter.
#[derive(Clone, Debug)]
pub struct Filter {
    state: NavState,
    covariance: Covariance,
    drift: Drift,
    rest_attitude: Attitude,
    history: VecDeque<Record>,
    forgotten: u64,
}

impl Filter {
    /// From a state and its covariance.
    pub fn new(state: NavState, covariance: Covariance, drift: Drift) -> Self {
        let rest_attitude = state.attitude;
        Self { state, covariance, drift, rest_attitude, history: VecDeque::new(), forgotten: 0 }
    }

    /// Whether every number is one: impossible samples may carry a state beyond all bounds.
    pub fn is_finite(&self) -> bool {
        let state = &self.state;
        let numbers = state.attitude.wxyz().into_iter().chain(state.velocity_w_mps.iter().copied());
        let mut numbers = numbers.chain(state.position_w_m.iter().copied()).chain(state.parameters.iter().copied());
        numbers.all(f64::is_finite) && self.covariance.trace().is_finite()
    }

    /// The state now.
    pub fn state(&self) -> &NavState {
        &self.state
    }

    /// Its covariance.
    pub fn covariance(&self) -> &Covariance {
        &self.covariance
    }

    /// Carries the state over `readings[from..=to]`.
    pub fn advance(&mut self, readings: &[Reading], from: usize, to: usize) {
        if to <= from {
            return;
        }
        let (steps, sensitivity) = preintegrate(readings, from, to, &self.state);
        self.covariance = sensitivity.propagate(&self.covariance);
        let duration_s = sensitivity.duration_s;
        let (gyro_rad, accel_mps) = bridged(&readings[from..=to]);
        let (swept_rad, gained_mps) = self.drift.beyond_noise(&steps, &readings[from..=to]);
        let noise = SpanNoise {
            attitude_rad2: self.drift.attitude_rad2ps * duration_s + gyro_rad * gyro_rad + swept_rad * swept_rad,
            velocity_m2ps2: self.drift.velocity_m2ps3 * duration_s + accel_mps * accel_mps + gained_mps * gained_mps,
        };
        self.add_noise(noise, duration_s);
        for axis in 0..3 {
            let gyro = PARAMETERS + parameter::GYRO_BIAS + axis;
            let accel = PARAMETERS + parameter::ACCEL_BIAS + axis;
            self.covariance[(gyro, gyro)] += self.drift.gyro_bias_rad2ps3 * duration_s;
            self.covariance[(accel, accel)] += self.drift.accel_bias_m2ps5 * duration_s;
        }
        if let Some(last) = steps.last() {
            self.state = last.state(&self.state.parameters);
        }
        self.history.push_back(Record::Span(Box::new(sensitivity)));
    }

    /// Something happened that the samples do not tell rightly, such as a blow.
    pub fn add_noise(&mut self, noise: SpanNoise, duration_s: f64) {
        add_noise(&mut self.covariance, noise, duration_s);
    }

    /// Navigation begins anew, as after a gap: attitude, velocity and their uncertainty are new, the parameters go on.
    pub fn restart(&mut self, attitude: Attitude, uncertainty: &Covariance) {
        self.state.attitude = attitude;
        self.state.velocity_w_mps = Vector3::zeros();
        self.state.position_w_m = Vector3::zeros();
        self.rest_attitude = attitude;
        let own = uncertainty.fixed_view::<PARAMETERS, PARAMETERS>(0, 0);
        self.covariance.fixed_rows_mut::<PARAMETERS>(0).fill(0.0);
        self.covariance.fixed_columns_mut::<PARAMETERS>(0).fill(0.0);
        self.covariance.fixed_view_mut::<PARAMETERS, PARAMETERS>(0, 0).copy_from(&own);
        self.history.push_back(Record::Restart);
    }

    /// With marks that no mark of another filter can be taken for.
    pub fn after(mut self, other: &Filter) -> Self {
        self.forgotten = other.forgotten + other.history.len() as u64;
        self
    }

    /// A rest starts here: position and heading are counted from now.
    pub fn begin_rest(&mut self) {
        self.state.position_w_m = Vector3::zeros();
        self.rest_attitude = self.state.attitude;
        self.covariance = rest_reset(&self.covariance);
        self.history.push_back(Record::RestReset);
    }

    /// Whether it is likely that the sensor stands still now, but for the sway: the velocity lies within its own bounds.
    pub fn may_be_still(&self, sway: &Sway) -> bool {
        let mut expected = self.covariance.fixed_view::<3, 3>(VELOCITY, VELOCITY).into_owned();
        for axis in 0..3 {
            expected[(axis, axis)] += sway.velocity_mps * sway.velocity_mps;
        }
        let v = self.state.velocity_w_mps;
        expected.cholesky().is_none_or(|c| v.dot(&c.solve(&v)) < UNLIKELY)
    }

    /// Within a rest: no velocity, and the pose of its beginning, but for the sway.
    pub fn still(&mut self, sway: &Sway) {
        let heading = self.state.attitude.rotation_vector_w_from(self.rest_attitude).z;
        let mut error = ErrorVector::zeros();
        for axis in 0..3 {
            let (v, p) = (self.state.velocity_w_mps[axis], self.state.position_w_m[axis]);
            self.measure(&mut error, Row::Place(VELOCITY + axis), -v, sway.velocity_mps);
            self.measure(&mut error, Row::Place(POSITION + axis), -p, sway.position_m);
        }
        self.measure(&mut error, Row::Difference(ATTITUDE + 2, REST_HEADING), -heading, sway.heading_rad);
        self.apply(&error);
    }

    /// The sensor is still about where it was: position (if `reach_m`) and velocity bounded.
    pub fn within_reach(&mut self, reach_m: Option<f64>, speed_mps: f64) {
        let mut error = ErrorVector::zeros();
        for axis in 0..3 {
            let (v, p) = (self.state.velocity_w_mps[axis], self.state.position_w_m[axis]);
            self.measure(&mut error, Row::Place(VELOCITY + axis), -v, speed_mps);
            if let Some(reach_m) = reach_m {
                self.measure(&mut error, Row::Place(POSITION + axis), -p, reach_m);
            }
        }
        self.apply(&error);
    }

    /// Position counts from now on from another place, anywhere within `centre_m` (1 σ) of the one before.
    pub fn move_off(&mut self, centre_m: f64) {
        for axis in 0..3 {
            self.covariance[(POSITION + axis, POSITION + axis)] += centre_m * centre_m;
        }
    }

    /// The bat was rolled about its axis.
    pub fn rolled(&mut self, roll: &Roll, r_bs: &Matrix3<f64>) {
        let tilt = self.state.parameters.fixed_rows::<2>(parameter::TILT).into_owned();
        let mut error = ErrorVector::zeros();
        for (row, value, sigma) in roll.measurements(r_bs, tilt) {
            self.measure(&mut error, Row::Sum(Box::new(row)), value, sigma);
        }
        self.apply(&error);
    }

    /// One scalar measurement of the error state.
    fn measure(&mut self, error: &mut ErrorVector, row: Row, value: f64, sigma: f64) {
        let column = row.column(&self.covariance);
        let variance = row.of(&column) + sigma * sigma;
        if variance.is_nan() || variance <= 0.0 {
            return;
        }
        let gain = column / variance;
        let innovation = value - row.of(error);
        self.covariance.ger(-1.0, &gain, &column, 1.0);
        *error += gain * innovation;
        self.history.push_back(Record::Update(Box::new(Update { row, gain, innovation, variance })));
    }

    fn apply(&mut self, error: &ErrorVector) {
        self.state = self.state.corrected(error);
        self.rest_attitude = self.rest_attitude.turned_in_world(Vector3::z() * error[REST_HEADING]);
        self.covariance = (self.covariance + self.covariance.transpose()) * 0.5;
    }

    /// Remembers this node.
    pub fn mark(&mut self) -> MarkId {
        let id = MarkId(self.forgotten + self.history.len() as u64);
        self.history.push_back(Record::Mark(Box::new(Mark { state: self.state.clone(), covariance: self.covariance })));
        id
    }

    /// How many steps are remembered.
    pub fn remembered(&self) -> usize {
        self.history.len()
    }

    /// Lets go of all that is only needed for nodes before `keep`; of everything if `None`.
    pub fn forget_before(&mut self, keep: Option<MarkId>) {
        let end = self.forgotten + self.history.len() as u64;
        let count = keep.map_or(end, |id| id.0.min(end)).saturating_sub(self.forgotten);
        self.history.drain(..count as usize);
        self.forgotten += count;
    }

    /// The state at a mark by all that has come since, and its covariance; `None` if it was forgotten.
    pub fn smoothed(&self, id: MarkId) -> Option<(NavState, Covariance)> {
        let index = id.0.checked_sub(self.forgotten)? as usize;
        let Some(Record::Mark(mark)) = self.history.get(index) else { return None };
        let mut lambda = ErrorVector::zeros();
        let mut information = Covariance::zeros();
        for record in self.history.iter().skip(index + 1).rev() {
            lambda = record.backward(&lambda);
            information = record.backward_information(&information);
        }
        let error = -(mark.covariance * lambda);
        let covariance = mark.covariance - mark.covariance * information * mark.covariance;
        Some((mark.state.corrected(&error), (covariance + covariance.transpose()) * 0.5))
    }

    /// The states at all marks kept, in order, by all that has come since.
    pub fn smoothed_marks(&self) -> Vec<NavState> {
        let mut lambda = ErrorVector::zeros();
        let mut out = Vec::new();
        for record in self.history.iter().rev() {
            match record {
                Record::Mark(mark) => out.push(mark.state.corrected(&-(mark.covariance * lambda))),
                other => lambda = other.backward(&lambda),
            }
        }
        out.reverse();
        out
    }
}

impl Record {
    fn backward(&self, lambda: &ErrorVector) -> ErrorVector {
        match self {
            Record::Span(sensitivity) => sensitivity.backward(lambda),
            Record::RestReset => rest_reset_back(lambda),
            Record::Restart => {
                let mut out = *lambda;
                out.fixed_rows_mut::<PARAMETERS>(0).fill(0.0);
                out
            }
            Record::Update(update) => {
                let mut out = *lambda;
                update.row.add_to(&mut out, -update.gain.dot(lambda) - update.innovation / update.variance);
                out
            }
            Record::Mark(_) => *lambda,
        }
    }

    fn backward_information(&self, information: &Covariance) -> Covariance {
        match self {
            Record::Span(sensitivity) => sensitivity.propagate_back(information),
            Record::RestReset => rest_reset_back(&rest_reset_back(information).transpose()),
            Record::Restart => {
                let mut out = *information;
                out.fixed_rows_mut::<PARAMETERS>(0).fill(0.0);
                out.fixed_columns_mut::<PARAMETERS>(0).fill(0.0);
                out
            }
            Record::Update(update) => update.backward_information(information),
            Record::Mark(_) => *information,
        }
    }
}

impl Update {
    /// (I − KH)ᵀ Λ (I − KH) + HᵀH/s, as Λ + ½(Hᵀw + wᵀH) with w = (KᵀΛK + 1/s)·H − 2·KᵀΛ.
    fn backward_information(&self, information: &Covariance) -> Covariance {
        let lk = information * self.gain;
        let mut w = lk * -2.0;
        self.row.add_to(&mut w, self.gain.dot(&lk) + 1.0 / self.variance);
        let half = w * 0.5;
        let mut out = *information;
        match &self.row {
            Row::Sum(row) => {
                out.ger(1.0, row, &half, 1.0);
                out.ger(1.0, &half, row, 1.0);
            }
            Row::Place(place) => add_cross(&mut out, *place, &half, 1.0),
            Row::Difference(place, minus) => {
                add_cross(&mut out, *place, &half, 1.0);
                add_cross(&mut out, *minus, &half, -1.0);
            }
        }
        out
    }
}

/// Adds a vector to a row and to the same column.
fn add_cross(matrix: &mut Covariance, place: usize, v: &ErrorVector, sign: f64) {
    for i in 0..v.len() {
        matrix[(place, i)] += sign * v[i];
        matrix[(i, place)] += sign * v[i];
    }
}

/// Angle swept, rad, and velocity gained and lost, m/s, over a stretch, judged at every fourth sample and its end.
fn swept(steps: &[Step], readings: &[Reading]) -> (f64, f64) {
    let last = steps.len().min(readings.len()).saturating_sub(1);
    let (mut sums, mut at) = ((0.0, 0.0), 0);
    while at < last {
        let next = (at + 4).min(last);
        let middle = &readings[(at + next) / 2];
        sums.0 += middle.gyro_s_radps.norm() * (readings[next].time_s - readings[at].time_s);
        sums.1 += (steps[next].velocity_w_mps - steps[at].velocity_w_mps).norm();
        at = next;
    }
    sums
}

/// How wrong the bridges in a stretch may have made its angle (rad) and its velocity (m/s): each bridge errs as a whole.
fn bridged(readings: &[Reading]) -> (f64, f64) {
    let (mut gyro, mut accel) = ((0.0, 0.0), (0.0, 0.0));
    for pair in readings.windows(2) {
        let dt_s = pair[1].time_s - pair[0].time_s;
        let add = |sum: &mut (f64, f64), sigma: f64| {
            if sigma == 0.0 && sum.1 == 0.0 {
                return;
            }
            sum.1 += sigma * dt_s;
            if sigma == 0.0 {
                *sum = (f64::hypot(sum.0, sum.1), 0.0);
            }
        };
        add(&mut gyro, pair[1].gyro_sigma_radps);
        add(&mut accel, pair[1].accel_sigma_mps2);
    }
    (f64::hypot(gyro.0, gyro.1), f64::hypot(accel.0, accel.1))
}
