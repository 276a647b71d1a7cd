//! What other devices measured of an athlete's balls, counted by side.

use super::super::store::StoreError;
use super::super::store::queries::ball_results::{self, MeasuredBall, MeasuredOf};
use super::super::store::rows::Side;
use crate::ball::measured::{Ball, Tallies};
use sqlx::AnyConnection;

/// The balls from one side.
#[derive(Clone, Debug, PartialEq)]
pub struct FromSide {
    /// The side; `None`: not said, or the ball has no swing.
    pub side: Option<Side>,
    /// What was measured.
    pub tallies: Tallies,
    /// Balls of swings that the instructor left out; they are in no number.
    pub excluded: usize,
}

/// Right before left, those of no known side last; a side without a ball is not there.
///
/// # Errors
/// If they cannot be read.
pub async fn measured_balls(connection: &mut AnyConnection, of: &MeasuredOf) -> Result<Vec<FromSide>, StoreError> {
    let balls = ball_results::measured(connection, of).await?;
    let sides = [Some(Side::Right), Some(Side::Left), None];
    Ok(sides.into_iter().filter_map(|side| from_side(&balls, side)).collect())
}

fn from_side(balls: &[MeasuredBall], side: Option<Side>) -> Option<FromSide> {
    let of_side = balls.iter().filter(|ball| ball.side == side);
    let (excluded, counted): (Vec<&MeasuredBall>, Vec<&MeasuredBall>) = of_side.partition(|ball| ball.is_excluded);
    let counted: Vec<Ball> = counted.into_iter().map(|ball| ball.ball).collect();
    let is_any = !(excluded.is_empty() && counted.is_empty());
    is_any.then(|| FromSide { side, tallies: Tallies::of(&counted), excluded: excluded.len() })
}
