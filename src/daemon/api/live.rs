//! What is so now, and the stream of events.
//!
//! Server-Sent Events (WHATWG HTML, "Server-sent events") resume after `Last-Event-ID`, or `?after=`. What stands in them:
//! proto-docs/live.md.

use super::Api;
use super::extract::Params;
use crate::daemon::hub::{Fault, Hub, News, Subscription};
use crate::daemon::metrics::StreamClient;
use axum::Json;
use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::sse::{Event, KeepAlive, Sse};
use futures::stream::{Stream, unfold};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::broadcast;
use tokio::sync::broadcast::error::RecvError;
use tokio_util::sync::CancellationToken;
use utoipa::{IntoParams, ToSchema};

/// A front-end that lost the stream asks for it again after this.
const RETRY: Duration = Duration::from_secs(1);
/// So often at least something is sent, so that a dead connection is found.
pub const HEARTBEAT: Duration = Duration::from_secs(5);

/// Told first: what is served, and the last event so far.
const HELLO: &str = "hello";
/// Told in place of events that are gone; the present state follows.
const RESET: &str = "reset";

/// Something that is wrong now.
#[derive(Serialize, ToSchema)]
pub struct FaultOut {
    /// The sensor it concerns; null: the whole service.
    #[schema(required)]
    sensor: Option<String>,
    /// One word for programs.
    key: &'static str,
    /// Why, for people.
    cause: String,
    /// What can be done, for people.
    remedy: String,
}

/// Read what is wrong
#[utoipa::path(get, path = "/v1/faults", tag = "live", responses((status = 200, body = Vec<FaultOut>)))]
pub async fn faults(State(api): State<Api>) -> Json<Vec<FaultOut>> {
    let faults = api.hub.faults().into_iter();
    Json(faults.map(FaultOut::from).collect())
}

impl From<Fault> for FaultOut {
    fn from(fault: Fault) -> Self {
        Self { sensor: fault.sensor, key: fault.key, cause: fault.cause, remedy: fault.remedy }
    }
}

impl FaultOut {
    /// One of the whole service.
    pub(super) fn of_service(key: &'static str, cause: String, remedy: &str) -> Self {
        Self { sensor: None, key, cause, remedy: remedy.to_owned() }
    }
}

/// Where an event stream is to begin.
#[derive(Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct After {
    /// The last event that is known; the header `Last-Event-ID` goes before it.
    after: Option<u64>,
}

/// Follow what happens
///
/// A stream of Server-Sent Events that goes on until the service stops. Without `after` it begins with what is so now.
#[utoipa::path(
    get, path = "/v1/events", tag = "live",
    params(
        After,
        ("Last-Event-ID" = Option<String>, Header, description = "The id of the last event that was read; goes before `after`.")
    ),
    responses((status = 200, content_type = "text/event-stream", body = String))
)]
pub async fn events(
    State(api): State<Api>,
    Params(After { after }): Params<After>,
    headers: HeaderMap,
) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let last = headers.get("last-event-id").and_then(|id| id.to_str().ok()).map(|id| id.parse().unwrap_or(u64::MAX));
    let stream = Reader::new(&api, last.or(after));
    let stream = unfold(stream, |mut reader| async { Some((Ok(reader.next().await?), reader)) });
    Sse::new(stream).keep_alive(KeepAlive::new().interval(api.heartbeat))
}

/// One front-end's place in the stream.
struct Reader {
    hub: Arc<Hub>,
    news: broadcast::Receiver<Arc<News>>,
    ready: VecDeque<Event>,
    /// The last event that is in `ready` or was sent.
    last_id: u64,
    cancel: CancellationToken,
    _counted: StreamClient,
}

impl Reader {
    fn new(api: &Api, after: Option<u64>) -> Self {
        let Subscription { now, missed, last_id, news } = api.hub.subscribe(after);
        let mut reader = Self {
            hub: Arc::clone(&api.hub),
            news,
            ready: VecDeque::new(),
            last_id: after.unwrap_or(last_id),
            cancel: api.cancel.clone(),
            _counted: api.metrics.stream_client(),
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
