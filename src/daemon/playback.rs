//! A recording as a device: its entries go into a ring at the pace they came at, or a multiple of it.
//!
//! Times are those of the playback: it begins now, and what came a second later comes a second later on a clock that runs
//! `speed` times as fast as the host's. So a recording of a playback is one of a lesson that took as long as the first.

use super::clock::Clock;
use super::inlet::Inlet;
use crate::engine::wire::mcap::{Entry, LinkRecord, LinkState};
use std::sync::Arc;
use std::time::Duration;
use tokio_util::sync::CancellationToken;

/// Decoded samples go in pieces of about this much time, as from a sensor of 50 packets a second.
const PIECE: usize = 20;
/// The longest sleep before it is looked whether to stop.
const LONGEST_SLEEP: Duration = Duration::from_millis(100);
/// The ring is full: it is tried again so soon. A recording can wait, unlike a radio.
const FULL_WAIT: Duration = Duration::from_micros(500);

/// How a playback runs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pace {
    /// How many seconds of the recording pass in a second; infinite: as fast as it is taken.
    pub speed: f64,
}

/// Plays entries until there are no more or it is cancelled. Returns how many were played.
pub fn play(
    entries: &mut dyn FnMut() -> Option<Entry>,
    inlet: &Arc<Inlet>,
    clock: &dyn Clock,
    pace: Pace,
    cancel: &CancellationToken,
) -> u64 {
    let start = clock.now();
    let mut first_ns = None;
    let mut last_utc_ns = start.utc_ns;
    let mut played = 0;
    put(Entry::Link { log_time_ns: ns(start.utc_ns), link: link(LinkState::Connected, None) }, inlet, cancel);
    while let Some(entry) = entries() {
        for piece in pieces(entry) {
            let at_ns = time_ns(&piece);
            let is_sent = matches!(piece, Entry::Packet(_) | Entry::Samples { .. });
            if is_sent {
                first_ns.get_or_insert(at_ns);
            }
            // What stands before the first packet may be of long before.
            let since_ns = first_ns.map_or(0, |first_ns: i64| at_ns.saturating_sub(first_ns).max(0));
            let due = start.elapsed + Duration::from_secs_f64(since_ns as f64 * 1e-9 / pace.speed);
            while clock.now().elapsed < due && !cancel.is_cancelled() {
                std::thread::sleep(due.saturating_sub(clock.now().elapsed).min(LONGEST_SLEEP));
            }
            if cancel.is_cancelled() {
                return played;
            }
            last_utc_ns = start.utc_ns.saturating_add(since_ns);
            if is_sent {
                inlet.heard(clock.now());
            }
            put(at(piece, last_utc_ns), inlet, cancel);
            played += 1;
        }
    }
    let ended = link(LinkState::Lost, Some("the recording has ended".into()));
    put(Entry::Link { log_time_ns: ns(last_utc_ns), link: ended }, inlet, cancel);
    played
}

fn link(state: LinkState, cause: Option<String>) -> LinkRecord {
    LinkRecord { state, cause }
}

fn ns(utc_ns: i64) -> u64 {
    u64::try_from(utc_ns).unwrap_or(0)
}

/// Puts an entry into the ring, when there is room.
fn put(mut entry: Entry, inlet: &Inlet, cancel: &CancellationToken) {
    while let Err(back) = inlet.offer(entry) {
        if cancel.is_cancelled() {
            return;
        }
        entry = back;
        std::thread::sleep(FULL_WAIT);
    }
}

/// When an entry came, ns on the recording's own clock.
fn time_ns(entry: &Entry) -> i64 {
    match entry {
        Entry::Packet(packet) => packet.received_utc_ns,
        Entry::Samples { log_time_ns, .. }
        | Entry::Profile { log_time_ns, .. }
        | Entry::AtThePlate { log_time_ns, .. }
        | Entry::Device { log_time_ns, .. }
        | Entry::Link { log_time_ns, .. } => i64::try_from(*log_time_ns).unwrap_or(i64::MAX),
    }
}

/// The same entry at another time.
fn at(mut entry: Entry, utc_ns: i64) -> Entry {
    match &mut entry {
        Entry::Packet(packet) => packet.received_utc_ns = utc_ns,
        Entry::Samples { log_time_ns, .. }
        | Entry::Profile { log_time_ns, .. }
        | Entry::AtThePlate { log_time_ns, .. }
        | Entry::Device { log_time_ns, .. }
        | Entry::Link { log_time_ns, .. } => *log_time_ns = ns(utc_ns),
    }
    entry
}

/// Samples in short pieces, each at the time of its last one; anything else as it is.
fn pieces(entry: Entry) -> Vec<Entry> {
    let Entry::Samples { log_time_ns, samples } = entry else { return vec![entry] };
    let last_s = samples.last().map_or(0.0, |sample| sample.time.0);
    let piece = |piece: &[crate::engine::sample::Sample]| {
        let before_ns = piece.last().map_or(0.0, |sample| (last_s - sample.time.0) * 1e9);
        Entry::Samples { log_time_ns: log_time_ns.saturating_sub(before_ns as u64), samples: piece.to_vec() }
    };
    samples.chunks(PIECE).map(piece).collect()
}
