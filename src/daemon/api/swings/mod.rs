//! Swings: found, read with their analyses and curves, and what people say of them.
//!
//! [`query`] says which, [`shape`] how they leave; [`edit`] changes them, [`export`] hands out many as a table,
//! [`summary`] an athlete's lesson by lesson; [`squared_up`] says what a ball would do, [`definitions`] what the numbers are.

pub mod definitions;
pub mod edit;
pub mod export;
pub(in crate::daemon::api) mod query;
mod shape;
pub mod squared_up;
pub mod summary;
#[cfg(test)]
mod tests;
pub mod words;

use super::Api;
use super::etag::Versioned;
use super::extract::{Id, Params};
use super::page::{Page, page};
use super::problem::{Kind, Problem, Result};
use crate::daemon::store::queries::{profiles, swings_read};
use crate::report::curves::{CurvesJson, StoredCurves, decode, to_csv};
use axum::Json;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use query::{FilterParams, ListQuery, PartParams};
use serde::{Deserialize, Serialize};
use shape::{Revision, SwingInRecording, SwingOut};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// List swings
///
/// By contact, the newest first. Filters are joined by "and". Only what the latest analysis of each swing says is looked at.
#[utoipa::path(
    get, path = "/v1/swings", tag = "swings", params(FilterParams, PartParams),
    responses((status = 200, body = Page<SwingOut>))
)]
pub async fn list(State(api): State<Api>, ListQuery { filter, part }: ListQuery) -> Result<Json<Page<SwingOut>>> {
    let slice = part.slice()?;
    let found = swings_read::list(&mut *api.store.read().await?, &filter, part.order(), slice).await?;
    Ok(Json(page(part.limit, found, |found| found.key().to_string(), SwingOut::of)))
}

/// Read a swing
#[utoipa::path(
    get, path = "/v1/swings/{id}", tag = "swings", params(("id" = Uuid, Path)),
    responses((status = 200, body = SwingInRecording))
)]
pub async fn read(State(api): State<Api>, Id(id): Id<Uuid>) -> Result<Versioned<SwingInRecording>> {
    let found = swings_read::get(&mut *api.store.read().await?, id).await?;
    Ok(Versioned(found.swing.version, SwingInRecording::of(found)))
}

/// Read all analyses of a swing
///
/// The first one first. None is ever changed: a better one is added.
#[utoipa::path(
    get, path = "/v1/swings/{id}/revisions", tag = "swings", params(("id" = Uuid, Path)),
    responses((status = 200, body = Vec<Revision>))
)]
pub async fn revisions(State(api): State<Api>, Id(id): Id<Uuid>) -> Result<Json<Vec<Revision>>> {
    let revisions = swings_read::revisions(&mut *api.store.read().await?, id).await?;
    Ok(Json(revisions.into_iter().map(Revision::of).collect()))
}

/// Of which analysis.
#[derive(Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct RevisionParam {
    /// That of this revision; the latest one where nothing is said.
    #[param(minimum = 1)]
    revision: Option<u32>,
}

/// Curves of a swing on even times: that of point k is `first_s + k · step_s`, seconds from contact.
#[derive(Serialize, ToSchema)]
#[schema(as = Curves)]
pub struct CurvesOut {
    /// Of which analysis.
    revision: i64,
    /// The first point's time, seconds from contact.
    first_s: f64,
    /// From a point to the next, s.
    step_s: f64,
    /// The point at contact, counted from 0.
    contact: usize,
    /// Speed of the sweet spot, m/s.
    bat_speed_mps: Vec<f64>,
    /// Speed of the hands point, m/s.
    hand_speed_mps: Vec<f64>,
    /// Angular rate across the bat's axis, rad/s.
    turn_rate_radps: Vec<f64>,
    /// Path of the sweet spot from where it is at contact, m: x along its horizontal heading there, y to the left, z up.
    sweet_spot_w_m: Vec<[f64; 3]>,
    /// Path of the hands point, from the same place along the same axes, m.
    hands_w_m: Vec<[f64; 3]>,
}

impl CurvesOut {
    fn of(revision: i64, curves: &StoredCurves) -> Self {
        let CurvesJson {
            first_s,
            step_s,
            contact,
            bat_speed_mps,
            hand_speed_mps,
            turn_rate_radps,
            sweet_spot_w_m,
            hands_w_m,
        } = curves.into();
        Self {
            revision,
            first_s,
            step_s,
            contact,
            bat_speed_mps,
            hand_speed_mps,
            turn_rate_radps,
            sweet_spot_w_m,
            hands_w_m,
        }
    }
}

/// Read a swing's curves
///
/// Speeds, turn rate and paths up to contact, and beyond it if nothing was met.
#[utoipa::path(
    get, path = "/v1/swings/{id}/curves", tag = "swings", params(("id" = Uuid, Path), RevisionParam),
    responses((status = 200, body = CurvesOut))
)]
pub async fn curves(
    State(api): State<Api>,
    Id(id): Id<Uuid>,
    Params(of): Params<RevisionParam>,
) -> Result<Json<CurvesOut>> {
    let (revision, curves) = stored(&api, id, of).await?;
    Ok(Json(CurvesOut::of(revision, &curves)))
}

/// Read a swing's curves as CSV
///
/// A line of names with their units, then a line a point.
#[utoipa::path(
    get, path = "/v1/swings/{id}/curves.csv", tag = "swings", params(("id" = Uuid, Path), RevisionParam),
    responses((status = 200, body = String, content_type = "text/csv"))
)]
pub async fn curves_csv(
    State(api): State<Api>,
    Id(id): Id<Uuid>,
    Params(of): Params<RevisionParam>,
) -> Result<Response> {
    let (_, curves) = stored(&api, id, of).await?;
    Ok(([(header::CONTENT_TYPE, "text/csv; charset=utf-8")], to_csv(&curves)).into_response())
}

async fn stored(api: &Api, id: Uuid, of: RevisionParam) -> Result<(i64, StoredCurves)> {
    let (revision, compact) =
        swings_read::curves(&mut *api.store.read().await?, id, of.revision.map(i64::from)).await?;
    let curves = decode(&compact).map_err(|error| {
        tracing::error!(swing = %id, revision, %error, "stored curves cannot be read");
        Problem::new(Kind::Internal, "the stored curves cannot be read; the log says more")
    })?;
    Ok((revision, curves))
}

/// Read a profile
///
/// The text by which swings were analysed: sensor, mount, bat. Analyses name it by its SHA-256.
#[utoipa::path(
    get, path = "/v1/profiles/{sha256}", tag = "swings", params(("sha256" = String, Path)),
    responses((status = 200, body = String, content_type = "application/toml"))
)]
pub async fn profile(State(api): State<Api>, Id(sha256): Id<String>) -> Result<Response> {
    if sha256.len() != 64 || !sha256.bytes().all(|byte| byte.is_ascii_hexdigit()) {
        return Err(Problem::new(Kind::NotFound, "expected a SHA-256: 64 hexadecimal digits"));
    }
    let toml = profiles::get(&mut *api.store.read().await?, &sha256.to_ascii_lowercase()).await?;
    Ok(([(header::CONTENT_TYPE, "application/toml")], toml).into_response())
}
