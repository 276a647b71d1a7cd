//! Rules and standards of the trade.

use nalgebra::Vector3;
use swingd::engine::geometry::G_MPS2;
use swingd::engine::profile::{Profile, moi_knob6_from_period_kgm2};
use swingd::sim::textbook::Pendulum;

/// ASTM F2398 times a bat that swings about the pivot 6 in from its knob. The simulator's pendulum, whose period is
/// 4K(k)√(l/g) with l = I/(m·d), gives the moment of inertia back, too large by α²/8 for an amplitude α (Landau & Lifshitz,
/// *Mechanics*, § 11: the period grows by α²/16); the next term is 11α⁴/3072 of the period.
#[test]
fn astm_f2398_moment_from_the_period_of_a_pendulum() {
    let (mass_kg, balance_m, moi_kgm2) = (0.85, 0.53, 0.172);
    let equal_length_m = moi_kgm2 / (mass_kg * (balance_m - 0.1524));
    for amplitude_rad in [0.02_f64, 0.1, 0.2] {
        let period_s = Pendulum { amplitude_rad, equal_length_m, arm_s_m: Vector3::zeros() }.period_s();
        let found = moi_knob6_from_period_kgm2(mass_kg, balance_m, period_s).expect("it swings");
        let excess = found / moi_kgm2 - 1.0;
        let next = amplitude_rad.powi(4) * (2.0 * 11.0 / 3072.0 + 1.0 / 256.0);
        assert!((excess - amplitude_rad.powi(2) / 8.0).abs() < 1.1 * next + 1e-12, "{amplitude_rad}: {excess}");
    }
    let second = 2.0 * std::f64::consts::PI * (equal_length_m / G_MPS2).sqrt();
    assert!((1.0..2.0).contains(&second), "a bat swings within a second or two: {second}");
}

/// Official Baseball Rules 3.02: 42 in long and 2.61 in thick are the most; the inch is 25.4 mm. A millimetre more is let
/// pass with a warning that names the rule, and is no error.
#[test]
fn official_baseball_rules_3_02_limits() {
    let warned = |length_in: f64, barrel_in: f64| {
        let text = format!("[bat]\nlength_m = {}\nbarrel_diameter_m = {}\n", length_in * 0.0254, barrel_in * 0.0254);
        let (_, warnings) = Profile::parse(&text).expect("possible values");
        warnings.iter().map(ToString::to_string).filter(|text| text.contains("3.02")).count()
    };
    assert_eq!([warned(42.0, 2.61), warned(42.04, 2.61), warned(42.0, 2.65), warned(42.04, 2.65)], [0, 1, 1, 2]);
}
