use super::*;
use crate::engine::geometry::G_MPS2;
use crate::engine::profile::parameter;
use crate::engine::sample::SensorTime;

const STEP_S: f64 = 1e-3;
const BIAS_RADPS: f64 = 0.02;

fn navigator() -> Navigator {
    Navigator::new(Profile::default(), STEP_S, Options::default())
}

/// Sample `k` of a stream that turns about x by `radps` besides its bias.
fn sample(k: usize, radps: f64) -> Sample {
    Sample {
        time: SensorTime(k as f64 * STEP_S),
        gyro_s_radps: Vector3::new(radps, BIAS_RADPS, 0.0),
        accel_s_mps2: Vector3::new(0.0, 0.0, G_MPS2),
        accel_hi_s_mps2: None,
    }
}

/// Rest but for the samples named, which turn to and fro; the rests that ended.
fn pushed(navigator: &mut Navigator, range: std::ops::Range<usize>, moving: std::ops::Range<usize>) -> Vec<EndedRest> {
    let rate = |k: usize| if moving.contains(&k) { 3.0 * (0.02 * k as f64).cos() } else { 0.0 };
    range.filter_map(|k| navigator.push(sample(k, rate(k)))).collect()
}

/// The first window ends with the 200th sample; 30 ms of it are cut off. A rest's end shows when one sample of 3 rad/s
/// is in the window (9 > 200·0.115²), and 60 ms before it are not used.
#[test]
fn a_rest_begins_within_its_first_window_and_ends_before_the_motion_shows() {
    let mut navigator = navigator();
    let told = pushed(&mut navigator, 0..3500, 2000..2500);
    let [EndedRest { from_s, to_s }] = told[..] else {
        panic!("{told:?}");
    };
    let again_s = navigator.resting_since_s().expect("a rest");
    assert!((from_s - (0.199 - 0.170)).abs() < 1e-9, "{from_s}");
    // cos(40) is −0.67: 2 rad/s.
    assert!((to_s - (2.0 - 0.060)).abs() < 1.5e-3, "{to_s}");
    assert!((again_s - (2.5 + 0.199 - 0.170)).abs() < 2.5e-3, "{again_s}");
    assert!(navigator.had_rest());
}

/// What happens in a gap of two seconds is unknown: the rest is over at its last sample, nothing is known of the motion
/// until the next rest, and what was learnt of the sensor stays.
#[test]
fn after_a_long_gap_navigation_begins_anew_and_the_parameters_stay() {
    let mut navigator = navigator();
    pushed(&mut navigator, 0..2000, 0..0);
    let learnt = navigator.calibration().expect("a filter");
    let told = pushed(&mut navigator, 4000..4100, 4000..4100);
    let [EndedRest { to_s, .. }] = told[..] else { panic!("{told:?}") };
    assert!((to_s - 1.999).abs() < 1e-9, "{to_s}");
    assert!(!navigator.had_rest() && navigator.resting_since_s().is_none());
    pushed(&mut navigator, 4100..4600, 0..0);
    assert!(navigator.had_rest());
    let after = navigator.calibration().expect("a filter");
    let place = parameter::GYRO_BIAS + 1;
    let sigma = |c: &crate::engine::profile::Calibration| c.covariance[(place, place)].sqrt();
    assert!((after.mean[place] - BIAS_RADPS).abs() < 3.0 * sigma(&learnt));
    assert!(sigma(&after) < 1.01 * sigma(&learnt), "{} {}", sigma(&after), sigma(&learnt));
}

#[test]
fn a_rest_teaches_the_bias_of_the_gyro_and_which_way_is_up() {
    let mut navigator = navigator();
    pushed(&mut navigator, 0..4000, 0..0);
    let calibration = navigator.calibration().expect("a filter");
    let place = parameter::GYRO_BIAS + 1;
    let sigma = calibration.covariance[(place, place)].sqrt();
    let error = calibration.mean[place] - BIAS_RADPS;
    assert!(error.abs() < 3.0 * sigma && sigma < 2e-3, "{error} σ {sigma}");
    assert!((navigator.up_b() - Vector3::z()).norm() < 1e-3, "{}", navigator.up_b());
}

#[test]
fn a_gap_a_clipped_and_a_missing_sample_end_a_rest() {
    let late = Sample { time: SensorTime(1.03), ..sample(0, 0.0) };
    let clipped = Sample { accel_s_mps2: Vector3::new(0.0, 0.0, 400.0), ..sample(1000, 0.0) };
    let missing = Sample { gyro_s_radps: Vector3::new(f64::NAN, 0.0, 0.0), ..sample(1000, 0.0) };
    for harm in [late, clipped, missing] {
        let mut navigator = navigator();
        pushed(&mut navigator, 0..1000, 0..0);
        assert!(navigator.push(harm).is_some(), "{harm:?}");
        assert_eq!(navigator.resting_since_s(), None);
    }
    let mut navigator = navigator();
    pushed(&mut navigator, 0..1000, 0..0);
    let lost_twenty = Sample { time: SensorTime(1.02), ..sample(0, 0.0) };
    assert_eq!(navigator.push(lost_twenty), None);
}

#[test]
fn no_node_is_set_while_it_is_held_and_all_follow_once_released() {
    let mut navigator = navigator();
    pushed(&mut navigator, 0..1000, 0..0);
    navigator.hold_from(1.2);
    pushed(&mut navigator, 1000..3000, 0..0);
    let held_s = navigator.node_time_s();
    assert!((0.6..1.2).contains(&held_s), "{held_s}");
    navigator.release();
    pushed(&mut navigator, 3000..5000, 0..0);
    // The next node is due half a second after the last at the latest, and 60 ms after that is sure.
    assert!(navigator.node_time_s() > 5.0 - 0.6, "{}", navigator.node_time_s());
}

#[test]
fn a_hold_ends_by_itself_after_three_seconds() {
    let mut navigator = navigator();
    pushed(&mut navigator, 0..1000, 0..0);
    navigator.hold_from(1.2);
    pushed(&mut navigator, 1000..4190, 0..0);
    assert!(navigator.node_time_s() < 1.2, "{}", navigator.node_time_s());
    pushed(&mut navigator, 4190..6000, 0..0);
    assert!(navigator.node_time_s() > 5.0, "{}", navigator.node_time_s());
}

#[test]
fn contact_is_reached_without_a_look_beyond_it() {
    let nodes = [0.0, 50.0].map(|after_radps| {
        let mut navigator = navigator();
        pushed(&mut navigator, 0..1000, 900..1000);
        navigator.hold_from(0.95);
        for k in 1000..1010 {
            navigator.push(sample(k, after_radps));
        }
        let node_s = navigator.advance_to_contact(0.9996);
        assert!((node_s - 0.999).abs() < 1e-9, "{node_s}");
        navigator.filter().expect("a filter").state().clone()
    });
    assert_eq!(nodes[0], nodes[1]);
}

#[test]
fn a_stream_without_a_rest_is_levelled_and_says_so() {
    let mut navigator = navigator();
    // 0.6 s to level from, behind the window of a rest and 60 ms.
    assert_eq!(pushed(&mut navigator, 0..860, 0..9000), []);
    assert!(navigator.filter().is_none());
    pushed(&mut navigator, 860..865, 0..9000);
    assert!(navigator.filter().is_some() && !navigator.had_rest());
    pushed(&mut navigator, 865..3000, 0..9000);
    assert!(!navigator.had_rest());
    assert!(navigator.node_time_s() > 3.0 - MOTION_NODE_S - 0.27, "{}", navigator.node_time_s());
}

#[test]
fn the_last_node_is_at_the_end_of_the_stream() {
    let mut navigator = navigator();
    navigator.finish();
    assert!(navigator.filter().is_none());
    pushed(&mut navigator, 0..100, 0..100);
    navigator.finish();
    assert_eq!(navigator.node_time_s(), 0.099);
    assert!(navigator.filter().expect("a filter").is_finite());
}

#[test]
fn a_filter_carried_beyond_all_bounds_is_given_up_and_a_rest_begins_anew() {
    let mut navigator = Navigator::new(
        Profile {
            sensor: crate::engine::profile::SensorProfile { accel_range_mps2: f64::MAX, ..Default::default() },
            ..Profile::default()
        },
        STEP_S,
        Options::default(),
    );
    pushed(&mut navigator, 0..1000, 0..0);
    for k in 1000..2000 {
        navigator.push(Sample { accel_s_mps2: Vector3::repeat(1e300), ..sample(k, 3.0) });
    }
    pushed(&mut navigator, 2000..4000, 0..0);
    assert!(navigator.filter().is_some_and(Filter::is_finite) && navigator.had_rest());
    assert!((navigator.up_b() - Vector3::z()).norm() < 0.01, "{}", navigator.up_b());
}
