use super::*;
use crate::engine::motion::state::{Correction, Parameters};
use nalgebra::Rotation3;
use std::f64::consts::TAU;

const STEP_S: f64 = 1e-3;

/// Pushes a rate in B for each step of `length_s`, then a second of stillness; the rolls that ended.
fn rolls(length_s: f64, rate_b: impl FnMut(f64) -> Vector3<f64>) -> Vec<Roll> {
    rolls_read(length_s, rate_b, |_| (Vector3::zeros(), Vector3::zeros()))
}

/// The same with a reading and a force in S.
fn rolls_read(
    length_s: f64,
    mut rate_b: impl FnMut(f64) -> Vector3<f64>,
    mut read_s: impl FnMut(f64) -> (Vector3<f64>, Vector3<f64>),
) -> Vec<Roll> {
    let mut watch = RollWatch::default();
    let count = (length_s / STEP_S).round() as usize;
    (0..count + 1000)
        .filter_map(|k| {
            let time_s = k as f64 * STEP_S;
            let (gyro, force) = read_s(time_s);
            let omega = if k < count { rate_b(time_s) } else { Vector3::zeros() };
            watch.push(time_s, STEP_S, omega, gyro, force)
        })
        .collect()
}

#[test]
fn a_spin_about_a_tilted_axis_gives_the_tilt_and_the_least_sigma() {
    let tilt_rad = Vector2::new(0.011, -0.007);
    let axis_b = Vector3::new(-tilt_rad.y, tilt_rad.x, 1.0);
    let found = rolls(1.5, |t| axis_b * (8.0 + 2.0 * (5.0 * t).sin()));
    let [roll] = found.as_slice() else { panic!("one roll expected: {found:?}") };
    assert!((roll.slope_b - axis_b.xy()).norm() < 1e-12, "{}", roll.slope_b);
    assert!((roll.sigma - LEAST_SIGMA_RAD).abs() < 1e-12, "{}", roll.sigma);
    // With the tilt known, nothing is left to be measured.
    for (_, value, _) in roll.measurements(&Matrix3::identity(), tilt_rad) {
        assert!(value.abs() < 1e-12, "{value}");
    }
    let untold: Vec<f64> = roll.measurements(&Matrix3::identity(), Vector2::zeros()).map(|m| m.1).to_vec();
    assert!((untold[0] + tilt_rad.y).abs() < 1e-12 && (untold[1] - tilt_rad.x).abs() < 1e-12, "{untold:?}");
}

/// A wobble whose spectrum is flat about the bat's own turning errs the slope by as much as it errs the turned sums, so
/// that the slope's error should be 1/[`WITH_THE_TURN`] of σ. Twelve turns keep the leakage between neighbours small.
#[test]
fn sigma_covers_a_wobble_that_turns_with_the_bat() {
    let parts: Vec<f64> = (-24..=24).map(|k| f64::from(k) / 12.0).collect();
    let draws = 32;
    let mut seed = 1_u64;
    let mut phase = move || {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (seed >> 11) as f64 / (1_u64 << 53) as f64 * TAU
    };
    let mut squares = 0.0;
    for _ in 0..draws {
        let phases: Vec<f64> = parts.iter().map(|_| phase()).collect();
        let wobble = |angle: f64| -> Vector2<f64> {
            let one = |(part, phase): (&f64, &f64)| {
                let (sin, cos) = (part * angle + phase).sin_cos();
                Vector2::new(cos, sin) * 0.06
            };
            parts.iter().zip(&phases).map(one).sum()
        };
        let found = rolls(12.0 * TAU / 10.0, |t| wobble(10.0 * t).push(10.0));
        let [roll] = found.as_slice() else { panic!("one roll expected: {found:?}") };
        squares += roll.slope_b.norm_squared() / (2.0 * roll.sigma * roll.sigma);
    }
    let ratio = (squares / f64::from(draws)).sqrt() * WITH_THE_TURN;
    // 64 squares that are about normal: the root of their mean is sure to 1/√128, 9 %; three of those.
    assert!((0.73..1.27).contains(&ratio), "{ratio}");
}

#[test]
fn forth_and_back_both_count() {
    let found = rolls(0.6, |t| Vector3::new(0.02, 0.01, 1.0) * if t < 0.2995 { 10.0 } else { -10.0 });
    let [roll] = found.as_slice() else { panic!("one roll expected: {found:?}") };
    assert!((roll.angle_rad - 6.0).abs() < 1e-9, "{}", roll.angle_rad);
    assert!((roll.slope_b - Vector2::new(0.02, 0.01)).norm() < 1e-12, "{}", roll.slope_b);
    assert!((roll.from_s, roll.to_s) == (0.0, 0.599), "{} to {}", roll.from_s, roll.to_s);
}

#[test]
fn a_short_a_slow_and_a_crooked_turn_are_no_rolls() {
    let spin = |radps: f64| Vector3::new(0.0, 0.0, radps);
    assert_eq!(rolls(0.39, |_| spin(10.0)), []);
    assert_eq!(rolls(0.41, |_| spin(10.0)).len(), 1);
    assert_eq!(rolls(3.0, |_| spin(3.9)), []);
    // Across the axis 0.8 rad/s and 12 % are allowed: 2 of 10.
    assert_eq!(rolls(1.0, |_| Vector3::new(2.1, 0.0, 10.0)), []);
    assert_eq!(rolls(1.0, |_| Vector3::new(1.9, 0.0, 10.0)).len(), 1);
}

#[test]
fn a_pause_joins_and_a_longer_one_parts() {
    let with_pause = |pause_s: f64| {
        rolls(1.2 + pause_s, move |t| {
            let pauses = (0.6 - 1e-6..0.6 + pause_s - 1e-6).contains(&t);
            Vector3::new(0.0, 0.0, if pauses { 0.0 } else { 10.0 })
        })
    };
    assert_eq!(with_pause(0.38).iter().map(|r| r.angle_rad.round()).collect::<Vec<_>>(), [12.0]);
    assert_eq!(with_pause(0.45).iter().map(|r| r.angle_rad.round()).collect::<Vec<_>>(), [6.0, 6.0]);
}

/// The slope under ω = y + G·y − b − K·f turned into B, and each row against its central difference. What is measured is
/// the error of a parameter, so that the row is what a change of the parameter takes from the slope.
#[test]
fn rows_are_the_differences_of_the_slope() {
    let r_bs = Rotation3::from_euler_angles(0.4, -0.9, 1.7).into_inner();
    // Across the axis there is nothing: what a change of the rate along it does to the slope is of second order.
    let reading = |t: f64| {
        let gyro = r_bs.transpose() * Vector3::new(0.0, 0.0, 9.0 + 2.0 * (7.0 * t).sin());
        let force = Vector3::new(3.0 * (7.0 * t).sin() - 1.0, 2.0, 9.0 * (3.0 * t).cos());
        (gyro, force)
    };
    let roll_with = |place: usize, change: f64| {
        let mut parameters = Parameters::zeros();
        parameters[place] = change;
        let correction = Correction::new(&parameters);
        let rate_b = |t: f64| r_bs * correction.omega_s_radps(reading(t).0, reading(t).1);
        rolls_read(1.0, rate_b, reading).swap_remove(0)
    };
    let rows = roll_with(0, 0.0).measurements(&r_bs, Vector2::zeros()).map(|m| m.0);
    let step = 1e-4;
    for place in (0..parameter::ACCEL_BIAS).chain([parameter::ACCEL_BIAS, parameter::ACCEL_MATRIX + 4]) {
        let change = (roll_with(place, -step).slope_b - roll_with(place, step).slope_b) / (2.0 * step);
        for (axis, row) in rows.iter().enumerate() {
            let told = row[PARAMETERS + place];
            // What is left is of the order of the step's square, as the slopes are below 1 a unit of any parameter.
            assert!((told - change[axis]).abs() < 1e-6, "place {place}, axis {axis}: {told}, {}", change[axis]);
        }
    }
}
