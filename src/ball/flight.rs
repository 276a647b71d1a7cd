//! Where a struck ball comes down: flight in a vertical plane with drag, lift by backspin, and gravity.
//!
//! v̇ = −K·C_d·|v|·v + K·C_l·|v|·n − g·ẑ, where K = ρA/2m and n is v turned up by 90°. C_d grows with spin, C_l with the spin
//! factor S = Rω/v. Both are fits to batted and pitched baseballs; spin is kept over the flight. Wind and sidespin are left out.
//! Integrated by Runge–Kutta's method of fourth order.

use super::Bounds;
use super::kind::Kind;
use std::f64::consts::PI;

/// g, m/s² (CGPM 1901).
const G_MPS2: f64 = 9.80665;
/// Radians per second in one revolution a minute.
const RADPS_PER_RPM: f64 = PI / 30.0;

/// Where a ball is met above the ground, m (common practice, no source).
pub const CONTACT_HEIGHT_M: f64 = 1.0;
/// What is taken where nothing is said of the launch, degrees above the horizontal: where balls carry farthest for their speed.
pub const USUAL_LAUNCH_DEG: Bounds = Bounds::new(25.0, 30.0);
/// Backspin of a ball well struck at such angles, rpm: about 2000 (R. K. Adair, *The Physics of Baseball*), hardly ever topspin
/// (A. M. Nathan, as quoted by FanGraphs, 2021); the width is common practice, no source.
pub const USUAL_BACKSPIN_RPM: Bounds = Bounds::new(1000.0, 3000.0);
/// What spin adds to the drag coefficient, for 1000 rpm (A. M. Nathan's trajectory calculator, University of Illinois).
const DRAG_PER_1000_RPM: f64 = 0.0292;
/// A ball is not followed for longer, s.
const LONGEST_S: f64 = 30.0;
/// From a point of the flight to the next, s. Against a tenth of it, a carry differs by less than a millimetre: held by
/// `halving_the_step_divides_the_error_by_sixteen`.
const STEP_S: f64 = 0.05;

/// A lift coefficient, C_l = a·S / (b + c·S).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lift {
    a: f64,
    b: f64,
    c: f64,
}

impl Lift {
    /// A. M. Nathan's trajectory calculator (University of Illinois).
    pub const NATHAN: Self = Self { a: 1.120, b: 0.583, c: 2.333 };
    /// S / (0.4 + 2.32·S) (R. Cross, *Physics of Baseball & Softball*, 2011, from memory): up to a seventh more.
    pub const CROSS: Self = Self { a: 1.0, b: 0.4, c: 2.32 };
    /// None.
    pub const NONE: Self = Self { a: 0.0, b: 1.0, c: 0.0 };

    /// At a speed of the surface Rω and of the ball v, m/s.
    fn coefficient(self, surface_mps: f64, speed_mps: f64) -> f64 {
        let below = self.b * speed_mps + self.c * surface_mps;
        if below > 0.0 { self.a * surface_mps / below } else { 0.0 }
    }
}

/// A ball as it leaves the bat, and the air.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Launch {
    /// Speed, m/s.
    pub speed_mps: f64,
    /// Above the horizontal, rad.
    pub angle_rad: f64,
    /// Backspin, rad/s.
    pub backspin_radps: f64,
    /// Mass, kg.
    pub mass_kg: f64,
    /// Radius, m.
    pub radius_m: f64,
    /// Drag coefficient, the part of spin included.
    pub drag: f64,
    /// Lift coefficient.
    pub lift: Lift,
    /// Density of the air, kg/m³.
    pub density_kgpm3: f64,
}

/// Position and velocity in the plane of flight: out and up.
#[derive(Clone, Copy, Debug, PartialEq)]
struct State {
    out_m: f64,
    up_m: f64,
    out_mps: f64,
    up_mps: f64,
}

impl State {
    /// This and so many seconds of a rate.
    fn after(self, rate: Self, dt_s: f64) -> Self {
        Self {
            out_m: self.out_m + rate.out_m * dt_s,
            up_m: self.up_m + rate.up_m * dt_s,
            out_mps: self.out_mps + rate.out_mps * dt_s,
            up_mps: self.up_mps + rate.up_mps * dt_s,
        }
    }

    fn is_finite(self) -> bool {
        [self.out_m, self.up_m, self.out_mps, self.up_mps].iter().all(|x| x.is_finite())
    }
}

impl Launch {
    /// Horizontal distance at which it comes to the ground, m. `None`: it does not within half a minute, or something is no
    /// number of a ball.
    pub fn carry_m(&self) -> Option<f64> {
        self.carry_in_steps_m(STEP_S)
    }

    fn carry_in_steps_m(&self, step_s: f64) -> Option<f64> {
        if !self.is_sound() {
            return None;
        }
        let mut state = self.start();
        for _ in 0..(LONGEST_S / step_s) as usize {
            let next = self.step(state, step_s);
            if !next.is_finite() {
                return None;
            }
            if next.up_m <= 0.0 {
                return Some(self.landed(state, step_s).out_m);
            }
            state = next;
        }
        None
    }

    fn is_sound(&self) -> bool {
        let not_negative = [self.speed_mps, self.backspin_radps, self.drag, self.density_kgpm3];
        let positive = [self.mass_kg, self.radius_m];
        self.angle_rad.is_finite()
            && not_negative.iter().all(|x| x.is_finite() && *x >= 0.0)
            && positive.iter().all(|x| x.is_finite() && *x > 0.0)
    }

    fn start(&self) -> State {
        let (sin, cos) = self.angle_rad.sin_cos();
        State { out_m: 0.0, up_m: CONTACT_HEIGHT_M, out_mps: self.speed_mps * cos, up_mps: self.speed_mps * sin }
    }

    /// The instant at the ground within the step after `before`, halved down to a nanosecond.
    fn landed(&self, before: State, step_s: f64) -> State {
        let (mut above_s, mut below_s) = (0.0, step_s);
        while below_s - above_s > 1e-9 {
            let middle_s = f64::midpoint(above_s, below_s);
            if self.step(before, middle_s).up_m > 0.0 {
                above_s = middle_s;
            } else {
                below_s = middle_s;
            }
        }
        self.step(before, below_s)
    }

    fn step(&self, at: State, dt_s: f64) -> State {
        let first = self.rate(at);
        let second = self.rate(at.after(first, dt_s / 2.0));
        let third = self.rate(at.after(second, dt_s / 2.0));
        let fourth = self.rate(at.after(third, dt_s));
        let ends = at.after(first, dt_s / 6.0).after(fourth, dt_s / 6.0);
        ends.after(second, dt_s / 3.0).after(third, dt_s / 3.0)
    }

    fn rate(&self, at: State) -> State {
        let speed_mps = (at.out_mps * at.out_mps + at.up_mps * at.up_mps).sqrt();
        let per_m = self.density_kgpm3 * PI * self.radius_m * self.radius_m / (2.0 * self.mass_kg);
        let drag = per_m * self.drag * speed_mps;
        let lift = per_m * self.lift.coefficient(self.backspin_radps * self.radius_m, speed_mps) * speed_mps;
        State {
            out_m: at.out_mps,
            up_m: at.up_mps,
            out_mps: -drag * at.out_mps - lift * at.up_mps,
            up_mps: -drag * at.up_mps + lift * at.out_mps - G_MPS2,
        }
    }
}

/// Carries of a ball of a kind over exit speeds, launch angles and densities of the air, over usual backspins, over how balls
/// differ in drag, and over both lift coefficients, m. `None`: something is no number of a ball's flight.
///
/// A greater exit speed and less drag always carry farther, so that only their ends are looked at; of spin and launch, which
/// have a best value, points between them too. Held by `no_flight_within_the_ranges_leaves_the_range_of_carries`.
pub fn carries_m(kind: Kind, exit_speed_mps: Bounds, launch_deg: Bounds, density_kgpm3: Bounds) -> Option<Bounds> {
    let ranges = [exit_speed_mps, launch_deg, density_kgpm3];
    if !ranges.iter().all(|range| range.is_sound()) {
        return None;
    }
    let drag = kind.drag_without_spin();
    let mut carries = Bounds::new(f64::INFINITY, 0.0);
    for (speed_mps, drag) in [(exit_speed_mps.low, drag.high), (exit_speed_mps.high, drag.low)] {
        for backspin_rpm in ends_and_middle(USUAL_BACKSPIN_RPM) {
            for angle_deg in over(launch_deg) {
                for density_kgpm3 in [density_kgpm3.low, density_kgpm3.high] {
                    for lift in [Lift::NATHAN, Lift::CROSS] {
                        let launch =
                            launch(kind, speed_mps, angle_deg, backspin_rpm, drag, Air { density_kgpm3, lift });
                        let carry_m = launch.carry_m()?;
                        carries = Bounds::new(carries.low.min(carry_m), carries.high.max(carry_m));
                    }
                }
            }
        }
    }
    Some(carries)
}

/// What the air does.
#[derive(Clone, Copy)]
struct Air {
    density_kgpm3: f64,
    lift: Lift,
}

fn launch(kind: Kind, speed_mps: f64, angle_deg: f64, backspin_rpm: f64, drag_without_spin: f64, air: Air) -> Launch {
    Launch {
        speed_mps,
        angle_rad: angle_deg.to_radians(),
        backspin_radps: backspin_rpm * RADPS_PER_RPM,
        mass_kg: kind.mass_kg().middle(),
        radius_m: kind.radius_m(),
        drag: drag_without_spin + DRAG_PER_1000_RPM * backspin_rpm / 1000.0,
        lift: air.lift,
        density_kgpm3: air.density_kgpm3,
    }
}

fn ends_and_middle(range: Bounds) -> [f64; 3] {
    [range.low, range.middle(), range.high]
}

/// Five points of a range, even.
fn over(range: Bounds) -> [f64; 5] {
    let part = |share: f64| range.low + share * (range.high - range.low);
    [range.low, part(0.25), part(0.5), part(0.75), range.high]
}

#[cfg(test)]
mod tests;
