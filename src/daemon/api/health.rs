//! How the service is, with causes; and the same in numbers for Prometheus.

use super::Api;
use super::live::FaultOut;
use crate::daemon::metrics::text::{MEDIA_TYPE, Text};
use crate::daemon::store::error::failures;
use crate::daemon::store::queries::tokens;
use crate::daemon::store::rows::UtcMicros;
use axum::Json;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use std::time::Duration;
use utoipa::ToSchema;

/// The store and the disk answer within this, or are out of reach.
const WITHIN: Duration = Duration::from_secs(2);
/// With less than this nothing more can be kept, bytes: as `swingd doctor` says it.
const NO_ROOM_BYTES: u64 = 50_000_000;

/// How the service is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Status {
    /// All is well.
    Ok,
    /// It works, worse than it could.
    Poor,
    /// Something is not kept, or cannot be read.
    Failing,
}

/// How the service is, and why.
#[derive(Serialize, ToSchema)]
pub struct Health {
    /// In one word.
    status: Status,
    /// What is wrong.
    causes: Vec<FaultOut>,
    /// Whether the store could be read within two seconds.
    is_store_reachable: bool,
    /// Room on the disk of the data folder, bytes; null: not known.
    #[schema(required)]
    free_bytes: Option<u64>,
    /// The program's version.
    version: &'static str,
}

/// Read how the service is
///
/// 200 while it works, `poor` among it; 503 when it is failing.
#[utoipa::path(
    get, path = "/v1/health", tag = "live",
    responses((status = 200, body = Health), (status = 503, description = "It is failing", body = Health))
)]
pub async fn health(State(api): State<Api>) -> Response {
    let (is_store_reachable, free_bytes) = tokio::join!(is_store_reachable(&api), free_bytes(&api));
    let faults = api.hub.faults().into_iter();
    let mut causes: Vec<_> = faults.map(FaultOut::from).collect();
    let (mut is_failing, mut is_poor) = (false, !causes.is_empty());
    if !is_store_reachable {
        is_failing = true;
        causes.push(FaultOut::of_service(
            "store",
            "the store cannot be read".into(),
            "check the disk, or the database server and the way to it; `swingd doctor` says more",
        ));
    }
    if let Some(free) = free_bytes.filter(|free| *free < api.nearly_full_bytes.max(NO_ROOM_BYTES)) {
        (is_failing, is_poor) = (is_failing || free < NO_ROOM_BYTES, true);
        let cause = format!("{} MB are free on the disk of the data folder", free / 1_000_000);
        causes.push(FaultOut::of_service("disk", cause, "remove or move old recordings"));
    }
    let (code, status) = match (is_failing, is_poor) {
        (true, _) => (StatusCode::SERVICE_UNAVAILABLE, Status::Failing),
        (false, true) => (StatusCode::OK, Status::Poor),
        (false, false) => (StatusCode::OK, Status::Ok),
    };
    let version = env!("CARGO_PKG_VERSION");
    (code, Json(Health { status, causes, is_store_reachable, free_bytes, version })).into_response()
}

async fn is_store_reachable(api: &Api) -> bool {
    let read = async { tokens::count_valid(&mut *api.store.read().await?, UtcMicros(0)).await };
    matches!(tokio::time::timeout(WITHIN, read).await, Ok(Ok(_)))
}

/// A disk that hangs holds up a thread and not the answer.
async fn free_bytes(api: &Api) -> Option<u64> {
    let folder = api.data_folder.clone();
    let asked = tokio::task::spawn_blocking(move || fs4::available_space(folder));
    tokio::time::timeout(WITHIN, asked).await.ok()?.ok()?.ok()
}

/// Read what is counted
///
/// In the text format 0.0.4 of Prometheus. Names begin with `swingd_`; no name of a person and no id is among the labels.
#[utoipa::path(
    get, path = "/metrics", tag = "live",
    responses((status = 200, content_type = "text/plain", body = String))
)]
pub async fn metrics(State(api): State<Api>) -> Response {
    let metrics = &api.metrics;
    let free = free_bytes(&api).await;
    let states: Vec<String> = api.hub.sensors().into_iter().map(|(_, state)| state).collect();
    let came = metrics.sensors(&states);
    let told = api.hub.told();
    let kinds: Vec<_> = told.iter().map(|(kind, count)| ([("kind", kind.as_str())], *count)).collect();
    let kinds: Vec<_> = kinds.iter().map(|(labels, count)| (&labels[..], *count)).collect();
    let mut text = Text::default();
    text.requests(&metrics.requests())
        .metric("swingd_events_total", "counter", "Events that were told, by kind; a swing up to three times.", &kinds)
        .one("swingd_event_stream_clients", "gauge", "Front-ends that follow events.", metrics.stream_clients())
        .one("swingd_sensors_connected", "gauge", "Sensors that are connected.", came.connected)
        .one("swingd_packets_total", "counter", "Packets that came from sensors.", came.packets)
        .one("swingd_packets_lost_total", "counter", "Packets that were lost on the way.", came.lost_packets)
        .one("swingd_packets_dropped_total", "counter", "Packets this machine had no time for.", came.dropped_packets)
        .one("swingd_samples_total", "counter", "Samples that came from sensors.", came.samples)
        .one("swingd_samples_lost_total", "counter", "Samples that were lost.", came.lost_samples)
        .one(
            "swingd_recording_entries_lost_total",
            "counter",
            "Entries that are in no recording.",
            came.unrecorded_entries,
        )
        .one("swingd_faults", "gauge", "Faults that there are now.", api.hub.faults().len())
        .one("swingd_store_errors_total", "counter", "Reads and writes of the store that failed.", failures())
        .one("swingd_process_start_time_seconds", "gauge", "Start of the process, of UTC.", metrics.started_utc_s);
    if let Some(free) = free {
        text.one("swingd_disk_free_bytes", "gauge", "Room on the disk of the data folder.", free);
    }
    ([(header::CONTENT_TYPE, MEDIA_TYPE)], text.done()).into_response()
}
