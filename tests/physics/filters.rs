//! Spectra by `rustfft` against scipy's, and the simulated sensor's noise through its low-pass. (The low-pass that finds a
//! swing's start is held against scipy, the cookbook and Winter's correction beside its code.)

use nalgebra::{UnitQuaternion, Vector3};
use rustfft::{FftPlanner, num_complex::Complex};
use std::f64::consts::{PI, TAU};
use swingd::engine::geometry::gravity_reaction_w_mps2;
use swingd::engine::profile::Mount;
use swingd::engine::sample::Sample;
use swingd::sim::{Drawn, ImuState, Mishaps, Preset, Random, Trajectory, record};

/// One-sided density at k·rate/length: blocks half over each other, mean taken out, Hann's periodic window (P. D. Welch,
/// *IEEE Trans. Audio Electroacoust.* 15, 1967).
fn welch(series: &[f64], rate_hz: f64, length: usize) -> Vec<f64> {
    let window: Vec<f64> = (0..length).map(|i| 0.5 - 0.5 * (TAU * i as f64 / length as f64).cos()).collect();
    let power: f64 = window.iter().map(|w| w * w).sum();
    let fft = FftPlanner::new().plan_fft_forward(length);
    let starts: Vec<usize> = (0..=series.len() - length).step_by(length / 2).collect();
    let mut out = vec![0.0; length / 2 + 1];
    for &start in &starts {
        let block = &series[start..start + length];
        let mean = block.iter().sum::<f64>() / length as f64;
        let mut spectrum: Vec<_> = block.iter().zip(&window).map(|(x, w)| Complex::new((x - mean) * w, 0.0)).collect();
        fft.process(&mut spectrum);
        for (k, density) in out.iter_mut().enumerate() {
            let sides = if k == 0 || k == length / 2 { 1.0 } else { 2.0 };
            *density += sides * spectrum[k].norm_sqr() / (rate_hz * power * starts.len() as f64);
        }
    }
    out
}

/// `scipy.signal.welch` (`tests/reference/welch.py`) of a series of the generator in Press et al., *Numerical Recipes*.
#[test]
fn welch_1967_by_rustfft_is_scipys() {
    let mut state = 1u32;
    let series: Vec<f64> = (0..4000)
        .map(|i| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(state) / f64::from(1u32 << 31) - 1.0 + (TAU * 87.3 * f64::from(i) / 1000.0).sin()
        })
        .collect();
    let ours = welch(&series, 1000.0, 256);
    let theirs: Vec<f64> = (include_str!("../reference/welch.csv").lines().skip(1))
        .map(|line| line.split_once(',').expect("two cells").1.parse().expect("a number"))
        .collect();
    assert_eq!((ours.len(), theirs.len()), (129, 129));
    for (k, (a, b)) in ours.iter().zip(&theirs).enumerate() {
        assert!((a - b).abs() < 1e-11 * b.max(1e-4), "bin {k}: {a} {b}");
    }
}

struct Still;

impl Trajectory for Still {
    fn at(&self, _: f64) -> ImuState {
        ImuState {
            q_ws: UnitQuaternion::identity(),
            position_w_m: Vector3::zeros(),
            velocity_w_mps: Vector3::zeros(),
            omega_s_radps: Vector3::zeros(),
            specific_force_s_mps2: gravity_reaction_w_mps2(),
        }
    }

    fn is_brisk(&self, _: f64, _: f64) -> bool {
        false
    }
}

/// Power gain of a digital second-order Butterworth low-pass by the bilinear transform: 1/(1 + (tan πf/r / tan πc/r)⁴)
/// (Oppenheim & Schafer, *Discrete-Time Signal Processing*, § 7.1).
fn butterworth_power(frequency_hz: f64, corner_hz: f64, rate_hz: f64) -> f64 {
    let warped = |hz: f64| (PI * hz / rate_hz).tan();
    1.0 / (1.0 + (warped(frequency_hz) / warped(corner_hz)).powi(4))
}

/// From low frequencies to near Nyquist's the noise has the profile's density times the low-pass's gain, and the steps of
/// 16 bits add s²/12 spread evenly. 64 s make 249 half-overlapping blocks, some 234 independent; a band of 20 bins of which
/// 2/3 are independent under Hann's window then has 1/√(234·13) = 1.8 % of spread: 5 σ and the steps' own correlation are
/// within 10 %.
#[test]
fn butterworth_shapes_the_simulated_noise() {
    let profile = Preset::Good.profile();
    let drawn = Drawn::flawless(&profile, Mount::default());
    let stream = record(&Still, 64.0, &profile, &drawn, Mishaps::default(), &mut Random::new(12));
    type Channel = fn(&Sample) -> f64;
    let channels: [(Channel, f64, f64); 2] = [
        (|sample| sample.gyro_s_radps.y, profile.gyro_noise_radps_rthz, profile.gyro_range_radps),
        (|sample| sample.accel_s_mps2.z, profile.accel_noise_mps2_rthz, profile.accel_range_mps2),
    ];
    for (channel, density, range) in channels {
        let series: Vec<f64> = stream.samples.iter().map(channel).collect();
        let found = welch(&series, 1000.0, 512);
        let steps = (range / 32768.0).powi(2) / 12.0 / 500.0;
        for first in (2..240).step_by(20) {
            let bins = first..first + 20;
            let expected =
                |k: usize| density.powi(2) * butterworth_power(k as f64 * 1000.0 / 512.0, 300.0, 1000.0) + steps;
            let ratio = found[bins.clone()].iter().sum::<f64>() / bins.map(expected).sum::<f64>();
            assert!((ratio - 1.0).abs() < 0.1, "from bin {first}: {ratio}");
        }
    }
}
