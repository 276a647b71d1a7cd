//! What a simulated swing truly was: contact, start and metrics from the exact motion without the blow.

use super::motion::Motion;
use super::swing::{Hit, SwingKind, SwingMark};
use crate::engine::metrics::{BatMotion, Values, evaluate};
use crate::engine::profile::{Bat, SwingContext};
use crate::engine::swing::Contact;

/// Steps in which the exact motion is written down, s.
const STEP_S: f64 = 2.0e-4;

/// How much of the motion before contact is written down, s; the start is looked for in the last half second.
const BEFORE_S: f64 = 0.9;

/// How much is followed after the contact of a swing that met nothing, s.
const AFTER_S: f64 = 0.2;

/// The truth of one swing. Times are on the sensor's clock where the name says so, else on the true clock.
#[derive(Clone, Debug, PartialEq)]
pub struct SwingTruth {
    /// The kind.
    pub kind: SwingKind,
    /// What was met.
    pub contact_kind: Contact,
    /// The start t_0 on the sensor's clock, s.
    pub start_sensor_s: f64,
    /// The contact t_c on the sensor's clock, s.
    pub contact_sensor_s: f64,
    /// From the load to the end of the follow-through, on the sensor's clock, s.
    pub active_sensor_s: (f64, f64),
    /// The start, from contact, s (negative).
    pub start_from_contact_s: f64,
    /// The metrics of the exact motion.
    pub values: Values,
    /// The exact motion, the blow left out.
    pub motion: BatMotion,
    /// How the ball was met.
    pub hit: Option<Hit>,
}

impl SwingTruth {
    /// Of a swing in a motion; `to_sensor_s` takes a true time to the sensor's clock.
    pub fn of(
        motion: &Motion,
        mark: &SwingMark,
        (bat, context): (&Bat, &SwingContext),
        to_sensor_s: impl Fn(f64) -> f64,
    ) -> Self {
        let contact_kind = if mark.kind == SwingKind::Ball { Contact::Ball } else { Contact::None };
        let contact_s = match contact_kind {
            Contact::Ball => mark.contact_s,
            Contact::None => quickest_s(motion, mark.active_s, bat.sweet_spot_m),
        };
        let sampled = sampled(motion, contact_s, contact_kind == Contact::Ball);
        let values = evaluate(&sampled, bat, context);
        // Every simulated swing has a rest before it; without one the start would be unknown.
        let start_from_contact_s = values.start_s.unwrap_or(f64::NAN);
        Self {
            kind: mark.kind,
            contact_kind,
            start_sensor_s: to_sensor_s(contact_s + start_from_contact_s),
            contact_sensor_s: to_sensor_s(contact_s),
            active_sensor_s: (to_sensor_s(mark.active_s.0), to_sensor_s(mark.active_s.1)),
            start_from_contact_s,
            values,
            motion: sampled,
            hit: mark.hit,
        }
    }
}

fn largest(values: &[f64]) -> (usize, f64) {
    values.iter().copied().enumerate().fold((0, 0.0), |best, one| if one.1 > best.1 { one } else { best })
}

/// When the sweet spot is quickest, by steps and then by the parabola through the three about the largest.
fn quickest_s(motion: &Motion, (from_s, to_s): (f64, f64), sweet_spot_m: f64) -> f64 {
    let count = ((to_s - from_s) / STEP_S) as usize + 1;
    let time_s = |i: usize| from_s + i as f64 * STEP_S;
    let speed = |t_s: f64| motion.state_at(t_s).velocity_w_mps(sweet_spot_m).norm();
    let speeds: Vec<f64> = (0..count).map(|i| speed(time_s(i))).collect();
    let (best, at) = largest(&speeds);
    let (before, after) = (speed(time_s(best) - STEP_S), speed(time_s(best) + STEP_S));
    let bend = before - 2.0 * at + after;
    let shift = if bend < 0.0 { 0.5 * (before - after) / bend } else { 0.0 };
    time_s(best) + shift.clamp(-0.5, 0.5) * STEP_S
}

/// The motion about contact, after it only if nothing was met.
fn sampled(motion: &Motion, contact_s: f64, ball: bool) -> BatMotion {
    let before = (BEFORE_S.min(contact_s) / STEP_S) as i64;
    let after = if ball { 0 } else { (AFTER_S.min(motion.end_s() - contact_s) / STEP_S) as i64 };
    let times_s: Vec<f64> = (-before..=after).map(|i| i as f64 * STEP_S).collect();
    let states = times_s.iter().map(|t_s| motion.state_at(contact_s + t_s)).collect();
    BatMotion { times_s, states, contact: before as usize, ball }
}

#[cfg(test)]
mod tests;
