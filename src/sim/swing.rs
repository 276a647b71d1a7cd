//! A swing: load, turn of the body, release of the bat, contact, follow-through.
//!
//! A kinematic sketch and no model of a body: in the plane of the swing the bat turns in two overlapping pushes, an early
//! slow one (the body) and a late quick one (the release), while it drops into the plane and rolls. Bat and hands turn
//! about a point some 9 cm behind the hands, so that the hands pull in as the bat pulls out; that point runs forward,
//! peaks some 50 ms before contact and has nearly stopped when the ball is met.

use super::batter::Batter;
use super::blow::{BALL_RADIUS_M, BlowChange, Ringing, impulse_ns};
use super::builder::{Builder, Pose, Script};
use super::curve::{Jet, Shape};
use super::motion::{Channel, Stretch};
use super::pose::{Angles, turned_by_angles};
use super::random::Random;
use crate::engine::metrics::HANDS_FROM_KNOB_M;
use nalgebra::{Matrix3, Rotation3, UnitQuaternion, Vector3};
use std::f64::consts::FRAC_PI_2;

/// What kind of swing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SwingKind {
    /// Meets a ball.
    Ball,
    /// Meets nothing.
    Dry,
    /// Is stopped before the ball.
    Check,
    /// A slow practice swing that meets nothing.
    Slow,
}

/// How a ball was met.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hit {
    /// Where on the bat, m from the knob end.
    pub from_knob_m: f64,
    /// By how much the ball's centre was off the bat's axis's line of flight, m, upward positive.
    pub across_m: f64,
    /// How long the ball stayed, s.
    pub blow_s: f64,
    /// The impulse, N s.
    pub impulse_ns: f64,
    /// Change of the angular velocity across the axis, in W, rad/s.
    pub omega_change_w_radps: Vector3<f64>,
    /// Change of the hands point's velocity, in W, m/s.
    pub hands_change_w_mps: Vector3<f64>,
}

/// Where in the motion a swing stands, on the true clock.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SwingMark {
    /// The kind.
    pub kind: SwingKind,
    /// The rest in the stance before it.
    pub stance_s: (f64, f64),
    /// From the load to the end of the follow-through.
    pub active_s: (f64, f64),
    /// The contact, if a ball was met; otherwise about when the bat was quickest.
    pub contact_s: f64,
    /// How the ball was met.
    pub hit: Option<Hit>,
}

/// Standard deviations from swing to swing of the same day: of the speed at contact, m/s,
pub(super) const SPEED_SPREAD_MPS: f64 = 1.2;
/// of the attack angle,
pub(super) const ATTACK_SPREAD_RAD: f64 = 0.06;
/// and of the bat's tilt.
pub(super) const TILT_SPREAD_RAD: f64 = 0.08;

/// One swing's drawn figures.
#[derive(Clone, Copy, Debug)]
struct Plan {
    kind: SwingKind,
    /// From the first move of the swing proper to contact, s.
    run_s: f64,
    /// When that first move comes after the script's start, s.
    begin_s: f64,
    turn_radps: f64,
    hands_mps: f64,
    /// How far behind the hands the point lies about which bat and hands turn together, m.
    centre_m: f64,
    attack_rad: f64,
    tilt_rad: f64,
    heading_rad: f64,
    above_plane_rad: f64,
    roll_radps: f64,
    load_rad: f64,
    load_s: f64,
    /// By how much load and drop run into the swing, s.
    overlap_s: f64,
    /// When the bat stops gaining speed, from contact, s.
    release_end_s: f64,
    brake_s: f64,
}

impl Plan {
    fn draw(random: &mut Random, batter: &Batter, kind: SwingKind) -> Self {
        let (slowest, quickest) = if batter.adult { (24.0, 36.0) } else { (15.0, 26.0) };
        let full_mps = f64::clamp(random.about(batter.bat_speed_mps, SPEED_SPREAD_MPS), slowest, quickest);
        let speed_mps = if kind == SwingKind::Slow { full_mps * random.between(0.25, 0.4) } else { full_mps };
        let slower = (full_mps / speed_mps).powf(0.9);
        let hands_mps = f64::clamp(full_mps * random.about(0.25, 0.02), 5.0, 9.5) / (full_mps / speed_mps);
        let radius_m = batter.bat.sweet_spot_m - HANDS_FROM_KNOB_M;
        let usual_run_s = if batter.adult { 0.195 } else { 0.215 };
        let turn_radps = (speed_mps - 0.68 * hands_mps) / radius_m;
        // A bat that turns slower than most has no less far to turn: keep the angle between 145 and 225 degrees.
        let run_s = f64::clamp(random.about(usual_run_s, 0.016) * slower, 6.0 / turn_radps, 9.4 / turn_radps);
        // Some batters run load and swing into each other without a pause.
        let flowing = random.chance(0.3);
        Self {
            kind,
            run_s,
            begin_s: random.between(0.3, 0.6),
            turn_radps,
            hands_mps,
            centre_m: random.between(0.07, 0.11),
            attack_rad: random.about(batter.attack_rad, ATTACK_SPREAD_RAD).clamp(-0.17, 0.35),
            tilt_rad: random.about(batter.tilt_rad, TILT_SPREAD_RAD).clamp(-0.78, 0.0),
            heading_rad: random.about(-FRAC_PI_2, 0.15),
            above_plane_rad: random.between(0.45, 0.95),
            roll_radps: random.about(5.0, 5.0) / slower,
            load_rad: if flowing { random.between(0.8, 1.1) } else { random.between(0.2, 0.5) },
            load_s: if flowing { random.between(0.22, 0.26) * slower } else { random.between(0.35, 0.6) },
            overlap_s: if flowing { random.between(0.06, 0.1) * slower } else { 0.03 },
            release_end_s: random.about(0.008, 0.005) * slower,
            brake_s: random.between(0.13, 0.19) * slower,
        }
    }

    fn contact_s(&self) -> f64 {
        self.begin_s + self.run_s
    }

    /// The plane of the swing: X along the barrel's turn at contact, −Y along the bat.
    fn frame(&self) -> UnitQuaternion<f64> {
        let (tilt, attack) = (self.tilt_rad, self.attack_rad);
        let along = Vector3::new(tilt.cos() * self.heading_rad.cos(), tilt.cos() * self.heading_rad.sin(), tilt.sin());
        let apart = (-tilt.tan() * attack.tan()).clamp(-1.0, 1.0).acos();
        let forward = self.heading_rad + apart;
        let moving = Vector3::new(attack.cos() * forward.cos(), attack.cos() * forward.sin(), attack.sin());
        let axes = Matrix3::from_columns(&[moving, -along, along.cross(&moving)]);
        UnitQuaternion::from_rotation_matrix(&Rotation3::from_matrix(&axes))
    }

    /// The whole swing without a ball.
    fn script(&self, random: &mut Random) -> Script {
        let contact_s = self.contact_s();
        let mut script = Script::lasting(contact_s + 0.05 + 2.2 * self.brake_s);
        script.frame = self.frame();
        script.reference_m = HANDS_FROM_KNOB_M - self.centre_m;
        script.brisk_s.push((self.begin_s, contact_s + 0.2));
        self.turn(&mut script);
        self.drop_and_roll(&mut script);
        self.run_hands(&mut script, random);
        script
    }

    fn turn(&self, script: &mut Script) {
        let (begin_s, run_s, contact_s) = (self.begin_s, self.run_s, self.contact_s());
        let load_from_s = (begin_s - self.load_s + self.overlap_s).max(0.0);
        script.add(Channel::Heading, Shape::Step, load_from_s, self.load_s, -self.load_rad);
        let is_check = self.kind == SwingKind::Check;
        let body = if is_check { 0.45 } else { 0.35 } * self.turn_radps;
        script.add(Channel::Heading, Shape::Ramp, begin_s, 0.7 * run_s, body);
        if is_check {
            script.add(Channel::Heading, Shape::Ramp, begin_s + 0.7 * run_s, self.brake_s, -body);
            return;
        }
        let release_s = 0.6 * run_s + self.release_end_s;
        script.add(Channel::Heading, Shape::Ramp, begin_s + 0.4 * run_s, release_s, self.turn_radps - body);
        // With no ball to wait for the bat is quickest about where contact was planned.
        let early_s = if self.kind == SwingKind::Ball { 0.0 } else { 0.12 * self.brake_s };
        let brake_from_s = contact_s + self.release_end_s.max(0.0) + 0.006 - early_s;
        script.add(Channel::Heading, Shape::Ramp, brake_from_s, self.brake_s, -self.turn_radps);
    }

    fn drop_and_roll(&self, script: &mut Script) {
        let (begin_s, run_s, contact_s) = (self.begin_s, self.run_s, self.contact_s());
        if self.kind == SwingKind::Check {
            script.add(Channel::Elevation, Shape::Step, begin_s, run_s, -0.5 * self.above_plane_rad);
            return;
        }
        let drop_s = (begin_s - 1.5 * self.overlap_s + 0.045).max(0.0);
        script.add(Channel::Elevation, Shape::Step, drop_s, contact_s - 0.008 - drop_s, -self.above_plane_rad);
        script.add(Channel::Elevation, Shape::Step, contact_s + 0.04, 1.8 * self.brake_s, 0.6);
        script.add(Channel::Roll, Shape::Ramp, contact_s - 0.5 * run_s, 0.55 * run_s, self.roll_radps);
        script.add(Channel::Roll, Shape::Ramp, contact_s + 0.05 * run_s, 2.0 * self.brake_s, -self.roll_radps);
    }

    fn run_hands(&self, script: &mut Script, random: &mut Random) {
        let (begin_s, run_s, contact_s) = (self.begin_s, self.run_s, self.contact_s());
        let share = if self.kind == SwingKind::Check { 0.45 } else { 1.0 };
        let hands = share * self.hands_mps;
        let stretch = run_s / 0.185;
        let late = |from: f64, to: f64| (contact_s + from * stretch, (to - from) * stretch);
        let forward = 1.15 * hands;
        let left = random.between(0.6, 0.75) * hands - share * self.centre_m * self.turn_radps;
        let (ease_s, ease_for_s) = late(-0.095, 0.015);
        let (pull_s, pull_for_s) = late(-0.055, 0.035);
        let (out, pull) = (-random.between(0.0, 0.15) * hands, random.between(0.2, 0.4) * hands);
        let (sink, rise) = (-random.between(0.0, 0.15) * hands, random.between(0.0, 0.2) * hands);
        script.add(Channel::X, Shape::Ramp, begin_s, run_s - 0.06 * stretch, forward);
        script.add(Channel::X, Shape::Ramp, ease_s, ease_for_s, left - forward);
        script.add(Channel::Y, Shape::Ramp, begin_s, 0.55 * run_s, out);
        script.add(Channel::Y, Shape::Ramp, pull_s, pull_for_s, pull);
        script.add(Channel::Z, Shape::Ramp, begin_s, 0.5 * run_s, sink);
        script.add(Channel::Z, Shape::Ramp, pull_s, pull_for_s, rise);
        let (stop_s, stop_for_s) = (contact_s + 0.02, 0.03 + 2.1 * self.brake_s);
        for (channel, speed) in [(Channel::X, left), (Channel::Y, out + pull), (Channel::Z, sink + rise)] {
            script.add(channel, Shape::Ramp, stop_s, stop_for_s, -speed);
        }
    }

    /// Where the bat must stand for the script to bring it to contact as planned.
    fn stance(&self, script: &Script, random: &mut Random) -> Pose {
        let turned = |wanted: Channel| -> f64 {
            let of_channel = script.moves.iter().filter(|one| one.channel == wanted);
            of_channel.map(|one| one.curve.at(self.contact_s()).value).sum()
        };
        let angles = if self.kind == SwingKind::Check {
            Angles::new(-FRAC_PI_2 - 2.6, self.above_plane_rad, 0.0)
        } else {
            Angles::new(-FRAC_PI_2 - turned(Channel::Heading), -turned(Channel::Elevation), -turned(Channel::Roll))
        };
        let hands_w_m = Vector3::new(-0.3, 0.45, 1.35) + random.normal_vector(0.05);
        Pose { hands_w_m, angles: Angles::of(&(script.frame * angles.quaternion())) }
    }
}

/// Adds the ball to a script: the blow's changes of rate, and the ringing.
fn strike(script: &mut Script, stretch: &Stretch, contact_s: f64, batter: &Batter, random: &mut Random) -> Hit {
    let bat = &batter.bat;
    let at = stretch.at(stretch.start_s + contact_s, false);
    let axis_w = at.turning.q * Vector3::z();
    let from_knob_m = (bat.sweet_spot_m + random.about(0.0, 0.025)).min(bat.length_m - 0.03);
    let across_m = random.about(0.0, 0.008);
    let descent_rad = batter.context.pitch_descent_deg.to_radians();
    let ball_w_mps = Vector3::new(-descent_rad.cos(), 0.0, -descent_rad.sin()) * batter.context.pitch_speed_mps;
    let closing_w_mps = at.point(Vector3::z() * from_knob_m).1 - ball_w_mps;
    let across_closing = closing_w_mps - axis_w * closing_w_mps.dot(&axis_w);
    let tip_rad = (across_m / (BALL_RADIUS_M + 0.5 * bat.barrel_diameter_m)).clamp(-1.0, 1.0).asin();
    let tip = UnitQuaternion::from_scaled_axis(-axis_w * tip_rad);
    let line_w = (tip * across_closing).try_normalize(1e-9).unwrap_or_else(Vector3::x);
    // Restitution of a ball on a usual bat near the sweet spot (about the BBCOR limit of the rule books).
    let impulse = impulse_ns(bat, from_knob_m, closing_w_mps.dot(&line_w), random.between(0.44, 0.5));
    let change = BlowChange::of_impulse(bat, axis_w, line_w * -impulse, from_knob_m);
    let hit = Hit {
        from_knob_m,
        across_m,
        blow_s: random.between(1.0e-3, 1.5e-3),
        impulse_ns: impulse,
        omega_change_w_radps: change.omega_radps,
        hands_change_w_mps: change.velocity_mps(bat, axis_w, HANDS_FROM_KNOB_M),
    };
    // Rubbing of the ball on the barrel turns the bat a little about its axis (a guess of its size, no source).
    let rubbed_radps = 600.0 * across_m + random.normal(2.0);
    let point_w_mps = change.velocity_mps(bat, axis_w, stretch.reference_m);
    let changes = [hit.omega_change_w_radps, point_w_mps];
    add_changes(script, stretch, (contact_s, hit.blow_s), changes, rubbed_radps);
    let impulse_b = at.turning.q.inverse() * line_w * -impulse;
    let modes = [
        (random.between(170.0, 220.0), random.between(0.02, 0.05)),
        (random.between(550.0, 700.0), random.between(0.02, 0.05)),
    ];
    let ringing =
        Ringing::of_blow(bat, contact_s, hit.blow_s, impulse_b, from_knob_m, modes, random.between(0.02, 0.08));
    script.brisk_s.extend(ringing.iter().map(|ring| (ring.start_s, ring.end_s())));
    script.ringing.extend(ringing);
    hit
}

/// Turns the blow's change of motion into changes of the coordinates' rates, at the attitude of contact; during the
/// blow the bat turns by some 0.05 rad, by which the change then differs in direction.
fn add_changes(
    script: &mut Script,
    stretch: &Stretch,
    (contact_s, blow_s): (f64, f64),
    [omega_w_radps, point_w_mps]: [Vector3<f64>; 2],
    rubbed_radps: f64,
) {
    let Angles { heading_rad, elevation_rad, roll_rad } = stretch.angles_at(stretch.start_s + contact_s);
    let turning_of = |which: usize| {
        let mut jets = [heading_rad, elevation_rad, roll_rad].map(Jet::constant);
        jets[which].rate = 1.0;
        let turning = turned_by_angles(stretch.frame, jets);
        turning.q * turning.omega_radps
    };
    let by_rates = Matrix3::from_columns(&[turning_of(0), turning_of(1), turning_of(2)]);
    let rates = by_rates.try_inverse().unwrap_or_else(Matrix3::zeros) * omega_w_radps;
    let point = stretch.frame.inverse() * point_w_mps;
    let recovery_s = 0.16;
    for (channel, amount) in [
        (Channel::Heading, rates.x),
        (Channel::Elevation, rates.y),
        (Channel::Roll, rates.z + rubbed_radps),
        (Channel::X, point.x),
        (Channel::Y, point.y),
        (Channel::Z, point.z),
    ] {
        script.add_blow(channel, contact_s, blow_s, amount, recovery_s);
    }
}

/// Small movements of the bat in the stance, as batters make while they wait.
pub fn waggle(builder: &mut Builder, random: &mut Random) -> (f64, f64) {
    let duration_s = random.between(1.0, 2.5);
    let mut script = Script::lasting(duration_s);
    let span = (0.0, duration_s);
    let frequency_hz = random.between(0.8, 1.8);
    script.add_wave(Channel::Elevation, span, frequency_hz, random.between(0.0, 6.0), random.between(0.1, 0.35));
    script.add_wave(Channel::Heading, span, frequency_hz, random.between(0.0, 6.0), random.between(0.1, 0.4));
    script.add_wave(Channel::Roll, span, frequency_hz, random.between(0.0, 6.0), random.between(0.0, 0.3));
    for channel in Channel::POSITIONS {
        script.add_wave(channel, span, 0.7 * frequency_hz, random.between(0.0, 6.0), random.between(0.01, 0.05));
    }
    let start_s = builder.play(script);
    (start_s, start_s + duration_s)
}

/// From wherever the bat is: into the stance, a rest, perhaps a waggle and another rest, the swing, and its end held.
pub fn swing(builder: &mut Builder, random: &mut Random, batter: &Batter, kind: SwingKind) -> SwingMark {
    let plan = Plan::draw(random, batter, kind);
    let mut script = plan.script(random);
    let stance = plan.stance(&script, random);
    builder.go_to(stance, random.between(0.8, 1.4));
    let mut stance_s = builder.hold(random.between(0.9, 2.5));
    if random.chance(0.3) {
        waggle(builder, random);
        stance_s = builder.hold(random.between(0.8, 1.6));
    }
    let stretch = builder.preview(&script);
    let hit = (kind == SwingKind::Ball).then(|| strike(&mut script, &stretch, plan.contact_s(), batter, random));
    let start_s = builder.play(script);
    let active_s = (start_s, builder.time_s());
    builder.hold(random.between(0.5, 1.5));
    SwingMark { kind, stance_s, active_s, contact_s: start_s + plan.contact_s(), hit }
}
