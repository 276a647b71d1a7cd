//! How an athlete's numbers went over months, and what was not the same meanwhile, as it leaves.

use super::super::swings::words::MetricWord;
use super::shape::{ConditionOut, GroupOut, conditions};
use crate::compare::alike::Trend;
use crate::compare::conditions::{Stretch, Varied};
use crate::daemon::local_days;
use crate::daemon::record::over_months::{OverMonths, varied_words};
use crate::daemon::record::then_now::Chosen;
use crate::engine::metrics::Metric;
use crate::report::change;
use crate::report::then_now::trend_words;
use crate::report::words::{Units, label};
use serde::Serialize;
use utoipa::ToSchema;

/// How the numbers went over months: all days with swings of the later group's kind, the day as the unit.
#[derive(Serialize, ToSchema)]
#[schema(as = OverMonths)]
pub struct OverMonthsOut {
    /// Which swings.
    group: GroupOut,
    /// Conditions that were not the same over these days; where there is one, a rise or a fall may be its doing.
    varied: Vec<VariedOut>,
    /// A metric each, in the order in which they are reported.
    trends: Vec<MetricOverMonths>,
}

/// A condition that was not the same over all days.
#[derive(Serialize, ToSchema)]
#[schema(as = VariedCondition)]
pub struct VariedOut {
    /// `bat`, `drill`, `ball_source` or `side`.
    condition: &'static str,
    /// In order of time.
    stretches: Vec<StretchOut>,
    /// All of it in words: "Bat: Oct 1, 2026 to Oct 20, 2026 with Ash 33; Oct 27, 2026 with Maple 32".
    words: String,
}

/// Days one after another on which a condition was the same, or was mixed of the same.
#[derive(Serialize, ToSchema)]
#[schema(as = StretchOfDays)]
pub struct StretchOut {
    /// The first of them, as days are counted at the service's machine.
    #[schema(required, format = Date)]
    from: Option<String>,
    /// The last of them.
    #[schema(required, format = Date)]
    to: Option<String>,
    /// What it was, the most frequent first.
    values: Vec<ConditionOut>,
}

/// How a metric went over months.
#[derive(Serialize, ToSchema)]
pub struct MetricOverMonths {
    /// Which.
    #[schema(inline)]
    metric: MetricWord,
    /// What people call it.
    label: &'static str,
    /// How it went, in its own unit; null of fewer than three days.
    #[schema(required)]
    trend: Option<TrendOut>,
    /// In words: "Bat speed at contact cannot be told to rise or to fall (…)".
    words: String,
}

/// How a metric goes over months, with the day as the unit.
#[derive(Serialize, ToSchema)]
#[schema(as = Trend)]
pub struct TrendOut {
    /// Days with a value.
    days: usize,
    /// Change in 30 days.
    a_month: f64,
    /// Its 95 % interval: from
    low: f64,
    /// to.
    high: f64,
    /// Two-sided p of none,
    p: f64,
    /// and after Holm over the metrics.
    p_holm: f64,
}

impl OverMonthsOut {
    /// As it leaves, with words in these units.
    pub fn of(chosen: &Chosen, found: &OverMonths, units: Units) -> Self {
        let metric = |(metric, trend): &(Metric, Option<Trend>)| MetricOverMonths {
            metric: MetricWord(*metric),
            label: label(*metric),
            trend: trend.map(TrendOut::of),
            words: trend_words(*metric, trend.as_ref(), units),
        };
        Self {
            group: GroupOut::of(chosen),
            varied: VariedOut::all(found),
            trends: found.trends.iter().map(metric).collect(),
        }
    }
}

impl VariedOut {
    /// All of them.
    pub fn all(found: &OverMonths) -> Vec<Self> {
        found.varied.iter().map(Self::of).collect()
    }

    fn of(varied: &Varied) -> Self {
        let stretch = |Stretch { first_day, last_day, values }: &Stretch| {
            let [from, to] = [*first_day, *last_day].map(|day| local_days::numbered(day).map(|date| date.to_string()));
            StretchOut { from, to, values: conditions(values) }
        };
        Self {
            condition: change::condition_key(varied.condition),
            stretches: varied.stretches.iter().map(stretch).collect(),
            words: varied_words(varied),
        }
    }
}

impl TrendOut {
    /// As it leaves.
    pub fn of(Trend { days, a_month, low, high, p, p_holm }: Trend) -> Self {
        Self { days, a_month, low, high, p, p_holm }
    }
}
