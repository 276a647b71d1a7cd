//! Exchanges of times bound the line from below as well.

use super::fit::Line;
use super::{MOST_LEAST_DELAY_S, Point};
use std::collections::VecDeque;

/// Exchanges kept, the newest: at one a minute, a quarter of an hour.
const MOST: usize = 16;

/// How long a request waits for its connection event, before anything is known of it, s (common practice, no source).
const USUAL_WAIT_S: f64 = 0.015;

/// Steps over the possible delays.
const GRID: u32 = 48;

#[derive(Clone, Debug)]
pub(super) struct Exchanges {
    /// Sensor time, and the host's time of sending.
    sent: VecDeque<Point>,
}

impl Exchanges {
    pub(super) fn new() -> Self {
        Self { sent: VecDeque::with_capacity(MOST + 1) }
    }

    pub(super) fn push(&mut self, sent: Point) {
        self.sent.push_back(sent);
        if self.sent.len() > MOST {
            self.sent.pop_front();
        }
    }

    pub(super) fn count(&self) -> usize {
        self.sent.len()
    }

    /// Narrows the delay of the line's touching point: with the delay of the fastest request it makes up what lies
    /// between the two envelopes, and neither is negative. Requests sent after the line say that they came are passed
    /// over: the host's clock was set in between.
    pub(super) fn narrow(&self, line: &mut Line) {
        let between_s = |sent: &Point| -line.above_s(*sent);
        let usable = self.sent.iter().filter(|sent| between_s(sent) > 0.0);
        let Some(best) = usable.clone().min_by(|a, b| between_s(a).total_cmp(&between_s(b))) else { return };
        let whole_s = between_s(best);
        let count = usable.clone().count() as f64;
        // As if one more had waited as usual; of waits spread evenly, the least of n is 2/(n + 1) of the mean.
        let waits_s: f64 = usable.map(|sent| between_s(sent) - whole_s).sum();
        let wait_s = (USUAL_WAIT_S + waits_s) / count * 2.0 / (count + 1.0);
        let turned_s = line.drift_sigma * (best.x_s - line.touch.x_s);
        let log_density = |delay_s: f64| {
            let down = (delay_s - line.delay_s) / line.delay_sigma_s;
            request_density(whole_s - delay_s, wait_s).ln() - 0.5 * down * down
        };
        let (delay_s, variance) = moments(whole_s, log_density);
        line.delay_s = delay_s;
        line.delay_sigma_s = (variance + turned_s.powi(2)).sqrt().min(line.delay_sigma_s);
    }
}

/// Density, but for a constant, of a request's delay: the least one, spread evenly from 0 to [`MOST_LEAST_DELAY_S`], and
/// an exponential wait.
fn request_density(delay_s: f64, wait_s: f64) -> f64 {
    let longer = |by_s: f64| (-by_s.max(0.0) / wait_s).exp();
    (longer(delay_s - MOST_LEAST_DELAY_S) - longer(delay_s)).max(f64::MIN_POSITIVE)
}

/// Mean and variance of a density on 0 to `end`, given by its logarithm but for a constant.
fn moments(end: f64, log_density: impl Fn(f64) -> f64) -> (f64, f64) {
    let places = (0..GRID).map(|k| (f64::from(k) + 0.5) / f64::from(GRID) * end);
    let greatest = places.clone().map(&log_density).fold(f64::NEG_INFINITY, f64::max);
    let (mut whole, mut first, mut second) = (0.0, 0.0, 0.0);
    for place in places {
        let weight = (log_density(place) - greatest).exp();
        whole += weight;
        first += weight * place;
        second += weight * place * place;
    }
    let mean = first / whole;
    // A grid cannot tell less than its own step.
    let step_variance = (end / f64::from(GRID)).powi(2) / 12.0;
    (mean, (second / whole - mean * mean).max(0.0) + step_variance)
}
