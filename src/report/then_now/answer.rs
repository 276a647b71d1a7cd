//! One metric: has it changed?

use super::super::change;
use super::super::words::{Unit, Units, label, rounded, with_unit};
use crate::compare::numbers::{Answer, Compared, Difference, Group};
use crate::engine::metrics::Metric;

/// A metric of two groups in words; numbers are in `unit`, without it.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// Which.
    pub metric: Metric,
    /// What it is called.
    pub label: &'static str,
    /// The unit of all numbers here.
    pub unit: &'static str,
    /// `changed`, `same` or `unsure`: for styles.
    pub kind: &'static str,
    /// The answer: "Changed, 1.9 mph faster (95 %: 0.8 to 3.0)".
    pub answer: String,
    /// By how much, whatever the answer: "1.9 mph faster (95 %: 0.8 to 3.0)".
    pub difference_words: Option<String>,
    /// Now minus then, with its sign.
    pub difference: Option<String>,
    /// Its 95 % interval.
    pub interval: Option<(String, String)>,
    /// The earlier group.
    pub then: GroupTold,
    /// The later one.
    pub now: GroupTold,
    /// The least change that would matter.
    pub amount: String,
    /// How the answer came about: what it is, and the number.
    pub details: Vec<(&'static str, String)>,
}

/// One group's numbers.
#[derive(Clone, Debug, PartialEq)]
pub struct GroupTold {
    /// Swings that have the number,
    pub swings: usize,
    /// on as many days.
    pub days: usize,
    /// Mean.
    pub mean: Option<String>,
    /// Standard deviation from swing to swing of one day,
    pub swing_spread: Option<String>,
    /// of the days' means,
    pub day_spread: Option<String>,
    /// and of the sensor's measuring alone.
    pub sigma: Option<String>,
}

impl Told {
    /// In the reader's units.
    pub fn new(compared: &Compared, units: Units) -> Self {
        let unit = units.of(compared.metric);
        let decimals = change::decimals_of(compared, unit);
        let text = |value: f64| rounded(value * unit.factor, decimals);
        let amount = change::amount_text(compared.metric, compared.amount, units);
        let difference = compared.difference.filter(|difference| difference.value.is_finite());
        Self {
            metric: compared.metric,
            label: label(compared.metric),
            unit: unit.sign,
            kind: kind(compared.answer),
            answer: capitalised(&change::answer(compared, units)),
            difference_words: change::difference(compared, units),
            difference: difference.map(|difference| signed(&text(difference.value))),
            interval: difference.map(|difference| (signed(&text(difference.low)), signed(&text(difference.high)))),
            then: group(&compared.then, &text),
            now: group(&compared.now, &text),
            amount,
            details: difference.map(|difference| details(&difference, &text)).unwrap_or_default(),
        }
    }

    /// A number of it with the unit.
    pub fn with_unit(&self, number: &str) -> String {
        with_unit(number, Unit { sign: self.unit, factor: 1.0 })
    }
}

fn kind(answer: Answer) -> &'static str {
    match answer {
        Answer::Changed => "changed",
        Answer::NotChanged => "same",
        Answer::CannotTell { .. } => "unsure",
    }
}

/// A sentence's beginning.
fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn group(group: &Group, text: &dyn Fn(f64) -> String) -> GroupTold {
    GroupTold {
        swings: group.swings,
        days: group.days,
        mean: group.mean.map(text),
        swing_spread: group.swing_spread.map(text),
        day_spread: group.day_spread.map(text),
        sigma: group.sigma.map(text),
    }
}

fn details(difference: &Difference, text: &dyn Fn(f64) -> String) -> Vec<(&'static str, String)> {
    vec![
        ("standard error of the difference", text(difference.standard_error)),
        ("degrees of freedom", rounded(difference.degrees_of_freedom, 1)),
        ("p, if nothing had changed", p_words(difference.p)),
        ("the same, over all numbers asked about", p_words(difference.p_holm)),
        ("p, if it had changed by what matters", p_words(difference.p_same)),
        ("the same, over all numbers asked about", p_words(difference.p_same_holm)),
    ]
}

/// A probability to three decimals.
pub fn p_words(p: f64) -> String {
    if p.is_nan() {
        return "–".into();
    }
    if p < 0.0005 { "< 0.001".into() } else { rounded(p, 3) }
}

/// With a plus where it is positive.
fn signed(text: &str) -> String {
    let is_zero = text.chars().all(|c| c == '0' || c == '.');
    if is_zero || text.starts_with('−') { text.to_owned() } else { format!("+{text}") }
}
