//! From motion to swings.
//!
//! [`finder`] finds fast turns and blows in the stream, [`onset`] the instant of a blow, [`delay`] what the sensor's
//! chain does to time, [`window`] lays the signals about contact on an even grid; [`bat_motion`] is the bat's
//! motion from them, [`measure`] the numbers, [`changes`] what errors change in them, and so their σ.

pub mod bat_motion;
pub mod changes;
pub mod delay;
pub mod finder;
pub mod measure;
pub mod onset;
pub mod window;

use crate::engine::metrics::{Estimate, Flag, Metric};
use crate::engine::sample::SensorTime;
use nalgebra::Vector3;

/// What the bat met.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Contact {
    /// A ball.
    Ball,
    /// Nothing: contact is the instant of the sweet spot's peak speed.
    None,
}

/// One swing as measured.
#[derive(Clone, Debug, PartialEq)]
pub struct Swing {
    /// Its start t_0, on the sensor's clock; where the known motion begins if no start was found in it.
    pub start: SensorTime,
    /// Its contact t_c, on the sensor's clock.
    pub contact: SensorTime,
    /// 1 σ of the contact's time, s.
    pub contact_sigma_s: f64,
    /// What it met.
    pub contact_kind: Contact,
    /// A value with its σ for each of [`Metric::ALL`], or nothing.
    pub metrics: [Option<Estimate>; Metric::COUNT],
    /// What makes it poorer than usual, sorted, each once.
    pub flags: Vec<Flag>,
    /// How it went.
    pub curves: Curves,
}

/// Curves of one swing, one value a time, in W with x along the sweet spot's horizontal heading at contact.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Curves {
    /// Seconds from contact, increasing; the last is 0 for a swing that met a ball.
    pub times_s: Vec<f64>,
    /// Speed of the sweet spot, m/s.
    pub bat_speed_mps: Vec<f64>,
    /// Speed of the hands point, m/s.
    pub hand_speed_mps: Vec<f64>,
    /// Angular rate across the bat's axis, rad/s.
    pub turn_rate_radps: Vec<f64>,
    /// Path of the sweet spot, m, from the sweet spot at contact.
    pub sweet_spot_w_m: Vec<Vector3<f64>>,
    /// Path of the hands point, m, from the sweet spot at contact.
    pub hands_w_m: Vec<Vector3<f64>>,
}
