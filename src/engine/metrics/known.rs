//! Motions with known answers, for the tests of this folder.

use super::{BatMotion, BatState, HANDS_FROM_KNOB_M, Values, evaluate};
use crate::engine::profile::{Bat, Side, SwingContext};
use nalgebra::{Rotation3, Unit, Vector3};

pub(super) const BAT: Bat = Bat {
    length_m: 0.838,
    mass_kg: 0.85,
    balance_m: 0.55,
    moi_knob6_kgm2: 0.20,
    sweet_spot_m: 0.686,
    barrel_diameter_m: 0.066,
};

/// A pitch of 20 m/s that descends by 8°.
pub(super) fn context() -> SwingContext {
    SwingContext { side: Side::Right, pitch_speed_mps: 20.0, pitch_descent_deg: 8.0 }
}

/// A bat that turns rigidly about a fixed line through the origin, with the sweet spot heading along +x, as seen from
/// above counter-clockwise, at time zero.
#[derive(Clone, Copy)]
pub(super) struct Turning {
    /// The plane of the turn against the horizontal, about x, rad.
    pub(super) plane_rad: f64,
    /// The bat's axis out of the plane of the turn, rad.
    pub(super) cone_rad: f64,
    /// From the centre to the hands, along the bat, m.
    pub(super) hands_m: f64,
}

impl Turning {
    pub(super) fn about(&self) -> Unit<Vector3<f64>> {
        Unit::new_normalize(Vector3::new(0.0, -self.plane_rad.sin(), self.plane_rad.cos()))
    }

    /// The bat turned by `angle_rad`, at `rate_radps`. At angle zero the bat points along −y (and out of the plane).
    pub(super) fn at(&self, angle_rad: f64, rate_radps: f64) -> BatState {
        let about = self.about();
        let outward = Vector3::new(0.0, -self.plane_rad.cos(), -self.plane_rad.sin());
        let axis_0 = outward * self.cone_rad.cos() + about.into_inner() * self.cone_rad.sin();
        let axis_w = Rotation3::from_axis_angle(&about, angle_rad) * axis_0;
        let omega_w_radps = about.into_inner() * rate_radps;
        let hands_w_m = axis_w * self.hands_m;
        BatState { axis_w, omega_w_radps, hands_w_m, velocity_hands_w_mps: omega_w_radps.cross(&hands_w_m) }
    }

    /// From the centre to the sweet spot, m.
    pub(super) fn sweet_m(&self) -> f64 {
        self.hands_m + BAT.sweet_spot_m - HANDS_FROM_KNOB_M
    }

    /// States at `rate_hz` from `from_s` to `to_s`, shifted so that zero is one of them.
    pub(super) fn motion(
        &self,
        (from_s, to_s, rate_hz): (f64, f64, f64),
        ball: bool,
        angle: impl Fn(f64) -> (f64, f64),
    ) -> BatMotion {
        let (first, last) = ((from_s * rate_hz).round() as i64, (to_s * rate_hz).round() as i64);
        let times_s: Vec<f64> = (first..=last).map(|k| k as f64 / rate_hz).collect();
        let states = times_s.iter().map(|&t| angle(t)).map(|(a, r)| self.at(a, r)).collect();
        BatMotion { times_s, states, contact: usize::try_from(-first).unwrap(), ball }
    }
}

pub(super) const FLAT: Turning = Turning { plane_rad: 0.0, cone_rad: 0.0, hands_m: 0.3 };

/// A swing with every feature: the plane of a usual swing, the bat out of it, the hands turning too.
pub(super) const USUAL: Turning = Turning { plane_rad: 0.55, cone_rad: -0.15, hands_m: 0.25 };

/// Angle and rate of a turn that begins at −`span_s` and whose rate rises as a half cosine to `top_radps` at contact,
/// then falls again; it is zero before.
pub(super) fn half_cosine(time_s: f64, span_s: f64, top_radps: f64) -> (f64, f64) {
    let w = std::f64::consts::PI / span_s;
    let t = time_s.max(-span_s);
    (0.5 * top_radps * (t + (w * t).sin() / w), 0.5 * top_radps * (1.0 + (w * t).cos()))
}

/// A ball swing of the usual kind, 0.7 s long, at `rate_hz`.
pub(super) fn usual_swing(rate_hz: f64) -> BatMotion {
    USUAL.motion((-0.7, 0.0, rate_hz), true, |t| half_cosine(t, 0.16, 40.0))
}

pub(super) fn evaluated(motion: &BatMotion) -> Values {
    evaluate(motion, &BAT, &context())
}
