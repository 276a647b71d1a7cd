use super::*;
use crate::engine::geometry::gravity_reaction_w_mps2;
use crate::engine::metrics::{HANDS_FROM_KNOB_M, Metric};
use crate::engine::profile::Side;
use crate::sim::Trajectory;
use nalgebra::{UnitQuaternion, Vector3};

fn ball(preset: Preset, seed: u64) -> Simulated {
    Scenario::new(Kind::Swing(SwingKind::Ball), preset, seed).run()
}

fn ball_truth(seed: u64) -> (Profile, Truth) {
    Scenario::new(Kind::Swing(SwingKind::Ball), Preset::Slow, seed).truth()
}

fn every_kind() -> Vec<Kind> {
    let swings = [SwingKind::Ball, SwingKind::Dry, SwingKind::Check, SwingKind::Slow].map(Kind::Swing);
    swings.into_iter().chain(EventKind::ALL.map(Kind::Event)).chain([Kind::Calibration]).collect()
}

#[test]
fn the_same_seed_gives_the_same_bits_and_another_does_not() {
    let scenario = Scenario::new(Kind::Swing(SwingKind::Ball), Preset::Hobby, 5);
    let bits = |simulated: &Simulated| -> Vec<[u64; 2]> {
        simulated.samples.iter().map(|s| [s.time.0.to_bits(), s.gyro_s_radps.x.to_bits()]).collect()
    };
    assert_eq!(bits(&scenario.run()), bits(&scenario.run()));
    assert_ne!(bits(&scenario.run()), bits(&Scenario { seed: 6, ..scenario }.run()));
}

/// Every motion is what it says: attitude, velocity and specific force by differences of the stated pose, ringing apart.
#[test]
fn motions_agree_with_their_own_derivatives() {
    let h = 2e-5;
    for (seed, kind) in every_kind().into_iter().enumerate() {
        let (_, mut truth) = Scenario::new(kind, Preset::Slow, seed as u64).truth();
        truth.motion.ringing.clear();
        let imu = Mounted { motion: &truth.motion, mount: &truth.drawn.mount };
        let end_s = truth.motion.end_s() - 0.01;
        for i in 0..500 {
            let t = 0.005 + end_s * f64::from(i) / 501.0;
            let [before, now, after] = [t - h, t, t + h].map(|t| imu.at(t));
            let omega = (before.q_ws.inverse() * after.q_ws).scaled_axis() / (2.0 * h);
            let velocity = (after.position_w_m - before.position_w_m) / (2.0 * h);
            let acceleration = (after.velocity_w_mps - before.velocity_w_mps) / (2.0 * h);
            let force = now.q_ws.inverse() * (acceleration + gravity_reaction_w_mps2());
            // Within a blow of a millisecond the third derivatives reach 1e8: h²/6 of them is 7e-3.
            assert!((omega - now.omega_s_radps).norm() < 1e-2, "{kind:?} {t}");
            assert!((velocity - now.velocity_w_mps).norm() < 1e-2, "{kind:?} {t}");
            assert!((force - now.specific_force_s_mps2).norm() < 1.0, "{kind:?} {t}");
        }
    }
}

/// The stated rates, integrated by small steps from the first rest, end in the stated attitude; the stated specific force
/// ends in the stated velocity and position.
#[test]
fn integrated_ideal_samples_end_where_the_motion_does() {
    let Simulated { samples, truth, .. } = ball(Preset::Ideal, 11);
    let imu = Mounted { motion: &truth.motion, mount: &truth.drawn.mount };
    let contact_s = truth.swings[0].contact_sensor_s;
    let until = samples.partition_point(|sample| sample.time.0 < contact_s);
    let at = |i: usize| imu.at(truth.drawn.true_time_s(samples[i].time.0 - truth.drawn.clock_start_s));
    let (first, last) = (at(0), at(until - 1));
    let (mut q, mut velocity) = (first.q_ws, first.velocity_w_mps);
    for pair in samples[..until].windows(2) {
        let dt = pair[1].time.seconds_since(pair[0].time);
        let before = q * pair[0].accel_s_mps2;
        q *= UnitQuaternion::from_scaled_axis((pair[0].gyro_s_radps + pair[1].gyro_s_radps) * (0.5 * dt));
        velocity += (0.5 * (before + q * pair[1].accel_s_mps2) - gravity_reaction_w_mps2()) * dt;
    }
    // Trapezoids of 0.5 ms: dt²/12 · Δω̇ ≈ 2e-8 · 1e3 rad, and dt²/12 · Δȧ ≈ 2e-8 · 2e4 m/s.
    assert!(q.angle_to(&last.q_ws) < 1e-4, "{}", q.angle_to(&last.q_ws));
    assert!((velocity - last.velocity_w_mps).norm() < 3e-3, "{velocity} {}", last.velocity_w_mps);
}

/// Angular momentum of the struck bat about the point of contact is kept: the impulse has no arm there. The simulated
/// motion before and after the blow must satisfy it to what the bat moves meanwhile.
#[test]
fn blow_keeps_angular_momentum_about_the_struck_point() {
    for seed in 0..10 {
        let (profile, truth) = ball_truth(seed);
        let (hit, bat) = (truth.swings[0].hit.expect("a hit"), &profile.bat);
        let contact_s = truth.drawn.true_time_s(truth.swings[0].contact_sensor_s - truth.drawn.clock_start_s);
        let moi_kgm2 = bat.moi_knob6_kgm2 - bat.mass_kg * (bat.balance_m - HANDS_FROM_KNOB_M).powi(2);
        let [free, struck] = [false, true].map(|with_blow| truth.motion.bat_at(contact_s + hit.blow_s, with_blow));
        let axis_w = struck.turning.q * Vector3::z();
        let omega = |bat: &crate::sim::pose::BatKinematics| bat.turning.q * bat.turning.omega_radps;
        let turned = omega(&struck) - omega(&free);
        let pushed = struck.point(Vector3::z() * bat.balance_m).1 - free.point(Vector3::z() * bat.balance_m).1;
        let arm = axis_w * (bat.balance_m - hit.from_knob_m);
        let across = turned - axis_w * turned.dot(&axis_w);
        let about_struck = across * moi_kgm2 + arm.cross(&(pushed * bat.mass_kg));
        let whole = across.norm() * moi_kgm2;
        assert!(about_struck.norm() < 0.15 * whole + 0.02, "{seed}: {} of {whole}", about_struck.norm());
        assert!((pushed.norm() * bat.mass_kg / hit.impulse_ns - 1.0).abs() < 0.08, "{seed}");
    }
}

/// The spans that the batters are drawn from.
#[test]
fn swings_are_within_the_spans_of_real_ones() {
    let spans = [
        (Metric::BatSpeed, 14.0, 37.0),
        (Metric::HandSpeed, 3.5, 10.0),
        (Metric::TimeToContact, 105.0, 280.0),
        (Metric::AttackAngle, -12.0, 25.0),
        (Metric::BatTilt, -50.0, 2.0),
        (Metric::PeakLead, 0.0, 35.0),
    ];
    for seed in 0..20 {
        let (profile, truth) = ball_truth(seed);
        let values = truth.swings[0].values;
        for (metric, low, high) in spans {
            let value = values.of(metric).expect("a value");
            assert!((low..=high).contains(&value), "{metric:?} {value} of {seed}");
        }
        let pitched = profile.swing.pitch_speed_mps > 0.0;
        assert_eq!(values.of(Metric::TimingWindow).is_some(), pitched);
    }
}

#[test]
fn a_swing_that_meets_nothing_has_its_contact_at_the_greatest_speed() {
    for seed in 0..8 {
        let (profile, truth) = Scenario::new(Kind::Swing(SwingKind::Dry), Preset::Slow, seed).truth();
        let swing = &truth.swings[0];
        let speed = |i: usize| swing.motion.states[i].velocity_w_mps(profile.bat.sweet_spot_m).norm();
        let best = (0..swing.motion.states.len()).map(speed).fold(0.0, f64::max);
        assert!(best - speed(swing.motion.contact) < 1e-3);
        assert!(swing.motion.times_s.last().is_some_and(|&t| t > 0.1), "the motion goes on after contact");
    }
}

#[test]
fn the_other_side_is_the_mirror_image() {
    let right = (0..).map(ball_truth).find(|(profile, _)| profile.swing.side == Side::Right);
    let motion = right.expect("a right-handed batter").1.motion;
    let mirrored = motion.clone().for_side(Side::Left);
    let mirror = Vector3::new(1.0, -1.0, 1.0);
    for i in 0..500 {
        let t = motion.end_s() * f64::from(i) / 500.0;
        let (a, b) = (motion.state_at(t), mirrored.state_at(t));
        assert!((a.axis_w.component_mul(&mirror) - b.axis_w).norm() < 1e-12);
        assert!((a.velocity_hands_w_mps.component_mul(&mirror) - b.velocity_hands_w_mps).norm() < 1e-12);
        assert!((a.omega_w_radps.component_mul(&-mirror) - b.omega_w_radps).norm() < 1e-11);
    }
}

#[test]
fn lessons_have_rests_in_many_attitudes_and_increasing_times() {
    let kind = Kind::Lesson { events: 3, calibrated: true };
    let Simulated { samples, truth, .. } = Scenario::new(kind, Preset::Slow, 3).run();
    assert!(samples.windows(2).all(|pair| pair[1].time.0 > pair[0].time.0));
    assert!(truth.rests.len() >= 10 && truth.calibration.len() == 7);
    assert!(truth.swings.len() + truth.events.len() >= 3);
    let routine_s = truth.calibration[6].end_sensor_s - truth.calibration[0].start_sensor_s;
    assert!((15.0..25.0).contains(&routine_s), "{routine_s}");
    let up = |span: &Span| {
        let from = samples.partition_point(|sample| sample.time.0 < span.start_sensor_s + 0.2);
        samples[from].accel_s_mps2.normalize()
    };
    let spread = truth.rests.iter().map(|a| up(a).dot(&up(&truth.rests[0]))).fold(1.0, f64::min);
    assert!(spread < 0.0, "some two rests are more than a right angle apart: {spread}");
}

/// The same batter on 400 days: as fast as practice has made them, and a little another one each day.
#[test]
fn a_batter_who_comes_again_is_the_same_but_for_the_day() {
    let on = |day: u32, faster_mps: f64| {
        let visit = Visit { day, faster_mps };
        Scenario { visit, ..Scenario::new(Kind::Round { swings: 2 }, Preset::Good, 11) }.truth()
    };
    let (profile, first) = on(0, 0.0);
    let drawn = first.batter.bat_speed_mps;
    assert_eq!(on(0, -2.2).1.batter.bat_speed_mps, drawn - 2.2);
    let speeds: Vec<f64> = (1..=400).map(|day| on(day, 1.0).1.batter.bat_speed_mps - drawn).collect();
    let mean = speeds.iter().sum::<f64>() / 400.0;
    let spread = (speeds.iter().map(|speed| (speed - mean).powi(2)).sum::<f64>() / 399.0).sqrt();
    let day = DAY_SHARE * SPEED_SPREAD_MPS;
    // Four standard errors: of a mean day/√400, of a spread day/√(2·400).
    assert!((mean - 1.0).abs() < 4.0 * day / 20.0, "{mean}");
    assert!((spread - day).abs() < 4.0 * day / 800f64.sqrt(), "{spread}");
    let (again, other) = on(7, 0.0);
    assert_eq!((&again.bat, &again.swing), (&profile.bat, &profile.swing));
    assert_eq!((other.swings.len(), other.events.len()), (2, 0));
    assert_ne!(other.swings[0].contact_sensor_s, first.swings[0].contact_sensor_s);
}
