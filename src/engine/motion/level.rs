//! The state that navigation begins from: levelled by the specific force, the heading zero.

use super::state::{ATTITUDE, Covariance, NavState, PARAMETERS, POSITION, REST_HEADING, VELOCITY, prior};
use crate::engine::geometry::Attitude;
use crate::engine::profile::{CALIBRATION_SIZE, Profile};
use crate::engine::sample::Sample;
use nalgebra::Vector3;

/// 1 σ of the level and of the velocity, rad and m/s: at rest, and where nothing says that the sensor rests.
const AT_REST: (f64, f64) = (0.15, 0.1);
const ANYHOW: (f64, f64) = (0.5, 2.0);
/// What is zero by definition, such as the heading, has this variance all the same.
const BY_DEFINITION: f64 = 1e-12;

/// State and covariance, levelled by the mean of some samples; parameters as the profile knows them.
pub fn start<'a>(
    profile: &Profile,
    samples: impl Iterator<Item = &'a Sample>,
    resting: bool,
) -> (NavState, Covariance) {
    let up_s: Vector3<f64> = samples.filter(|sample| sample.is_whole()).map(|sample| sample.accel_s_mps2).sum();
    let known = profile.calibration.clone();
    let calibration = known.unwrap_or_else(|| prior(&profile.sensor, profile.mount.tilt_error_rad));
    let mut covariance = Covariance::zeros();
    covariance
        .fixed_view_mut::<CALIBRATION_SIZE, CALIBRATION_SIZE>(PARAMETERS, PARAMETERS)
        .copy_from(&calibration.covariance);
    let (level_rad, speed_mps) = if resting { AT_REST } else { ANYHOW };
    for axis in 0..3 {
        covariance[(ATTITUDE + axis, ATTITUDE + axis)] = level_rad * level_rad;
        covariance[(VELOCITY + axis, VELOCITY + axis)] = speed_mps * speed_mps;
        covariance[(POSITION + axis, POSITION + axis)] = BY_DEFINITION;
    }
    covariance[(ATTITUDE + 2, ATTITUDE + 2)] = BY_DEFINITION;
    covariance[(REST_HEADING, REST_HEADING)] = BY_DEFINITION;
    let state = NavState {
        attitude: Attitude::levelled(up_s),
        velocity_w_mps: Vector3::zeros(),
        position_w_m: Vector3::zeros(),
        parameters: calibration.mean,
    };
    (state, covariance)
}
