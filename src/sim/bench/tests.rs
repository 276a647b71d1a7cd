use super::super::textbook::Pendulum;
use super::*;

fn mount() -> Mount {
    let q_bs = UnitQuaternion::from_euler_angles(0.3, -0.7, 1.9);
    Mount { offset_b_m: Vector3::new(0.002, -0.001, -0.012), q_bs, ..Mount::default() }
}

/// Rates, velocities and forces are those of the attitude and the place, by differences over ±h.
fn assert_consistent(name: &str, motion: &impl Trajectory, from_s: f64, to_s: f64) {
    let h = 1e-4;
    for i in 0..200 {
        let t = from_s + (to_s - from_s) * f64::from(i) / 200.0;
        let [before, now, after] = [t - h, t, t + h].map(|t| motion.at(t));
        let omega = (before.q_ws.inverse() * after.q_ws).scaled_axis() / (2.0 * h);
        // h²/6 of a third derivative, at most 25 rad/s cubed; steps of the jerk at the ends of a way add h/2 of it.
        assert!((omega - now.omega_s_radps).norm() < 2e-4, "{name} ω at {t}: {omega} {}", now.omega_s_radps);
        let velocity = (after.position_w_m - before.position_w_m) / (2.0 * h);
        assert!((velocity - now.velocity_w_mps).norm() < 2e-4, "{name} v at {t}");
        let acceleration = (after.velocity_w_mps - before.velocity_w_mps) / (2.0 * h);
        let force = now.q_ws.inverse() * (acceleration + Vector3::z() * G_MPS2);
        assert!((force - now.specific_force_s_mps2).norm() < 2e-2, "{name} f at {t}");
    }
}

#[test]
fn each_motion_agrees_with_its_own_derivatives() {
    let hung = HungBat::new(1.4, 0.6, 0.01, 1.0, 10.0, mount());
    assert_consistent("hung", &hung, 1.01, 9.0);
    let rolled = StoodAndRolled::draw(&mut Random::new(5), 0.03, 0.03, mount());
    assert_consistent("rolled", &rolled, 0.1, rolled.end_s());
    assert_consistent("resting", &Resting { angles_rad: [0.4, -0.2, 1.0], mount: mount() }, 0.0, 1.0);
}

#[test]
fn a_hung_bat_that_loses_nothing_is_the_pendulum_of_the_textbook() {
    let exact = Pendulum { amplitude_rad: 0.6, equal_length_m: 0.5, arm_s_m: Vector3::new(0.0, 0.0, 0.17) };
    let small_s = TAU * (0.5 / G_MPS2).sqrt();
    let hung = HungBat::new(small_s, 0.6, 0.0, 0.0, 20.0, mount());
    for i in 0..2000 {
        let t_s = f64::from(i) * 0.01 + 0.000_37;
        let angle_rad = exact.at(t_s).q_ws.angle();
        assert!((hung.angle_rad(t_s).abs() - angle_rad).abs() < 1e-9, "{t_s}: {} {angle_rad}", hung.angle_rad(t_s));
    }
}

#[test]
fn it_stands_before_it_is_rolled_and_after() {
    let rolled = StoodAndRolled::draw(&mut Random::new(6), 0.0, 0.03, mount());
    for t_s in [0.0, rolled.stands_s - 0.01, rolled.end_s()] {
        let seen = rolled.at(t_s);
        assert!(seen.omega_s_radps.norm() < 1e-9, "{t_s}");
        let axis_w = seen.q_ws * (rolled.mount.q_bs.inverse() * Vector3::z());
        assert!((axis_w + Vector3::z()).norm() < 1e-9, "the knob is up at {t_s}");
    }
    let turned = rolled.at(rolled.stands_s + rolled.way_s);
    assert!(turned.omega_s_radps.norm() < 1e-6 && rolled.way_rad > 4.0 * std::f64::consts::PI);
}
