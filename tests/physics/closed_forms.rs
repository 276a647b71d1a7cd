//! The strapdown integral against motions with closed-form solutions, at 100 to 3200 Hz.

use crate::support::{Bound, MARGIN, attitude_of, bound, reading, readings, state_of};
use nalgebra::{UnitQuaternion, Vector3};
use std::f64::consts::{PI, TAU};
use swingd::engine::geometry::{Attitude, G_MPS2};
use swingd::engine::motion::conditioning::Reading;
use swingd::engine::motion::span::{Step, integrate};
use swingd::engine::motion::strapdown::{coning, middle_integral, trapezium};
use swingd::sim::Trajectory;
use swingd::sim::textbook::{Coning, ConstantRotation, Pendulum, Sculling, SymmetricTop, Tumble, UniformCircle};

const RATES_HZ: [f64; 4] = [100.0, 208.0, 1000.0, 3200.0];

/// The state after `steps` steps from the motion's own at time 0.
fn integrated(motion: &impl Trajectory, rate_hz: f64, steps: usize) -> Step {
    let list = readings(motion, rate_hz, steps);
    let start = state_of(&motion.at(0.0));
    *integrate(&list, MARGIN, MARGIN + steps, &start).last().expect("a step")
}

/// Errors at the end: rad, m/s, m.
fn errors(motion: &impl Trajectory, rate_hz: f64, steps: usize) -> Bound {
    let (end, truth) = (integrated(motion, rate_hz, steps), motion.at(steps as f64 / rate_hz));
    Bound {
        attitude_rad: end.attitude.rotation_vector_w_from(attitude_of(truth.q_ws)).norm(),
        velocity_mps: (end.velocity_w_mps - truth.velocity_w_mps).norm(),
        position_m: (end.position_w_m - truth.position_w_m).norm(),
    }
}

/// Two seconds of a motion, at every rate, end within what the steps' own errors add up to.
fn assert_within_bounds(name: &str, motion: &impl Trajectory) {
    for rate_hz in RATES_HZ {
        let steps = (2.0 * rate_hz) as usize;
        let (found, most) = (errors(motion, rate_hz, steps), bound(motion, rate_hz, steps));
        let within = found.attitude_rad <= most.attitude_rad
            && found.velocity_mps <= most.velocity_mps
            && found.position_m <= most.position_m;
        assert!(within, "{name} at {rate_hz} Hz: {found:?}, at most {most:?}");
    }
}

fn top() -> SymmetricTop {
    SymmetricTop { moi_across_kgm2: 0.07, moi_along_kgm2: 0.02, momentum_kgm2ps: 0.5, tilt_rad: 1.1 }
}

fn tumble() -> Tumble {
    Tumble::new([0.9, 1.0, 1.3], 0.9, 4.0).expect("a path about the third axis")
}

fn pendulum() -> Pendulum {
    Pendulum { amplitude_rad: 170f64.to_radians(), equal_length_m: 0.5, arm_s_m: Vector3::new(0.05, 0.02, -0.4) }
}

#[test]
fn constant_rotation_and_uniform_circle() {
    let rotation = ConstantRotation { omega_radps: Vector3::new(3.0, -5.0, 2.0), arm_s_m: Vector3::new(0.2, 0.1, 0.3) };
    assert_within_bounds("rotation", &rotation);
    assert_within_bounds("circle", &UniformCircle { radius_m: 0.5, rate_radps: 8.0 });
    // A constant rate has no step error at all: what is left is rounding.
    assert!(errors(&rotation, 1000.0, 2000).attitude_rad < 1e-13);
}

/// Landau & Lifshitz, *Mechanics*, §§ 35–36.
#[test]
fn landau_lifshitz_36_symmetric_top() {
    assert_within_bounds("symmetric top", &top());
}

/// Landau & Lifshitz, *Mechanics*, § 37.
#[test]
fn landau_lifshitz_37_intermediate_axis_tumble() {
    assert_within_bounds("tumble", &tumble());
}

/// Landau & Lifshitz, *Mechanics*, § 11 problem 1: from 170° the period is 4K(sin 85°)·√(l/g); after it, cut into 3000
/// steps, the pendulum with the sensor off its pivot is integrated back to where it began.
#[test]
fn landau_lifshitz_11_pendulum_comes_back_after_4k() {
    assert_within_bounds("pendulum", &pendulum());
    let (steps, motion) = (3000, pendulum());
    let rate_hz = steps as f64 / motion.period_s();
    let (end, start) = (integrated(&motion, rate_hz, steps), motion.at(0.0));
    let most = bound(&motion, rate_hz, steps);
    let turn_rad = end.attitude.rotation_vector_w_from(attitude_of(start.q_ws)).norm();
    assert!(turn_rad < most.attitude_rad, "{turn_rad} {most:?}");
    assert!(end.velocity_w_mps.norm() < most.velocity_mps, "{} {most:?}", end.velocity_w_mps);
    assert!(most.attitude_rad < 1e-6 && most.velocity_mps < 1e-4, "the bound itself must be tight: {most:?}");
}

#[test]
fn coning_and_sculling_within_bounds() {
    assert_within_bounds("coning", &Coning { half_angle_rad: 0.1, rate_radps: 25.0 });
    assert_within_bounds("sculling", &Sculling { turn_rad: 0.2, move_m: 0.01, rate_radps: 25.0 });
}

/// Halving the step cuts the attitude's error by 2⁴: the rule's local error is of the fifth order. The velocity's is cut
/// by 2³ at least, its first and last step being trapeziums.
#[test]
fn attitude_is_of_the_fourth_order() {
    fn ratios(motion: &impl Trajectory) -> (f64, f64) {
        let [coarse, fine] = [200.0, 400.0].map(|rate_hz| errors(motion, rate_hz, (1.5 * rate_hz) as usize));
        (coarse.attitude_rad / fine.attitude_rad, coarse.velocity_mps / fine.velocity_mps)
    }
    let coning = Coning { half_angle_rad: 0.1, rate_radps: 25.0 };
    for (name, (attitude, velocity)) in [
        ("top", ratios(&top())),
        ("tumble", ratios(&tumble())),
        ("pendulum", ratios(&pendulum())),
        ("coning", ratios(&coning)),
    ] {
        assert!((15.0..17.0).contains(&attitude), "{name}: attitude {attitude}");
        assert!(velocity > 7.5, "{name}: velocity {velocity}");
    }
}

/// The attitude of a span by its steps, with the coning term or without.
fn attitude_by_steps(list: &[Reading], steps: usize, start: Attitude, with_coning: bool) -> Attitude {
    (MARGIN..MARGIN + steps).fold(start, |attitude, i| {
        let omega = |k: usize| list[k].gyro_s_radps;
        let dt_s = list[i + 1].time_s - list[i].time_s;
        let angle = middle_integral(omega(i - 1), omega(i), omega(i + 1), omega(i + 2), dt_s);
        let cone = if with_coning { coning(omega(i), omega(i + 1), dt_s) } else { Vector3::zeros() };
        attitude.turned_in_sensor(angle + cone)
    })
}

/// Drift about the cone's axis of steps that pass 2π/x to a round, β small (Goodman & Robinson 1958: the part of a turn is
/// the area cut out on the unit sphere; Bortz 1971: ½∫φ×ω adds what a step leaves out).
///
/// A step turns by ρ times its angle, ρ = x/24·(13 cos x/2 − cos 3x/2)/sin x/2 being what the cubic makes of a sine. Steps
/// are chords of a circle of radius ρβ: a triangle of area ½ρ²β² sin x each, where the sector has ½β²x. The coning term
/// adds β²x²/12·sin x. Leading terms: −β²Ωx²/12 without, −β²Ωx⁴/40 with it.
fn coning_drift_radps(cone: &Coning, dt_s: f64, with_coning: bool) -> f64 {
    let (x, area) = (cone.rate_radps * dt_s, 0.5 * cone.half_angle_rad.sin().powi(2));
    let rho = x / 24.0 * (13.0 * (0.5 * x).cos() - (1.5 * x).cos()) / (0.5 * x).sin();
    let term = if with_coning { x * x / 6.0 * x.sin() } else { 0.0 };
    area * (rho * rho * x.sin() + term - x) / dt_s
}

/// Over whole rounds, at every rate, the drift is the theory's to 1 % (β² is 0.25 %), with the term and without it.
#[test]
fn goodman_robinson_1958_bortz_1971_coning_drift() {
    let cone = Coning { half_angle_rad: 0.05, rate_radps: 8.0 * PI };
    for rate_hz in [100.0, 208.0, 1000.0, 3200.0] {
        let (rounds, per_round) = (40.0, (rate_hz / 4.0) as usize);
        let steps = rounds as usize * per_round;
        let list = readings(&cone, rate_hz, steps);
        let start = attitude_of(cone.at(0.0).q_ws);
        for with_coning in [false, true] {
            let end = attitude_by_steps(&list, steps, start, with_coning);
            let drift_radps = end.rotation_vector_w_from(start).x / (steps as f64 / rate_hz);
            let theory_radps = coning_drift_radps(&cone, 1.0 / rate_hz, with_coning);
            let miss = (drift_radps / theory_radps - 1.0).abs();
            assert!(miss < 0.01, "{rate_hz} Hz, {with_coning}: {drift_radps} {theory_radps}");
        }
        let whole = integrate(&list, MARGIN, MARGIN + steps, &state_of(&cone.at(0.0)));
        let same = attitude_by_steps(&list, steps, start, true);
        let apart = whole.last().expect("a step").attitude.rotation_vector_w_from(same).norm();
        assert!(apart < 1e-12, "the integral is made of these steps: {apart}");
    }
}

/// A step of a rate that is linear in time, ω₀ + ω't: without the coning term it errs by dt³/12·ω×ω' to leading order,
/// with it by the next term of the Magnus series, so by 2⁵ less for half the step (Iserles et al., *Acta Numerica* 9, 2000).
#[test]
fn iserles_2000_one_step_errs_by_the_second_magnus_term() {
    let (omega, rate) = (Vector3::new(20.0, -5.0, 30.0), Vector3::new(400.0, 300.0, -200.0));
    let miss = |dt_s: f64, with_coning: bool| {
        let at = |t_s: f64| omega + rate * t_s;
        let parts = 20_000;
        let part_s = dt_s / f64::from(parts);
        // Midpoint steps of a 20,000th err by (1/20,000)² of the second Magnus term.
        let truth = (0..parts).fold(UnitQuaternion::identity(), |q, i| {
            q * UnitQuaternion::from_scaled_axis(at((f64::from(i) + 0.5 - 0.5 * f64::from(parts)) * part_s) * part_s)
        });
        let (from, to) = (at(-0.5 * dt_s), at(0.5 * dt_s));
        let cone = if with_coning { coning(from, to, dt_s) } else { Vector3::zeros() };
        let step = Attitude::identity().turned_in_sensor(trapezium(from, to, dt_s) + cone);
        attitude_of(truth).rotation_vector_w_from(step)
    };
    let (dt_s, theory) = (1e-3, omega.cross(&rate) * (1e-9 / 12.0));
    assert!((miss(dt_s, false) - theory).norm() < 0.02 * theory.norm(), "{} {theory}", miss(dt_s, false));
    let (whole, half) = (miss(4e-3, true).norm(), miss(2e-3, true).norm());
    assert!((30.0..34.0).contains(&(whole / half)), "{whole} {half}");
    assert!(whole < 0.01 * omega.cross(&rate).norm() * 64e-9 / 12.0, "{whole}");
}

/// What a sensor reads that turns by θ sin Ωt about x while it feels a sin(Ωt + φ) along y, free of gravity.
fn sculling_readings(turn_rad: f64, phase_rad: f64, rate_radps: f64, rate_hz: f64, steps: usize) -> Vec<Reading> {
    (0..=steps + 2 * MARGIN)
        .map(|i| (i as f64 - MARGIN as f64) / rate_hz)
        .map(|t_s| {
            let gyro = Vector3::x() * (turn_rad * rate_radps * (rate_radps * t_s).cos());
            reading(t_s, gyro, Vector3::y() * (rate_radps * t_s + phase_rad).sin())
        })
        .collect()
}

/// Savage (*J. Guidance, Control, and Dynamics* 21(2), 1998, part 2): turning about one axis and shaking along the second at
/// one frequency accelerates steadily along the third, by ½·θ·a·cos φ for small θ; exactly by J₁(θ)·a·cos φ.
///
/// Over whole rounds the sum of a periodic function is exact; what is left is θ, which the cubic makes too small by
/// 11/720·x⁴, and the two trapeziums at the ends, h³/12·F'' each.
#[test]
fn savage_1998_sculling_rectification() {
    let (theta, omega, rounds) = (0.1_f64, 8.0 * PI, 40.0);
    let bessel = 0.5 * theta * (1.0 - theta.powi(2) / 8.0 + theta.powi(4) / 192.0);
    for (rate_hz, phase) in [(100.0, 0.0), (208.0, 0.4), (1000.0, PI / 3.0), (3200.0, 2.5)] {
        let steps = (rounds * rate_hz / 4.0) as usize;
        let list = sculling_readings(theta, phase, omega, rate_hz, steps);
        let mut start = state_of(&Coning { half_angle_rad: 0.0, rate_radps: 1.0 }.at(0.0));
        start.attitude = Attitude::identity();
        let end = *integrate(&list, MARGIN, MARGIN + steps, &start).last().expect("a step");
        let duration_s = steps as f64 / rate_hz;
        let found = end.velocity_w_mps.z / duration_s + G_MPS2;
        let x = omega / rate_hz;
        let ends = 2.0 * x * x / (12.0 * rate_hz) * 4.0 * theta;
        let most = 1.2 * (11.0 / 720.0 * x.powi(4) * bessel + ends / duration_s) + 1e-13;
        let theory = bessel * phase.cos();
        assert!((found - theory).abs() < most, "{rate_hz} Hz: {found} {theory} ± {most}");
        assert!(most < 1e-3 * bessel, "the tolerance must be small against the effect: {most}");
        let crude = without_sculling(&list, steps) / duration_s;
        let crude_theory = bessel * ((phase + x).sin() - phase.sin()) / x;
        assert!((crude - crude_theory).abs() < 2.0 * most, "{rate_hz} Hz: {crude} {crude_theory}");
    }
}

/// The same with the force of each step turned by the attitude at its start: it rectifies (sin(φ + x) − sin φ)/x for cos φ.
fn without_sculling(list: &[Reading], steps: usize) -> f64 {
    let mut attitude = Attitude::identity();
    (MARGIN..MARGIN + steps)
        .map(|i| {
            let four = |f: fn(&Reading) -> Vector3<f64>| {
                middle_integral(
                    f(&list[i - 1]),
                    f(&list[i]),
                    f(&list[i + 1]),
                    f(&list[i + 2]),
                    list[1].time_s - list[0].time_s,
                )
            };
            let push = attitude.to_world(four(|r| r.accel_s_mps2));
            attitude = attitude.turned_in_sensor(four(|r| r.gyro_s_radps));
            push.z
        })
        .sum()
}

/// The same rules at a rate that is no divisor of anything: whole turns of a steady rotation.
#[test]
fn a_whole_number_of_turns_comes_back() {
    let spin = ConstantRotation { omega_radps: Vector3::new(0.0, 6.0, 8.0), arm_s_m: Vector3::zeros() };
    let rate_hz = 700.0 / (TAU / 10.0);
    let end = integrated(&spin, rate_hz, 7 * 700);
    assert!(end.attitude.rotation_vector_w_from(Attitude::identity()).norm() < 1e-12);
}
