//! How an athlete's numbers went over months, and what was not the same meanwhile.

use super::super::local_days;
use super::super::store::StoreError;
use super::super::store::queries::swings_read::SwingFilter;
use super::then_now::{Chosen, choose, conditions, observed};
use crate::compare::alike::{Trend, trends};
use crate::compare::conditions::{Varied, varied};
use crate::engine::metrics::Metric;
use crate::report::change;
use sqlx::AnyConnection;

/// Trends with the day as the unit, and their conditions.
#[derive(Clone, Debug)]
pub struct OverMonths {
    /// How each of the metrics that are looked at together went.
    pub trends: Vec<(Metric, Option<Trend>)>,
    /// What was not the same over all of these days: a rise or a fall may come from it.
    pub varied: Vec<Varied>,
}

impl OverMonths {
    /// Of these swings. It takes a while: not for a thread that must not wait.
    pub fn of(chosen: &Chosen, family: &[Metric]) -> Self {
        let found: Vec<_> = chosen.swings.iter().map(|found| (observed(found).day, conditions(found))).collect();
        Self {
            trends: family.iter().copied().zip(trends(&chosen.observed(), family)).collect(),
            varied: varied(&found),
        }
    }

    /// What was not the same, each in words.
    pub fn varied_words(&self) -> Vec<String> {
        self.varied.iter().map(varied_words).collect()
    }
}

/// "Bat: Oct 1, 2026 to Oct 20, 2026 with Ash 33; Oct 27, 2026 with Maple 32".
pub fn varied_words(varied: &Varied) -> String {
    format!("{}: {}", change::condition(varied.condition), change::varied(varied, &local_days::numbered_text))
}

/// The swings of all days, lessons, rounds and recordings that are of this group's kind otherwise.
///
/// # Errors
/// If they cannot be read.
pub async fn of_all_days(connection: &mut AnyConnection, group: &SwingFilter) -> Result<Chosen, StoreError> {
    let all = SwingFilter { from: None, to: None, lesson: None, round: None, recording: None, ..group.clone() };
    choose(connection, &all).await
}
