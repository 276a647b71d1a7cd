//! The API over a store, asked without a socket or over one of loopback.

use anyhow::{Context, ensure};
use axum::body::{Body, Bytes, to_bytes};
use axum::http::{Request, header};
use http_body_util::{BodyExt, Empty};
use hyper::client::conn::http1::{SendRequest, handshake};
use hyper_util::rt::TokioIo;
use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;
use swingd::daemon::access::{Access, Patience, Peer, Settings, server};
use swingd::daemon::api::{Api, HEARTBEAT, app};
use swingd::daemon::clock::SystemClock;
use swingd::daemon::hub::Hub;
use swingd::daemon::store::Store;
use tokio::net::{TcpListener, TcpStream};
use tokio_util::sync::CancellationToken;
use tower::ServiceExt;

/// Loopback, where no socket says so.
const HERE: SocketAddr = SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), 0);
const PEER: Peer = Peer { remote: HERE, local: HERE };
/// Answers are no larger, bytes.
const LARGEST: usize = 50_000_000;

/// The router.
#[derive(Clone)]
pub struct Direct(axum::Router);

impl Direct {
    /// Over a store.
    pub fn new(store: &Store, folder: &Path) -> Self {
        Self(app(Api {
            store: store.clone(),
            hub: Arc::new(Hub::new(Vec::new(), 1, 100, Box::new(|_| {}))),
            clock: Arc::new(SystemClock::new()),
            data_folder: folder.to_owned(),
            cage: super::plan::CAGES[0].into(),
            turns: Arc::default(),
            access: Arc::new(Access::new(&Settings::default(), super::plan::CAGES[0].into(), HERE, store.clone())),
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

    /// Served on a free port of loopback, and a connection to it.
    pub async fn over_a_socket(&self) -> anyhow::Result<Connected> {
        let listener = TcpListener::bind(("127.0.0.1", 0)).await?;
        let address = listener.local_addr()?;
        let head = Patience::default().head;
        tokio::spawn(server::serve(vec![listener], self.0.clone(), head, CancellationToken::new()));
        let stream = TcpStream::connect(address).await?;
        stream.set_nodelay(true)?;
        let (sender, connection) = handshake(TokioIo::new(stream)).await?;
        tokio::spawn(connection);
        Ok(Connected { sender, host: address.to_string() })
    }
}

/// A connection that is kept.
pub struct Connected {
    sender: SendRequest<Empty<Bytes>>,
    host: String,
}

impl Connected {
    /// As [`Direct::get`].
    pub async fn get(&mut self, path: &str) -> anyhow::Result<(Bytes, f64)> {
        let request = Request::get(path).header(header::HOST, &self.host).body(Empty::new())?;
        let begun = Instant::now();
        self.sender.ready().await.context("the connection was closed")?;
        let response = self.sender.send_request(request).await?;
        let status = response.status();
        let bytes = response.into_body().collect().await?.to_bytes();
        let seconds = begun.elapsed().as_secs_f64();
        ensure!(status.is_success(), "{path}: {status}: {}", String::from_utf8_lossy(&bytes));
        Ok((bytes, seconds))
    }
}
