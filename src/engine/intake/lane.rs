//! One stream of packets in its own order, on its own ticks.
//!
//! Enters: packets as decoded, with receive times. Leaves: the same packets in order, each once, with unwrapped ticks,
//! and the news that the sensor began to count anew. Wrap, restart, duplicates, reordering and loss are told apart like
//! this. A packet that follows its number and tick goes on. One that leaps is held until the missing ones come or
//! [`MOST_HELD`] are held: then they are lost. Where a tick could be several things, the host's receive times decide how
//! often it wrapped. A tick that fits no such story is suspect: [`SUSPECTS_TO_BELIEVE`] in a row that fit each other are a
//! restart, fewer are absurd.

use super::counts::Counts;
use crate::engine::device::{RawReading, Readings, StreamLayout};
use std::collections::{BTreeMap, VecDeque};

/// So many packets are held for one that is missing. Radio links deliver in order; a packet this late will not come.
const MOST_HELD: usize = 3;
/// So many suspect packets in a row that fit each other are believed.
const SUSPECTS_TO_BELIEVE: usize = 3;
/// Two suspect packets fit each other if no more than this are missing between them, less one.
const SUSPECT_LEAP: u128 = 8;
/// So many of the last packets are known by their keys, to tell a duplicate from one that is late.
const DELIVERED_KEPT: usize = 64;
/// How far receive times may be from the ticks before something else must be the case, s: links stall for seconds.
const SLACK_S: f64 = 3.0;
/// The same per second since the last packet: the worst clocks.
const SLACK_PER_S: f64 = 0.003;
/// A packet may be this much older than the last one, s; one older is of another count.
const OLDER_S: f64 = 0.3;
/// A leap that packet numbers and ticks agree on is believed against receive times up to this, s: the host's clock was
/// set, or the link stalled.
const AGREED_LEAP_S: f64 = 60.0;
/// And they agree if they differ by less than this, s: by what the sensor itself lost.
const AGREED_WITHIN_S: f64 = 2.0;
/// A stream without any counter has lost something when it comes this much later than it could, s.
const UNCOUNTED_LOSS_S: f64 = 0.25;
/// How fast the least delay of such a stream is forgotten: more than any sensor's clock is off.
const FORGOTTEN_PER_S: f64 = 0.002;

/// What a lane gives.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Ordered {
    /// Readings in order.
    Readings(OrderedReadings),
    /// What follows is counted anew.
    Restarted,
}

#[derive(Clone, Debug, PartialEq)]
pub(super) struct OrderedReadings {
    /// Unwrapped tick of the first.
    pub(super) tick: i64,
    /// Ticks from one to the next.
    pub(super) step: f64,
    pub(super) readings: Vec<RawReading>,
    pub(super) is_faulty: bool,
    pub(super) received_utc_ns: i64,
}

#[derive(Debug)]
pub(super) struct Lane {
    layout: StreamLayout,
    /// Ticks a second, of the layout or made up for a stream without ticks.
    tick_hz: f64,
    nominal_step: f64,
    last: Option<Last>,
    held: BTreeMap<i64, Held>,
    delivered: VecDeque<i64>,
    suspects: Vec<Suspect>,
    /// Ticks and samples of packets that followed each other without loss.
    run_ticks: i64,
    run_samples: i64,
    /// For a stream without any counter: the next index, and the least delay of its receive times.
    index: i64,
    least_delay_s: Option<(f64, i64)>,
}

/// The last packet that was given on.
#[derive(Clone, Copy, Debug)]
struct Last {
    key: i64,
    tick: i64,
    count: i64,
    step: f64,
    received_utc_ns: i64,
}

#[derive(Debug)]
struct Held {
    tick: i64,
    received_utc_ns: i64,
    readings: Readings,
}

#[derive(Debug)]
struct Suspect {
    raw: u64,
    sequence: Option<u64>,
    received_utc_ns: i64,
    readings: Readings,
}

impl Lane {
    pub(super) fn new(layout: StreamLayout) -> Self {
        // Without ticks, samples are counted instead.
        let tick_hz = if has_ticks(&layout) { layout.tick_hz } else { layout.sample_rate_hz };
        Self {
            layout,
            tick_hz,
            nominal_step: tick_hz / layout.sample_rate_hz,
            last: None,
            held: BTreeMap::new(),
            delivered: VecDeque::new(),
            suspects: Vec::new(),
            run_ticks: 0,
            run_samples: 0,
            index: 0,
            least_delay_s: None,
        }
    }

    /// Ticks a second of what [`take`](Self::take) gives.
    pub(super) fn tick_hz(&self) -> f64 {
        self.tick_hz
    }

    pub(super) fn layout(&self) -> &StreamLayout {
        &self.layout
    }

    pub(super) fn take(
        &mut self,
        readings: Readings,
        received_utc_ns: i64,
        counts: &mut Counts,
        out: &mut Vec<Ordered>,
    ) {
        let count = readings.readings.len().max(1);
        let raw = match (readings.tick, readings.sequence) {
            (Some(tick), _) if self.has_ticks() => tick,
            (_, Some(sequence)) if self.layout.sequence_modulus.is_some() => sequence.saturating_mul(count as u64),
            _ => return self.take_uncounted(readings, received_utc_ns, counts, out),
        };
        let sequence = readings.sequence.filter(|_| self.is_numbered());
        let place = self.place(raw, sequence, count, received_utc_ns);
        match place {
            Some((key, tick)) => {
                counts.absurd += self.suspects.drain(..).count() as u64;
                self.put(key, Held { tick, received_utc_ns, readings }, counts, out);
            }
            None => self.suspect(Suspect { raw, sequence, received_utc_ns, readings }, counts, out),
        }
    }

    /// No more is to come before a pause: what is held goes on.
    pub(super) fn flush(&mut self, counts: &mut Counts, out: &mut Vec<Ordered>) {
        while let Some((key, held)) = self.held.pop_first() {
            self.deliver(key, held, counts, out);
        }
        counts.absurd += self.suspects.drain(..).count() as u64;
    }

    /// What was counted so far is over; what is held is of it and cannot be placed any more.
    pub(super) fn forget(&mut self) {
        *self = Self { index: self.index, ..Self::new(self.layout) };
    }

    /// The sensor counts anew from here on.
    fn restart(&mut self, counts: &mut Counts, out: &mut Vec<Ordered>) {
        if self.last.is_none() {
            return;
        }
        self.flush(counts, out);
        self.begin_anew(out);
        counts.restarts += 1;
    }

    fn begin_anew(&mut self, out: &mut Vec<Ordered>) {
        out.push(Ordered::Restarted);
        self.forget();
    }

    fn has_ticks(&self) -> bool {
        has_ticks(&self.layout)
    }

    /// Whether packets are told apart by number, and placed by tick.
    fn is_numbered(&self) -> bool {
        self.has_ticks() && self.layout.sequence_modulus.is_some()
    }

    /// The modulus of what is taken for ticks.
    fn modulus(&self, count: usize) -> i64 {
        let modulus = match self.layout.tick_modulus {
            Some(modulus) if self.has_ticks() => modulus,
            _ => self.layout.sequence_modulus.unwrap_or(1 << 32).saturating_mul(count as u64),
        };
        i64::try_from(modulus).unwrap_or(i64::MAX).max(1)
    }

    /// Key and unwrapped tick of a packet, if it can be of the count that runs.
    fn place(&self, raw: u64, sequence: Option<u64>, count: usize, received_utc_ns: i64) -> Option<(i64, i64)> {
        let raw = i64::try_from(raw).unwrap_or(i64::MAX);
        let Some(last) = self.last else {
            return Some((sequence.map_or(raw, |s| i64::try_from(s).unwrap_or(i64::MAX)), raw));
        };
        let modulus = self.modulus(count);
        let forward = (raw - last.tick.rem_euclid(modulus)).rem_euclid(modulus);
        let nearest = if forward > modulus / 2 { forward - modulus } else { forward };
        let seconds = |ticks: i64| ticks as f64 / self.tick_hz;
        let packet_ticks = (last.count as f64 * last.step).max(1.0);
        let next = self.sequence_leap(sequence, last.key, seconds(nearest), packet_ticks);
        let agreed = match next {
            // Number and tick tell the same story, whatever the host's clock says.
            Some(leap) => {
                let story = leap as f64 * packet_ticks;
                let off_s = (nearest as f64 - story).abs() / self.tick_hz;
                // Numbers that wrap soon agree with anything in the long run.
                let wraps_after_s = self.layout.sequence_modulus.unwrap_or(0) as f64 * packet_ticks / self.tick_hz;
                let within = seconds(nearest) < AGREED_LEAP_S.min(0.25 * wraps_after_s);
                leap >= 1 && nearest > 0 && within && off_s < AGREED_WITHIN_S.min(0.05 * wraps_after_s)
            }
            None => (nearest as f64 - packet_ticks).abs() < 0.5 * last.step,
        };
        let elapsed_s = received_utc_ns.saturating_sub(last.received_utc_ns) as f64 * 1e-9;
        let delta = if agreed { nearest } else { self.by_receive_time(nearest, elapsed_s, modulus)? };
        let key = match sequence {
            None => last.tick.checked_add(delta)?,
            Some(_) => last.key.checked_add(self.sequence_leap(sequence, last.key, seconds(delta), packet_ticks)?)?,
        };
        Some((key, last.tick.checked_add(delta)?))
    }

    /// How many packets on (or back) a number is, by the ticks' rough word on how often it wrapped.
    fn sequence_leap(&self, sequence: Option<u64>, key: i64, leap_s: f64, packet_ticks: f64) -> Option<i64> {
        let modulus = i64::try_from(self.layout.sequence_modulus?).ok()?.max(1);
        let found = i64::try_from(sequence?).ok()?;
        let near = (leap_s * self.tick_hz / packet_ticks).round() as i64;
        let off = found.wrapping_sub(key.wrapping_add(near)).rem_euclid(modulus);
        Some(near.saturating_add(if off > modulus / 2 { off - modulus } else { off }))
    }

    /// The tick's leap that fits the time since the last packet best, if it fits at all.
    fn by_receive_time(&self, nearest: i64, elapsed_s: f64, modulus: i64) -> Option<i64> {
        let period_s = modulus as f64 / self.tick_hz;
        let slack_s = (SLACK_S + SLACK_PER_S * elapsed_s.abs()).min(0.25 * period_s);
        let wraps = ((elapsed_s - nearest as f64 / self.tick_hz) / period_s).round();
        let delta = nearest.checked_add((wraps as i64).checked_mul(modulus)?)?;
        let delta_s = delta as f64 / self.tick_hz;
        ((delta_s - elapsed_s).abs() <= slack_s && delta_s > -OLDER_S).then_some(delta)
    }

    fn suspect(&mut self, suspect: Suspect, counts: &mut Counts, out: &mut Vec<Ordered>) {
        let fits = self.suspects.last().is_none_or(|before| self.follows(before, &suspect));
        if !fits {
            counts.absurd += self.suspects.drain(..).count() as u64;
        }
        self.suspects.push(suspect);
        if self.suspects.len() < SUSPECTS_TO_BELIEVE {
            return;
        }
        let believed = std::mem::take(&mut self.suspects);
        self.restart(counts, out);
        for suspect in believed {
            self.take(suspect.readings, suspect.received_utc_ns, counts, out);
        }
    }

    /// Whether a suspect packet can be the one after another.
    fn follows(&self, before: &Suspect, after: &Suspect) -> bool {
        let modulus = self.modulus(before.readings.readings.len().max(1)) as u64;
        let leap = (after.raw % modulus + modulus - before.raw % modulus) % modulus;
        let leap_s = leap as f64 / self.tick_hz;
        let numbered = match (before.sequence, after.sequence, self.layout.sequence_modulus) {
            (Some(before), Some(after), Some(modulus)) => {
                let modulus = u128::from(modulus.max(1));
                let leap = (u128::from(after) + modulus - u128::from(before) % modulus) % modulus;
                (1..=SUSPECT_LEAP).contains(&leap)
            }
            _ => true,
        };
        leap > 0 && leap_s < 2.0 && numbered
    }

    /// Puts a packet where it belongs.
    fn put(&mut self, key: i64, held: Held, counts: &mut Counts, out: &mut Vec<Ordered>) {
        if self.delivered.contains(&key) || self.held.contains_key(&key) {
            counts.duplicates += 1;
            return;
        }
        if self.last.is_some_and(|last| key <= last.key) {
            counts.late += 1;
            return;
        }
        let overtaken = self.held.last_key_value().is_some_and(|(&later, _)| later > key);
        counts.reordered += u64::from(overtaken);
        self.held.insert(key, held);
        while let Some((&key, held)) = self.held.first_key_value() {
            if !self.is_next(key, held.tick) && self.held.len() <= MOST_HELD {
                return;
            }
            if let Some((key, held)) = self.held.pop_first() {
                self.deliver(key, held, counts, out);
            }
        }
    }

    fn is_next(&self, key: i64, tick: i64) -> bool {
        let Some(last) = self.last else { return true };
        if self.is_numbered() {
            return key == last.key + 1;
        }
        let expected = last.tick as f64 + last.count as f64 * last.step;
        (tick as f64) < expected + 0.5 * last.step
    }

    /// Gives a packet on and counts what is missing before it.
    fn deliver(&mut self, key: i64, held: Held, counts: &mut Counts, out: &mut Vec<Ordered>) {
        let Held { tick, received_utc_ns, readings } = held;
        let count = readings.readings.len() as i64;
        if let Some(last) = self.last {
            if tick <= last.tick {
                counts.absurd += 1;
                return;
            }
            let numbered = self.is_numbered();
            let lost_packets = if numbered { key - last.key - 1 } else { 0 };
            let step = self.long_step(last.step);
            let missing = ((tick - last.tick) as f64 / step).round() as i64 - last.count;
            let missing = u64::try_from(missing).unwrap_or(0);
            if numbered && lost_packets == 0 {
                counts.lost_in_sensor = counts.lost_in_sensor.saturating_add(missing);
            } else {
                counts.lost_samples = counts.lost_samples.saturating_add(missing);
                counts.lost_packets += u64::try_from(lost_packets).unwrap_or(0);
            }
            if !numbered && missing > 0 {
                counts.lost_packets += missing.div_ceil(last.count.max(1) as u64);
            }
            if missing == 0 && lost_packets == 0 {
                self.run_ticks += tick - last.tick;
                self.run_samples += last.count;
            }
        }
        let step = readings.step_ticks.filter(|step| *step > 0.0).unwrap_or_else(|| self.long_step(self.nominal_step));
        self.last = Some(Last { key, tick, count, step, received_utc_ns });
        self.delivered.push_back(key);
        if self.delivered.len() > DELIVERED_KEPT {
            self.delivered.pop_front();
        }
        let Readings { readings, is_faulty, .. } = readings;
        out.push(Ordered::Readings(OrderedReadings { tick, step, readings, is_faulty, received_utc_ns }));
    }

    /// Ticks between samples as they have been so far; `first` until that is known better.
    fn long_step(&self, first: f64) -> f64 {
        if self.run_samples >= 100 { self.run_ticks as f64 / self.run_samples as f64 } else { first }
    }

    /// A stream that counts nothing: samples are taken to follow each other, unless they come too late for that.
    fn take_uncounted(
        &mut self,
        readings: Readings,
        received_utc_ns: i64,
        counts: &mut Counts,
        out: &mut Vec<Ordered>,
    ) {
        let count = readings.readings.len() as i64;
        let ends_s = self.index.saturating_add(count) as f64 / self.tick_hz;
        let delay_s = received_utc_ns as f64 * 1e-9 - ends_s;
        let (least_s, since_ns) = self.least_delay_s.unwrap_or((delay_s, received_utc_ns));
        let since_s = received_utc_ns.saturating_sub(since_ns).max(0) as f64 * 1e-9;
        let mut least_s = delay_s.min(least_s + FORGOTTEN_PER_S * since_s);
        if delay_s - least_s > UNCOUNTED_LOSS_S {
            let missing = ((delay_s - least_s) * self.tick_hz).round();
            counts.lost_samples = counts.lost_samples.saturating_add(missing as u64);
            self.index = self.index.saturating_add(missing as i64);
            least_s = delay_s - missing / self.tick_hz;
        }
        self.least_delay_s = Some((least_s, received_utc_ns));
        let tick = self.index;
        self.index = self.index.saturating_add(count);
        self.last = Some(Last { key: tick, tick, count, step: 1.0, received_utc_ns });
        let Readings { readings, is_faulty, .. } = readings;
        out.push(Ordered::Readings(OrderedReadings { tick, step: 1.0, readings, is_faulty, received_utc_ns }));
    }
}

fn has_ticks(layout: &StreamLayout) -> bool {
    layout.tick_modulus.is_some() && layout.tick_hz > 0.0
}

#[cfg(test)]
mod tests;
