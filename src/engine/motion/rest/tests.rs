use super::*;

const INTERVAL_S: f64 = 1e-3;
/// 0.2 s at 1 kHz.
const LENGTH: usize = 200;

fn gravity() -> Vector3<f64> {
    Vector3::new(0.0, 0.0, 9.8)
}

/// The verdict after each of `count` samples of a turn at a constant rate.
fn turning(radps: f64, count: usize) -> Vec<bool> {
    let mut detector = RestDetector::new(INTERVAL_S);
    (0..count).map(|_| detector.push(Vector3::new(0.0, radps, 0.0), gravity(), true)).collect()
}

/// The verdict on a force that goes to and fro by `mps2`: its standard deviation is just that.
fn shaken(detector: &mut RestDetector, middle_mps2: Vector3<f64>, mps2: f64, count: usize) -> bool {
    let shake = |k: usize| middle_mps2 + Vector3::x() * if k.is_multiple_of(2) { mps2 } else { -mps2 };
    (0..count).fold(false, |_, k| detector.push(Vector3::zeros(), shake(k), true))
}

#[test]
fn a_still_window_is_a_rest_from_its_last_sample_on() {
    let still = turning(0.05, 300);
    assert_eq!(still.iter().position(|still| *still), Some(LENGTH - 1));
    assert!(still[LENGTH - 1..].iter().all(|still| *still));
}

#[test]
fn the_angular_rate_decides_at_its_limit() {
    assert!(turning(0.114, 300)[299]);
    for radps in [0.116, 0.2] {
        assert!(turning(radps, 300).iter().all(|still| !still), "{radps} rad/s");
    }
}

#[test]
fn the_spread_of_the_force_decides_at_its_limit_and_its_size_does_not() {
    for (mps2, is_rest) in [(0.0, true), (0.64, true), (0.66, false)] {
        let mut detector = RestDetector::new(INTERVAL_S);
        assert_eq!(shaken(&mut detector, gravity() * 3.0, mps2, 300), is_rest, "{mps2} m/s²");
    }
}

#[test]
fn an_unusable_sample_starts_the_window_anew() {
    let mut detector = RestDetector::new(INTERVAL_S);
    let mut push = |usable| detector.push(Vector3::zeros(), gravity(), usable);
    assert!((0..LENGTH).fold(false, |_, _| push(true)));
    assert!(!push(false));
    assert!((1..LENGTH).all(|_| !push(true)));
    assert!(push(true));
}

/// Over 200 samples of (1e7)² a double resolves 4 (m/s²)², and each of 10⁵ exchanges could lose as much, while the limit
/// is 200·0.65² = 84: sums that are never made anew, or about the first sample's zero, could not tell 0.6 from 0.7.
#[test]
fn sums_do_not_drift_over_a_hundred_thousand_samples_far_from_the_first() {
    for (mps2, is_rest) in [(0.6, true), (0.7, false)] {
        let mut detector = RestDetector::new(INTERVAL_S);
        detector.push(Vector3::zeros(), Vector3::zeros(), true);
        assert_eq!(shaken(&mut detector, Vector3::repeat(1e7), mps2, 100_000), is_rest, "{mps2} m/s²");
    }
}

/// 0.1145 rad/s is within the limit of 0.115; what 1e14 (rad/s)² would leave of rounding in a sum is not.
#[test]
fn a_fast_turn_leaves_nothing_in_the_sums() {
    let mut detector = RestDetector::new(INTERVAL_S);
    let mut still = false;
    for radps in std::iter::repeat_n(1e7, LENGTH).chain(std::iter::repeat_n(0.1145, 10 * LENGTH)) {
        still = detector.push(Vector3::new(radps, 0.0, 0.0), gravity(), true);
    }
    assert!(still);
}
