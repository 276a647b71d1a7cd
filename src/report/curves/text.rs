//! Curves as text: JSON for programs, CSV for tables. Both hold what is stored, to the digit.

use super::{Channel, StoredCurves};
use serde::Serialize;
use std::fmt::Write;

/// Curves as JSON. The time of point k is `first_s + k · step_s`; paths are lists of `[x, y, z]`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CurvesJson {
    /// The first point's time, seconds from contact.
    pub first_s: f64,
    /// From a point to the next, s.
    pub step_s: f64,
    /// The point at contact, counted from 0.
    pub contact: usize,
    /// Speed of the sweet spot, m/s.
    pub bat_speed_mps: Vec<f64>,
    /// Speed of the hands point, m/s.
    pub hand_speed_mps: Vec<f64>,
    /// Angular rate across the bat's axis, rad/s.
    pub turn_rate_radps: Vec<f64>,
    /// Path of the sweet spot from where it is at contact, m: x along its horizontal heading there, y to the left, z up.
    pub sweet_spot_w_m: Vec<[f64; 3]>,
    /// Path of the hands point, from the same place along the same axes, m.
    pub hands_w_m: Vec<[f64; 3]>,
}

impl From<&StoredCurves> for CurvesJson {
    fn from(curves: &StoredCurves) -> Self {
        let values = |channel| curves.values(channel).collect();
        let path = |x, y, z| {
            let xy = curves.values(x).zip(curves.values(y));
            xy.zip(curves.values(z)).map(|((x, y), z)| [x, y, z]).collect()
        };
        Self {
            first_s: curves.first_s(),
            step_s: curves.step_s(),
            contact: curves.contact(),
            bat_speed_mps: values(Channel::BatSpeed),
            hand_speed_mps: values(Channel::HandSpeed),
            turn_rate_radps: values(Channel::TurnRate),
            sweet_spot_w_m: path(Channel::SweetSpotX, Channel::SweetSpotY, Channel::SweetSpotZ),
            hands_w_m: path(Channel::HandsX, Channel::HandsY, Channel::HandsZ),
        }
    }
}

/// Curves as CSV (RFC 4180): one header line, `t_s` from contact and the keys of [`Channel::ALL`], then a row a point.
pub fn to_csv(curves: &StoredCurves) -> String {
    let mut out = "t_s".to_owned();
    for channel in Channel::ALL {
        out += ",";
        out += channel.key();
    }
    out += "\r\n";
    let mut columns = Channel::ALL.map(|channel| curves.values(channel));
    for time_s in curves.times_s() {
        // Writing to a string does not fail.
        let _ = write!(out, "{time_s}");
        for value in columns.iter_mut().filter_map(Iterator::next) {
            let _ = write!(out, ",{value}");
        }
        out += "\r\n";
    }
    out
}
