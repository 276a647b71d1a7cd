use super::*;
use std::f64::consts::{PI, SQRT_2};

/// (input, filtered): see `tests/reference/butterworth.py`.
fn scipy_filtfilt() -> Vec<(f64, f64)> {
    let text = include_str!("../../../../tests/reference/butterworth.csv");
    let number = |cell: &str| cell.parse::<f64>().unwrap();
    text.lines().skip(1).map(|line| line.split_once(',').unwrap()).map(|(x, y)| (number(x), number(y))).collect()
}

#[test]
fn agrees_with_scipy_filtfilt() {
    let reference = scipy_filtfilt();
    assert_eq!(reference.len(), 160);
    let mut values: Vec<f64> = reference.iter().map(|r| r.0).collect();
    assert!(two_passes(&mut values, 1000.0, 20.0, &mut Vec::new()));
    let worst = values.iter().zip(&reference).map(|(ours, r)| (ours - r.1).abs()).fold(0.0, f64::max);
    assert!(worst < 1e-11, "{worst}");
}

/// `scipy.signal.butter(2, 20, fs=…)`, scipy 1.17.1: b₀, a₁, a₂ (printed by the same script).
const SCIPY_BUTTER: [(f64, [f64; 3]); 3] = [
    (1000.0, [0.0036216815149286417, -1.822694925196308, 0.8371816512560226]),
    (208.0, [0.06314416509081625, -1.1742800588752642, 0.4268567192385291]),
    (104.0, [0.19426079983074054, -0.4269374068552168, 0.20398060617817904]),
];

#[test]
fn coefficients_agree_with_scipy_butter() {
    for (rate_hz, [b0, a1, a2]) in SCIPY_BUTTER {
        let ours = butterworth(rate_hz, 20.0).unwrap();
        for (found, expected) in [(ours.b0, b0), (ours.b1, 2.0 * b0), (ours.b2, b0), (ours.a1, a1), (ours.a2, a2)] {
            assert!((found - expected).abs() < 1e-13, "{rate_hz}: {found} {expected}");
        }
    }
}

/// R. Bristow-Johnson, *Cookbook formulae for audio EQ biquad filter coefficients* (W3C note, 2021), low-pass with
/// Q = 1/√2.
#[test]
fn coefficients_agree_with_the_cookbook() {
    let (rate_hz, corner_hz) = (480.0, 31.0);
    let w0 = 2.0 * PI * corner_hz / rate_hz;
    let alpha = w0.sin() / SQRT_2;
    let a0 = 1.0 + alpha;
    let ours = butterworth(rate_hz, corner_hz).unwrap();
    assert!((ours.b0 - (1.0 - w0.cos()) / 2.0 / a0).abs() < 1e-15);
    assert!((ours.a1 + 2.0 * w0.cos() / a0).abs() < 1e-15);
    assert!((ours.a2 - (1.0 - alpha) / a0).abs() < 1e-15);
}

/// Amplitude left of a long sine, read in the middle of it.
fn gain(frequency_hz: f64, rate_hz: f64, corner_hz: f64) -> f64 {
    let sine = |i: usize| (2.0 * PI * frequency_hz * i as f64 / rate_hz).sin();
    let mut values: Vec<f64> = (0..40_000).map(sine).collect();
    assert!(two_passes(&mut values, rate_hz, corner_hz, &mut Vec::new()));
    let dot: f64 = (10_000..30_000).map(|i| values[i] * sine(i)).sum();
    let norm: f64 = (10_000..30_000).map(|i| sine(i) * sine(i)).sum();
    dot / norm
}

/// Winter, *Biomechanics and Motor Control of Human Movement*, 4th ed., ch. 3: with n passes the corner is
/// multiplied by (2^(1/n) − 1)^¼. At 10 kHz the bilinear transform's warping is below 2e-5 here.
#[test]
fn winter_the_corner_of_two_passes_is_lower() {
    let corner_hz = 20.0;
    let of_both_hz = corner_hz * (SQRT_2 - 1.0).powf(0.25);
    assert!((gain(of_both_hz, 10_000.0, corner_hz) - 0.5f64.sqrt()).abs() < 1e-4);
    assert!((gain(corner_hz, 10_000.0, corner_hz) - 0.5).abs() < 1e-4);
}

#[test]
fn a_straight_line_passes_unchanged() {
    let line: Vec<f64> = (0..400).map(|i| 3.0 - 0.25 * f64::from(i)).collect();
    let mut values = line.clone();
    assert!(two_passes(&mut values, 1000.0, 20.0, &mut Vec::new()));
    // Near the ends the first pass is still settling to its lag on the slope; in the middle nothing is left of that.
    for i in 150..250 {
        assert!((values[i] - line[i]).abs() < 1e-5, "{i}");
    }
}

#[test]
fn what_cannot_be_filtered_is_left_alone() {
    let mut few = vec![1.0; PADDING];
    assert!(!two_passes(&mut few, 1000.0, 20.0, &mut Vec::new()));
    let mut slow = vec![1.0; 50];
    assert!(!two_passes(&mut slow, 30.0, 20.0, &mut Vec::new()));
    assert!(!two_passes(&mut slow, f64::NAN, 20.0, &mut Vec::new()));
    assert_eq!(slow, vec![1.0; 50]);
}
