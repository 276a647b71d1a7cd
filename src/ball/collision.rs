//! Bat and ball: how fast a ball leaves that was met squarely at the sweet spot.
//!
//! A. M. Nathan, "Characterizing the performance of baseball bats", *Am. J. Phys.* 71, 134 (2003). The bat is a free rigid body for
//! the millisecond of the blow; what it loses by bending and what a hollow barrel gives back are in e. A ball met off the axis or
//! off the sweet spot leaves slower.

use super::Bounds;
use super::kind::Kind;

/// The pivot of ASTM F2398, from the knob's end: 6 in.
const PIVOT_FROM_KNOB_M: f64 = 0.1524;
/// Half the width of a 95 % interval in standard deviations (normal distribution).
const HALF_WIDTH_95: f64 = 1.96;

/// What has to be known of a bat. Lengths are from the knob's end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BatBody {
    /// Mass, kg.
    pub mass_kg: f64,
    /// Centre of mass, m.
    pub balance_m: f64,
    /// Moment of inertia about the pivot 6 in from the knob's end, kg·m².
    pub moi_knob6_kgm2: f64,
    /// Where the ball is met, m.
    pub sweet_spot_m: f64,
}

impl BatBody {
    /// Moment of inertia about the centre of mass, by the parallel-axis theorem, kg·m². `None`: there is no such body.
    pub fn moi_centre_kgm2(&self) -> Option<f64> {
        let arm_m = self.balance_m - PIVOT_FROM_KNOB_M;
        let moi_kgm2 = self.moi_knob6_kgm2 - self.mass_kg * arm_m * arm_m;
        (self.mass_kg > 0.0 && moi_kgm2.is_finite() && moi_kgm2 > 0.0).then_some(moi_kgm2)
    }

    /// Mass that the ball meets at the sweet spot: 1/m_eff = 1/M + b²/I, kg.
    pub fn effective_mass_kg(&self) -> Option<f64> {
        let arm_m = self.sweet_spot_m - self.balance_m;
        let inverse = 1.0 / self.mass_kg + arm_m * arm_m / self.moi_centre_kgm2()?;
        Some(1.0 / inverse).filter(|mass_kg| mass_kg.is_finite() && *mass_kg > 0.0)
    }

    /// Collision efficiency against a ball of a kind, whatever its mass and restitution within their ranges. `None`: there is
    /// no such bat, or one so light that the ball would not come back.
    pub fn q(&self, kind: Kind) -> Option<Bounds> {
        let bat_kg = self.effective_mass_kg()?;
        let (ball_kg, restitution) = (kind.mass_kg(), kind.restitution());
        let q = Bounds {
            low: collision_efficiency(restitution.low, ball_kg.high / bat_kg),
            high: collision_efficiency(restitution.high, ball_kg.low / bat_kg),
        };
        (q.is_sound() && q.low > -1.0 && q.high > 0.0).then_some(q)
    }
}

/// q = (e − r) / (1 + r), where r is the ball's mass over the bat's effective mass.
pub fn collision_efficiency(restitution: f64, recoil: f64) -> f64 {
    (restitution - recoil) / (1.0 + recoil)
}

/// v = q·v_pitch + (1 + q)·v_bat, m/s.
pub fn exit_speed_mps(q: f64, pitch_speed_mps: f64, bat_speed_mps: f64) -> f64 {
    q * pitch_speed_mps + (1.0 + q) * bat_speed_mps
}

/// Exit speeds over all of q and the 95 % interval of bat speed, m/s; none is below 0. `None`: something is not a number, or
/// negative where it cannot be.
pub fn exit_speeds_mps(
    q: Bounds,
    pitch_speed_mps: f64,
    bat_speed_mps: f64,
    bat_speed_sigma_mps: f64,
) -> Option<Bounds> {
    let half_width_mps = HALF_WIDTH_95 * bat_speed_sigma_mps;
    if !(pitch_speed_mps >= 0.0 && bat_speed_mps >= 0.0 && half_width_mps >= 0.0 && q.low > -1.0) {
        return None;
    }
    let slowest_mps = (bat_speed_mps - half_width_mps).max(0.0);
    let speeds = Bounds {
        low: exit_speed_mps(q.low, pitch_speed_mps, slowest_mps).max(0.0),
        high: exit_speed_mps(q.high, pitch_speed_mps, bat_speed_mps + half_width_mps),
    };
    speeds.is_sound().then_some(speeds)
}

#[cfg(test)]
mod tests {
    use super::*;

    const MPH: f64 = 0.44704;

    /// A wood bat of 34 in and 31 oz, invented.
    const WOOD: BatBody = BatBody { mass_kg: 0.88, balance_m: 0.575, moi_knob6_kgm2: 0.205, sweet_spot_m: 0.711 };
    /// A bat of 29 in and 18 oz for a child, invented.
    const LIGHT: BatBody = BatBody { mass_kg: 0.51, balance_m: 0.46, moi_knob6_kgm2: 0.082, sweet_spot_m: 0.584 };

    /// Laboratory certification of bats: a ball at 70 mph, a bat at 66 mph, an exit speed of 97 mph (National Collegiate
    /// Athletic Association, 1999; q = exit-speed ratio − ½). (97 − 66) / (70 + 66) = 31/136 = 0.2279.
    #[test]
    fn certification_1999_70_and_66_mph_give_97_at_q_0_228() {
        let q = (97.0 - 66.0) / (70.0 + 66.0);
        assert!((q - 0.228f64).abs() < 5e-4, "{q}");
        // q rounded to three digits moves the speed by at most 0.0005 · 136 mph.
        let speed_mph = exit_speed_mps(0.228, 70.0 * MPH, 66.0 * MPH) / MPH;
        assert!((speed_mph - 97.0).abs() <= 0.0005 * 136.0, "{speed_mph}");
    }

    /// Worked out in W. Harris, "How the Physics of Baseball Works", HowStuffWorks, page 8.
    #[test]
    fn worked_examples_of_94_mph_against_70() {
        for (q, expected_mph) in [(0.2, 102.8), (0.23, 107.72)] {
            let speed_mph = exit_speed_mps(q, 94.0 * MPH, 70.0 * MPH) / MPH;
            assert!((speed_mph - expected_mph).abs() < 1e-9, "{speed_mph}");
        }
    }

    /// A ball that rebounds with e = ½ from something four times as heavy: (0.5 − 0.25) / 1.25 (Nathan 2003 takes about these
    /// for a usual bat, from memory).
    #[test]
    fn nathan_2003_half_and_a_quarter_give_a_fifth() {
        assert!((collision_efficiency(0.5, 0.25) - 0.2).abs() < 1e-15);
        assert!((collision_efficiency(0.5, 0.0) - 0.5).abs() < 1e-15, "an immovable wall gives e back");
        assert!((collision_efficiency(1.0, 1.0)).abs() < 1e-15, "equal masses exchange their speeds");
    }

    /// Ball, then bat (speed of the centre of mass, angular rate), after a blow of `impulse_ns` at the sweet spot.
    struct After {
        ball_mps: f64,
        centre_mps: f64,
        omega_radps: f64,
        spot_mps: f64,
    }

    fn after(bat: &BatBody, ball_kg: f64, before: &After, impulse_ns: f64) -> After {
        let arm_m = bat.sweet_spot_m - bat.balance_m;
        let centre_mps = before.centre_mps - impulse_ns / bat.mass_kg;
        let omega_radps = before.omega_radps - impulse_ns * arm_m / bat.moi_centre_kgm2().unwrap();
        let spot_mps = centre_mps + omega_radps * arm_m;
        After { ball_mps: before.ball_mps + impulse_ns / ball_kg, centre_mps, omega_radps, spot_mps }
    }

    /// An independent way: a free rigid bat and a ball, a small impulse after the other, until the spot and the ball part with e
    /// times the speed they met with. Steps of 10⁻⁵ of the whole leave the ball's speed uncertain by one step's worth.
    #[test]
    fn impulse_by_impulse_the_ball_leaves_as_the_formula_says() {
        let (ball_kg, restitution, pitch_mps) = (0.145, 0.49, 35.0);
        for bat in [WOOD, LIGHT] {
            let arm_m = bat.sweet_spot_m - bat.balance_m;
            let (centre_mps, omega_radps) = (18.0, 40.0);
            let spot_mps = centre_mps + omega_radps * arm_m;
            let start = After { ball_mps: -pitch_mps, centre_mps, omega_radps, spot_mps };
            let closing_mps = spot_mps + pitch_mps;
            let step_ns = 1e-5 * ball_kg * 2.0 * closing_mps;
            let parted = (1..)
                .map(|k| after(&bat, ball_kg, &start, f64::from(k) * step_ns))
                .find(|now| now.ball_mps - now.spot_mps >= restitution * closing_mps);
            let parted = parted.unwrap();
            let recoil = ball_kg / bat.effective_mass_kg().unwrap();
            let expected_mps = exit_speed_mps(collision_efficiency(restitution, recoil), pitch_mps, spot_mps);
            assert!((parted.ball_mps - expected_mps).abs() <= step_ns / ball_kg, "{} {expected_mps}", parted.ball_mps);
        }
    }

    /// Momentum and angular momentum are kept, and with e = 1 energy too: with the exit speed of the formula the impulse is
    /// known, and with it all that the bat does.
    #[test]
    fn momentum_is_kept_and_without_loss_energy_too() {
        let (ball_kg, pitch_mps) = (0.145, 30.0);
        let arm_m = WOOD.sweet_spot_m - WOOD.balance_m;
        let moi_kgm2 = WOOD.moi_centre_kgm2().unwrap();
        let energy_j = |at: &After| {
            0.5 * (ball_kg * at.ball_mps.powi(2)
                + WOOD.mass_kg * at.centre_mps.powi(2)
                + moi_kgm2 * at.omega_radps.powi(2))
        };
        let start = After { ball_mps: -pitch_mps, centre_mps: 20.0, omega_radps: 45.0, spot_mps: 20.0 + 45.0 * arm_m };
        let recoil = ball_kg / WOOD.effective_mass_kg().unwrap();
        for (restitution, is_lossless) in [(1.0, true), (0.5, false)] {
            let exit_mps = exit_speed_mps(collision_efficiency(restitution, recoil), pitch_mps, start.spot_mps);
            let end = after(&WOOD, ball_kg, &start, ball_kg * (exit_mps - start.ball_mps));
            let momentum = |at: &After| ball_kg * at.ball_mps + WOOD.mass_kg * at.centre_mps;
            let about_centre = |at: &After| ball_kg * at.ball_mps * arm_m + moi_kgm2 * at.omega_radps;
            assert!((momentum(&start) - momentum(&end)).abs() < 1e-12 * momentum(&start).abs());
            assert!((about_centre(&start) - about_centre(&end)).abs() < 1e-12 * about_centre(&start).abs());
            let parting = (end.ball_mps - end.spot_mps) / (start.spot_mps - start.ball_mps);
            assert!((parting - restitution).abs() < 1e-12, "{parting}");
            let kept = energy_j(&end) / energy_j(&start);
            assert!(if is_lossless { (kept - 1.0).abs() < 1e-12 } else { kept < 1.0 }, "{kept}");
        }
    }

    /// From a child's bat of 28 in to a heavy one of 34 in, invented: mass, balance point, moment of inertia, sweet spot.
    #[test]
    fn an_unknown_bat_has_the_q_of_every_usual_one() {
        let bats = [
            (0.48, 0.45, 0.076, 0.559),
            (0.51, 0.46, 0.082, 0.584),
            (0.60, 0.49, 0.107, 0.610),
            (0.68, 0.52, 0.140, 0.660),
            (0.79, 0.53, 0.168, 0.686),
            (0.85, 0.55, 0.185, 0.686),
            (0.88, 0.575, 0.205, 0.711),
        ];
        for kind in [Kind::Baseball, Kind::Softball] {
            let usual = kind.usual_q();
            for (mass_kg, balance_m, moi_knob6_kgm2, sweet_spot_m) in bats {
                let q = BatBody { mass_kg, balance_m, moi_knob6_kgm2, sweet_spot_m }.q(kind).unwrap();
                assert!(usual.low <= q.low && q.high <= usual.high, "{kind:?} {mass_kg}: {q:?}");
            }
        }
    }

    #[test]
    fn the_range_holds_all_of_q_and_95_percent_of_bat_speed() {
        let range = exit_speeds_mps(Bounds::new(0.15, 0.24), 30.0, 28.0, 0.5).unwrap();
        assert!((range.low - (0.15 * 30.0 + 1.15 * (28.0 - 0.98))).abs() < 1e-12);
        assert!((range.high - (0.24 * 30.0 + 1.24 * (28.0 + 0.98))).abs() < 1e-12);
    }

    #[test]
    fn what_cannot_be_has_no_answer() {
        for wrong in [f64::NAN, f64::INFINITY, -1.0, 0.0] {
            assert_eq!(BatBody { mass_kg: wrong, ..WOOD }.q(Kind::Baseball), None, "{wrong}");
            assert_eq!(BatBody { moi_knob6_kgm2: wrong, ..WOOD }.q(Kind::Baseball), None, "{wrong}");
        }
        assert_eq!(BatBody { balance_m: f64::NAN, ..WOOD }.q(Kind::Baseball), None);
        assert_eq!(BatBody { sweet_spot_m: f64::INFINITY, ..WOOD }.q(Kind::Baseball), None);
        // About the pivot it would have less than about its centre of mass.
        assert_eq!(BatBody { balance_m: 0.8, ..WOOD }.q(Kind::Baseball), None);
        let q = Bounds::new(0.15, 0.24);
        for wrong in [f64::NAN, f64::INFINITY, -1.0] {
            assert_eq!(exit_speeds_mps(q, wrong, 28.0, 0.5), None);
            assert_eq!(exit_speeds_mps(q, 30.0, wrong, 0.5), None);
            assert_eq!(exit_speeds_mps(q, 30.0, 28.0, wrong), None);
        }
        assert_eq!(exit_speeds_mps(Bounds::exactly(f64::NAN), 30.0, 28.0, 0.5), None);
    }
}
