//! Two selections of swings set side by side, and how alike an athlete's swings are.
//!
//! [`query`] says which swings, [`usual`] which where nobody says, [`report`] is all of it as one file,
//! [`shape`] and [`lines`] how what is found leaves. What is found is made by
//! [`record::then_now`](crate::daemon::record::then_now) and [`compare`](crate::compare).

mod lines;
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
use crate::daemon::record::then_now::{self, ThenNow};
use crate::daemon::store::queries::athletes;
use crate::daemon::store::queries::swings_read::Whose;
use crate::engine::metrics::Metric;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use axum::{Extension, Json};
use lines::ComparisonCurves;
use query::{OneQuery, ThenNowQuery};
use shape::{AlikeOut, Comparison};
use std::collections::BTreeSet;
use uuid::Uuid;

/// Compare two groups of swings
///
/// Parameters as of lists of swings hold for both groups, with `then_` before them for the earlier one alone and with `now_`
/// for the later one alone, where they go before those for both. Swings with a flag that are not marked as kept, and swings
/// that are marked as excluded, are left out and counted. A swing in both groups is refused. Of more than 5000 swings of a
/// group the newest are looked at.
#[utoipa::path(
    get, path = "/v1/comparison", operation_id = "read", tag = "comparison", params(ThenNowQuery),
    responses((status = 200, body = Comparison))
)]
pub async fn comparison(State(api): State<Api>, query: ThenNowQuery) -> Result<Response> {
    let units = query.units;
    let found = compared(&api, query, false).await?;
    let of = found.athletes();
    Ok(about(of, Json(Comparison::of(&found, units))))
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
    let found = compared(&api, query, true).await?;
    let of = found.athletes();
    Ok(about(of, Json(ComparisonCurves::of(&found))))
}

/// Read how alike an athlete's swings are
///
/// For each metric how far swings of one round, of one day and of different days spread, whether that is the athlete or the
/// sensor, and how it goes over months. What is left out is as in a comparison.
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
        let observed = chosen.observed();
        let trends = alike::trends(&observed, &Metric::ALL);
        AlikeOut::of(id, &chosen, &alike::alike(&observed), &trends)
    });
    Ok(Json(computing.await.map_err(|error| Problem::new(Kind::Internal, error.to_string()))?))
}

async fn compared(api: &Api, query: ThenNowQuery, with_curves: bool) -> Result<ThenNow> {
    let mut reading = api.store.read().await?;
    let question = then_now::question(&mut reading, query.metrics).await?;
    let [then, now] = &query.filters;
    let found = then_now::then_now(&mut reading, [then, now], &question, with_curves).await?;
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
