//! Directions at contact against the horizontal.

use super::evaluate::Values;
use super::{BatState, Metric};
use nalgebra::Vector3;

/// Attack angle (of the sweet spot's velocity) and bat tilt (of the axis), positive upward.
pub(super) fn at_contact(state: &BatState, sweet_spot_m: f64, values: &mut Values) {
    let velocity_w_mps = state.velocity_w_mps(sweet_spot_m);
    if velocity_w_mps.norm() > 0.0 {
        values.set(Metric::AttackAngle, elevation_rad(velocity_w_mps).to_degrees());
    }
    values.set(Metric::BatTilt, elevation_rad(state.axis_w).to_degrees());
}

/// Angle above the horizontal: asin(z/‖v‖), written so that it keeps its precision near ±90°.
fn elevation_rad(v_w: Vector3<f64>) -> f64 {
    v_w.z.atan2(v_w.x.hypot(v_w.y))
}
