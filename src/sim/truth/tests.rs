//! The metrics a second time, written from the definitions in the plainest way, against those of the engine.

use super::*;
use crate::engine::metrics::{BatState, Metric};
use crate::sim::lesson::{Kind, Scenario};
use crate::sim::preset::Preset;
use biquad::{Biquad, Coefficients, DirectForm2Transposed, Q_BUTTERWORTH_F64, ToHertz, Type};
use nalgebra::{Matrix3, Vector3};

impl SwingTruth {
    /// The metrics by plain sums over the steps, written from the definitions alone; no timing window.
    fn plain_metrics(&self, bat: &Bat) -> [Option<f64>; Metric::COUNT] {
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

/// The engine interpolates between steps where the plain way takes the nearest: 0.2 ms of time and what a swing changes
/// in it. The start may jump where two rules nearly tie; such swings are counted.
#[test]
fn engine_and_plain_metrics_agree() {
    let mut jumps = 0;
    for seed in 0..12 {
        let kind = Kind::Swing(if seed % 2 == 0 { SwingKind::Ball } else { SwingKind::Dry });
        let (profile, truth) = Scenario::new(kind, Preset::Slow, seed).truth();
        let swing = &truth.swings[0];
        let start_gap_s = start_s(&swing.motion) - swing.start_from_contact_s;
        jumps += usize::from(start_gap_s.abs() > 1.5e-3);
        let plain = swing.plain_metrics(&profile.bat);
        for metric in Metric::ALL {
            let (Some(plain), Some(engine)) = (plain[metric.index()], swing.values.of(metric)) else {
                assert!(metric == Metric::TimingWindow, "{metric:?} of {seed} is missing");
                continue;
            };
            let bound = match metric {
                Metric::TurnRate | Metric::RollRate => 0.5,
                Metric::PeakLead | Metric::SpeedBuilt => 0.3,
                // The window's first point: here the nearest step, in the engine 50 ms to the bit.
                Metric::PlaneTilt => 0.05,
                _ => 5e-3,
            };
            assert!((plain - engine).abs() < bound, "{metric:?} of {seed}: {plain} {engine}");
        }
    }
    assert_eq!(jumps, 0);
}
