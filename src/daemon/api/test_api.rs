//! The API in a test: a store of its own, no socket.

use super::{Api, HEARTBEAT, app};
use crate::daemon::access::{self, Access, Peer};
use crate::daemon::checks::Checks;
use crate::daemon::clock::{Clock, Now, SystemClock};
use crate::daemon::example::{Example, SENSOR};
use crate::daemon::hub::Hub;
use crate::daemon::inlet::{Outlet, ring};
use crate::daemon::metrics::Metrics;
use crate::daemon::store::queries::sensors;
use crate::daemon::store::rows::UtcMicros;
use crate::daemon::store::test_store::{self, TestStore};
use crate::engine::wire::mcap::AtThePlate;
use axum::body::{Body, to_bytes};
use axum::http::{HeaderMap, Request, header};
use serde_json::{Value, json};
use std::sync::atomic::{AtomicI64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tokio_util::sync::{CancellationToken, DropGuard};
use tokio_util::task::TaskTracker;
use tower::ServiceExt;
use uuid::Uuid;

/// Where the service would listen.
const LISTEN: &str = "127.0.0.1:7951";

/// The router over a fresh store.
pub struct TestApi {
    /// What the handlers have.
    pub api: Api,
    /// Who was said to be at the plate, in order.
    pub plate: Arc<Mutex<Vec<AtThePlate>>>,
    /// What the example sends, and whose it was said to be.
    pub played: Arc<Mutex<Played>>,
    router: axum::Router,
    _ended: DropGuard,
    _store: TestStore,
}

/// What comes of the example where there is no station.
#[derive(Default)]
pub struct Played {
    /// Its packets.
    pub outlet: Option<Outlet>,
    /// Whose its swings are.
    pub kept_to: Vec<Uuid>,
}

fn example(hub: &Arc<Hub>, clock: &Arc<dyn Clock>, ended: &CancellationToken) -> (Arc<Example>, Arc<Mutex<Played>>) {
    let played: Arc<Mutex<Played>> = Arc::default();
    let (opened, kept) = (Arc::clone(&played), Arc::clone(&played));
    let open = move || {
        let (inlet, outlet) = ring(SENSOR, Box::new(|| {}));
        opened.lock().unwrap().outlet = Some(outlet);
        Some(inlet)
    };
    let example = Example {
        open: Arc::new(open),
        keep_to: Arc::new(move |id| kept.lock().unwrap().kept_to.push(id)),
        hub: Arc::clone(hub),
        clock: Arc::clone(clock),
        tasks: TaskTracker::new(),
        cancel: ended.clone(),
        shown: Mutex::default(),
    };
    (Arc::new(example), played)
}

/// An answer, read.
#[derive(Debug)]
pub struct Answer {
    /// The status.
    pub status: u16,
    /// The headers.
    pub headers: HeaderMap,
    /// The body.
    pub bytes: Vec<u8>,
    /// The body as JSON; null if it is none.
    pub json: Value,
}

/// Runs a test on SQLite, and on PostgreSQL where there is one (see [`test_store::on_each`]).
pub fn on_each(test: impl AsyncFn(TestApi)) {
    test_store::on_each(async |store| test(TestApi::new(store)).await);
}

/// A clock that stands still until it is set.
pub struct SetClock(AtomicI64);

impl SetClock {
    /// It is then, µs of UTC.
    pub fn set(&self, utc_us: i64) {
        self.0.store(utc_us, Ordering::Relaxed);
    }
}

impl Clock for SetClock {
    fn now(&self) -> Now {
        Now { utc_ns: self.0.load(Ordering::Relaxed) * 1000, elapsed: Duration::ZERO }
    }
}

/// The same API with a clock that stands at an instant, µs of UTC.
pub fn set_clock(api: TestApi, utc_us: i64) -> (TestApi, Arc<SetClock>) {
    let clock = Arc::new(SetClock(AtomicI64::new(utc_us)));
    let shared = Api { clock: clock.clone(), ..api.api.clone() };
    (TestApi { router: app(shared.clone()), api: shared, ..api }, clock)
}

/// All items of a list, page by page.
pub async fn pages(api: &TestApi, path: &str) -> Vec<Value> {
    let (mut items, mut next) = (Vec::new(), String::new());
    let and = if path.contains('?') { '&' } else { '?' };
    loop {
        let page = api.get(&format!("{path}{next}")).await;
        assert_eq!(page.status, 200, "{path}{next}: {:?}", page.json);
        items.extend(page.json["items"].as_array().unwrap().iter().cloned());
        let Some(after) = page.json["next"].as_str() else { return items };
        next = format!("{and}after={after}");
    }
}

/// The id of a new athlete.
pub async fn athlete(api: &TestApi, nickname: &str) -> String {
    let made = api.post("/v1/athletes", json!({"nickname": nickname})).await;
    made.json["id"].as_str().unwrap().to_owned()
}

/// The id of a sensor that was seen.
pub async fn sensor(api: &TestApi, name: &str) -> String {
    let mut changes = api.api.store.write().await.unwrap();
    let sensor = sensors::see(&mut changes, name, UtcMicros(1_000_000)).await.unwrap();
    changes.commit().await.unwrap();
    sensor.id.to_string()
}

impl TestApi {
    fn new(store: TestStore) -> Self {
        Self::with(store, &access::Settings::default(), Arc::new(SystemClock::new()))
    }

    /// With its own settings and time.
    pub fn with(store: TestStore, settings: &access::Settings, clock: Arc<dyn Clock>) -> Self {
        let plate: Arc<Mutex<Vec<AtThePlate>>> = Arc::default();
        let taken = Arc::clone(&plate);
        let hub = Arc::new(Hub::new(Vec::new(), 1, 100, Box::new(|_| {})));
        let ended = CancellationToken::new();
        let (example, played) = example(&hub, &clock, &ended);
        let heard = Arc::clone(&example);
        let api = Api {
            store: store.store.clone(),
            hub,
            clock,
            cage: "north".into(),
            data_folder: store.folder.clone(),
            turns: Arc::default(),
            plate: Arc::new(move |context| {
                heard.heard(context);
                taken.lock().unwrap().push(context.entry());
            }),
            example: Some(example),
            access: Arc::new(Access::new(settings, "north".into(), LISTEN.parse().unwrap(), store.store.clone())),
            metrics: Arc::new(Metrics::new(0.0)),
            nearly_full_bytes: 1,
            nearby: Arc::default(),
            checks: Arc::default(),
            cancel: CancellationToken::new(),
            screen: Arc::default(),
            heartbeat: HEARTBEAT,
        };
        Self { router: app(api.clone()), api, plate, played, _ended: ended.drop_guard(), _store: store }
    }

    /// With checks of its own.
    pub fn with_checks(self, checks: Arc<Checks>) -> Self {
        let api = Api { checks, ..self.api.clone() };
        Self { router: app(api.clone()), api, ..self }
    }

    /// Any request; a host is added where it has none, and that it came from this machine where nothing is said.
    pub async fn send(&self, request: Request<Body>) -> Answer {
        let (parts, body) = self.open(request).await.into_parts();
        let bytes = to_bytes(body, 100_000_000).await.unwrap().to_vec();
        let json = serde_json::from_slice(&bytes).unwrap_or(Value::Null);
        Answer { status: parts.status.as_u16(), headers: parts.headers, bytes, json }
    }

    /// The same, for a body that goes on.
    pub async fn open(&self, mut request: Request<Body>) -> axum::response::Response {
        request.headers_mut().entry(header::HOST).or_insert(header::HeaderValue::from_static("localhost"));
        let here = Peer { remote: "127.0.0.1:50000".parse().unwrap(), local: LISTEN.parse().unwrap() };
        request.extensions_mut().get_or_insert(here);
        self.router.clone().oneshot(request).await.unwrap()
    }

    /// GET.
    pub async fn get(&self, path: &str) -> Answer {
        self.send(Request::get(path).body(Body::empty()).unwrap()).await
    }

    /// POST of JSON.
    pub async fn post(&self, path: &str, body: Value) -> Answer {
        self.send(with_json(Request::post(path), &body)).await
    }

    /// POST of JSON under an `Idempotency-Key`.
    pub async fn post_with_key(&self, path: &str, key: &str, body: Value) -> Answer {
        self.send(with_json(Request::post(path).header("idempotency-key", key), &body)).await
    }

    /// PUT of JSON.
    pub async fn put(&self, path: &str, body: Value) -> Answer {
        self.send(with_json(Request::put(path), &body)).await
    }

    /// PATCH from a version.
    pub async fn patch(&self, path: &str, etag: &str, body: Value) -> Answer {
        self.send(with_json(Request::patch(path).header(header::IF_MATCH, etag), &body)).await
    }

    /// DELETE of a version.
    pub async fn delete(&self, path: &str, etag: &str) -> Answer {
        self.send(Request::delete(path).header(header::IF_MATCH, etag).body(Body::empty()).unwrap()).await
    }
}

impl Answer {
    /// A header's text.
    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers.get(name)?.to_str().ok()
    }
}

fn with_json(request: axum::http::request::Builder, body: &Value) -> Request<Body> {
    request.header(header::CONTENT_TYPE, "application/json").body(Body::from(body.to_string())).unwrap()
}
