//! What is known of the sensor, its mount, the bat and the batter before a recording is read.
//!
//! Enters: the text of a TOML file ([`Profile::parse`]); all of it is optional. Leaves: values that are possible, and
//! warnings about what is unusual. [`Profile::to_toml`] is the way back, exact to the bit.

mod defaults;
mod emit;
mod error;
mod keys;
mod limits;
mod parse;
mod pendulum;
#[cfg(test)]
mod tests;

pub use defaults::DEFAULT_TILT_WITHOUT_QUATERNION_RAD;
pub use error::{ProfileError, ProfileWarning};
pub use pendulum::moi_knob6_from_period_kgm2;

use nalgebra::{SMatrix, SVector, UnitQuaternion, Vector3};

/// Everything a recording's samples are read with.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Profile {
    /// The sensor.
    pub sensor: SensorProfile,
    /// How it sits on the bat.
    pub mount: Mount,
    /// The bat.
    pub bat: Bat,
    /// The batter and the pitch.
    pub swing: SwingContext,
    /// What was learnt of this sensor on this mount, if anything.
    pub calibration: Option<Calibration>,
}

/// The sensor's nominal values and the 1 σ sizes of its errors.
#[derive(Clone, Debug, PartialEq)]
pub struct SensorProfile {
    /// Nominal sample rate; `None`: taken from the times.
    pub sample_rate_hz: Option<f64>,
    /// End of the gyro's range, rad/s, either sign.
    pub gyro_range_radps: f64,
    /// End of the accelerometer's range, m/s², either sign.
    pub accel_range_mps2: f64,
    /// End of the second accelerometer's range, m/s².
    pub accel_hi_range_mps2: f64,
    /// −3 dB of the gyro's second-order low-pass, Hz.
    pub gyro_bandwidth_hz: f64,
    /// −3 dB of the accelerometer's second-order low-pass, Hz.
    pub accel_bandwidth_hz: f64,
    /// White noise density, one-sided, per axis, rad/s/√Hz.
    pub gyro_noise_radps_rthz: f64,
    /// White noise density, one-sided, per axis, m/s²/√Hz.
    pub accel_noise_mps2_rthz: f64,
    /// 1 σ of each axis's scale factor.
    pub gyro_scale_error: f64,
    /// 1 σ of each axis's scale factor.
    pub accel_scale_error: f64,
    /// 1 σ of the gyro's turn-on bias, rad/s.
    pub gyro_bias_radps: f64,
    /// 1 σ of the accelerometer's bias, m/s².
    pub accel_bias_mps2: f64,
    /// 1 σ of the misalignment, axis to axis, rad.
    pub misalignment_rad: f64,
}

/// How the sensor sits on the bat.
#[derive(Clone, Debug, PartialEq)]
pub struct Mount {
    /// The IMU's position in B, m.
    pub offset_b_m: Vector3<f64>,
    /// q_BS: takes vectors from S to B.
    pub q_bs: UnitQuaternion<f64>,
    /// 1 σ of the direction of the bat's axis in S, about each of the two axes across it, rad.
    pub tilt_error_rad: f64,
    /// Whether the file gave a quaternion; without one the bat's axis in S is only assumed.
    pub given: bool,
}

/// The bat.
#[derive(Clone, Debug, PartialEq)]
pub struct Bat {
    /// Knob end to barrel end, m.
    pub length_m: f64,
    /// Mass, kg.
    pub mass_kg: f64,
    /// Centre of mass from the knob end, m.
    pub balance_m: f64,
    /// Moment of inertia about the 6 in pivot, kg m² (ASTM F2398).
    pub moi_knob6_kgm2: f64,
    /// Sweet spot from the knob end, m.
    pub sweet_spot_m: f64,
    /// Greatest diameter of the barrel, m.
    pub barrel_diameter_m: f64,
}

/// The side of the plate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Bats right-handed.
    Right,
    /// Bats left-handed.
    Left,
}

/// The batter and the pitch.
#[derive(Clone, Debug, PartialEq)]
pub struct SwingContext {
    /// The batter's side.
    pub side: Side,
    /// Ball speed at the plate, m/s; 0 for a tee.
    pub pitch_speed_mps: f64,
    /// The ball's path at the plate below the horizontal, degrees.
    pub pitch_descent_deg: f64,
}

/// How many parameters a [`Calibration`] has.
pub const CALIBRATION_SIZE: usize = 35;

/// Places within [`Calibration::mean`].
pub mod parameter {
    /// Gyro bias, 3.
    pub const GYRO_BIAS: usize = 0;
    /// Gyro matrix G by rows, 9.
    pub const GYRO_MATRIX: usize = 3;
    /// The gyro's sensitivity to specific force K by rows, 9.
    pub const GYRO_FORCE: usize = 12;
    /// Accelerometer bias, 3.
    pub const ACCEL_BIAS: usize = 21;
    /// Accelerometer matrix A by rows, 9.
    pub const ACCEL_MATRIX: usize = 24;
    /// Mount tilt, 2.
    pub const TILT: usize = 33;
}

/// What has been learnt of a sensor and its mount: mean and covariance of the parameters.
///
/// Order: gyro bias b (3), gyro matrix G (9, by rows), the gyro's sensitivity to specific force K (9, by rows),
/// accelerometer bias a (3), accelerometer matrix A (9, by rows), mount tilt (2). Readings y (gyro) and z (accelerometer)
/// are corrected as f = z + A·z − a (m/s²) and ω = y + G·y − b − K·f (rad/s), both in S. The tilt (x, y, 0) is the
/// rotation vector, rad, in B, that takes the nominal mount to the true one: q_BS = exp(tilt) ⊗ nominal.
#[derive(Clone, Debug, PartialEq)]
pub struct Calibration {
    /// The estimates.
    pub mean: SVector<f64, CALIBRATION_SIZE>,
    /// Their covariance.
    pub covariance: SMatrix<f64, CALIBRATION_SIZE, CALIBRATION_SIZE>,
}

/// How much of its first uncertainty an accelerometer bias has again after a pause.
const ACCEL_BIAS_AGAIN: f64 = 0.1;

impl Calibration {
    /// What is still known when the sensor has been off and on again: the gyro's bias is a turn-on bias and starts anew
    /// about the old value, the accelerometer's has moved a little.
    pub fn after_a_pause(&self, sensor: &SensorProfile) -> Self {
        use parameter::{ACCEL_BIAS, GYRO_BIAS};
        let mut covariance = self.covariance;
        for axis in 0..3 {
            let (gyro, accel) = (GYRO_BIAS + axis, ACCEL_BIAS + axis);
            covariance[(gyro, gyro)] += sensor.gyro_bias_radps.powi(2);
            covariance[(accel, accel)] += (ACCEL_BIAS_AGAIN * sensor.accel_bias_mps2).powi(2);
        }
        Self { mean: self.mean, covariance }
    }
}
