//! The timing window on a swing's curves: where on the bat's own path contact would still be square.
//!
//! Curves hold places and no velocities, so the motion is made anew from them: the bat's axis is the direction from hands to
//! sweet spot, velocities are slopes of curves through five points. The roll about the axis is in no curve; it is told.
//! Of that motion the window is found as it is of the measured one. Over simulated swings its span agrees with
//! `timing_window_ms` within 2 %: held by `physics::timing_window`.

use super::timing_window::{CARRY_S, Carry, Meeting, Shifts};
use super::traces::Stretch;
use super::{BatMotion, BatState, HANDS_FROM_KNOB_M};
use crate::engine::profile::SwingContext;
use crate::engine::swing::Curves;
use nalgebra::Vector3;

/// Nearer than this to 0 a time is contact, s.
const CONTACT_S: f64 = 1e-9;
/// Slopes are of curves through five points about this far apart, s. Places are kept to 0.1 mm, which neighbours 1 ms apart
/// would turn into 3 % of some windows; points much farther apart smooth over the curves of sensors with 100 samples a
/// second. Chosen on the swings of `physics::timing_window`.
const SLOPE_S: f64 = 0.0035;
/// Points of a slope.
const POINTS: usize = 5;
/// Shorter than this from hands to sweet spot there is no bat, m.
const SHORTEST_M: f64 = 0.05;

/// Where contact would still be square.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SquareStretch {
    /// The first of the bat's own times, s from contact; negative: the swing is late there.
    pub from_s: f64,
    /// The last; beyond the end of the curves of a swing that met a ball. The swing is early there.
    pub to_s: f64,
    /// How much earlier or later the swing could have been in all, s.
    pub window_s: f64,
}

/// The stretch of a swing with these curves against the pitch of `context`; `roll_rate_radps` is the bat's rate about its
/// own axis at contact (right-handed from knob to tip). `met_ball` tells whether the path after contact is carried on or
/// the measured one. `None` where the swing has no window.
pub fn square_stretch(
    curves: &Curves,
    roll_rate_radps: f64,
    context: &SwingContext,
    met_ball: bool,
) -> Option<SquareStretch> {
    let motion = motion_of(curves, roll_rate_radps, met_ball)?;
    let stretch = Stretch::of(&motion)?;
    let meeting = Meeting::new(&stretch, sweet_spot_m(curves, motion.contact)?, context)?;
    let mut shifts = Shifts::default();
    let window_s = shifts.span_s(&meeting)?;
    let (from_s, to_s) = shifts.times_s()?;
    Some(SquareStretch { from_s, to_s, window_s })
}

/// Sweet spot and hands of a swing that met a ball as if it went on, at times after contact up to 30 ms: the hands with
/// their mean velocity of the last 5 ms, the bat with the mean of its angular velocity, its roll left out (a roll of
/// 30 rad/s at 40 rad/s takes the sweet spot 8 mm aside in 5 ms). Other times, and curves that are no motion, give none.
pub fn carried_on(curves: &Curves, times_s: &[f64]) -> Vec<(Vector3<f64>, Vector3<f64>)> {
    let poses = || {
        let motion = motion_of(curves, 0.0, true)?;
        let stretch = Stretch::of(&motion)?;
        let carry = Carry::of(&stretch)?;
        let beyond_hands_m = sweet_spot_m(curves, motion.contact)? - HANDS_FROM_KNOB_M;
        let carried = times_s.iter().filter(|t| (0.0..=CARRY_S + CONTACT_S).contains(*t));
        let poses = carried.map(|&t| carry.pose(&stretch, t));
        Some(poses.map(|(hands_w_m, axis_w)| (hands_w_m + axis_w * beyond_hands_m, hands_w_m)).collect())
    };
    poses().unwrap_or_default()
}

/// From the knob end, m.
fn sweet_spot_m(curves: &Curves, contact: usize) -> Option<f64> {
    let length_m = (curves.sweet_spot_w_m.get(contact)? - curves.hands_w_m.get(contact)?).norm();
    Some(HANDS_FROM_KNOB_M + length_m)
}

fn motion_of(curves: &Curves, roll_rate_radps: f64, ball: bool) -> Option<BatMotion> {
    let Curves { times_s, sweet_spot_w_m, hands_w_m, .. } = curves;
    if times_s.len() < POINTS || sweet_spot_w_m.len() != times_s.len() || hands_w_m.len() != times_s.len() {
        return None;
    }
    let contact = times_s.iter().position(|t| t.abs() < CONTACT_S)?;
    let mut times_s = times_s.clone();
    times_s[contact] = 0.0;
    // Nothing is read across a blow: the slopes at contact are of what came before it.
    let end = if ball { contact + 1 } else { times_s.len() };
    let times_s = times_s.get(..end).filter(|times_s| times_s.len() >= POINTS)?;
    let step_s = (times_s[end - 1] - times_s[0]) / (end - 1) as f64;
    let apart = ((SLOPE_S / step_s).round() as usize).clamp(1, (end - 1) / (POINTS - 1));
    let axis = |(sweet, hands): (&Vector3<f64>, &Vector3<f64>)| (sweet - hands).try_normalize(SHORTEST_M);
    let axes_w: Vec<_> = sweet_spot_w_m.iter().zip(hands_w_m).take(end).map(axis).collect::<Option<_>>()?;
    let state = |i: usize| {
        let axis_w: Vector3<f64> = axes_w[i];
        let omega_across_w_radps = axis_w.cross(&slope(times_s, &axes_w, i, apart));
        BatState {
            axis_w,
            omega_w_radps: omega_across_w_radps + axis_w * roll_rate_radps,
            hands_w_m: hands_w_m[i],
            velocity_hands_w_mps: slope(times_s, hands_w_m, i, apart),
        }
    };
    let states = (0..end).map(state).collect();
    Some(BatMotion { times_s: times_s.to_vec(), states, contact, ball })
}

/// The derivative at `times_s[i]` of the polynomial through that point and the nearest others `apart` places from one
/// another (Lagrange's form). Needs as many values as times, and enough of both.
fn slope(times_s: &[f64], values: &[Vector3<f64>], i: usize, apart: usize) -> Vector3<f64> {
    let before = (i / apart).min(POINTS / 2);
    let after = (times_s.len() - 1 - i) / apart;
    let before = before.max((POINTS - 1).saturating_sub(after)).min(i / apart);
    let places: [usize; POINTS] =
        std::array::from_fn(|k| (i + k * apart).saturating_sub(before * apart).min(times_s.len() - 1));
    let t = places.map(|place| times_s[place]);
    let weight = |j: usize| -> f64 {
        let others = |skipped: usize| (0..POINTS).filter(move |&l| l != j && l != skipped);
        let part = |m: usize| others(m).map(|l| (times_s[i] - t[l]) / (t[j] - t[l])).product::<f64>() / (t[j] - t[m]);
        others(j).map(part).sum()
    };
    places.iter().enumerate().map(|(j, &place)| values[place] * weight(j)).sum()
}

#[cfg(test)]
mod tests {
    use super::super::known::{BAT, USUAL, context, usual_swing};
    use super::super::{Metric, curves, evaluate};
    use super::*;

    #[test]
    fn a_known_turn_has_the_window_of_its_motion() {
        let dry = USUAL.motion((-0.3, 0.3, 1000.0), false, |t| (40.0 * t, 40.0));
        for motion in [usual_swing(1000.0), dry] {
            let expected_ms = evaluate(&motion, &BAT, &context()).of(Metric::TimingWindow).unwrap();
            let contact = &motion.states[motion.contact];
            let roll_rate_radps = contact.omega_w_radps.dot(&contact.axis_w);
            let found = square_stretch(&curves(&motion, &BAT), roll_rate_radps, &context(), motion.ball).unwrap();
            // At contact the slopes err by (40 rad/s · 4 ms)⁴/5 = 1.3e-4.
            assert!((found.window_s * 1e3 / expected_ms - 1.0).abs() < 1e-3, "{found:?} {expected_ms}");
            assert!(found.from_s < 0.0 && found.to_s > 0.0 && found.to_s < CARRY_S);
        }
    }

    #[test]
    fn slopes_of_a_quartic_are_exact_everywhere() {
        let times_s: Vec<f64> = (0..14).map(|k| 0.1 * f64::from(k) + 0.01 * f64::from(k % 3)).collect();
        let values: Vec<_> = times_s.iter().map(|t| Vector3::new(t.powi(4), 1.0 - t, t * t)).collect();
        for apart in 1..=3 {
            for (i, t) in times_s.iter().enumerate() {
                let error = slope(&times_s, &values, i, apart) - Vector3::new(4.0 * t.powi(3), -1.0, 2.0 * t);
                assert!(error.norm() < 1e-10, "{apart} {i} {error}");
            }
        }
    }

    #[test]
    fn the_way_carried_on_is_the_one_the_window_is_found_on() {
        let motion = usual_swing(1000.0);
        let curves = curves(&motion, &BAT);
        let carried = carried_on(&curves, &[-0.01, 0.0, 0.01, 0.031, f64::NAN]);
        assert_eq!(carried.len(), 2);
        let (sweet_w_m, hands_w_m) = carried[0];
        assert!(sweet_w_m.norm() < 1e-12 && (hands_w_m - curves.hands_w_m.last().unwrap()).norm() < 1e-12);
        // Turned by 40 rad/s · 10 ms about the turn's axis through hands that go straight on.
        let turned = nalgebra::Rotation3::from_axis_angle(&USUAL.about(), 0.4);
        let axis_w = turned * motion.states.last().unwrap().axis_w;
        let (sweet_w_m, hands_w_m) = carried[1];
        assert!((sweet_w_m - hands_w_m - axis_w * (BAT.sweet_spot_m - HANDS_FROM_KNOB_M)).norm() < 0.01);
        let speed_mps = (hands_w_m - curves.hands_w_m.last().unwrap()).norm() / 0.01;
        assert!(
            (speed_mps - USUAL.hands_m * USUAL.about().cross(&motion.states[700].axis_w).norm() * 40.0).abs() < 0.2
        );
    }

    #[test]
    fn curves_that_are_no_motion_have_none() {
        let good = curves(&usual_swing(1000.0), &BAT);
        let found = |change: fn(&mut Curves)| {
            let mut curves = good.clone();
            change(&mut curves);
            (square_stretch(&curves, 0.0, &context(), true), carried_on(&curves, &[0.01]).len())
        };
        assert_eq!(found(|curves| curves.times_s.clear()), (None, 0));
        assert_eq!(found(|curves| curves.hands_w_m.truncate(5)), (None, 0));
        assert_eq!(found(|curves| curves.hands_w_m[40].x = f64::NAN), (None, 0));
        assert_eq!(found(|curves| curves.sweet_spot_w_m = curves.hands_w_m.clone()), (None, 0));
        assert_eq!(found(|curves| curves.times_s.iter_mut().for_each(|t| *t -= 0.5)), (None, 0));
        assert_eq!(found(|curves| curves.times_s[9] = f64::INFINITY), (None, 0));
        assert_eq!(square_stretch(&good, f64::NAN, &context(), true), None);
        let tee = SwingContext { pitch_speed_mps: 0.0, ..context() };
        assert_eq!(square_stretch(&good, 0.0, &tee, true), None);
    }
}
