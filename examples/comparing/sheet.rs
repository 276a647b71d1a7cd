//! The sheet to take home of the same swings, asked of its route.

use anyhow::ensure;
use axum::body::{Body, to_bytes};
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
use uuid::Uuid;

/// As the one who sits at the machine asks.
const HERE: SocketAddr = SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), 0);
const CAGE: &str = "north";
/// A sheet is no larger, bytes.
const LARGEST: usize = 50_000_000;

/// The longest that a sheet took, of so many for each reader, s.
///
/// # Errors
/// If one is refused, or has no pictures.
pub async fn worst(store: &Store, folder: &Path, athlete: Uuid, between: &str, times: usize) -> anyhow::Result<f64> {
    let routes = app(api(store, folder));
    let mut worst_s: f64 = 0.0;
    for reader in ["athlete", "instructor"] {
        let path = format!("/v1/athletes/{athlete}/report?for={reader}&then_to={between}&now_from={between}");
        for _ in 0..times {
            let peer = Peer { remote: HERE, local: HERE };
            let request = Request::get(&path).header(header::HOST, "localhost").extension(peer).body(Body::empty())?;
            let begun = Instant::now();
            let response = routes.clone().oneshot(request).await?;
            let status = response.status();
            let sheet = to_bytes(response.into_body(), LARGEST).await?;
            let took_s = begun.elapsed().as_secs_f64();
            let text = String::from_utf8_lossy(&sheet);
            ensure!(status.is_success(), "{path}: {status}: {text}");
            ensure!(text.contains("<svg") && text.contains("500 swings"), "{path}: not of all swings, or no pictures");
            worst_s = worst_s.max(took_s);
            println!("sheet for the {reader}, {} kB: {:.0} ms", sheet.len() / 1000, took_s * 1e3);
        }
    }
    Ok(worst_s)
}

fn api(store: &Store, folder: &Path) -> Api {
    Api {
        store: store.clone(),
        hub: Arc::new(Hub::new(Vec::new(), 1, 100, Box::new(|_| {}))),
        clock: Arc::new(SystemClock::new()),
        data_folder: folder.to_owned(),
        cage: CAGE.into(),
        turns: Arc::default(),
        access: Arc::new(Access::new(&Settings::default(), CAGE.into(), HERE, store.clone())),
        metrics: Arc::default(),
        nearly_full_bytes: 1,
        plate: Arc::new(|_| {}),
        nearby: Arc::default(),
        checks: Arc::default(),
        example: None,
        screen: Arc::default(),
        cancel: CancellationToken::new(),
        heartbeat: HEARTBEAT,
    }
}
