//! Speeds and paths of two groups.
//!
//! Each swing is laid on even places before contact ([`sampled`]); [`line`] gives mean and spread of a group, [`difference`]
//! the days' mean curves against each other with the band of a [`random_field`], [`paths`] mean paths and the swing nearest
//! the middle. The method, with its sources and what was measured of it, is in proto-docs/comparison-curves.md.

mod difference;
mod line;
mod paths;
mod random_field;
mod sampled;
#[cfg(test)]
mod tests;

use crate::engine::swing::Curves;
use nalgebra::Vector3;
use sampled::{DISTANCE_STEP_M, Sampled, TIME_STEP_S};

/// A swing's curves with the day it was made on, as in [`Observed`](super::Observed).
#[derive(Clone, Debug, PartialEq)]
pub struct Drawn {
    /// The day.
    pub day: i64,
    /// From start to contact, s; `None`: not known.
    pub time_to_contact_s: Option<f64>,
    /// The curves.
    pub curves: Curves,
}

/// Curves of two groups.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ComparedCurves {
    /// Barrel speed (sweet spot), m/s, against time from contact, s (negative before).
    pub speed_by_time: ComparedLine,
    /// Barrel speed, m/s, against the length of the sweet spot's path still to go to contact, m (negative before).
    pub speed_by_distance: ComparedLine,
    /// The part of the barrel's speed that the bat's turning makes, m/s, against time from contact, s: the component of
    /// ω × r along the sweet spot's velocity.
    pub by_rotation: ComparedLine,
    /// The part that the hands' motion makes: the component of the hands point's velocity along the sweet spot's.
    pub by_hands: ComparedLine,
    /// The earlier group's mean path.
    pub then_path: MeanPath,
    /// The later one's.
    pub now_path: MeanPath,
    /// Place, in the list given, of the earlier group's swing nearest the middle of all; `None` of an empty group.
    pub then_typical: Option<usize>,
    /// Of the later group's.
    pub now_typical: Option<usize>,
}

/// A line of each group on the same places: as far back as three quarters of the swings of each group go, and of the swings
/// that have all of them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ComparedLine {
    /// Where: increasing, the last is 0 (contact).
    pub places: Vec<f64>,
    /// Earlier.
    pub then: MeanBand,
    /// Later.
    pub now: MeanBand,
    /// Now minus then, of the days' means; `None` with too few days.
    pub difference: Option<DifferenceBand>,
}

/// Mean and spread, a value a place.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MeanBand {
    /// Swings,
    pub swings: usize,
    /// on as many days.
    pub days: usize,
    /// Mean; empty of no swings.
    pub mean: Vec<f64>,
    /// The middle 80 % of the swings: from here
    pub low: Vec<f64>,
    /// to here.
    pub high: Vec<f64>,
}

/// A difference with its simultaneous 95 % band: it holds the true curve as a whole, not only place by place.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DifferenceBand {
    /// Now minus then, a value a place.
    pub mean: Vec<f64>,
    /// Half the band's width, a value a place.
    pub half_width: Vec<f64>,
    /// Stretches of places in which the band excludes zero, from and to, with the p of such a stretch.
    pub differs: Vec<Stretch>,
    /// Degrees of freedom, and how smooth the curves are: full width at half maximum, in places.
    pub degrees_of_freedom: f64,
    /// As said.
    pub smoothness: f64,
}

/// Part of a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// From this place
    pub from: f64,
    /// to this one.
    pub to: f64,
    /// Probability of a stretch at least as wide outside of the band, anywhere, if nothing differed.
    pub p: f64,
}

/// A group's mean path on even times before contact, m, from the sweet spot at contact.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MeanPath {
    /// Seconds from contact.
    pub times_s: Vec<f64>,
    /// Sweet spot.
    pub sweet_spot_w_m: Vec<Vector3<f64>>,
    /// Hands point.
    pub hands_w_m: Vec<Vector3<f64>>,
    /// Standard deviation of the swings' sweet spots about the mean in height, m, a value a time; empty of one swing.
    pub height_spread_m: Vec<f64>,
    /// The same to the left of the heading at contact, m; empty of one swing.
    pub aside_spread_m: Vec<f64>,
}

/// Compares two groups.
pub fn compare(then: &[Drawn], now: &[Drawn]) -> ComparedCurves {
    let [then, now] = [then, now].map(|group| group.iter().map(Sampled::of).collect::<Vec<_>>());
    let groups = [then.as_slice(), now.as_slice()];
    ComparedCurves {
        speed_by_time: line::compared(groups, |swing| &swing.speed_mps, TIME_STEP_S),
        speed_by_distance: line::compared(groups, |swing| &swing.speed_by_distance_mps, DISTANCE_STEP_M),
        by_rotation: line::compared(groups, |swing| &swing.by_rotation_mps, TIME_STEP_S),
        by_hands: line::compared(groups, |swing| &swing.by_hands_mps, TIME_STEP_S),
        then_path: paths::mean_path(&then),
        now_path: paths::mean_path(&now),
        then_typical: paths::typical(&then),
        now_typical: paths::typical(&now),
    }
}
