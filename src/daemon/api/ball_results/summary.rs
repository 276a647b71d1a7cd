//! What other devices measured of an athlete's balls, by side.

use super::super::Api;
use super::super::extract::{Id, Params};
use super::super::instant::Instant;
use super::super::problem::Result;
use super::super::words::Side;
use crate::ball::measured::Tally;
use crate::daemon::record::measured_balls::{FromSide, measured_balls};
use crate::daemon::store::queries::athletes;
use crate::daemon::store::queries::ball_results::MeasuredOf;
use axum::Json;
use axum::extract::State;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// Which balls.
#[derive(Clone, Copy, Debug, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct BallSummaryParams {
    /// Only of swings with this bat.
    bat: Option<Uuid>,
    /// Measured at this instant or later.
    #[param(value_type = Option<String>, format = DateTime)]
    from: Option<Instant>,
    /// Measured before this instant.
    #[param(value_type = Option<String>, format = DateTime)]
    to: Option<Instant>,
}

/// What other devices measured of an athlete's balls.
#[derive(Serialize, ToSchema)]
pub struct BallSummary {
    /// Whose.
    athlete_id: Uuid,
    /// Always true: nothing here is computed from a swing.
    is_measured: bool,
    /// Right before left, those of no known side last; a side without a ball is not there.
    sides: Vec<BallSummarySide>,
}

/// The balls from one side.
#[derive(Serialize, ToSchema)]
pub struct BallSummarySide {
    /// The side; null: not said, or the ball has no swing.
    #[schema(required)]
    side: Option<Side>,
    /// Balls of swings marked as excluded; they are in no other number.
    excluded: usize,
    /// Exit speed, m/s.
    exit_speed_mps: BallTally,
    /// Carry, m.
    carry_m: BallTally,
    /// Launch angle above the horizontal, degrees; none is the best.
    launch_angle_deg: BallTally,
}

/// One number over the balls that have it, each as good as the other.
#[derive(Serialize, ToSchema)]
pub struct BallTally {
    /// How many balls have it; of none there is nothing else to say.
    count: usize,
    /// Greatest.
    #[schema(required)]
    best: Option<f64>,
    /// Middle one, or the mean of the two in the middle.
    #[schema(required)]
    median: Option<f64>,
    /// Standard deviation (divided by count − 1), from two on.
    #[schema(required)]
    standard_deviation: Option<f64>,
}

/// Summarise an athlete's measured balls
///
/// What other devices measured, by side: best, median and spread. A ball that several devices measured is counted as often.
#[utoipa::path(
    get, path = "/v1/athletes/{id}/ball-summary", tag = "ball_results", params(("id" = Uuid, Path), BallSummaryParams),
    responses((status = 200, body = BallSummary))
)]
pub async fn summary(
    State(api): State<Api>,
    Id(id): Id<Uuid>,
    Params(BallSummaryParams { bat, from, to }): Params<BallSummaryParams>,
) -> Result<Json<BallSummary>> {
    let of = MeasuredOf { athlete: id, bat, from: from.map(Into::into), to: to.map(Into::into) };
    let mut reading = api.store.read().await?;
    athletes::get(&mut reading, id).await?;
    let sides = measured_balls(&mut reading, &of).await?;
    let sides = sides.iter().map(BallSummarySide::of).collect();
    Ok(Json(BallSummary { athlete_id: id, is_measured: true, sides }))
}

impl BallSummarySide {
    fn of(from: &FromSide) -> Self {
        Self {
            side: from.side.map(Into::into),
            excluded: from.excluded,
            exit_speed_mps: BallTally::of(from.tallies.exit_speed_mps),
            carry_m: BallTally::of(from.tallies.carry_m),
            launch_angle_deg: BallTally::of(from.tallies.launch_angle_deg),
        }
    }
}

impl BallTally {
    fn of(tally: Tally) -> Self {
        Self { count: tally.count, best: tally.best, median: tally.median, standard_deviation: tally.spread }
    }
}

#[cfg(test)]
mod tests;
