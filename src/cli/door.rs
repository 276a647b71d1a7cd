//! A command's way to the record: the HTTP API, of the service that has the data folder or, if none has, of this process.
//!
//! A command is a client of the API and nothing else, so there is one way of doing anything. [`Door::open`] takes the data
//! folder's lock and the API in this process ([`Offline`]); where a service has the lock, the lock's text says where it
//! listens, and the same requests go there over loopback. What the API refuses is a [`DoorError::Refused`], one line.

mod address;
mod content;
mod error;
#[cfg(test)]
mod tests;

pub use address::Address;
pub use content::{Content, Part};
pub use error::{DoorError, Refusal};

use super::config::Config;
use super::serve;
use crate::daemon::access::Peer;
use crate::daemon::lock::LockError;
use crate::daemon::offline::Offline;
use crate::daemon::service::{Settings, StartError};
use axum::body::{Body, to_bytes};
use axum::http::header::{CONTENT_TYPE, HOST};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, Request, Response, StatusCode};
use http_body_util::BodyExt;
use hyper::client::conn::http1;
use hyper_util::rt::TokioIo;
use serde::de::DeserializeOwned;
use serde_json::Value;
use std::convert::Infallible;
use std::io::Write;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::path::Path;
use std::time::{Duration, Instant};
use tokio::net::TcpStream;
use tokio::runtime::Runtime;
use tower::ServiceExt;

/// A service on this machine answers a connection within this.
const CONNECT_WITHIN: Duration = Duration::from_secs(5);
/// Another command, or a service that is just starting, is waited for so long,
const HELD_WITHIN: Duration = Duration::from_secs(10);
/// and looked for so often.
const LOOK_EVERY: Duration = Duration::from_millis(100);
/// An answer that is kept in memory is not longer than this, bytes: a page of 500 swings has about 2 MB.
const LONGEST_ANSWER: usize = 64 << 20;

/// The way to the record.
pub struct Door {
    runtime: Runtime,
    way: Way,
}

enum Way {
    /// The API in this process; nothing once it is closed.
    Here(Option<Box<Offline>>),
    /// A service on this machine.
    There(SocketAddr),
}

/// What the API answered; its status is one of success.
#[derive(Debug)]
pub struct Answer {
    /// The status.
    pub status: StatusCode,
    /// The headers.
    pub headers: HeaderMap,
    /// The whole body.
    pub body: Vec<u8>,
}

impl Door {
    /// The way that is open now. Waits a little for a command that has the folder, or a service that does not listen yet.
    ///
    /// # Errors
    /// If the folder or the store cannot be used, or who has the folder does not tell where it listens.
    pub fn open(config: &Config) -> Result<Self, DoorError> {
        let runtime =
            tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(DoorError::NoThreads)?;
        let way = runtime.block_on(Way::find(&serve::settings(config), HELD_WITHIN))?;
        Ok(Self { runtime, way })
    }

    /// The way to the running service, for what only that can do.
    ///
    /// # Errors
    /// If none runs, or as [`Self::open`].
    pub fn to_service(config: &Config) -> Result<Self, DoorError> {
        let door = Self::open(config)?;
        match door.way {
            Way::There(_) => Ok(door),
            Way::Here(_) => Err(DoorError::NoService(config.data_folder.value.clone())),
        }
    }

    /// The way to a service of this process.
    ///
    /// # Errors
    /// If there are no threads for it.
    pub fn to_address(address: SocketAddr) -> Result<Self, DoorError> {
        let runtime =
            tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(DoorError::NoThreads)?;
        Ok(Self { runtime, way: Way::There(address) })
    }

    /// GET.
    ///
    /// # Errors
    /// If it is refused, or there is no answer.
    pub fn get(&self, path: &str) -> Result<Answer, DoorError> {
        self.send(Method::GET, path, &[], Content::Nothing)
    }

    /// Any request.
    ///
    /// # Errors
    /// If it is refused, what is to be sent cannot be read, or there is no answer.
    pub fn send(
        &self,
        method: Method,
        path: &str,
        headers: &[(HeaderName, HeaderValue)],
        content: Content,
    ) -> Result<Answer, DoorError> {
        self.runtime.block_on(async {
            let (parts, body) = self.ask(method, path, headers, content).await?.into_parts();
            let body = whole(body).await?;
            Ok(Answer { status: parts.status, headers: parts.headers, body })
        })
    }

    /// GET of something long, as it comes; how many bytes it has. After an error what was written is not the whole.
    ///
    /// # Errors
    /// If it is refused, the answer ends early, or it cannot be written to `out`, which is to be `path`.
    pub fn download(&self, address: &str, path: &Path, out: &mut impl Write) -> Result<u64, DoorError> {
        self.runtime.block_on(async {
            let mut body = self.ask(Method::GET, address, &[], Content::Nothing).await?.into_body();
            let mut written = 0;
            while let Some(frame) = body.frame().await {
                let Ok(piece) = frame.map_err(DoorError::ended_early)?.into_data() else { continue };
                out.write_all(&piece).map_err(|cause| DoorError::File { path: path.into(), cause })?;
                written += piece.len() as u64;
            }
            Ok(written)
        })
    }

    async fn ask(
        &self,
        method: Method,
        path: &str,
        headers: &[(HeaderName, HeaderValue)],
        content: Content,
    ) -> Result<Response<Body>, DoorError> {
        let mut request = Request::new(Body::empty());
        *request.method_mut() = method;
        *request.uri_mut() = path.parse().map_err(DoorError::not_possible)?;
        request.headers_mut().extend(headers.iter().cloned());
        content.put_into(&mut request).await?;
        let response = self.way.ask(request).await?;
        if response.status().is_success() {
            return Ok(response);
        }
        let status = response.status();
        let body = whole(response.into_body()).await?;
        Err(DoorError::Refused(Refusal::read(status, &body)))
    }
}

/// Closes the store, if it is here, before the folder is let go.
impl Drop for Door {
    fn drop(&mut self) {
        if let Way::Here(offline) = &mut self.way
            && let Some(offline) = offline.take()
        {
            self.runtime.block_on(offline.close());
        }
    }
}

impl Way {
    async fn find(settings: &Settings, held_within: Duration) -> Result<Self, DoorError> {
        let begun = Instant::now();
        loop {
            let held = match Offline::open(settings).await {
                Ok(offline) => return Ok(Self::Here(Some(Box::new(offline)))),
                Err(StartError::Lock(LockError::Held { holder, folder })) => LockError::Held { holder, folder },
                Err(error) => return Err(error.into()),
            };
            if let Some(address) = told_by(&held, settings.listen) {
                return Ok(Self::There(address));
            }
            if begun.elapsed() > held_within {
                return Err(StartError::Lock(held).into());
            }
            tokio::time::sleep(LOOK_EVERY).await;
        }
    }

    async fn ask(&self, mut request: Request<Body>) -> Result<Response<Body>, DoorError> {
        let host = match self {
            Self::Here(_) => HeaderValue::from_static("localhost"),
            Self::There(address) => HeaderValue::try_from(address.to_string()).map_err(DoorError::not_possible)?,
        };
        request.headers_mut().insert(HOST, host);
        match self {
            Self::Here(Some(offline)) => {
                // Who has the folder is its owner, as a program of this machine is to a service.
                let here = SocketAddr::from((Ipv4Addr::LOCALHOST, 0));
                request.extensions_mut().insert(Peer { remote: here, local: here });
                let answered: Result<_, Infallible> = offline.router().oneshot(request).await;
                match answered {
                    Ok(response) => Ok(response),
                    Err(never) => match never {},
                }
            }
            Self::Here(None) => Err(DoorError::ended_early("it is closed")),
            Self::There(address) => ask_there(*address, request).await,
        }
    }
}

/// Where the one who has the folder listens, as a program of this machine reaches it.
fn told_by(held: &LockError, configured: SocketAddr) -> Option<SocketAddr> {
    let LockError::Held { holder, .. } = held else { return None };
    let address = match holder {
        Some(holder) => holder.http?,
        // On Windows a lock's text cannot be read: whoever runs the service has probably not configured it otherwise.
        None if configured.port() != 0 => configured,
        None => return None,
    };
    // A service that listens elsewhere listens on loopback too, where its owner is known without a token.
    let ip = match address.ip() {
        ip if ip.is_loopback() => ip,
        IpAddr::V6(ip) if ip.is_unspecified() => Ipv6Addr::LOCALHOST.into(),
        _ => Ipv4Addr::LOCALHOST.into(),
    };
    Some(SocketAddr::new(ip, address.port()))
}

/// One request on a connection of its own: on loopback that costs less than a millisecond.
async fn ask_there(address: SocketAddr, request: Request<Body>) -> Result<Response<Body>, DoorError> {
    let unreachable = |cause: String| DoorError::Unreachable { address, cause };
    let connecting = tokio::time::timeout(CONNECT_WITHIN, TcpStream::connect(address)).await;
    let stream = connecting.map_err(|late| unreachable(late.to_string()))?.map_err(|e| unreachable(e.to_string()))?;
    let (mut sender, connection) =
        http1::handshake(TokioIo::new(stream)).await.map_err(|error| unreachable(error.to_string()))?;
    // What ends it is told by the answer.
    tokio::spawn(connection);
    let response = sender.send_request(request).await.map_err(DoorError::ended_early)?;
    Ok(response.map(Body::new))
}

async fn whole(body: Body) -> Result<Vec<u8>, DoorError> {
    Ok(to_bytes(body, LONGEST_ANSWER).await.map_err(DoorError::ended_early)?.to_vec())
}

impl Answer {
    /// The body, read.
    ///
    /// # Errors
    /// If it has another form: the service is of another version.
    pub fn read<T: DeserializeOwned>(&self) -> Result<T, DoorError> {
        serde_json::from_slice(&self.body).map_err(DoorError::NotUnderstood)
    }

    /// The body as JSON.
    ///
    /// # Errors
    /// If it is none.
    pub fn json(&self) -> Result<Value, DoorError> {
        self.read()
    }

    /// Whether the body is JSON, by its header.
    pub fn is_json(&self) -> bool {
        self.headers.get(CONTENT_TYPE).is_some_and(|kind| kind.as_bytes().starts_with(b"application/json"))
    }
}
