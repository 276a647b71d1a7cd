//! The API over a store through a socket of loopback.

use super::direct::Direct;
use anyhow::{Context, ensure};
use axum::body::Bytes;
use axum::http::{Request, header};
use http_body_util::{BodyExt, Empty};
use hyper::client::conn::http1::{SendRequest, handshake};
use hyper_util::rt::TokioIo;
use std::time::Instant;
use swingd::daemon::access::{Patience, server};
use tokio::net::{TcpListener, TcpStream};
use tokio_util::sync::CancellationToken;

/// A connection that is kept.
pub struct Connected {
    sender: SendRequest<Empty<Bytes>>,
    host: String,
}

impl Connected {
    /// To the router, served on a free port of loopback.
    pub async fn to(direct: &Direct) -> anyhow::Result<Self> {
        let listener = TcpListener::bind(("127.0.0.1", 0)).await?;
        let address = listener.local_addr()?;
        let head = Patience::default().head;
        tokio::spawn(server::serve(vec![listener], direct.0.clone(), head, CancellationToken::new()));
        let stream = TcpStream::connect(address).await?;
        stream.set_nodelay(true)?;
        let (sender, connection) = handshake(TokioIo::new(stream)).await?;
        tokio::spawn(connection);
        Ok(Self { sender, host: address.to_string() })
    }

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
