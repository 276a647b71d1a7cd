//! How the sensor sits: the bat's axis in the sensor, by gravity while the bat stands on its tip, and by its rate while the bat
//! is rolled about its axis.
//!
//! Standing says which end is the knob and the direction to a few degrees, as a person stands it up by eye. Rolling says the
//! direction: the rate points along the axis. The gyro's bias is taken out by what it read while the bat stood; then the
//! greatest eigenvector of Σ ω·ωᵀ (total least squares) leads to a nominal axis, and [`RollWatch`] to the slope against it,
//! with the σ that the wobble of the hands leaves. The gyro's own misalignment remains and is in σ.

use super::stretch::{Quiet, Stretch, stretches};
use super::{across_sigma, principal, usable};
use crate::engine::motion::roll::{Roll, RollWatch};
use crate::engine::profile::{Profile, SensorProfile};
use crate::engine::sample::{Sample, SensorTime};
use nalgebra::{Matrix3, UnitQuaternion, Vector2, Vector3};
use std::f64::consts::{PI, TAU};

/// The bat is to stand for so long, s.
pub const LEAST_S: f64 = 1.5;
/// And to be rolled by this much each way: two turns less their slow beginnings and ends, rad.
pub const LEAST_ROLL_RAD: f64 = 1.7 * TAU;
/// Of those that a roll may have followed, the last ones are looked at: whoever stood it up more often began again long ago.
const MOST_STOOD: usize = 4;
/// A hand keeps the bat upright: rates and forces within what the detector of rests allows.
const HELD: Quiet = Quiet { rate_radps: 0.3, gyro_radps: 0.115, accel_mps2: 0.65, moved_mps2: 0.8 };
/// A bat stood up by eye is upright to this, 1 σ about each axis, rad: three degrees, an assumption.
const BY_EYE_RAD: f64 = 0.05;
/// A roll is at least this fast, rad/s; what else turns is handling.
const ROLLING_RADPS: f64 = 4.0;
/// While the axis is looked for, this part of the rate may lie across it, and then this.
const ACROSS: [f64; 3] = [0.5, 0.25, 0.12];
/// So much of what turns quickly turns about one line if a bat is rolled and nothing else is done.
const ONE_LINE: f64 = 0.97;
/// Two directions of one axis are farther apart than this many σ only if something is wrong.
const APART_SIGMAS: f64 = 3.0;
/// Beyond this the sensor sits another way than was entered, rad.
pub const ANOTHER_WAY_RAD: f64 = PI / 6.0;
/// Gravity and roll that differ by more are no direction of one axis: the bat did not stand on its tip, rad.
const NOT_UPRIGHT_RAD: f64 = PI / 4.0;

/// Where the person is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Mounting {
    /// The bat is to be stood upright and kept still; so long it was by now, s.
    Stand {
        /// How long, s.
        lasted_s: f64,
    },
    /// It is to be rolled about its axis; so far it was, rad.
    Roll {
        /// Right-handed about knob to tip, and left-handed.
        rolled_rad: [f64; 2],
    },
    /// It was rolled, and what stood before was no bat on its tip.
    NotUpright,
    /// Both were seen.
    Seen(MountFound),
}

/// The mount that was found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MountFound {
    /// q_BS: the profile's, turned by the least that makes the axis found B's z.
    pub q_bs: UnitQuaternion<f64>,
    /// The axis, knob to tip, unit, in S.
    pub axis_s: Vector3<f64>,
    /// 1 σ of its direction about each axis across it, rad.
    pub tilt_sigma_rad: f64,
    /// How far it lies from the profile's axis, rad.
    pub from_nominal_rad: f64,
    /// How far gravity's direction lies from that by the roll, rad,
    pub apart_rad: f64,
    /// and 1 σ of that about each axis, rad.
    pub apart_sigma_rad: f64,
    /// How far it was rolled each way, rad.
    pub rolled_rad: [f64; 2],
}

impl MountFound {
    /// Whether gravity and roll tell one direction, within three σ.
    pub fn agrees(&self) -> bool {
        self.apart_rad <= APART_SIGMAS * self.apart_sigma_rad
    }

    /// Whether the sensor sits another way than the profile has it.
    pub fn is_another_way(&self) -> bool {
        self.from_nominal_rad > ANOTHER_WAY_RAD
    }
}

/// What the samples since the check began say: by the last standing that a roll followed, of the last few, else by the last one.
pub fn look(samples: &[Sample], profile: &Profile) -> Mounting {
    let samples = usable(samples, profile);
    let found = stretches(&samples, &HELD);
    let stood: Vec<&Stretch> = found.iter().filter(|stretch| stretch.lasted_s() >= LEAST_S).collect();
    let mut looks = stood.iter().rev().take(MOST_STOOD).map(|stretch| look_after(stretch, &samples, profile));
    let Some(last) = looks.next() else {
        let now_s = samples.last().map_or(f64::NEG_INFINITY, |sample| sample.time.0);
        let present = found.last().filter(|stretch| now_s - stretch.to_s < 0.2);
        return Mounting::Stand { lasted_s: present.map_or(0.0, Stretch::lasted_s) };
    };
    let is_over = |look: &Mounting| matches!(look, Mounting::Seen(_) | Mounting::NotUpright);
    if is_over(&last) { last } else { looks.find(is_over).unwrap_or(last) }
}

/// What came after a stretch in which it stood.
fn look_after(stood: &Stretch, samples: &[Sample], profile: &Profile) -> Mounting {
    let Some(up_s) = stood.accel_s_mps2.try_normalize(1.0) else { return Mounting::Stand { lasted_s: 0.0 } };
    let first = samples.partition_point(|sample| sample.time.0 <= stood.to_s);
    let rolling = Rolling { samples: samples.get(first..).unwrap_or_default(), bias_s: stood.gyro_s_radps };
    let by_gravity = rolling.axis(-up_s).unwrap_or((-up_s, [0.0; 2]));
    let is_enough = by_gravity.1.iter().all(|&rolled| rolled >= LEAST_ROLL_RAD);
    // Rolled about another axis than gravity said: which one is told by the rate alone.
    let by_rate = if is_enough { None } else { rolling.main(-up_s).and_then(|main_s| rolling.axis(main_s)) };
    let (near_s, rolled_rad) = by_rate.unwrap_or(by_gravity);
    if rolled_rad.iter().any(|&rolled| rolled < LEAST_ROLL_RAD) {
        return Mounting::Roll { rolled_rad };
    }
    let Some((axis_s, by_wobble_rad)) = rolling.refined(near_s) else { return Mounting::Roll { rolled_rad } };
    let found = MountFound::of(axis_s, by_wobble_rad, -up_s, rolled_rad, profile);
    if found.apart_rad > NOT_UPRIGHT_RAD { Mounting::NotUpright } else { Mounting::Seen(found) }
}

/// From one sample to the next, s; nothing across a gap.
fn step_s(before: &Sample, now: &Sample) -> f64 {
    let step_s = now.time.seconds_since(before.time);
    if step_s < 0.1 { step_s } else { 0.0 }
}

/// What came after the bat stood.
struct Rolling<'a> {
    samples: &'a [Sample],
    bias_s: Vector3<f64>,
}

impl Rolling<'_> {
    /// The axis near `nominal_s` by the rates along it, and how far it was rolled each way, rad.
    fn axis(&self, nominal_s: Vector3<f64>) -> Option<(Vector3<f64>, [f64; 2])> {
        let mut axis_s = nominal_s;
        let mut rolled_rad = [0.0; 2];
        for across in ACROSS {
            let mut sum = Matrix3::zeros();
            rolled_rad = [0.0; 2];
            for pair in self.samples.windows(2) {
                let [before, now] = pair else { continue };
                let omega = now.gyro_s_radps - self.bias_s;
                let along = omega.dot(&axis_s);
                if along.abs() < ROLLING_RADPS || (omega - axis_s * along).norm() > across * along.abs() + 0.8 {
                    continue;
                }
                let dt_s = step_s(before, now);
                sum += omega * omega.transpose() * dt_s;
                rolled_rad[usize::from(along < 0.0)] += along.abs() * dt_s;
            }
            let (found_s, _) = principal(sum)?;
            axis_s = if found_s.dot(&axis_s) < 0.0 { -found_s } else { found_s };
        }
        Some((axis_s, rolled_rad))
    }

    /// The line along which most of what turned quickly turned, if it is one line, on gravity's side.
    fn main(&self, nominal_s: Vector3<f64>) -> Option<Vector3<f64>> {
        let mut sum = Matrix3::zeros();
        for sample in self.samples {
            let omega = sample.gyro_s_radps - self.bias_s;
            if omega.norm() > ROLLING_RADPS {
                sum += omega * omega.transpose();
            }
        }
        let (axis_s, share) = principal(sum)?;
        (share > ONE_LINE).then(|| if axis_s.dot(&nominal_s) < 0.0 { -axis_s } else { axis_s })
    }

    /// The axis by the slopes of all rolls against one near it, and 1 σ by the wobble, rad.
    fn refined(&self, near_s: Vector3<f64>) -> Option<(Vector3<f64>, f64)> {
        let to_b = onto_z(&near_s);
        let mut watch = RollWatch::default();
        let mut rolls: Vec<Roll> = Vec::new();
        for pair in self.samples.windows(2) {
            let [before, now] = pair else { continue };
            let omega_b = to_b * (now.gyro_s_radps - self.bias_s);
            rolls.extend(watch.push(now.time.0, step_s(before, now), omega_b, now.gyro_s_radps, now.accel_s_mps2));
        }
        let SensorTime(last_s) = self.samples.last()?.time;
        let nothing = Vector3::zeros();
        rolls.extend(watch.push(last_s + 1.0, 0.0, nothing, nothing, nothing));
        let weight: f64 = rolls.iter().map(|roll| roll.sigma.powi(-2)).sum();
        let slope: Vector2<f64> = rolls.iter().map(|roll| roll.slope_b * roll.sigma.powi(-2)).sum();
        let slope = slope / weight;
        let is_found = weight > 0.0 && weight.is_finite();
        is_found.then(|| (to_b.inverse() * Vector3::new(slope.x, slope.y, 1.0).normalize(), weight.powf(-0.5)))
    }
}

impl MountFound {
    fn of(
        axis_s: Vector3<f64>,
        by_wobble_rad: f64,
        by_gravity_s: Vector3<f64>,
        rolled_rad: [f64; 2],
        profile: &Profile,
    ) -> Self {
        let Profile { sensor, mount, .. } = profile;
        let axis_b = mount.q_bs * axis_s;
        let tilt_sigma_rad =
            by_wobble_rad.hypot(across_sigma(&axis_s, sensor.gyro_scale_error, sensor.misalignment_rad));
        Self {
            q_bs: onto_z(&axis_b) * mount.q_bs,
            axis_s,
            tilt_sigma_rad,
            from_nominal_rad: axis_b.angle(&Vector3::z()),
            apart_rad: axis_s.angle(&by_gravity_s),
            apart_sigma_rad: gravity_sigma_rad(&by_gravity_s, sensor).hypot(tilt_sigma_rad),
            rolled_rad,
        }
    }
}

/// 1 σ of the axis that gravity tells, rad: by eye, and by the accelerometer's bias, scale and misalignment.
fn gravity_sigma_rad(axis_s: &Vector3<f64>, sensor: &SensorProfile) -> f64 {
    let by_bias = sensor.accel_bias_mps2 / crate::engine::geometry::G_MPS2;
    BY_EYE_RAD.hypot(by_bias).hypot(across_sigma(axis_s, sensor.accel_scale_error, sensor.misalignment_rad))
}

/// The least rotation that takes a direction to z; half a turn about x for −z.
fn onto_z(from: &Vector3<f64>) -> UnitQuaternion<f64> {
    UnitQuaternion::rotation_between(from, &Vector3::z())
        .unwrap_or_else(|| UnitQuaternion::from_axis_angle(&Vector3::x_axis(), PI))
}
