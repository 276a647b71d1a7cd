//! The strapdown integral over a span of samples, with its sensitivity to where it began and to every parameter.
//!
//! With R = R_WS, F = R·f and errors as in [`state`](super::state): φ̇ = R(δG·y − δb − δK·z), z being the accelerometer's reading, v̇ error = −F×φ + R(δA·y − δa).
//! Both are linear in the parameters, so their integrals over the span are all that the filter needs of its samples.

use super::conditioning::Reading;
use super::state::parameter::{ACCEL_BIAS, ACCEL_MATRIX, GYRO_FORCE, GYRO_MATRIX};
use super::state::{ATTITUDE, Correction, Covariance, NavState, PARAMETERS, POSITION, REST_HEADING, SIZE, VELOCITY};
use super::strapdown::{coning, middle_integral, trapezium};
use crate::engine::geometry::{Attitude, gravity_reaction_w_mps2, skew};
use nalgebra::{Matrix3, SMatrix, Vector3};

/// Gyro parameters: bias, matrix and sensitivity to force.
const GYRO: usize = 21;
/// Gyro and accelerometer parameters.
const SENSOR: usize = 33;
/// Sensitivities are integrated in blocks no shorter than this: a midpoint rule over a turn of 40 rad/s errs by
/// (0.2 rad)²/24, 0.2 % of an error.
const BLOCK_S: f64 = 0.005;
/// A block goes on until it has turned by this: (0.1 rad)²/24 is 0.04 %,
const BLOCK_RAD: f64 = 0.1;
/// or for this long, s.
const LONGEST_BLOCK_S: f64 = 0.025;

/// Sensitivities of a span's end to its beginning and to the parameters.
#[derive(Clone, Debug)]
pub struct Sensitivity {
    /// Length of the span, s.
    pub duration_s: f64,
    /// ∂φ/∂(gyro parameters).
    attitude: SMatrix<f64, 3, GYRO>,
    /// ∂v/∂(gyro and accelerometer parameters).
    velocity: SMatrix<f64, 3, SENSOR>,
    /// ∂p/∂(gyro and accelerometer parameters).
    position: SMatrix<f64, 3, SENSOR>,
    /// ∂v/∂φ₀ = −[∫F]×.
    velocity_attitude: Matrix3<f64>,
    /// ∂p/∂φ₀ = −[∬F]×.
    position_attitude: Matrix3<f64>,
}

/// What a span adds to the uncertainty, as variances per axis.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SpanNoise {
    /// Of the attitude, rad².
    pub attitude_rad2: f64,
    /// Of the velocity, (m/s)².
    pub velocity_m2ps2: f64,
}

impl Sensitivity {
    fn none() -> Self {
        Self {
            duration_s: 0.0,
            attitude: SMatrix::zeros(),
            velocity: SMatrix::zeros(),
            position: SMatrix::zeros(),
            velocity_attitude: Matrix3::zeros(),
            position_attitude: Matrix3::zeros(),
        }
    }

    /// Adds a block in which R, the readings and F are taken as constant.
    fn add_block(
        &mut self,
        r: &Matrix3<f64>,
        gyro: Vector3<f64>,
        accel: Vector3<f64>,
        force_w: Vector3<f64>,
        dt_s: f64,
    ) {
        let cross = skew(force_w);
        let mut gyro_rate = SMatrix::<f64, 3, GYRO>::zeros();
        let mut rate = SMatrix::<f64, 3, SENSOR>::zeros();
        for i in 0..3 {
            let column = r.column(i) * dt_s;
            gyro_rate.set_column(i, &(-column));
            rate.set_column(ACCEL_BIAS + i, &(-column));
            for j in 0..3 {
                gyro_rate.set_column(GYRO_MATRIX + 3 * i + j, &(column * gyro[j]));
                gyro_rate.set_column(GYRO_FORCE + 3 * i + j, &(column * -accel[j]));
                rate.set_column(ACCEL_MATRIX + 3 * i + j, &(column * accel[j]));
            }
        }
        let mid = self.attitude + gyro_rate * 0.5;
        let tilted = -(cross * mid) * dt_s;
        for c in 0..GYRO {
            rate.set_column(c, &tilted.column(c));
        }
        let tilt_rate = -cross * dt_s;
        self.position += (self.velocity + rate * 0.5) * dt_s;
        self.position_attitude += (self.velocity_attitude + tilt_rate * 0.5) * dt_s;
        self.velocity += rate;
        self.velocity_attitude += tilt_rate;
        self.attitude += gyro_rate;
        self.duration_s += dt_s;
    }

    /// F·M for the span's transition F, for any matrix or vector M with rows in the order of the error state.
    pub fn forward<const C: usize>(&self, m: &SMatrix<f64, SIZE, C>) -> SMatrix<f64, SIZE, C> {
        let mut out = *m;
        let attitude = m.fixed_rows::<3>(ATTITUDE);
        let velocity = m.fixed_rows::<3>(VELOCITY);
        let gyro = m.fixed_rows::<GYRO>(PARAMETERS);
        let sensor = m.fixed_rows::<SENSOR>(PARAMETERS);
        let to_position = self.position_attitude * attitude + velocity * self.duration_s + self.position * sensor;
        let to_velocity = self.velocity_attitude * attitude + self.velocity * sensor;
        let to_attitude = self.attitude * gyro;
        let mut rows = out.fixed_rows_mut::<3>(POSITION);
        rows += to_position;
        let mut rows = out.fixed_rows_mut::<3>(VELOCITY);
        rows += to_velocity;
        let mut rows = out.fixed_rows_mut::<3>(ATTITUDE);
        rows += to_attitude;
        out
    }

    /// Fᵀ·M.
    pub fn backward<const C: usize>(&self, m: &SMatrix<f64, SIZE, C>) -> SMatrix<f64, SIZE, C> {
        let mut out = *m;
        let attitude = m.fixed_rows::<3>(ATTITUDE);
        let velocity = m.fixed_rows::<3>(VELOCITY);
        let position = m.fixed_rows::<3>(POSITION);
        let to_attitude = self.position_attitude.transpose() * position + self.velocity_attitude.transpose() * velocity;
        let to_velocity = position * self.duration_s;
        let to_gyro = self.attitude.transpose() * attitude;
        let to_sensor = self.velocity.transpose() * velocity + self.position.transpose() * position;
        let mut rows = out.fixed_rows_mut::<3>(ATTITUDE);
        rows += to_attitude;
        let mut rows = out.fixed_rows_mut::<3>(VELOCITY);
        rows += to_velocity;
        let mut rows = out.fixed_rows_mut::<SENSOR>(PARAMETERS);
        rows += to_sensor;
        let mut rows = out.fixed_rows_mut::<GYRO>(PARAMETERS);
        rows += to_gyro;
        out
    }

    /// F·P·Fᵀ.
    pub fn propagate(&self, covariance: &Covariance) -> Covariance {
        let half = self.forward(covariance);
        let full = self.forward(&half.transpose());
        (full + full.transpose()) * 0.5
    }

    /// Fᵀ·Λ·F.
    pub fn propagate_back(&self, information: &Covariance) -> Covariance {
        let half = self.backward(information);
        let full = self.backward(&half.transpose());
        (full + full.transpose()) * 0.5
    }
}

/// The transition at the start of a rest: position starts at zero, the reference heading is the heading now.
pub fn rest_reset(covariance: &Covariance) -> Covariance {
    let turn = |m: &Covariance| {
        let mut out = *m;
        out.fixed_rows_mut::<3>(POSITION).fill(0.0);
        let heading = m.row(ATTITUDE + 2).into_owned();
        out.set_row(REST_HEADING, &heading);
        out
    };
    turn(&turn(covariance).transpose())
}

/// The transpose of that transition.
pub fn rest_reset_back<const C: usize>(m: &SMatrix<f64, SIZE, C>) -> SMatrix<f64, SIZE, C> {
    let mut out = *m;
    out.fixed_rows_mut::<3>(POSITION).fill(0.0);
    let heading = m.row(REST_HEADING).into_owned();
    let mut row = out.row_mut(ATTITUDE + 2);
    row += heading;
    out.row_mut(REST_HEADING).fill(0.0);
    out
}

/// Adds independent noise to attitude and velocity.
pub fn add_noise(covariance: &mut Covariance, noise: SpanNoise, duration_s: f64) {
    for axis in 0..3 {
        covariance[(ATTITUDE + axis, ATTITUDE + axis)] += noise.attitude_rad2;
        covariance[(VELOCITY + axis, VELOCITY + axis)] += noise.velocity_m2ps2;
        covariance[(POSITION + axis, POSITION + axis)] += noise.velocity_m2ps2 * duration_s * duration_s / 3.0;
    }
}

/// The motion at one sample.
#[derive(Clone, Copy, Debug)]
pub struct Step {
    /// q_WS.
    pub attitude: Attitude,
    /// In W, m/s.
    pub velocity_w_mps: Vector3<f64>,
    /// In W, m.
    pub position_w_m: Vector3<f64>,
    /// Specific force in W, m/s².
    pub force_w_mps2: Vector3<f64>,
}

impl Step {
    /// The nominal state here, with the parameters it was reached with.
    pub fn state(&self, parameters: &super::state::Parameters) -> NavState {
        NavState {
            attitude: self.attitude.renormalised(),
            velocity_w_mps: self.velocity_w_mps,
            position_w_m: self.position_w_m,
            parameters: *parameters,
        }
    }
}

/// The strapdown integral over `readings[from..=to]`, one step a sample, the first being `start`.
///
/// Readings before and after only shape the first and last steps. Where neighbours are missing, uneven or marked as
/// rough, a step is a trapezium.
pub fn integrate(readings: &[Reading], from: usize, to: usize, start: &NavState) -> Vec<Step> {
    let correction = Correction::new(&start.parameters);
    let mut steps = Vec::with_capacity(to + 1 - from);
    let force = |i: usize| correction.force_s_mps2(readings[i].accel_s_mps2);
    let step_at = |i: usize, attitude: Attitude| Step {
        attitude,
        velocity_w_mps: start.velocity_w_mps,
        position_w_m: start.position_w_m,
        force_w_mps2: attitude.to_world(force(i)),
    };
    let omega = |i: usize| correction.omega_s_radps(readings[i].gyro_s_radps, force(i));
    steps.push(step_at(from, start.attitude));
    let mut attitude = start.attitude;
    let mut omega0 = omega(from);
    for i in from..to {
        let dt_s = readings[i + 1].time_s - readings[i].time_s;
        let omega1 = omega(i + 1);
        let angle = if is_smooth(readings, i) {
            middle_integral(omega(i - 1), omega0, omega1, omega(i + 2), dt_s)
        } else {
            trapezium(omega0, omega1, dt_s)
        };
        attitude = attitude.turned_in_sensor(angle + coning(omega0, omega1, dt_s));
        steps.push(step_at(i + 1, attitude));
        omega0 = omega1;
    }
    integrate_force(readings, from, &mut steps);
    steps
}

/// Velocity and position of steps whose attitude and specific force are there.
fn integrate_force(readings: &[Reading], from: usize, steps: &mut [Step]) {
    let gravity = gravity_reaction_w_mps2();
    for k in 0..steps.len().saturating_sub(1) {
        let i = from + k;
        let dt_s = readings[i + 1].time_s - readings[i].time_s;
        let force = |n: usize| steps[n].force_w_mps2;
        let dv = if k >= 1 && k + 2 < steps.len() && is_smooth(readings, i) {
            middle_integral(force(k - 1), force(k), force(k + 1), force(k + 2), dt_s)
        } else {
            trapezium(force(k), force(k + 1), dt_s)
        } - gravity * dt_s;
        let velocity = steps[k].velocity_w_mps;
        steps[k + 1].velocity_w_mps = velocity + dv;
        steps[k + 1].position_w_m = steps[k].position_w_m + (velocity + dv * 0.5) * dt_s;
    }
}

/// Whether the step from `i` may be read as the middle of a smooth curve through four evenly spaced samples.
fn is_smooth(readings: &[Reading], i: usize) -> bool {
    i >= 1
        && i + 2 < readings.len()
        && !(readings[i - 1].rough || readings[i].rough || readings[i + 1].rough || readings[i + 2].rough)
}

/// [`integrate`] with the sensitivities of its end.
pub fn preintegrate(readings: &[Reading], from: usize, to: usize, start: &NavState) -> (Vec<Step>, Sensitivity) {
    let steps = integrate(readings, from, to, start);
    let mut sensitivity = Sensitivity::none();
    let (mut first, mut turned_rad) = (from, 0.0);
    for i in from + 1..=to {
        turned_rad += readings[i].gyro_s_radps.norm() * (readings[i].time_s - readings[i - 1].time_s);
        let long_s = readings[i].time_s - readings[first].time_s;
        if (long_s >= BLOCK_S && turned_rad >= BLOCK_RAD) || long_s >= LONGEST_BLOCK_S || i == to {
            close_block(&readings[first..=i], &steps[first - from..=i - from], &mut sensitivity);
            (first, turned_rad) = (i, 0.0);
        }
    }
    (steps, sensitivity)
}

/// Puts a short stretch of samples into the sensitivities at once.
fn close_block(readings: &[Reading], steps: &[Step], sensitivity: &mut Sensitivity) {
    let (Some(first), Some(last)) = (steps.first(), steps.last()) else { return };
    let dt_s = readings[readings.len() - 1].time_s - readings[0].time_s;
    if dt_s <= 0.0 {
        return;
    }
    let (mut gyro, mut accel) = (Vector3::zeros(), Vector3::zeros());
    for pair in readings.windows(2) {
        let weight = 0.5 * (pair[1].time_s - pair[0].time_s) / dt_s;
        gyro += (pair[0].gyro_s_radps + pair[1].gyro_s_radps) * weight;
        accel += (pair[0].accel_s_mps2 + pair[1].accel_s_mps2) * weight;
    }
    let half_turn = last.attitude.rotation_vector_w_from(first.attitude) * 0.5;
    let middle = first.attitude.turned_in_world(half_turn).matrix();
    let force_w = (last.velocity_w_mps - first.velocity_w_mps) / dt_s + gravity_reaction_w_mps2();
    sensitivity.add_block(&middle, gyro, accel, force_w, dt_s);
}
