//! What is possible in a profile, and what is unusual.

use nalgebra::SMatrix;

use super::keys::Possible;
use super::{Bat, CALIBRATION_SIZE};
use crate::engine::metrics::HANDS_FROM_KNOB_M;

const fn above(low: f64, high: f64, words: &'static str) -> Possible {
    Possible { low, high, with_low: false, words }
}

const fn from(low: f64, high: f64, words: &'static str) -> Possible {
    Possible { low, high, with_low: true, words }
}

pub(super) const RATE: Possible = above(0.0, 1e6, "a number above 0 up to 1e6");
pub(super) const RANGE: Possible = above(0.0, 1e9, "a number above 0 up to 1e9");
pub(super) const SIGMA: Possible = from(0.0, 1e9, "a number from 0 to 1e9");
pub(super) const FRACTION: Possible = from(0.0, 1.0, "a fraction from 0 to 1");
pub(super) const ANGLE_SIGMA: Possible = from(0.0, std::f64::consts::PI, "an angle from 0 to π rad");
pub(super) const BAT_LENGTH: Possible = from(0.3, 1.5, "a bat's length from 0.3 to 1.5 m");
pub(super) const BAT_MASS: Possible = from(0.05, 5.0, "a bat's mass from 0.05 to 5 kg");
pub(super) const MOI: Possible = above(0.0, 5.0, "a moment of inertia above 0 up to 5 kg m²");
pub(super) const BARREL: Possible = from(0.01, 0.2, "a barrel's diameter from 0.01 to 0.2 m");
pub(super) const PITCH_SPEED: Possible = from(0.0, 100.0, "a ball's speed from 0 (a tee) to 100 m/s");
pub(super) const DESCENT: Possible = from(-89.0, 89.0, "an angle from -89 to 89 degrees");

/// No sensor on a bat is farther from its knob, m.
pub(super) const FARTHEST_OFFSET_M: f64 = 1.5;

/// A place on the bat's axis.
pub(super) fn on_bat(length_m: f64) -> Possible {
    above(0.0, length_m, "a place on the bat: above 0, at most its length_m")
}

/// Official Baseball Rules 3.02(a): a bat is not more than 2.61 inches in diameter at its thickest part and not more
/// than 42 inches in length.
const LONGEST_BAT_M: f64 = 42.0 * 0.0254;
const THICKEST_BARREL_M: f64 = 2.61 * 0.0254;

/// What rounding to a tenth of a millimetre may add to a length.
const ROUNDED_M: f64 = 5e-5;

/// The keys of a bat that are possible but probably wrong, with what is unusual about them.
pub(super) fn unusual_in_bat(bat: &Bat) -> Vec<(&'static str, String)> {
    // All of the mass at the barrel end: no bat has more about the 6 in pivot while it is longer than twice that.
    let greatest_moi_kgm2 = bat.mass_kg * (bat.length_m - HANDS_FROM_KNOB_M).powi(2);
    // All of the mass at the balance point (Steiner): no bat has less.
    let least_moi_kgm2 = bat.mass_kg * (bat.balance_m - HANDS_FROM_KNOB_M).powi(2);
    let moi = bat.moi_knob6_kgm2;
    let cases = [
        (
            "length_m",
            bat.length_m > LONGEST_BAT_M + ROUNDED_M,
            "is more than 42 in (Official Baseball Rules 3.02)".to_owned(),
        ),
        (
            "barrel_diameter_m",
            bat.barrel_diameter_m > THICKEST_BARREL_M + ROUNDED_M,
            "is more than 2.61 in (Official Baseball Rules 3.02)".to_owned(),
        ),
        (
            "moi_knob6_kgm2",
            !(least_moi_kgm2..=greatest_moi_kgm2).contains(&moi),
            format!(
                "does not go with the mass, length and balance: {least_moi_kgm2:.3} to {greatest_moi_kgm2:.3} would"
            ),
        ),
    ];
    cases.into_iter().filter(|(_, unusual, _)| *unusual).map(|(key, _, what)| (key, what)).collect()
}

/// Whether a symmetric matrix is positive semidefinite. It is brought to correlations first, as its units differ.
pub(super) fn is_covariance(matrix: &SMatrix<f64, CALIBRATION_SIZE, CALIBRATION_SIZE>) -> bool {
    if matrix.iter().any(|value| !value.is_finite()) || matrix.diagonal().iter().any(|&variance| variance < 0.0) {
        return false;
    }
    let sigma = matrix.diagonal().map(f64::sqrt);
    let correlation = SMatrix::<f64, CALIBRATION_SIZE, CALIBRATION_SIZE>::from_fn(|i, j| {
        let scale = sigma[i] * sigma[j];
        match matrix[(i, j)] {
            0.0 => 0.0,
            value => value / scale,
        }
    });
    // Rounding of a covariance written to 17 digits moves its eigenvalues by far less.
    const ROUNDING: f64 = 1e-9;
    correlation.iter().all(|value| value.abs() <= 1.0 + ROUNDING)
        && correlation.symmetric_eigenvalues().iter().all(|&value| value >= -ROUNDING)
}
