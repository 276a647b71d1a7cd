//! The motion of a whole recording, of textbook motions between two rests, by a sensor without error.

use crate::support::{Eased, attitude_of};
use nalgebra::Vector3;
use swingd::engine::geometry::Attitude;
use swingd::engine::motion::track::{TrackRow, track};
use swingd::engine::profile::{Mount, Profile, SensorProfile};
use swingd::sim::textbook::{Coning, ConstantRotation, Pendulum, Sculling, SymmetricTop, Tumble, UniformCircle};
use swingd::sim::{Drawn, Kind, Mishaps, Preset, Random, Scenario, Trajectory, record};

/// Greatest error of orientation that is let pass, rad: a hundredth of a degree.
const ORIENTATION_RAD: f64 = 0.01 * std::f64::consts::PI / 180.0;
/// Greatest error of velocity, m/s. Over the two seconds of a motion the rule's own error is below 1e-4 (`closed_forms`), and
/// 1e-6 rad of tilt, of the same source, makes 2e-5 of gravity.
const VELOCITY_MPS: f64 = 1e-3;

fn between_rests<T>(motion: T, span_s: f64) -> Eased<T> {
    Eased { motion, rest_s: 1.5, moving_s: 2.0, span_s }
}

/// What the track makes of a motion, and the truth's attitude brought to the track's arbitrary heading.
fn tracked<T: Trajectory>(motion: &Eased<T>, rate_hz: f64) -> Vec<(TrackRow, Attitude, Vector3<f64>)> {
    let sensor = SensorProfile { sample_rate_hz: Some(rate_hz), ..Preset::Ideal.profile() };
    let mount = Mount { tilt_error_rad: 0.0, given: true, ..Mount::default() };
    let drawn = Drawn::flawless(&sensor, mount.clone());
    let stream = record(motion, motion.end_s(), &sensor, &drawn, Mishaps::default(), &mut Random::new(1));
    let profile = Profile { sensor, mount, ..Profile::default() };
    let rows = track(&stream.samples, &profile, 1.0 / rate_hz);
    assert_eq!(rows.len(), stream.samples.len());
    let turn = rows[0].attitude.rotation_vector_w_from(attitude_of(motion.at(0.0).q_ws));
    let heading = Attitude::from_rotation_vector(Vector3::z() * turn.z);
    rows.into_iter()
        .map(|row| {
            let truth = motion.at(row.time_s);
            let turned = attitude_of(truth.q_ws).turned_in_world(Vector3::z() * turn.z);
            (row, turned, heading.to_world(truth.velocity_w_mps))
        })
        .collect()
}

fn assert_tracked<T: Trajectory>(name: &str, motion: &Eased<T>) {
    for rate_hz in [500.0, 2000.0] {
        let rows = tracked(motion, rate_hz);
        for (row, attitude, velocity_w_mps) in &rows {
            let miss_rad = row.attitude.rotation_vector_w_from(*attitude).norm();
            assert!(miss_rad < ORIENTATION_RAD, "{name}, {rate_hz} Hz, at {} s: {miss_rad} rad", row.time_s);
            let miss_mps = (row.velocity_w_mps - velocity_w_mps).norm();
            assert!(miss_mps < VELOCITY_MPS, "{name}, {rate_hz} Hz, at {} s: {miss_mps} m/s", row.time_s);
        }
        assert_labels(name, motion, rows.iter().map(|row| &row.0));
    }
}

/// No row of quick motion is called a rest; of the rests all is, but for what a window of 0.2 s and the trim cost.
fn assert_labels<'a, T: Trajectory>(name: &str, motion: &Eased<T>, rows: impl Iterator<Item = &'a TrackRow>) {
    let ends_s = (motion.rest_s, motion.rest_s + motion.moving_s);
    for row in rows {
        let t_s = row.time_s;
        let quick = motion.at(t_s).omega_s_radps.norm() > 0.3;
        assert!(!quick || row.moving, "{name} at {t_s} s: turning, told to rest");
        let at_rest = t_s > 0.1 && t_s < ends_s.0 - 0.25 || t_s > ends_s.1 + 0.25 && t_s < motion.end_s() - 0.1;
        assert!(!at_rest || !row.moving, "{name} at {t_s} s: at rest, told to move");
    }
}

#[test]
fn steady_turns() {
    let rotation = ConstantRotation { omega_radps: Vector3::new(3.0, -5.0, 2.0), arm_s_m: Vector3::new(0.2, 0.1, 0.3) };
    assert_tracked("rotation", &between_rests(rotation, 2.0));
    assert_tracked("circle", &between_rests(UniformCircle { radius_m: 0.5, rate_radps: 8.0 }, 1.5));
}

/// Landau & Lifshitz, *Mechanics*, §§ 35–37, and the pendulum of § 11.
#[test]
fn tops_and_the_pendulum() {
    let top = SymmetricTop { moi_across_kgm2: 0.07, moi_along_kgm2: 0.02, momentum_kgm2ps: 0.5, tilt_rad: 1.1 };
    assert_tracked("symmetric top", &between_rests(top, 1.2));
    let tumble = Tumble::new([0.9, 1.0, 1.3], 0.9, 4.0).expect("a path about the third axis");
    assert_tracked("tumble", &between_rests(tumble, 4.0));
    let arm_s_m = Vector3::new(0.05, 0.02, -0.4);
    let pendulum = Pendulum { amplitude_rad: 170f64.to_radians(), equal_length_m: 0.5, arm_s_m };
    assert_tracked("pendulum", &between_rests(pendulum, 3.0));
}

/// Goodman & Robinson 1958; Savage 1998, part 2.
#[test]
fn coning_and_sculling() {
    assert_tracked("coning", &between_rests(Coning { half_angle_rad: 0.3, rate_radps: 25.0 }, 1.5));
    assert_tracked("sculling", &between_rests(Sculling { turn_rad: 0.2, move_m: 0.01, rate_radps: 25.0 }, 1.5));
}

/// Between nodes the track is led from one smoothed state to the next, so it has no jumps: from row to row it turns by what
/// the gyro read, but for its bias (1e-5 rad a row), 0.5 % (5e-6) and a row's share of what the nodes correct: some 5 mrad over
/// at least tens of rows. A step at a node would show as those 5 mrad at once.
#[test]
fn a_track_has_no_jumps() {
    let simulated = Scenario::new(Kind::Lesson { events: 3, calibrated: false }, Preset::Good, 72_000).run();
    let rows = track(&simulated.samples, &simulated.profile, 1e-3);
    assert_eq!(rows.len(), simulated.samples.len());
    let mut worst: f64 = 0.0;
    for (pair, samples) in rows.windows(2).zip(simulated.samples.windows(2)) {
        let rate = (samples[0].gyro_s_radps + samples[1].gyro_s_radps) * 0.5;
        if rate.norm() > 1.0 {
            continue;
        }
        let by_gyro = pair[0].attitude.turned_in_sensor(rate * 1e-3);
        worst = worst.max(pair[1].attitude.rotation_vector_w_from(by_gyro).norm());
    }
    assert!(worst < 5e-4, "{worst}");
}
