//! The bat's motion around one contact, as the metrics read it.

use nalgebra::Vector3;

/// The bat at one instant. All vectors in W.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BatState {
    /// The bat's axis, unit, from knob to barrel tip.
    pub axis_w: Vector3<f64>,
    /// Angular velocity, rad/s.
    pub omega_w_radps: Vector3<f64>,
    /// Position of the hands point, m, from an arbitrary origin.
    pub hands_w_m: Vector3<f64>,
    /// Velocity of the hands point, m/s.
    pub velocity_hands_w_mps: Vector3<f64>,
}

/// Distance of the hands point from the knob end, m: the 6 in pivot point of ASTM F2398.
pub const HANDS_FROM_KNOB_M: f64 = 0.1524;

impl BatState {
    /// Position of the point of the axis `from_knob_m` from the knob end, m.
    pub fn position_w_m(&self, from_knob_m: f64) -> Vector3<f64> {
        self.hands_w_m + self.axis_w * (from_knob_m - HANDS_FROM_KNOB_M)
    }

    /// Velocity of that point, m/s: v + ω × r.
    pub fn velocity_w_mps(&self, from_knob_m: f64) -> Vector3<f64> {
        self.velocity_hands_w_mps + self.omega_w_radps.cross(&(self.axis_w * (from_knob_m - HANDS_FROM_KNOB_M)))
    }

    /// The part of the angular velocity across the bat's axis, rad/s.
    pub fn omega_across_radps(&self) -> f64 {
        (self.omega_w_radps - self.axis_w * self.omega_w_radps.dot(&self.axis_w)).norm()
    }
}

/// States in the order of time, the blow left out: up to contact as it was, after it only for a swing that met nothing.
#[derive(Clone, Debug, PartialEq)]
pub struct BatMotion {
    /// Seconds from contact, strictly increasing, about evenly spaced; `times_s[contact]` is 0.
    pub times_s: Vec<f64>,
    /// One state a time.
    pub states: Vec<BatState>,
    /// The place of the state just before contact (the limit from the left).
    pub contact: usize,
    /// Whether a ball was met: then nothing after `contact` is to be read.
    pub ball: bool,
}
