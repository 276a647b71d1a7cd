//! The way in for one sensor: a ring between whoever receives and the station's thread.
//!
//! The radio's task stamps, copies and leaves; it never waits for analysis, disk or clients. The ring is lock-free
//! between its two ends; the lock on the sending end is there because the connection's own news (made, lost, how to read)
//! come from another task than its packets, and is held for one copy.

use super::clock::{Clock, Now};
use super::radio::Sink;
use crate::engine::device::own;
use crate::engine::wire::mcap::{Entry, Packet};
use ringbuf::traits::{Consumer, Producer, Split};
use ringbuf::{HeapCons, HeapProd, HeapRb};
use std::collections::VecDeque;
use std::sync::atomic::{AtomicI64, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

/// Entries in the ring: at the 53 packets a second of a 1 kHz sensor over a minute, at 250 a second 16 s; more than any
/// pause of the thread behind it. What comes when it is full is dropped and counted, and shows as loss.
pub const DEPTH: usize = 4096;

/// So many entries that are no packets wait for room.
const MOST_LATE: usize = 64;

/// Wakes whoever empties the ring.
pub type Wake = Box<dyn Fn() + Send + Sync>;

/// The sending end, shared by all that send for one sensor.
pub struct Inlet {
    sensor: String,
    end: Mutex<SendingEnd>,
    wake: Wake,
    dropped: AtomicU64,
    received: AtomicU64,
    /// When the last packet came, ms since the clock was made; −1 before the first.
    last_ms: AtomicI64,
}

struct SendingEnd {
    ring: HeapProd<Entry>,
    /// What is not a packet and found the ring full: few, and each changes how packets are read or whose they are.
    late: VecDeque<Entry>,
}

impl SendingEnd {
    fn settle(&mut self) {
        while let Some(first) = self.late.pop_front() {
            if let Err(first) = self.ring.try_push(first) {
                self.late.push_front(first);
                return;
            }
        }
    }

    fn offer(&mut self, entry: Entry) -> Result<(), Entry> {
        self.settle();
        if self.late.is_empty() { self.ring.try_push(entry) } else { Err(entry) }
    }
}

/// The receiving end.
pub struct Outlet(HeapCons<Entry>);

/// A ring for `sensor`.
pub fn ring(sensor: &str, wake: Wake) -> (Arc<Inlet>, Outlet) {
    let (producer, consumer) = HeapRb::new(DEPTH).split();
    let inlet = Inlet {
        sensor: sensor.into(),
        end: Mutex::new(SendingEnd { ring: producer, late: VecDeque::new() }),
        wake,
        dropped: AtomicU64::new(0),
        received: AtomicU64::new(0),
        last_ms: AtomicI64::new(-1),
    };
    (Arc::new(inlet), Outlet(consumer))
}

impl Inlet {
    /// Puts an entry into the ring; gives it back if there is no room.
    pub fn offer(&self, entry: Entry) -> Result<(), Entry> {
        let offered = self.end.lock().unwrap_or_else(PoisonError::into_inner).offer(entry);
        (self.wake)();
        offered
    }

    /// Puts an entry into the ring. Without room, a packet is counted as dropped, anything else goes in before the next
    /// entry.
    pub fn push(&self, entry: Entry) {
        let mut end = self.end.lock().unwrap_or_else(PoisonError::into_inner);
        if let Err(entry) = end.offer(entry) {
            let can_wait = !matches!(entry, Entry::Packet(_) | Entry::Samples { .. }) && end.late.len() < MOST_LATE;
            if can_wait {
                end.late.push_back(entry);
            } else {
                self.dropped.fetch_add(1, Ordering::Relaxed);
            }
        }
        drop(end);
        (self.wake)();
    }

    /// Puts what waits for room into the ring, as far as there is room.
    pub fn settle(&self) {
        self.end.lock().unwrap_or_else(PoisonError::into_inner).settle();
    }

    /// A packet that has just come.
    pub fn packet(&self, characteristic: String, bytes: Vec<u8>, now: Now) {
        self.heard(now);
        self.aside(characteristic, bytes, now);
    }

    /// A value that was read, put beside the packets; it is no sign that the sensor sends.
    pub fn aside(&self, characteristic: String, bytes: Vec<u8>, now: Now) {
        let sensor = self.sensor.clone();
        self.push(Entry::Packet(Packet { received_utc_ns: now.utc_ns, sensor, characteristic, bytes }));
    }

    /// Something of the sensor's has just come.
    pub fn heard(&self, now: Now) {
        self.received.fetch_add(1, Ordering::Relaxed);
        let ms = i64::try_from(now.elapsed.as_millis()).unwrap_or(i64::MAX);
        self.last_ms.store(ms, Ordering::Relaxed);
    }

    /// Where the radio is to put notifications.
    pub fn sink(self: &Arc<Self>, clock: Arc<dyn Clock>) -> Sink {
        let inlet = Arc::clone(self);
        Arc::new(move |characteristic, bytes| {
            let characteristic = characteristic.to_string();
            match characteristic.as_str() {
                // Answers are no sign that the sensor sends.
                own::CONTROL | own::BATTERY_LEVEL => inlet.aside(characteristic, bytes, clock.now()),
                _ => inlet.packet(characteristic, bytes, clock.now()),
            }
        })
    }

    /// Whose it is.
    pub fn sensor(&self) -> &str {
        &self.sensor
    }

    /// Packets that have come.
    pub fn received(&self) -> u64 {
        self.received.load(Ordering::Relaxed)
    }

    /// Entries for which there was no room.
    pub fn dropped(&self) -> u64 {
        self.dropped.load(Ordering::Relaxed)
    }

    /// For how long nothing has come, s; `None` before the first packet.
    pub fn silent_s(&self, now: Now) -> Option<f64> {
        let last_ms = self.last_ms.load(Ordering::Relaxed);
        (last_ms >= 0).then_some(now.elapsed.as_secs_f64() - last_ms as f64 * 1e-3)
    }
}

impl Outlet {
    /// The next entry, if there is one.
    pub fn pop(&mut self) -> Option<Entry> {
        self.0.try_pop()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    fn now(ms: u64) -> Now {
        Now { utc_ns: 7, elapsed: Duration::from_millis(ms) }
    }

    #[test]
    fn what_does_not_fit_is_counted_and_the_rest_keeps_its_order() {
        let (inlet, mut outlet) = ring("knob", Box::new(|| {}));
        assert_eq!(inlet.silent_s(now(5)), None);
        for k in 0..DEPTH + 3 {
            inlet.packet("c".into(), k.to_le_bytes().to_vec(), now(k as u64));
        }
        assert_eq!((inlet.dropped(), inlet.received()), (3, DEPTH as u64 + 3));
        for k in 0..DEPTH {
            let Some(Entry::Packet(packet)) = outlet.pop() else { panic!("{k}") };
            assert_eq!(packet.bytes, k.to_le_bytes());
        }
        assert!(outlet.pop().is_none());
        let silent_s = inlet.silent_s(now(DEPTH as u64 + 1002)).unwrap();
        assert!((silent_s - 1.0).abs() < 1e-9, "{silent_s}");
    }

    #[test]
    fn what_is_no_packet_waits_for_room_and_keeps_its_place() {
        let (inlet, mut outlet) = ring("knob", Box::new(|| {}));
        let profile = |toml: &str| Entry::Profile { log_time_ns: 0, toml: toml.into() };
        (0..DEPTH).for_each(|_| inlet.packet("c".into(), vec![1], now(0)));
        inlet.push(profile("a"));
        inlet.push(profile("b"));
        inlet.packet("c".into(), vec![2], now(0));
        assert_eq!(inlet.dropped(), 1);
        (0..3).for_each(|_| drop(outlet.pop()));
        inlet.packet("c".into(), vec![3], now(0));
        let rest: Vec<Entry> = std::iter::from_fn(|| outlet.pop()).skip(DEPTH - 3).collect();
        assert_eq!(rest[..2], [profile("a"), profile("b")]);
        assert!(matches!(&rest[2..], [Entry::Packet(packet)] if packet.bytes == [3]), "{rest:?}");
        assert_eq!(inlet.dropped(), 1);
    }
}
