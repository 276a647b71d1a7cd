//! Aim taking: the bat is held level, its barrel toward the pitcher, and its heading is the pitcher's.
//!
//! The heading is that of the bat's axis in the world frame of the present stretch of the recording, by the attitude that the
//! engine has at a time within the hold. It errs by that attitude's heading, by the mount's tilt and by the eye that pointed.

use super::stretch::{Quiet, Stretch, stretches};
use super::usable;
use crate::engine::geometry::Attitude;
use crate::engine::metrics::Estimate;
use crate::engine::profile::Profile;
use crate::engine::sample::Sample;
use nalgebra::Vector3;
use std::f64::consts::PI;

/// The bat is to be held so for so long, s.
pub const LEAST_S: f64 = 1.0;
/// It is level within this, rad: farther up or down, its heading says less and less.
pub const LEVEL_RAD: f64 = 25.0 * PI / 180.0;
/// A person points a bat at something to this, 1 σ, rad: two degrees, an assumption.
const POINTED_RAD: f64 = 0.035;
/// Hands that hold a bat out.
const HELD: Quiet = Quiet { rate_radps: 0.12, gyro_radps: 0.115, accel_mps2: 0.65, moved_mps2: 0.8 };

/// Where the engine has the sensor at a time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fix {
    /// When, s on the sensor's clock.
    pub time_s: f64,
    /// q_WS; W's heading began at an arbitrary zero.
    pub attitude: Attitude,
    /// 1 σ of its heading since then, rad.
    pub heading_sigma_rad: f64,
}

/// Where the person is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Aiming {
    /// The bat is to be held out and kept still; so long it was by now, s.
    Hold {
        /// How long, s.
        lasted_s: f64,
    },
    /// It is kept still, but not level.
    NotLevel {
        /// The barrel above the horizontal, rad.
        elevation_rad: f64,
    },
    /// It was held long enough.
    Seen(Aimed),
}

/// The aim that was taken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Aimed {
    /// When, s on the sensor's clock.
    pub taken_s: f64,
    /// The bat's heading in W, from x toward y, rad.
    pub heading_rad: Estimate,
    /// The barrel above the horizontal, rad.
    pub elevation_rad: f64,
}

/// What the samples since the check began say, with where the engine had the sensor meanwhile.
pub fn look(samples: &[Sample], fixes: &[Fix], profile: &Profile) -> Aiming {
    let samples = usable(samples, profile);
    let found = stretches(&samples, &HELD);
    let axis_s = profile.mount.q_bs.inverse() * Vector3::z();
    let elevation = |stretch: &Stretch| {
        let up_s = stretch.accel_s_mps2.try_normalize(1.0)?;
        Some(axis_s.dot(&up_s).clamp(-1.0, 1.0).asin())
    };
    let long = found.iter().rev().filter(|stretch| stretch.lasted_s() >= LEAST_S);
    let level = long.clone().find(|stretch| elevation(stretch).is_some_and(|angle| angle.abs() <= LEVEL_RAD));
    if let Some(aimed) = level.and_then(|stretch| aimed(stretch, fixes, profile, axis_s)) {
        return Aiming::Seen(aimed);
    }
    let now_s = samples.last().map_or(f64::NEG_INFINITY, |sample| sample.time.0);
    let present = found.last().filter(|stretch| now_s - stretch.to_s < 0.2);
    match present.and_then(|stretch| Some((stretch, elevation(stretch)?))) {
        Some((stretch, elevation_rad)) if stretch.lasted_s() >= LEAST_S && elevation_rad.abs() > LEVEL_RAD => {
            Aiming::NotLevel { elevation_rad }
        }
        Some((stretch, _)) => Aiming::Hold { lasted_s: stretch.lasted_s() },
        None => Aiming::Hold { lasted_s: 0.0 },
    }
}

/// By the last fix within the hold.
fn aimed(stretch: &Stretch, fixes: &[Fix], profile: &Profile, axis_s: Vector3<f64>) -> Option<Aimed> {
    let within = |fix: &&Fix| (stretch.from_s..=stretch.to_s).contains(&fix.time_s);
    let fix = fixes.iter().rev().find(within)?;
    let axis_w = fix.attitude.to_world(axis_s);
    let level = axis_w.xy().norm();
    // Across the axis a tilt of the mount turns the heading by its size over the axis's level part.
    let by_mount = profile.mount.tilt_error_rad / level;
    let sigma = POINTED_RAD.hypot(by_mount).hypot(fix.heading_sigma_rad);
    let is_told = level > 0.5 && sigma.is_finite();
    is_told.then(|| Aimed {
        taken_s: fix.time_s,
        heading_rad: Estimate { value: axis_w.y.atan2(axis_w.x), sigma },
        elevation_rad: axis_w.z.clamp(-1.0, 1.0).asin(),
    })
}
