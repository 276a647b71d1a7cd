//! Each metric of two groups: means, spreads, difference, and one of three answers.

use super::Observed;
use crate::engine::metrics::Metric;

/// What is asked of a comparison.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    /// The metrics that are looked at together: the more there are, the more each has to show (Holm). In the order of
    /// [`Metric::ALL`], each once.
    pub family: Vec<Metric>,
    /// What matters.
    pub amounts: Amounts,
}

/// For each metric the least change that would matter, in its own unit; positive. In the order of [`Metric::ALL`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Amounts(pub [f64; Metric::COUNT]);

impl Default for Amounts {
    /// Common practice, no source, but for angles and times of which nothing smaller is worth a lesson. Stated in
    /// proto-docs/comparison.md.
    fn default() -> Self {
        Self(Metric::ALL.map(|metric| match metric {
            Metric::BatSpeed | Metric::PeakBatSpeed => 0.9,
            Metric::HandSpeed | Metric::HandSpeedAtContact => 0.45,
            Metric::PeakLead => 3.0,
            Metric::TimeToContact | Metric::SpeedBuilt => 5.0,
            Metric::AttackAngle | Metric::BatTilt | Metric::PlaneTilt => 3.0,
            Metric::TurnRate => 75.0,
            Metric::RollRate => 150.0,
            Metric::PathLength => 0.1,
            Metric::TimingWindow => 2.0,
        }))
    }
}

/// A metric of two groups.
#[derive(Clone, Debug, PartialEq)]
pub struct Compared {
    /// Which.
    pub metric: Metric,
    /// Of the earlier group.
    pub then: Group,
    /// Of the later one.
    pub now: Group,
    /// Now minus then; `None` where one group has no value, or too few days are known to say anything.
    pub difference: Option<Difference>,
    /// The least change that would matter, in the metric's unit.
    pub amount: f64,
    /// The answer.
    pub answer: Answer,
}

/// One group's values of a metric, in its unit.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Group {
    /// Swings that have it,
    pub swings: usize,
    /// on as many days.
    pub days: usize,
    /// Mean by the model (each day's share by how much it tells); `None` of none.
    pub mean: Option<f64>,
    /// Standard deviation from swing to swing of one day; `None` where no day has two.
    pub swing_spread: Option<f64>,
    /// Standard deviation of the days' means about the group's; `None` of fewer than two days.
    pub day_spread: Option<f64>,
    /// Root mean square of the single swings' σ: how much of the spread is the sensor's.
    pub sigma: Option<f64>,
}

/// Now minus then, in the metric's unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Difference {
    /// The estimate,
    pub value: f64,
    /// its standard error,
    pub standard_error: f64,
    /// and degrees of freedom.
    pub degrees_of_freedom: f64,
    /// 95 % interval of this metric alone.
    pub low: f64,
    /// Its other end.
    pub high: f64,
    /// Two-sided p of no difference, for this metric alone,
    pub p: f64,
    /// and after Holm over the family.
    pub p_holm: f64,
    /// Greater p of two one-sided tests against ± the amount that would matter,
    pub p_same: f64,
    /// and after Holm over the family.
    pub p_same_holm: f64,
}

/// Has it changed?
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Answer {
    /// It has.
    Changed,
    /// Not by more than the amount that would matter.
    NotChanged,
    /// It cannot be told from these swings.
    CannotTell {
        /// About how many more would be needed; `None`: more than anybody swings.
        needed: Option<Needed>,
    },
}

/// More swings, on more days, in each group that is still being swung (now).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Needed {
    /// In all,
    pub swings: u32,
    /// on so many more days.
    pub days: u32,
}

/// Compares two groups: a [`Compared`] for each metric of the family, in its order.
pub fn compare(then: &[Observed], now: &[Observed], question: &Question) -> Vec<Compared> {
    let group = |swings: &[Observed], metric: Metric| {
        let count = swings.iter().filter(|swing| swing.metrics[metric.index()].is_some()).count();
        Group { swings: count, ..Group::default() }
    };
    let of = |&metric: &Metric| Compared {
        metric,
        then: group(then, metric),
        now: group(now, metric),
        difference: None,
        amount: question.amounts.0[metric.index()],
        answer: Answer::CannotTell { needed: None },
    };
    question.family.iter().map(of).collect()
}
