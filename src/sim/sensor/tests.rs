use super::*;
use crate::engine::profile::Mount;
use crate::sim::preset::{Preset, draw_mount};
use crate::sim::textbook::ConstantRotation;
use crate::sim::{ImuState, Trajectory};
use nalgebra::{Matrix3, UnitQuaternion};
use rustfft::{Fft, FftDirection, algorithm::Radix4, num_complex::Complex};
use std::f64::consts::TAU;

/// At rest but for the rate about x and the force along y, both a sine.
struct Hum {
    frequency_hz: f64,
    amplitude: f64,
}

impl Trajectory for Hum {
    fn at(&self, t_s: f64) -> ImuState {
        let wave = self.amplitude * (TAU * self.frequency_hz * t_s).sin();
        ImuState {
            q_ws: UnitQuaternion::identity(),
            position_w_m: Vector3::zeros(),
            velocity_w_mps: Vector3::zeros(),
            omega_s_radps: Vector3::x() * wave,
            specific_force_s_mps2: Vector3::y() * wave,
        }
    }
}

/// A sensor of a preset's rates without any error drawn, and its profile.
fn flawless(preset: Preset) -> (SensorProfile, Drawn) {
    let profile = preset.profile();
    let mount = draw_mount(&mut Random::new(1), Preset::Ideal);
    let drawn = Drawn::flawless(&profile, mount);
    (profile, drawn)
}

/// Size and phase (rad, behind the input) of a sine at the output.
fn response(preset: Preset, frequency_hz: f64) -> (f64, f64) {
    let (mut profile, drawn) = flawless(preset);
    (profile.gyro_noise_radps_rthz, profile.accel_noise_mps2_rthz) = (0.0, 0.0);
    let hum = Hum { frequency_hz, amplitude: 1.0 };
    let stream = record(&hum, 1.0, &profile, &drawn, Mishaps::default(), &mut Random::new(2));
    let settled = &stream.samples[stream.samples.len() / 4..];
    let sum = settled.iter().fold(Complex::new(0.0, 0.0), |sum, sample| {
        let angle = TAU * frequency_hz * (sample.time.0 - drawn.clock_start_s);
        sum + Complex::from_polar(sample.gyro_s_radps.x, -angle)
    });
    let mean = sum * Complex::new(0.0, 2.0) / settled.len() as f64;
    (mean.norm(), -mean.arg())
}

/// A second-order Butterworth: half the power at the bandwidth, phase −90° there, and the delay √2/(2πf) below
/// (Oppenheim & Schafer, *Discrete-Time Signal Processing*, app. B). The mean of the last three points, 125 µs
/// apart, then takes its own share, (1 + 2 cos ωh)/3, and is late by one step.
#[test]
fn butterworth_has_half_the_power_at_its_bandwidth() {
    let (size, phase) = response(Preset::Good, 300.0);
    let step_s = 125e-6;
    let averaging = (1.0 + 2.0 * (TAU * 300.0 * step_s).cos()) / 3.0;
    assert!((size / averaging - 0.5f64.sqrt()).abs() < 1e-3, "{size}");
    assert!((phase - TAU / 4.0 - TAU * 300.0 * step_s).abs() < 0.01, "{phase}");
    let (size, phase) = response(Preset::Good, 20.0);
    assert!((size - 1.0).abs() < 1e-3, "{size}");
    let delay_s = phase / (TAU * 20.0);
    assert!((delay_s - step_s - 0.5f64.sqrt() / (TAU / 2.0 * 300.0)).abs() < 1e-5, "{delay_s}");
}

/// Welch's estimate (*IEEE Trans. Audio* 15, 1967) of the one-sided density well below the bandwidth.
#[test]
fn noise_has_the_density_of_the_profile() {
    let (profile, drawn) = flawless(Preset::Good);
    let still = Hum { frequency_hz: 1.0, amplitude: 0.0 };
    let stream = record(&still, 33.0, &profile, &drawn, Mishaps::default(), &mut Random::new(3));
    let block = 1024;
    let fft = Radix4::new(block, FftDirection::Forward);
    let density = |channel: fn(&Sample) -> f64| {
        let blocks = stream.samples.chunks_exact(block);
        let (count, mut power, mut bins) = (blocks.len(), 0.0, 0);
        for one in blocks {
            let mut spectrum: Vec<_> = one.iter().map(|sample| Complex::new(channel(sample), 0.0)).collect();
            fft.process(&mut spectrum);
            let low = &spectrum[5..60];
            power += low.iter().map(|bin| bin.norm_sqr()).sum::<f64>();
            bins += low.len();
        }
        assert_eq!(count, 32);
        (2.0 * power / (bins as f64 * block as f64 * 1000.0)).sqrt()
    };
    // 1760 bins with two degrees of freedom each: 1.2 % in the density; steps of 16 bits add s²/12 to the variance.
    let expected = |noise: f64, range: f64| (noise.powi(2) + (range / 32768.0).powi(2) / 12.0 / 500.0).sqrt();
    let gyro = density(|sample| sample.gyro_s_radps.z) / expected(1.7e-4, profile.gyro_range_radps);
    let accel = density(|sample| sample.accel_s_mps2.x) / expected(2.0e-3, profile.accel_range_mps2);
    assert!((gyro - 1.0).abs() < 0.05, "{gyro}");
    assert!((accel - 1.0).abs() < 0.05, "{accel}");
}

#[test]
fn errors_clock_and_range_are_applied_as_drawn() {
    let (mut profile, mut drawn) = flawless(Preset::Good);
    (profile.gyro_noise_radps_rthz, profile.accel_noise_mps2_rthz) = (0.0, 0.0);
    profile.accel_range_mps2 = 9.0;
    drawn.gyro_matrix = Matrix3::new(1.01, 0.002, 0.0, 0.0, 0.99, 0.0, -0.003, 0.0, 1.0);
    drawn.gyro_bias_radps = Vector3::new(0.1, -0.2, 0.3);
    drawn.clock_ppm = 50.0;
    let omega_radps = Vector3::new(0.0, 0.0, 2.0);
    let spin = ConstantRotation { omega_radps, arm_s_m: Vector3::zeros() };
    let stream = record(&spin, 1.0, &profile, &drawn, Mishaps::default(), &mut Random::new(4));
    for sample in &stream.samples {
        assert!((sample.gyro_s_radps - (drawn.gyro_matrix * omega_radps + drawn.gyro_bias_radps)).norm() < 1e-12);
        assert_eq!(sample.accel_s_mps2.z, 9.0, "gravity is beyond this range");
    }
    let last = stream.samples.last().expect("a sample");
    assert!((drawn.true_time_s(last.time.0 - drawn.clock_start_s) - 0.999 / 1.00005).abs() < 1e-9);
}

#[test]
fn interpolated_and_exact_stretches_give_the_same_readings() {
    struct Calm(Hum);
    impl Trajectory for Calm {
        fn at(&self, t_s: f64) -> ImuState {
            self.0.at(t_s)
        }
        fn is_brisk(&self, from_s: f64, to_s: f64) -> bool {
            from_s < 0.3 && to_s > 0.2
        }
    }
    let (mut profile, drawn) = flawless(Preset::Good);
    (profile.gyro_noise_radps_rthz, profile.accel_noise_mps2_rthz) = (0.0, 0.0);
    let hum = || Hum { frequency_hz: 12.0, amplitude: 1.0 };
    let exact = record(&hum(), 1.0, &profile, &drawn, Mishaps::default(), &mut Random::new(5));
    let calm = record(&Calm(hum()), 1.0, &profile, &drawn, Mishaps::default(), &mut Random::new(5));
    assert_eq!(exact.samples.len(), calm.samples.len());
    for (a, b) in exact.samples.iter().zip(&calm.samples) {
        // 3/128 (2π f h)⁴ = 1.2e-5, the bound in the module's text.
        assert!((a.gyro_s_radps - b.gyro_s_radps).norm() < 1.3e-5);
    }
}

#[test]
fn losses_have_the_share_and_groups_asked_for() {
    let (profile, drawn) = flawless(Preset::Good);
    let still = Hum { frequency_hz: 1.0, amplitude: 0.0 };
    let mishaps = Mishaps { lost_share: 0.05, gap_s: Some((10.0, 0.5)) };
    let stream = record(&still, 60.0, &profile, &drawn, mishaps, &mut Random::new(6));
    assert_eq!(stream.samples.len() + stream.lost, 60_000);
    let steps: Vec<i64> = (stream.samples.windows(2))
        .map(|pair| (pair[1].time.seconds_since(pair[0].time) * 1000.0).round() as i64 - 1)
        .filter(|&missing| missing > 0)
        .collect();
    assert!(steps.iter().any(|&missing| missing >= 500));
    assert!(steps.iter().all(|&missing| missing >= 5));
    // 240 groups of 12.5 ± 4.6: one in fifteen of the share.
    let share = (stream.lost - 500) as f64 / 59_500.0;
    assert!((share - 0.05).abs() < 0.015, "{share}");
}

#[test]
fn tilt_is_the_rotation_of_the_axis_in_nominal_bat_axes() {
    let mut random = Random::new(7);
    let nominal = draw_mount(&mut random, Preset::Good);
    let drawn = Drawn::draw(&mut random, Preset::Good, &Preset::Good.profile(), &nominal);
    let Mount { q_bs, .. } = drawn.mount;
    let axis_nominal_b = nominal.q_bs * (q_bs.inverse() * Vector3::z());
    let [x, y] = drawn.tilt_rad;
    // To first order (y, −x, 1); second order is 1e-4 for tilts of 0.01.
    assert!((axis_nominal_b - Vector3::new(y, -x, 1.0)).norm() < 1e-3);
    assert!(x.hypot(y) > 1e-3);
}
