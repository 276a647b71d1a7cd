//! The values of one metric, by group and day.

use super::Group;
use crate::compare::days::Scatter;
use crate::compare::{MOST, Observed};
use crate::engine::metrics::Metric;
use std::collections::BTreeMap;

/// Swings of one group on one day.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Cell {
    /// In the later group.
    pub now: bool,
    /// The day.
    pub day: i64,
    /// Value and σ² of each.
    pub swings: Vec<[f64; 2]>,
}

/// Cells of both groups in units of their own: (value − centre) / scale, so that sums and tolerances are of the order
/// of one.
#[derive(Clone, Debug, PartialEq)]
pub struct Cells {
    /// The earlier group's by day, then the later one's.
    pub cells: Vec<Cell>,
    /// Mean of all values, in the metric's unit.
    pub centre: f64,
    /// Their standard deviation about it, in the metric's unit; 1 if there is none.
    pub scale: f64,
}

impl Cells {
    /// Sorted and scaled; of the swings that have a usable value.
    pub fn new(then: &[Observed], now: &[Observed], metric: Metric) -> Self {
        let mut sorted: BTreeMap<(bool, i64), Vec<[f64; 2]>> = BTreeMap::new();
        let marked = then.iter().map(|swing| (false, swing)).chain(now.iter().map(|swing| (true, swing)));
        for (is_now, swing) in marked {
            if let Some(usable) = swing.usable(metric) {
                sorted.entry((is_now, swing.day)).or_default().push([usable.value, usable.sigma]);
            }
        }
        let cells: Vec<Cell> = sorted.into_iter().map(|((now, day), swings)| Cell { now, day, swings }).collect();
        Self::scaled(cells)
    }

    fn scaled(mut cells: Vec<Cell>) -> Self {
        let values = || cells.iter().flat_map(|cell| &cell.swings).map(|[value, _]| *value);
        let count = values().count().max(1) as f64;
        let centre = values().sum::<f64>() / count;
        let spread = (values().map(|value| (value - centre).powi(2)).sum::<f64>() / count).sqrt();
        let has_spread = spread > 1e-12 * centre.abs() && spread > 1e-100;
        let scale = if has_spread { spread } else { 1.0 };
        for [value, sigma] in cells.iter_mut().flat_map(|cell| &mut cell.swings) {
            *value = if has_spread { (*value - centre) / scale } else { 0.0 };
            *sigma = (*sigma / scale).min(MOST).powi(2);
        }
        Self { cells, centre, scale }
    }

    /// What is said of one group, but for its mean.
    pub fn group(&self, now: bool) -> Group {
        let cells: Vec<&Cell> = self.cells.iter().filter(|cell| cell.now == now).collect();
        let swings: usize = cells.iter().map(|cell| cell.swings.len()).sum();
        let in_unit = |variance: f64| variance.max(0.0).sqrt() * self.scale;
        let means: Vec<f64> = cells.iter().map(|cell| cell.mean()).collect();
        let variances = cells.iter().flat_map(|cell| cell.swings.iter().map(|[_, variance]| variance));
        Group {
            swings,
            days: cells.len(),
            mean: None,
            swing_spread: cells.iter().map(|cell| cell.scatter()).sum::<Scatter>().variance().map(in_unit),
            day_spread: Scatter::of(means.iter().copied()).variance().map(in_unit),
            sigma: (swings > 0).then(|| in_unit(variances.sum::<f64>() / swings as f64)),
        }
    }

    /// Variance from swing to swing of one day in both groups, the sensor's part with it; `None` where no day has two.
    pub fn within(&self) -> Option<f64> {
        self.cells.iter().map(Cell::scatter).sum::<Scatter>().variance()
    }

    /// Day, whether of the later group, and swings of each.
    pub fn counts(&self) -> impl Iterator<Item = (i64, bool, usize)> {
        self.cells.iter().map(|cell| (cell.day, cell.now, cell.swings.len()))
    }
}

impl Cell {
    fn values(&self) -> impl Iterator<Item = f64> + Clone {
        self.swings.iter().map(|[value, _]| *value)
    }

    fn mean(&self) -> f64 {
        self.values().sum::<f64>() / self.swings.len().max(1) as f64
    }

    fn scatter(&self) -> Scatter {
        Scatter::of(self.values())
    }
}
