use super::super::known::{BAT, FLAT, Turning, USUAL, context, evaluated};
use super::super::{BatMotion, Metric, evaluate};
use super::*;
use nalgebra::{Matrix3, Rotation3};

fn window_ms(motion: &BatMotion, context: &SwingContext) -> Option<f64> {
    evaluate(motion, &BAT, context).of(Metric::TimingWindow)
}

/// The definition once more, densely and another way: for each instant the ball's place on its line, its place along
/// the bat and its distance across both solve P + s·d = p + a·u + m·n, three equations in s, a, m.
fn dense_window_ms(pose: impl Fn(f64) -> (Vector3<f64>, Vector3<f64>), flight_w: Vector3<f64>, speed_mps: f64) -> f64 {
    const DENSE_S: f64 = 2e-6;
    let (p0, _) = pose(0.0);
    let shift_s = |t: f64| {
        let (p, u) = pose(t);
        let n = u.cross(&flight_w).normalize();
        let solved = Matrix3::from_columns(&[flight_w, -u, -n]).lu().solve(&(p - p0)).unwrap();
        let square = solved[2].abs() <= 0.025 && solved[1].abs() <= 0.10;
        square.then_some(solved[0] / speed_mps - t)
    };
    let walk = |step_s: f64, steps: usize| (0..=steps).map_while(move |k| shift_s(step_s * k as f64));
    let after = walk(DENSE_S, (0.030 / DENSE_S).round() as usize);
    let all: Vec<f64> = walk(-DENSE_S, 200_000).chain(after).collect();
    let greatest = all.iter().fold(f64::NEG_INFINITY, |a, &b| a.max(b));
    let least = all.iter().fold(f64::INFINITY, |a, &b| a.min(b));
    (greatest - least) * 1e3
}

fn flight_w(heading_w: Vector3<f64>, descent_rad: f64) -> Vector3<f64> {
    -heading_w * descent_rad.cos() - Vector3::z() * descent_rad.sin()
}

/// A ball swing at constant rate about a fixed line, its carry worked out by hand: the hands go on with the chord of
/// their last 5 ms, the bat with its rate.
fn circular_pose(turn: Turning, rate_radps: f64, time_s: f64) -> (Vector3<f64>, Vector3<f64>) {
    let beyond_hands_m = turn.sweet_m() - turn.hands_m;
    let state = turn.at(rate_radps * time_s, rate_radps);
    if time_s <= 0.0 {
        return (state.axis_w * turn.sweet_m(), state.axis_w);
    }
    let now = turn.at(0.0, rate_radps).axis_w;
    let earlier = turn.at(-0.005 * rate_radps, rate_radps).axis_w;
    let hands_velocity = (now - earlier) * turn.hands_m / 0.005;
    (now * turn.hands_m + hands_velocity * time_s + state.axis_w * beyond_hands_m, state.axis_w)
}

#[test]
fn a_turn_at_constant_rate_agrees_with_the_dense_definition() {
    let steep = Turning { plane_rad: 1.0, cone_rad: 0.2, hands_m: 0.1 };
    for (turn, rate_radps, speed_mps, descent_deg) in [
        (FLAT, 40.0, 20.0, 8.0),
        (USUAL, 42.0, 35.0, 6.0),
        (USUAL, 25.0, 12.0, 15.0),
        (steep, 35.0, 20.0, 0.0),
        // Slow and level: still within bounds where the carry ends.
        (FLAT, 6.0, 20.0, 0.0),
    ] {
        let motion = turn.motion((-0.3, 0.0, 1000.0), true, |t| (rate_radps * t, rate_radps));
        let context = SwingContext { pitch_speed_mps: speed_mps, pitch_descent_deg: descent_deg, ..context() };
        let found_ms = window_ms(&motion, &context).unwrap();
        let flight_w = flight_w(Vector3::x(), descent_deg.to_radians());
        let expected_ms = dense_window_ms(|t| circular_pose(turn, rate_radps, t), flight_w, speed_mps);
        // The dense walk errs by a step at each end; the cubics between states by (40 rad/s · 1 ms)⁴/384.
        assert!((found_ms - expected_ms).abs() < 0.01, "{found_ms} {expected_ms}");
        assert!(expected_ms > 2.0);
    }
}

#[test]
fn a_swing_that_met_nothing_uses_what_was_measured_after() {
    let motion = USUAL.motion((-0.3, 0.3, 1000.0), false, |t| (40.0 * t, 40.0));
    let pose = |t: f64| {
        let state = USUAL.at(40.0 * t, 40.0);
        (state.axis_w * USUAL.sweet_m(), state.axis_w)
    };
    // The dense walk stops 30 ms after contact; by then this swing is out of bounds.
    let expected_ms = dense_window_ms(pose, flight_w(Vector3::x(), 8f64.to_radians()), 20.0);
    assert!((window_ms(&motion, &context()).unwrap() - expected_ms).abs() < 0.01);
    let mut carried = motion.clone();
    carried.ball = true;
    assert!((window_ms(&carried, &context()).unwrap() - expected_ms).abs() > 0.01);
}

/// A bat moved along without turning, level and straight across a level pitch: neither bound is ever met, and the ball
/// meets the same point of the bat whenever it is swung. What ends it is the carry, and the start of the motion.
#[test]
fn without_an_end_in_the_motion_there_is_no_window() {
    let motion = FLAT.motion((-0.3, 0.0, 1000.0), true, |t| (0.001 * t, 0.001));
    let mut straight = motion;
    for (time_s, state) in straight.times_s.iter().zip(&mut straight.states) {
        *state = FLAT.at(0.0, 0.0);
        state.velocity_hands_w_mps = Vector3::x() * 20.0;
        state.hands_w_m = state.velocity_hands_w_mps * *time_s;
    }
    let level = SwingContext { pitch_descent_deg: 0.0, ..context() };
    assert_eq!(window_ms(&straight, &level), None);
}

#[test]
fn there_is_no_window_without_a_pitch_or_a_heading() {
    let motion = USUAL.motion((-0.3, 0.0, 1000.0), true, |t| (40.0 * t, 40.0));
    for pitch_speed_mps in [0.0, -3.0, f64::NAN, f64::INFINITY] {
        assert_eq!(window_ms(&motion, &SwingContext { pitch_speed_mps, ..context() }), None);
    }
    let still = USUAL.motion((-0.3, 0.0, 1000.0), true, |_| (0.0, 0.0));
    assert_eq!(evaluated(&still).of(Metric::TimingWindow), None);
    let along_the_pitch = |t: f64| FLAT.at(std::f64::consts::FRAC_PI_2 + 40.0 * t, 0.0);
    let mut parallel = motion.clone();
    for (time_s, state) in parallel.times_s.iter().zip(&mut parallel.states) {
        *state = along_the_pitch(*time_s * 0.0);
        state.velocity_hands_w_mps = state.axis_w * 5.0;
    }
    let level = SwingContext { pitch_descent_deg: 0.0, ..context() };
    assert_eq!(window_ms(&parallel, &level), None);
}

#[test]
fn a_rotation_vector_turns_as_the_library_does() {
    let (v, r) = (Vector3::new(0.3, -1.0, 2.0), Vector3::new(0.7, 0.2, -0.4));
    assert!((turned(v, r) - Rotation3::new(r) * v).norm() < 1e-14);
    assert_eq!(turned(v, Vector3::zeros()), v);
}
