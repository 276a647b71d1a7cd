//! The sweet spot's path: its length, and the plane of its last part.

use super::evaluate::Values;
use super::series::{hermite, integral_to_end, interval};
use super::traces::{Stretch, Traces};
use super::{BatState, Metric};
use nalgebra::{Matrix3, SymmetricEigen, Vector3};

/// How long before contact the plane is taken from, s.
const PLANE_S: f64 = 0.050;
/// Points the plane is laid through, both ends among them: every millisecond.
const PLANE_POINTS: usize = 51;
/// A path whose second-greatest spread is below this share of the greatest (squared lengths) is a straight line.
const STRAIGHT: f64 = 1e-12;
/// Far above the handful of sweeps a symmetric 3×3 matrix takes.
const EIGEN_SWEEPS: usize = 100;

/// Length from start to contact: ∫ ‖v_ss‖ dt.
pub(super) fn length(stretch: &Stretch, traces: &Traces, start_s: f64, values: &mut Values) {
    let speed_mps = &traces.bat_speed_mps[..=stretch.contact];
    values.set(Metric::PathLength, integral_to_end(stretch.times_to_contact_s(), speed_mps, start_s));
}

/// Angle, 0 to 90°, between the horizontal and the total-least-squares plane through the last 50 ms, points even in time.
/// Absent if the motion is shorter than that or the path straight.
///
/// Sums stand for integrals by the trapezium rule, the end points counting half: the plane is then that of ever denser
/// points. Whole end points would turn it by 0.04° at this step.
pub(super) fn plane_tilt(stretch: &Stretch, sweet_spot_m: f64, values: &mut Values) {
    if stretch.times_s[0] > -PLANE_S {
        return;
    }
    let step_s = PLANE_S / (PLANE_POINTS - 1) as f64;
    let points_w_m: [Vector3<f64>; PLANE_POINTS] =
        std::array::from_fn(|k| sweet_spot_w_m(stretch, sweet_spot_m, step_s * k as f64 - PLANE_S));
    if let Some(normal_w) = plane_normal(&points_w_m) {
        let tilt_rad = normal_w.x.hypot(normal_w.y).atan2(normal_w.z.abs());
        values.set(Metric::PlaneTilt, tilt_rad.to_degrees());
    }
}

/// Position of the sweet spot at a time within the stretch.
fn sweet_spot_w_m(stretch: &Stretch, sweet_spot_m: f64, time_s: f64) -> Vector3<f64> {
    let i = interval(stretch.times_s, time_s);
    let step_s = stretch.times_s[i + 1] - stretch.times_s[i];
    let ends = |s: &BatState| (s.position_w_m(sweet_spot_m), s.velocity_w_mps(sweet_spot_m));
    let part = (time_s - stretch.times_s[i]) / step_s;
    hermite(part, step_s, ends(&stretch.states[i]), ends(&stretch.states[i + 1]))
}

/// Total least squares: the direction in which the points spread least about their mean, the first and last point
/// counting half.
fn plane_normal(points_m: &[Vector3<f64>]) -> Option<Vector3<f64>> {
    let last = points_m.len().checked_sub(1)?;
    let weight = |i: usize| if i == 0 || i == last { 0.5 } else { 1.0 };
    let weighted = || points_m.iter().enumerate().map(|(i, p)| (weight(i), p));
    let mean_m = weighted().map(|(w, p)| p * w).sum::<Vector3<f64>>() / last as f64;
    let spread: Matrix3<f64> = weighted().map(|(w, p)| (p - mean_m) * (p - mean_m).transpose() * w).sum();
    if !spread.iter().all(|c| c.is_finite()) {
        return None;
    }
    let eigen = SymmetricEigen::try_new(spread, f64::EPSILON, EIGEN_SWEEPS)?;
    let least = eigen.eigenvalues.imin();
    let greatest = eigen.eigenvalues.max();
    let middle = eigen.eigenvalues.sum() - greatest - eigen.eigenvalues[least];
    (middle > STRAIGHT * greatest).then(|| eigen.eigenvectors.column(least).into_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_plane_through_points_near_it_is_found() {
        let normal = Vector3::new(0.3, -0.5, 0.8).normalize();
        let along = normal.cross(&Vector3::x()).normalize();
        let across = normal.cross(&along);
        let offset = |k: usize| if k.is_multiple_of(2) { 1e-9 } else { -1e-9 };
        let points: Vec<_> =
            (0..40).map(|k| along * (k as f64 * 0.03) + across * (k as f64 * 0.1).sin() + normal * offset(k)).collect();
        let found = plane_normal(&points).unwrap();
        assert!(found.cross(&normal).norm() < 1e-8);
    }

    /// A helix's plane, by the trapezium rule, against ever denser points: the step's error falls with its square.
    #[test]
    fn the_plane_is_that_of_dense_points() {
        let normal = |count: usize| {
            let helix = |k: usize| 1.5 * k as f64 / (count - 1) as f64;
            let points: Vec<_> =
                (0..count).map(|k| Vector3::new(helix(k).cos(), helix(k).sin(), 0.3 * helix(k) * helix(k))).collect();
            plane_normal(&points).unwrap()
        };
        let dense = normal(20_001);
        let off = |count| normal(count).cross(&dense).norm();
        assert!(off(51) < 2e-4, "{}", off(51));
        assert!((off(26) / off(51) - 4.0).abs() < 0.3, "{}", off(26) / off(51));
    }

    #[test]
    fn a_straight_path_has_no_plane() {
        let points: Vec<_> = (0..40).map(|k| Vector3::new(1.0, 2.0, 3.0) * k as f64).collect();
        assert_eq!(plane_normal(&points), None);
        assert_eq!(plane_normal(&[Vector3::zeros(); 4]), None);
    }
}
