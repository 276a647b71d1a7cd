//! Filter and smoother against one dense least-squares estimate of the same problem.

use crate::support::{Eased, MARGIN, readings, state_of};
use nalgebra::{DMatrix, DVector, SMatrix, Vector3};
use swingd::engine::motion::conditioning::Reading;
use swingd::engine::motion::filter::{Drift, Filter, MarkId, Sway};
use swingd::engine::motion::span::{SpanNoise, integrate, preintegrate};
use swingd::engine::motion::state::{
    ATTITUDE, Covariance, ErrorVector, NavState, PARAMETERS, POSITION, REST_HEADING, SIZE, VELOCITY, parameter, prior,
};
use swingd::engine::profile::SensorProfile;
use swingd::sim::Trajectory;
use swingd::sim::textbook::{ConstantRotation, Pendulum};

const RATE_HZ: f64 = 1000.0;
const SWAY: Sway = Sway { velocity_mps: 0.02, position_m: 0.01, heading_rad: 0.015 };
const BLOW: SpanNoise = SpanNoise { attitude_rad2: 1e-4, velocity_m2ps2: 4.0 };

/// What is done to the filter, in order.
#[derive(Clone, Copy)]
enum Doing {
    /// Advance by this many samples.
    Advance(usize),
    BeginRest,
    Still,
    Blow,
    Reach,
    Mark,
}

/// A rest, a motion with a node and a blow in its middle, a rest.
const PLAN: [Doing; 17] = {
    use Doing::*;
    [
        BeginRest,
        Advance(200),
        Still,
        Advance(200),
        Still,
        Mark,
        Advance(600),
        Reach,
        Mark,
        Blow,
        Advance(600),
        Mark,
        BeginRest,
        Advance(200),
        Still,
        Mark,
        Advance(100),
    ]
};

/// The same motion with nothing measured before its end.
const MEASURED_LAST: [Doing; 12] = {
    use Doing::*;
    [BeginRest, Mark, Advance(400), Mark, Advance(600), Mark, Blow, Advance(600), BeginRest, Advance(200), Mark, Still]
};

/// Rates and forces of a pendulum that goes to and fro twice between two rests, back where it began and still in the middle,
/// where the plan has a node: so all innovations come from the error of the sensor that is added, small enough
/// for the problem to be linear.
fn material() -> (Vec<Reading>, NavState, Covariance, Drift) {
    let swing = Pendulum { amplitude_rad: 0.8, equal_length_m: 0.5, arm_s_m: Vector3::new(0.05, 0.02, -0.4) };
    let motion = Eased { motion: swing, rest_s: 0.4, moving_s: 1.2, span_s: 2.0 * swing.period_s() };
    let mut list = readings(&motion, RATE_HZ, 2000);
    for reading in &mut list {
        reading.gyro_s_radps += Vector3::new(1.0, -2.0, 1.5) * 1e-6;
        reading.accel_s_mps2 += Vector3::new(-2.0, 1.0, 3.0) * 1e-6;
    }
    let sensor = SensorProfile::default();
    let known = prior(&sensor, 0.01);
    let mut covariance = Covariance::zeros();
    covariance.view_mut((PARAMETERS, PARAMETERS), (SIZE - PARAMETERS, SIZE - PARAMETERS)).copy_from(&known.covariance);
    for place in [ATTITUDE, ATTITUDE + 1] {
        covariance[(place, place)] = 0.1 * 0.1;
    }
    for axis in 0..3 {
        covariance[(VELOCITY + axis, VELOCITY + axis)] = 0.05 * 0.05;
    }
    // The batch estimate knows white noise and walking biases only.
    let drift = Drift { turn_part: 0.0, gain_part: 0.0, ..Drift::new(&sensor) };
    (list, state_of(&motion.at(0.0)), covariance, drift)
}

/// The filter through the plan; its state at each mark when it was passed.
fn filtered(
    plan: &[Doing],
    list: &[Reading],
    start: &NavState,
    covariance: &Covariance,
    drift: Drift,
) -> (Filter, Vec<MarkId>) {
    let mut filter = Filter::new(start.clone(), *covariance, drift);
    let (mut at, mut marks) = (MARGIN, Vec::new());
    for doing in plan.iter().copied() {
        match doing {
            Doing::Advance(count) => {
                filter.advance(list, at, at + count);
                at += count;
            }
            Doing::BeginRest => filter.begin_rest(),
            Doing::Still => filter.still(&SWAY),
            Doing::Blow => filter.add_noise(BLOW, 0.0),
            Doing::Reach => filter.within_reach(Some(0.4), 3.0),
            Doing::Mark => marks.push(filter.mark()),
        }
    }
    (filter, marks)
}

/// The problem written out: every unknown error (those of the start, then those that each span adds), what the state of a
/// moment is of them, what was measured.
struct Batch {
    /// Variances of the unknowns but the first 45, whose covariance is the prior's.
    noise: Vec<f64>,
    /// Error now = `now` × unknowns, 45 rows; columns are added as unknowns come up.
    now: DMatrix<f64>,
    rows: Vec<(DVector<f64>, f64, f64)>,
    nominal: NavState,
    rest_attitude: swingd::engine::geometry::Attitude,
    marks: Vec<(DMatrix<f64>, NavState)>,
}

impl Batch {
    fn of(plan: &[Doing], list: &[Reading], start: &NavState, drift: &Drift) -> Self {
        let mut batch = Self {
            noise: Vec::new(),
            now: DMatrix::identity(SIZE, SIZE),
            rows: Vec::new(),
            nominal: start.clone(),
            rest_attitude: start.attitude,
            marks: Vec::new(),
        };
        let mut at = MARGIN;
        for doing in plan.iter().copied() {
            match doing {
                Doing::Advance(count) => {
                    batch.advance(list, at, at + count, drift);
                    at += count;
                }
                Doing::BeginRest => batch.begin_rest(),
                Doing::Still => batch.still(),
                Doing::Blow => batch.add_noise(BLOW.attitude_rad2, BLOW.velocity_m2ps2, 0.0),
                Doing::Reach => batch.poses_near(3.0, 0.4),
                Doing::Mark => batch.marks.push((batch.now.clone(), batch.nominal.clone())),
            }
        }
        batch
    }

    /// An unknown of its own added to one place of the error.
    fn unknown(&mut self, place: usize, variance: f64) {
        let column = self.now.ncols();
        self.now = self.now.clone().insert_column(column, 0.0);
        self.now[(place, column)] = 1.0;
        self.noise.push(variance);
    }

    fn add_noise(&mut self, attitude: f64, velocity: f64, duration_s: f64) {
        for axis in 0..3 {
            self.unknown(ATTITUDE + axis, attitude);
            self.unknown(VELOCITY + axis, velocity);
            self.unknown(POSITION + axis, velocity * duration_s * duration_s / 3.0);
        }
    }

    fn advance(&mut self, list: &[Reading], from: usize, to: usize, drift: &Drift) {
        let (_, sensitivity) = preintegrate(list, from, to, &self.nominal);
        let transition = sensitivity.forward(&SMatrix::<f64, SIZE, SIZE>::identity());
        self.now = DMatrix::from_column_slice(SIZE, SIZE, transition.as_slice()) * &self.now;
        let duration_s = list[to].time_s - list[from].time_s;
        self.add_noise(drift.attitude_rad2ps * duration_s, drift.velocity_m2ps3 * duration_s, duration_s);
        for axis in 0..3 {
            self.unknown(PARAMETERS + parameter::GYRO_BIAS + axis, drift.gyro_bias_rad2ps3 * duration_s);
            self.unknown(PARAMETERS + parameter::ACCEL_BIAS + axis, drift.accel_bias_m2ps5 * duration_s);
        }
        let last = *integrate(list, from, to, &self.nominal).last().expect("a step");
        self.nominal = last.state(&self.nominal.parameters);
    }

    fn begin_rest(&mut self) {
        self.nominal.position_w_m = Vector3::zeros();
        self.rest_attitude = self.nominal.attitude;
        self.now.rows_mut(POSITION, 3).fill(0.0);
        let heading = self.now.row(ATTITUDE + 2).into_owned();
        self.now.set_row(REST_HEADING, &heading);
    }

    fn measure(&mut self, row: DVector<f64>, value: f64, sigma: f64) {
        self.rows.push((row, value, sigma * sigma));
    }

    fn poses_near(&mut self, velocity_mps: f64, position_m: f64) {
        for axis in 0..3 {
            let row = |place: usize| self.now.row(place).transpose();
            let (v, p) = (row(VELOCITY + axis), row(POSITION + axis));
            self.measure(v, -self.nominal.velocity_w_mps[axis], velocity_mps);
            self.measure(p, -self.nominal.position_w_m[axis], position_m);
        }
    }

    fn still(&mut self) {
        self.poses_near(SWAY.velocity_mps, SWAY.position_m);
        let turned = self.nominal.attitude.rotation_vector_w_from(self.rest_attitude).z;
        let row = (self.now.row(ATTITUDE + 2) - self.now.row(REST_HEADING)).transpose();
        self.measure(row, -turned, SWAY.heading_rad);
    }

    /// Gauss–Markov: mean C·Hᵀ(H·C·Hᵀ + R)⁻¹·y and covariance C − C·Hᵀ(…)⁻¹·H·C of all unknowns, given all that was measured
    /// (Rauch, Tung & Striebel, *AIAA Journal* 3, 1965, prove the smoother equal to it).
    fn solve(&self, covariance: &Covariance) -> (DVector<f64>, DMatrix<f64>) {
        let count = SIZE + self.noise.len();
        let mut before = DMatrix::zeros(count, count);
        before.view_mut((0, 0), (SIZE, SIZE)).copy_from(covariance);
        for (i, variance) in self.noise.iter().enumerate() {
            before[(SIZE + i, SIZE + i)] = *variance;
        }
        let design = DMatrix::from_fn(self.rows.len(), count, |i, k| self.rows[i].0.get(k).copied().unwrap_or(0.0));
        let seen = DVector::from_iterator(self.rows.len(), self.rows.iter().map(|row| row.1));
        let mut spread = &design * &before * design.transpose();
        for (i, row) in self.rows.iter().enumerate() {
            spread[(i, i)] += row.2;
        }
        let gain = &before * design.transpose() * spread.try_inverse().expect("what was measured has noise");
        (&gain * seen, &before - gain * design * &before)
    }
}

/// The error vector that takes one state to another.
fn error_between(from: &NavState, to: &NavState) -> ErrorVector {
    let mut out = ErrorVector::zeros();
    out.fixed_rows_mut::<3>(ATTITUDE).copy_from(&to.attitude.rotation_vector_w_from(from.attitude));
    out.fixed_rows_mut::<3>(VELOCITY).copy_from(&(to.velocity_w_mps - from.velocity_w_mps));
    out.fixed_rows_mut::<3>(POSITION).copy_from(&(to.position_w_m - from.position_w_m));
    out.rows_mut(PARAMETERS, SIZE - PARAMETERS).copy_from(&(to.parameters - from.parameters));
    out
}

/// With nothing corrected before the end both ways lean on the same linear model: means agree to 1e-6.
#[test]
fn rauch_tung_striebel_1965_smoother_is_the_batch_estimate() {
    assert_smoother_is_batch(&MEASURED_LAST, 7, 1e-6);
}

/// With measurements all along, the filter integrates again from each corrected state, where the batch goes by the linear
/// model alone; that stands for the integral to 0.3 % of an error (`sensitivities`), and less than a third of what is found
/// in the end has been corrected before.
#[test]
fn rauch_tung_striebel_1965_with_measurements_all_along() {
    assert_smoother_is_batch(&PLAN, 27, 1e-3);
}

/// At every mark: covariances to 1e-6 of σᵢσⱼ, means to a part of the greatest of their kind.
fn assert_smoother_is_batch(plan: &[Doing], measured: usize, of_mean: f64) {
    let (list, start, covariance, drift) = material();
    let (filter, marks) = filtered(plan, &list, &start, &covariance, drift);
    let batch = Batch::of(plan, &list, &start, &drift);
    let (mean, spread) = batch.solve(&covariance);
    assert_eq!((marks.len(), batch.marks.len(), batch.rows.len()), (4, 4, measured));
    for (id, (design, nominal)) in marks.iter().zip(&batch.marks) {
        let (state, found) = filter.smoothed(*id).expect("the mark is kept");
        let columns = design.ncols();
        let expected = design * mean.rows(0, columns);
        let error = error_between(nominal, &state);
        for (first, count) in [(ATTITUDE, 3), (VELOCITY, 3), (POSITION, 3), (PARAMETERS, 3), (PARAMETERS + 21, 3)] {
            let (ours, theirs) = (error.rows(first, count), expected.rows(first, count));
            let miss = (ours - theirs).amax();
            assert!(miss <= of_mean * theirs.amax() + 1e-14, "rows {first}: {ours} {theirs}");
        }
        let batch_spread = design * spread.view((0, 0), (columns, columns)) * design.transpose();
        for i in 0..SIZE {
            for k in 0..=i {
                let size = (batch_spread[(i, i)] * batch_spread[(k, k)]).sqrt();
                let miss = (found[(i, k)] - batch_spread[(i, k)]).abs();
                assert!(miss <= 1e-6 * size + 1e-15, "({i}, {k}): {} {}", found[(i, k)], batch_spread[(i, k)]);
            }
        }
    }
}

/// What comes later teaches: at the first mark the smoother knows more than the filter did, of attitude by far.
#[test]
fn later_rests_teach_about_earlier_ones() {
    let (list, start, covariance, drift) = material();
    let (filter, marks) = filtered(&PLAN, &list, &start, &covariance, drift);
    let (_, smoothed) = filter.smoothed(marks[1]).expect("the mark is kept");
    let mut early = Filter::new(start, covariance, drift);
    early.begin_rest();
    early.advance(&list, MARGIN, MARGIN + 200);
    early.still(&SWAY);
    early.advance(&list, MARGIN + 200, MARGIN + 400);
    early.still(&SWAY);
    early.advance(&list, MARGIN + 400, MARGIN + 1000);
    early.within_reach(Some(0.4), 3.0);
    for place in [VELOCITY, VELOCITY + 1, VELOCITY + 2, PARAMETERS, PARAMETERS + 1] {
        assert!(smoothed[(place, place)] < 0.999 * early.covariance()[(place, place)], "place {place}");
    }
}

/// With nothing measured after a mark its smoothed estimate is the filter's, to the bit; and all marks at once are each mark
/// alone.
#[test]
fn nothing_later_leaves_the_filtered_estimate() {
    let (list, start, covariance, drift) = material();
    let (mut filter, marks) = filtered(&PLAN, &list, &start, &covariance, drift);
    let (state, spread) = (filter.state().clone(), *filter.covariance());
    let last = filter.mark();
    filter.advance(&list, MARGIN + 1900, MARGIN + 2000);
    let (same_state, same_spread) = filter.smoothed(last).expect("the mark is kept");
    assert!(error_between(&state, &same_state).amax() < 1e-15);
    assert!((same_spread - spread).amax() <= 1e-15 * spread.amax());
    let all = filter.smoothed_marks();
    assert_eq!(all.len(), marks.len() + 1);
    for (id, one) in marks.iter().chain([&last]).zip(&all) {
        assert_eq!(&filter.smoothed(*id).expect("the mark is kept").0, one);
    }
    filter.forget_before(Some(last));
    assert!(filter.smoothed(marks[3]).is_none() && filter.smoothed(last).is_some());
}

/// A turn of 3 rad adds its own part of it, squared, to the variance of the attitude.
#[test]
fn a_turn_leaves_its_part_of_error() {
    let spin = ConstantRotation { omega_radps: Vector3::z() * 3.0, arm_s_m: Vector3::zeros() };
    let list = readings(&spin, RATE_HZ, 1000);
    let drift = Drift {
        attitude_rad2ps: 0.0,
        velocity_m2ps3: 0.0,
        gyro_bias_rad2ps3: 0.0,
        accel_bias_m2ps5: 0.0,
        turn_part: 1e-3,
        gain_part: 0.0,
    };
    let mut filter = Filter::new(state_of(&spin.at(0.0)), Covariance::zeros(), drift);
    filter.advance(&list, MARGIN, MARGIN + 1000);
    for axis in 0..3 {
        assert!((filter.covariance()[(ATTITUDE + axis, ATTITUDE + axis)] - 9e-6).abs() < 1e-12);
        assert_eq!(filter.covariance()[(VELOCITY + axis, VELOCITY + axis)], 0.0);
    }
}

/// Where the sensor turns steadily in place, the filter's covariance of the attitude grows by the random walk alone.
#[test]
fn attitude_variance_grows_with_time() {
    let spin = ConstantRotation { omega_radps: Vector3::z() * 3.0, arm_s_m: Vector3::zeros() };
    let list = readings(&spin, RATE_HZ, 1000);
    let drift = Drift {
        attitude_rad2ps: 4e-8,
        velocity_m2ps3: 1e-6,
        gyro_bias_rad2ps3: 0.0,
        accel_bias_m2ps5: 0.0,
        turn_part: 0.0,
        gain_part: 0.0,
    };
    let mut filter = Filter::new(state_of(&spin.at(0.0)), Covariance::zeros(), drift);
    filter.advance(&list, MARGIN, MARGIN + 1000);
    for axis in 0..3 {
        assert!((filter.covariance()[(ATTITUDE + axis, ATTITUDE + axis)] - 4e-8).abs() < 1e-18);
        assert!((filter.covariance()[(VELOCITY + axis, VELOCITY + axis)] - 1e-6).abs() < 1e-16);
    }
}
