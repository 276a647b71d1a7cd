//! Puts a [`Motion`] together, one stretch after the other.

use super::blow::Ringing;
use super::curve::{Curve, Shape};
use super::motion::{Channel, Motion, Move, Stretch};
use super::pose::Angles;
use super::random::Random;
use super::wander::Wander;
use crate::engine::metrics::HANDS_FROM_KNOB_M;
use nalgebra::{UnitQuaternion, Vector3};

/// Where the bat is held: the hands point in W and the bat's angles.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pose {
    pub hands_w_m: Vector3<f64>,
    pub angles: Angles,
}

/// One stretch to be: times from its own start.
#[derive(Clone, Debug)]
pub struct Script {
    pub duration_s: f64,
    pub frame: UnitQuaternion<f64>,
    pub reference_m: f64,
    pub moves: Vec<Move>,
    pub ringing: Vec<Ringing>,
    pub brisk_s: Vec<(f64, f64)>,
}

impl Script {
    /// In W, moving the hands point.
    pub fn lasting(duration_s: f64) -> Self {
        Self {
            duration_s,
            frame: UnitQuaternion::identity(),
            reference_m: HANDS_FROM_KNOB_M,
            moves: Vec::new(),
            ringing: Vec::new(),
            brisk_s: Vec::new(),
        }
    }

    fn is_world(&self) -> bool {
        self.frame == UnitQuaternion::identity()
    }

    /// Adds a curve.
    pub fn add(&mut self, channel: Channel, shape: Shape, start_s: f64, duration_s: f64, amount: f64) -> &mut Self {
        let curve = Curve { shape, start_s, duration_s, amount };
        self.moves.push(Move { channel, curve, by_blow: false });
        self
    }

    /// A change of rate by a blow's pulse, taken back by the hands over `recovery_s`.
    pub fn add_blow(&mut self, channel: Channel, start_s: f64, blow_s: f64, amount: f64, recovery_s: f64) -> &mut Self {
        let pulse = Curve { shape: Shape::Blow, start_s, duration_s: blow_s, amount };
        let back = Curve { shape: Shape::Ramp, start_s: start_s + blow_s, duration_s: recovery_s, amount: -amount };
        self.moves.extend([pulse, back].map(|curve| Move { channel, curve, by_blow: true }));
        self
    }

    /// To and fro.
    pub fn add_wave(
        &mut self,
        channel: Channel,
        span_s: (f64, f64),
        frequency_hz: f64,
        phase_rad: f64,
        size: f64,
    ) -> &mut Self {
        let shape = Shape::Wave { frequency_hz, phase_rad };
        self.add(channel, shape, span_s.0, span_s.1 - span_s.0, size)
    }
}

/// The motion so far and where the bat is now.
#[derive(Debug)]
pub struct Builder {
    motion: Motion,
    pose: Pose,
    time_s: f64,
}

impl Builder {
    /// Begins in a pose; `wander_level` scales the batter's wander.
    pub fn new(random: &mut Random, pose: Pose, wander_level: f64) -> Self {
        let motion = Motion { wander: Wander::draw(random, wander_level), ..Motion::default() };
        Self { motion, pose, time_s: 0.0 }
    }

    /// The time reached, s.
    pub fn time_s(&self) -> f64 {
        self.time_s
    }

    /// What a script would be if it were played now.
    pub fn preview(&self, script: &Script) -> Stretch {
        let start_s = self.time_s;
        let attitude = self.pose.angles.quaternion();
        let angles =
            if script.is_world() { self.pose.angles } else { Angles::of(&(script.frame.inverse() * attitude)) };
        let axis_w = attitude * Vector3::z();
        let shift = |curve: Curve| Curve { start_s: curve.start_s + start_s, ..curve };
        Stretch {
            start_s,
            end_s: start_s + script.duration_s,
            frame: script.frame,
            reference_m: script.reference_m,
            origin_w_m: self.pose.hands_w_m + axis_w * (script.reference_m - HANDS_FROM_KNOB_M),
            angles,
            moves: script.moves.iter().map(|one| Move { curve: shift(one.curve), ..*one }).collect(),
        }
    }

    /// Plays a script from here; returns its start.
    pub fn play(&mut self, script: Script) -> f64 {
        let start_s = self.time_s;
        let stretch = self.preview(&script);
        let ended = stretch.at(stretch.end_s, true);
        debug_assert!(ended.velocity_w_mps.norm() < 1e-6, "a stretch must end at rest: {ended:?}");
        debug_assert!(ended.turning.omega_radps.norm() < 1e-6, "a stretch must end at rest: {ended:?}");
        self.pose = Pose {
            hands_w_m: ended.point(Vector3::z() * HANDS_FROM_KNOB_M).0,
            angles: if script.is_world() { stretch.angles_at(stretch.end_s) } else { Angles::of(&ended.turning.q) },
        };
        self.time_s = stretch.end_s;
        self.motion.stretches.push(stretch);
        let ring = |ring: &Ringing| Ringing { start_s: ring.start_s + start_s, ..*ring };
        self.motion.ringing.extend(script.ringing.iter().map(ring));
        self.motion.brisk_s.extend(script.brisk_s.iter().map(|(from, to)| (from + start_s, to + start_s)));
        start_s
    }

    /// Keeps the pose.
    pub fn hold(&mut self, duration_s: f64) -> (f64, f64) {
        let start_s = self.play(Script::lasting(duration_s));
        (start_s, self.time_s)
    }

    /// Goes over to another pose, turning the shorter way, in `least_s` or, for great turns, longer.
    pub fn go_to(&mut self, pose: Pose, least_s: f64) {
        let from = self.pose;
        let to = pose.angles.nearest_to(from.angles);
        let shift = pose.hands_w_m - from.hands_w_m;
        let duration_s = least_s.max(0.3 * to.turn_rad(from.angles));
        let mut script = Script::lasting(duration_s);
        for (channel, amount) in [
            (Channel::X, shift.x),
            (Channel::Y, shift.y),
            (Channel::Z, shift.z),
            (Channel::Heading, to.heading_rad - from.angles.heading_rad),
            (Channel::Elevation, to.elevation_rad - from.angles.elevation_rad),
            (Channel::Roll, to.roll_rad - from.angles.roll_rad),
        ] {
            script.add(channel, Shape::Step, 0.0, duration_s, amount);
        }
        self.play(script);
    }

    /// From now on the wander is `change` more (negative: less), reached over `duration_s`.
    pub fn change_grip(&mut self, change: f64, duration_s: f64) {
        self.motion.grip.push(Curve { shape: Shape::Step, start_s: self.time_s, duration_s, amount: change });
    }

    /// The finished motion.
    pub fn finish(self) -> Motion {
        self.motion
    }
}
