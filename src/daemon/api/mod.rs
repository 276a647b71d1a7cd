//! The one door for front-ends: an HTTP API over the store and the live service.
//!
//! [`app`] is the router; it needs no socket. Every resource has a file with its own types: what leaves and enters here is
//! never a row of the store. [`openapi`] is the document made from the handlers, whose golden lies in proto-docs.
//!
//! Conventions, the same for all: errors are [`problem`]s (RFC 9457); lists are [`page`]s; an edit is a JSON Merge Patch
//! (RFC 7396, [`patch`]) with `If-Match` ([`etag`]); a creation may have an `Idempotency-Key` ([`idempotency`]); bodies are
//! bounded ([`extract`]).

mod bats;
mod check;
mod etag;
mod extract;
mod idempotency;
mod instant;
mod live;
mod openapi;
mod page;
mod patch;
mod plate;
mod problem;
#[cfg(test)]
mod test_api;

pub use openapi::document;

use super::clock::Clock;
use super::hub::Hub;
use super::store::Store;
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
    /// Everything on disk is in it.
    pub data_folder: PathBuf,
    /// Where who is at the plate goes.
    pub plate: Plate,
    /// Ends the streams.
    pub cancel: CancellationToken,
    /// How often an event stream sends something at least: [`live::HEARTBEAT`].
    pub heartbeat: Duration,
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
        .routes(routes!(live::events))
        .routes(routes!(live::sensors))
        .routes(routes!(live::faults))
        .routes(routes!(plate::put))
}
