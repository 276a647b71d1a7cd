//! Two selections of swings set side by side, and how alike an athlete's swings are.
//!
//! [`query`] says which swings, [`usual`] which where nobody says, [`report`] is all of it as one file,
//! [`shape`] and [`lines`] how what is found leaves. What is found is made by
//! [`record::then_now`](crate::daemon::record::then_now) and [`compare`](crate::compare).

mod lines;
mod over_months;
pub mod query;
pub mod report;
mod shape;
#[cfg(test)]
mod tests;
pub mod usual;

use super::Api;
use super::extract::Id;
use super::problem::{Kind, Problem, Result};
use crate::compare::alike;
use crate::daemon::access::OfAthletes;
use crate::daemon::record::over_months::{OverMonths, of_all_days};
use crate::daemon::record::then_now::{self, ThenNow};
use crate::daemon::store::Reading;
use crate::daemon::store::queries::athletes;
use crate::daemon::store::queries::swings_read::Whose;
use crate::engine::metrics::Metric;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use axum::{Extension, Json};
use lines::ComparisonCurves;
use over_months::OverMonthsOut;
use query::{OneQuery, ThenNowQuery};
use shape::{AlikeOut, Comparison};
use std::collections::BTreeSet;
use uuid::Uuid;

/// Compare two groups of swings
///
/// Parameters as of lists of swings hold for both groups, with `then_` before them for the earlier one alone and with `now_`
/// for the later one alone, where they go before those for both. Swings with a flag that are not marked as kept, and swings
/// that are marked as excluded, are left out and counted. A swing in both groups is refused. Of more than 5000 swings of a
/// group the newest are looked at. Where both groups are of one athlete, it is said as well how the metrics went over months, and
/// which conditions were not the same meanwhile.
#[utoipa::path(
    get, path = "/v1/comparison", operation_id = "read", tag = "comparison", params(ThenNowQuery),
    responses((status = 200, body = Comparison))
)]
pub async fn comparison(State(api): State<Api>, query: ThenNowQuery) -> Result<Response> {
    let mut reading = api.store.read().await?;
    let found = compared(&mut reading, &query, false).await?;
    let mut of = found.athletes();
    let over_months = match of_one(&query) {
        Some(athlete) => {
            of.insert(athlete);
            Some(over_months(&mut reading, &query).await?)
        }
        None => None,
    };
    Ok(about(of, Json(Comparison::of(&found, over_months, query.units))))
}

/// Compare the speeds and paths of two groups of swings
///
/// Parameters and what is left out as of the comparison of numbers. Of more than 1000 swings of a group the newest are drawn.
/// `typical` is the swing of each group that is nearest the middle of all.
#[utoipa::path(
    get, path = "/v1/comparison/curves", operation_id = "curves", tag = "comparison", params(ThenNowQuery),
    responses((status = 200, body = ComparisonCurves))
)]
pub async fn curves(State(api): State<Api>, query: ThenNowQuery) -> Result<Response> {
    let found = compared(&mut api.store.read().await?, &query, true).await?;
    let of = found.athletes();
    Ok(about(of, Json(ComparisonCurves::of(&found))))
}

/// Read how alike an athlete's swings are
///
/// For each metric how far swings of one round, of one day and of different days spread, whether that is the athlete or the
/// sensor, and how it goes over months; and which conditions were not the same on all of these days. What is left out is as in a
/// comparison.
#[utoipa::path(
    get, path = "/v1/athletes/{id}/alike", operation_id = "alike", tag = "comparison",
    params(("id" = Uuid, Path), OneQuery), responses((status = 200, body = AlikeOut))
)]
pub async fn alike(State(api): State<Api>, Id(id): Id<Uuid>, OneQuery(mut filter): OneQuery) -> Result<Json<AlikeOut>> {
    filter.whose = Some(Whose::Athlete(id));
    let mut reading = api.store.read().await?;
    athletes::get(&mut reading, id).await?;
    let chosen = then_now::choose(&mut reading, &filter).await?;
    drop(reading);
    let computing = tokio::task::spawn_blocking(move || {
        let over_months = OverMonths::of(&chosen, &Metric::ALL);
        AlikeOut::of(id, &chosen, &alike::alike(&chosen.observed()), &over_months)
    });
    Ok(Json(computing.await.map_err(|error| Problem::new(Kind::Internal, error.to_string()))?))
}

/// The one athlete whose swings both groups are of, if there is one.
fn of_one(query: &ThenNowQuery) -> Option<Uuid> {
    let [then, now] = &query.filters;
    match now.whose {
        Some(Whose::Athlete(id)) if then.whose == now.whose => Some(id),
        _ => None,
    }
}

/// How the metrics went over all days with swings of the later group's kind.
async fn over_months(reading: &mut Reading, query: &ThenNowQuery) -> Result<OverMonthsOut> {
    let [_, now] = &query.filters;
    let chosen = of_all_days(reading, now).await?;
    let (family, units) = (query.metrics.clone(), query.units);
    let computing = move || OverMonthsOut::of(&chosen, &OverMonths::of(&chosen, &family), units);
    let computed = tokio::task::spawn_blocking(computing).await;
    computed.map_err(|error| Problem::new(Kind::Internal, error.to_string()))
}

async fn compared(reading: &mut Reading, query: &ThenNowQuery, with_curves: bool) -> Result<ThenNow> {
    let question = then_now::question(reading, query.metrics.clone()).await?;
    let [then, now] = &query.filters;
    let found = then_now::then_now(reading, [then, now], &question, with_curves).await?;
    refuse_shared(&found)?;
    Ok(found)
}

/// # Errors
/// If a swing is in both groups.
pub fn refuse_shared(found: &ThenNow) -> Result<()> {
    match found.in_both() {
        0 => Ok(()),
        1 => Err(Problem::new(Kind::Invalid, "a swing is in both groups; expected groups without a swing in common")),
        count => {
            let words = format!("{count} swings are in both groups; expected groups without a swing in common");
            Err(Problem::new(Kind::Invalid, words))
        }
    }
}

fn about(athletes: BTreeSet<Uuid>, answer: impl IntoResponse) -> Response {
    (Extension(OfAthletes(athletes)), answer).into_response()
}
