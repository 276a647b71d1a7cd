//! Charts of one swing against earlier ones, and of lessons over months: each as SVG and as a table of the same numbers.

use super::View;
use crate::engine::metrics::Metric;
use crate::engine::swing::Curves;
use crate::report::words::Units;
use maud::{Markup, html};

/// A chart in both forms.
#[derive(Clone, Debug)]
pub struct Chart {
    /// For eyes. Without `style` elements or attributes: [`RULES`](super::RULES) are its style.
    pub svg: Markup,
    /// The numbers in it as a `table` with a caption, for whoever reads text.
    pub as_text: Markup,
}

/// A swing to be drawn.
#[derive(Clone, Copy, Debug)]
pub struct Drawn<'a> {
    /// Its curves.
    pub curves: &'a Curves,
    /// Its start, s from contact; negative.
    pub start_s: f64,
}

/// How earlier swings went: at each time the middle of them and the range that holds the middle 80 % of them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Band {
    /// Of how many swings.
    pub swings: usize,
    /// Seconds from contact.
    pub times_s: Vec<f64>,
    /// Of the sweet spot's speed, m/s.
    pub bat_speed_mps: Ranges,
    /// Of the hands', m/s.
    pub hand_speed_mps: Ranges,
}

/// A tenth, the half and nine tenths of the swings are below these, one a time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Ranges {
    /// The 10th percentile.
    pub low: Vec<f64>,
    /// The median.
    pub middle: Vec<f64>,
    /// The 90th percentile.
    pub high: Vec<f64>,
}

impl Band {
    /// Of these swings, on even times; `None` of fewer than three.
    pub fn of(curves: &[&Curves]) -> Option<Self> {
        (curves.len() >= 3).then(|| Self { swings: curves.len(), ..Self::default() })
    }
}

/// The pitch: how steeply it comes down at the plate, degrees below the horizontal. Seen from above it comes along the swing's
/// heading at contact.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pitch {
    /// Downward positive.
    pub descent_deg: f64,
}

/// Where on the bat's own path contact would still be square: from and to, s from contact.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Square {
    /// Negative.
    pub from_s: f64,
    /// Positive; beyond the end of the curves of a swing that met a ball.
    pub to_s: f64,
}

/// Speed of sweet spot and hands against time before contact, over how it was then.
pub fn speed(now: Option<Drawn>, then: Option<&Band>, units: Units) -> Chart {
    let _ = (now, then, units);
    Chart { svg: html! {}, as_text: html! {} }
}

/// Path of sweet spot and hands, with the pitch's line, contact, and where the timing window begins and ends.
pub fn path(now: Drawn, view: View, pitch: Option<Pitch>, square: Option<Square>, units: Units) -> Chart {
    let _ = (now, view, pitch, square, units);
    Chart { svg: html! {}, as_text: html! {} }
}

/// One lesson's swings from one side, in a trend.
#[derive(Clone, Debug, PartialEq)]
pub struct TrendPoint {
    /// When the lesson was: days since 1970, for the place.
    pub day: f64,
    /// The same in words, as it is written.
    pub when: String,
    /// The values of its counted swings, in the metric's own unit.
    pub values: Vec<f64>,
}

/// A line of a trend: its name (a side) and its lessons in order of time.
#[derive(Clone, Debug, PartialEq)]
pub struct TrendLine {
    /// What it is called.
    pub name: String,
    /// Its points.
    pub points: Vec<TrendPoint>,
}

/// A metric over months: each lesson's mean with the spread of its swings (1 s.d. either way), a line a side.
pub fn trend(metric: Metric, lines: &[TrendLine], units: Units) -> Chart {
    let _ = (metric, lines, units);
    Chart { svg: html! {}, as_text: html! {} }
}
