//! The sockets: connections taken, each bounded in time and number, and let go when the service stops.
//!
//! A client that sends its head too slowly is cut off (`head`), and so is an idle connection; what comes after the head is
//! the router's to bound. A connection without a place ([`Room`]) is closed at once. Cancelling lets answers that have
//! begun end; dropping the future cuts them off.

use super::caller::Peer;
use super::room::Room;
use axum::body::Body;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use std::io::ErrorKind;
use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::pin::pin;
use std::time::Duration;
use tokio::net::{TcpListener, TcpStream, UdpSocket};
use tokio::task::JoinSet;
use tokio_util::sync::CancellationToken;
use tower::ServiceExt;

/// A head is not longer than this, bytes: the longest path, query and headers there are in use are a tenth of it.
const LONGEST_HEAD: usize = 64 * 1024;
/// Out of files, a while until others have closed theirs.
const PAUSE: Duration = Duration::from_millis(500);

/// The listeners for an address: it, and on the same port loopback too where it is not among what the address covers, so
/// that this machine always gets in by itself.
///
/// # Errors
/// If the address is not free.
pub async fn listen(address: SocketAddr) -> std::io::Result<Vec<TcpListener>> {
    let first = TcpListener::bind(address).await?;
    let port = first.local_addr()?.port();
    let mut listeners = vec![first];
    if !address.ip().is_loopback() && !address.ip().is_unspecified() {
        listeners.push(TcpListener::bind((Ipv4Addr::LOCALHOST, port)).await?);
    }
    Ok(listeners)
}

/// The address by which other machines reach one that listens on `listen`; `None`: they do not, or it is not known.
pub async fn reached_at(listen: SocketAddr) -> Option<SocketAddr> {
    if listen.ip().is_loopback() {
        return None;
    }
    if !listen.ip().is_unspecified() {
        return Some(listen);
    }
    // Nothing is sent by this: the system only chooses from where it would be. The address is of RFC 5737.
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).await.ok()?;
    socket.connect((Ipv4Addr::new(192, 0, 2, 1), 9)).await.ok()?;
    let ip = socket.local_addr().ok()?.ip();
    (!ip.is_loopback() && ip != IpAddr::V4(Ipv4Addr::UNSPECIFIED)).then(|| SocketAddr::new(ip, listen.port()))
}

/// Serves until it is cancelled and all answers have ended.
pub async fn serve(listeners: Vec<TcpListener>, app: axum::Router, head: Duration, cancel: CancellationToken) {
    let room = Room::default();
    let mut all = JoinSet::new();
    for listener in listeners {
        all.spawn(accept(listener, app.clone(), head, room.clone(), cancel.clone()));
    }
    while all.join_next().await.is_some() {}
}

async fn accept(listener: TcpListener, app: axum::Router, head: Duration, room: Room, cancel: CancellationToken) {
    let mut connections = JoinSet::new();
    loop {
        let accepted = tokio::select! {
            accepted = listener.accept() => accepted,
            Some(_) = connections.join_next() => continue,
            () = cancel.cancelled() => break,
        };
        match accepted {
            Ok((stream, remote)) => {
                let Ok(local) = stream.local_addr() else { continue };
                let peer = Peer { remote, local };
                let Some(place) = room.enter(&peer) else {
                    tracing::debug!(%remote, "no more connections are taken from there");
                    continue;
                };
                let (app, cancel) = (app.clone(), cancel.clone());
                connections.spawn(async move {
                    converse(stream, peer, app, head, cancel).await;
                    drop(place);
                });
            }
            Err(error) if is_of_one_connection(error.kind()) => {}
            Err(error) => {
                tracing::error!(%error, "no connection can be taken");
                tokio::time::sleep(PAUSE).await;
            }
        }
    }
    drop(listener);
    while connections.join_next().await.is_some() {}
}

fn is_of_one_connection(kind: ErrorKind) -> bool {
    matches!(kind, ErrorKind::ConnectionRefused | ErrorKind::ConnectionAborted | ErrorKind::ConnectionReset)
}

async fn converse(stream: TcpStream, peer: Peer, app: axum::Router, head: Duration, cancel: CancellationToken) {
    // Events are short and must not wait for a buffer to fill.
    if let Err(error) = stream.set_nodelay(true) {
        tracing::debug!(%error, "events may be late by a few ms");
    }
    let service = service_fn(move |request: hyper::Request<Incoming>| {
        let mut request = request.map(Body::new);
        request.extensions_mut().insert(peer);
        app.clone().oneshot(request)
    });
    let mut builder = http1::Builder::new();
    builder.timer(TokioTimer::new()).header_read_timeout(head).max_buf_size(LONGEST_HEAD);
    let mut connection = pin!(builder.serve_connection(TokioIo::new(stream), service));
    let ended = tokio::select! {
        ended = connection.as_mut() => ended,
        () = cancel.cancelled() => {
            connection.as_mut().graceful_shutdown();
            connection.await
        }
    };
    if let Err(error) = ended {
        tracing::debug!(remote = %peer.remote, %error, "a connection ended early");
    }
}
