//! Exact readings of a motion, motions between two rests, and the greatest error that a strapdown integral of them may
//! have.

use nalgebra::{UnitQuaternion, Vector3};
use swingd::engine::geometry::{Attitude, gravity_reaction_w_mps2};
use swingd::engine::motion::conditioning::{Faults, Reading};
use swingd::engine::motion::state::{NavState, Parameters};
use swingd::sim::{ImuState, Trajectory};

/// Samples before and after a span, so that all its steps have neighbours.
pub const MARGIN: usize = 3;

pub fn attitude_of(q_ws: UnitQuaternion<f64>) -> Attitude {
    Attitude::from_wxyz([q_ws.w, q_ws.i, q_ws.j, q_ws.k]).expect("a unit quaternion")
}

/// The state at an instant, every parameter zero.
pub fn state_of(imu: &ImuState) -> NavState {
    NavState {
        attitude: attitude_of(imu.q_ws),
        velocity_w_mps: imu.velocity_w_mps,
        position_w_m: imu.position_w_m,
        parameters: Parameters::zeros(),
    }
}

pub fn reading(time_s: f64, gyro_s_radps: Vector3<f64>, accel_s_mps2: Vector3<f64>) -> Reading {
    Reading {
        time_s,
        gyro_s_radps,
        accel_s_mps2,
        rough: false,
        faults: Faults::default(),
        inserted: false,
        gyro_sigma_radps: 0.0,
        accel_sigma_mps2: 0.0,
    }
}

/// `steps` steps of a motion from time 0, with [`MARGIN`] more readings on either side.
pub fn readings(motion: &impl Trajectory, rate_hz: f64, steps: usize) -> Vec<Reading> {
    (0..=steps + 2 * MARGIN)
        .map(|i| (i as f64 - MARGIN as f64) / rate_hz)
        .map(|t_s| {
            let imu = motion.at(t_s);
            reading(t_s, imu.omega_s_radps, imu.specific_force_s_mps2)
        })
        .collect()
}

/// A motion that eases in from a rest and out into one: at its own time `s(t)`, with s' = 0 at both ends.
pub struct Eased<T> {
    pub motion: T,
    /// How long it rests before and after, s.
    pub rest_s: f64,
    /// How long it moves, s.
    pub moving_s: f64,
    /// How much of the motion's own time goes by meanwhile, s.
    pub span_s: f64,
}

impl<T> Eased<T> {
    pub fn end_s(&self) -> f64 {
        2.0 * self.rest_s + self.moving_s
    }

    /// s, s' and s'': 126u⁵ − 420u⁶ + 540u⁷ − 315u⁸ + 70u⁹, flat at both ends to the fourth derivative.
    fn own_time(&self, t_s: f64) -> (f64, f64, f64) {
        let u = ((t_s - self.rest_s) / self.moving_s).clamp(0.0, 1.0);
        let w = u * (1.0 - u);
        let value = u.powi(5) * (126.0 + u * (-420.0 + u * (540.0 + u * (-315.0 + 70.0 * u))));
        let (rate, accel) = (630.0 * w.powi(4), 2520.0 * w.powi(3) * (1.0 - 2.0 * u));
        (self.span_s * value, self.span_s / self.moving_s * rate, self.span_s / self.moving_s.powi(2) * accel)
    }
}

impl<T: Trajectory> Trajectory for Eased<T> {
    fn at(&self, t_s: f64) -> ImuState {
        let (own_s, rate, accel) = self.own_time(t_s);
        let imu = self.motion.at(own_s);
        let up_s = imu.q_ws.inverse() * gravity_reaction_w_mps2();
        let velocity_s = imu.q_ws.inverse() * imu.velocity_w_mps;
        ImuState {
            velocity_w_mps: imu.velocity_w_mps * rate,
            omega_s_radps: imu.omega_s_radps * rate,
            specific_force_s_mps2: (imu.specific_force_s_mps2 - up_s) * rate * rate + velocity_s * accel + up_s,
            ..imu
        }
    }
}

/// Greatest errors at the end of a strapdown integral.
#[derive(Clone, Copy, Debug)]
pub struct Bound {
    pub attitude_rad: f64,
    pub velocity_mps: f64,
    pub position_m: f64,
}

/// What the leading terms of each step's error add up to if they all point the same way.
///
/// Attitude, a step of length h: 11/720·h·‖δ⁴ω‖ of the cubic, and of the Magnus series what dt²/12·ω₀×ω₁ leaves: with
/// a = ω, b = ω', c = ω''/2, d = ω'''/6 in its middle, h⁵ times a×(a×c)/360, b×(a×b)/240, a×(a×(a×b))/720 and b×c/60, a×d/120
/// (the first three: Blanes, Casas, Oteo & Ros, *Phys. Rep.* 470, 2009, sixth-order Magnus; the last two: the same integral
/// ½∫α×ω of such a cubic less the term that is used). Velocity: ‖F‖·h times the attitude's error, the same rule's 11/720 of
/// F = R·f, and a trapezium's h/12·‖δ²F‖ in the first and the last step. Position: a trapezium of the velocity.
pub fn bound(motion: &impl Trajectory, rate_hz: f64, steps: usize) -> Bound {
    let h = 1.0 / rate_hz;
    let rate = |i: usize| motion.at(i as f64 * h).omega_s_radps;
    let force = |i: usize| {
        let imu = motion.at(i as f64 * h);
        imu.q_ws * imu.specific_force_s_mps2
    };
    // Room for rounding: 1e-15 of a turn and of the velocity a step.
    let mut sum = Bound { attitude_rad: 1e-15, velocity_mps: 1e-14, position_m: 1e-14 };
    for i in 0..steps {
        let near = |f: &dyn Fn(usize) -> Vector3<f64>| {
            let first = i.saturating_sub(2);
            [0, 1, 2, 3, 4].map(|k| f(first + k))
        };
        let (omega, forces) = (near(&rate), near(&force));
        sum.attitude_rad += 1e-15 + 1.2 * attitude_step_rad(&omega, h);
        let rule =
            if i == 0 || i + 1 == steps { second(&forces).norm() / 12.0 } else { fourth(&forces) * 11.0 / 720.0 };
        sum.velocity_mps += 1e-14 + h * (forces[2].norm() * sum.attitude_rad + 1.2 * rule);
        sum.position_m += 1e-14 + h * sum.velocity_mps + 1.2 * h * h / 12.0 * (forces[3] - forces[2]).norm();
    }
    sum
}

fn fourth(v: &[Vector3<f64>; 5]) -> f64 {
    (v[0] - v[1] * 4.0 + v[2] * 6.0 - v[3] * 4.0 + v[4]).norm()
}

fn second(v: &[Vector3<f64>; 5]) -> Vector3<f64> {
    v[1] - v[2] * 2.0 + v[3]
}

/// Leading terms of a step's error of attitude, from the angular rates about it.
fn attitude_step_rad(omega: &[Vector3<f64>; 5], h: f64) -> f64 {
    let a = omega[2] * h;
    let b = (omega[3] - omega[1]) * (0.5 * h);
    let c = second(omega) * (0.5 * h);
    let d = (omega[4] - omega[3] * 2.0 + omega[1] * 2.0 - omega[0]) * (h / 12.0);
    let nested = a.cross(&a.cross(&c)).norm() / 360.0
        + b.cross(&a.cross(&b)).norm() / 240.0
        + a.cross(&a.cross(&a.cross(&b))).norm() / 720.0;
    fourth(omega) * h * 11.0 / 720.0 + nested + b.cross(&c).norm() / 60.0 + a.cross(&d).norm() / 120.0
}
