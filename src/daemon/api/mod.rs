//! The one door for front-ends: an HTTP API over the store and the live service.
//!
//! [`app`] is the router; it needs no socket. Every resource has a file with its own types: what leaves and enters here is
//! never a row of the store. [`openapi`] is the document made from the handlers, whose golden lies in proto-docs.
//!
//! Conventions, the same for all: errors are [`problem`]s (RFC 9457); lists are [`page`]s; an edit is a JSON Merge Patch
//! (RFC 7396, [`patch`]) with `If-Match` ([`etag`]); a creation may have an `Idempotency-Key` ([`idempotency`]); bodies are
//! bounded ([`extract`]).

mod aims;
mod athletes;
mod ball_results;
mod bats;
mod check;
mod consents;
mod etag;
mod extract;
mod idempotency;
mod instant;
mod lessons;
mod live;
#[cfg(test)]
mod model_tests;
mod mounts;
mod openapi;
mod page;
mod patch;
mod plate;
mod problem;
mod refer;
mod rounds;
mod sensors;
mod swings;
#[cfg(test)]
mod test_api;
mod words;

pub use openapi::document;

use super::clock::Clock;
use super::hub::Hub;
use super::store::Store;
use super::store::rows::UtcMicros;
use crate::engine::wire::mcap::AtThePlate;
use axum::middleware;
use axum::routing::get;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;
use tokio_util::sync::CancellationToken;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// Takes who is at the plate.
pub type Plate = Arc<dyn Fn(&AtThePlate) + Send + Sync>;

/// What the handlers need.
#[derive(Clone)]
pub struct Api {
    /// The record.
    pub store: Store,
    /// Where everything is told.
    pub hub: Arc<Hub>,
    /// The host's time.
    pub clock: Arc<dyn Clock>,
    /// What this installation is called, where several share a store.
    pub cage: String,
    /// Everything on disk is in it.
    pub data_folder: PathBuf,
    /// Where who is at the plate goes.
    pub plate: Plate,
    /// Ends the streams.
    pub cancel: CancellationToken,
    /// How often an event stream sends something at least: [`live::HEARTBEAT`].
    pub heartbeat: Duration,
}

impl Api {
    /// The instant that answers are given at.
    fn now(&self) -> UtcMicros {
        UtcMicros(self.clock.now().utc_ns / 1000)
    }
}

/// An event stream sends something at least so often.
pub const HEARTBEAT: Duration = live::HEARTBEAT;

/// The routes.
pub fn app(api: Api) -> axum::Router {
    let (router, mut document) = routes().split_for_parts();
    openapi::complete(&mut document);
    let text = openapi::text(&document);
    router
        .route("/v1/openapi.json", get(move || std::future::ready(openapi::answer(text.clone()))))
        .fallback(problem::no_such_path)
        .method_not_allowed_fallback(problem::no_such_method)
        .layer(middleware::from_fn_with_state(api.clone(), idempotency::remember))
        .layer(axum::extract::DefaultBodyLimit::max(extract::LONGEST_BODY))
        .layer(middleware::from_fn(live::only_this_machine))
        .with_state(api)
}

/// Every route that is in the document, a line a path.
fn routes() -> OpenApiRouter<Api> {
    OpenApiRouter::new()
        .routes(routes!(bats::list, bats::create))
        .routes(routes!(bats::read, bats::edit, bats::remove))
        .routes(routes!(athletes::list, athletes::create))
        .routes(routes!(athletes::read, athletes::edit))
        .routes(routes!(consents::list, consents::create))
        .routes(routes!(consents::read, consents::edit))
        .routes(routes!(lessons::list, lessons::create))
        .routes(routes!(lessons::read, lessons::edit, lessons::remove))
        .routes(routes!(rounds::list))
        .routes(routes!(rounds::create))
        .routes(routes!(rounds::read, rounds::edit, rounds::remove))
        .routes(routes!(sensors::list))
        .routes(routes!(sensors::read, sensors::edit))
        .routes(routes!(mounts::list, mounts::create))
        .routes(routes!(mounts::read, mounts::edit, mounts::remove))
        .routes(routes!(aims::list, aims::create))
        .routes(routes!(aims::read, aims::edit, aims::remove))
        .routes(routes!(live::events))
        .routes(routes!(live::faults))
        .routes(routes!(plate::put))
        .merge(about_swings())
}

/// Swings, what is made of them, and what other devices said of their balls.
fn about_swings() -> OpenApiRouter<Api> {
    OpenApiRouter::new()
        .routes(routes!(swings::list))
        .routes(routes!(swings::read, swings::edit::edit))
        .routes(routes!(swings::edit::moves))
        .routes(routes!(swings::revisions))
        .routes(routes!(swings::curves))
        .routes(routes!(swings::curves_csv))
        .routes(routes!(swings::export::csv))
        .routes(routes!(swings::export::parquet))
        .routes(routes!(swings::profile))
        .routes(routes!(swings::summary::read))
        .routes(routes!(swings::definitions::read))
        .routes(routes!(ball_results::list, ball_results::create))
        .routes(routes!(ball_results::read, ball_results::edit, ball_results::remove))
        .routes(routes!(ball_results::import))
}
