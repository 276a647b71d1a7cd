//! What a sensor sends, kept for a while for somebody who looks at it: the checks of sensor, mount and aim.
//!
//! A station offers every sample that its session decoded; nothing is kept, and next to nothing done, unless somebody asked
//! within [`PATIENCE`]. The lock is held for a copy of some samples on one side and of all of them on the other, so whoever
//! pours does it seldom. Each [`Opening`] is by itself: who opened it before neither pours nor closes what is kept now.

use super::clock::Now;
use crate::engine::check::aim::Fix;
use crate::engine::profile::Profile;
use crate::engine::sample::Sample;
use crate::engine::session::Session;
use std::collections::VecDeque;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

/// Samples of so long are kept, s on the sensor's clock,
const KEPT_S: f64 = 180.0;
/// and no more than these, however fast it sends: three minutes at 4 kHz.
const MOST_SAMPLES: usize = 720_000;
/// Attitudes of so many instants are kept: one or two a second of rest, one a second of motion.
const MOST_FIXES: usize = 512;
/// What nobody asked for so long is dropped.
const PATIENCE: Duration = Duration::from_secs(60);

/// One of the times that a tap was opened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Opening(u64);

/// One sensor's tap.
#[derive(Debug, Default)]
pub struct Tap {
    openings: AtomicU64,
    kept: Mutex<Option<Kept>>,
    last_fix: Mutex<Option<Fix>>,
}

#[derive(Debug)]
struct Kept {
    opening: Opening,
    until: Duration,
    samples: VecDeque<Sample>,
    fixes: VecDeque<Fix>,
    profile: Arc<Profile>,
}

/// What is kept, copied.
#[derive(Clone, Debug)]
pub struct Poured {
    /// In the order of time.
    pub samples: Vec<Sample>,
    /// Where the engine had the sensor meanwhile.
    pub fixes: Vec<Fix>,
    /// What the samples are analysed with.
    pub profile: Arc<Profile>,
}

impl Tap {
    /// Keeps what comes from here on, and nothing that came before.
    pub fn open(&self, now: Now) -> Opening {
        let opening = Opening(self.openings.fetch_add(1, Ordering::Relaxed));
        let (until, profile) = (now.elapsed + PATIENCE, Arc::default());
        *self.lock() = Some(Kept { opening, until, samples: VecDeque::new(), fixes: VecDeque::new(), profile });
        opening
    }

    /// Keeps nothing more, unless it was opened again since.
    pub fn close(&self, opening: Opening) {
        self.lock().take_if(|kept| kept.opening == opening);
    }

    /// Somebody asks, so that it stays open. When the newest sample is from, s on the sensor's clock; −∞ before there is one.
    /// `None` if it is closed, was for want of somebody who asked, or was opened again since.
    pub fn ask(&self, opening: Opening, now: Now) -> Option<f64> {
        self.expire(now);
        let mut lock = self.lock();
        let kept = lock.as_mut().filter(|kept| kept.opening == opening)?;
        kept.until = kept.until.max(now.elapsed + PATIENCE);
        Some(kept.samples.back().map_or(f64::NEG_INFINITY, |sample| sample.time.0))
    }

    /// What came since it was opened; `None` if it is closed, or was opened again since.
    pub fn pour(&self, opening: Opening) -> Option<Poured> {
        let lock = self.lock();
        let kept = lock.as_ref().filter(|kept| kept.opening == opening)?;
        Some(Poured {
            samples: kept.samples.iter().copied().collect(),
            fixes: kept.fixes.iter().copied().collect(),
            profile: Arc::clone(&kept.profile),
        })
    }

    /// Drops all if nobody asked for long: also what a sensor sent that sends no more.
    pub fn expire(&self, now: Now) {
        self.lock().take_if(|kept| now.elapsed > kept.until);
    }

    /// Whether anything would be kept.
    pub fn is_open(&self) -> bool {
        self.lock().is_some()
    }

    /// Where the engine has the sensor, by the last look; open or closed. `None` before it has.
    pub fn last_fix(&self) -> Option<Fix> {
        *self.last_fix.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Tells it, now and then.
    pub fn tell_fix(&self, fix: Option<Fix>) {
        *self.last_fix.lock().unwrap_or_else(PoisonError::into_inner) = fix;
    }

    /// Takes what a session decoded last; drops all if nobody asked for long.
    pub fn take(&self, session: &Session, now: Now) {
        self.expire(now);
        let mut lock = self.lock();
        let Some(kept) = lock.as_mut() else { return };
        if session.fresh().is_empty() {
            return;
        }
        kept.profile = session.profile();
        for sample in session.fresh() {
            kept.sample(*sample);
        }
        if let Some(fix) = session.fix().filter(|fix| kept.fixes.back().is_none_or(|last| last.time_s < fix.time_s)) {
            if kept.fixes.len() == MOST_FIXES {
                kept.fixes.pop_front();
            }
            kept.fixes.push_back(fix);
        }
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, Option<Kept>> {
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Kept {
    fn sample(&mut self, sample: Sample) {
        // A sensor that was off and on counts anew: what it sent before is of another clock.
        if self.samples.back().is_some_and(|last| sample.time <= last.time) {
            self.samples.clear();
            self.fixes.clear();
        }
        self.samples.push_back(sample);
        let is_old = |first: &Sample| sample.time.seconds_since(first.time) > KEPT_S;
        while self.samples.len() > MOST_SAMPLES || self.samples.front().is_some_and(is_old) {
            self.samples.pop_front();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::sample::SensorTime;
    use crate::engine::wire::mcap::Entry;
    use nalgebra::Vector3;

    fn at(elapsed_s: u64) -> Now {
        Now { utc_ns: 0, elapsed: Duration::from_secs(elapsed_s) }
    }

    fn entry(times_s: impl Iterator<Item = f64>) -> Entry {
        let sample = |time_s| Sample {
            time: SensorTime(time_s),
            gyro_s_radps: Vector3::zeros(),
            accel_s_mps2: Vector3::z() * 9.8,
            accel_hi_s_mps2: None,
        };
        Entry::Samples { log_time_ns: 0, samples: times_s.map(sample).collect() }
    }

    fn feed(tap: &Tap, session: &mut Session, times_s: impl Iterator<Item = f64>, now: Now) {
        session.keep_fresh(tap.is_open());
        session.take(&entry(times_s));
        tap.take(session, now);
    }

    #[test]
    fn a_closed_tap_keeps_nothing_and_an_open_one_what_comes_from_then_on() {
        let (tap, mut session) = (Tap::default(), Session::new());
        feed(&tap, &mut session, (0..100).map(|k| f64::from(k) * 0.01), at(1));
        assert!(!tap.is_open() && session.fresh().is_empty());
        let opening = tap.open(at(2));
        assert_eq!(tap.ask(opening, at(2)), Some(f64::NEG_INFINITY));
        feed(&tap, &mut session, (100..300).map(|k| f64::from(k) * 0.01), at(3));
        let poured = tap.pour(opening).unwrap();
        assert_eq!((poured.samples.len(), poured.samples[0].time.0), (200, 1.0));
        assert_eq!(tap.ask(opening, at(3)), Some(2.99));
        tap.close(opening);
        assert!(tap.pour(opening).is_none() && tap.ask(opening, at(3)).is_none());
    }

    #[test]
    fn what_nobody_asks_for_is_dropped_and_what_is_kept_is_bounded() {
        let (tap, mut session) = (Tap::default(), Session::new());
        let opening = tap.open(at(0));
        feed(&tap, &mut session, (0..30_000).map(|k| f64::from(k) * 0.01), at(50));
        assert!(tap.ask(opening, at(50)).is_some());
        let poured = tap.pour(opening).unwrap();
        let span_s = poured.samples.last().unwrap().time.0 - poured.samples[0].time.0;
        assert!((span_s - KEPT_S).abs() < 0.02, "{span_s}");
        assert!(!poured.fixes.is_empty() && poured.fixes.len() <= MOST_FIXES);
        feed(&tap, &mut session, (30_000..30_010).map(|k| f64::from(k) * 0.01), at(109));
        assert!(tap.is_open());
        feed(&tap, &mut session, (30_010..30_020).map(|k| f64::from(k) * 0.01), at(111));
        assert!(!tap.is_open());
    }

    #[test]
    fn what_a_sensor_sent_that_is_lost_is_dropped_without_another_sample() {
        let (tap, mut session) = (Tap::default(), Session::new());
        let opening = tap.open(at(0));
        feed(&tap, &mut session, (0..100).map(|k| f64::from(k) * 0.01), at(1));
        tap.expire(at(60));
        assert!(tap.is_open());
        tap.expire(at(61));
        assert!(!tap.is_open() && tap.ask(opening, at(61)).is_none());
    }

    #[test]
    fn who_opened_it_before_neither_pours_nor_closes_what_is_kept_now() {
        let (tap, mut session) = (Tap::default(), Session::new());
        let (before, opening) = (tap.open(at(0)), tap.open(at(1)));
        feed(&tap, &mut session, (0..100).map(|k| f64::from(k) * 0.01), at(2));
        assert!(tap.pour(before).is_none() && tap.ask(before, at(2)).is_none());
        tap.close(before);
        assert_eq!(tap.pour(opening).unwrap().samples.len(), 100);
    }

    #[test]
    fn a_clock_that_begins_anew_clears_what_was_of_the_old_one() {
        let (tap, mut session) = (Tap::default(), Session::new());
        let opening = tap.open(at(0));
        feed(&tap, &mut session, (500..600).map(|k| f64::from(k) * 0.01), at(1));
        let mut session = Session::new();
        feed(&tap, &mut session, (0..50).map(|k| f64::from(k) * 0.01), at(2));
        assert_eq!(tap.pour(opening).unwrap().samples.len(), 50);
    }
}
