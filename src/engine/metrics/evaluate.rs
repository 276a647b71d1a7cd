//! A motion in, all metrics out.

use super::start::{DipSeries, StartRule, start};
use super::timing_window::{Shifts, horizontal_heading, timing_window};
use super::traces::{Stretch, Traces};
use super::{BatMotion, BatState, Metric, angles, path, speed};
use crate::engine::profile::{Bat, SwingContext};
use crate::engine::swing::Curves;
use nalgebra::Vector3;

/// Start and metrics of one motion, each in its metric's own unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Values {
    /// The start, seconds from contact (negative); `None` if it lies before the motion.
    pub start_s: Option<f64>,
    /// Which rule gave the start.
    pub start_rule: Option<StartRule>,
    /// A finite value for each of [`Metric::ALL`], or nothing.
    pub values: [Option<f64>; Metric::COUNT],
}

impl Values {
    /// Nothing could be computed.
    pub const NONE: Values = Values { start_s: None, start_rule: None, values: [None; Metric::COUNT] };

    /// The value of one metric.
    pub fn of(&self, metric: Metric) -> Option<f64> {
        self.values[metric.index()]
    }

    pub(super) fn set(&mut self, metric: Metric, value: f64) {
        // Adding zero takes the sign off a negative zero.
        self.values[metric.index()] = value.is_finite().then_some(value + 0.0);
    }
}

/// Memory that [`evaluate_with`] fills anew each time; reusing it saves allocations.
#[derive(Clone, Debug, Default)]
pub struct Scratch {
    traces: Traces,
    dips: DipSeries,
    shifts: Shifts,
}

/// All metrics of a motion. Nothing if the motion is not finite, not in the order of time or has fewer than three states.
pub fn evaluate(motion: &BatMotion, bat: &Bat, swing: &SwingContext) -> Values {
    evaluate_with(&mut Scratch::default(), motion, bat, swing)
}

/// [`evaluate`] with the caller's memory.
pub fn evaluate_with(scratch: &mut Scratch, motion: &BatMotion, bat: &Bat, swing: &SwingContext) -> Values {
    let mut values = Values::NONE;
    let Some(stretch) = Stretch::of(motion).filter(|_| bat.sweet_spot_m.abs() < 1e3) else {
        return values;
    };
    let Scratch { traces, dips, shifts } = scratch;
    traces.fill(&stretch, bat.sweet_spot_m);
    speed::at_contact(stretch.at_contact(), bat.sweet_spot_m, &mut values);
    angles::at_contact(stretch.at_contact(), bat.sweet_spot_m, &mut values);
    speed::built(&stretch, traces, &mut values);
    path::plane_tilt(&stretch, bat.sweet_spot_m, &mut values);
    timing_window(&stretch, bat, swing, shifts, &mut values);
    if let Some((start_s, rule)) = start(&stretch, traces, dips) {
        values.start_s = Some(start_s);
        values.start_rule = Some(rule);
        values.set(Metric::TimeToContact, -start_s * 1e3);
        speed::peaks(&stretch, traces, start_s, &mut values);
        path::length(&stretch, traces, start_s, &mut values);
    }
    values
}

/// The curves of a motion, turned so that x is the sweet spot's horizontal heading at contact and the sweet spot at
/// contact the origin. Empty where [`evaluate`] gives nothing.
pub fn curves(motion: &BatMotion, bat: &Bat) -> Curves {
    let Some(stretch) = Stretch::of(motion) else {
        return Curves::default();
    };
    let mut traces = Traces::default();
    traces.fill(&stretch, bat.sweet_spot_m);
    let contact = stretch.at_contact();
    let origin_w_m = contact.position_w_m(bat.sweet_spot_m);
    let x = horizontal_heading(contact.velocity_w_mps(bat.sweet_spot_m)).unwrap_or_else(Vector3::x);
    let y = Vector3::z().cross(&x);
    let placed = |p_w_m: Vector3<f64>| {
        let r_m = p_w_m - origin_w_m;
        Vector3::new(r_m.dot(&x), r_m.dot(&y), r_m.z)
    };
    let path = |point: &dyn Fn(&BatState) -> Vector3<f64>| stretch.states.iter().map(|s| placed(point(s))).collect();
    Curves {
        times_s: stretch.times_s.to_vec(),
        sweet_spot_w_m: path(&|s| s.position_w_m(bat.sweet_spot_m)),
        hands_w_m: path(&|s| s.hands_w_m),
        bat_speed_mps: traces.bat_speed_mps,
        hand_speed_mps: traces.hand_speed_mps,
        turn_rate_radps: traces.turn_rate_radps,
    }
}

#[cfg(test)]
mod tests;
