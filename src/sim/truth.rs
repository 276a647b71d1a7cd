//! What a simulated swing truly was: contact, start and metrics from the exact motion without the blow.

use super::motion::Motion;
use super::swing::{Hit, SwingKind, SwingMark};
use crate::engine::metrics::{BatMotion, BatState, Metric};
use crate::engine::profile::Bat;
use crate::engine::swing::Contact;
use biquad::{Biquad, Coefficients, DirectForm2Transposed, Q_BUTTERWORTH_F64, ToHertz, Type};
use nalgebra::{Matrix3, Vector3};

/// Steps in which the exact motion is written down, s.
const STEP_S: f64 = 2.0e-4;

/// How much of the motion before contact is written down, s; the start is looked for in the last half second.
const BEFORE_S: f64 = 1.2;

/// How much is followed after contact, s.
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
    /// The exact motion, the blow left out.
    pub motion: BatMotion,
    /// How the ball was met.
    pub hit: Option<Hit>,
}

impl SwingTruth {
    /// Of a swing in a motion; `to_sensor_s` takes a true time to the sensor's clock.
    pub fn of(motion: &Motion, mark: &SwingMark, bat: &Bat, to_sensor_s: impl Fn(f64) -> f64) -> Self {
        let contact_kind = if mark.kind == SwingKind::Ball { Contact::Ball } else { Contact::None };
        let contact_s = match contact_kind {
            Contact::Ball => mark.contact_s,
            Contact::None => quickest_s(motion, mark.active_s, bat.sweet_spot_m),
        };
        let mut sampled = sampled(motion, contact_s, contact_kind == Contact::Ball);
        let start_from_contact_s = start_s(&sampled);
        if sampled.ball {
            sampled.times_s.truncate(sampled.contact + 1);
            sampled.states.truncate(sampled.contact + 1);
        }
        Self {
            kind: mark.kind,
            contact_kind,
            start_sensor_s: to_sensor_s(contact_s + start_from_contact_s),
            contact_sensor_s: to_sensor_s(contact_s),
            active_sensor_s: (to_sensor_s(mark.active_s.0), to_sensor_s(mark.active_s.1)),
            start_from_contact_s,
            motion: sampled,
            hit: mark.hit,
        }
    }

    /// True values of the metrics that need no pitch; the timing window is left out.
    pub fn metrics(&self, bat: &Bat) -> [Option<f64>; Metric::COUNT] {
        let from = self.motion.times_s.partition_point(|&t| t < self.start_from_contact_s);
        let swing = &self.motion.states[from.min(self.motion.contact)..=self.motion.contact];
        let times_s = &self.motion.times_s[from.min(self.motion.contact)..=self.motion.contact];
        let sweet = |state: &BatState| state.velocity_w_mps(bat.sweet_spot_m);
        let speeds: Vec<f64> = swing.iter().map(|state| sweet(state).norm()).collect();
        let at = &self.motion.states[self.motion.contact];
        let (peak, peak_mps) = largest(&speeds);
        let most = |values: &mut dyn Iterator<Item = f64>| values.fold(0.0, f64::max);
        let spot: Vec<Vector3<f64>> = swing.iter().map(|state| state.position_w_m(bat.sweet_spot_m)).collect();
        let bat_speed = sweet(at).norm();
        let mut out = [None; Metric::COUNT];
        for (metric, value) in [
            (Metric::BatSpeed, bat_speed),
            (Metric::PeakBatSpeed, peak_mps),
            (Metric::PeakLead, -1e3 * times_s[peak]),
            (Metric::HandSpeed, most(&mut swing.iter().map(|state| state.velocity_hands_w_mps.norm()))),
            (Metric::HandSpeedAtContact, at.velocity_hands_w_mps.norm()),
            (Metric::TimeToContact, -1e3 * self.start_from_contact_s),
            (Metric::AttackAngle, (sweet(at).z / bat_speed).asin().to_degrees()),
            (Metric::BatTilt, at.axis_w.z.asin().to_degrees()),
            (Metric::PlaneTilt, plane_tilt_deg(&self.last_points(bat))),
            (Metric::TurnRate, most(&mut swing.iter().map(BatState::omega_across_radps)).to_degrees()),
            (Metric::RollRate, at.omega_w_radps.dot(&at.axis_w).to_degrees()),
            (Metric::SpeedBuilt, -1e3 * self.last_below_s(bat, 0.9 * bat_speed)),
            (Metric::PathLength, spot.windows(2).map(|pair| (pair[1] - pair[0]).norm()).sum()),
        ] {
            out[metric.index()] = Some(value);
        }
        out
    }

    /// The sweet spot over the last 50 ms before contact.
    fn last_points(&self, bat: &Bat) -> Vec<Vector3<f64>> {
        let from = self.motion.times_s.partition_point(|&t| t < -0.05 - 1e-9);
        self.motion.states[from..=self.motion.contact].iter().map(|s| s.position_w_m(bat.sweet_spot_m)).collect()
    }

    fn last_below_s(&self, bat: &Bat, speed_mps: f64) -> f64 {
        let speed = |i: usize| self.motion.states[i].velocity_w_mps(bat.sweet_spot_m).norm();
        let Some(below) = (0..self.motion.contact).rev().find(|&i| speed(i) < speed_mps) else {
            return self.motion.times_s[0];
        };
        let share = (speed_mps - speed(below)) / (speed(below + 1) - speed(below));
        let (from_s, to_s) = (self.motion.times_s[below], self.motion.times_s[below + 1]);
        from_s + share * (to_s - from_s)
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

/// The motion about contact, also past a ball as it would have gone on.
fn sampled(motion: &Motion, contact_s: f64, ball: bool) -> BatMotion {
    let before = (BEFORE_S.min(contact_s) / STEP_S) as i64;
    let after = (AFTER_S.min(motion.end_s() - contact_s) / STEP_S) as i64;
    let times_s: Vec<f64> = (-before..=after).map(|i| i as f64 * STEP_S).collect();
    let states = times_s.iter().map(|t_s| motion.state_at(contact_s + t_s)).collect();
    BatMotion { times_s, states, contact: before as usize, ball }
}

/// The start from contact, s: the later of the last time that the turn across the axis was below a tenth of its maximum
/// over the last half second, and the last minimum before that maximum, in a 20 Hz zero-phase low-pass, below 40 % of it.
fn start_s(motion: &BatMotion) -> f64 {
    let turn: Vec<f64> = motion.states.iter().map(BatState::omega_across_radps).collect();
    let from = motion.times_s.partition_point(|&t| t < -0.5);
    let (peak, most) = largest(&turn[from..=motion.contact]);
    let peak = from + peak;
    let tenth = (0..motion.contact).rev().find(|&i| turn[i] < 0.1 * most).map_or(motion.times_s[0], |i| {
        let share = (0.1 * most - turn[i]) / (turn[i + 1] - turn[i]);
        motion.times_s[i] + share.clamp(0.0, 1.0) * STEP_S
    });
    let slow = forward_and_backward(&turn);
    let is_dip = |i: &usize| slow[*i] < 0.4 * most && slow[*i] <= slow[i - 1] && slow[*i] < slow[i + 1];
    let dip = (1..peak.max(1)).rev().find(is_dip).map_or(f64::NEG_INFINITY, |i| motion.times_s[i]);
    tenth.max(dip)
}

fn forward_and_backward(values: &[f64]) -> Vec<f64> {
    let Ok(c) = Coefficients::<f64>::from_params(Type::LowPass, (1.0 / STEP_S).hz(), 20.0.hz(), Q_BUTTERWORTH_F64)
    else {
        return values.to_vec();
    };
    let run = |values: Vec<f64>| -> Vec<f64> {
        let mut filter = DirectForm2Transposed::<f64>::new(c);
        let first = values.first().copied().unwrap_or(0.0);
        filter.s2 = (c.b2 - c.a2) * first;
        filter.s1 = (c.b1 - c.a1) * first + filter.s2;
        values.into_iter().map(|x| filter.run(x)).rev().collect()
    };
    run(run(values.to_vec()))
}

/// Angle against the horizontal of the total-least-squares plane through points, degrees.
fn plane_tilt_deg(points: &[Vector3<f64>]) -> f64 {
    let mean = points.iter().sum::<Vector3<f64>>() / points.len().max(1) as f64;
    let spread: Matrix3<f64> = points.iter().map(|p| (p - mean) * (p - mean).transpose()).sum();
    let eigen = spread.symmetric_eigen();
    let normal = eigen.eigenvectors.column(eigen.eigenvalues.imin()).into_owned();
    normal.z.abs().min(1.0).acos().to_degrees()
}
