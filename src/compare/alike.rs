//! How alike swings are, and how a metric went over months.

use super::Observed;
use crate::engine::metrics::Metric;

/// Spreads of a metric, in its unit, over rounds and days.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Alike {
    /// Which.
    pub metric: Metric,
    /// Swings that have it.
    pub swings: usize,
    /// Standard deviation of swings of the same round, pooled; `None` where no round has two.
    pub within_round: Option<f64>,
    /// Standard deviation of swings of the same day, pooled.
    pub within_day: Option<f64>,
    /// Standard deviation from day to day beyond that (variance component, not below 0); `None` of fewer than two days.
    pub between_days: Option<f64>,
    /// Root mean square of the swings' σ.
    pub sigma: Option<f64>,
    /// Standard deviation of the athlete alone: √(within_day² − sigma²), 0 where the sensor explains all of it.
    pub athlete: Option<f64>,
    /// Whose spread it is.
    pub cause: Option<Cause>,
}

/// Is it the athlete or the sensor?
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// More than three quarters of the variance within a day are not the sensor's.
    Athlete,
    /// Something of both.
    Both,
    /// More than three quarters are the sensor's: a steadier swing would not show.
    Sensor,
}

/// How a metric goes over months, the day as the unit; `None` of fewer than three days.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trend {
    /// Days with a value.
    pub days: usize,
    /// Change a month of 30 days, in the metric's unit,
    pub a_month: f64,
    /// its 95 % interval, from
    pub low: f64,
    /// to,
    pub high: f64,
    /// and two-sided p of none.
    pub p: f64,
}

/// For each metric, in the order of [`Metric::ALL`].
pub fn alike(swings: &[Observed]) -> Vec<Alike> {
    let of = |metric: Metric| Alike {
        metric,
        swings: swings.iter().filter(|swing| swing.metrics[metric.index()].is_some()).count(),
        within_round: None,
        within_day: None,
        between_days: None,
        sigma: None,
        athlete: None,
        cause: None,
    };
    Metric::ALL.map(of).to_vec()
}

/// Of one metric; `day` counts days here.
pub fn trend(swings: &[Observed], metric: Metric) -> Option<Trend> {
    let _ = (swings, metric);
    None
}
