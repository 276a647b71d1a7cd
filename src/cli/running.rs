//! The running service, asked over HTTP on this machine.

use super::config::Config;
use crate::daemon::lock::{Occupancy, occupancy};
use anyhow::{Context, bail};
use http_body_util::{BodyExt, Full, Limited};
use hyper::body::Bytes;
use hyper::{Request, header};
use hyper_util::rt::TokioIo;
use serde_json::Value;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::time::Duration;
use tokio::net::TcpStream;

/// The service answers within this, or hangs.
const WITHIN: Duration = Duration::from_secs(40);
/// Longer answers are none to these questions, bytes.
const LONGEST_ANSWER: usize = 1 << 20;

/// A service that runs on this machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Running(SocketAddr);

impl Running {
    /// The one that works on the configured data folder.
    ///
    /// # Errors
    /// If none runs, or it does not tell where it listens.
    pub fn of(config: &Config) -> anyhow::Result<Self> {
        let folder = &config.data_folder.value;
        let held = occupancy(folder).with_context(|| format!("{}: the lock cannot be read", folder.display()))?;
        let address = match held {
            Occupancy::Free => {
                bail!("{}: no swingd runs on this data folder; expected `swingd serve`", folder.display())
            }
            Occupancy::Held(Some(holder)) => holder.http.context("swingd is just starting; try again")?,
            // Elsewhere than on Unix a locked file cannot be read: then it is where it was told to listen.
            Occupancy::Held(None) => config.http_listen.value,
        };
        Ok(Self(on_this_machine(address)))
    }

    /// POSTs JSON: the answer's status and JSON.
    ///
    /// # Errors
    /// If it cannot be reached, or answers with something else than JSON.
    pub fn post(&self, path: &str, body: &Value) -> anyhow::Result<(u16, Value)> {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
        let asked = async {
            let asked = tokio::time::timeout(WITHIN, self.ask(path, body));
            asked.await.with_context(|| format!("no answer within {} s", WITHIN.as_secs()))?
        };
        runtime.block_on(asked).with_context(|| format!("swingd at http://{}", self.0))
    }

    async fn ask(&self, path: &str, body: &Value) -> anyhow::Result<(u16, Value)> {
        let stream = TcpStream::connect(self.0).await?;
        let (mut sender, connection) = hyper::client::conn::http1::handshake(TokioIo::new(stream)).await?;
        let connection = tokio::spawn(connection);
        let request = Request::post(path)
            .header(header::HOST, self.0.to_string())
            .header(header::CONTENT_TYPE, "application/json")
            .body(Full::new(Bytes::from(body.to_string())))?;
        let response = sender.send_request(request).await?;
        let status = response.status().as_u16();
        let read = Limited::new(response.into_body(), LONGEST_ANSWER).collect().await;
        let bytes = read.map_err(|error| anyhow::anyhow!("the answer cannot be read: {error}"))?.to_bytes();
        connection.abort();
        Ok((status, serde_json::from_slice(&bytes).context("the answer is not JSON")?))
    }
}

/// Where a service that listens there is reached from its own machine: it always listens on loopback too.
fn on_this_machine(address: SocketAddr) -> SocketAddr {
    let ip = match address.ip() {
        ip if ip.is_loopback() => ip,
        IpAddr::V6(ip) if ip.is_unspecified() => IpAddr::V6(Ipv6Addr::LOCALHOST),
        _ => IpAddr::V4(Ipv4Addr::LOCALHOST),
    };
    SocketAddr::new(ip, address.port())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn this_machine_reaches_it_on_loopback() {
        let reached = |address: &str| on_this_machine(address.parse().unwrap()).to_string();
        assert_eq!(reached("127.0.0.1:7951"), "127.0.0.1:7951");
        assert_eq!(reached("0.0.0.0:7951"), "127.0.0.1:7951");
        assert_eq!(reached("192.0.2.7:7951"), "127.0.0.1:7951");
        assert_eq!(reached("[::]:7951"), "[::1]:7951");
        assert_eq!(reached("[2001:db8::7]:7951"), "127.0.0.1:7951");
    }
}
