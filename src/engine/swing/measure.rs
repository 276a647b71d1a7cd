//! From a smoothed state at a node and the signals about it to the bat's motion, the metrics and their σ.

use super::Contact;
use super::bat_motion::{Probe, bat_motion};
use super::changes::{Changes, Column, Spread, by_state, difference};
use super::delay::Chain;
use super::window::{Source, Window};
use crate::engine::metrics::{BatMotion, Estimate, Metric, Scratch, Values, evaluate_with};
use crate::engine::motion::conditioning::Reading;
use crate::engine::motion::state::{Covariance, NavState};
use crate::engine::profile::{Profile, SwingContext};
use nalgebra::{Matrix4, Vector3, Vector4};

/// 1 σ of the IMU's position in B, each axis, m: how well a mount is known. An assumption.
const OFFSET_SIGMA_M: f64 = 7e-4;
/// The instant of contact is moved by this to see what it changes, s.
const NUDGE_S: f64 = 1e-4;
/// 1 σ of where a peak of speed is found on the grid, s.
const PEAK_SIGMA_S: f64 = 1e-4;
/// Step of the grid on which errors are followed, s.
const COARSE_STEP_S: f64 = 4e-3;
/// Steps of the grid, s.
const STEP_S: (f64, f64) = (5e-4, 1e-3);
/// 1 σ of the greatest turn rate, as a part of it, for each second by which the step is longer than a millisecond: a
/// peak between samples and behind a slow low-pass. Judged on simulated swings at 104 and 208 Hz.
const COARSE_TURN_RATE: f64 = 7.0;
/// Time after contact that is looked at where nothing was met, s.
const AFTER_S: f64 = 0.1;

/// All that a swing is measured from.
pub struct Material<'a> {
    /// The profile.
    pub profile: &'a Profile,
    /// The batter and the pitch, in place of the profile's.
    pub context: &'a SwingContext,
    /// Delays.
    pub chain: &'a Chain,
    /// Readings about the swing.
    pub readings: &'a [Reading],
    /// The last reading before the blow, or the last of all.
    pub last_clean: usize,
    /// The reading at the filter's node.
    pub node: usize,
    /// What was met.
    pub contact: Contact,
    /// Contact, true time, s: where the blow is, or about where the peak of speed is looked for.
    pub contact_s: f64,
    /// 1 σ of a blow's time, s.
    pub contact_sigma_s: f64,
    /// Nominal step of the readings, s.
    pub interval_s: f64,
}

/// A swing's numbers.
pub struct Measured {
    /// Contact, true time, s.
    pub contact_s: f64,
    /// 1 σ, s.
    pub contact_sigma_s: f64,
    /// Start and metrics.
    pub values: Values,
    /// With their σ.
    pub metrics: [Option<Estimate>; Metric::COUNT],
    /// The motion.
    pub motion: BatMotion,
}

impl Material<'_> {
    fn source(&self) -> Source<'_> {
        Source { readings: self.readings, last_clean: self.last_clean, node: self.node, chain: self.chain }
    }

    fn fine_window(&self, contact_s: f64) -> Option<Window> {
        self.window(contact_s, self.interval_s.clamp(STEP_S.0, STEP_S.1))
    }

    fn window(&self, contact_s: f64, step_s: f64) -> Option<Window> {
        let after_s = if self.contact == Contact::Ball { 0.0 } else { AFTER_S };
        self.source().window(contact_s, after_s, step_s)
    }

    fn motion(&self, window: &Window, probe: &Probe) -> BatMotion {
        bat_motion(window, probe, self.profile, self.contact)
    }

    /// Measures the swing from the state at the node and its covariance. `known` is what errors change in it, if that was
    /// found before: it hardly depends on how well the state is known.
    pub fn measure(
        &self,
        state: &NavState,
        covariance: &Covariance,
        known: Option<Changes>,
    ) -> Option<(Measured, Changes)> {
        let (contact_s, window) = self.settled_window(state)?;
        let motion = self.motion(&window, &Probe::of(state));
        let values = evaluate_with(&mut Scratch::default(), &motion, &self.profile.bat, self.context);
        let changes = match known {
            Some(changes) => changes,
            None => self.changes(contact_s, state, covariance)?,
        };
        let spread = changes.spread(covariance);
        let (contact_sigma_s, timing_s) = self.timing(spread.contact_s2);
        let metrics = self.estimates(&values, &spread, &changes.by_contact.map(|x| x * timing_s));
        Some((Measured { contact_s, contact_sigma_s, values, metrics, motion }, changes))
    }

    /// What errors change: of the state, of the mount's offset, of guessed signals, of the instant of contact. It is
    /// smooth, so a coarse grid tells it in a quarter of the time.
    fn changes(&self, contact_s: f64, state: &NavState, covariance: &Covariance) -> Option<Changes> {
        let window = self.window(contact_s, COARSE_STEP_S)?;
        let nominal = Probe::of(state);
        let mut scratch = Scratch::default();
        let mut values_of = |motion: &BatMotion| {
            let values = evaluate_with(&mut scratch, motion, &self.profile.bat, self.context);
            (values, self.peak_shift_s(motion).unwrap_or(0.0))
        };
        let (base, peak_s) = values_of(&self.motion(&window, &nominal));
        let later = self.window(contact_s + NUDGE_S, COARSE_STEP_S).map(|w| values_of(&self.motion(&w, &nominal)).0);
        let by_contact = later.map_or([0.0; Metric::COUNT], |later| difference(&base, &later).map(|x| x / NUDGE_S));
        let mut moved = |window: &Window, probe: &Probe| {
            let (now, now_peak_s) = values_of(&self.motion(window, probe));
            Column::new(difference(&base, &now), &by_contact, now_peak_s - peak_s)
        };
        let by_state = by_state(state, covariance, |probe| moved(&window, probe));
        let mut others = Vec::with_capacity(3 * (1 + window.doubts.len()));
        for axis in 0..3 {
            let offset_error_b_m = Vector3::ith(axis, OFFSET_SIGMA_M);
            others.push(moved(&window, &Probe { offset_error_b_m, ..Probe::of(state) }));
            for doubt in &window.doubts {
                others.push(moved(&window.moved(doubt, axis), &nominal));
            }
        }
        Some(Changes { by_state, others, by_contact })
    }

    /// 1 σ of contact, and of the instant on the motion's own clock at which it is looked at, s.
    fn timing(&self, peak_s2: f64) -> (f64, f64) {
        match self.contact {
            Contact::Ball => {
                let sigma_s = self.contact_sigma_s.hypot(self.chain.delay_sigma_s());
                (sigma_s, sigma_s)
            }
            Contact::None => (peak_s2.sqrt().hypot(PEAK_SIGMA_S).hypot(self.chain.delay_sigma_s()), PEAK_SIGMA_S),
        }
    }

    /// Values with their σ; `by_timing` is what the instant of contact adds to each.
    fn estimates(
        &self,
        values: &Values,
        spread: &Spread,
        by_timing: &[f64; Metric::COUNT],
    ) -> [Option<Estimate>; Metric::COUNT] {
        let coarse = COARSE_TURN_RATE * (self.interval_s - 1.2e-3).max(0.0);
        Metric::ALL.map(|metric| {
            let m = metric.index();
            if metric == Metric::PeakLead && self.contact == Contact::None {
                // Contact is the peak, by definition: what the two ways of finding it differ by is no lead.
                return Some(Estimate { value: 0.0, sigma: least_sigma(metric) });
            }
            let value = values.values[m]?;
            let coarse = if metric == Metric::TurnRate { coarse * value } else { 0.0 };
            let sigma = spread.metrics[m].abs().sqrt().hypot(by_timing[m]).hypot(coarse);
            sigma.is_finite().then(|| Estimate { value, sigma: sigma.max(least_sigma(metric)) })
        })
    }

    /// The window about contact: about the blow, or about the sweet spot's peak of speed, found by going there.
    fn settled_window(&self, state: &NavState) -> Option<(f64, Window)> {
        let mut contact_s = self.contact_s;
        let mut window = self.fine_window(contact_s)?;
        if self.contact == Contact::Ball {
            return Some((contact_s, window));
        }
        let probe = Probe::of(state);
        for _ in 0..4 {
            let shift_s = self.peak_shift_s(&self.motion(&window, &probe))?;
            contact_s += shift_s;
            window = self.fine_window(contact_s)?;
            if shift_s.abs() < 1e-6 {
                break;
            }
        }
        Some((contact_s, window))
    }

    /// From the grid's contact to the sweet spot's peak of speed, s; 0 for a ball.
    fn peak_shift_s(&self, motion: &BatMotion) -> Option<f64> {
        if self.contact == Contact::Ball {
            return Some(0.0);
        }
        let reach = (0.055 / (motion.times_s.get(1)? - motion.times_s[0])) as usize;
        let from = motion.contact.saturating_sub(reach);
        let speed = |i: usize| motion.states[i].velocity_w_mps(self.profile.bat.sweet_spot_m).norm();
        let best = (from..motion.states.len()).max_by(|a, b| speed(*a).total_cmp(&speed(*b)))?;
        let step_s = motion.times_s[1] - motion.times_s[0];
        let reach = ((PEAK_REACH_S / step_s) as usize).min(best).min(motion.states.len() - 1 - best);
        if reach < 2 {
            return Some(motion.times_s[best]);
        }
        let part = cubic_peak((best - reach..=best + reach).map(speed), reach)?;
        Some(motion.times_s[best] + part * reach as f64 * step_s)
    }
}

/// A peak of speed is read from this much on either side of the fastest grid point, s: enough to average the noise.
const PEAK_REACH_S: f64 = 0.012;

/// Where the least-squares cubic through 2·reach + 1 even points has its peak, from the middle one, in units of the reach;
/// 0 if it has none within.
fn cubic_peak(values: impl Iterator<Item = f64>, reach: usize) -> Option<f64> {
    let (mut normal, mut right) = (Matrix4::zeros(), Vector4::zeros());
    for (k, value) in values.enumerate() {
        let x = k as f64 / reach as f64 - 1.0;
        let row = Vector4::new(1.0, x, x * x, x * x * x);
        normal += row * row.transpose();
        right += row * value;
    }
    let c = normal.cholesky()?.solve(&right);
    // The root of c1 + 2 c2 x + 3 c3 x² that goes to −c1 / 2 c2 as c3 goes to 0.
    let root = (c[2] * c[2] - 3.0 * c[1] * c[3]).sqrt();
    let x = if c[2] < 0.0 { -c[1] / (c[2] - root) } else { 0.0 };
    Some(if x.abs() <= 1.0 { x } else { 0.0 })
}

/// What the method itself leaves of error, in the metric's unit: no σ is told below it.
fn least_sigma(metric: Metric) -> f64 {
    match metric {
        Metric::BatSpeed | Metric::PeakBatSpeed | Metric::HandSpeed | Metric::HandSpeedAtContact => 0.003,
        Metric::AttackAngle | Metric::BatTilt | Metric::PlaneTilt => 0.01,
        Metric::PeakLead | Metric::TimeToContact | Metric::SpeedBuilt => 0.03,
        Metric::TimingWindow => 0.05,
        Metric::TurnRate | Metric::RollRate => 0.5,
        Metric::PathLength => 0.001,
    }
}
