//! The start of a swing, t_0.
//!
//! The later of two instants, both judged by the turn rate across the bat's axis against its greatest value T in the
//! last half second before contact: **(a)** the last time it was below T/10; **(b)** its last local minimum before that
//! peak at which it was below 0.4 T, the rate taken through a 20 Hz second-order Butterworth run both ways (the blow is
//! not in it). (b) cuts off a load or a waggle that runs into the swing without a rest.

use super::lowpass::two_passes;
use super::series::{At, cubic, last_below, peak, trough};
use super::traces::{Stretch, Traces};

/// How far before contact the greatest turn rate is looked for, s.
const PEAK_WITHIN_S: f64 = 0.5;
/// Rule (a): share of the greatest turn rate.
const STILL_SHARE: f64 = 0.10;
/// Rule (b): share of the greatest turn rate.
const DIP_SHARE: f64 = 0.40;
/// Rule (b): corner of each pass, Hz.
const DIP_CORNER_HZ: f64 = 20.0;
/// Rule (b): the filter's own steps, s, so that it is the same filter whatever the sensor's rate.
const DIP_STEP_S: f64 = 0.001;

/// Which rule gave the start. When it changes under a tiny change of the motion, the start jumps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StartRule {
    /// The bat had been nearly still.
    Still,
    /// The turn rate dipped on the way.
    Dip,
}

/// The even series rule (b) filters; kept for its memory alone.
#[derive(Clone, Debug, Default)]
pub(super) struct DipSeries {
    times_s: Vec<f64>,
    rate_radps: Vec<f64>,
    padded: Vec<f64>,
}

/// Seconds from contact (negative) and the rule; `None` if the motion begins within the swing or never moves.
pub(super) fn start(stretch: &Stretch, traces: &Traces, dips: &mut DipSeries) -> Option<(f64, StartRule)> {
    let times_s = stretch.times_to_contact_s();
    let rate_radps = &traces.turn_rate_radps[..=stretch.contact];
    let top = peak(times_s, rate_radps, -PEAK_WITHIN_S);
    if top.value <= 0.0 {
        return None;
    }
    let still_s = last_below(times_s, rate_radps, STILL_SHARE * top.value);
    let dip_s = dips.last_dip(stretch, traces, top);
    let still = still_s.map(|t| (t, StartRule::Still));
    let dip = dip_s.map(|t| (t, StartRule::Dip));
    let later = match (still, dip) {
        (Some(a), Some(b)) => Some(if b.0 > a.0 { b } else { a }),
        (a, b) => a.or(b),
    };
    later.filter(|(t, _)| *t < 0.0)
}

impl DipSeries {
    fn last_dip(&mut self, stretch: &Stretch, traces: &Traces, top: At) -> Option<f64> {
        self.resample(stretch, &traces.turn_rate_radps);
        if !two_passes(&mut self.rate_radps, 1.0 / DIP_STEP_S, DIP_CORNER_HZ, &mut self.padded) {
            return None;
        }
        let (times_s, rate) = (&self.times_s, &self.rate_radps);
        let before_top = times_s.partition_point(|&t| t < top.time_s);
        let is_minimum = |&i: &usize| rate[i] <= rate[i - 1] && rate[i] < rate[i + 1];
        (1..before_top.min(rate.len() - 1))
            .rev()
            .filter(is_minimum)
            .map(|i| trough(times_s, rate, i))
            .find(|low| low.value < DIP_SHARE * top.value)
            .map(|low| low.time_s)
    }

    /// Whole steps from contact, both ways, as far as the motion goes.
    fn resample(&mut self, stretch: &Stretch, rate_radps: &[f64]) {
        let steps_to = |time_s: f64| (time_s.abs() / DIP_STEP_S + 1e-9).floor() as i64;
        let before = stretch.times_s.first().map_or(0, |&t| steps_to(t));
        let after = stretch.times_s.last().map_or(0, |&t| steps_to(t));
        self.times_s.clear();
        self.times_s.extend((-before..=after).map(|k| k as f64 * DIP_STEP_S));
        self.rate_radps.clear();
        self.rate_radps.extend(self.times_s.iter().map(|&t| cubic(stretch.times_s, rate_radps, t)));
    }
}

#[cfg(test)]
mod tests;
