//! Smooth functions of time with exact first and second derivatives, from which all motions are put together.

use std::f64::consts::{PI, TAU};
use std::ops::{Add, AddAssign, Mul};

/// A value with its first and second derivative in time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Jet {
    pub value: f64,
    pub rate: f64,
    pub accel: f64,
}

impl Jet {
    pub fn constant(value: f64) -> Self {
        Self { value, rate: 0.0, accel: 0.0 }
    }

    /// amplitude · sin(rate · t + phase).
    pub fn sine(amplitude: f64, rate_radps: f64, angle_rad: f64) -> Self {
        let (sin, cos) = angle_rad.sin_cos();
        let value = amplitude * sin;
        Self { value, rate: amplitude * rate_radps * cos, accel: -value * rate_radps * rate_radps }
    }
}

impl Add for Jet {
    type Output = Jet;
    fn add(self, o: Jet) -> Jet {
        Jet { value: self.value + o.value, rate: self.rate + o.rate, accel: self.accel + o.accel }
    }
}

impl AddAssign for Jet {
    fn add_assign(&mut self, o: Jet) {
        *self = *self + o;
    }
}

impl Mul for Jet {
    type Output = Jet;
    fn mul(self, o: Jet) -> Jet {
        Jet {
            value: self.value * o.value,
            rate: self.rate * o.value + self.value * o.rate,
            accel: self.accel * o.value + 2.0 * self.rate * o.rate + self.value * o.accel,
        }
    }
}

impl Mul<Jet> for f64 {
    type Output = Jet;
    fn mul(self, o: Jet) -> Jet {
        Jet { value: self * o.value, rate: self * o.rate, accel: self * o.accel }
    }
}

/// What a [`Curve`] does to its coordinate between its start and its end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// Moves it by the amount and stops.
    Step,
    /// Changes its rate by the amount.
    Ramp,
    /// Changes its second derivative by the amount.
    Pull,
    /// Changes its rate by the amount through a half-sine pulse, as a blow does.
    Blow,
    /// Swings it to and fro with that amplitude, fading in and out.
    Wave { frequency_hz: f64, phase_rad: f64 },
}

/// One contribution to one coordinate. Before its start it is zero.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Curve {
    pub shape: Shape,
    pub start_s: f64,
    pub duration_s: f64,
    pub amount: f64,
}

/// The least polynomial from 0 to 1 with three vanishing derivatives at both ends, and those in u: C³ motions.
fn smooth_step(u: f64) -> Jet {
    if u <= 0.0 || u >= 1.0 {
        return Jet::constant(if u < 0.5 { 0.0 } else { 1.0 });
    }
    let left = 1.0 - u;
    Jet {
        value: u.powi(4) * (35.0 - u * (84.0 - u * (70.0 - 20.0 * u))),
        rate: 140.0 * (u * left).powi(3),
        accel: 420.0 * (u * left).powi(2) * (1.0 - 2.0 * u),
    }
}

/// First and second integral of [`smooth_step`], for u ≥ 0.
fn smooth_step_integrals(u: f64) -> (f64, f64) {
    if u >= 1.0 {
        let over = u - 1.0;
        return (0.5 + over, 5.0 / 36.0 + 0.5 * over * (1.0 + over));
    }
    let once = u.powi(5) * (7.0 - u * (14.0 - u * (10.0 - 2.5 * u)));
    let twice = u.powi(6) * (7.0 / 6.0 - u * (2.0 - u * (1.25 - u * (2.5 / 9.0))));
    (once, twice)
}

fn half_sine_blow(u: f64, duration_s: f64) -> Jet {
    if u >= 1.0 {
        return Jet { value: duration_s * (u - 0.5), rate: 1.0, accel: 0.0 };
    }
    let (sin, cos) = (PI * u).sin_cos();
    Jet { value: duration_s * (0.5 * u - sin / TAU), rate: 0.5 * (1.0 - cos), accel: 0.5 * PI / duration_s * sin }
}

/// The share of a wave's time in which it fades in, and again out.
const FADE: f64 = 0.2;

fn faded(u: f64, duration_s: f64) -> Jet {
    let scaled = |jet: Jet, sign: f64| {
        let per_s = sign / (FADE * duration_s);
        Jet { value: jet.value, rate: jet.rate * per_s, accel: jet.accel * per_s * per_s }
    };
    scaled(smooth_step(u / FADE), 1.0) * scaled(smooth_step((1.0 - u) / FADE), -1.0)
}

impl Curve {
    pub fn at(&self, t_s: f64) -> Jet {
        let since_s = t_s - self.start_s;
        if since_s <= 0.0 {
            return Jet::default();
        }
        let d = self.duration_s;
        let u = since_s / d;
        self.amount
            * match self.shape {
                Shape::Step => {
                    let s = smooth_step(u);
                    Jet { value: s.value, rate: s.rate / d, accel: s.accel / (d * d) }
                }
                Shape::Ramp => {
                    let s = smooth_step(u);
                    Jet { value: d * smooth_step_integrals(u).0, rate: s.value, accel: s.rate / d }
                }
                Shape::Pull => {
                    let (once, twice) = smooth_step_integrals(u);
                    Jet { value: d * d * twice, rate: d * once, accel: smooth_step(u).value }
                }
                Shape::Blow => half_sine_blow(u, d),
                Shape::Wave { frequency_hz, phase_rad } => {
                    let rate_radps = TAU * frequency_hz;
                    faded(u, d) * Jet::sine(1.0, rate_radps, rate_radps * since_s + phase_rad)
                }
            }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn every_shape() -> [Curve; 5] {
        let wave = Shape::Wave { frequency_hz: 3.0, phase_rad: 0.4 };
        [Shape::Step, Shape::Ramp, Shape::Pull, Shape::Blow, wave].map(|shape| Curve {
            shape,
            start_s: 0.2,
            duration_s: 0.7,
            amount: -1.7,
        })
    }

    #[test]
    fn derivatives_agree_with_central_differences() {
        let h = 1e-5;
        for curve in every_shape() {
            for i in 0..120 {
                let t = 0.013 * f64::from(i) + 0.001;
                let [before, now, after] = [t - h, t, t + h].map(|t| curve.at(t));
                // h²/6 of the third derivative, at most 1e5, and of the fourth, at most 4e6 where the wave fades in.
                assert!(((after.value - before.value) / (2.0 * h) - now.rate).abs() < 4e-5, "{curve:?} {t}");
                assert!(((after.rate - before.rate) / (2.0 * h) - now.accel).abs() < 4e-4, "{curve:?} {t}");
            }
        }
    }

    #[test]
    fn each_shape_ends_with_what_its_name_says() {
        let [step, ramp, pull, blow, wave] = every_shape().map(|curve| curve.at(1.5));
        assert_eq!(step, Jet::constant(-1.7));
        assert_eq!((ramp.rate, ramp.accel), (-1.7, 0.0));
        assert_eq!(pull.accel, -1.7);
        assert_eq!((blow.rate, blow.accel), (-1.7, 0.0));
        assert_eq!(wave, Jet { value: 0.0, ..wave });
        // A half-sine and a symmetric ramp both travel half their change of rate while they last.
        let travelled = every_shape()[1].at(0.9).value;
        assert!((travelled + 1.7 * 0.35).abs() < 1e-12 && (every_shape()[3].at(0.9).value - travelled).abs() < 1e-12);
    }
}
