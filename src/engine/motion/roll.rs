//! The bat rolled about its own axis, and what that teaches of the mount.
//!
//! While the bat spins, its angular rate points along its axis: the slope of the rate across the nominal axis against the
//! rate along it is the axis's true direction. The hands wobble, and a wobble that goes round with the bat looks like a
//! tilt. How much of it does is judged by the wobble that goes round somewhat slower or faster than the bat: the same sum
//! as the slope, turned by a part of the bat's own roll angle.

use super::state::{ErrorVector, PARAMETERS, parameter};
use nalgebra::{Matrix3, Vector2, Vector3};

/// A roll is at least this fast, rad/s,
const ROLLING_RADPS: f64 = 4.0;
/// with no more than this part of it, and this much besides, across the axis, rad/s.
const ACROSS_PART: f64 = 0.12;
const ACROSS_RADPS: f64 = 0.8;
/// A roll teaches something from this angle on, both ways counted, rad.
const LEAST_ANGLE_RAD: f64 = 4.0;
/// Pauses within a roll, s.
const PAUSE_S: f64 = 0.4;
/// How much more of the wobble goes round with the bat than beside it: hands push once a turn. Chosen on 40 simulated
/// routines and the rolls of a few other recordings.
const WITH_THE_TURN: f64 = 2.6;
/// Parts of the roll angle by which the wobble is turned to judge it.
const TURNED_BY: [f64; 6] = [-1.3, -0.8, -0.45, 0.45, 0.8, 1.3];
/// What a long roll leaves of doubt: hands do not turn a bat about its axis exactly, rad.
const LEAST_SIGMA_RAD: f64 = 1.5e-3;

/// A roll that has ended.
#[derive(Clone, Debug, PartialEq)]
pub struct Roll {
    /// When it began and ended, s.
    pub from_s: f64,
    /// See `from_s`.
    pub to_s: f64,
    /// Both ways counted, rad.
    pub angle_rad: f64,
    /// Slope of the rate across the nominal axis (B's x and y) against the rate along it.
    pub slope_b: Vector2<f64>,
    /// 1 σ of the slope by the wobble.
    pub sigma: f64,
    /// Means, weighted by the rate along the axis and divided by its mean square: of 1, of the reading, of the force.
    weight_s_per_rad: f64,
    gyro: Vector3<f64>,
    force: Vector3<f64>,
}

/// Sums with the rate across the axis turned by a part of the roll angle, and with the rate along it turned alike.
#[derive(Clone, Copy, Debug, Default)]
struct Turned {
    across: Vector2<f64>,
    along: Vector2<f64>,
}

/// Watches for rolls.
#[derive(Clone, Debug, Default)]
pub struct RollWatch {
    from_s: f64,
    last_s: f64,
    lasted_s: f64,
    angle_rad: f64,
    along_square: f64,
    along: f64,
    across: Vector2<f64>,
    roll_rad: f64,
    turned: [Turned; TURNED_BY.len()],
    gyro: Vector3<f64>,
    force: Vector3<f64>,
}

impl RollWatch {
    /// The next sample: corrected rate in nominal B, reading and force in S, and the step before it. Gives a roll when
    /// one has ended.
    pub fn push(
        &mut self,
        time_s: f64,
        dt_s: f64,
        omega_b: Vector3<f64>,
        gyro_s: Vector3<f64>,
        force_s: Vector3<f64>,
    ) -> Option<Roll> {
        let rolling =
            omega_b.z.abs() > ROLLING_RADPS && omega_b.xy().norm() < ACROSS_RADPS + ACROSS_PART * omega_b.z.abs();
        if !rolling {
            let over = self.lasted_s > 0.0 && time_s - self.last_s > PAUSE_S;
            return if over { std::mem::take(self).roll() } else { None };
        }
        if self.lasted_s == 0.0 {
            self.from_s = time_s;
        }
        let weight = omega_b.z * dt_s;
        self.last_s = time_s;
        self.lasted_s += dt_s;
        self.angle_rad += weight.abs();
        self.along_square += weight * omega_b.z;
        self.along += weight;
        self.across += omega_b.xy() * weight;
        self.roll_rad += weight;
        for (turned, part) in self.turned.iter_mut().zip(TURNED_BY) {
            let (sine, cosine) = (part * self.roll_rad).sin_cos();
            let (x, y) = (omega_b.x, omega_b.y);
            turned.across += Vector2::new(x * cosine - y * sine, x * sine + y * cosine) * weight;
            turned.along += Vector2::new(cosine, sine) * (weight * omega_b.z);
        }
        self.gyro += gyro_s * weight;
        self.force += force_s * weight;
        None
    }

    /// Whether no roll is under way.
    pub fn is_idle(&self) -> bool {
        self.lasted_s == 0.0
    }

    fn roll(self) -> Option<Roll> {
        if self.angle_rad < LEAST_ANGLE_RAD {
            return None;
        }
        let slope_b = self.across / self.along_square;
        // What the slope itself leaves in a turned sum is taken out: a complex product.
        let left = |t: &Turned| {
            let own = Vector2::new(
                slope_b.x * t.along.x - slope_b.y * t.along.y,
                slope_b.x * t.along.y + slope_b.y * t.along.x,
            );
            (t.across - own).norm_squared()
        };
        let power: f64 = self.turned.iter().map(left).sum::<f64>() / TURNED_BY.len() as f64;
        let sigma = WITH_THE_TURN * (power / 2.0).sqrt() / self.along_square;
        Some(Roll {
            from_s: self.from_s,
            to_s: self.last_s,
            angle_rad: self.angle_rad,
            slope_b,
            sigma: sigma.hypot(LEAST_SIGMA_RAD),
            weight_s_per_rad: self.along / self.along_square,
            gyro: self.gyro / self.along_square,
            force: self.force / self.along_square,
        })
    }
}

impl Roll {
    /// The two measurements that it makes of the error state: row, value, σ. `r_bs` is the nominal mount, `tilt_rad` the
    /// tilt it was corrected with: the axis in nominal B is (−tilt_y, tilt_x, 1) to first order.
    pub fn measurements(&self, r_bs: &Matrix3<f64>, tilt_rad: Vector2<f64>) -> [(ErrorVector, f64, f64); 2] {
        let row = |axis: usize, place: usize, sign: f64| {
            let mut row = ErrorVector::zeros();
            row[PARAMETERS + place] = sign;
            for i in 0..3 {
                let part = r_bs[(axis, i)];
                row[PARAMETERS + parameter::GYRO_BIAS + i] = part * self.weight_s_per_rad;
                for j in 0..3 {
                    row[PARAMETERS + parameter::GYRO_MATRIX + 3 * i + j] = -part * self.gyro[j];
                    row[PARAMETERS + parameter::GYRO_FORCE + 3 * i + j] = part * self.force[j];
                }
            }
            row
        };
        [
            (row(0, parameter::TILT + 1, -1.0), self.slope_b.x + tilt_rad.y, self.sigma),
            (row(1, parameter::TILT, 1.0), self.slope_b.y - tilt_rad.x, self.sigma),
        ]
    }
}

#[cfg(test)]
mod tests;
