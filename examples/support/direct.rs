//! The API over a store, asked without a socket.

use anyhow::ensure;
use axum::body::{Body, Bytes, to_bytes};
use axum::http::{Request, header};
use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;
use swingd::daemon::access::{Access, Peer, Settings};
use swingd::daemon::api::{Api, HEARTBEAT, app};
use swingd::daemon::clock::SystemClock;
use swingd::daemon::hub::Hub;
use swingd::daemon::store::Store;
use tokio_util::sync::CancellationToken;
use tower::ServiceExt;

/// As the one who sits at the machine asks.
const HERE: SocketAddr = SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), 0);
const PEER: Peer = Peer { remote: HERE, local: HERE };
/// Answers are no larger, bytes.
const LARGEST: usize = 50_000_000;

/// The router.
#[derive(Clone)]
pub struct Direct(pub axum::Router);

impl Direct {
    /// Over a store, in a cage of this name.
    pub fn new(store: &Store, folder: &Path, cage: &str) -> Self {
        Self(app(Api {
            store: store.clone(),
            hub: Arc::new(Hub::new(Vec::new(), 1, 100, Box::new(|_| {}))),
            clock: Arc::new(SystemClock::new()),
            data_folder: folder.to_owned(),
            cage: cage.into(),
            turns: Arc::default(),
            access: Arc::new(Access::new(&Settings::default(), cage.into(), HERE, store.clone())),
            metrics: Arc::default(),
            nearly_full_bytes: 1,
            plate: Arc::new(|_| {}),
            nearby: Arc::default(),
            checks: Arc::default(),
            example: None,
            screen: Arc::default(),
            cancel: CancellationToken::new(),
            heartbeat: HEARTBEAT,
        }))
    }

    /// A GET: its whole body, and how long it took, s.
    ///
    /// # Errors
    /// If it is refused, or larger than answers are.
    pub async fn get(&self, path: &str) -> anyhow::Result<(Bytes, f64)> {
        let request = Request::get(path).header(header::HOST, "localhost").extension(PEER).body(Body::empty())?;
        let begun = Instant::now();
        let response = self.0.clone().oneshot(request).await?;
        let status = response.status();
        let bytes = to_bytes(response.into_body(), LARGEST).await?;
        let seconds = begun.elapsed().as_secs_f64();
        ensure!(status.is_success(), "{path}: {status}: {}", String::from_utf8_lossy(&bytes));
        Ok((bytes, seconds))
    }
}
