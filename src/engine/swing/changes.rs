//! What errors change in a swing's numbers, and what spread that gives them.

use super::bat_motion::Probe;
use crate::engine::metrics::{Metric, Values};
use crate::engine::motion::state::{ATTITUDE, Covariance, ErrorVector, NavState, PARAMETERS, SIZE, VELOCITY};

/// What one error of 1 σ (or, divided by it, of one unit) does.
#[derive(Clone, Debug)]
pub struct Column {
    metrics: [f64; Metric::COUNT],
    contact_s: f64,
}

impl Column {
    /// The shift of the peak that the error brings is a shift of contact.
    pub fn new(metrics: [f64; Metric::COUNT], by_contact: &[f64; Metric::COUNT], contact_s: f64) -> Self {
        Self { metrics: std::array::from_fn(|m| metrics[m] + by_contact[m] * contact_s), contact_s }
    }

    fn over(self, sigma: f64) -> Self {
        Self { metrics: self.metrics.map(|x| x / sigma), contact_s: self.contact_s / sigma }
    }
}

/// Variances so far.
pub struct Spread {
    /// Of each metric, in its unit squared.
    pub metrics: [f64; Metric::COUNT],
    /// Of the instant of contact, s².
    pub contact_s2: f64,
}

impl Spread {
    fn add_pair(&mut self, a: &Column, b: &Column, covariance: f64) {
        for ((sum, a), b) in self.metrics.iter_mut().zip(a.metrics).zip(b.metrics) {
            *sum += a * b * covariance;
        }
        self.contact_s2 += a.contact_s * b.contact_s * covariance;
    }
}

/// What errors change in a swing's numbers.
#[derive(Clone, Debug)]
pub struct Changes {
    /// Places of the error state, each with what one unit of it changes.
    pub by_state: Vec<(usize, Column)>,
    /// What independent errors of 1 σ change.
    pub others: Vec<Column>,
    /// What a second by which contact is later changes.
    pub by_contact: [f64; Metric::COUNT],
}

impl Changes {
    /// J·P·Jᵀ and the independent errors.
    pub fn spread(&self, covariance: &Covariance) -> Spread {
        let mut spread = Spread { metrics: [0.0; Metric::COUNT], contact_s2: 0.0 };
        for (a, column_a) in &self.by_state {
            for (b, column_b) in &self.by_state {
                spread.add_pair(column_a, column_b, covariance[(*a, *b)]);
            }
        }
        for column in &self.others {
            spread.add_pair(column, column, 1.0);
        }
        spread
    }
}

/// J by differences of 1 σ. Heading, position and what a rest referred to change no metric.
pub fn by_state(
    state: &NavState,
    covariance: &Covariance,
    mut moved: impl FnMut(&Probe) -> Column,
) -> Vec<(usize, Column)> {
    (ATTITUDE..ATTITUDE + 2)
        .chain(VELOCITY..VELOCITY + 3)
        .chain(PARAMETERS..SIZE)
        .map(|place| (place, covariance[(place, place)].max(0.0).sqrt()))
        .filter(|(_, sigma)| *sigma > 1e-10)
        .map(|(place, sigma)| {
            let mut error = ErrorVector::zeros();
            error[place] = sigma;
            (place, moved(&Probe::of(&state.corrected(&error))).over(sigma))
        })
        .collect()
}

/// Metrics that change when the start jumps from one rule to the other.
const BY_START: [Metric; 6] = [
    Metric::PeakBatSpeed,
    Metric::PeakLead,
    Metric::HandSpeed,
    Metric::TimeToContact,
    Metric::TurnRate,
    Metric::PathLength,
];

/// How each metric changes; nothing where the start's rule changed, as that is no small change.
pub fn difference(from: &Values, to: &Values) -> [f64; Metric::COUNT] {
    let jumps = from.start_rule != to.start_rule;
    Metric::ALL.map(|metric| match (from.of(metric), to.of(metric)) {
        (Some(a), Some(b)) if !(jumps && BY_START.contains(&metric)) => b - a,
        _ => 0.0,
    })
}

#[cfg(test)]
mod tests;
