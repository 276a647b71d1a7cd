//! What the service counts for Prometheus: requests, event streams, and what comes from sensors.
//!
//! Nothing here names a person, a sensor or an id. [`text`] writes it.

pub mod text;

use serde_json::Value;
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// Upper ends of the buckets of durations, s: from a page of swings to a whole export.
pub const BUCKETS_S: [f64; 10] = [0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.5, 1.0, 5.0, 30.0];

/// Route and method of requests.
type Of = (String, &'static str);

/// Counts since the start.
#[derive(Debug, Default)]
pub struct Metrics {
    /// When the process began, s of UTC.
    pub started_utc_s: f64,
    requests: Mutex<BTreeMap<Of, Requests>>,
    sensors: Mutex<Totals>,
    streams: Arc<AtomicU64>,
}

/// Requests of a route and method.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Requests {
    /// How many were answered with each status.
    pub of_status: BTreeMap<u16, u64>,
    /// How many took at most so long as each bucket says, and no shorter bucket holds them.
    pub in_bucket: [u64; BUCKETS_S.len()],
    /// All together, s.
    pub sum_s: f64,
}

/// A front-end that follows events, until this is dropped.
#[derive(Debug)]
pub struct StreamClient(Arc<AtomicU64>);

impl Metrics {
    /// Nothing yet.
    pub fn new(started_utc_s: f64) -> Self {
        Self { started_utc_s, ..Self::default() }
    }

    /// A request was answered, or its answer begun.
    pub fn answered(&self, route: &str, method: &str, status: u16, took: Duration) {
        let mut requests = lock(&self.requests);
        let of = requests.entry((route.to_owned(), method_word(method))).or_default();
        *of.of_status.entry(status).or_default() += 1;
        of.sum_s += took.as_secs_f64();
        let bucket = BUCKETS_S.iter().position(|end| took.as_secs_f64() <= *end);
        if let Some(count) = bucket.and_then(|at| of.in_bucket.get_mut(at)) {
            *count += 1;
        }
    }

    /// All requests so far.
    pub fn requests(&self) -> BTreeMap<Of, Requests> {
        lock(&self.requests).clone()
    }

    /// A front-end begins to follow.
    pub fn stream_client(&self) -> StreamClient {
        self.streams.fetch_add(1, Ordering::Relaxed);
        StreamClient(Arc::clone(&self.streams))
    }

    /// How many follow.
    pub fn stream_clients(&self) -> u64 {
        self.streams.load(Ordering::Relaxed)
    }

    /// What came from sensors so far, as their states tell it now.
    pub fn sensors(&self, states: &[String]) -> Came {
        lock(&self.sensors).take(states)
    }
}

impl Drop for StreamClient {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::Relaxed);
    }
}

fn lock<T>(of: &Mutex<T>) -> MutexGuard<'_, T> {
    of.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A client may invent methods without end.
fn method_word(method: &str) -> &'static str {
    const KNOWN: [&str; 7] = ["GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"];
    KNOWN.into_iter().find(|known| *known == method).unwrap_or("other")
}

/// Sums over all sensors. A sensor's own counts begin anew with each of its recordings; these go on. What was counted
/// between the last look and such a beginning is missed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Came {
    /// Sensors that are connected now.
    pub connected: u64,
    /// Packets.
    pub packets: u64,
    /// Packets that were lost on the way.
    pub lost_packets: u64,
    /// Samples.
    pub samples: u64,
    /// Samples that were lost.
    pub lost_samples: u64,
    /// Packets that this machine was too busy to take.
    pub dropped_packets: u64,
    /// Entries that are in no recording.
    pub unrecorded_entries: u64,
}

/// Where each of the sums is in a sensor's state.
const PLACES: [&str; 6] = [
    "/counts/packets",
    "/counts/lost_packets",
    "/counts/samples",
    "/counts/lost_samples",
    "/counts/dropped",
    "/recording/lost_entries",
];

#[derive(Debug, Default)]
struct Totals {
    sums: [u64; PLACES.len()],
    /// Of each sensor, as last seen.
    seen: BTreeMap<String, [u64; PLACES.len()]>,
}

impl Totals {
    fn take(&mut self, states: &[String]) -> Came {
        let mut connected = 0;
        for state in states {
            let Ok(state) = serde_json::from_str::<Value>(state) else { continue };
            connected += u64::from(state["link"] == "connected");
            let name = state["sensor"].as_str().unwrap_or_default().to_owned();
            let seen = self.seen.entry(name).or_default();
            for ((sum, before), place) in self.sums.iter_mut().zip(seen).zip(PLACES) {
                let now = state.pointer(place).and_then(Value::as_u64).unwrap_or(0);
                *sum += now.checked_sub(*before).unwrap_or(now);
                *before = now;
            }
        }
        let [packets, lost_packets, samples, lost_samples, dropped_packets, unrecorded_entries] = self.sums;
        Came { connected, packets, lost_packets, samples, lost_samples, dropped_packets, unrecorded_entries }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn state(sensor: &str, link: &str, samples: u64) -> String {
        let counts = json!({"packets": samples / 19, "samples": samples, "lost_samples": 3});
        json!({"sensor": sensor, "link": link, "counts": counts, "recording": {"lost_entries": 1}}).to_string()
    }

    #[test]
    fn sums_go_on_where_a_sensors_counts_begin_anew() {
        let metrics = Metrics::new(0.0);
        metrics.sensors(&[state("a", "connected", 100)]);
        let came = metrics.sensors(&[state("a", "connected", 150), state("b", "lost", 1000)]);
        assert_eq!((came.connected, came.samples, came.lost_samples, came.unrecorded_entries), (1, 1150, 6, 2));
        assert_eq!(metrics.sensors(&[state("a", "connected", 20)]).samples, 1170);
        assert_eq!(metrics.sensors(&["no JSON".into()]).samples, 1170);
    }

    #[test]
    fn a_request_is_in_the_first_bucket_that_holds_it() {
        let metrics = Metrics::new(0.0);
        for ms in [1, 2, 3, 40_000] {
            metrics.answered("/v1/bats", "GET", 200, Duration::from_millis(ms));
        }
        metrics.answered("/v1/bats", "BREW", 405, Duration::ZERO);
        let requests = metrics.requests();
        let of = &requests[&("/v1/bats".to_owned(), "GET")];
        assert_eq!((of.of_status[&200], of.in_bucket[0], of.in_bucket[1]), (4, 2, 1));
        assert_eq!(of.in_bucket.iter().sum::<u64>(), 3, "one took longer than all buckets");
        assert!((of.sum_s - 40.006).abs() < 1e-9);
        assert!(requests.contains_key(&("/v1/bats".to_owned(), "other")));
    }

    #[test]
    fn who_follows_is_counted_until_they_go() {
        let metrics = Metrics::new(0.0);
        let client = metrics.stream_client();
        assert_eq!(metrics.stream_clients(), 1);
        drop(client);
        assert_eq!(metrics.stream_clients(), 0);
    }
}
