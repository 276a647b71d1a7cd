//! How much earlier or later the same swing could have been and still have met the same pitch squarely.
//!
//! The ball comes along a straight line through P, the sweet spot at contact. With the swing shifted by τ, the bat's line
//! meets the ball's line of flight, seen along n = unit(u × d), at the bat's own time t; what is left then is the miss
//! across both lines and the place along the bat. The window is the span of τ over the connected stretch of t about
//! contact in which both stay within their bounds.

use super::evaluate::Values;
use super::series::{cubic, hermite, interval, peak};
use super::traces::Stretch;
use super::{BatState, HANDS_FROM_KNOB_M, Metric};
use crate::engine::profile::{Bat, SwingContext};
use nalgebra::Vector3;

/// Most the ball's centre may pass beside the bat's axis, m.
const MISS_M: f64 = 0.025;
/// Farthest from the sweet spot along the bat, m.
const ALONG_M: f64 = 0.10;
/// A swing that hit is carried on at most this long after contact, s.
pub(super) const CARRY_S: f64 = 0.030;
/// The carry's velocities are means over this long before contact, s.
pub(super) const CARRY_MEAN_S: f64 = 0.005;
/// Step of the search, s. At 30 m/s against a 20 m/s ball the bounds are tens of steps away.
const STEP_S: f64 = 0.0005;
/// Halvings of a step to find where a bound is crossed: to 5e-13 s.
const HALVINGS: usize = 30;
/// Below this sine between bat and flight their crossing is undefined.
const PARALLEL: f64 = 1e-6;

/// The times and shifts found on the way; kept for its memory alone.
#[derive(Clone, Debug, Default)]
pub(super) struct Shifts {
    times_s: Vec<f64>,
    early_s: Vec<f64>,
    late_s: Vec<f64>,
}

/// Absent without a pitch, without a horizontal heading, or where the motion ends before the contact fails.
pub(super) fn timing_window(
    stretch: &Stretch,
    bat: &Bat,
    context: &SwingContext,
    shifts: &mut Shifts,
    values: &mut Values,
) {
    let meeting = Meeting::new(stretch, bat, context);
    let window_s = meeting.and_then(|meeting| shifts.span_s(&meeting));
    if let Some(window_s) = window_s {
        values.set(Metric::TimingWindow, window_s * 1e3);
    }
}

impl Shifts {
    /// From the first to the last of the bat's times at which the contact is square, after [`Shifts::span_s`].
    pub(super) fn times_s(&self) -> Option<(f64, f64)> {
        Some((*self.times_s.first()?, *self.times_s.last()?))
    }

    pub(super) fn span_s(&mut self, meeting: &Meeting) -> Option<f64> {
        self.times_s.clear();
        self.early_s.clear();
        self.walk(meeting, -1.0)?;
        self.times_s.reverse();
        self.early_s.reverse();
        self.push(0.0, 0.0);
        self.walk(meeting, 1.0)?;
        self.late_s.clear();
        self.late_s.extend(self.early_s.iter().map(|shift_s| -shift_s));
        if self.times_s.len() < 3 {
            return None;
        }
        let from_s = self.times_s[0];
        Some(peak(&self.times_s, &self.early_s, from_s).value + peak(&self.times_s, &self.late_s, from_s).value)
    }

    /// From contact out in one direction, to where the contact fails.
    fn walk(&mut self, meeting: &Meeting, direction: f64) -> Option<()> {
        let mut inside_s = 0.0;
        for step in 1.. {
            let time_s = direction * step as f64 * STEP_S;
            if meeting.carried && time_s > CARRY_S - STEP_S / 2.0 {
                return self.finish(meeting, inside_s, CARRY_S);
            }
            let crossing = meeting.crossing(time_s)?;
            if crossing.fails() {
                return self.finish(meeting, inside_s, time_s);
            }
            self.push(time_s, crossing.shift_s);
            inside_s = time_s;
        }
        None
    }

    fn finish(&mut self, meeting: &Meeting, inside_s: f64, outside_s: f64) -> Option<()> {
        let edge_s = meeting.edge_s(inside_s, outside_s)?;
        if edge_s != inside_s {
            self.push(edge_s, meeting.crossing(edge_s)?.shift_s);
        }
        Some(())
    }

    fn push(&mut self, time_s: f64, shift_s: f64) {
        self.times_s.push(time_s);
        self.early_s.push(shift_s);
    }
}

/// Bat and ball about one contact.
pub(super) struct Meeting<'a> {
    stretch: &'a Stretch<'a>,
    sweet_from_hands_m: f64,
    sweet_spot_w_m: Vector3<f64>,
    flight_w: Vector3<f64>,
    ball_speed_mps: f64,
    carried: bool,
    carry: Carry,
}

/// How a swing that hit is carried on.
pub(super) struct Carry {
    pub(super) velocity_hands_w_mps: Vector3<f64>,
    pub(super) omega_w_radps: Vector3<f64>,
}

/// What is left between bat and ball where their lines cross.
struct Crossing {
    shift_s: f64,
    miss_m: f64,
    along_m: f64,
}

impl Crossing {
    fn fails(&self) -> bool {
        self.miss_m.abs() > MISS_M || self.along_m.abs() > ALONG_M
    }
}

impl<'a> Meeting<'a> {
    fn new(stretch: &'a Stretch<'a>, bat: &Bat, context: &SwingContext) -> Option<Self> {
        let heading_w = horizontal_heading(stretch.at_contact().velocity_w_mps(bat.sweet_spot_m))?;
        Self::along(stretch, heading_w, bat.sweet_spot_m, context, Carry::of(stretch)?)
    }

    /// Of a swing with this heading at contact, carried on like this; its sweet spot is `sweet_spot_m` from the knob end.
    pub(super) fn along(
        stretch: &'a Stretch<'a>,
        heading_w: Vector3<f64>,
        sweet_spot_m: f64,
        context: &SwingContext,
        carry: Carry,
    ) -> Option<Self> {
        let descent_rad = context.pitch_descent_deg.to_radians();
        let speed_mps = context.pitch_speed_mps;
        let is_pitch = speed_mps.is_finite() && speed_mps > 0.0 && descent_rad.is_finite();
        is_pitch.then(|| Self {
            stretch,
            sweet_from_hands_m: sweet_spot_m - HANDS_FROM_KNOB_M,
            sweet_spot_w_m: stretch.at_contact().position_w_m(sweet_spot_m),
            flight_w: heading_w * -descent_rad.cos() - Vector3::z() * descent_rad.sin(),
            ball_speed_mps: speed_mps,
            carried: stretch.ball,
            carry,
        })
    }

    /// Sweet spot and axis at a time from contact; `None` beyond the motion.
    fn pose(&self, time_s: f64) -> Option<(Vector3<f64>, Vector3<f64>)> {
        let (hands_w_m, axis_w) = if self.carried && time_s > 0.0 {
            self.carry.pose(self.stretch, time_s)
        } else {
            self.measured_pose(time_s)?
        };
        Some((hands_w_m + axis_w * self.sweet_from_hands_m, axis_w))
    }

    fn measured_pose(&self, time_s: f64) -> Option<(Vector3<f64>, Vector3<f64>)> {
        let Stretch { times_s, states, .. } = self.stretch;
        if time_s < times_s[0] || time_s > times_s[times_s.len() - 1] {
            return None;
        }
        let i = interval(times_s, time_s);
        let step_s = times_s[i + 1] - times_s[i];
        let part = (time_s - times_s[i]) / step_s;
        let hands = |s: &BatState| (s.hands_w_m, s.velocity_hands_w_mps);
        let axis = |s: &BatState| (s.axis_w, s.omega_w_radps.cross(&s.axis_w));
        let hands_w_m = hermite(part, step_s, hands(&states[i]), hands(&states[i + 1]));
        Some((hands_w_m, hermite(part, step_s, axis(&states[i]), axis(&states[i + 1])).normalize()))
    }

    fn crossing(&self, time_s: f64) -> Option<Crossing> {
        let (sweet_spot_w_m, axis_w) = self.pose(time_s)?;
        let across_w = axis_w.cross(&self.flight_w);
        let sine = across_w.norm();
        if sine.is_nan() || sine <= PARALLEL {
            return None;
        }
        let normal_w = across_w / sine;
        let toward_w = axis_w.cross(&normal_w);
        let travelled_m = (sweet_spot_w_m - self.sweet_spot_w_m).dot(&toward_w) / self.flight_w.dot(&toward_w);
        let ball_from_sweet_spot_m = self.sweet_spot_w_m + self.flight_w * travelled_m - sweet_spot_w_m;
        Some(Crossing {
            shift_s: travelled_m / self.ball_speed_mps - time_s,
            miss_m: ball_from_sweet_spot_m.dot(&normal_w),
            along_m: ball_from_sweet_spot_m.dot(&axis_w),
        })
    }

    /// The last time from `inside_s` toward `outside_s` at which the contact is still square.
    fn edge_s(&self, mut inside_s: f64, mut outside_s: f64) -> Option<f64> {
        if !self.crossing(outside_s)?.fails() {
            return Some(outside_s);
        }
        for _ in 0..HALVINGS {
            let middle_s = 0.5 * (inside_s + outside_s);
            if self.crossing(middle_s)?.fails() {
                outside_s = middle_s;
            } else {
                inside_s = middle_s;
            }
        }
        Some(inside_s)
    }
}

impl Carry {
    /// `None` if the motion does not reach back as far as its means do.
    fn of(stretch: &Stretch) -> Option<Self> {
        if stretch.times_s[0] > -CARRY_MEAN_S {
            return None;
        }
        let (velocity_hands_w_mps, omega_w_radps) = mean_rates(stretch);
        Some(Self { velocity_hands_w_mps, omega_w_radps })
    }

    /// Hands and axis, a time after contact.
    pub(super) fn pose(&self, stretch: &Stretch, time_s: f64) -> (Vector3<f64>, Vector3<f64>) {
        let state = stretch.at_contact();
        let hands_w_m = state.hands_w_m + self.velocity_hands_w_mps * time_s;
        (hands_w_m, turned(state.axis_w, self.omega_w_radps * time_s))
    }
}

/// The unit horizontal direction of a vector; `None` if it has none.
pub(super) fn horizontal_heading(v_w: Vector3<f64>) -> Option<Vector3<f64>> {
    Vector3::new(v_w.x, v_w.y, 0.0).try_normalize(1e-9)
}

/// Means over the carry's 5 ms of the hands' velocity (their way over the time) and of the angular velocity (Simpson's
/// rule on cubics between the states).
fn mean_rates(stretch: &Stretch) -> (Vector3<f64>, Vector3<f64>) {
    const HALF_PANELS: usize = 5;
    let first = interval(stretch.times_s, -CARRY_MEAN_S).saturating_sub(1);
    let first = first.min(stretch.contact - 2);
    let times_s = &stretch.times_s[first..=stretch.contact];
    let states = &stretch.states[first..=stretch.contact];
    let mean = |rate: fn(&BatState) -> Vector3<f64>| -> Vector3<f64> {
        let rates: Vec<_> = states.iter().map(rate).collect();
        let weighted = |k: usize| {
            let weight = if k == 0 || k == 2 * HALF_PANELS { 1.0 } else { 2.0 + 2.0 * (k % 2) as f64 };
            cubic(times_s, &rates, -CARRY_MEAN_S * k as f64 / (2 * HALF_PANELS) as f64) * weight
        };
        (0..=2 * HALF_PANELS).map(weighted).sum::<Vector3<f64>>() / (6 * HALF_PANELS) as f64
    };
    (mean(|s| s.velocity_hands_w_mps), mean(|s| s.omega_w_radps))
}

/// Turned by a rotation vector (Rodrigues's formula).
fn turned(v: Vector3<f64>, rotation_rad: Vector3<f64>) -> Vector3<f64> {
    let angle_rad = rotation_rad.norm();
    if angle_rad == 0.0 {
        return v;
    }
    let about = rotation_rad / angle_rad;
    let (sin, cos) = angle_rad.sin_cos();
    v * cos + about.cross(&v) * sin + about * (about.dot(&v) * (1.0 - cos))
}

#[cfg(test)]
mod tests;
