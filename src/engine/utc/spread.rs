//! How much of the least-delayed packet's delay was waiting for the radio.
//!
//! A packet waits for the next connection event, so delays are a phase plus the rest. If packets and events drift
//! through each other, all phases occur and the least delay is soon seen. If they keep step (20 ms a packet, 30 ms an
//! interval), only some phases occur, with holes between them: the least phase is then anywhere from 0 to the width of a
//! hole. With one phase alone there is no hole to be seen, but a scatter narrower than any connection interval (at least
//! 7.5 ms; Bluetooth Core Specification, Vol 6, Part B, 4.5.1, from memory).

use super::Point;

/// Points kept: a random choice of all, and later of the last ones.
const KEPT: usize = 256;

/// As scatter is taken to be this before anything is known of it, s, n packets leave a hole of an n-th of it.
const UNKNOWN_SCATTER_S: f64 = 0.1;

/// Scatter within the bulk below this is one phase alone, s: phases spread over the shortest interval scatter by 5.6 ms …
const NARROW_S: f64 = 0.0025;
/// … of an interval of about this, s (common practice, no source).
const USUAL_INTERVAL_S: f64 = 0.015;

/// Holes are looked for up to this share of the delays: beyond it they are those of any thin tail.
const BULK: f64 = 0.75;

/// Jitter fills a hole from its edges, by about a fifth of it. Chosen on simulated delays.
const FILLED: f64 = 1.25;

/// Beyond this the choice is not made thinner: with 50 packets a second, the kept ones are then of 20 min.
const THINNEST: u64 = 256;

#[derive(Clone, Debug)]
pub(super) struct Spread {
    kept: Vec<Point>,
    next: usize,
    seen: u64,
    one_of: u64,
    /// The hole, when it was last looked for.
    hole_s: f64,
    look_at: u64,
}

impl Spread {
    pub(super) fn new() -> Self {
        Self { kept: Vec::with_capacity(KEPT), next: 0, seen: 0, one_of: 1, hole_s: 0.0, look_at: 0 }
    }

    pub(super) fn push(&mut self, point: Point) {
        self.seen += 1;
        // Chosen at random, as every second packet may have every second phase.
        if !mixed(self.seen).is_multiple_of(self.one_of) {
            return;
        }
        if self.kept.len() < KEPT {
            self.kept.push(point);
        } else if self.one_of < THINNEST {
            self.one_of *= 2;
            let mut place = 0_usize;
            self.kept.retain(|_| {
                place += 1;
                place.is_multiple_of(2)
            });
            self.kept.push(point);
        } else {
            if let Some(oldest) = self.kept.get_mut(self.next) {
                *oldest = point;
            }
            self.next = (self.next + 1) % KEPT;
        }
    }

    /// The widest phase that may not have been seen, s, after so many pairs, with delays over a line of such a slope.
    pub(super) fn unseen_phase_s(&mut self, drift: f64, pairs: u64) -> f64 {
        if self.seen >= self.look_at {
            self.hole_s = self.hole_over(drift);
            self.look_at = self.seen + (self.seen / 8).clamp(1, KEPT as u64);
        }
        self.hole_s.max(UNKNOWN_SCATTER_S / pairs.max(1) as f64)
    }

    fn hole_over(&self, drift: f64) -> f64 {
        let mut heights_s: Vec<f64> = self.kept.iter().map(|point| point.over(drift)).collect();
        heights_s.sort_unstable_by(f64::total_cmp);
        let bulk = heights_s.get(..=(BULK * heights_s.len() as f64) as usize).unwrap_or_default();
        let (Some(least_s), Some(most_s)) = (bulk.first(), bulk.last()) else { return USUAL_INTERVAL_S };
        let hole_s = bulk.iter().zip(bulk.iter().skip(1)).map(|(low, high)| high - low).fold(0.0, f64::max) * FILLED;
        if most_s - least_s < NARROW_S { hole_s.max(USUAL_INTERVAL_S) } else { hole_s }
    }
}

/// A number's bits mixed, after SplitMix64 (Steele, Lea & Flood, *OOPSLA* 2014).
fn mixed(number: u64) -> u64 {
    let mut z = number.wrapping_mul(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}
