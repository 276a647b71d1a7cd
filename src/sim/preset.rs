//! Usual sensors: their nominal profiles, and one real specimen drawn from each.

use super::random::Random;
use crate::engine::geometry::G_MPS2;
use crate::engine::profile::{Mount, SensorProfile};
use nalgebra::{Matrix3, UnitQuaternion, Vector3};

/// A kind of sensor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Preset {
    /// 1 kHz, ±4000 °/s, ±32 g: a modern part.
    Good,
    /// As good, but ±16 g with a coarse second channel of ±200 g.
    Dual,
    /// 208 Hz, ±2000 °/s, ±16 g: clips in quick swings.
    Hobby,
    /// 104 Hz with 32 Hz of bandwidth: too slow for a swing.
    Slow,
    /// 3.2 kHz.
    Fast,
    /// 2 kHz, no error of any kind, held in perfect stillness.
    Ideal,
}

impl Preset {
    /// All of them.
    pub const ALL: [Preset; 6] = [Preset::Good, Preset::Dual, Preset::Hobby, Preset::Slow, Preset::Fast, Preset::Ideal];

    /// The word in files and on the command line.
    pub fn key(self) -> &'static str {
        match self {
            Preset::Good => "good",
            Preset::Dual => "dual",
            Preset::Hobby => "hobby",
            Preset::Slow => "slow",
            Preset::Fast => "fast",
            Preset::Ideal => "ideal",
        }
    }

    /// Size of the batter's sway and tremor.
    pub fn wander_level(self) -> f64 {
        if self == Preset::Ideal { 0.0 } else { 1.0 }
    }

    /// Rate (Hz), bandwidth (Hz), gyro range (°/s), accelerometer range (g), second range (g; 0: none).
    fn figures(self) -> (f64, f64, f64, f64, f64) {
        match self {
            Preset::Good => (1000.0, 300.0, 4000.0, 32.0, 0.0),
            Preset::Dual => (1000.0, 300.0, 4000.0, 16.0, 200.0),
            Preset::Hobby => (208.0, 85.0, 2000.0, 16.0, 0.0),
            Preset::Slow => (104.0, 32.0, 2000.0, 16.0, 0.0),
            Preset::Fast => (3200.0, 600.0, 4000.0, 32.0, 0.0),
            Preset::Ideal => (2000.0, 1.0e5, 57_000.0, 10_000.0, 0.0),
        }
    }

    /// The nominal profile. Noise densities and error sizes are those of current consumer parts' data sheets, rounded.
    pub fn profile(self) -> SensorProfile {
        let (rate_hz, bandwidth_hz, gyro_dps, accel_g, hi_g) = self.figures();
        let real = if self == Preset::Ideal { 0.0 } else { 1.0 };
        SensorProfile {
            sample_rate_hz: Some(rate_hz),
            gyro_range_radps: gyro_dps.to_radians(),
            accel_range_mps2: accel_g * G_MPS2,
            accel_hi_range_mps2: if hi_g > 0.0 { hi_g * G_MPS2 } else { 200.0 * G_MPS2 },
            gyro_bandwidth_hz: bandwidth_hz,
            accel_bandwidth_hz: bandwidth_hz,
            gyro_noise_radps_rthz: 1.7e-4 * real,
            accel_noise_mps2_rthz: 2.0e-3 * real,
            gyro_scale_error: 0.005 * real,
            accel_scale_error: 0.005 * real,
            gyro_bias_radps: 0.01 * real,
            accel_bias_mps2: 0.2 * real,
            misalignment_rad: 0.005 * real,
        }
    }
}

/// The second, high-range accelerometer: far coarser than the first (data sheets of ±200 g parts, rounded).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HighRange {
    /// Constant error, m/s², in S.
    pub bias_mps2: Vector3<f64>,
    /// Scale and misalignment: reading = matrix · truth + bias.
    pub matrix: Matrix3<f64>,
    /// White noise density, one-sided, m/s²/√Hz.
    pub noise_mps2_rthz: f64,
    /// Size of a step, m/s².
    pub step_mps2: f64,
}

/// What one specimen is in truth, kept apart from the profile that its readings are judged by.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawn {
    /// How much the sensor's clock runs fast, parts in a million.
    pub clock_ppm: f64,
    /// What the sensor's clock shows when the simulation begins, s.
    pub clock_start_s: f64,
    /// Constant error of the gyro in S, rad/s.
    pub gyro_bias_radps: Vector3<f64>,
    /// Scale and misalignment of the gyro: reading = matrix · truth + bias.
    pub gyro_matrix: Matrix3<f64>,
    /// Constant error of the accelerometer in S, m/s².
    pub accel_bias_mps2: Vector3<f64>,
    /// Scale and misalignment of the accelerometer.
    pub accel_matrix: Matrix3<f64>,
    /// −3 dB of both low-passes, Hz.
    pub bandwidth_hz: f64,
    /// Mount tilt about B's x and y, rad: the bat's axis in nominal B is exp((x, y, 0)) · z.
    pub tilt_rad: [f64; 2],
    /// How the sensor truly sits.
    pub mount: Mount,
    /// The second accelerometer.
    pub accel_hi: Option<HighRange>,
}

fn matrix(random: &mut Random, scale_error: f64, misalignment_rad: f64) -> Matrix3<f64> {
    Matrix3::from_fn(|row, column| {
        let (ideal, sigma) = if row == column { (1.0, scale_error) } else { (0.0, misalignment_rad) };
        ideal + random.normal(sigma)
    })
}

/// A nominal mount: one of three sensor axes along the bat, at any roll.
pub fn draw_mount(random: &mut Random, preset: Preset) -> Mount {
    let quarter = std::f64::consts::FRAC_PI_2;
    let lying = [Vector3::zeros(), Vector3::x() * quarter, Vector3::y() * quarter][random.index(3)];
    let rolled = Vector3::z() * random.between(-std::f64::consts::PI, std::f64::consts::PI);
    let q_bs = UnitQuaternion::from_scaled_axis(rolled) * UnitQuaternion::from_scaled_axis(lying);
    let offset_b_m = Vector3::new(random.normal(1e-3), random.normal(1e-3), random.between(-0.014, -0.01));
    let tilt_error_rad = if preset == Preset::Ideal { 0.0 } else { 0.01 };
    Mount { offset_b_m, q_bs, tilt_error_rad, given: true }
}

impl Drawn {
    /// A sensor without any error, its clock at zero, with the profile's bandwidth: for motions of the textbook.
    pub fn flawless(profile: &SensorProfile, mount: Mount) -> Self {
        Self {
            clock_ppm: 0.0,
            clock_start_s: 0.0,
            gyro_bias_radps: Vector3::zeros(),
            gyro_matrix: Matrix3::identity(),
            accel_bias_mps2: Vector3::zeros(),
            accel_matrix: Matrix3::identity(),
            bandwidth_hz: profile.gyro_bandwidth_hz,
            tilt_rad: [0.0; 2],
            mount,
            accel_hi: None,
        }
    }

    /// One specimen of a preset on a nominal mount.
    pub fn draw(random: &mut Random, preset: Preset, profile: &SensorProfile, nominal: &Mount) -> Self {
        let real = if preset == Preset::Ideal { 0.0 } else { 1.0 };
        let tilt_rad = [random.normal(nominal.tilt_error_rad), random.normal(nominal.tilt_error_rad)];
        let tilt = UnitQuaternion::from_scaled_axis(Vector3::new(tilt_rad[0], tilt_rad[1], 0.0));
        let mount = Mount {
            // A ruler's error; a profile has no σ for it.
            offset_b_m: nominal.offset_b_m + random.normal_vector(3e-4 * real),
            q_bs: tilt.inverse() * nominal.q_bs,
            ..nominal.clone()
        };
        let accel_hi = (preset == Preset::Dual).then(|| HighRange {
            bias_mps2: random.normal_vector(1.0),
            matrix: matrix(random, 0.01, 0.01),
            noise_mps2_rthz: 0.03,
            step_mps2: 200.0 * G_MPS2 / 2048.0,
        });
        Self {
            clock_ppm: random.normal(20.0 * real),
            clock_start_s: (random.between(0.0, 100.0) * 1000.0).round() / 1000.0,
            gyro_bias_radps: random.normal_vector(profile.gyro_bias_radps),
            gyro_matrix: matrix(random, profile.gyro_scale_error, profile.misalignment_rad),
            accel_bias_mps2: random.normal_vector(profile.accel_bias_mps2),
            accel_matrix: matrix(random, profile.accel_scale_error, profile.misalignment_rad),
            bandwidth_hz: profile.gyro_bandwidth_hz * (1.0 + random.normal(0.01 * real)),
            tilt_rad,
            mount,
            accel_hi,
        }
    }

    /// A time on the sensor's clock from one on the true clock, s.
    pub fn sensor_time_s(&self, true_s: f64) -> f64 {
        self.clock_start_s + true_s * (1.0 + self.clock_ppm * 1e-6)
    }

    /// A time on the true clock from one since the start on the sensor's clock, s.
    pub fn true_time_s(&self, since_start_s: f64) -> f64 {
        since_start_s / (1.0 + self.clock_ppm * 1e-6)
    }
}
