//! The nominal interval of a stream, and what is missing from it.
//!
//! Enters: sample times, increasing. Leaves: the interval the sensor works at, the number of gaps and of missing
//! samples. The interval is learnt from the first [`LEARNT_INTERVALS`]; the memory is constant. A sensor that changes
//! its rate later is not followed: its intervals then count as gaps, or hide them.

use super::SensorTime;

/// How many intervals the nominal one is learnt from: at 1 kHz the first second.
pub const LEARNT_INTERVALS: usize = 1023;

/// An interval longer than this many nominal ones is a gap.
const GAP_INTERVALS: f64 = 1.5;

/// Intervals up to this many medians are averaged: with times rounded to 1 ms, a 416 Hz stream has intervals of 2 and
/// 3 ms, and the median alone (2 ms) would make gaps of the 3 ms ones.
const REGULAR_MEDIANS: f64 = 1.75;

/// What the clock has told so far.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ClockSummary {
    /// Samples seen.
    pub samples: u64,
    /// From the first sample to the last, s.
    pub duration_s: f64,
    /// The interval the sensor works at, s; `None` with fewer than two samples.
    pub nominal_interval_s: Option<f64>,
    /// Intervals longer than 1.5 nominal ones.
    pub gaps: u64,
    /// Samples that would have filled the gaps: for each, the interval in nominal ones, rounded, less one.
    pub missing_samples: u64,
}

impl ClockSummary {
    /// One over the nominal interval, Hz.
    pub fn sample_rate_hz(&self) -> Option<f64> {
        self.nominal_interval_s.map(f64::recip)
    }
}

/// Follows the times of a stream.
#[derive(Clone, Debug, Default)]
pub struct SampleClock {
    first: Option<SensorTime>,
    last: Option<SensorTime>,
    samples: u64,
    learning_s: Vec<f64>,
    learnt: Option<Tally>,
}

impl SampleClock {
    /// Before the first sample.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes the time of the next sample. A time that does not increase is left out: the reader has reported it.
    pub fn push(&mut self, time: SensorTime) {
        let Some(last) = self.last else {
            self.first = Some(time);
            self.last = Some(time);
            self.samples = 1;
            return;
        };
        let interval_s = time.seconds_since(last);
        if interval_s > 0.0 && interval_s.is_finite() {
            self.last = Some(time);
            self.samples += 1;
            self.take_interval(interval_s);
        }
    }

    /// The time of the first sample.
    pub fn first(&self) -> Option<SensorTime> {
        self.first
    }

    /// The interval the sensor works at, once it is learnt for good.
    pub fn learnt_interval_s(&self) -> Option<f64> {
        self.learnt.map(|tally| tally.nominal_s)
    }

    /// What is known by now; while the interval is still being learnt, by the intervals so far.
    pub fn summary(&self) -> ClockSummary {
        let tally = self.learnt.or_else(|| Tally::learnt_from(&self.learning_s));
        let duration_s = self.last.zip(self.first).map_or(0.0, |(last, first)| last.seconds_since(first));
        ClockSummary {
            samples: self.samples,
            duration_s,
            nominal_interval_s: tally.map(|tally| tally.nominal_s),
            gaps: tally.map_or(0, |tally| tally.gaps),
            missing_samples: tally.map_or(0, |tally| tally.missing),
        }
    }

    fn take_interval(&mut self, interval_s: f64) {
        if let Some(tally) = &mut self.learnt {
            tally.count(interval_s);
            return;
        }
        self.learning_s.push(interval_s);
        if self.learning_s.len() == LEARNT_INTERVALS {
            self.learnt = Tally::learnt_from(&self.learning_s);
            self.learning_s = Vec::new();
        }
    }
}

#[derive(Clone, Copy, Debug)]
struct Tally {
    nominal_s: f64,
    gaps: u64,
    missing: u64,
}

impl Tally {
    fn learnt_from(intervals_s: &[f64]) -> Option<Self> {
        let mut tally = Self { nominal_s: nominal_interval_s(intervals_s)?, gaps: 0, missing: 0 };
        intervals_s.iter().for_each(|&interval_s| tally.count(interval_s));
        Some(tally)
    }

    fn count(&mut self, interval_s: f64) {
        if interval_s > GAP_INTERVALS * self.nominal_s {
            let missing = (interval_s / self.nominal_s).round() - 1.0;
            self.gaps += 1;
            self.missing = self.missing.saturating_add(missing as u64);
        }
    }
}

/// The mean of the intervals that are no gap; the median decides which are.
fn nominal_interval_s(intervals_s: &[f64]) -> Option<f64> {
    let mut sorted_s = intervals_s.to_vec();
    sorted_s.sort_by(f64::total_cmp);
    let median_s = *sorted_s.get(sorted_s.len() / 2)?;
    let regular = sorted_s.partition_point(|&interval_s| interval_s <= REGULAR_MEDIANS * median_s);
    Some(sorted_s.iter().take(regular).sum::<f64>() / regular as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn summary_of(times_s: impl IntoIterator<Item = f64>) -> ClockSummary {
        let mut clock = SampleClock::new();
        times_s.into_iter().for_each(|time_s| clock.push(SensorTime(time_s)));
        clock.summary()
    }

    #[test]
    fn a_whole_stream_has_no_gap() {
        let told = summary_of((0..5000).map(|k| f64::from(k) * 1e-3));
        assert_eq!((told.samples, told.gaps, told.missing_samples), (5000, 0, 0));
        assert!((told.sample_rate_hz().unwrap() - 1000.0).abs() < 1e-6);
        assert!((told.duration_s - 4.999).abs() < 1e-12);
    }

    #[test]
    fn every_dropped_sample_is_counted_before_and_after_the_interval_is_learnt() {
        let kept = |k: &i32| !(100..103).contains(k) && *k != 2000 && !(3000..3100).contains(k);
        let told = summary_of((0..5000).filter(kept).map(|k| f64::from(k) * 1e-3));
        assert_eq!((told.samples, told.gaps, told.missing_samples), (5000 - 104, 3, 104));
    }

    #[test]
    fn a_short_stream_counts_too() {
        let told = summary_of([0.0, 0.01, 0.02, 0.05, 0.06]);
        assert_eq!((told.samples, told.gaps, told.missing_samples), (5, 1, 2));
    }

    #[test]
    fn times_rounded_to_a_millisecond_make_no_gaps() {
        let told = summary_of((0..5000).map(|k| (f64::from(k) / 416.0 * 1e3).round() / 1e3));
        assert_eq!(told.gaps, 0);
        assert!((told.sample_rate_hz().unwrap() - 416.0).abs() < 1.0, "{told:?}");
    }

    #[test]
    fn no_sample_and_one_sample_have_no_interval() {
        assert_eq!(summary_of([]), ClockSummary::default());
        let told = summary_of([7.0]);
        assert_eq!((told.samples, told.nominal_interval_s), (1, None));
    }

    #[test]
    fn hostile_times_neither_panic_nor_overflow() {
        let told = summary_of([0.0, f64::NAN, 1e-300, 1e300, f64::INFINITY, -1.0, f64::MAX]);
        assert_eq!(told.samples, 4);
        assert!(told.missing_samples > 0);
    }
}
