use super::super::known::{BAT, FLAT, Turning, USUAL, context, evaluated, half_cosine, usual_swing};
use super::*;
use nalgebra::Rotation3;
use proptest::prelude::*;

fn assert_near(values: &Values, metric: Metric, expected: f64, tolerance: f64) {
    let found = values.of(metric).unwrap_or(f64::NAN);
    assert!((found - expected).abs() <= tolerance, "{metric:?}: {found}, expected {expected}");
}

/// Uniform circular motion (any mechanics textbook): v = ω·r, and all directions by construction.
#[test]
fn a_turn_at_constant_rate_in_an_inclined_plane() {
    let turn = Turning { plane_rad: 0.5, cone_rad: 0.0, hands_m: 0.3 };
    let motion = turn.motion((-0.7, 0.0, 1000.0), true, |t| (38.0 * t, 38.0));
    let values = evaluated(&motion);
    assert_near(&values, Metric::BatSpeed, 38.0 * turn.sweet_m(), 1e-12);
    assert_near(&values, Metric::HandSpeedAtContact, 38.0 * 0.3, 1e-12);
    assert_near(&values, Metric::AttackAngle, 0.0, 1e-12);
    assert_near(&values, Metric::BatTilt, -0.5f64.to_degrees(), 1e-12);
    assert_near(&values, Metric::PlaneTilt, 0.5f64.to_degrees(), 1e-6);
    assert_near(&values, Metric::RollRate, 0.0, 1e-12);
    assert_eq!(values.start_s, None);
    assert_eq!(values.of(Metric::SpeedBuilt), None);
}

/// The same a quarter turn before its lowest point: the sweet spot then goes down the plane's slope.
#[test]
fn the_attack_angle_of_an_inclined_circle_follows_its_slope() {
    for angle_rad in [-1.0, -0.3, 0.4f64] {
        let motion = USUAL.motion((-0.7, 0.0, 1000.0), true, |t| (angle_rad + 38.0 * t, 38.0));
        let expected_deg = (USUAL.plane_rad.sin() * angle_rad.sin()).asin().to_degrees();
        assert_near(&evaluated(&motion), Metric::AttackAngle, expected_deg, 1e-10);
    }
}

/// A level turn that is lifted ever less: no plane curve, so which 50 ms are taken matters. The plane once more by the
/// singular values of dense points.
#[test]
fn the_plane_is_of_the_last_fifty_milliseconds() {
    let lift_m = |t: f64| Vector3::z() * (30.0 * t * t + 1.5 * t);
    let mut motion = FLAT.motion((-0.3, 0.0, 1000.0), true, |t| (38.0 * t, 38.0));
    for (t, state) in motion.times_s.iter().zip(&mut motion.states) {
        state.hands_w_m += lift_m(*t);
        state.velocity_hands_w_mps.z += 60.0 * t + 1.5;
    }
    let place = |k: usize| -0.050 * k as f64 / 5000.0;
    let point = |t: f64| FLAT.at(38.0 * t, 38.0).position_w_m(BAT.sweet_spot_m) + lift_m(t);
    let points: Vec<_> = (0..=5000).map(place).map(point).collect();
    let mean = points.iter().sum::<Vector3<f64>>() / 5001.0;
    let rows = nalgebra::OMatrix::<f64, nalgebra::Dyn, nalgebra::U3>::from_fn(5001, |i, j| points[i][j] - mean[j]);
    let svd = rows.svd(false, true);
    let normal = svd.v_t.unwrap().row(svd.singular_values.imin()).transpose();
    let expected_deg = normal.z.abs().acos().to_degrees();
    assert_near(&evaluated(&motion), Metric::PlaneTilt, expected_deg, 0.005);
}

/// A bat out of the plane in which it turns rolls about its own axis: ω·u = ω·sin(cone), ω⊥ = ω·cos(cone).
#[test]
fn a_cone_rolls() {
    let values = evaluated(&usual_swing(1000.0));
    let (sin, cos) = USUAL.cone_rad.sin_cos();
    assert_near(&values, Metric::RollRate, (40.0 * sin).to_degrees(), 1e-9);
    assert_near(&values, Metric::TurnRate, (40.0 * cos).to_degrees(), 1e-9);
}

/// ω(t) = ½W·(1 + cos(πt/T)): what is below a share p of W lies before −T/π·acos(2p − 1), and the way from there on is
/// the angle turned since, times the radius.
#[test]
fn a_half_cosine_has_known_times_and_path() {
    let (span_s, top_radps, radius_m) = (0.16, 40.0, FLAT.sweet_m());
    let motion = FLAT.motion((-0.7, 0.0, 1000.0), true, |t| half_cosine(t, span_s, top_radps));
    let values = evaluated(&motion);
    let before_s = |share: f64| span_s / std::f64::consts::PI * (2.0 * share - 1.0).acos();
    // Cubics through samples 1 ms apart err by about (π/160)³/24·f″′ of a step, in ms.
    assert_near(&values, Metric::TimeToContact, before_s(0.10) * 1e3, 1e-5);
    assert_near(&values, Metric::SpeedBuilt, before_s(0.90) * 1e3, 1e-5);
    let path_m = -half_cosine(-before_s(0.10), span_s, top_radps).0 * radius_m;
    assert_near(&values, Metric::PathLength, path_m, 1e-5);
    assert_near(&values, Metric::PeakBatSpeed, top_radps * radius_m, 1e-9);
    assert_near(&values, Metric::PeakLead, 0.0, 1e-6);
}

/// A peak between two samples and before contact: speed 40·(1 − (t + 0.0123)²·k).
#[test]
fn a_peak_between_samples_is_found() {
    let rate = |t: f64| {
        if t < -0.17 { 0.0 } else { 40.0 * (1.0 - 40.0 * (t + 0.0123).powi(2)) }
    };
    let values = evaluated(&FLAT.motion((-0.7, 0.0, 1000.0), true, |t| (0.0, rate(t))));
    assert_near(&values, Metric::PeakLead, 12.3, 1e-9);
    assert_near(&values, Metric::PeakBatSpeed, 40.0 * FLAT.sweet_m(), 1e-9);
    assert_near(&values, Metric::HandSpeed, 40.0 * FLAT.hands_m, 1e-9);
}

#[test]
fn the_sample_rate_does_not_matter() {
    let fine = evaluated(&usual_swing(4000.0));
    for rate_hz in [1000.0, 2000.0] {
        let coarse = evaluated(&usual_swing(rate_hz));
        for metric in Metric::ALL {
            let scale = fine.of(metric).unwrap().abs().max(1.0);
            assert_near(&coarse, metric, fine.of(metric).unwrap(), 3e-5 * scale);
        }
    }
}

#[test]
fn nothing_after_the_contact_of_a_ball_is_read() {
    let ball = usual_swing(1000.0);
    let mut longer = USUAL.motion((-0.7, 0.1, 1000.0), true, |t| half_cosine(t, 0.16, 40.0));
    for state in &mut longer.states[ball.contact + 1..] {
        state.omega_w_radps *= f64::NAN;
    }
    assert_eq!(evaluated(&longer), evaluated(&ball));
    assert_eq!(curves(&longer, &BAT), curves(&ball, &BAT));
}

#[test]
fn scratch_memory_carries_nothing_over() {
    let mut scratch = Scratch::default();
    let swings = [usual_swing(1000.0), usual_swing(208.0), usual_swing(3200.0)];
    for motion in swings.iter().chain(swings.iter().rev()) {
        assert_eq!(evaluate_with(&mut scratch, motion, &BAT, &context()), evaluated(motion));
    }
}

#[test]
fn curves_begin_at_the_sweet_spot_and_head_along_x() {
    let motion = turned(&usual_swing(1000.0), 2.0);
    let curves = curves(&motion, &BAT);
    assert_eq!(curves.times_s, motion.times_s);
    let last = curves.times_s.len() - 1;
    assert!(curves.sweet_spot_w_m[last].norm() < 1e-12);
    let step_m = curves.sweet_spot_w_m[last] - curves.sweet_spot_w_m[last - 1];
    assert!(step_m.x > 0.02 && step_m.y.abs() < 0.04 * step_m.x);
    let bat_m = (curves.hands_w_m[last] - curves.sweet_spot_w_m[last]).norm();
    assert!((bat_m - (0.686 - 0.1524)).abs() < 1e-12);
    assert_eq!(Some(curves.bat_speed_mps[last]), evaluated(&motion).of(Metric::BatSpeed));
}

fn mapped(motion: &BatMotion, polar: impl Fn(Vector3<f64>) -> Vector3<f64>, axial: f64) -> BatMotion {
    let mut mapped = motion.clone();
    for state in &mut mapped.states {
        state.axis_w = polar(state.axis_w);
        state.hands_w_m = polar(state.hands_w_m);
        state.velocity_hands_w_mps = polar(state.velocity_hands_w_mps);
        state.omega_w_radps = polar(state.omega_w_radps) * axial;
    }
    mapped
}

fn turned(motion: &BatMotion, heading_rad: f64) -> BatMotion {
    let rotation = Rotation3::from_axis_angle(&Vector3::z_axis(), heading_rad);
    mapped(motion, |v| rotation * v, 1.0)
}

/// Seen in a mirror along the vertical x–z plane; angular velocity is an axial vector and turns the other way.
fn mirrored(motion: &BatMotion) -> BatMotion {
    mapped(motion, |v| Vector3::new(v.x, -v.y, v.z), -1.0)
}

/// Swings of many planes, cones and rates, some after a waggle.
fn any_swing() -> impl Strategy<Value = BatMotion> {
    (0.0..1.2f64, -0.4..0.4f64, 0.05..0.4f64, 20.0..45.0f64, 0.1..0.2f64, 0.0..6.0f64, 0.4..1.6f64, any::<bool>())
        .prop_map(|(plane_rad, cone_rad, hands_m, top_radps, span_s, waggle_radps, end_rad, ball)| {
            let turn = Turning { plane_rad, cone_rad, hands_m };
            let waggle = move |t: f64| (waggle_radps * (9.0 * t).sin() / 9.0, waggle_radps * (9.0 * t).cos());
            let angle = move |t: f64| {
                let (swing, waggle) = (half_cosine(t, span_s, top_radps), waggle(t));
                (end_rad - 1.0 + swing.0 + waggle.0, swing.1 + waggle.1)
            };
            turn.motion((-0.7, if ball { 0.0 } else { 0.1 }, 1000.0), ball, angle)
        })
}

fn assert_same(a: &Values, b: &Values, sign_of_roll: f64) -> Result<(), TestCaseError> {
    prop_assert_eq!(a.start_rule, b.start_rule);
    for metric in Metric::ALL {
        let sign = if metric == Metric::RollRate { sign_of_roll } else { 1.0 };
        match (a.of(metric), b.of(metric)) {
            (Some(x), Some(y)) => {
                prop_assert!((x - sign * y).abs() < 1e-7 * x.abs().max(1.0), "{:?} {} {}", metric, x, y)
            }
            (x, y) => prop_assert_eq!(x, y, "{:?}", metric),
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn a_turned_world_changes_nothing(motion in any_swing(), heading_rad in -3.0..3.0f64) {
        assert_same(&evaluated(&motion), &evaluated(&turned(&motion, heading_rad)), 1.0)?;
    }

    #[test]
    fn a_mirrored_batter_rolls_the_other_way(motion in any_swing()) {
        assert_same(&evaluated(&motion), &evaluated(&mirrored(&motion)), -1.0)?;
    }

    #[test]
    fn a_moved_origin_changes_nothing(motion in any_swing(), x_m in -9.0..9.0f64, z_m in -9.0..9.0f64) {
        let mut moved = motion.clone();
        moved.states.iter_mut().for_each(|s| s.hands_w_m += Vector3::new(x_m, 1.0, z_m));
        assert_same(&evaluated(&motion), &evaluated(&moved), 1.0)?;
    }

    /// Halving a tiny change of the motion halves its effect: what σ by differences rests on.
    #[test]
    fn values_move_smoothly(motion in any_swing(), k in 0usize..8) {
        let push = Vector3::new([0.3, -0.2, 0.1][k % 3], [0.1, 0.4][k % 2], 0.2);
        let pushed = |size: f64| {
            let mut pushed = motion.clone();
            for (t, state) in pushed.times_s.iter().zip(&mut pushed.states) {
                state.velocity_hands_w_mps += push * (1.0 + t) * size;
                state.omega_w_radps += push.yzx() * (1.0 - t) * size;
                state.hands_w_m += push * (t + t * t / 2.0) * size;
            }
            evaluated(&pushed)
        };
        let (zero, one, two) = (pushed(0.0), pushed(1e-5), pushed(2e-5));
        prop_assume!(zero.start_rule == two.start_rule && zero.start_rule == one.start_rule);
        for metric in Metric::ALL {
            if let (Some(a), Some(b), Some(c)) = (zero.of(metric), one.of(metric), two.of(metric)) {
                let (first, second) = (b - a, c - b);
                prop_assert!((first - second).abs() < 0.2 * first.abs() + 1e-4, "{:?} {} {}", metric, first, second);
            }
        }
    }

    #[test]
    fn no_motion_panics(
        times_s in prop::collection::vec(hostile(), 0..30),
        numbers in prop::collection::vec(hostile(), 12),
        contact in 0usize..40,
        ball in any::<bool>(),
        in_order in any::<bool>(),
    ) {
        let mut times_s = times_s;
        if in_order {
            times_s.sort_by(f64::total_cmp);
            times_s.dedup();
        }
        let contact = times_s.iter().position(|&t| t == 0.0).unwrap_or(contact);
        let vector = |i: usize| Vector3::new(numbers[i], numbers[i + 1], numbers[i + 2]);
        let states = times_s.iter().map(|&t| BatState {
            axis_w: if in_order { Vector3::new(t.sin(), 0.0, t.cos()) } else { vector(0) },
            omega_w_radps: vector(3) * t,
            hands_w_m: vector(6),
            velocity_hands_w_mps: vector(9),
        }).collect();
        let motion = BatMotion { times_s, states, contact, ball };
        let values = evaluated(&motion);
        prop_assert!(values.values.iter().flatten().all(|v| v.is_finite()));
        prop_assert!(values.start_s.is_none_or(|s| s.is_finite() && s < 0.0));
        curves(&motion, &BAT);
    }
}

fn hostile() -> impl Strategy<Value = f64> {
    prop_oneof![
        3 => Just(0.0),
        2 => -1.0..0.5f64,
        1 => any::<f64>(),
        1 => prop::sample::select(vec![f64::NAN, f64::INFINITY, 1e300, 1e-300, -1e9, 1e8]),
    ]
}
