//! Two groups of swings side by side, then and now: has it really changed?
//!
//! [`numbers`] compares metrics and gives one of three answers for each; [`curves`] compares speeds and paths; [`alike`] says
//! how alike swings are and how a metric went over months; [`conditions`] whether the groups can be compared at all. The
//! method, with its sources, is in proto-docs/comparison.md.
//!
//! A *day* is what swings are alike within: an athlete is a little another one every day. It is the unit of everything
//! that is said of two groups; more swings on one day never make up for another day.

pub mod alike;
pub mod conditions;
pub mod curves;
mod days;
mod design;
pub mod numbers;
mod student;

use crate::engine::metrics::{Estimate, Metric};

/// A swing as a comparison sees it.
#[derive(Clone, Debug, PartialEq)]
pub struct Observed {
    /// The day it was made on, by any number that is the same for one day, in both groups; the greater, the later.
    pub day: i64,
    /// The round it belongs to, by any number of its own; `None`: none.
    pub round: Option<u64>,
    /// A value with its σ for each of [`Metric::ALL`], or nothing.
    pub metrics: [Option<Estimate>; Metric::COUNT],
}

/// Beyond this in size a value or a σ is no measurement, and its square could not be reckoned with.
const MOST: f64 = 1e60;

impl Observed {
    /// A metric, if it can be reckoned with: value and σ finite and below [`MOST`], σ not negative.
    fn usable(&self, metric: Metric) -> Option<Estimate> {
        let estimate = self.metrics.get(metric.index()).copied().flatten()?;
        (estimate.value.abs() < MOST && (0.0..MOST).contains(&estimate.sigma)).then_some(estimate)
    }
}
