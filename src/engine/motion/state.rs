//! The parameters and the navigation state that the filter estimates, and where each stands in its error vector.

use crate::engine::geometry::Attitude;
use crate::engine::profile::{CALIBRATION_SIZE, Calibration, SensorProfile};
use nalgebra::{Matrix3, SMatrix, SVector, Vector3};

/// Length of the error state.
pub const SIZE: usize = PARAMETERS + CALIBRATION_SIZE;
/// Attitude error φ in W, rad: true attitude = exp(φ) ⊗ nominal.
pub const ATTITUDE: usize = 0;
/// Velocity error in W, m/s.
pub const VELOCITY: usize = 3;
/// Position error in W, m, from where the last rest began.
pub const POSITION: usize = 6;
/// Heading error when the last rest began, rad.
pub const REST_HEADING: usize = 9;
/// First of the calibration parameters, in the order of [`Calibration`].
pub const PARAMETERS: usize = 10;

pub use crate::engine::profile::parameter;

/// Error covariance.
pub type Covariance = SMatrix<f64, SIZE, SIZE>;
/// Error vector.
pub type ErrorVector = SVector<f64, SIZE>;
/// Calibration parameters.
pub type Parameters = SVector<f64, CALIBRATION_SIZE>;

/// Turns readings into specific force and angular rate: f = z + A·z − a, ω = y + G·y − b − K·f, in S.
#[derive(Clone, Debug, PartialEq)]
pub struct Correction {
    gyro_matrix: Matrix3<f64>,
    gyro_bias_radps: Vector3<f64>,
    gyro_force: Matrix3<f64>,
    accel_matrix: Matrix3<f64>,
    accel_bias_mps2: Vector3<f64>,
}

impl Correction {
    /// The correction that `parameters` stand for.
    pub fn new(parameters: &Parameters) -> Self {
        use parameter::*;
        let vector = |at: usize| Vector3::from_iterator(parameters.iter().skip(at).take(3).copied());
        let matrix = |at: usize| Matrix3::from_row_iterator(parameters.iter().skip(at).take(9).copied());
        Self {
            gyro_matrix: Matrix3::identity() + matrix(GYRO_MATRIX),
            gyro_force: matrix(GYRO_FORCE),
            gyro_bias_radps: vector(GYRO_BIAS),
            accel_matrix: Matrix3::identity() + matrix(ACCEL_MATRIX),
            accel_bias_mps2: vector(ACCEL_BIAS),
        }
    }

    /// Angular rate in S, rad/s, of a gyro reading under a specific force.
    #[inline]
    pub fn omega_s_radps(&self, gyro_s_radps: Vector3<f64>, force_s_mps2: Vector3<f64>) -> Vector3<f64> {
        self.gyro_matrix * gyro_s_radps - self.gyro_bias_radps - self.gyro_force * force_s_mps2
    }

    /// Specific force in S, m/s², of an accelerometer reading.
    #[inline]
    pub fn force_s_mps2(&self, accel_s_mps2: Vector3<f64>) -> Vector3<f64> {
        self.accel_matrix * accel_s_mps2 - self.accel_bias_mps2
    }
}

/// The nominal state at one instant.
#[derive(Clone, Debug, PartialEq)]
pub struct NavState {
    /// q_WS.
    pub attitude: Attitude,
    /// Velocity of the IMU in W, m/s.
    pub velocity_w_mps: Vector3<f64>,
    /// Position of the IMU in W, m, from where the last rest began.
    pub position_w_m: Vector3<f64>,
    /// The calibration parameters.
    pub parameters: Parameters,
}

impl NavState {
    /// The state with an error vector taken out of it.
    pub fn corrected(&self, error: &ErrorVector) -> Self {
        let part = |at: usize| error.fixed_rows::<3>(at).into_owned();
        Self {
            attitude: self.attitude.turned_in_world(part(ATTITUDE)).renormalised(),
            velocity_w_mps: self.velocity_w_mps + part(VELOCITY),
            position_w_m: self.position_w_m + part(POSITION),
            parameters: self.parameters + error.fixed_rows::<CALIBRATION_SIZE>(PARAMETERS),
        }
    }
}

/// The least 1 σ of a parameter, so that a profile that claims perfection leaves a covariance that can be used.
const LEAST_SIGMA: f64 = 1e-9;

/// 1 σ of the gyro's sensitivity to specific force, each entry, rad/s for each m/s²: some 0.1 °/s for each g, as data
/// sheets of small gyros give it (from memory); the profile has no key for it. A sensor without noise is taken to have none.
const FORCE_SIGMA_RADPS_PER_MPS2: f64 = 1.5e-4;

/// What is known of the parameters before anything was measured: means zero, sizes from the profile.
pub fn prior(sensor: &SensorProfile, tilt_error_rad: f64) -> Calibration {
    use parameter::*;
    let mut sigma = Parameters::zeros();
    for axis in 0..3 {
        sigma[GYRO_BIAS + axis] = sensor.gyro_bias_radps;
        sigma[ACCEL_BIAS + axis] = sensor.accel_bias_mps2;
        for other in 0..3 {
            let on_axis = axis == other;
            let place = 3 * axis + other;
            sigma[GYRO_MATRIX + place] = if on_axis { sensor.gyro_scale_error } else { sensor.misalignment_rad };
            sigma[GYRO_FORCE + place] =
                if sensor.gyro_noise_radps_rthz > 0.0 { FORCE_SIGMA_RADPS_PER_MPS2 } else { 0.0 };
            sigma[ACCEL_MATRIX + place] = if on_axis { sensor.accel_scale_error } else { sensor.misalignment_rad };
        }
    }
    sigma[TILT] = tilt_error_rad;
    sigma[TILT + 1] = tilt_error_rad;
    let variance = sigma.map(|s| s.max(LEAST_SIGMA).powi(2));
    Calibration { mean: Parameters::zeros(), covariance: SMatrix::from_diagonal(&variance) }
}
