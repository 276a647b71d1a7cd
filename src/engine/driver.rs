//! The engine's state machine: navigation, finder and the swings whose estimates are not final yet.

use super::check::aim::Fix;
use super::metrics::{Estimate, Flag, Metric, curves};
use super::motion::conditioning::{Reading, readings};
use super::motion::filter::MarkId;
use super::motion::navigator::{Navigator, Options};
use super::motion::rest::EndedRest;
use super::motion::span::SpanNoise;
use super::motion::state::{ATTITUDE, PARAMETERS, parameter};
use super::profile::{Calibration, Profile, SwingContext};
use super::sample::{Sample, SampleClock, SensorTime};
use super::swing::changes::Changes;
use super::swing::delay::Chain;
use super::swing::finder::{Finder, Found};
use super::swing::measure::{Material, Measured};
use super::swing::onset::OnsetFinder;
use super::swing::{Contact, Swing};
use super::{Event, Stage};
use nalgebra::Vector3;
use std::collections::VecDeque;

/// The step between samples is learnt from this many.
const INTERVAL_SAMPLES: usize = 64;
/// Samples about the present that are kept, s.
const RECENT_S: f64 = 1.3;
/// A mount whose quaternion is not given is as good as given once its tilt is known to this, 1 σ, rad.
const TILT_KNOWN_RAD: f64 = 0.02;
/// Steps of the filter that are remembered while no swing needs them.
const MOST_REMEMBERED: usize = 64;
/// However short the step, no more samples than this are kept.
const MOST_RECENT: usize = 1 << 14;
/// Readings before contact that a swing is measured from, s.
const BEFORE_S: f64 = 0.75;
/// A blow is looked into when this much has come after it, s.
const SETTLE_S: f64 = 0.004;
/// A swing that met nothing is looked into when this much has come after it was fastest, s.
const DRY_SETTLE_S: f64 = 0.18;
/// What a blow does to the attitude that the gyro does not tell, rad, each axis at 1 kHz; more at lower rates.
const BLOW_RAD: f64 = 0.004;
/// What it may do to the velocity, m/s, each axis.
const BLOW_MPS: f64 = 8.0;
/// A rest after a swing is used when it has gone on for this long, s.
const REST_AFTER_S: f64 = 0.8;
/// Without a rest, a swing is smoothed with what came this long after contact, s: so that it is told within 1.5 s of the
/// follow-through's end, which comes 0.3 s after contact at the soonest in simulated swings.
const NO_REST_AFTER_S: f64 = 1.75;
/// A swing is told for the last time this long after contact, s,
const REVISED_AFTER_S: f64 = 20.0;
/// or when this many rests have ended after it.
const REVISED_AFTER_RESTS: u32 = 3;
/// Below this sample rate a swing is not well resolved, Hz: a blow's step then spans no more than a sample or two.
const LOW_RATE_HZ: f64 = 400.0;
/// Below this bandwidth it is not either, Hz.
const LOW_BANDWIDTH_HZ: f64 = 100.0;
/// In a swing with a flag, a number with a σ above this is a guess and is not told: m/s, degrees, ms, degrees a second,
/// m. The flag says why.
const GUESS: [f64; 5] = [4.0, 20.0, 40.0, 600.0, 0.6];

/// Samples in, swings out: a state machine that is told the time by the samples alone. The same samples give the same
/// events, however they are cut into pushes.
#[derive(Debug)]
pub struct Engine {
    profile: Profile,
    chain: Chain,
    onset: OnsetFinder,
    lead: Vec<Sample>,
    running: Option<Running>,
    numbered: u64,
}

/// What there is once the step between samples is known.
#[derive(Debug)]
struct Running {
    navigator: Navigator,
    finder: Finder,
    recent: VecDeque<Sample>,
    contact: Option<Suspected>,
    swings: VecDeque<Pending>,
    last_gap_s: f64,
    last_rest_s: f64,
    /// The bat's axis in S.
    axis_s: Vector3<f64>,
}

/// A contact that waits for the samples after it.
#[derive(Clone, Copy, Debug)]
struct Suspected {
    kind: Contact,
    turning_s: f64,
    seen_s: f64,
    ready_s: f64,
}

/// A swing that has been told, but may be told better.
#[derive(Debug)]
struct Pending {
    number: u64,
    mark: MarkId,
    kind: Contact,
    readings: Vec<Reading>,
    last_clean: usize,
    node: usize,
    contact_s: f64,
    contact_sigma_s: f64,
    flags: Vec<Flag>,
    /// The batter and the pitch it belongs to, whatever came after.
    context: SwingContext,
    stage: Stage,
    rests_since: u32,
    /// What errors change in it, from when it was told first.
    changes: Option<Changes>,
}

impl Engine {
    /// For one sensor's stream.
    pub fn new(profile: Profile) -> Self {
        let chain = Chain::new(&profile.sensor);
        Self { onset: OnsetFinder::new(&chain), chain, profile, lead: Vec::new(), running: None, numbered: 0 }
    }

    /// Takes the next samples in the order of time; what is told comes back in order. A sample that is not later than
    /// the one before is left out.
    pub fn push(&mut self, samples: &[Sample]) -> Vec<Event> {
        let mut events = Vec::new();
        for sample in samples {
            if self.running.is_some() {
                self.take(*sample, &mut events);
            } else {
                self.lead_in(*sample, &mut events);
            }
        }
        events
    }

    /// The stream has ended: what is still pending is told.
    pub fn finish(&mut self) -> Vec<Event> {
        let mut events = Vec::new();
        if self.running.is_none() {
            self.start(&mut events);
        }
        if let Some(contact) = self.running.as_mut().and_then(|running| running.contact.take()) {
            self.contact(contact, &mut events);
        }
        if let Some(running) = &mut self.running {
            running.navigator.finish();
            events.extend(running.rolls());
            if let Some(since_s) = running.navigator.resting_since_s() {
                let (to_s, up_b) = (running.navigator.now_s(), running.navigator.up_b());
                events.push(Event::Rest { from: SensorTime(since_s), to: SensorTime(to_s), up_b });
            }
            while let Some(mut pending) = running.swings.pop_front() {
                pending.stage = Stage::Revised;
                events.extend(pending.told(running, &self.profile, &self.chain));
            }
        }
        events
    }

    /// From here on swings are those of this batter and pitch; those told before keep theirs.
    pub fn set_context(&mut self, context: SwingContext) {
        self.profile.swing = context;
    }

    /// What has been learnt so far of the sensor and its mount.
    pub fn calibration(&self) -> Option<Calibration> {
        self.running.as_ref()?.navigator.calibration()
    }

    /// Where the sensor is at the last node of the filter, with the σ of its heading; `None` before there is one.
    pub fn fix(&self) -> Option<Fix> {
        let navigator = &self.running.as_ref()?.navigator;
        let filter = navigator.filter()?;
        let variance = filter.covariance()[(ATTITUDE + 2, ATTITUDE + 2)];
        Some(Fix {
            time_s: navigator.node_time_s(),
            attitude: filter.state().attitude,
            heading_sigma_rad: variance.max(0.0).sqrt(),
        })
    }

    fn lead_in(&mut self, sample: Sample, events: &mut Vec<Event>) {
        let later = self.lead.last().is_none_or(|last| sample.time > last.time);
        if later && sample.time.0.is_finite() {
            self.lead.push(sample);
        }
        if self.lead.len() > INTERVAL_SAMPLES {
            self.start(events);
        }
    }

    /// The step between samples becomes known: what was held back goes in.
    fn start(&mut self, events: &mut Vec<Event>) {
        let mut clock = SampleClock::new();
        for sample in &self.lead {
            clock.push(sample.time);
        }
        let Some(step_s) = clock.summary().nominal_interval_s else { return };
        let interval_s = step_s.clamp(1e-5, 0.2);
        self.running = Some(Running {
            navigator: Navigator::new(self.profile.clone(), interval_s, Options::default()),
            finder: Finder::new(interval_s),
            recent: VecDeque::new(),
            contact: None,
            swings: VecDeque::new(),
            last_gap_s: f64::NEG_INFINITY,
            last_rest_s: f64::NEG_INFINITY,
            axis_s: self.profile.mount.q_bs.inverse() * Vector3::z(),
        });
        for sample in std::mem::take(&mut self.lead) {
            self.take(sample, events);
        }
    }

    fn take(&mut self, sample: Sample, events: &mut Vec<Event>) {
        let Some(running) = &mut self.running else { return };
        let now_s = sample.time.0;
        let last_s = running.recent.back().map_or(f64::NEG_INFINITY, |last| last.time.0);
        if now_s <= last_s || !now_s.is_finite() {
            return;
        }
        let is_whole = sample.is_whole();
        if !is_whole || (last_s.is_finite() && now_s - last_s > 1.5 * running.navigator.interval_s()) {
            running.last_gap_s = now_s;
        }
        running.recent.push_back(sample);
        while running.recent.front().is_some_and(|first| now_s - first.time.0 > RECENT_S)
            || running.recent.len() > MOST_RECENT
        {
            running.recent.pop_front();
        }
        if is_whole {
            running.look_for_swing(&sample);
        }
        let ended_rest = running.navigator.push(sample);
        if let Some(contact) = running.contact.filter(|contact| now_s >= contact.ready_s) {
            running.contact = None;
            self.contact(contact, events);
        }
        self.follow_up(now_s, ended_rest, events);
    }

    /// Tells pending swings better where there is reason to.
    fn follow_up(&mut self, now_s: f64, ended_rest: Option<EndedRest>, events: &mut Vec<Event>) {
        let Some(running) = &mut self.running else { return };
        if let Some(EndedRest { from_s, to_s }) = ended_rest {
            running.last_rest_s = to_s;
            let up_b = running.navigator.up_b();
            events.push(Event::Rest { from: SensorTime(from_s), to: SensorTime(to_s), up_b });
            events.extend(running.rolls());
            for pending in running.swings.iter_mut().filter(|pending| pending.contact_s < from_s) {
                pending.rests_since += 1;
            }
        }
        if running.swings.is_empty() {
            if let Some(filter) = running.navigator.filter_mut().filter(|filter| filter.remembered() > MOST_REMEMBERED)
            {
                filter.forget_before(None);
            }
            return;
        }
        let resting_s = running.navigator.resting_since_s().map_or(0.0, |since_s| now_s - since_s);
        let mut swings = std::mem::take(&mut running.swings);
        swings.retain_mut(|pending| {
            let since_s = now_s - pending.contact_s;
            let rested = pending.rests_since > 0 || (resting_s >= REST_AFTER_S && resting_s < since_s);
            let smooth = pending.stage == Stage::Streaming && (rested || since_s > NO_REST_AFTER_S);
            let revise = since_s > REVISED_AFTER_S || pending.rests_since >= REVISED_AFTER_RESTS;
            if smooth || revise {
                pending.stage = if revise { Stage::Revised } else { Stage::Smoothed };
                events.extend(pending.told(running, &self.profile, &self.chain));
            }
            !revise
        });
        running.swings = swings;
        let keep = running.swings.front().map(|pending| pending.mark);
        if let Some(filter) = running.navigator.filter_mut() {
            filter.forget_before(keep);
        }
    }

    /// A contact has been seen and what came after it is there: the swing's first estimate.
    fn contact(&mut self, seen: Suspected, events: &mut Vec<Event>) {
        let Some(running) = &mut self.running else { return };
        running.navigator.release();
        let Some(mut pending) = running.locate(&seen, &self.profile, &self.onset, &self.chain) else { return };
        pending.number = self.numbered;
        if let Some(event) = pending.told(running, &self.profile, &self.chain) {
            self.numbered += 1;
            events.push(event);
            running.swings.push_back(pending);
        }
    }
}

impl Running {
    /// 1 σ of the mount's tilt, rad; infinite before anything is known.
    fn tilt_sigma_rad(&self) -> f64 {
        let tilt = PARAMETERS + parameter::TILT;
        self.navigator.filter().map_or(f64::INFINITY, |f| f.covariance()[(tilt, tilt)].max(0.0).sqrt())
    }

    /// The rolls that have been used since this was asked last.
    fn rolls(&mut self) -> impl Iterator<Item = Event> {
        self.navigator.take_rolls().into_iter().map(|roll| Event::Roll {
            from: SensorTime(roll.from_s),
            to: SensorTime(roll.to_s),
            angle_rad: roll.angle_rad,
        })
    }

    fn look_for_swing(&mut self, sample: &Sample) {
        let across = sample.gyro_s_radps.cross(&self.axis_s).norm();
        let clipped = self.navigator.limits().gyro_clipped(&sample.gyro_s_radps);
        let interval_s = self.navigator.interval_s();
        match self.finder.push(sample.time.0, sample.gyro_s_radps, sample.accel_s_mps2, across, clipped) {
            Some(Found::Turning(at_s)) => self.navigator.hold_from(at_s),
            Some(Found::Ball { turning_s, seen_s }) if self.contact.is_none() => {
                let ready_s = seen_s + SETTLE_S.max(3.2 * interval_s);
                self.contact = Some(Suspected { kind: Contact::Ball, turning_s, seen_s, ready_s });
            }
            Some(Found::Dry { turning_s, fastest_s }) if self.contact.is_none() => {
                let ready_s = (fastest_s + DRY_SETTLE_S).max(sample.time.0);
                self.contact = Some(Suspected { kind: Contact::None, turning_s, seen_s: fastest_s, ready_s });
            }
            Some(Found::Over) if self.contact.is_none() => self.navigator.release(),
            Some(_) | None => {}
        }
    }

    /// Finds the instant of contact, carries the filter there and over it.
    fn locate(&mut self, seen: &Suspected, profile: &Profile, onset: &OnsetFinder, chain: &Chain) -> Option<Pending> {
        let samples: Vec<Sample> =
            self.recent.iter().filter(|s| s.time.0 > seen.seen_s - BEFORE_S - 0.1).copied().collect();
        let mut list = readings(samples.iter(), self.navigator.limits(), self.navigator.interval_s());
        let place = list.partition_point(|r| r.time_s < seen.seen_s - 1e-9);
        let noise = noise(profile, self.navigator.interval_s(), chain);
        let (contact_s, contact_sigma_s, last_clean, node) = match seen.kind {
            Contact::Ball => {
                // What was put into gaps is made of what came after the blow as well.
                let solid: Vec<Reading> = list.iter().filter(|r| !r.inserted).copied().collect();
                let seen = solid.partition_point(|r| r.time_s < seen.seen_s - 1e-9);
                let (onset, last) = onset.find(&solid, seen, noise, self.navigator.limits())?;
                // Nothing that came after may be in what was bridged before: the list ends with the last clean reading.
                let until = samples.partition_point(|s| s.time.0 <= solid[last].time_s);
                list = readings(samples[..until].iter(), self.navigator.limits(), self.navigator.interval_s());
                (onset.time_s, onset.sigma_s, list.len() - 1, list.len() - 1)
            }
            Contact::None => (seen.seen_s - chain.gyro_delay_s(), 0.0, list.len() - 1, place.min(list.len() - 1)),
        };
        let node = (0..=node).rev().find(|&i| !list[i].inserted)?;
        let node_s = self.navigator.advance_to_contact(list[node].time_s);
        let node = list.iter().position(|r| !r.inserted && (r.time_s - node_s).abs() < 1e-9)?;
        let flags = self.flags(&list[..=last_clean.min(place.min(list.len() - 1))], seen, profile);
        let rate_factor = (self.navigator.interval_s() / 1e-3).max(1.0);
        let filter = self.navigator.filter_mut()?;
        let mark = filter.mark();
        if seen.kind == Contact::Ball {
            let noise =
                SpanNoise { attitude_rad2: (BLOW_RAD * rate_factor).powi(2), velocity_m2ps2: BLOW_MPS * BLOW_MPS };
            filter.add_noise(noise, 0.0);
        }
        Some(Pending {
            number: 0,
            mark,
            kind: seen.kind,
            readings: list,
            last_clean,
            node,
            contact_s,
            contact_sigma_s,
            flags,
            context: profile.swing.clone(),
            stage: Stage::Streaming,
            rests_since: 0,
            changes: None,
        })
    }

    fn flags(&self, before: &[Reading], seen: &Suspected, profile: &Profile) -> Vec<Flag> {
        let swing = before.iter().filter(|r| r.time_s > seen.turning_s - 0.12);
        let (mut gyro, mut accel, mut gap) = (false, false, self.last_gap_s > self.last_rest_s.max(seen.seen_s - 10.0));
        for reading in swing {
            gyro |= reading.faults.gyro_clipped;
            accel |= reading.faults.accel_clipped;
            gap |= reading.faults.gap;
        }
        let low = 1.0 / self.navigator.interval_s() < LOW_RATE_HZ
            || profile.sensor.gyro_bandwidth_hz.min(profile.sensor.accel_bandwidth_hz) < LOW_BANDWIDTH_HZ;
        [
            (gyro, Flag::GyroClipped),
            (accel, Flag::AccelClipped),
            (gap, Flag::Gap),
            (low, Flag::LowRate),
            (!self.navigator.had_rest(), Flag::NoRest),
            (!profile.mount.given && self.tilt_sigma_rad() > TILT_KNOWN_RAD, Flag::UncalibratedMount),
        ]
        .into_iter()
        .filter_map(|(set, flag)| set.then_some(flag))
        .collect()
    }
}

impl Pending {
    /// The swing as it can be told now; `None` if it cannot be measured.
    fn told(&mut self, running: &Running, profile: &Profile, chain: &Chain) -> Option<Event> {
        let (state, covariance) = running.navigator.filter()?.smoothed(self.mark)?;
        let material = Material {
            profile,
            context: &self.context,
            chain,
            readings: &self.readings,
            last_clean: self.last_clean,
            node: self.node,
            contact: self.kind,
            contact_s: self.contact_s,
            contact_sigma_s: self.contact_sigma_s,
            interval_s: running.navigator.interval_s(),
        };
        let (measured, changes) = material.measure(&state, &covariance, self.changes.take())?;
        self.changes = Some(changes);
        // A start that lies before all that is known of the motion is told as where that begins, and flagged.
        let start_s = measured.values.start_s.or(measured.motion.times_s.first().copied())?;
        let mut flags = self.flags.clone();
        if measured.values.start_s.is_none() && !flags.contains(&Flag::NoRest) {
            flags.push(Flag::NoRest);
            flags.sort();
        }
        Some(Event::Swing {
            number: self.number,
            stage: self.stage,
            swing: Box::new(self.swing(measured, start_s, flags, profile)),
        })
    }

    fn swing(&self, measured: Measured, start_s: f64, flags: Vec<Flag>, profile: &Profile) -> Swing {
        Swing {
            start: SensorTime(measured.contact_s + start_s),
            contact: SensorTime(measured.contact_s),
            contact_sigma_s: measured.contact_sigma_s,
            contact_kind: self.kind,
            metrics: std::array::from_fn(|m| {
                measured.metrics[m].filter(|estimate| flags.is_empty() || is_told(Metric::ALL[m], estimate))
            }),
            flags,
            curves: curves(&measured.motion, &profile.bat),
        }
    }
}

/// Whether a number is more than a guess.
fn is_told(metric: Metric, estimate: &Estimate) -> bool {
    let key = metric.key();
    let unit = ["_mps", "_deg", "_ms", "_dps", "_m"].iter().position(|unit| key.ends_with(unit));
    estimate.sigma.is_finite() && unit.is_none_or(|unit| estimate.sigma <= GUESS[unit])
}

/// Noise of one reading: rad/s and m/s², quantisation included.
fn noise(profile: &Profile, interval_s: f64, chain: &Chain) -> (f64, f64) {
    let band = |hz: Option<f64>| hz.unwrap_or(f64::INFINITY).min(0.5 / interval_s) * 1.11;
    let step = |range: f64| range.min(1e4) / 32768.0 * 0.3;
    let sensor = &profile.sensor;
    (
        (sensor.gyro_noise_radps_rthz * band(chain.gyro_bandwidth_hz).sqrt())
            .hypot(step(sensor.gyro_range_radps))
            .max(1e-5),
        (sensor.accel_noise_mps2_rthz * band(chain.accel_bandwidth_hz).sqrt())
            .hypot(step(sensor.accel_range_mps2))
            .max(1e-4),
    )
}
