use super::*;
use crate::engine::motion::state::Parameters;

/// From the pivot to the sensor, m.
const RADIUS_M: f64 = 0.2;
const G_MPS2: f64 = 9.80665;
/// Grid points before contact.
const BEFORE: usize = 200;
const H_S: f64 = 1e-3;

/// The bat turns in the horizontal plane about a pivot that stands still; S and B are one: z away from the pivot, y up,
/// x along the motion. At angle zero z_S points along x_W. θ = 30 t + 40 t², t from contact.
fn theta(t: f64) -> (f64, f64, f64) {
    (30.0 * t + 40.0 * t * t, 30.0 + 80.0 * t, 80.0)
}

fn signal(t: f64) -> Signal {
    let (_, omega, omega_dot) = theta(t);
    Signal {
        gyro_s_radps: Vector3::new(0.0, omega, 0.0),
        accel_s_mps2: Vector3::new(omega_dot * RADIUS_M, G_MPS2, -omega * omega * RADIUS_M),
    }
}

/// Along the bat and along the motion.
fn directions(angle: f64) -> (Vector3<f64>, Vector3<f64>) {
    let (sin, cos) = angle.sin_cos();
    (Vector3::new(cos, sin, 0.0), Vector3::new(-sin, cos, 0.0))
}

fn state(t: f64) -> NavState {
    let (angle, omega, _) = theta(t);
    let upright = Attitude::from_wxyz([0.5; 4]).expect("a unit quaternion");
    NavState {
        attitude: upright.turned_in_world(Vector3::new(0.0, 0.0, angle)),
        velocity_w_mps: directions(angle).1 * (omega * RADIUS_M),
        position_w_m: Vector3::zeros(),
        parameters: Parameters::zeros(),
    }
}

fn window(node_s: f64) -> Window {
    Window {
        step_s: H_S,
        signals: (0..=BEFORE).map(|k| signal((k as f64 - BEFORE as f64) * H_S)).collect(),
        contact: BEFORE,
        node_s,
        node: signal(node_s),
        doubts: Vec::new(),
    }
}

/// Greatest errors of axis, angular rate, velocity of the hands, and path of the hands.
fn errors(motion: &BatMotion, hands_radius_m: f64) -> [f64; 4] {
    let truth = |t: f64| {
        let (angle, omega, _) = theta(t);
        let (along, forward) = directions(angle);
        (along, Vector3::z() * omega, forward * (omega * hands_radius_m), along * hands_radius_m)
    };
    let first = truth(motion.times_s[0]).3 - motion.states[0].hands_w_m;
    let mut worst = [0.0_f64; 4];
    for (t, state) in motion.times_s.iter().zip(&motion.states) {
        let (axis, omega, velocity, place) = truth(*t);
        let own = [
            state.axis_w - axis,
            state.omega_w_radps - omega,
            state.velocity_hands_w_mps - velocity,
            state.hands_w_m + first - place,
        ];
        worst = std::array::from_fn(|i| worst[i].max(own[i].norm()));
    }
    worst
}

/// θ is a parabola, so that attitude and rate are exact. R·f has derivatives of ωⁿ·ω²r: with ω ≤ 30 and r = 0.2 a step
/// with neighbours errs by (11/720)·h⁵·ω⁶·r, 2e-9 m/s, the last one and that at the node by h³/12·ω⁴·r, 1.4e-5 m/s (ω̇
/// adds less than a tenth); the path errs by the velocity's error over 0.2 s.
#[test]
fn on_a_circle_the_bat_is_where_the_closed_form_has_it() {
    for node_s in [-0.0004, -0.0503, -0.1] {
        let motion = bat_motion(&window(node_s), &Probe::of(&state(node_s)), &Profile::default(), Contact::Ball);
        assert_eq!((motion.states.len(), motion.contact, motion.ball), (BEFORE + 1, BEFORE, true));
        assert!((motion.times_s[0] + 0.2).abs() < 1e-12 && motion.times_s[BEFORE] == 0.0);
        let [axis, omega, velocity, place] = errors(&motion, RADIUS_M + HANDS_FROM_KNOB_M);
        assert!(axis < 1e-12 && omega < 1e-9, "node at {node_s}: {axis} {omega}");
        assert!(velocity < 3e-5, "node at {node_s}: {velocity}");
        assert!(place < 3e-5 * 0.2, "node at {node_s}: {place}");
    }
}

#[test]
fn the_lever_arm_counts_from_the_mount_and_from_its_error() {
    let mut profile = Profile::default();
    profile.mount.offset_b_m = Vector3::new(0.0, 0.0, -0.012);
    let hands_m = RADIUS_M + HANDS_FROM_KNOB_M + 0.012;
    let mut probe = Probe::of(&state(-0.1));
    let exact = errors(&bat_motion(&window(-0.1), &probe, &profile, Contact::None), hands_m);
    assert!(exact[2] < 3e-5, "{exact:?}");
    // A sensor 1 mm nearer to the hands than the mount says: they are slower by 1 mm·ω.
    probe.offset_error_b_m.z = 1e-3;
    let nearer = errors(&bat_motion(&window(-0.1), &probe, &profile, Contact::None), hands_m);
    assert!((nearer[2] - 0.030).abs() < 4e-5, "{nearer:?}");
}

/// A mount turned by 120° about (1, 1, 1), and a bias and a tilt that the parameters take out again.
#[test]
fn mount_bias_and_tilt_are_taken_out() {
    let q_bs = UnitQuaternion::from_scaled_axis(Vector3::repeat(std::f64::consts::TAU / 3.0 / 3_f64.sqrt()));
    let tilt = Vector3::new(0.02, -0.01, 0.0);
    let true_q_bs = UnitQuaternion::from_scaled_axis(tilt) * q_bs;
    let bias = Vector3::new(0.3, -0.2, 0.1);
    let mut profile = Profile::default();
    profile.mount.q_bs = q_bs;
    let turned = |signal: &Signal| Signal {
        gyro_s_radps: true_q_bs.inverse() * signal.gyro_s_radps + bias,
        accel_s_mps2: true_q_bs.inverse() * signal.accel_s_mps2,
    };
    let mut window = window(-0.1);
    window.signals = window.signals.iter().map(turned).collect();
    window.node = turned(&window.node);
    let mut at_node = state(-0.1);
    let matrix = at_node.attitude.matrix() * true_q_bs.to_rotation_matrix().matrix();
    let rotation = nalgebra::Rotation3::from_matrix_unchecked(matrix);
    at_node.attitude = Attitude::from_rotation_vector(rotation.scaled_axis());
    at_node.parameters.fixed_rows_mut::<3>(parameter::GYRO_BIAS).copy_from(&bias);
    at_node.parameters.fixed_rows_mut::<2>(parameter::TILT).copy_from(&tilt.xy());
    let motion = bat_motion(&window, &Probe::of(&at_node), &profile, Contact::Ball);
    let [axis, omega, velocity, _] = errors(&motion, RADIUS_M + HANDS_FROM_KNOB_M);
    assert!(axis < 1e-9 && omega < 1e-9 && velocity < 3e-5, "{axis} {omega} {velocity}");
}
