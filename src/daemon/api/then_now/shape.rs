//! Comparisons as they leave: numbers in the unit that the metric's key ends in, and a sentence for people.

use super::super::instant::Instant;
use super::super::swings::words::MetricWord;
use super::over_months::{OverMonthsOut, TrendOut, VariedOut};
use crate::compare::alike::{Alike, Cause};
use crate::compare::conditions::Mismatch;
use crate::compare::numbers::{Answer, Compared, Difference, Group, Needed};
use crate::daemon::record::over_months::OverMonths;
use crate::daemon::record::then_now::{Chosen, ThenNow};
use crate::engine::metrics::Metric;
use crate::report::change;
use crate::report::words::{Units, label};
use serde::Serialize;
use utoipa::ToSchema;
use uuid::Uuid;

/// What is to be known of how it was found.
const METHOD: &str = "Now minus then, by a mixed model in which swings of one day are alike (REML). The 95 % interval is each \
    metric's own. `changed` is said where the difference from none, and `not_changed` where two one-sided tests against \
    the amount that matters, hold at 5 % over all metrics that are looked at together (Holm). The swings' own σ is part of \
    the error.";

/// Two groups of swings side by side.
#[derive(Serialize, ToSchema)]
pub struct Comparison {
    /// The earlier group.
    then: GroupOut,
    /// The later group.
    now: GroupOut,
    /// Conditions that were not the same; where there is one, a difference may be its doing.
    mismatches: Vec<MismatchOut>,
    /// A metric each, in the order in which they are reported.
    numbers: Vec<ComparedOut>,
    /// How the same metrics went over months, where both groups are of one athlete; null otherwise.
    #[schema(required)]
    over_months: Option<OverMonthsOut>,
    /// How it was found.
    method: &'static str,
}

/// A group of swings.
#[derive(Clone, Serialize, ToSchema)]
#[schema(as = ComparisonGroup)]
pub struct GroupOut {
    /// How many count.
    swings: usize,
    /// On how many days, as they are counted at the service's machine.
    days: usize,
    /// How many do not count.
    left_out: LeftOut,
    /// The first contact of those that count.
    #[schema(required)]
    from: Option<Instant>,
    /// The last one.
    #[schema(required)]
    to: Option<Instant>,
}

/// Swings that were selected and do not count.
#[derive(Clone, Serialize, ToSchema)]
pub struct LeftOut {
    /// They have a flag, and nobody marked them as kept.
    flagged: usize,
    /// They are marked as excluded.
    excluded: usize,
    /// `true`: there are older ones still, beyond the 5000 that are looked at.
    older: bool,
}

/// A condition that differs between the groups, or within one.
#[derive(Serialize, ToSchema)]
#[schema(as = Mismatch)]
pub struct MismatchOut {
    /// `athlete`, `bat`, `drill`, `ball_source` or `side`.
    condition: &'static str,
    /// What it was in the earlier group, the most frequent first.
    then: Vec<ConditionOut>,
    /// What it was in the later one.
    now: Vec<ConditionOut>,
    /// Both in words: "then with Ash 33, now with Maple 32".
    words: String,
}

/// What a condition was, and for how many swings.
#[derive(Serialize, ToSchema)]
#[schema(as = ConditionOfSwings)]
pub struct ConditionOut {
    /// As people call it; null: not said.
    #[schema(required)]
    value: Option<String>,
    /// For how many swings.
    swings: usize,
}

/// A metric of two groups, in its own unit.
#[derive(Serialize, ToSchema)]
#[schema(as = ComparedMetric)]
pub struct ComparedOut {
    /// Which.
    #[schema(inline)]
    metric: MetricWord,
    /// What people call it.
    label: &'static str,
    /// The sign of its unit.
    unit: &'static str,
    /// Of the earlier group.
    then: MetricOfGroup,
    /// Of the later one.
    now: MetricOfGroup,
    /// Now minus then; null where nothing can be said.
    #[schema(required)]
    difference: Option<DifferenceOut>,
    /// The least change that matters.
    amount: f64,
    /// Has it changed?
    #[schema(inline)]
    answer: AnswerWord,
    /// About how much more it takes to tell; null: it is told, or it takes more than half a year of weekly lessons.
    #[schema(required)]
    needed: Option<NeededOut>,
    /// All of it in words: "Bat speed at contact: changed, 1.9 mph faster (95 %: 0.8 to 3.0)".
    words: String,
}

/// Has it changed?
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum AnswerWord {
    /// It has.
    Changed,
    /// Not by more than the amount that matters.
    NotChanged,
    /// It cannot be told from these swings.
    CannotTell,
}

/// A metric of one group, in its own unit.
#[derive(Serialize, ToSchema)]
pub struct MetricOfGroup {
    /// How many swings have it,
    swings: usize,
    /// on how many days.
    days: usize,
    /// Mean.
    #[schema(required)]
    mean: Option<f64>,
    /// Standard deviation from swing to swing of one day.
    #[schema(required)]
    swing_spread: Option<f64>,
    /// Standard deviation of the days' means about the group's.
    #[schema(required)]
    day_spread: Option<f64>,
    /// Root mean square of the swings' own σ.
    #[schema(required)]
    sigma: Option<f64>,
}

/// Now minus then.
#[derive(Serialize, ToSchema)]
#[schema(as = Difference)]
pub struct DifferenceOut {
    /// The estimate.
    value: f64,
    /// Its standard error.
    standard_error: f64,
    /// Degrees of freedom.
    degrees_of_freedom: f64,
    /// The 95 % interval of this metric alone: from
    low: f64,
    /// to.
    high: f64,
    /// Two-sided p of no difference, for this metric alone.
    p: f64,
    /// The same after Holm.
    p_holm: f64,
    /// The greater p of two one-sided tests against ± the amount that matters.
    p_same: f64,
    /// The same after Holm.
    p_same_holm: f64,
}

/// More swings on more days.
#[derive(Serialize, ToSchema)]
#[schema(as = Needed)]
pub struct NeededOut {
    /// In all,
    swings: u32,
    /// on so many more days.
    days: u32,
}

impl Comparison {
    /// As it leaves, with words in these units.
    pub fn of(found: &ThenNow, over_months: Option<OverMonthsOut>, units: Units) -> Self {
        Self {
            then: GroupOut::of(&found.then),
            now: GroupOut::of(&found.now),
            mismatches: found.mismatches.iter().map(MismatchOut::of).collect(),
            numbers: found.numbers.iter().map(|compared| ComparedOut::of(compared, units)).collect(),
            over_months,
            method: METHOD,
        }
    }
}

impl GroupOut {
    /// As it leaves.
    pub fn of(chosen: &Chosen) -> Self {
        let at = |found: Option<&crate::daemon::store::queries::swings_read::FoundSwing>| {
            found.map(|found| Instant::from(found.swing.contact_utc))
        };
        Self {
            swings: chosen.swings.len(),
            days: chosen.days,
            left_out: LeftOut { flagged: chosen.flagged, excluded: chosen.excluded, older: chosen.is_cut },
            from: at(chosen.swings.first()),
            to: at(chosen.swings.last()),
        }
    }
}

impl MismatchOut {
    /// As it leaves.
    pub fn of(mismatch: &Mismatch) -> Self {
        Self {
            condition: change::condition_key(mismatch.condition),
            then: conditions(&mismatch.then),
            now: conditions(&mismatch.now),
            words: change::mismatch(mismatch),
        }
    }
}

/// What a condition was and how often, as it leaves.
pub fn conditions(values: &[(Option<String>, usize)]) -> Vec<ConditionOut> {
    values.iter().map(|(value, swings)| ConditionOut { value: value.clone(), swings: *swings }).collect()
}

impl ComparedOut {
    fn of(compared: &Compared, units: Units) -> Self {
        let (answer, needed) = match compared.answer {
            Answer::Changed => (AnswerWord::Changed, None),
            Answer::NotChanged => (AnswerWord::NotChanged, None),
            Answer::CannotTell { needed } => (AnswerWord::CannotTell, needed),
        };
        Self {
            metric: MetricWord(compared.metric),
            label: label(compared.metric),
            unit: Units::Metric.of(compared.metric).sign,
            then: MetricOfGroup::of(compared.then),
            now: MetricOfGroup::of(compared.now),
            difference: compared.difference.map(DifferenceOut::of),
            amount: compared.amount,
            answer,
            needed: needed.map(|Needed { swings, days }| NeededOut { swings, days }),
            words: change::sentence(compared, units),
        }
    }
}

impl MetricOfGroup {
    fn of(Group { swings, days, mean, swing_spread, day_spread, sigma }: Group) -> Self {
        Self { swings, days, mean, swing_spread, day_spread, sigma }
    }
}

impl DifferenceOut {
    fn of(difference: Difference) -> Self {
        let Difference { value, standard_error, degrees_of_freedom, low, high, p, p_holm, p_same, p_same_holm } =
            difference;
        Self { value, standard_error, degrees_of_freedom, low, high, p, p_holm, p_same, p_same_holm }
    }
}

/// How alike an athlete's swings are.
#[derive(Serialize, ToSchema)]
#[schema(as = AlikeSwings)]
pub struct AlikeOut {
    /// Whose.
    athlete_id: Uuid,
    /// Which swings.
    group: GroupOut,
    /// Conditions that were not the same over these days; where there is one, a trend may be its doing.
    varied: Vec<VariedOut>,
    /// A metric each, in the order in which they are reported.
    metrics: Vec<AlikeMetric>,
}

/// How alike swings are in one metric, in its own unit. What cannot be told of so few is null.
#[derive(Serialize, ToSchema)]
pub struct AlikeMetric {
    /// Which.
    #[schema(inline)]
    metric: MetricWord,
    /// What people call it.
    label: &'static str,
    /// The sign of its unit.
    unit: &'static str,
    /// How many swings have it.
    swings: usize,
    /// Standard deviation of swings of one round.
    #[schema(required)]
    within_round: Option<f64>,
    /// Standard deviation of swings of one day.
    #[schema(required)]
    within_day: Option<f64>,
    /// Standard deviation from day to day beyond that.
    #[schema(required)]
    between_days: Option<f64>,
    /// Root mean square of the swings' own σ.
    #[schema(required)]
    sigma: Option<f64>,
    /// Standard deviation of the athlete alone, within a day.
    #[schema(required)]
    athlete: Option<f64>,
    /// Whose the spread within a day is: more than three quarters of its variance the athlete's, the sensor's, or neither.
    #[schema(required, inline)]
    cause: Option<CauseWord>,
    /// How it goes over months; null of fewer than three days.
    #[schema(required)]
    trend: Option<TrendOut>,
}

/// Is it the athlete or the sensor? Told where the 95 % interval of the spread within a day says so.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum CauseWord {
    /// Mostly the athlete.
    Athlete,
    /// Something of both.
    Both,
    /// It may be the sensor alone: a steadier swing might not show.
    Sensor,
}

impl AlikeOut {
    /// As it leaves; over months are all of [`Metric::ALL`].
    pub fn of(athlete_id: Uuid, chosen: &Chosen, alike: &[Alike], over_months: &OverMonths) -> Self {
        let trend =
            |metric: Metric| over_months.trends.iter().find(|(of, _)| *of == metric).and_then(|(_, trend)| *trend);
        let metric = |alike: &Alike| AlikeMetric {
            metric: MetricWord(alike.metric),
            label: label(alike.metric),
            unit: Units::Metric.of(alike.metric).sign,
            swings: alike.swings,
            within_round: alike.within_round,
            within_day: alike.within_day,
            between_days: alike.between_days,
            sigma: alike.sigma,
            athlete: alike.athlete,
            cause: alike.cause.map(|cause| match cause {
                Cause::Athlete => CauseWord::Athlete,
                Cause::Both => CauseWord::Both,
                Cause::Sensor => CauseWord::Sensor,
            }),
            trend: trend(alike.metric).map(TrendOut::of),
        };
        Self {
            athlete_id,
            group: GroupOut::of(chosen),
            varied: VariedOut::all(over_months),
            metrics: alike.iter().map(metric).collect(),
        }
    }
}
