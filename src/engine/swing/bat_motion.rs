//! The bat's motion on a window's grid, from the state at the filter's node: strapdown both ways from there, then the
//! lever arm v + ω × r to the hands.

use super::Contact;
use super::window::{Signal, Window};
use crate::engine::geometry::{Attitude, gravity_reaction_w_mps2};
use crate::engine::metrics::{BatMotion, BatState, HANDS_FROM_KNOB_M};
use crate::engine::motion::state::{Correction, NavState, parameter};
use crate::engine::motion::strapdown::{coning, middle_integral, trapezium};
use crate::engine::profile::Profile;
use nalgebra::{UnitQuaternion, Vector3};

/// What a motion is computed for.
pub struct Probe {
    /// The state at the node.
    pub state: NavState,
    /// By how much the mount's offset is off, in B, m.
    pub offset_error_b_m: Vector3<f64>,
}

impl Probe {
    /// With the mount's offset as the profile has it.
    pub fn of(state: &NavState) -> Self {
        Self { state: state.clone(), offset_error_b_m: Vector3::zeros() }
    }
}

/// The bat's motion on the window's grid, from the state at the node.
pub fn bat_motion(window: &Window, probe: &Probe, profile: &Profile, contact: Contact) -> BatMotion {
    let correction = Correction::new(&probe.state.parameters);
    let arms = Arms::new(profile, &probe.state, probe.offset_error_b_m);
    let h = window.step_s;
    let omegas: Vec<Vector3<f64>> = window.signals.iter().map(|s| omega(&correction, s)).collect();
    let n = omegas.len();
    let node_place = window.contact as f64 + window.node_s / h;
    let anchor = (node_place.floor().max(0.0) as usize).min(n - 1);
    let attitudes = attitudes(window, &correction, &omegas, anchor, probe.state.attitude);
    let forces: Vec<Vector3<f64>> =
        (0..n).map(|k| attitudes[k].to_world(correction.force_s_mps2(window.signals[k].accel_s_mps2))).collect();
    let anchor_s = (anchor as f64 - window.contact as f64) * h;
    let node_force = probe.state.attitude.to_world(correction.force_s_mps2(window.node.accel_s_mps2));
    let gravity = gravity_reaction_w_mps2();
    let anchor_velocity = probe.state.velocity_w_mps
        - trapezium(forces[anchor] - gravity, node_force - gravity, window.node_s - anchor_s);
    let mut velocities = vec![anchor_velocity; n];
    let mut positions = vec![Vector3::zeros(); n];
    let gain = |k: usize| increment(&forces, k, h) - gravity * h;
    for k in anchor..n.saturating_sub(1) {
        velocities[k + 1] = velocities[k] + gain(k);
    }
    for k in (0..anchor).rev() {
        velocities[k] = velocities[k + 1] - gain(k);
    }
    for k in 0..n.saturating_sub(1) {
        // The trapezium, less what it errs by the change of acceleration.
        positions[k + 1] = positions[k]
            + (velocities[k] + velocities[k + 1]) * (0.5 * h)
            + (forces[k] - forces[k + 1]) * (h * h / 12.0);
    }
    BatMotion {
        times_s: (0..n).map(|k| (k as f64 - window.contact as f64) * h).collect(),
        states: (0..n).map(|k| arms.bat_state(attitudes[k], omegas[k], velocities[k], positions[k])).collect(),
        contact: window.contact,
        ball: contact == Contact::Ball,
    }
}

fn omega(correction: &Correction, signal: &Signal) -> Vector3<f64> {
    correction.omega_s_radps(signal.gyro_s_radps, correction.force_s_mps2(signal.accel_s_mps2))
}

fn attitudes(
    window: &Window,
    correction: &Correction,
    omegas: &[Vector3<f64>],
    anchor: usize,
    at_node: Attitude,
) -> Vec<Attitude> {
    let h = window.step_s;
    let anchor_s = (anchor as f64 - window.contact as f64) * h;
    let node_omega = omega(correction, &window.node);
    let to_node = trapezium(omegas[anchor], node_omega, window.node_s - anchor_s);
    let mut out = vec![at_node.turned_in_sensor(-to_node); omegas.len()];
    let turn = |k: usize| increment(omegas, k, h) + coning(omegas[k], omegas[k + 1], h);
    for k in anchor..omegas.len() - 1 {
        out[k + 1] = out[k].turned_in_sensor(turn(k));
    }
    for k in (0..anchor).rev() {
        out[k] = out[k + 1].turned_in_sensor(-turn(k));
    }
    out
}

/// ∫ from grid point k to the next.
fn increment(values: &[Vector3<f64>], k: usize, h: f64) -> Vector3<f64> {
    if k >= 1 && k + 2 < values.len() {
        middle_integral(values[k - 1], values[k], values[k + 1], values[k + 2], h)
    } else {
        trapezium(values[k], values[k + 1], h)
    }
}

/// Geometry of the bat as seen from the sensor.
struct Arms {
    q_sb: UnitQuaternion<f64>,
    hands_from_imu_b_m: Vector3<f64>,
}

impl Arms {
    fn new(profile: &Profile, state: &NavState, offset_error_b_m: Vector3<f64>) -> Self {
        let tilt = Vector3::new(state.parameters[parameter::TILT], state.parameters[parameter::TILT + 1], 0.0);
        let q_bs = UnitQuaternion::from_scaled_axis(tilt) * profile.mount.q_bs;
        let offset = profile.mount.offset_b_m + offset_error_b_m;
        Self { q_sb: q_bs.inverse(), hands_from_imu_b_m: Vector3::new(0.0, 0.0, HANDS_FROM_KNOB_M) - offset }
    }

    fn bat_state(
        &self,
        attitude: Attitude,
        omega_s: Vector3<f64>,
        velocity_w_mps: Vector3<f64>,
        position_w_m: Vector3<f64>,
    ) -> BatState {
        let omega_w_radps = attitude.to_world(omega_s);
        let arm_w_m = attitude.to_world(self.q_sb * self.hands_from_imu_b_m);
        BatState {
            axis_w: attitude.to_world(self.q_sb * Vector3::z()),
            omega_w_radps,
            hands_w_m: position_w_m + arm_w_m,
            velocity_hands_w_mps: velocity_w_mps + omega_w_radps.cross(&arm_w_m),
        }
    }
}

#[cfg(test)]
mod tests;
