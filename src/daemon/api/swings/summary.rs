//! An athlete's metrics, lesson by lesson.

use super::super::Api;
use super::super::extract::Id;
use super::super::instant::Instant;
use super::super::problem::{Problem, Result};
use super::super::words::{Occasion, Side};
use super::query::{read as read_query, split};
use super::words::MetricWord;
use crate::daemon::store::queries::athletes;
use crate::daemon::store::queries::swings_read::summary::{Group, SummaryOf, by_lesson};
use crate::engine::metrics::Metric;
use axum::Json;
use axum::extract::{FromRequestParts, State};
use axum::http::request::Parts;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// Of which swings and metrics.
#[derive(Clone, Debug, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct SummaryParams {
    /// Only this metric; may be given several times. All where nothing is said.
    #[serde(skip)]
    #[param(value_type = Option<Vec<MetricWord>>, inline, style = Form, explode)]
    metric: Vec<Metric>,
    /// Only from this side.
    #[param(inline)]
    side: Option<Side>,
    /// Only with this bat.
    bat: Option<Uuid>,
    /// Contact was at this instant or later.
    #[param(value_type = Option<String>, format = DateTime)]
    from: Option<Instant>,
    /// Contact was before this instant.
    #[param(value_type = Option<String>, format = DateTime)]
    to: Option<Instant>,
    /// A group a lesson, which is what is done where nothing is said.
    #[expect(dead_code, reason = "its only word asks for what is done anyway; another one is refused")]
    #[param(inline)]
    by: Option<ByWord>,
}

/// What makes a group.
#[derive(Clone, Copy, Debug, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ByWord {
    /// A lesson or practice.
    Lesson,
}

impl<S: Send + Sync> FromRequestParts<S> for SummaryParams {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self> {
        let (metrics, others) = split(parts.uri.query().unwrap_or_default(), &["metric"]);
        let metrics: Vec<(String, MetricWord)> = read_query(&metrics)?;
        let mut params: Self = read_query(&others)?;
        params.metric = metrics.into_iter().map(|(_, metric)| metric.0).collect();
        Ok(params)
    }
}

/// An athlete's metrics, lesson by lesson.
#[derive(Serialize, ToSchema)]
pub struct Summary {
    /// Whose.
    athlete_id: Uuid,
    /// In the order in which the lessons began; swings outside of lessons come last.
    groups: Vec<GroupOut>,
}

/// The swings of one lesson from one side.
#[derive(Serialize, ToSchema)]
#[schema(as = SummaryGroup)]
pub struct GroupOut {
    /// The lesson or practice; null: swings outside of any.
    #[schema(required)]
    lesson_id: Option<Uuid>,
    /// When it began; for swings outside of any, the first contact.
    begun: Instant,
    /// Which of the two it is.
    #[schema(required)]
    occasion: Option<Occasion>,
    /// The side; null: not said.
    #[schema(required)]
    side: Option<Side>,
    /// How many swings are counted: all that are not marked as excluded. The metrics are over these.
    counted: u32,
    /// How many of these have a flag.
    flagged: u32,
    /// How many are marked as excluded; they are in no other number.
    excluded: u32,
    /// By the metric's key.
    metrics: BTreeMap<&'static str, Statistics>,
}

/// A metric over the counted swings that have it, each as good as the other. In the metric's unit.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Statistics {
    /// How many swings have it; of none there is nothing else to say.
    pub count: usize,
    /// Mean.
    #[schema(required)]
    pub mean: Option<f64>,
    /// Standard deviation of the swings about it (divided by count − 1), from two on.
    #[schema(required)]
    pub standard_deviation: Option<f64>,
    /// Least.
    #[schema(required)]
    pub min: Option<f64>,
    /// Greatest.
    #[schema(required)]
    pub max: Option<f64>,
    /// Middle one, or the mean of the two in the middle.
    #[schema(required)]
    pub median: Option<f64>,
}

/// Summarise an athlete's metrics
///
/// For every lesson or practice and side: how many swings, and of each metric count, mean, spread, extremes and median.
#[utoipa::path(
    get, path = "/v1/athletes/{id}/summary", tag = "swings", params(("id" = Uuid, Path), SummaryParams),
    responses((status = 200, body = Summary))
)]
pub async fn summary(State(api): State<Api>, Id(id): Id<Uuid>, params: SummaryParams) -> Result<Json<Summary>> {
    let SummaryParams { metric, side, bat, from, to, .. } = params;
    let mut metrics = if metric.is_empty() { Metric::ALL.to_vec() } else { metric };
    metrics.sort();
    metrics.dedup();
    let (from, to) = (from.map(Into::into), to.map(Into::into));
    let of = SummaryOf { athlete: id, side: side.map(Into::into), bat, from, to };
    let mut reading = api.store.read().await?;
    athletes::get(&mut reading, id).await?;
    let groups = by_lesson(&mut reading, of, &metrics).await?;
    drop(reading);
    let groups = groups.into_iter().map(|group| GroupOut::of(group, &metrics));
    Ok(Json(Summary { athlete_id: id, groups: groups.collect() }))
}

impl GroupOut {
    fn of(group: Group, metrics: &[Metric]) -> Self {
        let statistics =
            metrics.iter().zip(group.values).map(|(metric, values)| (metric.key(), Statistics::of(values)));
        Self {
            lesson_id: group.lesson.map(|lesson| lesson.id),
            begun: group.lesson.map_or(group.first, |lesson| lesson.begun).into(),
            occasion: group.lesson.map(|lesson| lesson.occasion.into()),
            side: group.side.map(Into::into),
            counted: group.counted,
            flagged: group.flagged,
            excluded: group.excluded,
            metrics: statistics.collect(),
        }
    }
}

impl Statistics {
    /// Of these values, in any order.
    pub fn of(mut values: Vec<f64>) -> Self {
        values.sort_by(f64::total_cmp);
        let count = values.len();
        let mean = (count > 0).then(|| values.iter().sum::<f64>() / count as f64);
        let squares = |mean: f64| values.iter().map(|value| (value - mean).powi(2)).sum::<f64>();
        let spread = mean.filter(|_| count > 1).map(|mean| (squares(mean) / (count - 1) as f64).sqrt());
        let middle = |k: usize| values.get(k).copied();
        let median =
            middle(count / 2).zip(middle(count.saturating_sub(1) / 2)).map(|(one, other)| f64::midpoint(one, other));
        Self {
            count,
            mean,
            standard_deviation: spread,
            min: values.first().copied(),
            max: values.last().copied(),
            median,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn statistics_are_those_of_the_textbook() {
        // 2, 4, 4, 4, 5, 5, 7, 9: mean 5, sum of squares about it 32.
        let known = Statistics::of(vec![9.0, 2.0, 4.0, 5.0, 4.0, 7.0, 5.0, 4.0]);
        assert_eq!((known.count, known.mean, known.median), (8, Some(5.0), Some(4.5)));
        assert_eq!((known.min, known.max), (Some(2.0), Some(9.0)));
        assert!((known.standard_deviation.unwrap() - (32.0f64 / 7.0).sqrt()).abs() < 1e-12);
        let one = Statistics::of(vec![3.0]);
        assert_eq!((one.mean, one.median, one.standard_deviation), (Some(3.0), Some(3.0), None));
        assert_eq!(Statistics::of(vec![1.0, 8.0, 2.0]).median, Some(2.0));
        let none = Statistics::of(Vec::new());
        assert_eq!((none.count, none.mean, none.median, none.min), (0, None, None, None));
    }
}
