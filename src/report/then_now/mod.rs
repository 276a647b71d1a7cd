//! A comparison as pages and the report show it: answers first, then numbers, in the reader's units. The sentences are those of
//! [`change`](super::change).
//!
//! [`Told`] is one metric; [`groups`] says what is compared; [`alike`](alike_words) and
//! [`trend_words`] how alike swings are and how a metric went; [`Balls`] what was measured
//! of balls. The pages and the report say the same words.

mod alike;
mod answer;
mod balls;
mod groups;
#[cfg(test)]
mod tests;

pub use alike::{AlikeTold, alike_words, trend_words};
pub use answer::{GroupTold, Told, p_words};
pub use balls::Balls;
pub use groups::{Heard, groups, left_out};

use super::words::{Units, rounded};
use crate::engine::metrics::Metric;

/// A value of a metric with its unit: "2.1 mph", "3.0°".
pub fn with_unit(metric: Metric, value: f64, decimals: usize, units: Units) -> String {
    let unit = units.of(metric);
    let space = if unit.sign.starts_with('°') { "" } else { " " };
    format!("{}{space}{}", rounded(value * unit.factor, decimals), unit.sign)
}

/// A number that people set themselves, without zeros at the end that say nothing: at most two decimals.
pub fn plainly(value: f64) -> String {
    let text = rounded(value, 2);
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// "1 swing", "2 swings".
pub fn count(count: usize, one: &str) -> String {
    format!("{count} {one}{}", if count == 1 { "" } else { "s" })
}
