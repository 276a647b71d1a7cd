//! Each metric of two groups: means, spreads, difference, and one of three answers.

mod cells;
mod holm;
mod inference;
mod minimum;
mod needed;
mod reml;
#[cfg(test)]
mod tests;

use super::Observed;
use super::design::Design;
use crate::engine::metrics::Metric;
use cells::Cells;
pub(super) use holm::holm;
use inference::Inference;
pub use needed::MOST_DAYS;
use needed::needed;
use reml::Fit;

/// At most this share of families without any change has one called changed, and at most this share of those in which
/// all change by the amount that matters has one called not changed.
const LEVEL: f64 = 0.05;

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
    /// Common practice, no source. Speeds are 2 and 1 mph. Stated in proto-docs/comparison.md.
    fn default() -> Self {
        Self(Metric::ALL.map(|metric| match metric {
            Metric::BatSpeed | Metric::PeakBatSpeed => 0.894,
            Metric::HandSpeed | Metric::HandSpeedAtContact => 0.447,
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
    /// Mean by the model (each day's share by how much it tells), of the days that are compared; `None` of none.
    pub mean: Option<f64>,
    /// Standard deviation from swing to swing of one day; `None` where no day has two.
    pub swing_spread: Option<f64>,
    /// Standard deviation of the days' means about the group's; `None` of fewer than two days.
    pub day_spread: Option<f64>,
    /// Root mean square of the single swings' σ: how much of the spread is the sensor's.
    pub sigma: Option<f64>,
}

/// Now minus then, in the metric's unit. Interval and p hold whatever days add (`inference.rs`), so they are wider than
/// value and standard error alone would have them where days are uneven, and the value need not be in the middle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Difference {
    /// The estimate,
    pub value: f64,
    /// its standard error by the model,
    pub standard_error: f64,
    /// and degrees of freedom: days less two, or days of both groups less one.
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
        /// About how many more would be needed; `None`: more than [`MOST_DAYS`] days.
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
    together(question.family.iter().map(|&metric| one(then, now, metric, question)).collect())
}

/// The same metrics looked at together with just these: p after Holm over them, and the answers that follow.
pub fn together(mut compared: Vec<Compared>) -> Vec<Compared> {
    let p = |of: fn(&Difference) -> f64| -> Vec<f64> {
        holm(&compared.iter().map(|one| one.difference.as_ref().map_or(1.0, of)).collect::<Vec<_>>())
    };
    let (changed, same) = (p(|difference| difference.p), p(|difference| difference.p_same));
    for ((one, changed), same) in compared.iter_mut().zip(changed).zip(same) {
        if let Some(difference) = &mut one.difference {
            (difference.p_holm, difference.p_same_holm) = (changed, same);
            one.answer = difference.answer().unwrap_or(one.answer.untold());
        }
    }
    compared
}

impl Answer {
    /// What is needed is kept where it was said.
    fn untold(self) -> Self {
        match self {
            Self::CannotTell { .. } => self,
            Self::Changed | Self::NotChanged => Self::CannotTell { needed: None },
        }
    }
}

impl Difference {
    /// Not changed is looked at first: with very many swings a change that does not matter can be proven too.
    fn answer(&self) -> Option<Answer> {
        if self.p_same_holm <= LEVEL {
            Some(Answer::NotChanged)
        } else if self.p_holm <= LEVEL {
            Some(Answer::Changed)
        } else {
            None
        }
    }
}

/// One metric before Holm; the answer is what holds if neither is shown.
fn one(then: &[Observed], now: &[Observed], metric: Metric, question: &Question) -> Compared {
    let cells = Cells::new(then, now, metric);
    let [mut then, mut now] = [false, true].map(|group| cells.group(group));
    let amount = question.amounts.0.get(metric.index()).copied().unwrap_or(f64::NAN);
    let scaled = amount / cells.scale;
    let fit = Fit::new(&cells, Design::of(cells.counts()));
    for (group, mean) in [&mut then, &mut now].into_iter().zip(fit.group_means()) {
        group.mean = (group.swings > 0).then_some(cells.centre + cells.scale * mean);
    }
    let has_both = then.days > 0 && now.days > 0;
    let inference = Inference::new(&fit, scaled).filter(|_| has_both);
    let difference = inference.map(|inference| inference.in_unit(cells.scale));
    let needed = needed(&cells, &fit, scaled, question.family.len());
    Compared { metric, then, now, difference, amount, answer: Answer::CannotTell { needed } }
}

impl Inference {
    fn in_unit(&self, scale: f64) -> Difference {
        Difference {
            value: self.value * scale,
            standard_error: self.standard_error * scale,
            degrees_of_freedom: self.freedom,
            low: self.interval[0] * scale,
            high: self.interval[1] * scale,
            p: self.p,
            p_holm: 1.0,
            p_same: self.p_same,
            p_same_holm: 1.0,
        }
    }
}
