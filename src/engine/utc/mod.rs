//! A sensor's clock placed on UTC: a line under the packets that came with the least delay (proto-docs/time.md).
//!
//! Enters: pairs of sensor time and the host's time at reception ([`UtcLine::push`]), and exchanges of times
//! ([`UtcLine::push_exchange`]). Leaves: UTC of a sensor time with its σ ([`UtcLine::utc_ns`]), the drift, and whether
//! the synchronisation is poor. A delay is never negative, so pairs lie above the line; the lowest of them tell it (Moon,
//! Skelly & Towsley, *INFOCOM* 1999; Zhang, Liu & Xia, *INFOCOM* 2002). What even the fastest packet took is not
//! observable from one side: it is assumed to be spread evenly from 0 to
//! [`MOST_LEAST_DELAY_S`]; its mean is taken off, and its σ is part of every σ told.
//!
//! Only what is pushed matters, memory is constant, and the host's own error against UTC is not in σ.

mod exchanges;
mod fit;
mod minima;
mod spread;

use exchanges::Exchanges;
use fit::Line;
use minima::Minima;
use spread::Spread;

/// 1 σ of a crystal's rate against the host's, ppm: two crystals of 50 ppm tolerance (common practice, no source).
pub const CRYSTAL_DRIFT_PPM: f64 = 50.0;

/// What even the fastest packet takes, from the sampling to the host's receive time, is anything from 0 to this, s. In it:
/// FIFO and interrupt of the sensor, 0.3 to 2.4 ms on air, controller, USB, the system's Bluetooth service. A judgement;
/// no source.
pub const MOST_LEAST_DELAY_S: f64 = 0.008;

/// Sensor times beyond this are no times, s: over thirty years.
const FARTHEST_S: f64 = 1e9;

/// A pair is put at the end of the line if its sensor time is behind the newest by no more than this, s.
const LATEST_S: f64 = 10.0;

/// A pair that is off the line by more than this and four σ does not fit it, s. Smaller steps of the host's clock are not
/// noticed; NTP slews what is below 128 ms and steps what is above (RFC 5905, 2010, STEPT).
const OFF_S: f64 = 0.03;

/// While a line has fewer pairs than this, the first may have been delayed by up to [`LONGEST_DELAY_S`].
const YOUNG_PAIRS: u64 = 20;

/// No packet waits longer, s: the connection would be lost before.
const LONGEST_DELAY_S: f64 = 5.0;

/// As many pairs in a row that do not fit the line, but agree with each other, begin a new line …
const RUN_PAIRS: u32 = 8;
/// … and where they are only late, which a queue can also cause, only if that lasts so long, s.
const LATE_RUN_S: f64 = 30.0;

/// Synchronisation is poor with fewer pairs, over a shorter time, or with a larger σ than these.
const FEW_PAIRS: u64 = 50;
const SHORT_S: f64 = 5.0;
const WIDE_S: f64 = 0.02;

/// One pair, from the line's anchor: sensor time, and by how much more the host's clock has gone on.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Point {
    x_s: f64,
    z_s: f64,
}

impl Point {
    /// Its height over a line through the anchor.
    fn over(self, drift: f64) -> f64 {
        self.z_s - drift * self.x_s
    }
}

/// The pair that a line counts from.
#[derive(Clone, Copy, Debug)]
struct Anchor {
    t_s: f64,
    utc_ns: i64,
}

impl Anchor {
    fn point(&self, t_s: f64, utc_ns: i64) -> Point {
        let x_s = t_s - self.t_s;
        let elapsed_ns = i128::from(utc_ns) - i128::from(self.utc_ns);
        Point { x_s, z_s: elapsed_ns as f64 / 1e9 - x_s }
    }
}

/// Pairs in a row that do not fit the line.
#[derive(Clone, Copy, Debug)]
struct Run {
    anchor: Anchor,
    pairs: u32,
}

/// How a pair fits the line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Fit {
    Fits,
    /// It may only have waited long.
    Late,
    /// No delay explains it.
    Strange,
}

/// Why times on UTC are poorer than usual.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Poor {
    /// Nothing was received yet.
    #[error("no packet has been placed on UTC yet")]
    NoPair,
    /// Too few pairs, or over too short a time, since the line began.
    #[error(
        "fewer than 50 packets, or less than 5 s, since the clocks were first compared or the host's clock was set"
    )]
    FewPairs,
    /// The delays scatter so widely that σ is above 20 ms.
    #[error("the packets' delays scatter so widely that times on UTC are uncertain by more than 20 ms (1 σ)")]
    WideScatter,
}

/// What is known of the two clocks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Synchronisation {
    /// UTC at sensor time 0, ns since 1970.
    pub offset_utc_ns: i64,
    /// 1 σ of UTC at the newest pair, s.
    pub sigma_s: f64,
    /// By how much the host's clock gains on the sensor's, ppm.
    pub drift_ppm: f64,
    /// 1 σ of it.
    pub drift_sigma_ppm: f64,
    /// Pairs since the line began.
    pub pairs: u64,
    /// Exchanges that bound it now.
    pub exchanges: usize,
}

/// The streaming line.
#[derive(Clone, Debug)]
pub struct UtcLine {
    drift_sigma: f64,
    anchor: Option<Anchor>,
    line: Line,
    newest_x_s: f64,
    pairs: u64,
    minima: Minima,
    spread: Spread,
    exchanges: Exchanges,
    run: Option<Run>,
    refused: u64,
    steps: u64,
}

impl Default for UtcLine {
    fn default() -> Self {
        Self::new(CRYSTAL_DRIFT_PPM)
    }
}

impl UtcLine {
    /// For a sensor whose clock's rate is known to `drift_sigma_ppm` (1 σ; held between 1 and 100,000): [`CRYSTAL_DRIFT_PPM`]
    /// for a tick, some 10,000 for a time that is counted in samples of a nominal rate.
    pub fn new(drift_sigma_ppm: f64) -> Self {
        let drift_sigma = drift_sigma_ppm.clamp(1.0, 1e5) * 1e-6;
        Self {
            drift_sigma: if drift_sigma.is_nan() { CRYSTAL_DRIFT_PPM * 1e-6 } else { drift_sigma },
            anchor: None,
            line: Line::unknown(),
            newest_x_s: 0.0,
            pairs: 0,
            minima: Minima::new(),
            spread: Spread::new(),
            exchanges: Exchanges::new(),
            run: None,
            refused: 0,
            steps: 0,
        }
    }

    /// Forgets everything but the counts: the sensor's clock has started anew.
    pub fn reset(&mut self) {
        let (refused, steps) = (self.refused, self.steps);
        *self = Self { refused, steps, ..Self::new(self.drift_sigma * 1e6) };
    }

    /// Takes a packet: the sensor's time of its last reading, s on its unwrapped clock, and when it was received.
    pub fn push(&mut self, t_s: f64, received_utc_ns: i64) {
        if t_s.is_nan() || t_s.abs() > FARTHEST_S {
            self.refused += 1;
            return;
        }
        let Some(anchor) = self.anchor else {
            self.begin(Anchor { t_s, utc_ns: received_utc_ns });
            return;
        };
        let point = anchor.point(t_s, received_utc_ns);
        let above_s = self.line.above_s(point);
        let fit = self.judged(point, above_s);
        if fit == Fit::Fits {
            self.run = None;
            self.take(point);
            return;
        }
        match fit {
            Fit::Late => {
                self.pairs += 1;
                self.spread.push(point);
            }
            _ => self.refused += 1,
        }
        self.stray(Anchor { t_s, utc_ns: received_utc_ns }, fit);
    }

    /// Takes an exchange of times: the sensor's clock showed `t_s` after the host sent and before it received.
    pub fn push_exchange(&mut self, sent_utc_ns: i64, t_s: f64, received_utc_ns: i64) {
        let round_s = (i128::from(received_utc_ns) - i128::from(sent_utc_ns)) as f64 / 1e9;
        if !(0.0..=2.0 * LONGEST_DELAY_S).contains(&round_s) {
            self.refused += 1;
            return;
        }
        let before = (self.refused, self.pairs);
        self.push(t_s, received_utc_ns);
        if let Some(anchor) = self.anchor
            && (self.refused, self.pairs) == (before.0, before.1 + 1)
        {
            self.exchanges.push(anchor.point(t_s, sent_utc_ns));
            self.fit();
        }
    }

    /// UTC of a sensor time, ns since 1970, and its 1 σ, s. `None` before the first pair, and for times that have none.
    pub fn utc_ns(&self, t_s: f64) -> Option<(i64, f64)> {
        let anchor = self.anchor?;
        if t_s.is_nan() || t_s.abs() > FARTHEST_S {
            return None;
        }
        let x_s = t_s - anchor.t_s;
        // Whole seconds apart, so that nothing is lost to rounding within years.
        let whole_ns = (x_s.trunc() as i128) * 1_000_000_000;
        let rest_ns = ((x_s.fract() + self.line.offset_s(x_s)) * 1e9).round() as i128;
        let utc_ns = i64::try_from(i128::from(anchor.utc_ns) + whole_ns + rest_ns).ok()?;
        Some((utc_ns, self.line.sigma_s(x_s, self.newest_x_s)))
    }

    /// What is known now; `None` before the first pair.
    pub fn synchronisation(&self) -> Option<Synchronisation> {
        let (offset_utc_ns, _) = self.utc_ns(0.0)?;
        Some(Synchronisation {
            offset_utc_ns,
            sigma_s: self.line.sigma_s(self.newest_x_s, self.newest_x_s),
            drift_ppm: self.line.drift * 1e6,
            drift_sigma_ppm: self.line.drift_sigma * 1e6,
            pairs: self.pairs,
            exchanges: self.exchanges.count(),
        })
    }

    /// Whether times on UTC are poorer than usual.
    pub fn is_poor(&self) -> bool {
        self.why_poor().is_some()
    }

    /// Why times on UTC are poorer than usual, if they are.
    pub fn why_poor(&self) -> Option<Poor> {
        let Some(found) = self.synchronisation() else { return Some(Poor::NoPair) };
        if found.sigma_s > WIDE_S && found.pairs >= FEW_PAIRS {
            return Some(Poor::WideScatter);
        }
        (found.pairs < FEW_PAIRS || self.newest_x_s < SHORT_S).then_some(Poor::FewPairs)
    }

    /// How often the host's clock was set, or the sensor's jumped, so that a new line began.
    pub fn steps(&self) -> u64 {
        self.steps
    }

    /// Pairs and exchanges that could not be used.
    pub fn refused(&self) -> u64 {
        self.refused
    }

    fn begin(&mut self, anchor: Anchor) {
        self.anchor = Some(anchor);
        self.take(Point { x_s: 0.0, z_s: 0.0 });
    }

    fn take(&mut self, point: Point) {
        self.newest_x_s = self.newest_x_s.max(point.x_s);
        self.pairs += 1;
        self.spread.push(point);
        let bucket_is_new = self.minima.push(point, self.line.drift);
        if bucket_is_new || self.pairs.is_power_of_two() {
            self.fit();
        } else {
            self.line.lower_to(point);
        }
    }

    fn fit(&mut self) {
        let Some(under) = fit::line_under(self.minima.points()) else { return };
        let phase_s = self.spread.unseen_phase_s(under.drift, self.pairs);
        self.line = Line::new(&under, phase_s, self.drift_sigma);
        self.exchanges.narrow(&mut self.line);
    }

    fn judged(&self, point: Point, above_s: f64) -> Fit {
        let sigma_s = self.line.sigma_s(point.x_s, self.newest_x_s);
        let earliest_s = if self.pairs < YOUNG_PAIRS { LONGEST_DELAY_S } else { OFF_S + 4.0 * sigma_s };
        // How much the line's own point was delayed says nothing of how late others may be.
        let latest_s = OFF_S + 4.0 * self.line.turned_s(point.x_s, self.newest_x_s);
        let is_old = point.x_s < self.newest_x_s - LATEST_S;
        if is_old || above_s < -earliest_s || above_s > latest_s.max(LONGEST_DELAY_S) {
            Fit::Strange
        } else if above_s > latest_s {
            Fit::Late
        } else {
            Fit::Fits
        }
    }

    /// Begins a new line where pairs that do not fit this one go on.
    fn stray(&mut self, pair: Anchor, fit: Fit) {
        let agrees = |run: &Run| {
            let point = run.anchor.point(pair.t_s, pair.utc_ns);
            point.x_s >= 0.0 && point.z_s.abs() < LONGEST_DELAY_S
        };
        let run = match self.run {
            Some(run) if agrees(&run) => Run { pairs: run.pairs.saturating_add(1), ..run },
            _ => Run { anchor: pair, pairs: 1 },
        };
        self.run = Some(run);
        if run.pairs >= RUN_PAIRS && (fit == Fit::Strange || pair.t_s - run.anchor.t_s >= LATE_RUN_S) {
            self.reset();
            self.steps += 1;
            self.begin(pair);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn memory_is_bounded_and_the_window_slides() {
        let mut line = UtcLine::default();
        (0..150_000).for_each(|k| line.push(f64::from(k) * 0.02, i64::from(k) * 20_000_000));
        let points: Vec<_> = line.minima.points().collect();
        assert!((100..=160).contains(&points.len()), "{}", points.len());
        let span_s = points[points.len() - 1].x_s - points[0].x_s;
        assert!((600.0..=640.0).contains(&span_s), "{span_s}");
    }

    #[test]
    fn the_line_under_points_touches_the_lowest_and_is_over_none() {
        let z_s = [5.0, 1.0, 4.0, 2.0, 6.0, 3.0, 9.0];
        let points = || z_s.iter().enumerate().map(|(k, &z_s)| Point { x_s: k as f64, z_s });
        let under = fit::line_under(points()).unwrap();
        // The hull goes (0, 5), (1, 1), (5, 3), (6, 9); the mean abscissa is 3.
        assert_eq!(under.drift, 0.5);
        assert!(fit::line_under(std::iter::empty()).is_none());
        let line = Line::new(&under, 0.0, 0.1);
        assert!(
            points().all(|point| line.above_s(point) >= -1e-12) && points().any(|point| line.above_s(point) == 0.0)
        );
    }
}
