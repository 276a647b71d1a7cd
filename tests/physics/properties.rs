//! What must not change the answer: the sensor's axes, the batter's side, how the stream is cut, the clock, the sample rate.

use nalgebra::{Matrix3, Rotation3, UnitQuaternion, Vector3};
use proptest::prelude::*;
use swingd::engine::metrics::Metric;
use swingd::engine::profile::{Profile, Side};
use swingd::engine::sample::{Sample, SensorTime};
use swingd::engine::swing::Swing;
use swingd::engine::{Engine, Event};
use swingd::sim::{Kind, Mishaps, Mounted, Preset, Random, Scenario, Simulated, SwingKind, record};

fn ball(seed: u64) -> Simulated {
    Scenario::new(Kind::Swing(SwingKind::Ball), Preset::Good, 60_000 + seed).run()
}

fn events(profile: &Profile, samples: &[Sample], cuts: &[usize]) -> Vec<Event> {
    let mut engine = Engine::new(profile.clone());
    let mut out = Vec::new();
    let mut from = 0;
    for &to in cuts.iter().chain([&samples.len()]) {
        out.extend(engine.push(&samples[from..to]));
        from = to;
    }
    out.extend(engine.finish());
    out
}

/// The last word on the one swing of a recording.
fn swing(profile: &Profile, samples: &[Sample]) -> Swing {
    let last = events(profile, samples, &[]).into_iter().rev().find_map(|event| match event {
        Event::Swing { number, swing, .. } => Some((number, *swing)),
        _ => None,
    });
    let (number, swing) = last.expect("a swing");
    assert_eq!(number, 0, "one swing");
    swing
}

/// σ comes from the metric's change with each error by its own σ, one way: where a metric bends, as an instant of a peak or
/// the edge of a window may, it depends on which errors are called the first, second and third.
const BENT: [Metric; 3] = [Metric::PeakBatSpeed, Metric::PeakLead, Metric::TimingWindow];

/// The same swing: values to a part of their σ, σ to a part of itself.
fn assert_same(name: &str, a: &Swing, b: &Swing, of_value: f64, of_sigma: f64) {
    assert_eq!((a.contact_kind, &a.flags), (b.contact_kind, &b.flags), "{name}");
    for metric in Metric::ALL {
        match (a.metrics[metric.index()], b.metrics[metric.index()]) {
            (Some(a), Some(b)) => {
                let miss = (a.value - b.value).abs() / a.sigma.hypot(b.sigma);
                assert!(miss <= of_value, "{name}: {}: {a:?} {b:?}", metric.key());
                let spread = (a.sigma / b.sigma - 1.0).abs();
                assert!(spread <= of_sigma || BENT.contains(&metric), "{name}: {}: {a:?} {b:?}", metric.key());
            }
            (None, None) => {}
            (a, b) => panic!("{name}: {}: {a:?} {b:?}", metric.key()),
        }
    }
}

/// How far apart two contacts are, as a part of the σ of their difference.
fn contacts_apart(a: &Swing, b: &Swing) -> f64 {
    (a.contact.0 - b.contact.0).abs() / a.contact_sigma_s.hypot(b.contact_sigma_s)
}

/// Mounted differently, the same readings come on other axes. Scale factors and misalignments have one σ in this profile, so
/// no axis is special. The blow alone is looked at axis by axis: it may be found up to
/// a fifth of its σ apart, and what hangs on the instant with it.
#[test]
fn a_turned_sensor_frame() {
    for (seed, turn) in
        [(0, Vector3::new(0.3, -1.1, 2.0)), (1, Vector3::new(1.5, 0.2, 0.0)), (2, Vector3::new(-2.0, 2.0, 0.7))]
    {
        let simulated = ball(seed);
        let turned = UnitQuaternion::from_scaled_axis(turn);
        let mut profile = simulated.profile.clone();
        profile.mount.q_bs *= turned.inverse();
        let samples: Vec<Sample> = (simulated.samples.iter())
            .map(|s| Sample { gyro_s_radps: turned * s.gyro_s_radps, accel_s_mps2: turned * s.accel_s_mps2, ..*s })
            .collect();
        let (a, b) = (swing(&simulated.profile, &simulated.samples), swing(&profile, &samples));
        assert!(contacts_apart(&a, &b) < 0.2, "{:?} {:?}", a.contact, b.contact);
        assert_same("turned", &a, &b, 0.2, 0.03);
    }
}

/// A batter in the mirror of the x-z plane, with the sensor mirrored in its own: vectors change the sign of y, angular rates
/// that of x and z, the bat's roll is the other way round and all else is the same.
#[test]
fn a_mirrored_batter() {
    let mirror = Matrix3::from_diagonal(&Vector3::new(1.0, -1.0, 1.0));
    for seed in 3..6 {
        let simulated = ball(seed);
        let mut profile = simulated.profile.clone();
        let r_bs = mirror * profile.mount.q_bs.to_rotation_matrix().into_inner() * mirror;
        profile.mount.q_bs = UnitQuaternion::from_rotation_matrix(&Rotation3::from_matrix_unchecked(r_bs));
        profile.mount.offset_b_m = mirror * profile.mount.offset_b_m;
        profile.swing.side = if profile.swing.side == Side::Left { Side::Right } else { Side::Left };
        let samples: Vec<Sample> = (simulated.samples.iter())
            .map(|s| Sample { gyro_s_radps: -(mirror * s.gyro_s_radps), accel_s_mps2: mirror * s.accel_s_mps2, ..*s })
            .collect();
        let (a, mut b) = (swing(&simulated.profile, &simulated.samples), swing(&profile, &samples));
        let roll = b.metrics[Metric::RollRate.index()].as_mut().expect("a roll rate");
        roll.value = -roll.value;
        assert!((a.contact.0 - b.contact.0).abs() < 1e-9, "{} {}", a.contact.0, b.contact.0);
        assert_same("mirrored", &a, &b, 1e-9, 0.03);
    }
}

/// A clock that shows 1e5 s more. Its times are rounded to 1.5e-11 s, 1.5e-8 of a step.
#[test]
fn a_later_clock() {
    let simulated = ball(6);
    let later = |s: &Sample| Sample { time: SensorTime(s.time.0 + 1e5), ..*s };
    let samples: Vec<Sample> = simulated.samples.iter().map(later).collect();
    let (a, b) = (swing(&simulated.profile, &simulated.samples), swing(&simulated.profile, &samples));
    assert!((b.contact.0 - a.contact.0 - 1e5).abs() < 1e-6 && (b.start.0 - a.start.0 - 1e5).abs() < 1e-6);
    assert_same("later", &a, &b, 1e-3, 1e-3);
}

/// The same motion by the same sensor at 1 and at 2 kHz, its noise drawn anew: within the 95 % interval of a difference.
#[test]
fn a_doubled_sample_rate() {
    for seed in 7..11 {
        let simulated = ball(seed);
        let truth = &simulated.truth;
        let imu = Mounted { motion: &truth.motion, mount: &truth.drawn.mount };
        let at = |rate_hz: f64| {
            let mut profile = simulated.profile.clone();
            profile.sensor.sample_rate_hz = Some(rate_hz);
            let end_s = truth.motion.end_s();
            let stream = record(&imu, end_s, &profile.sensor, &truth.drawn, Mishaps::default(), &mut Random::new(seed));
            swing(&profile, &stream.samples)
        };
        let (once, twice) = (at(1000.0), at(2000.0));
        assert!(contacts_apart(&once, &twice) < 1.96, "{:?} {:?}", once.contact, twice.contact);
        assert_same("doubled", &once, &twice, 1.96, 0.35);
    }
}

/// Every second sample of a sensor without error at 2 kHz. What does not hang on the instant of the blow is the same to what
/// a cubic through samples 1 ms apart leaves, 3/128·(2π·25 Hz·1 ms)⁴ = 1.4e-5 of 45 rad/s or 7 m/s; all else within σ.
#[test]
fn a_flawless_stream_thinned_by_two() {
    for seed in 30..34 {
        let simulated = Scenario::new(Kind::Swing(SwingKind::Ball), Preset::Ideal, 60_000 + seed).run();
        let mut profile = simulated.profile.clone();
        profile.sensor.sample_rate_hz = Some(1000.0);
        let thinned: Vec<Sample> = simulated.samples.iter().step_by(2).copied().collect();
        let (whole, half) = (swing(&simulated.profile, &simulated.samples), swing(&profile, &thinned));
        assert!(contacts_apart(&whole, &half) < 1.0, "{:?} {:?}", whole.contact, half.contact);
        assert_same("thinned", &whole, &half, 1.0, f64::INFINITY);
        let apart = |metric: Metric| {
            let value = |swing: &Swing| swing.metrics[metric.index()].expect("a value").value;
            (value(&whole) - value(&half)).abs()
        };
        assert!(apart(Metric::HandSpeed) < 1e-4, "{}", apart(Metric::HandSpeed));
        // In degrees a second.
        assert!(apart(Metric::TurnRate) < 0.05 && apart(Metric::RollRate) < 0.05, "{}", apart(Metric::TurnRate));
    }
}

/// Cut after every sample there is.
#[test]
fn a_stream_sample_by_sample() {
    let simulated = ball(20);
    let cuts: Vec<usize> = (0..simulated.samples.len()).collect();
    let whole = events(&simulated.profile, &simulated.samples, &[]);
    assert!(whole.len() > 2);
    assert_eq!(events(&simulated.profile, &simulated.samples, &cuts), whole);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    /// However the stream is cut into pushes, the events are the same to the bit.
    #[test]
    fn a_stream_cut_anywhere(seed in 0..3_u64, mut cuts in prop::collection::vec(0..5000_usize, 0..40)) {
        let simulated = ball(20 + seed);
        cuts.iter_mut().for_each(|cut| *cut = (*cut).min(simulated.samples.len()));
        cuts.sort_unstable();
        let whole = events(&simulated.profile, &simulated.samples, &[]);
        prop_assert!(whole.len() > 2);
        prop_assert_eq!(events(&simulated.profile, &simulated.samples, &cuts), whole);
    }
}
