//! From a smoothed state at a node and the signals about it to the bat's motion, the metrics and their σ.

use super::delay::Chain;
use super::window::{Signal, Source, Window};
use super::Contact;
use crate::engine::geometry::{Attitude, gravity_reaction_w_mps2};
use crate::engine::metrics::{BatMotion, BatState, Estimate, HANDS_FROM_KNOB_M, Metric, Scratch, Values, evaluate_with};
use crate::engine::motion::conditioning::Reading;
use crate::engine::motion::state::{ATTITUDE, Correction, Covariance, ErrorVector, NavState, PARAMETERS, SIZE, VELOCITY, parameter};
use crate::engine::motion::strapdown::{coning, middle_integral, trapezium};
use crate::engine::profile::Profile;
use nalgebra::{UnitQuaternion, Vector3};

/// 1 σ of the IMU's position in B, each axis, m: how well a mount is known. An assumption.
const OFFSET_SIGMA_M: f64 = 7e-4;
/// Steps of the grid, s.
const STEP_S: (f64, f64) = (5e-4, 1e-3);
/// Time after contact that is looked at where nothing was met, s.
const AFTER_S: f64 = 0.06;

/// All that a swing is measured from.
pub struct Material<'a> {
    /// The profile.
    pub profile: &'a Profile,
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

/// Geometry of the bat as seen from the sensor.
struct Arms {
    q_sb: UnitQuaternion<f64>,
    hands_from_imu_b_m: Vector3<f64>,
}

impl Arms {
    fn new(profile: &Profile, state: &NavState, offset_error_b_m: Vector3<f64>) -> Self {
        let tilt = Vector3::new(state.parameters[parameter::TILT], state.parameters[parameter::TILT + 1], 0.0);
        let q_bs = UnitQuaternion::from_scaled_axis(tilt) * profile.mount.q_bs;
        let offset = profile.mount.offset_b_m + offset_error_b_m;
        Self { q_sb: q_bs.inverse(), hands_from_imu_b_m: Vector3::new(0.0, 0.0, HANDS_FROM_KNOB_M) - offset }
    }

    fn bat_state(&self, attitude: Attitude, omega_s: Vector3<f64>, velocity_w_mps: Vector3<f64>, position_w_m: Vector3<f64>) -> BatState {
        let omega_w_radps = attitude.to_world(omega_s);
        let arm_w_m = attitude.to_world(self.q_sb * self.hands_from_imu_b_m);
        BatState {
            axis_w: attitude.to_world(self.q_sb * Vector3::z()),
            omega_w_radps,
            hands_w_m: position_w_m + arm_w_m,
            velocity_hands_w_mps: velocity_w_mps + omega_w_radps.cross(&arm_w_m),
        }
    }
}

impl Material<'_> {
    fn source(&self) -> Source<'_> {
        Source { readings: self.readings, last_clean: self.last_clean, node: self.node, chain: self.chain }
    }

    fn window(&self, contact_s: f64) -> Option<Window> {
        let step_s = self.interval_s.clamp(STEP_S.0, STEP_S.1);
        let after_s = if self.contact == Contact::Ball { 0.0 } else { AFTER_S };
        self.source().window(contact_s, after_s, step_s)
    }

    /// Measures the swing from the state at the node and its covariance.
    pub fn measure(&self, state: &NavState, covariance: &Covariance) -> Option<Measured> {
        let (contact_s, window) = self.settled_window(state)?;
        let nominal = Probe { state: state.clone(), offset_b_m: Vector3::zeros() };
        let mut scratch = Scratch::default();
        let motion = motion(&window, &nominal, self.profile, self.contact);
        let mut values_of = |motion: &BatMotion| evaluate_with(&mut scratch, motion, &self.profile.bat, &self.profile.swing);
        let values = values_of(&motion);
        let peak_s = |motion: &BatMotion| self.peak_shift_s(motion).unwrap_or(0.0);
        let base_peak_s = peak_s(&motion);

        // How each metric moves with the instant of contact.
        let nudge_s = 1e-4;
        let later = self.window(contact_s + nudge_s).map(|w| values_of(&self::motion(&w, &nominal, self.profile, self.contact)));
        let per_second = |metric: usize| later.as_ref().and_then(|l| Some((l.values[metric]? - values.values[metric]?) / nudge_s)).unwrap_or(0.0);
        let by_contact: [f64; Metric::COUNT] = std::array::from_fn(per_second);

        let mut columns = Vec::with_capacity(SIZE);
        let mut contact_column = Vec::with_capacity(SIZE);
        for place in (ATTITUDE..ATTITUDE + 2).chain(VELOCITY..VELOCITY + 3).chain(PARAMETERS..SIZE) {
            let sigma = covariance[(place, place)].max(0.0).sqrt();
            if sigma < 1e-10 {
                continue;
            }
            let mut error = ErrorVector::zeros();
            error[place] = sigma;
            let probe = Probe { state: state.corrected(&error), offset_b_m: Vector3::zeros() };
            let moved = self::motion(&window, &probe, self.profile, self.contact);
            let shift_s = peak_s(&moved) - base_peak_s;
            let column = self.column(&values, &values_of(&moved), &by_contact, shift_s);
            columns.push((place, column.map(|x| x / sigma)));
            contact_column.push((place, shift_s / sigma));
        }
        if std::env::var("DBGG").is_ok() {
            for metric in [Metric::BatSpeed, Metric::AttackAngle, Metric::BatTilt, Metric::TimeToContact, Metric::TimingWindow] {
                let m = metric.index();
                let groups = [("att", 0, 3), ("vel", 3, 6), ("bg", 10, 13), ("G", 13, 22), ("K", 22, 31), ("ba", 31, 34), ("A", 34, 43), ("tilt", 43, 45)];
                let mut line = format!("GROUPS {} value {:?} tc {:.4}", metric.key(), values.values[m], by_contact[m] * self.contact_sigma_s);
                for (name, a, b) in groups {
                    let mut v = 0.0;
                    for (pa, ca) in &columns { for (pb, cb) in &columns { if *pa >= a && *pa < b && *pb >= a && *pb < b { v += ca[m] * cb[m] * covariance[(*pa, *pb)]; } } }
                    line += &format!(" {name} {:.4}", f64::sqrt(v));
                }
                eprintln!("{line}");
            }
            let d = |a: usize, b: usize| (a..b).map(|i| format!("{:.5}", covariance[(i, i)].sqrt())).collect::<Vec<_>>().join(" ");
            eprintln!("GROUPS sd att {} vel {} bg {} ba {} Gdiag {:.5} {:.5} {:.5}", d(0, 3), d(3, 6), d(10, 13), d(31, 34), covariance[(13, 13)].sqrt(), covariance[(17, 17)].sqrt(), covariance[(21, 21)].sqrt());
            eprintln!("GROUPS mean bg {:?} ba {:?}", state.parameters.fixed_rows::<3>(0).as_slice(), state.parameters.fixed_rows::<3>(21).as_slice());
        }
        let mut variance = [0.0; Metric::COUNT];
        let mut contact_variance = 0.0;
        for (a, (place_a, column_a)) in columns.iter().enumerate() {
            for (b, (place_b, column_b)) in columns.iter().enumerate() {
                let c = covariance[(*place_a, *place_b)];
                for m in 0..Metric::COUNT {
                    variance[m] += column_a[m] * column_b[m] * c;
                }
                contact_variance += contact_column[a].1 * contact_column[b].1 * c;
            }
        }
        for axis in 0..3 {
            let mut offset_b_m = Vector3::zeros();
            offset_b_m[axis] = OFFSET_SIGMA_M;
            let probe = Probe { state: state.clone(), offset_b_m };
            let moved = self::motion(&window, &probe, self.profile, self.contact);
            let shift_s = peak_s(&moved) - base_peak_s;
            let column = self.column(&values, &values_of(&moved), &by_contact, shift_s);
            for m in 0..Metric::COUNT {
                variance[m] += column[m] * column[m];
            }
            contact_variance += shift_s * shift_s;
        }
        let own_s = if self.contact == Contact::Ball { self.contact_sigma_s } else { contact_variance.sqrt().hypot(5e-5) };
        let timing_s = if self.contact == Contact::Ball { self.contact_sigma_s.hypot(self.chain.delay_sigma_s()) } else { 5e-5 };
        let metrics = std::array::from_fn(|m| {
            let value = values.values[m]?;
            let sigma = (variance[m] + (by_contact[m] * timing_s).powi(2)).max(0.0).sqrt();
            Some(Estimate { value, sigma: sigma.max(least_sigma(Metric::ALL[m])) })
        });
        Some(Measured { contact_s, contact_sigma_s: own_s.hypot(self.chain.delay_sigma_s()), values, metrics, motion })
    }

    /// What a perturbation does to each metric, the shift of a peak that it brings included.
    fn column(&self, base: &Values, moved: &Values, by_contact: &[f64; Metric::COUNT], shift_s: f64) -> [f64; Metric::COUNT] {
        std::array::from_fn(|m| match (base.values[m], moved.values[m]) {
            (Some(a), Some(b)) => b - a + by_contact[m] * shift_s,
            _ => 0.0,
        })
    }

    /// The window about contact: about the blow, or about the sweet spot's peak of speed, found by going there.
    fn settled_window(&self, state: &NavState) -> Option<(f64, Window)> {
        let mut contact_s = self.contact_s;
        let mut window = self.window(contact_s)?;
        if self.contact == Contact::Ball {
            return Some((contact_s, window));
        }
        let probe = Probe { state: state.clone(), offset_b_m: Vector3::zeros() };
        for _ in 0..4 {
            let shift_s = self.peak_shift_s(&motion(&window, &probe, self.profile, self.contact))?;
            contact_s += shift_s;
            window = self.window(contact_s)?;
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
        if best == 0 || best + 1 >= motion.states.len() {
            return Some(motion.times_s[best]);
        }
        let (a, b, c) = (speed(best - 1), speed(best), speed(best + 1));
        let bend = a - 2.0 * b + c;
        let part = if bend < 0.0 { (0.5 * (a - c) / bend).clamp(-1.0, 1.0) } else { 0.0 };
        Some(motion.times_s[best] + part * (motion.times_s[1] - motion.times_s[0]))
    }
}

/// What a motion is computed for.
struct Probe {
    state: NavState,
    offset_b_m: Vector3<f64>,
}

/// The bat's motion on the window's grid, from the state at the node.
fn motion(window: &Window, probe: &Probe, profile: &Profile, contact: Contact) -> BatMotion {
    let correction = Correction::new(&probe.state.parameters);
    let arms = Arms::new(profile, &probe.state, probe.offset_b_m);
    let h = window.step_s;
    let omegas: Vec<Vector3<f64>> = window.signals.iter().map(|s| omega(&correction, s)).collect();
    let n = omegas.len();
    let node_place = window.contact as f64 + window.node_s / h;
    let anchor = (node_place.floor().max(0.0) as usize).min(n - 1);
    let attitudes = attitudes(window, &correction, &omegas, anchor, probe.state.attitude);
    let forces: Vec<Vector3<f64>> = (0..n).map(|k| attitudes[k].to_world(correction.force_s_mps2(window.signals[k].accel_s_mps2))).collect();
    let anchor_s = (anchor as f64 - window.contact as f64) * h;
    let node_force = probe.state.attitude.to_world(correction.force_s_mps2(window.node.accel_s_mps2));
    let gravity = gravity_reaction_w_mps2();
    let anchor_velocity = probe.state.velocity_w_mps - trapezium(forces[anchor] - gravity, node_force - gravity, window.node_s - anchor_s);
    let mut velocities = vec![anchor_velocity; n];
    let mut positions = vec![Vector3::zeros(); n];
    let gain = |k: usize| increment(&forces, k, h) - gravity * h;
    for k in anchor..n.saturating_sub(1) {
        velocities[k + 1] = velocities[k] + gain(k);
    }
    for k in (0..anchor).rev() {
        velocities[k] = velocities[k + 1] - gain(k);
    }
    for k in 0..n.saturating_sub(1) {
        // The trapezium, less what it errs by the change of acceleration.
        positions[k + 1] = positions[k] + (velocities[k] + velocities[k + 1]) * (0.5 * h) + (forces[k] - forces[k + 1]) * (h * h / 12.0);
    }
    BatMotion {
        times_s: (0..n).map(|k| (k as f64 - window.contact as f64) * h).collect(),
        states: (0..n).map(|k| arms.bat_state(attitudes[k], omegas[k], velocities[k], positions[k])).collect(),
        contact: window.contact,
        ball: contact == Contact::Ball,
    }
}

fn omega(correction: &Correction, signal: &Signal) -> Vector3<f64> {
    correction.omega_s_radps(signal.gyro_s_radps, correction.force_s_mps2(signal.accel_s_mps2))
}

fn attitudes(window: &Window, correction: &Correction, omegas: &[Vector3<f64>], anchor: usize, at_node: Attitude) -> Vec<Attitude> {
    let h = window.step_s;
    let anchor_s = (anchor as f64 - window.contact as f64) * h;
    let node_omega = omega(correction, &window.node);
    let to_node = trapezium(omegas[anchor], node_omega, window.node_s - anchor_s);
    let mut out = vec![at_node.turned_in_sensor(-to_node); omegas.len()];
    let turn = |k: usize| increment(omegas, k, h) + coning(omegas[k], omegas[k + 1], h);
    for k in anchor..omegas.len() - 1 {
        out[k + 1] = out[k].turned_in_sensor(turn(k));
    }
    for k in (0..anchor).rev() {
        out[k] = out[k + 1].turned_in_sensor(-turn(k));
    }
    out
}

/// ∫ from grid point k to the next.
fn increment(values: &[Vector3<f64>], k: usize, h: f64) -> Vector3<f64> {
    if k >= 1 && k + 2 < values.len() {
        middle_integral(values[k - 1], values[k], values[k + 1], values[k + 2], h)
    } else {
        trapezium(values[k], values[k + 1], h)
    }
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

/// A signal with both channels at zero.
impl Default for Signal {
    fn default() -> Self {
        Self { gyro_s_radps: Vector3::zeros(), accel_s_mps2: Vector3::zeros() }
    }
}
