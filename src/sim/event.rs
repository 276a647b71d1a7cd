//! What a bat goes through that is no swing, and the routine that teaches a sensor's mount.
//!
//! Sizes and durations are common experience with bats (no source).

use super::batter::Batter;
use super::blow::Ringing;
use super::builder::{Builder, Pose, Script};
use super::curve::Shape;
use super::motion::Channel;
use super::pose::Angles;
use super::random::Random;
use super::swing::waggle;
use crate::engine::geometry::G_MPS2;
use crate::engine::profile::Bat;
use nalgebra::Vector3;
use std::f64::consts::{FRAC_PI_2, PI, TAU};

/// What happens that is no swing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EventKind {
    /// Small movements of the bat while waiting.
    Waggle,
    /// The barrel's end tapped on the plate.
    TapPlate,
    /// The barrel tapped on the shoes.
    TapShoes,
    /// The bat falls to the ground and is picked up.
    Drop,
    /// The bat is thrown up, turns over and is caught.
    Toss,
    /// The bat is rolled in the hands about its own axis.
    RollInHands,
    /// The batter walks with the bat.
    Walk,
    /// Somebody knocks against the bat or the sensor.
    Bump,
    /// The bat is put into a bag and carried.
    Bag,
}

impl EventKind {
    /// All of them.
    pub const ALL: [EventKind; 9] = [
        EventKind::Waggle,
        EventKind::TapPlate,
        EventKind::TapShoes,
        EventKind::Drop,
        EventKind::Toss,
        EventKind::RollInHands,
        EventKind::Walk,
        EventKind::Bump,
        EventKind::Bag,
    ];

    /// The word in files and on the command line.
    pub fn key(self) -> &'static str {
        match self {
            EventKind::Waggle => "waggle",
            EventKind::TapPlate => "tap-plate",
            EventKind::TapShoes => "tap-shoes",
            EventKind::Drop => "drop",
            EventKind::Toss => "toss",
            EventKind::RollInHands => "roll-in-hands",
            EventKind::Walk => "walk",
            EventKind::Bump => "bump",
            EventKind::Bag => "bag",
        }
    }
}

/// Plays an event from wherever the bat is; returns from when to when it lasted.
pub fn event(builder: &mut Builder, random: &mut Random, batter: &Batter, kind: EventKind) -> (f64, f64) {
    let bat = &batter.bat;
    match kind {
        EventKind::Waggle => waggle(builder, random),
        EventKind::TapPlate => taps(builder, random, bat, -1.2, 1.0),
        EventKind::TapShoes => taps(builder, random, bat, -1.0, 0.6),
        EventKind::Drop => drop_bat(builder, random, bat),
        EventKind::Toss => toss(builder, random, bat),
        EventKind::RollInHands => roll_in_hands(builder, random),
        EventKind::Walk => walk(builder, random, 1.0),
        EventKind::Bump => bump(builder, random, bat),
        EventKind::Bag => bag(builder, random, bat),
    }
}

/// Ringing after a tap at a point of the bat, its impulse across the bat.
fn ring(script: &mut Script, random: &mut Random, bat: &Bat, start_s: f64, impulse_ns: f64, from_knob_m: f64) {
    let angle = random.between(0.0, TAU);
    let impulse_b = Vector3::new(angle.cos(), angle.sin(), 0.0) * impulse_ns;
    let modes = [(random.between(170.0, 220.0), 0.05), (random.between(550.0, 700.0), 0.05)];
    let ringing = Ringing::of_blow(bat, start_s, random.between(1.5e-3, 4.0e-3), impulse_b, from_knob_m, modes, 0.3);
    script.brisk_s.extend(ringing.iter().map(|ring| (ring.start_s - 0.005, ring.end_s())));
    script.ringing.extend(ringing);
}

fn taps(builder: &mut Builder, random: &mut Random, bat: &Bat, elevation_rad: f64, size: f64) -> (f64, f64) {
    let facing = random.between(-PI, PI);
    let angles = Angles::new(facing, elevation_rad + random.normal(0.1), random.between(-PI, PI));
    builder.go_to(Pose { hands_w_m: Vector3::new(0.2, 0.1, 0.95), angles }, random.between(0.8, 1.3));
    builder.hold(random.between(0.3, 0.8));
    let count = 1 + random.index(4);
    let period_s = random.between(0.35, 0.6);
    let mut script = Script::lasting(period_s * count as f64 + 0.1);
    for i in 0..count {
        let from_s = period_s * i as f64;
        let (down_s, blow_s) = (0.4 * period_s, random.between(3.0e-3, 8.0e-3));
        let (speed, bounce) = (size * random.between(0.2, 0.9), random.between(0.1, 0.5));
        let turn = random.between(-2.0, 2.0) * size;
        for (channel, speed) in [(Channel::Z, -speed), (Channel::Elevation, turn)] {
            let (hit_s, back_s) = (from_s + down_s, 0.5 * period_s);
            script.add(channel, Shape::Ramp, from_s, down_s, speed);
            script.add(channel, Shape::Blow, hit_s, blow_s, -speed * (1.0 + bounce));
            script.add(channel, Shape::Ramp, hit_s + blow_s, back_s, speed * bounce);
            // Back to where it was, as the hand does before the next tap.
            let net = speed * (0.5 * down_s + 0.5 * blow_s * (1.0 - bounce) - 0.5 * back_s * bounce);
            script.add(channel, Shape::Step, hit_s + 0.05, back_s, -net);
        }
        ring(&mut script, random, bat, from_s + down_s, 0.05 * bat.mass_kg * speed, bat.length_m - 0.02);
    }
    let start_s = builder.play(script);
    (start_s, builder.time_s())
}

/// A fall of the centre of mass from some height with a slow turn, one bounce, a still bat on the ground, and a pick-up.
fn drop_bat(builder: &mut Builder, random: &mut Random, bat: &Bat) -> (f64, f64) {
    let angles = Angles::new(random.between(-PI, PI), random.between(-0.4, 0.6), random.between(-PI, PI));
    builder.go_to(Pose { hands_w_m: Vector3::new(0.2, 0.2, 0.9), angles }, random.between(0.7, 1.2));
    builder.hold(random.between(0.4, 1.0));
    let start_s = builder.time_s();
    let (loose_s, height_m) = (random.between(0.01, 0.03), random.between(0.5, 0.9));
    let fall_s = (2.0 * height_m / G_MPS2).sqrt();
    let (speed, blow_s, bounce) =
        (G_MPS2 * (fall_s - 0.5 * loose_s), random.between(2e-3, 5e-3), random.between(0.15, 0.3));
    let bounce_s = 2.0 * bounce * speed / G_MPS2;
    let second_s = fall_s + blow_s + bounce_s;
    let mut script = Script::lasting(second_s + blow_s + 1.0);
    script.reference_m = bat.balance_m;
    script.add(Channel::Z, Shape::Pull, 0.0, loose_s, -G_MPS2);
    script.add(Channel::Z, Shape::Blow, fall_s, blow_s, (1.0 + bounce) * speed + G_MPS2 * blow_s);
    script.add(Channel::Z, Shape::Blow, second_s, blow_s, bounce * speed);
    script.add(Channel::Z, Shape::Pull, second_s, blow_s, G_MPS2);
    script.add(Channel::Z, Shape::Blow, second_s + blow_s, blow_s, 0.5 * G_MPS2 * blow_s);
    land_turning(&mut script, random, angles.elevation_rad, (fall_s, second_s, blow_s));
    for (hit_s, share) in [(fall_s, 0.3), (second_s, 0.1)] {
        let from_knob_m = random.between(0.1, 0.9) * bat.length_m;
        ring(&mut script, random, bat, hit_s, share * bat.mass_kg * speed, from_knob_m);
    }
    script.brisk_s.push((fall_s - 0.01, second_s + 0.05));
    builder.change_grip(-1.0, 0.05);
    builder.play(script);
    builder.hold(random.between(0.5, 2.0));
    let end_s = builder.time_s();
    builder.change_grip(1.0, 0.5);
    builder.go_to(Batter::draw_rest_pose(random), random.between(0.9, 1.4));
    (start_s, end_s)
}

/// The turns of a falling bat: some while it falls, level when it lies, rolling out.
fn land_turning(
    script: &mut Script,
    random: &mut Random,
    elevation_rad: f64,
    (fall_s, second_s, blow_s): (f64, f64, f64),
) {
    let falling = random.between(-1.5, 1.5);
    let tipping = (-elevation_rad - 0.5 * falling * fall_s) / (second_s - fall_s);
    script.add(Channel::Elevation, Shape::Ramp, 0.0, fall_s, falling);
    script.add(Channel::Elevation, Shape::Blow, fall_s, blow_s, tipping - falling);
    script.add(Channel::Elevation, Shape::Blow, second_s, blow_s, -tipping);
    let rolling = random.between(-8.0, 8.0);
    script.add(Channel::Roll, Shape::Blow, fall_s, blow_s, rolling);
    script.add(Channel::Roll, Shape::Ramp, second_s, 0.9, -rolling);
    let (heading_radps, rest_s) = (random.between(-3.0, 3.0), 0.6);
    script.add(Channel::Heading, Shape::Blow, fall_s, blow_s, heading_radps);
    script.add(Channel::Heading, Shape::Ramp, second_s, rest_s, -heading_radps);
}

/// Thrown up by the centre of mass, free with a steady end-over-end turn, caught after whole turns.
fn toss(builder: &mut Builder, random: &mut Random, bat: &Bat) -> (f64, f64) {
    let angles = Angles::new(random.between(-PI, PI), random.between(-0.3, 0.5), random.between(-PI, PI));
    builder.go_to(Pose { hands_w_m: Vector3::new(0.2, 0.2, 1.0), angles }, random.between(0.7, 1.2));
    builder.hold(random.between(0.4, 1.0));
    let (push_s, catch_s, loose_s) = (random.between(0.18, 0.3), random.between(0.12, 0.2), 0.03);
    let free_s = random.between(0.4, 0.75);
    let speed = 0.5 * G_MPS2 * free_s;
    let mut script = Script::lasting(push_s + free_s + loose_s + catch_s + 0.1);
    script.reference_m = bat.balance_m;
    script.add(Channel::Z, Shape::Ramp, 0.0, push_s, speed);
    script.add(Channel::Z, Shape::Pull, push_s, loose_s, -G_MPS2);
    script.add(Channel::Z, Shape::Pull, push_s + free_s, loose_s, G_MPS2);
    script.add(Channel::Z, Shape::Ramp, push_s + free_s, catch_s, speed);
    let turns = random.index(2) as f64;
    let (turn_radps, turning_s) = (TAU * turns, free_s + 0.5 * (push_s + catch_s));
    script.add(Channel::Elevation, Shape::Ramp, 0.0, push_s, -turn_radps / turning_s);
    script.add(Channel::Elevation, Shape::Ramp, push_s + free_s, catch_s, turn_radps / turning_s);
    // The catch is a slap on the hands.
    script.brisk_s.push((0.0, script.duration_s));
    let (slap_ns, slapped_m) = (random.between(0.02, 0.2), random.between(0.1, 0.4));
    ring(&mut script, random, bat, push_s + free_s, slap_ns, slapped_m);
    let start_s = builder.play(script);
    (start_s, builder.time_s())
}

fn roll_in_hands(builder: &mut Builder, random: &mut Random) -> (f64, f64) {
    let turns = 1 + random.index(4);
    let mut script = Script::lasting(0.1);
    let mut reached_s = 0.0;
    for _ in 0..turns {
        let turn_s = random.between(0.35, 1.0);
        let turn_rad = random.sign() * random.between(1.5, 5.0) * turn_s.max(0.5);
        script.add(Channel::Roll, Shape::Step, reached_s, turn_s, turn_rad);
        reached_s += turn_s * random.between(0.8, 1.3);
    }
    reached_s += 0.8;
    for channel in [Channel::Elevation, Channel::Heading] {
        let (frequency_hz, size) = (random.between(0.7, 2.0), random.between(0.02, 0.15));
        script.add_wave(channel, (0.0, reached_s), frequency_hz, random.between(0.0, TAU), size);
    }
    script.duration_s = reached_s + 0.1;
    let start_s = builder.play(script);
    (start_s, builder.time_s())
}

/// Steps at about 1.8 a second: the body's rise and fall with its harmonics, the arm's swing at half that.
fn walk(builder: &mut Builder, random: &mut Random, size: f64) -> (f64, f64) {
    let duration_s = random.between(3.0, 6.0);
    let span = (0.0, duration_s);
    let steps_hz = random.between(1.5, 2.1);
    let mut script = Script::lasting(duration_s + 0.1);
    for (harmonic, rise_m) in [(1.0, 0.02), (2.0, 0.004), (3.0, 0.0015)] {
        let phase = random.between(0.0, TAU);
        script.add_wave(Channel::Z, span, harmonic * steps_hz, phase, size * rise_m * random.between(0.6, 1.4));
        script.add_wave(Channel::X, span, harmonic * steps_hz, phase + 1.0, size * rise_m * random.between(0.3, 0.8));
    }
    let arm_rad = size * random.between(0.05, 0.35);
    script.add_wave(Channel::Elevation, span, 0.5 * steps_hz, random.between(0.0, TAU), arm_rad);
    script.add_wave(Channel::Roll, span, 0.5 * steps_hz, random.between(0.0, TAU), 0.5 * arm_rad);
    script.add_wave(Channel::Y, span, 0.5 * steps_hz, random.between(0.0, TAU), 0.03 * size);
    script.add(Channel::X, Shape::Step, 0.0, duration_s, random.between(-4.0, 4.0));
    script.add(Channel::Y, Shape::Step, 0.0, duration_s, random.between(-4.0, 4.0));
    script.add(Channel::Heading, Shape::Step, 0.0, duration_s, random.between(-PI, PI));
    let start_s = builder.play(script);
    (start_s, builder.time_s())
}

fn bump(builder: &mut Builder, random: &mut Random, bat: &Bat) -> (f64, f64) {
    builder.hold(random.between(0.3, 0.8));
    let count = 1 + random.index(2);
    let mut script = Script::lasting(0.7 * count as f64);
    for i in 0..count {
        let (at_s, blow_s) = (0.1 + 0.7 * i as f64, random.between(1e-3, 5e-3));
        let recovery_s = random.between(0.1, 0.2);
        for channel in [Channel::X, Channel::Y, Channel::Z, Channel::Heading, Channel::Elevation, Channel::Roll] {
            let size = if Channel::POSITIONS.contains(&channel) { 0.5 } else { 1.5 };
            let amount = random.normal(size);
            script.add(channel, Shape::Blow, at_s, blow_s, amount);
            script.add(channel, Shape::Ramp, at_s + blow_s, recovery_s, -amount);
            script.add(channel, Shape::Step, at_s + 0.05, 0.4, -0.5 * amount * (blow_s + recovery_s));
        }
        let (knock_ns, knocked_m) = (random.between(0.02, 0.4), random.between(0.0, 1.0) * bat.length_m);
        ring(&mut script, random, bat, at_s, knock_ns, knocked_m);
        script.brisk_s.push((at_s - 0.01, at_s + 0.05));
    }
    let start_s = builder.play(script);
    (start_s, builder.time_s())
}

/// Barrel first into a bag with a thump, then carried off.
fn bag(builder: &mut Builder, random: &mut Random, bat: &Bat) -> (f64, f64) {
    let angles = Angles::new(random.between(-PI, PI), random.about(-1.35, 0.08), random.between(-PI, PI));
    builder.go_to(Pose { hands_w_m: Vector3::new(0.3, 0.2, 1.1), angles }, random.between(0.9, 1.4));
    let start_s = builder.time_s();
    let mut script = Script::lasting(1.2);
    let (speed, fall_s, blow_s) = (random.between(0.5, 1.3), 0.5, random.between(4e-3, 12e-3));
    script.add(Channel::Z, Shape::Ramp, 0.0, fall_s, -speed);
    script.add(Channel::Z, Shape::Blow, fall_s, blow_s, speed);
    script.add(Channel::Elevation, Shape::Step, 0.5, 0.6, random.between(-0.15, 0.15));
    ring(&mut script, random, bat, fall_s, 0.05 * bat.mass_kg * speed, bat.length_m - 0.02);
    script.brisk_s.push((fall_s - 0.01, fall_s + 0.05));
    builder.play(script);
    builder.hold(random.between(0.3, 1.0));
    walk(builder, random, 0.7);
    (start_s, builder.time_s())
}

/// The routine of about 20 s: level at four rolls, up, down, then two turns about the bat's own axis.
///
/// Returns the six holds and the span of the turns.
pub fn calibration_routine(builder: &mut Builder, random: &mut Random) -> ([(f64, f64); 6], (f64, f64)) {
    let heading = random.between(-PI, PI);
    let first_roll = random.between(-PI, PI);
    let quarter = |i: usize| (0.0, first_roll + FRAC_PI_2 * i as f64);
    let attitudes = [quarter(0), quarter(1), quarter(2), quarter(3), (FRAC_PI_2, first_roll), (-FRAC_PI_2, first_roll)];
    let hands_w_m = Vector3::new(0.3, 0.1, 1.1);
    let imperfect = |random: &mut Random| random.about(0.0, 0.05);
    let holds = attitudes.map(|(elevation, roll)| {
        let angles = Angles::new(heading + imperfect(random), elevation + imperfect(random), roll + imperfect(random));
        builder.go_to(Pose { hands_w_m: hands_w_m + random.normal_vector(0.02), angles }, random.between(0.6, 0.8));
        builder.hold(random.between(1.9, 2.2))
    });
    let angles = Angles::new(heading, random.about(0.0, 0.15), first_roll);
    builder.go_to(Pose { hands_w_m, angles }, 0.8);
    builder.hold(0.5);
    let spin_s = random.between(2.6, 3.4);
    let mut script = Script::lasting(spin_s + 0.2);
    script.add(Channel::Roll, Shape::Step, 0.0, spin_s, random.sign() * 2.0 * TAU * random.about(1.0, 0.02));
    for channel in [Channel::Elevation, Channel::Heading] {
        script.add_wave(
            channel,
            (0.0, spin_s),
            random.between(0.6, 1.5),
            random.between(0.0, TAU),
            random.between(0.004, 0.02),
        );
    }
    let start_s = builder.play(script);
    let spin = (start_s, builder.time_s());
    builder.hold(1.0);
    (holds, spin)
}
