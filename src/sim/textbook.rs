//! Motions with closed-form solutions, as an IMU goes through them: what integration is measured against.
//!
//! Each is exact to rounding at every instant. Their attitudes, rates, velocities and specific forces are held against
//! each other by differences in time in this module's tests.

use super::elliptic::{complete_k, jacobi};
use super::pose::{ImuState, Trajectory};
use crate::engine::geometry::{G_MPS2, gravity_reaction_w_mps2};
use nalgebra::{Quaternion, UnitQuaternion, Vector3};
use std::f64::consts::PI;

/// Specific force of an IMU that moves with an acceleration: R_WSᵀ (a + g).
fn specific_force(q_ws: &UnitQuaternion<f64>, acceleration_w_mps2: Vector3<f64>) -> Vector3<f64> {
    q_ws.inverse() * (acceleration_w_mps2 + gravity_reaction_w_mps2())
}

/// An IMU that turns in place.
fn turning_in_place(q_ws: UnitQuaternion<f64>, omega_s_radps: Vector3<f64>) -> ImuState {
    ImuState {
        q_ws,
        position_w_m: Vector3::zeros(),
        velocity_w_mps: Vector3::zeros(),
        omega_s_radps,
        specific_force_s_mps2: specific_force(&q_ws, Vector3::zeros()),
    }
}

/// Steady rotation about an axis fixed in W, the IMU off the axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ConstantRotation {
    /// Angular velocity in W (and, with the attitude starting at one, in S), rad/s.
    pub omega_radps: Vector3<f64>,
    /// The IMU's position in S from the axis, m.
    pub arm_s_m: Vector3<f64>,
}

impl Trajectory for ConstantRotation {
    fn at(&self, t_s: f64) -> ImuState {
        let (omega, arm) = (self.omega_radps, self.arm_s_m);
        let q_ws = UnitQuaternion::from_scaled_axis(omega * t_s);
        let centripetal_s = omega.cross(&omega.cross(&arm));
        ImuState {
            q_ws,
            position_w_m: q_ws * arm,
            velocity_w_mps: q_ws * omega.cross(&arm),
            omega_s_radps: omega,
            specific_force_s_mps2: specific_force(&q_ws, Vector3::zeros()) + centripetal_s,
        }
    }
}

/// Coning: the rotation vector has a steady length and goes round in the y-z plane (Goodman & Robinson, *J. Appl. Mech.*
/// 25, 1958; Bortz, *IEEE Trans. AES* 7, 1971).
///
/// ω_S = Ω (cos β − 1, −sin β sin Ωt, sin β cos Ωt): the mean rate about x is not zero although the attitude comes back.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Coning {
    /// Half angle of the cone β, rad.
    pub half_angle_rad: f64,
    /// Rate Ω at which it is gone round, rad/s.
    pub rate_radps: f64,
}

impl Trajectory for Coning {
    fn at(&self, t_s: f64) -> ImuState {
        let (sin, cos) = (self.rate_radps * t_s).sin_cos();
        let (sin_cone, cos_cone) = self.half_angle_rad.sin_cos();
        let q_ws = UnitQuaternion::from_scaled_axis(Vector3::new(0.0, cos, sin) * self.half_angle_rad);
        let omega_s_radps = Vector3::new(cos_cone - 1.0, -sin_cone * sin, sin_cone * cos) * self.rate_radps;
        turning_in_place(q_ws, omega_s_radps)
    }
}

/// Sculling: turning to and fro about x in step with moving to and fro along y (Savage, *J. Guid. Control Dyn.* 21,
/// 1998, part 2).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sculling {
    /// Amplitude of the turn, rad.
    pub turn_rad: f64,
    /// Amplitude of the move, m.
    pub move_m: f64,
    /// Rate of both, rad/s.
    pub rate_radps: f64,
}

impl Trajectory for Sculling {
    fn at(&self, t_s: f64) -> ImuState {
        let (sin, cos) = (self.rate_radps * t_s).sin_cos();
        let along = Vector3::y() * self.move_m;
        let q_ws = UnitQuaternion::from_scaled_axis(Vector3::x() * (self.turn_rad * sin));
        ImuState {
            q_ws,
            position_w_m: along * sin,
            velocity_w_mps: along * (self.rate_radps * cos),
            omega_s_radps: Vector3::x() * (self.turn_rad * self.rate_radps * cos),
            specific_force_s_mps2: specific_force(&q_ws, along * (-self.rate_radps * self.rate_radps * sin)),
        }
    }
}

/// Uniform motion in a level circle, the IMU facing along its way: −v²/r on one axis, nothing on the other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UniformCircle {
    /// The circle's radius, m.
    pub radius_m: f64,
    /// Rate of going round, rad/s.
    pub rate_radps: f64,
}

impl Trajectory for UniformCircle {
    fn at(&self, t_s: f64) -> ImuState {
        let (omega, arm) = (Vector3::z() * self.rate_radps, Vector3::x() * self.radius_m);
        ConstantRotation { omega_radps: omega, arm_s_m: arm }.at(t_s)
    }
}

/// `Rz(φ) · Rx(θ) · Rz(ψ)`, Euler's angles of Landau & Lifshitz, § 35.
fn euler(phi: f64, theta: f64, psi: f64) -> UnitQuaternion<f64> {
    let about = |axis: Vector3<f64>, angle: f64| UnitQuaternion::from_scaled_axis(axis * angle);
    about(Vector3::z(), phi) * about(Vector3::x(), theta) * about(Vector3::z(), psi)
}

/// A symmetric top free of torque (Landau & Lifshitz, *Mechanics*, §§ 33, 36): it precesses steadily about its angular
/// momentum, which points up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SymmetricTop {
    /// Moment of inertia across the axis of symmetry, kg m².
    pub moi_across_kgm2: f64,
    /// Moment of inertia about it, kg m².
    pub moi_along_kgm2: f64,
    /// Angular momentum, kg m²/s.
    pub momentum_kgm2ps: f64,
    /// Angle between the axis of symmetry and the angular momentum, rad.
    pub tilt_rad: f64,
}

impl Trajectory for SymmetricTop {
    fn at(&self, t_s: f64) -> ImuState {
        let (sin, cos) = self.tilt_rad.sin_cos();
        let precession_radps = self.momentum_kgm2ps / self.moi_across_kgm2;
        let spin_radps = self.momentum_kgm2ps * cos / self.moi_along_kgm2;
        let psi = (spin_radps - precession_radps * cos) * t_s;
        let omega_s_radps =
            Vector3::new(precession_radps * sin * psi.sin(), precession_radps * sin * psi.cos(), spin_radps);
        turning_in_place(euler(precession_radps * t_s, self.tilt_rad, psi), omega_s_radps)
    }
}

/// Harmonics kept of the precession of a [`Tumble`].
const HARMONICS: usize = 96;

/// An asymmetric top free of torque, turning over about its intermediate axis (Landau & Lifshitz, *Mechanics*, § 37):
/// rates in the body by Jacobi functions, θ and ψ from the angular momentum, which points up, and φ from its rate.
///
/// The book gives φ by theta functions; here its rate, even and periodic in time with 2K, is developed in cosines from
/// points even in time, which converges as fast, and integrated term by term.
#[derive(Clone, Debug, PartialEq)]
pub struct Tumble {
    moi_kgm2: [f64; 3],
    momentum_kgm2ps: f64,
    /// Amplitudes of the rates about the three axes.
    amplitude_radps: [f64; 3],
    /// τ = rate · t.
    rate_per_s: f64,
    parameter: f64,
    /// Of φ': mean and cosines.
    precession_radps: [f64; HARMONICS],
}

impl Tumble {
    /// From I₁ < I₂ < I₃, and the rates about the first and third axis at time 0, when that about the second is zero.
    ///
    /// `None` unless the moments rise and the path is one about the third axis, M² > 2 E I₂.
    pub fn new(moi_kgm2: [f64; 3], omega1_radps: f64, omega3_radps: f64) -> Option<Self> {
        let [i1, i2, i3] = moi_kgm2;
        let twice_energy = i1 * omega1_radps.powi(2) + i3 * omega3_radps.powi(2);
        let square = (i1 * omega1_radps).powi(2) + (i3 * omega3_radps).powi(2);
        if !(0.0 < i1 && i1 < i2 && i2 < i3 && square > twice_energy * i2) {
            return None;
        }
        let (above, below) = (twice_energy * i3 - square, square - twice_energy * i1);
        let mut tumble = Self {
            moi_kgm2,
            momentum_kgm2ps: square.sqrt(),
            amplitude_radps: [
                (above / (i1 * (i3 - i1))).sqrt(),
                (above / (i2 * (i3 - i2))).sqrt(),
                (below / (i3 * (i3 - i1))).sqrt(),
            ],
            rate_per_s: ((i3 - i2) * below / (i1 * i2 * i3)).sqrt(),
            parameter: (i2 - i1) * above / ((i3 - i2) * below),
            precession_radps: [0.0; HARMONICS],
        };
        tumble.precession_radps = tumble.harmonics();
        Some(tumble)
    }

    /// Time after which the rates in the body come back, s: 4K over the rate.
    pub fn period_s(&self) -> f64 {
        4.0 * complete_k(self.parameter) / self.rate_per_s
    }

    fn omega(&self, t_s: f64) -> Vector3<f64> {
        let [sn, cn, dn] = jacobi(self.rate_per_s * t_s, self.parameter);
        let [a, b, c] = self.amplitude_radps;
        Vector3::new(a * cn, b * sn, c * dn)
    }

    /// φ' = M (I₁ω₁² + I₂ω₂²) / (I₁²ω₁² + I₂²ω₂²) (37.16).
    fn precession(&self, t_s: f64) -> f64 {
        let (omega, [i1, i2, _]) = (self.omega(t_s), self.moi_kgm2);
        let (x, y) = (omega.x * omega.x, omega.y * omega.y);
        self.momentum_kgm2ps * (i1 * x + i2 * y) / (i1 * i1 * x + i2 * i2 * y)
    }

    fn harmonics(&self) -> [f64; HARMONICS] {
        let points = 4 * HARMONICS;
        let half_period_s = 0.5 * self.period_s();
        let values: Vec<f64> = (0..points).map(|i| self.precession(half_period_s * i as f64 / points as f64)).collect();
        std::array::from_fn(|k| {
            let scale = if k == 0 { 1.0 } else { 2.0 } / points as f64;
            let turn = 2.0 * PI * k as f64 / points as f64;
            scale * values.iter().enumerate().map(|(i, value)| value * (turn * i as f64).cos()).sum::<f64>()
        })
    }

    fn phi(&self, t_s: f64) -> f64 {
        let base_radps = 4.0 * PI / self.period_s();
        let wave = |k: usize| {
            let rate_radps = base_radps * k as f64;
            self.precession_radps[k] * (rate_radps * t_s).sin() / rate_radps
        };
        self.precession_radps[0] * t_s + (1..HARMONICS).map(wave).sum::<f64>()
    }
}

impl Trajectory for Tumble {
    fn at(&self, t_s: f64) -> ImuState {
        let omega = self.omega(t_s);
        let [i1, i2, i3] = self.moi_kgm2;
        let up_s = Vector3::new(i1 * omega.x, i2 * omega.y, i3 * omega.z) / self.momentum_kgm2ps;
        let theta = up_s.xy().norm().atan2(up_s.z);
        turning_in_place(euler(self.phi(t_s), theta, up_s.x.atan2(up_s.y)), omega)
    }
}

/// A pendulum let go from a large angle, turning about y, the IMU off the pivot: sin(θ/2) = k sn(ω₀t + K), k = sin(θ₀/2)
/// (Landau & Lifshitz, *Mechanics*, § 11 problem 1, for the period).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pendulum {
    /// The angle it is let go from, rad, below π.
    pub amplitude_rad: f64,
    /// Length of the simple pendulum of the same period, m.
    pub equal_length_m: f64,
    /// The IMU's position in S from the pivot, m; the pendulum's own centre hangs at −z.
    pub arm_s_m: Vector3<f64>,
}

impl Pendulum {
    fn modulus(&self) -> f64 {
        (0.5 * self.amplitude_rad).sin()
    }

    fn small_rate_radps(&self) -> f64 {
        (G_MPS2 / self.equal_length_m).sqrt()
    }

    /// 4 K(k) √(l/g), s.
    pub fn period_s(&self) -> f64 {
        4.0 * complete_k(self.modulus().powi(2)) / self.small_rate_radps()
    }
}

impl Trajectory for Pendulum {
    fn at(&self, t_s: f64) -> ImuState {
        let (k, rate) = (self.modulus(), self.small_rate_radps());
        let [sn, cn, dn] = jacobi(rate * t_s + complete_k(k * k), k * k);
        let q_ws = UnitQuaternion::new_unchecked(Quaternion::new(dn, 0.0, k * sn, 0.0));
        let omega = Vector3::y() * (2.0 * k * rate * cn);
        // θ'' = −ω₀² sin θ, sin θ = 2 sin(θ/2) cos(θ/2).
        let alpha = Vector3::y() * (-rate * rate * 2.0 * k * sn * dn);
        let arm = self.arm_s_m;
        ImuState {
            q_ws,
            position_w_m: q_ws * arm,
            velocity_w_mps: q_ws * omega.cross(&arm),
            omega_s_radps: omega,
            specific_force_s_mps2: specific_force(&q_ws, Vector3::zeros())
                + alpha.cross(&arm)
                + omega.cross(&omega.cross(&arm)),
        }
    }
}

#[cfg(test)]
mod tests;
