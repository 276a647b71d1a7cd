//! Whole recordings: what happens, in which order, seen by which sensor.

use super::batter::Batter;
use super::builder::Builder;
use super::event::{EventKind, calibration_routine, event};
use super::motion::{Motion, Mounted};
use super::preset::{Drawn, Preset, draw_mount};
use super::random::Random;
use super::sensor::{Mishaps, record};
use super::swing::{ATTACK_SPREAD_RAD, SPEED_SPREAD_MPS, SwingKind, SwingMark, TILT_SPREAD_RAD, swing};
use super::truth::SwingTruth;
use crate::engine::profile::Profile;
use crate::engine::sample::Sample;

/// What a recording holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// One swing with a rest before and after it.
    Swing(SwingKind),
    /// One event that is no swing.
    Event(EventKind),
    /// The calibration routine, and nothing else.
    Calibration,
    /// Full swings at a ball, a rest after each.
    Round {
        /// How many.
        swings: usize,
    },
    /// Many swings and events with rests in many attitudes between them.
    Lesson {
        /// How many swings and events.
        events: usize,
        /// Whether the calibration routine comes first.
        calibrated: bool,
    },
}

/// A recording to be simulated. The same scenario gives the same bits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scenario {
    /// Decides everything that is drawn.
    pub seed: u64,
    /// The sensor.
    pub preset: Preset,
    /// What happens.
    pub kind: Kind,
    /// What happens to the recording.
    pub mishaps: Mishaps,
    /// When the batter comes.
    pub visit: Visit,
}

/// One of several days on which the same batter comes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Visit {
    /// Which day; on the zeroth the batter is as drawn, on each other one a little another: speed by 0.36 m/s, attack and
    /// tilt by 0.018 and 0.024 rad (standard deviations: 0.3 of those from swing to swing), with a sensor mounted anew.
    pub day: u32,
    /// Faster by so much than the batter was drawn, m/s: what practice has brought, or is still to bring.
    pub faster_mps: f64,
}

/// From day to day, as a share of the spread from swing to swing. Common practice, no source.
const DAY_SHARE: f64 = 0.3;

impl Visit {
    /// The batter as they are that day, and what else is drawn for it.
    fn of(self, batter: Batter, random: Random, seed: u64) -> (Batter, Random) {
        if self.day == 0 {
            return (Batter { bat_speed_mps: batter.bat_speed_mps + self.faster_mps, ..batter }, random);
        }
        let mut random = Random::new(seed ^ (u64::from(self.day) << 32));
        let mut differs = random.branch();
        let batter = Batter {
            bat_speed_mps: differs.about(batter.bat_speed_mps + self.faster_mps, DAY_SHARE * SPEED_SPREAD_MPS),
            attack_rad: differs.about(batter.attack_rad, DAY_SHARE * ATTACK_SPREAD_RAD),
            tilt_rad: differs.about(batter.tilt_rad, DAY_SHARE * TILT_SPREAD_RAD),
            ..batter
        };
        (batter, random)
    }
}

/// A span that was simulated, on the sensor's clock, s.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// Its start.
    pub start_sensor_s: f64,
    /// Its end.
    pub end_sensor_s: f64,
}

/// What truly happened in a recording.
#[derive(Clone, Debug)]
pub struct Truth {
    /// Swings of all kinds, in order.
    pub swings: Vec<SwingTruth>,
    /// What was no swing, in order.
    pub events: Vec<(EventKind, Span)>,
    /// Times of a still pose of 0.8 s or more, in order.
    pub rests: Vec<Span>,
    /// The holds of a calibration routine, then its turns.
    pub calibration: Vec<Span>,
    /// The sensor as it truly is.
    pub drawn: Drawn,
    /// The batter.
    pub batter: Batter,
    /// Rows that were lost.
    pub lost: usize,
    /// The motion itself, on the true clock.
    pub motion: Motion,
}

/// A simulated recording.
#[derive(Clone, Debug)]
pub struct Simulated {
    /// What the analysis may know: nominal values and sizes of errors.
    pub profile: Profile,
    /// What was sent.
    pub samples: Vec<Sample>,
    /// What it must not know.
    pub truth: Truth,
}

/// Marks on the true clock, as a recording is put together.
#[derive(Debug, Default)]
struct Marks {
    swings: Vec<SwingMark>,
    events: Vec<(EventKind, (f64, f64))>,
    calibration: Vec<(f64, f64)>,
}

impl Scenario {
    /// A recording without mishaps.
    pub fn new(kind: Kind, preset: Preset, seed: u64) -> Self {
        Self { seed, preset, kind, mishaps: Mishaps::default(), visit: Visit::default() }
    }

    /// Simulates it.
    pub fn run(&self) -> Simulated {
        let (profile, mut truth, mut random) = self.play();
        let mounted = Mounted { motion: &truth.motion, mount: &truth.drawn.mount };
        let end_s = truth.motion.end_s();
        let stream = record(&mounted, end_s, &profile.sensor, &truth.drawn, self.mishaps, &mut random);
        truth.lost = stream.lost;
        Simulated { profile, samples: stream.samples, truth }
    }

    /// What happens and how it truly is, before any sensor has recorded it: no row is lost yet.
    pub fn truth(&self) -> (Profile, Truth) {
        let (profile, truth, _) = self.play();
        (profile, truth)
    }

    fn play(&self) -> (Profile, Truth, Random) {
        let mut random = Random::new(self.seed);
        let batter = Batter::draw(&mut random.branch(), self.preset.wander_level());
        let (batter, mut random) = self.visit.of(batter, random, self.seed);
        let (motion, marks) = self.act(&mut random.branch(), &batter);
        let motion = motion.for_side(batter.context.side);
        let sensor = self.preset.profile();
        let mut specimen = random.branch();
        let mount = draw_mount(&mut specimen, self.preset);
        let drawn = Drawn::draw(&mut specimen, self.preset, &sensor, &mount);
        let (bat, swing) = (batter.bat.clone(), batter.context.clone());
        let profile = Profile { sensor, mount, bat, swing, calibration: None };
        (profile, marks.truth(motion, drawn, batter), random.branch())
    }

    fn act(&self, random: &mut Random, batter: &Batter) -> (Motion, Marks) {
        let pose = Batter::draw_rest_pose(random);
        let mut builder = Builder::new(random, pose, batter.wander_level);
        let mut marks = Marks::default();
        builder.hold(random.between(1.0, 2.5));
        match self.kind {
            Kind::Swing(kind) => marks.swings.push(swing(&mut builder, random, batter, kind)),
            Kind::Event(kind) => marks.events.push((kind, event(&mut builder, random, batter, kind))),
            Kind::Calibration => marks.calibrate(&mut builder, random),
            Kind::Round { swings } => {
                for _ in 0..swings {
                    marks.swings.push(swing(&mut builder, random, batter, SwingKind::Ball));
                    rest(&mut builder, random);
                }
            }
            Kind::Lesson { events, calibrated } => {
                if calibrated {
                    marks.calibrate(&mut builder, random);
                }
                for _ in 0..events {
                    marks.lesson_event(&mut builder, random, batter);
                }
            }
        }
        rest(&mut builder, random);
        (builder.finish(), marks)
    }
}

/// Over to a rest somewhere.
fn rest(builder: &mut Builder, random: &mut Random) {
    builder.go_to(Batter::draw_rest_pose(random), random.between(0.8, 1.5));
    builder.hold(random.between(0.8, 4.0));
}

impl Marks {
    fn calibrate(&mut self, builder: &mut Builder, random: &mut Random) {
        let (holds, turns) = calibration_routine(builder, random);
        self.calibration.extend(holds);
        self.calibration.push(turns);
    }

    /// One swing or other event of a lesson, with rests and perhaps a walk after it.
    fn lesson_event(&mut self, builder: &mut Builder, random: &mut Random, batter: &Batter) {
        let kinds = [(0.5, SwingKind::Ball), (0.65, SwingKind::Dry), (0.7, SwingKind::Check), (0.75, SwingKind::Slow)];
        let drawn = random.unit();
        match kinds.iter().find(|(below, _)| drawn < *below) {
            Some(&(_, kind)) => self.swings.push(swing(builder, random, batter, kind)),
            None => {
                let kind = EventKind::ALL[random.index(EventKind::ALL.len())];
                self.events.push((kind, event(builder, random, batter, kind)));
            }
        }
        for _ in 0..1 + random.index(2) {
            rest(builder, random);
        }
        if random.chance(0.25) {
            self.events.push((EventKind::Walk, event(builder, random, batter, EventKind::Walk)));
            rest(builder, random);
        }
    }

    fn truth(self, motion: Motion, drawn: Drawn, batter: Batter) -> Truth {
        let to_sensor_s = |true_s: f64| drawn.sensor_time_s(true_s);
        let span = |(from_s, to_s)| Span { start_sensor_s: to_sensor_s(from_s), end_sensor_s: to_sensor_s(to_s) };
        let still = motion.stretches.iter().filter(|one| one.moves.is_empty() && one.end_s - one.start_s >= 0.8);
        let swing = |mark| SwingTruth::of(&motion, mark, (&batter.bat, &batter.context), to_sensor_s);
        Truth {
            swings: self.swings.iter().map(swing).collect(),
            events: self.events.into_iter().map(|(kind, time_s)| (kind, span(time_s))).collect(),
            rests: still.map(|one| span((one.start_s, one.end_s))).collect(),
            calibration: self.calibration.into_iter().map(span).collect(),
            drawn,
            batter,
            lost: 0,
            motion,
        }
    }
}

#[cfg(test)]
mod tests;
