//! Standing still: the specific force is as great as gravity, and the gyro reads nothing but its bias.
//!
//! Of what the accelerometer reads at rest only the length is judged, so the sensor may lie in any way. It errs by the bias
//! along "up", by the scale (and, oblique, the misalignment) along it, and by the noise of the mean; gravity itself is known
//! to what [`gravity::expected`](super::gravity::expected) says.

use super::stretch::{Quiet, Stretch, stretches};
use super::{Against, along_sigma, interval_s, mean_sigma, reading_sigma, usable};
use crate::engine::metrics::Estimate;
use crate::engine::profile::{Profile, SensorProfile};
use crate::engine::sample::Sample;
use nalgebra::Vector3;

/// The sensor is to stand for so long, s.
pub const LEAST_S: f64 = 3.0;
/// The greatest length of three normal components of one σ each, in σ, that is exceeded once in twenty: √χ²₃(95 %).
const THREE_AXES_SIGMAS: f64 = 2.795_5;
/// On a table in a cage where people walk: the spread of the gyro, rad/s, and of the force, m/s², if the noise is smaller.
const TABLE: (f64, f64) = (0.02, 0.15);
/// A gyro of a greater bias than this is not told from one that turns, rad/s.
const GREATEST_BIAS_RADPS: f64 = 0.5;
/// What the Earth's rotation and a gyro's sensitivity to gravity add to its bias, rad/s (0.06 °/s for each g: small parts,
/// from memory).
const BESIDE_BIAS_RADPS: f64 = 1.0e-3;

/// Where the person is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Still {
    /// It moves.
    Moving,
    /// It stands, for so long by now, s.
    Standing {
        /// How long, s.
        lasted_s: f64,
    },
    /// It stood long enough.
    Seen(Stood),
}

/// What was found of a sensor that stood still.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stood {
    /// When.
    pub stretch: Stretch,
    /// Specific force against gravity, m/s².
    pub force_mps2: Against,
    /// What the gyro reads on each axis, rad/s, in S: its bias.
    pub bias_s_radps: Vector3<f64>,
    /// 1 σ of each of them as the profile has it, rad/s.
    pub bias_sigma_radps: f64,
}

impl Stood {
    /// Whether the gyro's bias is what the profile admits: its length within √χ²₃(95 %) of an axis's σ.
    pub fn bias_fits(&self) -> bool {
        self.bias_s_radps.norm() <= THREE_AXES_SIGMAS * self.bias_sigma_radps
    }

    /// Whether all of it fits.
    pub fn fits(&self) -> bool {
        self.force_mps2.fits() && self.bias_fits()
    }
}

/// What the samples since the check began say; `gravity_mps2` as far as it is known.
pub fn look(samples: &[Sample], profile: &Profile, gravity_mps2: Estimate) -> Still {
    let samples = usable(samples, profile);
    let (gyro, accel) = reading_sigma(&profile.sensor, interval_s(&samples));
    let three = 3.0 * 3f64.sqrt();
    let quiet = Quiet {
        rate_radps: GREATEST_BIAS_RADPS,
        gyro_radps: (three * gyro).max(TABLE.0),
        accel_mps2: (three * accel).max(TABLE.1),
        moved_mps2: (three * accel).max(TABLE.1),
    };
    let found = stretches(&samples, &quiet);
    let longest = found.iter().max_by(|a, b| a.lasted_s().total_cmp(&b.lasted_s()));
    if let Some(stretch) = longest.filter(|stretch| stretch.lasted_s() >= LEAST_S) {
        return stood(*stretch, &profile.sensor, gravity_mps2).map_or(Still::Moving, Still::Seen);
    }
    let now_s = samples.last().map_or(f64::NEG_INFINITY, |sample| sample.time.0);
    let present = found.last().filter(|stretch| now_s - stretch.to_s < 0.2);
    present.map_or(Still::Moving, |stretch| Still::Standing { lasted_s: stretch.lasted_s() })
}

fn stood(stretch: Stretch, sensor: &SensorProfile, gravity_mps2: Estimate) -> Option<Stood> {
    let up_s = stretch.accel_s_mps2.try_normalize(1e-6)?;
    let by_scale = gravity_mps2.value * along_sigma(&up_s, sensor.accel_scale_error, sensor.misalignment_rad);
    let by_noise = mean_sigma(sensor.accel_noise_mps2_rthz, stretch.lasted_s());
    let found =
        Estimate { value: stretch.accel_s_mps2.norm(), sigma: sensor.accel_bias_mps2.hypot(by_scale).hypot(by_noise) };
    let bias_noise = mean_sigma(sensor.gyro_noise_radps_rthz, stretch.lasted_s());
    Some(Stood {
        stretch,
        force_mps2: Against { found, expected: gravity_mps2 },
        bias_s_radps: stretch.gyro_s_radps,
        bias_sigma_radps: sensor.gyro_bias_radps.hypot(bias_noise).hypot(BESIDE_BIAS_RADPS),
    })
}
