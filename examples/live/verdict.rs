//! A figure beside what it must be.

use super::machine::load_average;

/// Whether everything that must hold does.
#[derive(Debug, Default)]
pub struct Verdicts {
    missed: usize,
}

impl Verdicts {
    /// Prints a figure that must not be above `most`.
    pub fn at_most(&mut self, what: &str, value: f64, most: f64, unit: &str) {
        self.must(what, value <= most, &format!("{} {unit}", shown(value)), &format!("≤ {} {unit}", shown(most)));
    }

    /// Prints a figure that must not be below `least`.
    pub fn at_least(&mut self, what: &str, value: f64, least: f64, unit: &str) {
        self.must(what, value >= least, &format!("{} {unit}", shown(value)), &format!("≥ {} {unit}", shown(least)));
    }

    /// Whether none was missed.
    pub fn all_hold(&self) -> bool {
        self.missed == 0
    }

    fn must(&mut self, what: &str, holds: bool, is: &str, expected: &str) {
        self.missed += usize::from(!holds);
        let verdict = if holds { "ok" } else { "MISSED" };
        println!("  {what:58} {is:>12}   must be {expected:12} {verdict:6}  (load {})", load_average());
    }
}

/// Values in order, for quantiles.
#[derive(Debug, Default)]
pub struct Sorted(Vec<f64>);

impl Sorted {
    /// Of finite values.
    pub fn new(mut values: Vec<f64>) -> Self {
        values.sort_by(f64::total_cmp);
        Self(values)
    }

    /// The value that a share of all does not exceed (nearest rank); NaN of none, which holds no limit.
    pub fn quantile(&self, share: f64) -> f64 {
        let rank = (share * self.0.len() as f64).ceil() as usize;
        self.0.get(rank.saturating_sub(1)).copied().unwrap_or(f64::NAN)
    }

    /// How many, and some of them.
    pub fn print(&self, what: &str, unit: &str) {
        let at = |share| shown(self.quantile(share));
        let (least, half, most, all) = (at(0.0), at(0.5), at(0.99), at(1.0));
        println!("  {what:58} n {:5}  least {least}  p50 {half}  p99 {most}  worst {all} {unit}", self.0.len());
    }
}

fn shown(value: f64) -> String {
    let digits = if value == value.round() || value.abs() >= 100.0 { 0 } else { 3 };
    format!("{value:.digits$}")
}
