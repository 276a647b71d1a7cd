//! The simulator's closed forms, and the strapdown integral of them, against scipy's values
//! (`tests/reference/rigid_body.py`: Jacobi's functions for the rates, Euler's equations integrated for the attitudes).

use crate::support::{MARGIN, attitude_of, bound, readings, state_of};
use nalgebra::{Quaternion, UnitQuaternion, Vector3};
use swingd::engine::motion::span::integrate;
use swingd::sim::Trajectory;
use swingd::sim::textbook::{Pendulum, Tumble};

struct Row {
    t_s: f64,
    omega_s_radps: Vector3<f64>,
    /// From the attitude at time 0.
    turned: UnitQuaternion<f64>,
}

fn reference(case: &str) -> Vec<Row> {
    let table = include_str!("../reference/rigid_body.csv");
    let rows: Vec<Row> = (table.lines().skip(1))
        .filter_map(|line| line.strip_prefix(case)?.strip_prefix(','))
        .map(|line| line.split(',').map(|cell| cell.parse().expect("a number")).collect())
        .map(|n: Vec<f64>| Row {
            t_s: n[0],
            omega_s_radps: Vector3::new(n[1], n[2], n[3]),
            turned: UnitQuaternion::new_unchecked(Quaternion::new(n[4], n[5], n[6], n[7])),
        })
        .collect();
    assert_eq!(rows.len(), 13, "{case}");
    rows
}

/// The script's own two ways agree to 5e-11; its integration is asked for 1e-13 a step.
const AGREEMENT: f64 = 1e-9;

fn assert_agrees(case: &str, motion: &impl Trajectory) {
    let start = motion.at(0.0);
    let steps = 6000;
    let list = readings(motion, 1000.0, steps);
    let ours = integrate(&list, MARGIN, MARGIN + steps, &state_of(&start));
    let most = bound(motion, 1000.0, steps).attitude_rad;
    assert!(most < 1e-6, "{most}");
    for row in reference(case) {
        let closed = motion.at(row.t_s);
        assert!((closed.omega_s_radps - row.omega_s_radps).norm() < AGREEMENT, "{case} at {} s", row.t_s);
        let expected = start.q_ws * row.turned;
        assert!(
            closed.q_ws.angle_to(&expected) < AGREEMENT,
            "{case} at {} s: {}",
            row.t_s,
            closed.q_ws.angle_to(&expected)
        );
        let step = &ours[(row.t_s * 1000.0).round() as usize];
        let miss = step.attitude.rotation_vector_w_from(attitude_of(expected)).norm();
        assert!(miss < most + AGREEMENT, "{case} at {} s: {miss}, at most {most}", row.t_s);
    }
}

#[test]
fn scipy_intermediate_axis_tumble() {
    assert_agrees("tumble", &Tumble::new([0.9, 1.0, 1.3], 0.9, 4.0).expect("a path about the third axis"));
}

#[test]
fn scipy_pendulum_from_170_degrees() {
    let amplitude_rad = 170f64.to_radians();
    assert_agrees("pendulum", &Pendulum { amplitude_rad, equal_length_m: 0.5, arm_s_m: Vector3::new(0.1, 0.0, -0.3) });
}
