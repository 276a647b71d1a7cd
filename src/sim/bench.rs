//! What a person does with a bat to check a sensor: hangs it up as a pendulum, stands it on its tip and rolls it, holds it out.

use super::curve::Jet;
use super::pose::{Axis, BatKinematics, ImuState, Trajectory, Turning};
use super::random::Random;
use crate::engine::geometry::G_MPS2;
use crate::engine::metrics::HANDS_FROM_KNOB_M;
use crate::engine::profile::Mount;
use nalgebra::{UnitQuaternion, Vector3};
use std::f64::consts::{FRAC_PI_2, TAU};

/// A bat's motion as an IMU on it goes through it.
fn seen_by(bat: &BatKinematics, mount: &Mount) -> ImuState {
    let to_s = mount.q_bs.inverse();
    let (position_w_m, velocity_w_mps) = bat.point(mount.offset_b_m);
    ImuState {
        q_ws: bat.turning.q * mount.q_bs,
        position_w_m,
        velocity_w_mps,
        omega_s_radps: to_s * bat.turning.omega_radps,
        specific_force_s_mps2: to_s * bat.specific_force_b_mps2(mount.offset_b_m),
    }
}

/// A bat with a point of its axis kept in place.
fn about(point_m: f64, turning: Turning) -> BatKinematics {
    let nowhere = Vector3::zeros();
    BatKinematics {
        turning,
        reference_m: point_m,
        position_w_m: nowhere,
        velocity_w_mps: nowhere,
        acceleration_w_mps2: nowhere,
    }
}

/// Steps of the integration of [`HungBat`], s.
const STEP_S: f64 = 1e-3;

/// A bat hung from the point 6 in from its knob, held aside, let go, and losing what the air takes: θ'' = −Ω² sin θ − 2γ θ'.
///
/// By Runge and Kutta's fourth-order rule at 1 ms and Hermite's cubic in between: without loss it keeps to
/// [`Pendulum`](super::textbook::Pendulum), which is exact, to 1e-9 rad over 20 s
/// (`a_hung_bat_that_loses_nothing_is_the_pendulum_of_the_textbook`).
#[derive(Clone, Debug)]
pub struct HungBat {
    /// For how long it is held before, s.
    pub held_s: f64,
    /// Ω², 1/s².
    small_square: f64,
    /// γ, 1/s.
    loss: f64,
    /// θ and θ' at the steps after it is let go.
    nodes: Vec<[f64; 2]>,
    mount: Mount,
}

impl HungBat {
    /// Of this period for small swings, let go from an angle, followed for `lasting_s`.
    pub fn new(period_s: f64, amplitude_rad: f64, loss_per_s: f64, held_s: f64, lasting_s: f64, mount: Mount) -> Self {
        let small_square = (TAU / period_s).powi(2);
        let mut hung = Self { held_s, small_square, loss: loss_per_s, nodes: vec![[amplitude_rad, 0.0]], mount };
        let steps = (lasting_s / STEP_S).ceil() as usize + 2;
        for _ in 0..steps {
            let [angle, rate] = hung.nodes.last().copied().unwrap_or_default();
            let slope = |a: f64, r: f64| [r, hung.accel(a, r)];
            let h = STEP_S;
            let k1 = slope(angle, rate);
            let k2 = slope(angle + 0.5 * h * k1[0], rate + 0.5 * h * k1[1]);
            let k3 = slope(angle + 0.5 * h * k2[0], rate + 0.5 * h * k2[1]);
            let k4 = slope(angle + h * k3[0], rate + h * k3[1]);
            let next = |i: usize, at: f64| at + h / 6.0 * (k1[i] + 2.0 * k2[i] + 2.0 * k3[i] + k4[i]);
            hung.nodes.push([next(0, angle), next(1, rate)]);
        }
        hung
    }

    fn accel(&self, angle: f64, rate: f64) -> f64 {
        -self.small_square * angle.sin() - 2.0 * self.loss * rate
    }

    /// The angle from hanging straight down, with its derivatives; it is held aside before it is let go.
    fn angle(&self, t_s: f64) -> Jet {
        let place = ((t_s - self.held_s) / STEP_S).max(0.0);
        let k = (place.floor() as usize).min(self.nodes.len().saturating_sub(2));
        let (Some(&[a0, r0]), Some(&[a1, r1])) = (self.nodes.get(k), self.nodes.get(k + 1)) else {
            return Jet::default();
        };
        if t_s < self.held_s {
            return Jet::constant(a0);
        }
        let u = place - k as f64;
        let hermite = |y0: f64, d0: f64, y1: f64, d1: f64| {
            let (u2, u3) = (u * u, u * u * u);
            (2.0 * u3 - 3.0 * u2 + 1.0) * y0
                + (u3 - 2.0 * u2 + u) * STEP_S * d0
                + (3.0 * u2 - 2.0 * u3) * y1
                + (u3 - u2) * STEP_S * d1
        };
        let value = hermite(a0, r0, a1, r1);
        let rate = hermite(r0, self.accel(a0, r0), r1, self.accel(a1, r1));
        Jet { value, rate, accel: self.accel(value, rate) }
    }

    /// The angle, rad.
    pub fn angle_rad(&self, t_s: f64) -> f64 {
        self.angle(t_s).value
    }
}

impl Trajectory for HungBat {
    fn at(&self, t_s: f64) -> ImuState {
        // B's z points down; the bat swings about B's x.
        let down = UnitQuaternion::from_scaled_axis(Vector3::y() * std::f64::consts::PI);
        let turning = Turning::fixed(down).then(Axis::X, self.angle(t_s));
        let mut seen = seen_by(&about(HANDS_FROM_KNOB_M, turning), &self.mount);
        if t_s < self.held_s {
            // Held, not falling.
            seen.specific_force_s_mps2 = seen.q_ws.inverse() * (Vector3::z() * G_MPS2);
        }
        seen
    }

    fn is_brisk(&self, from_s: f64, to_s: f64) -> bool {
        from_s <= self.held_s && to_s >= self.held_s
    }
}

/// A bat stood on its tip, then rolled about its axis between the palms, one way and back, with the wobble of the hands.
#[derive(Clone, Debug)]
pub struct StoodAndRolled {
    /// How long it stands, s.
    pub stands_s: f64,
    /// How long each way takes, s.
    pub way_s: f64,
    /// How far it is rolled each way, rad.
    pub way_rad: f64,
    /// The bat's length, m.
    pub length_m: f64,
    /// The lean of the bat as it stands, about two level axes, rad.
    pub lean_rad: [f64; 2],
    /// Sway about the same axes: amplitude (rad), rate (rad/s) and phase, some of each.
    wobble: [[(f64, f64, f64); 3]; 2],
    mount: Mount,
}

impl StoodAndRolled {
    /// Drawn; `wobble_rad` is the root mean square of the sway while it is rolled.
    pub fn draw(random: &mut Random, lean_rad: f64, wobble_rad: f64, mount: Mount) -> Self {
        let sway = |random: &mut Random| {
            let amplitude = random.normal(wobble_rad * (2f64 / 3.0).sqrt());
            (amplitude, random.between(3.0, 18.0), random.between(0.0, TAU))
        };
        Self {
            stands_s: random.between(2.5, 4.0),
            way_s: random.between(1.6, 3.0),
            way_rad: random.between(2.3, 3.5) * TAU,
            length_m: 0.838,
            lean_rad: [random.normal(lean_rad), random.normal(lean_rad)],
            wobble: std::array::from_fn(|_| std::array::from_fn(|_| sway(random))),
            mount,
        }
    }

    /// When it has come to rest again, s.
    pub fn end_s(&self) -> f64 {
        self.stands_s + 2.0 * self.way_s + 0.4
    }

    /// From 0 to 1 and back, each way with the smooth step 10u³ − 15u⁴ + 6u⁵.
    fn way(&self, t_s: f64) -> Jet {
        let step = |from_s: f64| {
            let u = ((t_s - from_s) / self.way_s).clamp(0.0, 1.0);
            Jet {
                value: u.powi(3) * (10.0 - 15.0 * u + 6.0 * u * u),
                rate: 30.0 * u * u * (1.0 - u).powi(2) / self.way_s,
                accel: 60.0 * u * (1.0 - u) * (1.0 - 2.0 * u) / self.way_s.powi(2),
            }
        };
        step(self.stands_s) + -1.0 * step(self.stands_s + self.way_s)
    }

    /// The sway swells with the roll.
    fn sway(&self, axis: usize, t_s: f64) -> Jet {
        let way = self.way(t_s);
        let swell = 4.0 * (way * (Jet::constant(1.0) + -1.0 * way));
        let waves = self.wobble[axis]
            .iter()
            .fold(Jet::default(), |sum, &(size, rate, phase)| sum + Jet::sine(size, rate, rate * t_s + phase));
        Jet::constant(self.lean_rad[axis]) + swell * waves
    }
}

impl Trajectory for StoodAndRolled {
    fn at(&self, t_s: f64) -> ImuState {
        // The knob is up, B's z points down.
        let turning = Turning::fixed(UnitQuaternion::from_scaled_axis(Vector3::x() * std::f64::consts::PI))
            .then(Axis::X, self.sway(0, t_s))
            .then(Axis::Y, self.sway(1, t_s))
            .then(Axis::Z, self.way_rad * self.way(t_s));
        seen_by(&about(self.length_m, turning), &self.mount)
    }

    fn is_brisk(&self, _: f64, _: f64) -> bool {
        false
    }
}

/// A bat that rests: lying or held out, at a heading, an elevation and a roll.
#[derive(Clone, Debug)]
pub struct Resting {
    /// Heading, elevation and roll of the bat, rad.
    pub angles_rad: [f64; 3],
    /// How the sensor sits on it.
    pub mount: Mount,
}

impl Trajectory for Resting {
    fn at(&self, _: f64) -> ImuState {
        let [heading, elevation, roll] = self.angles_rad.map(Jet::constant);
        let polar = Jet::constant(FRAC_PI_2) + -1.0 * elevation;
        let turning =
            Turning::fixed(UnitQuaternion::identity()).then(Axis::Z, heading).then(Axis::Y, polar).then(Axis::Z, roll);
        seen_by(&about(0.0, turning), &self.mount)
    }

    fn is_brisk(&self, _: f64, _: f64) -> bool {
        false
    }
}

#[cfg(test)]
mod tests;
