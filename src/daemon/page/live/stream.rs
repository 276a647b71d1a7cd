//! The parts as they change, to one viewer: Server-Sent Events (WHATWG HTML).
//!
//! `part` fills a slot; `say` is a swing in words, to be spoken; `beat` says that the connection lives and that parts are drawn. A viewer that connects gets
//! every part, so that whatever was missed is made good. One that reads slowly misses drawings between, and never the last.

use super::board::Watching;
use super::screen::{Screen, Slot, frame};
use crate::daemon::access::OfAthletes;
use crate::daemon::api::{Api, Kind, Problem};
use crate::daemon::metrics::StreamClient;
use crate::daemon::page::view::View;
use crate::report::words::Units;
use axum::body::{Body, Bytes};
use axum::extract::State;
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use futures::stream::unfold;
use std::collections::VecDeque;
use std::convert::Infallible;
use std::sync::Arc;
use tokio::sync::watch;
use tokio::time::{Interval, MissedTickBehavior, interval};
use tokio_util::sync::CancellationToken;

/// Its parts, as they change; not before it is known, and so can be written down, whose data they are.
pub async fn stream(State(api): State<Api>, view: View) -> Result<Response, Problem> {
    let watching = api.screen.watch(&api, view.units);
    let screen = watching.drawn().await;
    let unread = || Problem::new(Kind::Unavailable, "who is at the plate cannot be read now; it is tried again");
    let about = screen.about.as_ref().ok_or_else(unread)?.iter().copied().collect();
    let viewer = Viewer::new(&api, watching, view.units);
    let frames = unfold(viewer, |mut viewer| async {
        let frame = viewer.next().await?;
        Some((Ok::<_, Infallible>(frame), viewer))
    });
    let kind = [(header::CONTENT_TYPE, HeaderValue::from_static("text/event-stream"))];
    let mut response = (kind, Body::from_stream(frames)).into_response();
    response.extensions_mut().insert(OfAthletes(about));
    Ok(response)
}

struct Viewer {
    units: Units,
    screen: watch::Receiver<Arc<Screen>>,
    /// Which drawing of each part was sent.
    sent: [u64; Slot::ALL.len()],
    said: u64,
    ready: VecDeque<Bytes>,
    beat: Interval,
    cancel: CancellationToken,
    watching: Watching,
    _counted: StreamClient,
}

impl Viewer {
    fn new(api: &Api, watching: Watching, units: Units) -> Self {
        // Twice as often as other streams: whoever stands at the net is to see soon that nothing comes.
        let mut beat = interval(api.heartbeat / 2);
        beat.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let mut screen = watching.screen();
        // What was said before somebody came is not said to them.
        let said = screen.borrow().said.as_ref().map_or(0, |said| said.version);
        screen.mark_changed();
        Self {
            units,
            screen,
            sent: [0; Slot::ALL.len()],
            said,
            ready: VecDeque::from([Bytes::from_static(b"retry: 1000\n\n")]),
            beat,
            cancel: api.cancel.clone(),
            watching,
            _counted: api.metrics.stream_client(),
        }
    }

    async fn next(&mut self) -> Option<Bytes> {
        loop {
            if let Some(frame) = self.ready.pop_front() {
                return Some(frame);
            }
            tokio::select! {
                // What was drawn before the end still goes out.
                biased;
                changed = self.screen.changed() => {
                    changed.ok()?;
                    self.collect();
                }
                () = self.cancel.cancelled() => return None,
                _ = self.beat.tick() => self.ready.extend(self.watching.is_well().then(|| frame("beat", "{}"))),
            }
        }
    }

    fn collect(&mut self) {
        let screen = Arc::clone(&self.screen.borrow_and_update());
        if let Some(parts) = screen.parts(self.units) {
            for (part, sent) in parts.iter().zip(&mut self.sent) {
                if part.version > *sent {
                    *sent = part.version;
                    self.ready.push_back(part.frame.clone());
                }
            }
        }
        if let Some(said) = screen.said.as_ref().filter(|said| said.version > self.said) {
            self.said = said.version;
            self.ready.push_back(said.frame(self.units));
        }
    }
}
