//! What a profile says where its file is silent.
//!
//! The values are of a common modern inertial part and of a 33-inch adult bat: common practice, no source. They are
//! listed in proto-docs/recordings.md.

use nalgebra::{UnitQuaternion, Vector3};

use super::{Bat, Mount, SensorProfile, Side, SwingContext};
use crate::engine::geometry::G_MPS2;
use crate::engine::metrics::HANDS_FROM_KNOB_M;

/// 1 σ of the bat axis's direction in S where the file gives no mount quaternion, rad: a sensor put on by eye.
pub const DEFAULT_TILT_WITHOUT_QUATERNION_RAD: f64 = 0.05;

/// 1 σ of the bat axis's direction in S where the file gives a quaternion and no error for it, rad.
pub(super) const DEFAULT_TILT_WITH_QUATERNION_RAD: f64 = 0.01;

/// The bandwidth of a sensor whose low-pass is not known, Hz: so wide that no delay is allowed for. Any guess would move
/// contact and start by its own delay (0.75 ms for 300 Hz) and show as nothing but a wrong time.
const OPEN_BANDWIDTH_HZ: f64 = 100_000.0;

impl Default for SensorProfile {
    fn default() -> Self {
        Self {
            sample_rate_hz: None,
            gyro_range_radps: 4000.0_f64.to_radians(),
            accel_range_mps2: 32.0 * G_MPS2,
            accel_hi_range_mps2: 200.0 * G_MPS2,
            gyro_bandwidth_hz: OPEN_BANDWIDTH_HZ,
            accel_bandwidth_hz: OPEN_BANDWIDTH_HZ,
            gyro_noise_radps_rthz: 1.7e-4,
            accel_noise_mps2_rthz: 2.0e-3,
            gyro_scale_error: 0.005,
            accel_scale_error: 0.005,
            gyro_bias_radps: 0.01,
            accel_bias_mps2: 0.2,
            misalignment_rad: 0.005,
        }
    }
}

impl Default for Mount {
    fn default() -> Self {
        Self {
            offset_b_m: Vector3::zeros(),
            q_bs: UnitQuaternion::identity(),
            tilt_error_rad: DEFAULT_TILT_WITHOUT_QUATERNION_RAD,
            given: false,
        }
    }
}

const ADULT_LENGTH_M: f64 = 0.838;
const ADULT_MASS_KG: f64 = 0.85;
const ADULT_MOI_KGM2: f64 = 0.172;
const BALANCE_OF_LENGTH: f64 = 0.62;

/// The sweet spot's distance from the barrel end, m (6 in: common practice, no source).
const SWEET_SPOT_FROM_BARREL_END_M: f64 = HANDS_FROM_KNOB_M;

impl Bat {
    /// A bat of which only the length and the mass are known: the adult bat, scaled (moment of inertia with mass times
    /// length squared), the sweet spot 6 in from the barrel end.
    pub(super) fn scaled(length_m: f64, mass_kg: f64) -> Self {
        let scale = mass_kg / ADULT_MASS_KG * (length_m / ADULT_LENGTH_M).powi(2);
        Self {
            length_m,
            mass_kg,
            balance_m: BALANCE_OF_LENGTH * length_m,
            moi_knob6_kgm2: ADULT_MOI_KGM2 * scale,
            sweet_spot_m: length_m - SWEET_SPOT_FROM_BARREL_END_M,
            barrel_diameter_m: 0.066,
        }
    }
}

impl Default for Bat {
    fn default() -> Self {
        Self::scaled(ADULT_LENGTH_M, ADULT_MASS_KG)
    }
}

impl Default for SwingContext {
    fn default() -> Self {
        Self { side: Side::Right, pitch_speed_mps: 20.0, pitch_descent_deg: 8.0 }
    }
}
