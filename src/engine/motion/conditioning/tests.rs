use super::*;
use crate::engine::sample::SensorTime;

const STEP_S: f64 = 1e-3;
const GYRO_RANGE_RADPS: f64 = 69.8;
const ACCEL_RANGE_MPS2: f64 = 300.0;

fn limits() -> Limits {
    Limits::new(&SensorProfile {
        gyro_range_radps: GYRO_RANGE_RADPS,
        accel_range_mps2: ACCEL_RANGE_MPS2,
        accel_hi_range_mps2: 2000.0,
        ..SensorProfile::default()
    })
}

/// `count` samples whose gyro's x reads `gyro`, and whose accelerometer's z reads `accel`, of the time in seconds.
fn samples(count: usize, gyro: impl Fn(f64) -> f64, accel: impl Fn(f64) -> f64) -> Vec<Sample> {
    let sample = |k: usize| {
        let time_s = k as f64 * STEP_S;
        Sample {
            time: SensorTime(time_s),
            gyro_s_radps: Vector3::new(gyro(time_s), 0.5, -0.5),
            accel_s_mps2: Vector3::new(1.0, 2.0, accel(time_s)),
            accel_hi_s_mps2: None,
        }
    };
    (0..count).map(sample).collect()
}

fn bridged(samples: &[Sample]) -> Vec<Reading> {
    readings(samples.iter(), &limits(), STEP_S)
}

#[test]
fn good_samples_pass_untouched() {
    let list = samples(20, |t| 100.0 * t, |t| 9.8 - t);
    for (sample, reading) in list.iter().zip(bridged(&list)) {
        let expected = Reading {
            time_s: sample.time.0,
            gyro_s_radps: sample.gyro_s_radps,
            accel_s_mps2: sample.accel_s_mps2,
            rough: false,
            faults: Faults::default(),
            inserted: false,
            gyro_sigma_radps: 0.0,
            accel_sigma_mps2: 0.0,
        };
        assert_eq!(reading, expected);
    }
}

/// Hermite's cubic is exact for a cubic if its slopes are. They are differences to the neighbour, which err by
/// −dt/2·y″ + dt²/6·y‴ on the left and dt/2·y″ + dt²/6·y‴ on the right (Taylor, exact for a cubic), and come in with
/// h·x(1 − x)² and −h·x²(1 − x), x being the part of the bridge's length h.
#[test]
fn of_a_cubic_a_bridge_leaves_out_what_its_slopes_err_by() {
    let y = |t: f64| 3.0 - 200.0 * t + 4e3 * t * t + 1e5 * t * t * t;
    let (second, third) = (|t: f64| 8e3 + 6e5 * t, 6e5);
    let mut list = samples(30, y, |_| 9.8);
    for sample in &mut list[10..18] {
        sample.gyro_s_radps.x = f64::NAN;
    }
    let (from_s, to_s) = (9.0 * STEP_S, 18.0 * STEP_S);
    let length_s = to_s - from_s;
    let left = -0.5 * STEP_S * second(from_s) + STEP_S * STEP_S / 6.0 * third;
    let right = 0.5 * STEP_S * second(to_s) + STEP_S * STEP_S / 6.0 * third;
    let out = bridged(&list);
    for (k, reading) in out.iter().enumerate() {
        let x = ((reading.time_s - from_s) / length_s).clamp(0.0, 1.0);
        let left_out = length_s * (x * (1.0 - x).powi(2) * left - x * x * (1.0 - x) * right);
        let error = reading.gyro_s_radps.x - y(reading.time_s);
        assert!((error - left_out).abs() < 1e-12, "sample {k}: {error}, expected {left_out}");
        let is_lost = (10..18).contains(&k);
        assert_eq!((reading.faults.gap, reading.rough, reading.gyro_sigma_radps > 0.0), (is_lost, is_lost, is_lost));
        assert!(error.abs() <= reading.gyro_sigma_radps + 1e-12, "sample {k}: {error} beyond σ");
        assert_eq!((reading.inserted, reading.accel_sigma_mps2), (false, 0.0));
    }
}

#[test]
fn what_was_clipped_is_bridged_beyond_the_limit_on_its_own_side() {
    for side in [1.0, -1.0] {
        let truth = |t: f64| side * 85.0 * (40.0 * (t - 0.03)).cos();
        let list = samples(60, |t| truth(t).clamp(-GYRO_RANGE_RADPS, GYRO_RANGE_RADPS), |_| 9.8);
        let out = bridged(&list);
        let clipped: Vec<&Reading> = out.iter().filter(|r| r.faults.gyro_clipped).collect();
        // |cos| > 69.8/85 within ±15.1 ms of the peak.
        assert_eq!(clipped.len(), 31);
        for reading in clipped {
            let value = side * reading.gyro_s_radps.x;
            assert!(value >= limits().gyro_radps(), "{value}");
            let error = reading.gyro_s_radps.x - truth(reading.time_s);
            assert!(error.abs() < 2.0 * reading.gyro_sigma_radps, "{error}, σ {}", reading.gyro_sigma_radps);
        }
        assert!(out.iter().filter(|r| !r.faults.gyro_clipped).all(|r| r.gyro_sigma_radps == 0.0 && !r.rough));
    }
}

#[test]
fn one_step_of_sixteen_bits_inside_the_range_is_clipped() {
    let step = GYRO_RANGE_RADPS / 32768.0;
    for (gyro, is_clipped) in [(GYRO_RANGE_RADPS - step, true), (GYRO_RANGE_RADPS - 1.01 * step, false)] {
        assert_eq!(limits().gyro_clipped(&Vector3::new(0.0, -gyro, 0.0)), is_clipped, "{gyro}");
    }
}

#[test]
fn lost_rows_come_back_at_even_times_on_a_straight_line() {
    let line = |t: f64| 2.0 + 500.0 * t;
    let mut list = samples(30, line, |t| 9.8 - 100.0 * t);
    list.drain(10..14);
    let out = bridged(&list);
    assert_eq!(out.len(), 30);
    for (k, reading) in out.iter().enumerate() {
        let time_s = k as f64 * STEP_S;
        assert!((reading.time_s - time_s).abs() < 1e-12, "{k}: {}", reading.time_s);
        assert!((reading.gyro_s_radps - Vector3::new(line(time_s), 0.5, -0.5)).norm() < 1e-9, "{k}");
        assert!((reading.accel_s_mps2 - Vector3::new(1.0, 2.0, 9.8 - 100.0 * time_s)).norm() < 1e-9, "{k}");
        assert_eq!(reading.inserted, (10..14).contains(&k), "{k}");
        assert_eq!(reading.faults.gap, (10..14).contains(&k), "{k}");
    }
}

#[test]
fn a_gap_longer_than_a_quarter_of_a_second_stays_one_long_step() {
    for (lost, is_bridged) in [(249, true), (250, false)] {
        let mut list = samples(300, |t| 10.0 * t, |_| 9.8);
        list.drain(20..20 + lost);
        let out = bridged(&list);
        let inserted = out.iter().filter(|r| r.inserted).count();
        assert_eq!(inserted, if is_bridged { lost } else { 0 });
        let edge = |i: usize| (out[i].rough, out[i].faults.gap);
        if !is_bridged {
            assert_eq!(
                (edge(18), edge(19), edge(20), edge(21)),
                ((false, false), (true, false), (true, true), (false, false))
            );
        }
    }
}

#[test]
fn beyond_the_last_good_reading_a_slope_fades() {
    let mut list = samples(40, |t| 100.0 * t, |_| 9.8);
    for sample in &mut list[20..] {
        sample.gyro_s_radps.x = f64::NAN;
    }
    for reading in &bridged(&list)[20..] {
        let since_s = reading.time_s - 0.019;
        let expected = 1.9 + 100.0 * since_s / (1.0 + since_s / FADE_S);
        assert!((reading.gyro_s_radps.x - expected).abs() < 1e-12, "{} {expected}", reading.gyro_s_radps.x);
        // As unsure as the last of them is far from where it began: 20 ms at half the slope.
        assert!((reading.gyro_sigma_radps - 1.0).abs() < 1e-12, "{}", reading.gyro_sigma_radps);
    }
}

#[test]
fn the_high_range_stands_in_for_a_clipped_axis_with_its_own_sigma() {
    let truth = |t: f64| 400.0 - 1e3 * t;
    let mut list = samples(10, |_| 0.0, |_| ACCEL_RANGE_MPS2);
    for sample in &mut list {
        sample.accel_hi_s_mps2 = Some(Vector3::new(-77.0, -77.0, truth(sample.time.0)));
    }
    for reading in bridged(&list) {
        let expected = truth(reading.time_s);
        // Axes within the range keep what the finer sensor read.
        assert_eq!(reading.accel_s_mps2, Vector3::new(1.0, 2.0, expected));
        assert!((reading.accel_sigma_mps2 - (0.8 + 0.008 * expected)).abs() < 1e-12);
        assert!(!reading.rough);
    }
}

#[test]
fn a_high_range_that_is_clipped_itself_does_not_stand_in() {
    let mut list = samples(10, |_| 0.0, |_| 9.8);
    list[5].accel_s_mps2.z = ACCEL_RANGE_MPS2;
    list[5].accel_hi_s_mps2 = Some(Vector3::new(1.0, 2.0, 2000.0));
    let reading = bridged(&list)[5];
    assert_eq!(reading.accel_s_mps2.z, limits().accel_mps2());
    assert!(reading.rough && reading.faults.accel_clipped);
}

#[test]
fn nothing_good_at_all_gives_numbers_and_a_wide_sigma() {
    let list = samples(10, |_| f64::NAN, |_| f64::INFINITY);
    for reading in bridged(&list) {
        assert_eq!((reading.gyro_s_radps.x, reading.accel_s_mps2.z), (0.0, 0.0));
        assert!(reading.gyro_sigma_radps >= 0.1 * GYRO_RANGE_RADPS * 0.99, "{}", reading.gyro_sigma_radps);
        assert!(reading.faults.gap);
    }
}
