use super::*;

/// Attitude from rate, velocity from position and specific force from velocity, by differences over ±h.
fn assert_consistent(name: &str, motion: &impl Trajectory, lasting_s: f64, quickest_radps: f64) {
    let h = 1e-4;
    // A central difference errs by h²/6 of a third derivative, here at most the cube of the quickest rate.
    let bound = h * h / 6.0 * quickest_radps.powi(3) + 1e-9;
    for i in 0..200 {
        let t = lasting_s * f64::from(i) / 200.0;
        let [before, now, after] = [t - h, t, t + h].map(|t| motion.at(t));
        let omega = (before.q_ws.inverse() * after.q_ws).scaled_axis() / (2.0 * h);
        assert!((omega - now.omega_s_radps).norm() < bound, "{name} ω at {t}: {omega} {}", now.omega_s_radps);
        let velocity = (after.position_w_m - before.position_w_m) / (2.0 * h);
        assert!((velocity - now.velocity_w_mps).norm() < bound, "{name} v at {t}");
        let acceleration = (after.velocity_w_mps - before.velocity_w_mps) / (2.0 * h);
        let force = now.q_ws.inverse() * (acceleration + gravity_reaction_w_mps2());
        assert!((force - now.specific_force_s_mps2).norm() < bound * quickest_radps.max(1.0), "{name} f at {t}");
        assert!((now.q_ws.norm() - 1.0).abs() < 1e-12, "{name}");
    }
}

fn tumble() -> Tumble {
    Tumble::new([0.9, 1.0, 1.3], 0.9, 4.0).expect("a path about the third axis")
}

fn pendulum() -> Pendulum {
    Pendulum { amplitude_rad: 170f64.to_radians(), equal_length_m: 0.5, arm_s_m: Vector3::new(0.05, 0.02, -0.4) }
}

#[test]
fn each_motion_agrees_with_its_own_derivatives() {
    let rotation = ConstantRotation { omega_radps: Vector3::new(3.0, -5.0, 2.0), arm_s_m: Vector3::new(0.2, 0.1, 0.3) };
    assert_consistent("rotation", &rotation, 5.0, 12.0);
    assert_consistent("coning", &Coning { half_angle_rad: 0.3, rate_radps: 30.0 }, 2.0, 60.0);
    assert_consistent("sculling", &Sculling { turn_rad: 0.2, move_m: 0.01, rate_radps: 40.0 }, 2.0, 60.0);
    assert_consistent("circle", &UniformCircle { radius_m: 0.5, rate_radps: 8.0 }, 3.0, 12.0);
    let top = SymmetricTop { moi_across_kgm2: 0.07, moi_along_kgm2: 0.01, momentum_kgm2ps: 0.5, tilt_rad: 1.1 };
    assert_consistent("symmetric top", &top, 5.0, 60.0);
    assert_consistent("tumble", &tumble(), 3.0 * tumble().period_s(), 12.0);
    assert_consistent("pendulum", &pendulum(), 2.0 * pendulum().period_s(), 25.0);
}

/// Over a round of the cone the attitude comes back, though the rate about x has a mean: the angle of the cone's cap
/// over 2π (Goodman & Robinson 1958).
#[test]
fn goodman_robinson_1958_mean_rate_of_coning() {
    let coning = Coning { half_angle_rad: 0.1, rate_radps: 10.0 };
    let round_s = 2.0 * PI / 10.0;
    assert!(coning.at(0.0).q_ws.angle_to(&coning.at(round_s).q_ws) < 1e-12);
    let drift = coning.at(0.123).omega_s_radps.x * round_s;
    assert!((drift + 2.0 * PI * (1.0 - 0.1f64.cos())).abs() < 1e-12);
}

/// Angular momentum in W and energy are kept (Landau & Lifshitz § 37), and the tumble comes back in the body after 4K.
#[test]
fn landau_lifshitz_37_tumble_keeps_momentum_and_energy() {
    let (tumble, moi) = (tumble(), Vector3::new(0.9, 1.0, 1.3));
    let momentum = |t: f64| {
        let imu = tumble.at(t);
        imu.q_ws * imu.omega_s_radps.component_mul(&moi)
    };
    let energy = |t: f64| tumble.omega(t).component_mul(&tumble.omega(t)).dot(&moi);
    for i in 0..100 {
        let t = 0.17 * f64::from(i);
        assert!((momentum(t) - momentum(0.0)).norm() < 1e-11, "{t}");
        assert!((energy(t) - energy(0.0)).abs() < 1e-11, "{t}");
        assert!((tumble.omega(t + tumble.period_s()) - tumble.omega(t)).norm() < 1e-10, "{t}");
    }
    assert!((tumble.at(0.0).omega_s_radps - Vector3::new(0.9, 0.0, 4.0)).norm() < 1e-12);
}

/// With two moments nearly equal the tumble must become the symmetric top.
#[test]
fn tumble_tends_to_the_symmetric_top() {
    let tumble = Tumble::new([1.0, 1.0 + 1e-9, 1.6], 1.5, 2.0).expect("a path about the third axis");
    let momentum_kgm2ps = (1.5f64.powi(2) + (1.6f64 * 2.0).powi(2)).sqrt();
    let top = SymmetricTop {
        moi_across_kgm2: 1.0,
        moi_along_kgm2: 1.6,
        momentum_kgm2ps,
        tilt_rad: (1.6 * 2.0 / momentum_kgm2ps).acos(),
    };
    // The tumble begins with the momentum's body component along x, ψ = π/2: a turn about the top's axis apart.
    let offset = top.at(0.0).q_ws.inverse() * tumble.at(0.0).q_ws;
    for i in 0..40 {
        let t = 0.11 * f64::from(i);
        assert!((top.at(t).q_ws * Vector3::z() - tumble.at(t).q_ws * Vector3::z()).norm() < 1e-6, "{t}");
        assert!((top.at(t).q_ws * offset).angle_to(&tumble.at(t).q_ws) < 1e-6, "{t}");
    }
}

/// Period 4 K(k) √(l/g); for small angles 2π √(l/g) (1 + θ²/16) (Landau & Lifshitz § 11, problem 1).
#[test]
fn landau_lifshitz_11_pendulum_period() {
    let swing = pendulum();
    assert!((swing.at(swing.period_s()).q_ws.angle() - 170f64.to_radians()).abs() < 1e-9);
    assert!(
        (swing.at(0.5 * swing.period_s()).q_ws.angle_to(&swing.at(0.0).q_ws) - 340f64.to_radians()).abs() < 1e-9
            || (2.0 * PI - swing.at(0.5 * swing.period_s()).q_ws.angle_to(&swing.at(0.0).q_ws) - 340f64.to_radians())
                .abs()
                < 1e-9
    );
    let small = Pendulum { amplitude_rad: 0.1, ..swing };
    let expected = 2.0 * PI * (0.5 / G_MPS2).sqrt() * (1.0 + 0.01 / 16.0);
    assert!((small.period_s() / expected - 1.0).abs() < 1e-6);
}

/// Energy: θ'² = 2 ω₀² (cos θ − cos θ₀).
#[test]
fn pendulum_keeps_its_energy() {
    let swing = pendulum();
    for i in 0..50 {
        let imu = swing.at(0.07 * f64::from(i));
        let down = -(imu.q_ws * Vector3::z()).z;
        let expected = 2.0 * G_MPS2 / 0.5 * (-down - 170f64.to_radians().cos());
        assert!((imu.omega_s_radps.y.powi(2) - expected).abs() < 1e-9);
    }
}
