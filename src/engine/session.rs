//! One sensor's stream from what stands in a recording to swings: what the live service and a replay both feed.
//!
//! Enters: [`Entry`]s in the order of the recording. Leaves: [`Told`]. Between them: [`Intake`] (packets to samples),
//! an [`Engine`] for each stretch in which the sensor was not off, and the line that places the sensor's clock on UTC.
//! Nothing but the entries decides: a recording gives what the live stream gave, to the bit. What has been learnt of the
//! sensor outlives a restart as [`Calibration::after_a_pause`](super::profile::Calibration::after_a_pause) says.

use super::check::aim::Fix;
use super::intake::{Arrival, Counts, Intake};
use super::metrics::Flag;
use super::profile::{Calibration, Profile, Side, SwingContext};
use super::sample::{ClockSummary, Sample, SampleClock, SensorTime};
use super::swing::Swing;
use super::utc::UtcLine;
use super::wire::mcap::{AtThePlate, AtThePlateSide, Entry};
use super::{Engine, Event, Stage};
use std::collections::VecDeque;
use std::sync::Arc;

/// How well the rate of a sensor is known that is only said to work at it, 1 σ, ppm: of common parts, a per cent.
const NOMINAL_RATE_PPM: f64 = 10_000.0;

/// What a session has to tell.
#[derive(Clone, Debug, PartialEq)]
pub enum Told {
    /// A swing, or a better estimate of one told before: the same `number` replaces it.
    Swing(Box<ToldSwing>),
    /// A rest has ended that was long enough to be used.
    Rest {
        /// Its start.
        from: SensorTime,
        /// Its end.
        to: SensorTime,
    },
    /// The bat was rolled about its own axis.
    Roll {
        /// When it began.
        from: SensorTime,
        /// When it ended.
        to: SensorTime,
        /// Both ways counted, rad.
        angle_rad: f64,
    },
    /// The sensor was off, or is read otherwise from here on; the swings before are final.
    Anew {
        /// Which stretch begins, from 1.
        run: u32,
    },
    /// Something in the recording could not be used, in words.
    Problem(String),
}

/// A swing with where it belongs.
#[derive(Clone, Debug, PartialEq)]
pub struct ToldSwing {
    /// Counts the swings of a session from 0.
    pub number: u64,
    /// In which stretch between restarts, from 0.
    pub run: u32,
    /// How good the estimate is by now.
    pub stage: Stage,
    /// The swing.
    pub swing: Swing,
    /// Its contact on UTC, where receive times are known.
    pub contact_utc: Option<Placed>,
    /// Who was at the plate.
    pub at_the_plate: AtThePlate,
    /// What it was analysed with.
    pub profile: Arc<Profile>,
}

/// An instant on UTC.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placed {
    /// ns since 1970.
    pub utc_ns: i64,
    /// 1 σ, s.
    pub sigma_s: f64,
    /// Whether the clocks were brought together poorly.
    pub is_poor: bool,
}

/// The state of one sensor's stream.
#[derive(Debug, Default)]
pub struct Session {
    intake: Intake,
    clock: SampleClock,
    utc: UtcLine,
    profile: Profile,
    at_the_plate: AtThePlate,
    engine: Option<Engine>,
    /// What the engine works with.
    engine_profile: Arc<Profile>,
    learnt: Option<Calibration>,
    run: u32,
    last_s: Option<f64>,
    /// The number of the engine's first swing, and the first that is free.
    first_number: u64,
    next_number: u64,
    /// What the last entry held, where somebody wants it.
    fresh: Vec<Sample>,
    keeps_fresh: bool,
    /// What held when a swing was told first, as long as it may be told again.
    circumstances: VecDeque<Circumstances>,
}

/// Whose a swing is and what it is analysed with, whatever came after.
#[derive(Clone, Debug)]
struct Circumstances {
    number: u64,
    at_the_plate: AtThePlate,
    profile: Arc<Profile>,
}

impl Session {
    /// Before the first entry.
    pub fn new() -> Self {
        Self::default()
    }

    /// Whether the samples of the last entry are kept for [`fresh`](Self::fresh).
    pub fn keep_fresh(&mut self, keeps: bool) {
        self.keeps_fresh = keeps;
    }

    /// The samples that the last entry gave, in order, if they are kept. They change nothing that is told.
    pub fn fresh(&self) -> &[Sample] {
        &self.fresh
    }

    /// Where the sensor is by the last node of the filter: heading from an arbitrary zero.
    pub fn fix(&self) -> Option<Fix> {
        self.engine.as_ref().and_then(Engine::fix)
    }

    /// The next entry of the recording or the live stream.
    pub fn take(&mut self, entry: &Entry) -> Vec<Told> {
        self.fresh.clear();
        let mut told = Vec::new();
        let mut arrivals = Vec::new();
        match entry {
            Entry::Samples { samples, .. } => self.samples(samples, &mut told),
            Entry::Packet(packet) => self.intake.packet(packet, &mut arrivals),
            Entry::Link { link, .. } => self.intake.link(link, &mut arrivals),
            Entry::Device { device, .. } => match self.intake.read_as(device, &mut arrivals) {
                Ok(()) if self.last_s.is_none() => self.utc = self.new_line(),
                Ok(()) => {}
                Err(error) => told.push(Told::Problem(error.to_string())),
            },
            Entry::Profile { toml, .. } => match Profile::parse(toml) {
                Ok((profile, _)) => self.read_with(profile, &mut told),
                Err(error) => told.push(Told::Problem(format!("profile: {error}"))),
            },
            Entry::AtThePlate { context, .. } => {
                self.at_the_plate = AtThePlate::clone(context);
                self.tell_engine_the_context();
            }
        }
        self.arrived(arrivals, &mut told);
        told
    }

    /// The recording or the stream has ended: what is still pending is told.
    pub fn finish(&mut self) -> Vec<Told> {
        let (mut told, mut arrivals) = (Vec::new(), Vec::new());
        self.intake.flush(&mut arrivals);
        self.arrived(arrivals, &mut told);
        self.end_engine(&mut told);
        told
    }

    /// What became of the packets.
    pub fn counts(&self) -> &Counts {
        self.intake.counts()
    }

    /// Samples, rate and gaps so far.
    pub fn clock(&self) -> ClockSummary {
        self.clock.summary()
    }

    /// The sensor's clock at the first sample, s.
    pub fn first_s(&self) -> Option<f64> {
        self.clock.first().map(|time| time.0)
    }

    /// What samples are analysed with now: the profile with what the device says of itself, what was learnt of it before a
    /// restart and who is at the plate. Each swing names the one that it was analysed with.
    pub fn profile(&self) -> Arc<Profile> {
        if self.engine.is_some() { Arc::clone(&self.engine_profile) } else { Arc::new(self.effective_profile()) }
    }

    /// The rate the device is said to work at, Hz; of one that says nothing, the rate it has had so far.
    pub fn nominal_rate_hz(&self) -> Option<f64> {
        let streams = self.intake.device().map(|device| device.streams());
        let said = streams.and_then(|streams| streams.first().map(|stream| stream.sample_rate_hz));
        said.or_else(|| self.clock.summary().sample_rate_hz())
    }

    /// 1 σ of the last sample's time on UTC, s.
    pub fn utc_sigma_s(&self) -> Option<f64> {
        self.utc.utc_ns(self.last_s?).map(|(_, sigma_s)| sigma_s)
    }

    /// How the sensor's clock lies on UTC.
    pub fn utc(&self) -> &UtcLine {
        &self.utc
    }

    /// What has been learnt of the sensor and its mount.
    pub fn calibration(&self) -> Option<Calibration> {
        self.engine.as_ref().and_then(Engine::calibration).or_else(|| self.learnt.clone())
    }

    fn arrived(&mut self, arrivals: Vec<Arrival>, told: &mut Vec<Told>) {
        for arrival in arrivals {
            match arrival {
                Arrival::Samples { samples, received_utc_ns } => {
                    if let Some(last) = samples.last() {
                        self.utc.push(last.time.0, received_utc_ns);
                    }
                    self.samples(&samples, told);
                }
                Arrival::Exchange { sent_utc_ns, time, received_utc_ns } => {
                    self.utc.push_exchange(sent_utc_ns, time.0, received_utc_ns);
                }
                Arrival::Anew => {
                    self.end_engine(told);
                    self.utc = self.new_line();
                    self.run += 1;
                    told.push(Told::Anew { run: self.run });
                }
            }
        }
    }

    /// A time that is counted in samples of a nominal rate is much poorer than a tick.
    fn new_line(&self) -> UtcLine {
        if self.intake.has_ticks() { UtcLine::default() } else { UtcLine::new(NOMINAL_RATE_PPM) }
    }

    fn samples(&mut self, samples: &[Sample], told: &mut Vec<Told>) {
        samples.iter().for_each(|sample| self.clock.push(sample.time));
        self.last_s = samples.last().map_or(self.last_s, |last| Some(last.time.0));
        if self.keeps_fresh {
            self.fresh.extend_from_slice(samples);
        }
        if self.engine.is_none() {
            self.engine_profile = Arc::new(self.effective_profile());
            self.engine = Some(Engine::new(Profile::clone(&self.engine_profile)));
        }
        let Some(engine) = &mut self.engine else { return };
        let events = engine.push(samples);
        self.tell(events, told);
    }

    /// A profile with another sensor, mount or bat begins anew; another batter or pitch does not.
    fn read_with(&mut self, profile: Profile, told: &mut Vec<Told>) {
        let same_bat = Profile { swing: self.profile.swing.clone(), ..profile.clone() } == self.profile;
        self.profile = profile;
        if !same_bat {
            self.end_engine(told);
            self.learnt = None;
        }
        self.tell_engine_the_context();
    }

    fn tell_engine_the_context(&mut self) {
        let context = self.context();
        if let Some(engine) = &mut self.engine {
            engine.set_context(context.clone());
            self.engine_profile = Arc::new(Profile { swing: context, ..Profile::clone(&self.engine_profile) });
        }
    }

    fn end_engine(&mut self, told: &mut Vec<Told>) {
        let Some(mut engine) = self.engine.take() else { return };
        let events = engine.finish();
        self.tell(events, told);
        self.learnt = engine.calibration().or(self.learnt.take());
        self.first_number = self.next_number;
        self.circumstances.clear();
    }

    fn tell(&mut self, events: Vec<Event>, told: &mut Vec<Told>) {
        for event in events {
            told.push(match event {
                Event::Swing { number, stage, swing } => self.swing(number, stage, *swing),
                Event::Rest { from, to, .. } => Told::Rest { from, to },
                Event::Roll { from, to, angle_rad } => Told::Roll { from, to, angle_rad },
            });
        }
    }

    fn swing(&mut self, number: u64, stage: Stage, mut swing: Swing) -> Told {
        let number = self.first_number + number;
        self.next_number = self.next_number.max(number + 1);
        let Circumstances { at_the_plate, profile, .. } = self.circumstances_of(number);
        if stage == Stage::Revised {
            self.circumstances.retain(|held| held.number != number);
        }
        if self.intake.is_untimed() {
            swing.flags.push(Flag::Untimed);
        }
        let contact_utc = self.utc.utc_ns(swing.contact.0).map(|(utc_ns, sigma_s)| Placed {
            utc_ns,
            sigma_s,
            is_poor: self.utc.why_poor().is_some(),
        });
        Told::Swing(Box::new(ToldSwing { number, run: self.run, stage, swing, contact_utc, at_the_plate, profile }))
    }

    /// Those of a swing that is told now: when it is told first, the present ones.
    fn circumstances_of(&mut self, number: u64) -> Circumstances {
        if let Some(held) = self.circumstances.iter().find(|held| held.number == number) {
            return held.clone();
        }
        let (at_the_plate, profile) = (self.at_the_plate.clone(), Arc::clone(&self.engine_profile));
        let now = Circumstances { number, at_the_plate, profile };
        self.circumstances.push_back(now.clone());
        now
    }

    /// The profile with what the device says of itself, what was learnt before a restart and who is at the plate.
    fn effective_profile(&self) -> Profile {
        let mut profile = self.profile.clone();
        if let Some(device) = self.intake.device() {
            profile.sensor = device.described_in(&profile.sensor);
        }
        if let Some(learnt) = &self.learnt {
            profile.calibration = Some(learnt.after_a_pause(&profile.sensor));
        }
        profile.swing = self.context();
        profile
    }

    fn context(&self) -> SwingContext {
        let mut context = self.profile.swing.clone();
        match self.at_the_plate.side {
            Some(AtThePlateSide::Right) => context.side = Side::Right,
            Some(AtThePlateSide::Left) => context.side = Side::Left,
            None => {}
        }
        context
    }
}
