//! The values of one metric, by group and day.

use super::super::Observed;
use super::Group;
use crate::engine::metrics::Metric;
use std::collections::BTreeMap;

/// Beyond this in size a value or a σ is no measurement, and its square could not be reckoned with.
const MOST: f64 = 1e60;

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
    /// Sorted and scaled. A value or a σ that is not finite, not below [`MOST`] or, of a σ, negative is none.
    pub fn new(then: &[Observed], now: &[Observed], metric: Metric) -> Self {
        let mut sorted: BTreeMap<(bool, i64), Vec<[f64; 2]>> = BTreeMap::new();
        let marked = then.iter().map(|swing| (false, swing)).chain(now.iter().map(|swing| (true, swing)));
        for (is_now, swing) in marked {
            let estimate = swing.metrics.get(metric.index()).copied().flatten();
            if let Some(usable) = estimate.filter(|e| e.value.abs() < MOST && (0.0..MOST).contains(&e.sigma)) {
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
            swing_spread: within(cells.iter().copied()).map(in_unit),
            day_spread: variance(&means).map(in_unit),
            sigma: (swings > 0).then(|| in_unit(variances.sum::<f64>() / swings as f64)),
        }
    }

    /// Variance from swing to swing of one day in both groups, the sensor's part with it; `None` where no day has two.
    pub fn within(&self) -> Option<f64> {
        within(self.cells.iter())
    }
}

impl Cell {
    fn mean(&self) -> f64 {
        self.swings.iter().map(|[value, _]| value).sum::<f64>() / self.swings.len().max(1) as f64
    }
}

/// Pooled variance about the cells' means: sum of squares over swings less cells.
fn within<'a>(cells: impl Iterator<Item = &'a Cell>) -> Option<f64> {
    let (sum, freedom) = cells.fold((0.0, 0), |(sum, freedom), cell| {
        let mean = cell.mean();
        let squares: f64 = cell.swings.iter().map(|[value, _]| (value - mean).powi(2)).sum();
        (sum + squares, freedom + cell.swings.len().saturating_sub(1))
    });
    (freedom > 0).then(|| sum / freedom as f64)
}

/// Variance about the mean; `None` of fewer than two.
fn variance(values: &[f64]) -> Option<f64> {
    let mean = values.iter().sum::<f64>() / values.len().max(1) as f64;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    (values.len() > 1).then(|| squares / (values.len() - 1) as f64)
}
