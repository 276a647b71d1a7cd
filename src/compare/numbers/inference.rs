//! From a fitted model to what can be said of the difference, for any effect of the days.
//!
//! With a handful of days the days' variance is hardly known, and an interval that trusts its estimate is too short.
//! For a *given* ratio of days' to swings' variance the weights are known, and the difference over its standard error
//! from the days' own scatter (J. Hartung & G. Knapp, *Stat. Med.* 20, 2001, 3875: the weighted mean square q of the
//! items about their means, times the variance by the model) has exactly Student's distribution with as many degrees of
//! freedom as there are days less means. So p is the *greatest* and the interval the *widest* over all ratios from none
//! to without bound: whatever the true one is, 5 % stay 5 %. Where each day has as many equally sure swings, the ratio
//! falls out, and it is the t test on means of days (on their differences for shared days), which for such data is also
//! REML with a days' variance that may be negative and degrees of freedom by containment.

use super::reml::{Fit, Means};
use crate::compare::days;
use crate::compare::student::Student;

/// What can be said of a difference, in the units of the cells.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Inference {
    /// By REML.
    pub value: f64,
    /// By REML; where it sees nothing that days add, times √q, as their variance may be below what swings explain.
    pub standard_error: f64,
    /// Days less means.
    pub freedom: f64,
    /// 95 % interval.
    pub interval: [f64; 2],
    /// Two-sided p of none.
    pub p: f64,
    /// Of a difference as great as the amount, either way.
    pub p_same: f64,
}

impl Inference {
    /// `None` without a day to spare, or if only one mean is there of two. `amount` is in units of the cells.
    pub fn new(fit: &Fit, amount: f64) -> Option<Self> {
        let freedom = fit.freedom() as f64;
        let student = Student::new(freedom)?;
        let by_model = Means::new(&fit.items, fit.of_days);
        let value = by_model.difference();
        let q = by_model.squares / freedom;
        let standard_error = (by_model.variance() * if fit.of_days > 0.0 { 1.0 } else { q }).sqrt();
        let reach = student.quantile(0.975);
        let (mut interval, mut apart, mut inside, mut signs) =
            ([value, value], f64::INFINITY, f64::INFINITY, [false; 2]);
        for of_days in variances(fit) {
            let means = Means::new(&fit.items, of_days);
            let (difference, error) = (means.difference(), (means.variance() * means.squares / freedom).sqrt());
            interval = [interval[0].min(difference - reach * error), interval[1].max(difference + reach * error)];
            apart = apart.min(ratio(difference.abs(), error));
            inside = inside.min(ratio(amount - difference.abs(), error));
            signs = [signs[0] || difference < 0.0, signs[1] || difference > 0.0];
        }
        // Somewhere between a negative and a positive difference there is none.
        let apart = if signs == [true; 2] { 0.0 } else { apart };
        Some(Self {
            value,
            standard_error,
            freedom,
            interval,
            p: student.two_sided(apart),
            p_same: student.above(inside),
        })
    }
}

/// What days may add to an item's variance, in steps, with what REML found among them.
fn variances(fit: &Fit) -> impl Iterator<Item = f64> {
    let typical = fit.items.iter().map(|item| item.variance).sum::<f64>() / fit.items.len().max(1) as f64;
    std::iter::once(fit.of_days).chain(days::variances(typical))
}

/// In standard errors; nothing of nothing is nothing, and so is what is no number.
fn ratio(part: f64, error: f64) -> f64 {
    let ratio = if part == 0.0 { 0.0 } else { part / error };
    if ratio.is_nan() { 0.0 } else { ratio }
}
