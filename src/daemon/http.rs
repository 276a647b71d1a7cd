//! What front-ends see: the present state, and the stream of events.
//!
//! | | |
//! | --- | --- |
//! | `GET /v1/events` | Server-Sent Events (WHATWG HTML, "Server-sent events"); resumes after `Last-Event-ID`, or `?after=` |
//! | `GET /v1/sensors` | the state of every sensor |
//! | `GET /v1/faults` | what is wrong now, with cause and remedy |
//! | `PUT /v1/at-the-plate` | who and what the swings from here on belong to |
//!
//! Only names of this machine are taken for the `Host`, so that no page from elsewhere can reach it under a name of its
//! own; the JSON body of the one request that changes something keeps pages of other origins from sending it unasked.

use super::hub::{Hub, News, Subscription};
use crate::engine::wire::mcap::{AtThePlate, AtThePlateSide};
use axum::extract::{Query, Request, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::middleware::Next;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, put};
use axum::{Json, Router, middleware};
use futures::stream::{Stream, unfold};
use serde::Deserialize;
use std::collections::VecDeque;
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::broadcast;
use tokio::sync::broadcast::error::RecvError;
use tokio_util::sync::CancellationToken;

/// A front-end that lost the stream asks for it again after this.
const RETRY: Duration = Duration::from_secs(1);
/// So often at least something is sent, so that a dead connection is found.
pub const HEARTBEAT: Duration = Duration::from_secs(5);
/// A body is not longer than this, bytes.
const LONGEST_BODY: usize = 64 * 1024;
/// Of who and what is at the plate each has no more characters than this: every swing's event repeats them.
const LONGEST_NAME: usize = 200;

/// Told first: what is served, and the last event so far.
const HELLO: &str = "hello";
/// Told in place of events that are gone; the present state follows.
const RESET: &str = "reset";

/// Takes who is at the plate.
pub type Plate = Arc<dyn Fn(&AtThePlate) + Send + Sync>;

/// What the routes need.
#[derive(Clone)]
pub struct Shared {
    /// Where everything is told.
    pub hub: Arc<Hub>,
    /// Where who is at the plate goes.
    pub plate: Plate,
    /// Ends the streams.
    pub cancel: CancellationToken,
    /// How often something is sent at least: [`HEARTBEAT`].
    pub heartbeat: Duration,
}

/// The routes.
pub fn app(shared: Shared) -> Router {
    Router::new()
        .route("/v1/events", get(events))
        .route("/v1/sensors", get(sensors))
        .route("/v1/faults", get(faults))
        .route("/v1/at-the-plate", put(at_the_plate))
        .layer(axum::extract::DefaultBodyLimit::max(LONGEST_BODY))
        .layer(middleware::from_fn(only_this_machine))
        .with_state(shared)
}

async fn only_this_machine(request: Request, next: Next) -> Response {
    let host = request.headers().get(header::HOST).and_then(|host| host.to_str().ok()).unwrap_or("");
    if is_this_machine(host) {
        return next.run(request).await;
    }
    let words =
        "this address is only for programs of this machine: expected localhost, 127.0.0.1 or [::1] as the host\n";
    (StatusCode::MISDIRECTED_REQUEST, words).into_response()
}

fn is_this_machine(host: &str) -> bool {
    let name = match host.rsplit_once(':') {
        Some((name, port)) if port.bytes().all(|byte| byte.is_ascii_digit()) => name,
        _ => host,
    };
    matches!(name, "localhost" | "127.0.0.1" | "[::1]")
}

async fn sensors(State(shared): State<Shared>) -> Response {
    json(format!("[{}]", shared.hub.sensors().join(",")))
}

async fn faults(State(shared): State<Shared>) -> Response {
    Json(shared.hub.faults()).into_response()
}

/// Who is at the plate, as a front-end says it. A key that is not known is refused, unlike in a recording, which may be of
/// a later version.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct AtThePlateBody {
    nickname: Option<String>,
    side: Option<AtThePlateSide>,
    bat: Option<String>,
    drill: Option<String>,
    round: Option<String>,
}

async fn at_the_plate(State(shared): State<Shared>, Json(body): Json<AtThePlateBody>) -> Response {
    let AtThePlateBody { nickname, side, bat, drill, round } = body;
    for (key, name) in [("nickname", &nickname), ("bat", &bat), ("drill", &drill), ("round", &round)] {
        let length = name.as_ref().map_or(0, |name| name.chars().count());
        if length > LONGEST_NAME {
            let words = format!("`{key}` has {length} characters; expected at most {LONGEST_NAME}\n");
            return (StatusCode::UNPROCESSABLE_ENTITY, words).into_response();
        }
    }
    (shared.plate)(&AtThePlate { nickname, side, bat, drill, round });
    StatusCode::NO_CONTENT.into_response()
}

fn json(text: String) -> Response {
    ([(header::CONTENT_TYPE, "application/json")], text).into_response()
}

#[derive(Deserialize)]
struct After {
    after: Option<u64>,
}

async fn events(
    State(shared): State<Shared>,
    Query(After { after }): Query<After>,
    headers: HeaderMap,
) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let last = headers.get("last-event-id").and_then(|id| id.to_str().ok()).map(|id| id.parse().unwrap_or(u64::MAX));
    let stream = Reader::new(&shared, last.or(after));
    let stream = unfold(stream, |mut reader| async { Some((Ok(reader.next().await?), reader)) });
    Sse::new(stream).keep_alive(KeepAlive::new().interval(shared.heartbeat))
}

/// One front-end's place in the stream.
struct Reader {
    hub: Arc<Hub>,
    news: broadcast::Receiver<Arc<News>>,
    ready: VecDeque<Event>,
    /// The last event that is in `ready` or was sent.
    last_id: u64,
    cancel: CancellationToken,
}

impl Reader {
    fn new(shared: &Shared, after: Option<u64>) -> Self {
        let Subscription { now, missed, last_id, news } = shared.hub.subscribe(after);
        let mut reader = Self {
            hub: Arc::clone(&shared.hub),
            news,
            ready: VecDeque::new(),
            last_id: after.unwrap_or(last_id),
            cancel: shared.cancel.clone(),
        };
        let version = env!("CARGO_PKG_VERSION");
        let hello = serde_json::json!({ "service": "swingd", "version": version, "last_id": last_id });
        let mut event = Event::default().event(HELLO).retry(RETRY).data(hello.to_string());
        if after.is_none() {
            event = event.id(last_id.to_string());
        }
        reader.ready.push_back(event);
        reader.catch_up(&now, missed, last_id);
        reader
    }

    async fn next(&mut self) -> Option<Event> {
        loop {
            if let Some(event) = self.ready.pop_front() {
                return Some(event);
            }
            let received = tokio::select! {
                // What was told before the end still goes out.
                biased;
                received = self.news.recv() => received,
                () = self.cancel.cancelled() => return None,
            };
            match received {
                // What was among the missed ones already.
                Ok(news) if news.id.is_some_and(|id| id <= self.last_id) => {}
                Ok(news) => self.put(&news),
                Err(RecvError::Lagged(_)) => {
                    let Subscription { now, missed, last_id, news } = self.hub.subscribe(Some(self.last_id));
                    self.news = news;
                    self.catch_up(&now, missed, last_id);
                }
                Err(RecvError::Closed) => return None,
            }
        }
    }

    /// That what was missed is gone, if it is; then what is so now, and what was missed.
    fn catch_up(&mut self, now: &[Arc<News>], missed: Option<Vec<Arc<News>>>, last_id: u64) {
        if missed.is_none() {
            self.last_id = last_id;
            let words = r#"{"cause":"events since the one you know are no longer kept","remedy":"forget what you know: the present state follows"}"#;
            let event = Event::default().event(RESET).id(last_id.to_string()).data(words);
            self.ready.push_back(event);
        }
        now.iter().for_each(|news| self.put(news));
        missed.iter().flatten().for_each(|news| self.put(news));
    }

    fn put(&mut self, news: &News) {
        let mut event = Event::default().event(&news.kind).data(&news.data);
        if let Some(id) = news.id {
            self.last_id = id;
            event = event.id(id.to_string());
        }
        self.ready.push_back(event);
    }
}
