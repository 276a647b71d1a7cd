//! The ball's blow on the bat as a free body, and the bending it leaves ringing.
//!
//! A batter's hands do not matter while the ball is on the bat: the impulse is over before they can answer (Nathan,
//! *Am. J. Phys.* 68, 2000; Cross, *Am. J. Phys.* 67, 1999). Bending is that of a uniform free-free beam with the bat's
//! mass; a bat's taper moves the nodes by some centimetres, which is left out. Of the bending a bare knob would show,
//! hands around it leave a share that is handed in.

use crate::engine::metrics::HANDS_FROM_KNOB_M;
use crate::engine::profile::Bat;
use nalgebra::Vector3;
use std::f64::consts::PI;

/// A ball's mass, kg: 5 to 5¼ oz (Official Baseball Rules 3.01), here 5⅛ oz.
pub const BALL_MASS_KG: f64 = 0.1453;

/// A ball's radius, m: circumference 9 to 9¼ in (Official Baseball Rules 3.01).
pub const BALL_RADIUS_M: f64 = 0.0369;

/// Moment of inertia about an axis across the bat through its centre of mass, kg m², by the parallel-axis theorem from
/// the one about the 6 in pivot.
pub fn moi_centre_kgm2(bat: &Bat) -> f64 {
    let arm_m = bat.balance_m - HANDS_FROM_KNOB_M;
    bat.moi_knob6_kgm2 - bat.mass_kg * arm_m * arm_m
}

/// What a blow changes at once.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BlowChange {
    /// Change of the centre of mass's velocity, m/s, in the impulse's frame.
    pub velocity_centre_mps: Vector3<f64>,
    /// Change of the angular velocity, rad/s, in the impulse's frame.
    pub omega_radps: Vector3<f64>,
}

impl BlowChange {
    /// Of a free bat struck across its axis, `from_knob_m` from the knob end: Δv = J/m, Δω = r × J / I.
    pub fn of_impulse(bat: &Bat, axis: Vector3<f64>, impulse_ns: Vector3<f64>, from_knob_m: f64) -> Self {
        let arm_m = axis * (from_knob_m - bat.balance_m);
        Self {
            velocity_centre_mps: impulse_ns / bat.mass_kg,
            omega_radps: arm_m.cross(&impulse_ns) / moi_centre_kgm2(bat),
        }
    }

    /// Change of velocity of the point of the axis `from_knob_m` from the knob end.
    pub fn velocity_mps(&self, bat: &Bat, axis: Vector3<f64>, from_knob_m: f64) -> Vector3<f64> {
        self.velocity_centre_mps + self.omega_radps.cross(&(axis * (from_knob_m - bat.balance_m)))
    }
}

/// Impulse between bat and ball along the line of their centres, N s, for a closing speed and a coefficient of
/// restitution: (1 + e) v / (1/m_ball + 1/m + b²/I) (Nathan 2000, from momentum and angular momentum).
pub fn impulse_ns(bat: &Bat, from_knob_m: f64, closing_mps: f64, restitution: f64) -> f64 {
    let arm_m = from_knob_m - bat.balance_m;
    let softness = 1.0 / BALL_MASS_KG + 1.0 / bat.mass_kg + arm_m * arm_m / moi_centre_kgm2(bat);
    (1.0 + restitution) * closing_mps / softness
}

/// One bending mode ringing after a half-sine blow, as an IMU at the knob feels it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ringing {
    /// When the blow begins, s.
    pub start_s: f64,
    /// How long it lasts, s.
    pub blow_s: f64,
    /// The mode's frequency, Hz.
    pub frequency_hz: f64,
    /// Damping as a fraction of critical.
    pub damping: f64,
    /// Direction of the bending at the knob, unit, in B.
    pub direction_b: Vector3<f64>,
    /// Acceleration at the knob for a modal acceleration caused by a unit of force: peak force × shape(knob) ×
    /// shape(struck point) / mass, m/s².
    pub accel_mps2: f64,
    /// The same for the slope at the knob, rad/s².
    pub slope_radps2: f64,
}

/// A mode of a uniform free-free beam, normalised to a mean square of one along it: (βL, σ) of
/// cosh βx + cos βx − σ (sinh βx + sin βx) (Blevins, *Formulas for Natural Frequency and Mode Shape*, 1979, table 8-1).
const MODES: [(f64, f64); 2] = [(4.730041, 0.982502), (7.853205, 1.000777)];

fn mode_shape((beta, sigma): (f64, f64), share: f64) -> f64 {
    let x = beta * share;
    x.cosh() + x.cos() - sigma * (x.sinh() + x.sin())
}

impl Ringing {
    /// The two lowest modes, by their frequency (Hz) and damping; `share` of a bare knob's motion is left by the hands.
    pub fn of_blow(
        bat: &Bat,
        start_s: f64,
        blow_s: f64,
        impulse_b_ns: Vector3<f64>,
        from_knob_m: f64,
        modes: [(f64, f64); 2],
        share: f64,
    ) -> [Self; 2] {
        let peak_n = share * impulse_b_ns.norm() * PI / (2.0 * blow_s);
        let direction_b = impulse_b_ns.try_normalize(1e-12).unwrap_or_else(Vector3::x);
        std::array::from_fn(|i| {
            let drive_mps2 = peak_n / bat.mass_kg * mode_shape(MODES[i], from_knob_m / bat.length_m);
            let (beta, sigma) = MODES[i];
            Self {
                start_s,
                blow_s,
                frequency_hz: modes[i].0,
                damping: modes[i].1,
                direction_b,
                accel_mps2: drive_mps2 * mode_shape(MODES[i], 0.0),
                slope_radps2: drive_mps2 * -2.0 * beta * sigma / bat.length_m,
            }
        })
    }

    /// When it has died down to a thousandth, s.
    pub fn end_s(&self) -> f64 {
        self.start_s + self.blow_s + 1000f64.ln() / (self.damping * 2.0 * PI * self.frequency_hz)
    }

    /// Rate and acceleration, s and 1, of an oscillator x'' + 2ζωx' + ω²x = force(t), force a half-sine of height one:
    /// the sum of two sines switched on half a period apart.
    fn response(&self, t_s: f64) -> (f64, f64) {
        let since_s = t_s - self.start_s;
        let first = self.switched_sine(since_s);
        let second = self.switched_sine(since_s - self.blow_s);
        (first.0 + second.0, first.1 + second.1)
    }

    fn switched_sine(&self, t_s: f64) -> (f64, f64) {
        if t_s <= 0.0 {
            return (0.0, 0.0);
        }
        let omega = 2.0 * PI * self.frequency_hz;
        let drive = PI / self.blow_s;
        let (stiff, lossy) = (omega * omega - drive * drive, 2.0 * self.damping * omega * drive);
        let size = stiff * stiff + lossy * lossy;
        let (real, imaginary) = (stiff / size, -lossy / size);
        let (sin, cos) = (drive * t_s).sin_cos();
        let (steady, steady_rate) = (real * sin + imaginary * cos, drive * (real * cos - imaginary * sin));
        let decay = self.damping * omega;
        let damped = omega * (1.0 - self.damping * self.damping).sqrt();
        let (a, b) = (-imaginary, -(decay * imaginary + drive * real) / damped);
        let (s, c) = (damped * t_s).sin_cos();
        let fade = (-decay * t_s).exp();
        let free = fade * (a * c + b * s);
        let free_rate = -decay * free + fade * damped * (b * c - a * s);
        let (x, rate) = (steady + free, steady_rate + free_rate);
        (rate, sin - 2.0 * decay * rate - omega * omega * x)
    }

    /// What it adds to an IMU at the knob: angular rate (rad/s) and specific force (m/s²), both in B.
    pub fn at(&self, t_s: f64) -> (Vector3<f64>, Vector3<f64>) {
        let (rate_s, accel) = self.response(t_s);
        let turn_b = Vector3::z().cross(&self.direction_b);
        (turn_b * (self.slope_radps2 * rate_s), self.direction_b * (self.accel_mps2 * accel))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn uniform_rod() -> Bat {
        let (length_m, mass_kg) = (0.9, 0.8);
        let centre = length_m / 2.0;
        let moi_knob6_kgm2 = mass_kg * (length_m * length_m / 12.0 + (centre - HANDS_FROM_KNOB_M).powi(2));
        Bat { length_m, mass_kg, balance_m: centre, moi_knob6_kgm2, sweet_spot_m: 0.7, barrel_diameter_m: 0.066 }
    }

    /// Official Baseball Rules 3.01: a ball weighs 5 to 5¼ ounces and is 9 to 9¼ inches in circumference.
    #[test]
    fn official_baseball_rules_3_01_ball() {
        const OUNCE_KG: f64 = 0.028349523125;
        assert!((5.0 * OUNCE_KG..=5.25 * OUNCE_KG).contains(&BALL_MASS_KG));
        assert!((9.0 * 0.0254..=9.25 * 0.0254).contains(&(2.0 * PI * BALL_RADIUS_M)));
    }

    /// A free uniform rod struck at d from its centre turns, at first, about the point L²/(12 d) on the other side
    /// (Goldstein, *Classical Mechanics*, exercises on the centre of percussion; any textbook).
    #[test]
    fn centre_of_percussion_of_a_free_rod() {
        let rod = uniform_rod();
        for d in [0.1, 0.2, 0.3, 0.45] {
            let axis = Vector3::new(0.6, 0.0, 0.8);
            let change = BlowChange::of_impulse(&rod, axis, Vector3::y() * -9.0, rod.balance_m + d);
            let still_m = rod.balance_m - rod.length_m.powi(2) / (12.0 * d);
            assert!(change.velocity_mps(&rod, axis, still_m).norm() < 1e-12);
            assert!(change.velocity_mps(&rod, axis, still_m + 0.1).norm() > 1.0);
        }
    }

    /// Momentum and restitution, the two equations that the impulse comes from.
    #[test]
    fn struck_ball_leaves_with_the_coefficient_of_restitution() {
        let bat = Bat { balance_m: 0.56, ..uniform_rod() };
        let (axis, normal) = (Vector3::z(), Vector3::x());
        let (closing, e, at) = (60.0, 0.5, 0.71);
        let j = impulse_ns(&bat, at, closing, e);
        let bat_change = BlowChange::of_impulse(&bat, axis, normal * -j, at).velocity_mps(&bat, axis, at).dot(&normal);
        let ball_change = j / BALL_MASS_KG;
        assert!((closing - ball_change + bat_change + e * closing).abs() < 1e-9);
    }

    /// Nodes of the lowest free-free mode at 0.2242 of the length from the ends (Blevins 1979, table 8-1).
    #[test]
    fn lowest_mode_has_its_node_where_the_textbook_says() {
        assert!(mode_shape(MODES[0], 0.2242).abs() < 1e-3 && (mode_shape(MODES[0], 0.0) - 2.0).abs() < 1e-9);
        assert!(mode_shape(MODES[1], 0.5).abs() < 1e-3);
    }

    #[test]
    fn ringing_solves_its_equation_of_motion() {
        let ring = Ringing::of_blow(
            &uniform_rod(),
            0.0,
            1.2e-3,
            Vector3::x() * 10.0,
            0.8,
            [(180.0, 0.03), (600.0, 0.03)],
            1.0,
        );
        for mode in ring {
            // Semi-implicit Euler with 0.1 µs steps errs by about ω²·dt·t < 2 % of the peak at most.
            let (mut x, mut v, dt) = (0.0, 0.0, 1e-7);
            let omega = 2.0 * PI * mode.frequency_hz;
            let mut worst: f64 = 0.0;
            let mut peak: f64 = 0.0;
            for i in 0..100_000u32 {
                let t = f64::from(i) * dt;
                let force = if t < mode.blow_s { (PI * t / mode.blow_s).sin() } else { 0.0 };
                v += dt * (force - 2.0 * mode.damping * omega * v - omega * omega * x);
                x += dt * v;
                worst = worst.max((mode.response(t + dt).0 - v).abs());
                peak = peak.max(v.abs());
            }
            assert!(worst < 0.01 * peak, "{worst} of {peak}");
        }
    }
}
