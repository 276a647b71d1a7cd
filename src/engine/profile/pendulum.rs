//! A bat's moment of inertia from its swing as a pendulum.

use crate::engine::geometry::G_MPS2;
use crate::engine::metrics::HANDS_FROM_KNOB_M;

/// The moment of inertia about the pivot 6 in from the knob end, kg m², from the period with which the bat swings about
/// it: I = m·g·d·T²/(4π²), d the distance from the pivot to the centre of mass.
///
/// Source: ASTM F2398 (moment of inertia of baseball and softball bats), formula from memory; it is the physical
/// pendulum's for small swings. A swing of amplitude α makes T longer by α²/16 to leading order, so I by α²/8: 0.4 % at
/// 10°. `None` unless the mass and the period are positive and the balance point lies beyond the pivot.
pub fn moi_knob6_from_period_kgm2(mass_kg: f64, balance_m: f64, period_s: f64) -> Option<f64> {
    let arm_m = balance_m - HANDS_FROM_KNOB_M;
    let moi_kgm2 = mass_kg * G_MPS2 * arm_m * (period_s / std::f64::consts::TAU).powi(2);
    let possible = mass_kg > 0.0 && arm_m > 0.0 && period_s > 0.0 && moi_kgm2.is_finite();
    possible.then_some(moi_kgm2)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ASTM F2398 states the formula in ounces and inches, I = (T²·g·W·(BP − 6)) / (4π²) with g = 386.09 in/s² (from
    /// memory); one oz·in² is 0.028349523125 kg × (0.0254 m)².
    #[test]
    fn astm_f2398_in_ounces_and_inches_gives_the_same() {
        let (weight_oz, balance_in, period_s) = (30.0, 20.5, 1.37_f64);
        let moi_oz_in2 =
            period_s.powi(2) * 386.09 * weight_oz * (balance_in - 6.0) / (4.0 * std::f64::consts::PI.powi(2));
        let expected_kgm2 = moi_oz_in2 * 0.028349523125 * 0.0254_f64.powi(2);
        let found = moi_knob6_from_period_kgm2(weight_oz * 0.028349523125, balance_in * 0.0254, period_s).unwrap();
        // g = 386.09 in/s² is rounded to 1 part in 8·10⁴.
        assert!((found / expected_kgm2 - 1.0).abs() < 2e-5, "{found} {expected_kgm2}");
    }

    /// A uniform rod of length L pivoted at distance a from its end has I = m(L²/12 + (L/2 − a)²) (Steiner), and so the
    /// period 2π√(I/(m·g·d)); a textbook's compound pendulum.
    #[test]
    fn a_uniform_rod_is_recovered_from_its_period() {
        let (mass_kg, length_m) = (0.9_f64, 0.8_f64);
        let arm_m = length_m / 2.0 - HANDS_FROM_KNOB_M;
        let moi_kgm2 = mass_kg * (length_m.powi(2) / 12.0 + arm_m.powi(2));
        let period_s = std::f64::consts::TAU * (moi_kgm2 / (mass_kg * G_MPS2 * arm_m)).sqrt();
        let found = moi_knob6_from_period_kgm2(mass_kg, length_m / 2.0, period_s).unwrap();
        assert!((found - moi_kgm2).abs() < 1e-14);
    }

    #[test]
    fn what_cannot_swing_has_none() {
        assert_eq!(moi_knob6_from_period_kgm2(0.9, 0.1, 1.4), None);
        assert_eq!(moi_knob6_from_period_kgm2(f64::NAN, 0.5, 1.4), None);
        assert_eq!(moi_knob6_from_period_kgm2(0.9, 0.5, f64::INFINITY), None);
    }
}
