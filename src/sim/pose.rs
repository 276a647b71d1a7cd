//! Rigid-body kinematics: from coordinates with their derivatives to what points of the bat and a sensor on it do.

use super::curve::Jet;
use crate::engine::geometry::gravity_reaction_w_mps2;
use nalgebra::{Quaternion, UnitQuaternion, Vector3};
use std::f64::consts::PI;

/// What an ideal IMU at one point does and reads.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ImuState {
    /// q_WS.
    pub q_ws: UnitQuaternion<f64>,
    /// Position in W, m.
    pub position_w_m: Vector3<f64>,
    /// Velocity in W, m/s.
    pub velocity_w_mps: Vector3<f64>,
    /// Angular rate in S, rad/s.
    pub omega_s_radps: Vector3<f64>,
    /// Specific force in S, m/s²: R_WSᵀ (a + g).
    pub specific_force_s_mps2: Vector3<f64>,
}

/// A motion of an IMU that is known exactly at every instant.
pub trait Trajectory {
    /// The IMU at a time on the true clock.
    fn at(&self, t_s: f64) -> ImuState;

    /// Whether anything between the two times is too quick to be interpolated from points 2 ms apart.
    fn is_brisk(&self, from_s: f64, to_s: f64) -> bool {
        let _ = (from_s, to_s);
        true
    }
}

/// One axis of a frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Axis {
    X,
    Y,
    Z,
}

/// A rotation with its angular velocity and acceleration, both in the turned frame.
#[derive(Clone, Copy, Debug)]
pub struct Turning {
    pub q: UnitQuaternion<f64>,
    pub omega_radps: Vector3<f64>,
    pub alpha_radps2: Vector3<f64>,
}

impl Turning {
    pub fn fixed(q: UnitQuaternion<f64>) -> Self {
        Self { q, omega_radps: Vector3::zeros(), alpha_radps2: Vector3::zeros() }
    }

    /// Followed by a turn about an axis of the frame reached so far.
    ///
    /// With Rᵢ the added turn by the angle a about e: ω' = Rᵢᵀω + ȧe and, since d(Rᵢᵀ)/dt = −[ȧe]ₓRᵢᵀ,
    /// α' = Rᵢᵀα − ȧe × Rᵢᵀω + äe.
    pub fn then(self, axis: Axis, angle: Jet) -> Self {
        let (sin, cos) = angle.value.sin_cos();
        let (half_sin, half_cos) = (0.5 * angle.value).sin_cos();
        let back = |v: Vector3<f64>| match axis {
            Axis::X => Vector3::new(v.x, cos * v.y + sin * v.z, cos * v.z - sin * v.y),
            Axis::Y => Vector3::new(cos * v.x - sin * v.z, v.y, cos * v.z + sin * v.x),
            Axis::Z => Vector3::new(cos * v.x + sin * v.y, cos * v.y - sin * v.x, v.z),
        };
        let e = match axis {
            Axis::X => Vector3::x(),
            Axis::Y => Vector3::y(),
            Axis::Z => Vector3::z(),
        };
        let carried = back(self.omega_radps);
        let turn = Quaternion::from_parts(half_cos, e * half_sin);
        Self {
            q: UnitQuaternion::new_unchecked(self.q.into_inner() * turn),
            omega_radps: carried + e * angle.rate,
            alpha_radps2: back(self.alpha_radps2) - (e * angle.rate).cross(&carried) + e * angle.accel,
        }
    }
}

/// The bat's attitude by three angles: its axis's heading about z, its elevation, and the roll about itself, rad.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Angles {
    pub heading_rad: f64,
    pub elevation_rad: f64,
    pub roll_rad: f64,
}

impl Angles {
    pub fn new(heading_rad: f64, elevation_rad: f64, roll_rad: f64) -> Self {
        Self { heading_rad, elevation_rad, roll_rad }
    }

    pub fn of(q: &UnitQuaternion<f64>) -> Self {
        let axis = q * Vector3::z();
        let heading_rad = axis.y.atan2(axis.x);
        let elevation_rad = axis.z.clamp(-1.0, 1.0).asin();
        let unrolled = Self::new(heading_rad, elevation_rad, 0.0).quaternion();
        let roll = unrolled.inverse() * q;
        Self::new(heading_rad, elevation_rad, 2.0 * roll.k.atan2(roll.w))
    }

    pub fn quaternion(self) -> UnitQuaternion<f64> {
        let angles = [self.heading_rad, self.elevation_rad, self.roll_rad].map(Jet::constant);
        turned_by_angles(UnitQuaternion::identity(), angles).q
    }

    /// Sum of the turns of the three angles from `from`, rad.
    pub fn turn_rad(self, from: Angles) -> f64 {
        (self.heading_rad - from.heading_rad).abs()
            + (self.elevation_rad - from.elevation_rad).abs()
            + (self.roll_rad - from.roll_rad).abs()
    }

    /// `self` with whole turns added so that heading and roll are the nearest to those of `from`.
    pub fn nearest_to(self, from: Angles) -> Self {
        let near = |to: f64, from: f64| from + (to - from + PI).rem_euclid(2.0 * PI) - PI;
        Self {
            heading_rad: near(self.heading_rad, from.heading_rad),
            elevation_rad: self.elevation_rad,
            roll_rad: near(self.roll_rad, from.roll_rad),
        }
    }
}

/// `frame` · Rz(heading) · Ry(π/2 − elevation) · Rz(roll).
pub fn turned_by_angles(frame: UnitQuaternion<f64>, [heading, elevation, roll]: [Jet; 3]) -> Turning {
    let polar = Jet::constant(std::f64::consts::FRAC_PI_2) + -1.0 * elevation;
    Turning::fixed(frame).then(Axis::Z, heading).then(Axis::Y, polar).then(Axis::Z, roll)
}

/// The bat with its derivatives, by its attitude and one point of its axis.
#[derive(Clone, Copy, Debug)]
pub struct BatKinematics {
    /// q_WB, angular velocity and acceleration in B.
    pub turning: Turning,
    /// Distance of the point from the knob end, m.
    pub reference_m: f64,
    /// The point's position, velocity and acceleration in W.
    pub position_w_m: Vector3<f64>,
    pub velocity_w_mps: Vector3<f64>,
    pub acceleration_w_mps2: Vector3<f64>,
}

impl BatKinematics {
    /// Position and velocity in W of a point given in B.
    pub fn point(&self, point_b_m: Vector3<f64>) -> (Vector3<f64>, Vector3<f64>) {
        let arm_b_m = point_b_m - Vector3::z() * self.reference_m;
        let q = self.turning.q;
        (self.position_w_m + q * arm_b_m, self.velocity_w_mps + q * self.turning.omega_radps.cross(&arm_b_m))
    }

    /// Specific force in B at a point of B: Rᵀ(a + g) + α × r + ω × (ω × r).
    pub fn specific_force_b_mps2(&self, point_b_m: Vector3<f64>) -> Vector3<f64> {
        let arm_b_m = point_b_m - Vector3::z() * self.reference_m;
        let Turning { q, omega_radps, alpha_radps2 } = self.turning;
        q.inverse() * (self.acceleration_w_mps2 + gravity_reaction_w_mps2())
            + alpha_radps2.cross(&arm_b_m)
            + omega_radps.cross(&omega_radps.cross(&arm_b_m))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn angles_at(t: f64) -> [Jet; 3] {
        [(0.7, 2.1, 0.3), (0.5, 3.0, 1.0), (1.4, 1.3, -0.2)].map(|(a, w, p)| Jet::sine(a, w, w * t + p))
    }

    #[test]
    fn angular_velocity_and_acceleration_agree_with_differences_of_the_attitude() {
        let frame = UnitQuaternion::from_euler_angles(0.3, -0.4, 1.1);
        let h = 1e-4;
        for i in 0..50 {
            let t = 0.1 * f64::from(i);
            let [before, now, after] = [t - h, t, t + h].map(|t| turned_by_angles(frame, angles_at(t)));
            let turned = (before.q.inverse() * after.q).scaled_axis() / (2.0 * h);
            // Over ±h the rotation vector in the middle frame errs by h²/6 of the third derivative (< 200 here).
            assert!((turned - now.omega_radps).norm() < 1e-6, "{t}");
            let alpha = (after.omega_radps - before.omega_radps) / (2.0 * h);
            assert!((alpha - now.alpha_radps2).norm() < 1e-5, "{t}");
        }
    }

    #[test]
    fn angles_and_quaternion_go_both_ways() {
        for angles in [Angles::new(0.4, -0.9, 2.0), Angles::new(-3.0, 1.2, -1.0), Angles::new(0.0, 0.0, 3.1)] {
            let back = Angles::of(&angles.quaternion()).nearest_to(angles);
            assert!((back.heading_rad - angles.heading_rad).abs() < 1e-12);
            assert!((back.elevation_rad - angles.elevation_rad).abs() < 1e-12);
            assert!((back.roll_rad - angles.roll_rad).abs() < 1e-12);
        }
        let up = Angles::new(1.0, 0.5, 0.0).quaternion() * Vector3::z();
        assert!((up - Vector3::new(0.5f64.cos() * 1f64.cos(), 0.5f64.cos() * 1f64.sin(), 0.5f64.sin())).norm() < 1e-12);
    }
}
