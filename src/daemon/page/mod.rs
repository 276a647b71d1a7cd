//! The pages for people: what is so at the plate, looking back, setting up. HTML and SVG are drawn here; one script follows the
//! stream of parts, sends what is touched to the API, and nothing else.
//!
//! [`shell`] is around every page; [`view`] says in which units and which light somebody looks; [`assets`] is the style and the
//! script; [`refused`] turns problems into words for a browser; [`when`] and [`words`] tell instants, numbers and small
//! words; [`figure`] is a chart with its table. Then a module a page: [`live`]; [`past`]; [`setup`]; [`pair`].
//!
//! Pages only read: whatever changes something goes through the API. But `POST /pair` redeems a code and `POST /pair/leave` voids
//! a token, as a browser without one has no script to do it with; and what lists sensors (`/setup`, `/setup/nearby?stored=true`,
//! `/setup/sensors/{id}`) enters one that was connected a moment ago and is not stored yet, once, as `GET /v1/sensors` does.

mod assets;
mod figure;
mod live;
mod pair;
mod past;
mod refused;
mod setup;
mod shell;
mod view;
mod when;
mod words;

pub(super) use live::{Board, notice};
pub(super) use refused::for_browsers;

use super::api::Api;
use axum::Router;
use axum::http::{Extensions, HeaderMap, HeaderValue, StatusCode, Version, header};
use axum::routing::get;
use tower_http::compression::{CompressionLayer, Predicate};

/// What is worth compressing; event streams are not: each event has to arrive at once.
const PACKED: [&str; 3] = ["text/html", "text/css", "text/javascript"];

/// Where the pages are. Each has its line in [`access::rules`](super::access::rules).
pub(super) fn routes() -> Router<Api> {
    Router::new()
        .route("/", get(live::page))
        .route("/live/stream", get(live::stream))
        .route("/athletes", get(past::athletes))
        .route("/athletes/{id}", get(past::athlete))
        .route("/athletes/{id}/then-and-now", get(past::then_now))
        .route("/lessons/{id}", get(past::lesson))
        .route("/swings/{id}", get(past::swing))
        .route("/start", get(setup::start))
        .route("/setup", get(setup::overview))
        .route("/setup/nearby", get(setup::nearby))
        .route("/setup/athletes/{id}", get(setup::athlete))
        .route("/setup/bats/{id}", get(setup::bat))
        .route("/setup/amounts", get(setup::amounts))
        .route("/setup/sensors/{id}", get(setup::sensor))
        .route("/setup/sensors/{id}/check", get(setup::check))
        .route("/pair", get(pair::page).post(pair::enter))
        .route("/pair/leave", axum::routing::post(pair::leave))
        .route("/assets/{name}", get(assets::read))
}

/// Pages, style and script are sent compressed: a long round's page is a quarter as large then.
pub(super) fn compression() -> CompressionLayer<impl Predicate> {
    CompressionLayer::new().compress_when(|_: StatusCode, _: Version, headers: &HeaderMap, _: &Extensions| {
        let kind = headers.get(header::CONTENT_TYPE).map(HeaderValue::as_bytes);
        kind.is_some_and(|kind| PACKED.iter().any(|packed| kind.starts_with(packed.as_bytes())))
    })
}
