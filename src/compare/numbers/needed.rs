//! About how many more swings, on how many more days, until it can be told.

use super::Needed;
use super::cells::Cells;
use super::reml::Fit;
use crate::compare::design::{ASSUMED_DAY_SHARE, Design};
use crate::compare::student::Student;

/// More days than this are not looked for: half a year of weekly lessons (common practice, no source).
pub const MOST_DAYS: u32 = 26;
/// An answer is to come with this probability.
const POWER: f64 = 0.8;
/// As many days as [`ASSUMED_DAY_SHARE`] weighs: with few days an estimate of none is no proof of none.
const ASSUMED_DAYS: f64 = 2.0;
/// A day to come has as many swings as the mean of so many last ones.
const LAST_DAYS: usize = 3;

/// What is expected of days to come.
struct Plan {
    /// Of the items there are: variance from swings and days, by mean.
    weights: [f64; 2],
    items: usize,
    means: usize,
    /// Variance of an item to come.
    variance: f64,
}

/// Days and swings that `now` would need until, with 80 % probability, both would be told: a change of just the amount
/// as changed, and none as not changed; at 5 % shared by the family as in Holm's first step. `None` where no number up
/// to [`MOST_DAYS`] would do, or nothing is known of the spread. `amount` is in units of the cells.
pub fn needed(cells: &Cells, fit: &Fit, amount: f64, family: usize) -> Option<Needed> {
    let a_day = swings_a_day(cells)?;
    let plan = Plan::new(cells, fit, a_day)?;
    let level = 0.05 / family.max(1) as f64;
    let is_enough = |days: u32| plan.tells(days, amount, level);
    if !is_enough(MOST_DAYS) {
        return None;
    }
    let (mut too_few, mut enough) = (0, MOST_DAYS);
    while enough - too_few > 1 {
        let middle = u32::midpoint(too_few, enough);
        if is_enough(middle) { enough = middle } else { too_few = middle }
    }
    Some(Needed { swings: enough.saturating_mul(a_day), days: enough })
}

/// Of the later group of late, or of the earlier one if the later one has none.
fn swings_a_day(cells: &Cells) -> Option<u32> {
    let counts = |now: bool| cells.cells.iter().rev().filter(move |cell| cell.now == now).map(|cell| cell.swings.len());
    let group = counts(true).next().is_some();
    let last: Vec<usize> = counts(group).take(LAST_DAYS).collect();
    let mean = last.iter().sum::<usize>() as f64 / last.len() as f64;
    (mean >= 1.0).then_some(mean.round() as u32)
}

impl Plan {
    /// Variances by the model, that of days drawn toward the assumed one as if [`ASSUMED_DAYS`] days had shown it.
    fn new(cells: &Cells, fit: &Fit, a_day: u32) -> Option<Self> {
        let swings = cells.cells.iter().map(|cell| cell.swings.len()).sum::<usize>();
        let measured: f64 = cells.cells.iter().flat_map(|cell| &cell.swings).map(|[_, variance]| variance).sum();
        let of_swing = fit.of_swings + measured / swings.max(1) as f64;
        let freedom = fit.freedom() as f64;
        let assumed = ASSUMED_DAY_SHARE.powi(2) * of_swing;
        let of_days = (freedom * fit.of_days + ASSUMED_DAYS * assumed) / (freedom + ASSUMED_DAYS);
        let mut weights = [0.0; 2];
        for item in &fit.items {
            weights[item.mean.min(1)] += 1.0 / (item.variance + of_days);
        }
        let (means, sides) = match fit.design {
            Design::Apart => (2, 1.0),
            Design::Shared => (1, 2.0),
        };
        let is_known = cells.within().is_some() || freedom >= 1.0;
        let variance = sides * of_swing / f64::from(a_day) + of_days;
        is_known.then_some(Self { weights, items: fit.items.len(), means, variance })
    }

    fn tells(&self, days: u32, amount: f64, level: f64) -> bool {
        let Some(student) = Student::new((self.items + days as usize) as f64 - self.means as f64) else { return false };
        let of_now = self.weights[1] + f64::from(days) / self.variance;
        let of_then = if self.means == 2 { 1.0 / self.weights[0] } else { 0.0 };
        let away = amount / (of_then + 1.0 / of_now).sqrt();
        let changed = || student.above_when(student.quantile(1.0 - 0.5 * level), away);
        let same = || 2.0 * student.above_when(student.quantile(1.0 - level), away) - 1.0;
        same() >= POWER && changed() >= POWER
    }
}
