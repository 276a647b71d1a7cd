//! The one door for front-ends: an HTTP API over the store and the live service.
//!
//! [`app`] is the router; it needs no socket. Every resource has a file with its own types: what leaves and enters here is
//! never a row of the store. [`openapi`] is the document made from the handlers, whose golden lies in proto-docs.
//!
//! Conventions, the same for all: errors are [`problem`]s (RFC 9457); lists are [`page`]s; an edit is a JSON Merge Patch
//! (RFC 7396, [`patch`]) with `If-Match` ([`etag`]); a creation may have an `Idempotency-Key` ([`idempotency`]); bodies are
//! bounded ([`extract`]). Before all of it stands the [`gate`].

mod aims;
mod amounts;
mod archive;
mod athletes;
mod audit;
mod ball_results;
pub(super) mod bats;
mod check;
pub(super) mod checks;
pub(super) mod consents;
mod erase;
mod etag;
mod example;
pub(super) mod extract;
mod film;
mod gate;
mod health;
mod homework;
mod idempotency;
mod imports;
pub(super) mod instant;
mod lessons;
mod live;
#[cfg(test)]
mod model_tests;
mod mounts;
pub(super) mod nearby;
mod openapi;
mod page;
mod pairings;
mod patch;
mod plate;
mod problem;
mod recordings;
mod refer;
mod rounds;
pub(super) mod sensors;
mod swings;
#[cfg(test)]
pub(in crate::daemon) mod test_api;
#[cfg(test)]
pub(super) mod test_gate;
#[cfg(test)]
mod test_pair;
#[cfg(test)]
mod test_witness;
pub(super) mod then_now;
mod tokens;
mod tombstones;
mod witness;
mod words;

pub(super) use extract::{Body, Id, Params};
pub(super) use gate::{Refusal, known};
pub use openapi::document;
pub(super) use pairings::{Redemption, give_back};
pub use plate::watch as watch_the_plate;
pub(super) use problem::{Kind, Problem};
pub(super) use swings::squared_up::{BallKind, SquaredUpParams};
pub(super) use swings::summary::Statistics;

use super::access::Access;
use super::checks::Checks;
use super::clock::Clock;
use super::example::Example;
use super::hub::Hub;
use super::metrics::Metrics;
use super::nearby::Nearby;
use super::page as pages;
use super::record::Turns;
use super::record::plate::AtBat;
use super::store::Store;
use super::store::rows::UtcMicros;
use axum::extract::DefaultBodyLimit;
use axum::middleware;
use axum::routing::get;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;
use tokio_util::sync::CancellationToken;
use utoipa_axum::router::{OpenApiRouter, UtoipaMethodRouterExt};
use utoipa_axum::routes;

/// Takes who is at the plate.
pub type Plate = Arc<dyn Fn(&AtBat) + Send + Sync>;

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
    /// Who may measure or take in a recording now.
    pub turns: Arc<Turns>,
    /// Where who is at the plate goes.
    pub plate: Plate,
    /// What plays the bundled lesson; `None` where no service runs.
    pub example: Option<Arc<Example>>,
    /// What sensors are near, and chosen.
    pub nearby: Arc<Nearby>,
    /// What is checked of sensors.
    pub checks: Arc<Checks>,
    /// Ends the streams.
    pub cancel: CancellationToken,
    /// Who may.
    pub access: Arc<Access>,
    /// What is counted.
    pub metrics: Arc<Metrics>,
    /// With less free space than this the disk is nearly full, bytes.
    pub nearly_full_bytes: u64,
    /// What the pages show of it all as it happens.
    pub screen: Arc<pages::Board>,
    /// How often an event stream sends something at least: [`live::HEARTBEAT`].
    pub heartbeat: Duration,
}

impl Api {
    /// The instant that answers are given at.
    pub(super) fn now(&self) -> UtcMicros {
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
    let router = router
        .merge(pages::routes())
        .route("/v1/openapi.json", get(move || std::future::ready(openapi::answer(text.clone()))))
        .fallback(problem::no_such_path)
        .method_not_allowed_fallback(problem::no_such_method)
        .layer(middleware::from_fn_with_state(api.clone(), idempotency::remember))
        .layer(middleware::from_fn_with_state(api.clone(), pages::notice))
        .layer(DefaultBodyLimit::max(extract::LONGEST_BODY))
        .layer(middleware::from_fn_with_state(api.clone(), gate::at_route))
        .with_state(api.clone());
    axum::Router::new()
        .fallback_service(router)
        .layer(middleware::from_fn(pages::for_browsers))
        .layer(pages::compression())
        .layer(middleware::from_fn_with_state(api, gate::before_routing))
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
        .routes(routes!(film::film_match))
        .routes(routes!(rounds::list))
        .routes(routes!(rounds::create))
        .routes(routes!(rounds::read, rounds::edit, rounds::remove))
        .routes(routes!(sensors::list))
        .routes(routes!(sensors::read, sensors::edit))
        .routes(routes!(nearby::nearby))
        .routes(routes!(nearby::choose))
        .routes(routes!(checks::read, checks::begin))
        .routes(routes!(mounts::list, mounts::create))
        .routes(routes!(mounts::read, mounts::edit, mounts::remove))
        .routes(routes!(aims::list, aims::create))
        .routes(routes!(aims::read, aims::edit, aims::remove))
        .routes(routes!(audit::list))
        .routes(routes!(health::health))
        .routes(routes!(health::metrics))
        .routes(routes!(pairings::create))
        .routes(routes!(pairings::redeem))
        .routes(routes!(tokens::list, tokens::create))
        .routes(routes!(tokens::revoke))
        .routes(routes!(live::events))
        .routes(routes!(live::faults))
        .routes(routes!(plate::read, plate::put, plate::change))
        .routes(routes!(example::create, example::remove))
        .routes(routes!(recordings::list, imports::create).layer(DefaultBodyLimit::max(imports::LONGEST_BODY)))
        .routes(routes!(recordings::read))
        .routes(routes!(recordings::file))
        .routes(routes!(recordings::reanalyse))
        .routes(routes!(erase::erase))
        .routes(routes!(archive::read))
        .routes(routes!(tombstones::list))
        .merge(about_swings())
        .merge(about_changes())
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
        .routes(routes!(swings::export::export_csv))
        .routes(routes!(swings::export::export_parquet))
        .routes(routes!(swings::profile))
        .routes(routes!(swings::summary::summary))
        .routes(routes!(swings::squared_up::if_squared_up))
        .routes(routes!(swings::definitions::definitions))
        .routes(routes!(ball_results::list, ball_results::create))
        .routes(routes!(ball_results::read, ball_results::edit, ball_results::remove))
        .routes(routes!(ball_results::import))
        .routes(routes!(ball_results::summary::summary))
}

/// Then and now, and what an athlete is to do until the next time.
fn about_changes() -> OpenApiRouter<Api> {
    OpenApiRouter::new()
        .routes(routes!(amounts::read, amounts::edit))
        .routes(routes!(homework::list, homework::create))
        .routes(routes!(homework::read, homework::edit, homework::remove))
        .routes(routes!(then_now::comparison))
        .routes(routes!(then_now::curves))
        .routes(routes!(then_now::alike))
        .routes(routes!(then_now::report::report))
}
