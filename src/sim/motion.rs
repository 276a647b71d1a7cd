//! A bat's whole motion through a recording: stretches of smooth curves, with a batter's wander and ringing on top.

use super::blow::Ringing;
use super::curve::{Curve, Jet};
use super::pose::{Angles, Axis, BatKinematics, ImuState, Trajectory, turned_by_angles};
use super::wander::Wander;
use crate::engine::metrics::{BatState, HANDS_FROM_KNOB_M};
use crate::engine::profile::{Mount, Side};
use nalgebra::{UnitQuaternion, Vector3};

/// What a curve moves: three positions of the reference point and three angles of the bat, all in the stretch's frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Channel {
    X,
    Y,
    Z,
    Heading,
    Elevation,
    Roll,
}

impl Channel {
    pub const POSITIONS: [Channel; 3] = [Channel::X, Channel::Y, Channel::Z];

    /// Whether the mirror image in the x-z plane has the opposite sign.
    fn flips(self) -> bool {
        matches!(self, Channel::Y | Channel::Heading | Channel::Roll)
    }
}

/// A curve on a channel; those of a blow can be left out.
#[derive(Clone, Copy, Debug)]
pub struct Move {
    pub channel: Channel,
    pub curve: Curve,
    pub by_blow: bool,
}

/// A stretch of time with its own frame, in which the bat starts from a pose at rest and ends at rest.
#[derive(Clone, Debug)]
pub struct Stretch {
    pub start_s: f64,
    pub end_s: f64,
    /// Takes the frame of positions and angles to W.
    pub frame: UnitQuaternion<f64>,
    /// Distance from the knob end of the point that the positions move, m.
    pub reference_m: f64,
    /// That point at the start, m, in W.
    pub origin_w_m: Vector3<f64>,
    /// The angles at the start.
    pub angles: Angles,
    pub moves: Vec<Move>,
}

impl Stretch {
    fn coordinates(&self, t_s: f64, with_blow: bool) -> [Jet; 6] {
        let Angles { heading_rad, elevation_rad, roll_rad } = self.angles;
        let mut out = [0.0, 0.0, 0.0, heading_rad, elevation_rad, roll_rad].map(Jet::constant);
        for one in self.moves.iter().filter(|one| with_blow || !one.by_blow) {
            out[one.channel as usize] += one.curve.at(t_s);
        }
        out
    }

    /// Without wander.
    pub fn at(&self, t_s: f64, with_blow: bool) -> BatKinematics {
        let [x, y, z, heading, elevation, roll] = self.coordinates(t_s, with_blow);
        BatKinematics {
            turning: turned_by_angles(self.frame, [heading, elevation, roll]),
            reference_m: self.reference_m,
            position_w_m: self.origin_w_m + self.frame * Vector3::new(x.value, y.value, z.value),
            velocity_w_mps: self.frame * Vector3::new(x.rate, y.rate, z.rate),
            acceleration_w_mps2: self.frame * Vector3::new(x.accel, y.accel, z.accel),
        }
    }

    /// Angles at a time, whole turns kept.
    pub fn angles_at(&self, t_s: f64) -> Angles {
        let [_, _, _, heading, elevation, roll] = self.coordinates(t_s, true);
        Angles::new(heading.value, elevation.value, roll.value)
    }
}

/// The motion of a bat, from time 0 on the true clock to [`Motion::end_s`].
#[derive(Clone, Debug, Default)]
pub struct Motion {
    /// In the order of time, without holes; never empty once built.
    pub(super) stretches: Vec<Stretch>,
    pub(super) wander: Wander,
    /// How much of the wander there is: 1 plus these.
    pub(super) grip: Vec<Curve>,
    pub(super) ringing: Vec<Ringing>,
    /// Stretches of time that are too quick to be interpolated, in no order.
    pub(super) brisk_s: Vec<(f64, f64)>,
}

impl Motion {
    /// When it ends, s.
    pub fn end_s(&self) -> f64 {
        self.stretches.last().map_or(0.0, |last| last.end_s)
    }

    /// The bat at a time; without the blow, as it would have gone on had nothing been met.
    pub(super) fn bat_at(&self, t_s: f64, with_blow: bool) -> BatKinematics {
        let next = self.stretches.partition_point(|stretch| stretch.start_s <= t_s);
        let stretch = &self.stretches[next.saturating_sub(1)];
        let mut bat = stretch.at(t_s, with_blow);
        let grip = self.grip.iter().fold(Jet::constant(1.0), |sum, curve| sum + curve.at(t_s));
        let [x, y, z, pitch, yaw, roll] = self.wander.at(t_s).map(|jet| grip * jet);
        bat.position_w_m += Vector3::new(x.value, y.value, z.value);
        bat.velocity_w_mps += Vector3::new(x.rate, y.rate, z.rate);
        bat.acceleration_w_mps2 += Vector3::new(x.accel, y.accel, z.accel);
        bat.turning = bat.turning.then(Axis::X, pitch).then(Axis::Y, yaw).then(Axis::Z, roll);
        bat
    }

    /// The same as the metrics read it, the blow left out.
    pub fn state_at(&self, t_s: f64) -> BatState {
        let bat = self.bat_at(t_s, false);
        let (hands_w_m, velocity_hands_w_mps) = bat.point(Vector3::z() * HANDS_FROM_KNOB_M);
        let q = bat.turning.q;
        BatState {
            axis_w: q * Vector3::z(),
            omega_w_radps: q * bat.turning.omega_radps,
            hands_w_m,
            velocity_hands_w_mps,
        }
    }

    /// The same motion by a batter of the other side: mirrored in the plane of x and z.
    pub fn for_side(mut self, side: Side) -> Self {
        if side == Side::Right {
            return self;
        }
        for stretch in &mut self.stretches {
            let frame = stretch.frame;
            stretch.frame =
                UnitQuaternion::new_unchecked(nalgebra::Quaternion::new(frame.w, -frame.i, frame.j, -frame.k));
            stretch.origin_w_m.y = -stretch.origin_w_m.y;
            stretch.angles.heading_rad = -stretch.angles.heading_rad;
            stretch.angles.roll_rad = -stretch.angles.roll_rad;
            for one in stretch.moves.iter_mut().filter(|one| one.channel.flips()) {
                one.curve.amount = -one.curve.amount;
            }
        }
        for ring in &mut self.ringing {
            ring.direction_b.y = -ring.direction_b.y;
        }
        self.wander.mirror();
        self
    }
}

/// A motion as an IMU on the bat goes through it.
#[derive(Clone, Copy, Debug)]
pub struct Mounted<'a> {
    /// The bat's motion.
    pub motion: &'a Motion,
    /// Where the IMU truly sits.
    pub mount: &'a Mount,
}

impl Trajectory for Mounted<'_> {
    fn at(&self, t_s: f64) -> ImuState {
        let bat = self.motion.bat_at(t_s, true);
        let to_s = self.mount.q_bs.inverse();
        let (position_w_m, velocity_w_mps) = bat.point(self.mount.offset_b_m);
        let mut omega_b_radps = bat.turning.omega_radps;
        let mut force_b_mps2 = bat.specific_force_b_mps2(self.mount.offset_b_m);
        for ring in self.motion.ringing.iter().filter(|ring| (ring.start_s..ring.end_s()).contains(&t_s)) {
            let (turn_b, push_b) = ring.at(t_s);
            omega_b_radps += turn_b;
            force_b_mps2 += push_b;
        }
        ImuState {
            q_ws: bat.turning.q * self.mount.q_bs,
            position_w_m,
            velocity_w_mps,
            omega_s_radps: to_s * omega_b_radps,
            specific_force_s_mps2: to_s * force_b_mps2,
        }
    }

    fn is_brisk(&self, from_s: f64, to_s: f64) -> bool {
        self.motion.brisk_s.iter().any(|&(start_s, end_s)| from_s < end_s && to_s > start_s)
    }
}
