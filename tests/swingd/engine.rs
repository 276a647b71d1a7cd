//! The engine under hostile samples and cut streams.

use crate::support::planar;
use nalgebra::Vector3;
use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use swingd::engine::profile::Profile;
use swingd::engine::sample::{Sample, SensorTime};
use swingd::engine::swing::Swing;
use swingd::engine::{Engine, Event};

fn profile() -> Profile {
    Profile::parse(planar::PROFILE).unwrap().0
}

fn events(samples: &[Sample], cuts: &[usize]) -> Vec<Event> {
    let mut engine = Engine::new(profile());
    let mut told = Vec::new();
    let mut rest = samples;
    for &cut in cuts {
        let (now, later) = rest.split_at(cut.min(rest.len()));
        told.extend(engine.push(now));
        rest = later;
    }
    told.extend(engine.push(rest));
    told.extend(engine.finish());
    told
}

/// Something done to a sample of a swing.
#[derive(Clone, Copy, Debug)]
enum Harm {
    Component { axis: usize, value: f64 },
    TimeJump(f64),
    TimeBad(f64),
    LostFromHere(usize),
    Clipped,
    Spike(f64),
}

fn harm() -> impl Strategy<Value = Harm> {
    let bad =
        prop_oneof![Just(f64::NAN), Just(f64::INFINITY), Just(-f64::INFINITY), -1e300..1e300, Just(f64::MIN_POSITIVE)];
    prop_oneof![
        4 => (0..6usize, bad.clone()).prop_map(|(axis, value)| Harm::Component { axis, value }),
        1 => prop_oneof![-10.0..10.0, Just(1e9), Just(1e-12)].prop_map(Harm::TimeJump),
        1 => bad.prop_map(Harm::TimeBad),
        1 => (1..400usize).prop_map(Harm::LostFromHere),
        2 => Just(Harm::Clipped),
        2 => (-1e5..1e5).prop_map(Harm::Spike),
    ]
}

fn harmed(mut samples: Vec<Sample>, harms: &[(usize, usize, Harm)]) -> Vec<Sample> {
    for &(at, count, harm) in harms {
        let at = at % samples.len().max(1);
        let end = (at + count).min(samples.len());
        if let Harm::LostFromHere(lost) = harm {
            samples.drain(at..(at + lost).min(samples.len()));
            continue;
        }
        if let Harm::TimeJump(jump_s) = harm {
            samples[at..].iter_mut().for_each(|sample| sample.time.0 += jump_s);
            continue;
        }
        samples[at..end].iter_mut().for_each(|sample| hurt(sample, harm));
    }
    samples
}

fn hurt(sample: &mut Sample, harm: Harm) {
    match harm {
        Harm::Component { axis, value } if axis < 3 => sample.gyro_s_radps[axis] = value,
        Harm::Component { axis, value } => sample.accel_s_mps2[axis - 3] = value,
        Harm::TimeBad(time_s) => sample.time = SensorTime(time_s),
        Harm::Clipped => {
            sample.gyro_s_radps = Vector3::repeat(69.8);
            sample.accel_s_mps2 = Vector3::repeat(-4000.0);
        }
        Harm::Spike(size) => sample.gyro_s_radps.y += size,
        Harm::TimeJump(_) | Harm::LostFromHere(_) => {}
    }
}

fn numbers_of(swing: &Swing) -> Vec<f64> {
    let metrics = swing.metrics.iter().flatten().flat_map(|m| [m.value, m.sigma]);
    let times = [swing.start.0, swing.contact.0, swing.contact_sigma_s];
    metrics.chain(times).collect()
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 64,
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(64),
        ..ProptestConfig::default()
    })]

    #[test]
    fn hostile_samples_never_panic_and_give_only_finite_numbers(
        harms in proptest::collection::vec((0..4000usize, 1..300usize, harm()), 1..8),
    ) {
        let samples = harmed(planar::samples(), &harms);
        for event in events(&samples, &[]) {
            match event {
                Event::Swing { swing, .. } => {
                    prop_assert!(numbers_of(&swing).iter().all(|x| x.is_finite()), "{swing:?}");
                    prop_assert!(swing.metrics.iter().flatten().all(|m| m.sigma >= 0.0), "{swing:?}");
                    prop_assert!(swing.start <= swing.contact, "{swing:?}");
                }
                Event::Rest { from, to, up_b } => {
                    prop_assert!(from.0.is_finite() && to.0.is_finite() && from <= to && up_b.iter().all(|x| x.is_finite()));
                }
                Event::Roll { from, to, angle_rad } => {
                    prop_assert!(from.0.is_finite() && to.0.is_finite() && from <= to && angle_rad.is_finite());
                }
            }
        }
    }

    #[test]
    fn a_stream_cut_anywhere_tells_the_same(cuts in proptest::collection::vec(0..1500usize, 0..12)) {
        let whole = events(&planar::samples(), &[]);
        let swings = whole.iter().filter(|event| matches!(event, Event::Swing { .. })).count();
        prop_assert!(swings > 0);
        prop_assert_eq!(events(&planar::samples(), &cuts), whole);
    }
}

#[test]
fn a_stream_pushed_sample_by_sample_tells_the_same() {
    let samples = planar::samples();
    assert_eq!(events(&samples, &vec![1; samples.len()]), events(&samples, &[]));
}
