//! The timing window on a swing's curves: where on the bat's own path contact would still be square.
//!
//! Curves hold places and no velocities, and are kept rounded. So the motion is made anew from them: the bat's axis is the
//! direction from hands to sweet spot, rates are slopes, and the means by which the path is carried on come from the way
//! of hands and axis over their 5 ms. The roll about the axis is in no curve; it is told. Of that motion the window is
//! found as it is of the measured one. Over simulated swings its span agrees with `timing_window_ms` within 2 %: held by
//! `physics::timing_window`.

use super::series::{interval, slope};
use super::timing_window::{CARRY_MEAN_S, CARRY_S, Carry, Meeting, Shifts};
use super::traces::Stretch;
use super::{BatMotion, BatState, HANDS_FROM_KNOB_M};
use crate::engine::profile::SwingContext;
use crate::engine::swing::Curves;
use nalgebra::Vector3;

/// Nearer than this to 0 a time is contact, s.
const CONTACT_S: f64 = 1e-9;
/// Shorter than this from hands to sweet spot there is no bat, m.
const SHORTEST_M: f64 = 0.05;
/// Fewer points than this are no motion.
const FEWEST: usize = 3;

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
    let motion = motion_of(curves, met_ball)?;
    let stretch = Stretch::of(&motion)?;
    let carry = carry(&stretch, roll_rate_radps)?;
    let meeting = Meeting::along(&stretch, Vector3::x(), sweet_spot_m(curves, motion.contact)?, context, carry)?;
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
        let motion = motion_of(curves, true)?;
        let stretch = Stretch::of(&motion)?;
        let carry = carry(&stretch, 0.0)?;
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

/// By the places of the last 5 ms. The turn, the integral of u × du and of the roll along u, is summed over the chords of the axis, so
/// that the noise of places enters at its two ends alone. `None` if the motion does not reach back as far.
fn carry(stretch: &Stretch, roll_rate_radps: f64) -> Option<Carry> {
    let (times_s, states) = (stretch.times_to_contact_s(), stretch.states);
    if times_s[0] > -CARRY_MEAN_S {
        return None;
    }
    let first = interval(times_s, -CARRY_MEAN_S);
    let part = (-CARRY_MEAN_S - times_s[first]) / (times_s[first + 1] - times_s[first]);
    let between = |of: fn(&BatState) -> Vector3<f64>| of(&states[first]).lerp(&of(&states[first + 1]), part);
    let way_hands_w_m = stretch.at_contact().hands_w_m - between(|state| state.hands_w_m);
    let later = times_s.iter().zip(states).skip(first + 1).map(|(time_s, state)| (*time_s, state.axis_w));
    let start = (-CARRY_MEAN_S, between(|state| state.axis_w).normalize());
    let axes_w: Vec<(f64, Vector3<f64>)> = std::iter::once(start).chain(later).collect();
    let mut turn_w_rad = Vector3::zeros();
    for ((from_s, from_w), (to_s, to_w)) in axes_w.iter().zip(&axes_w[1..]) {
        turn_w_rad += from_w.cross(to_w) + (from_w + to_w) * (0.5 * (to_s - from_s) * roll_rate_radps);
    }
    Some(Carry { velocity_hands_w_mps: way_hands_w_m / CARRY_MEAN_S, omega_w_radps: turn_w_rad / CARRY_MEAN_S })
}

fn motion_of(curves: &Curves, ball: bool) -> Option<BatMotion> {
    let Curves { times_s, sweet_spot_w_m, hands_w_m, .. } = curves;
    if sweet_spot_w_m.len() != times_s.len() || hands_w_m.len() != times_s.len() {
        return None;
    }
    let contact = times_s.iter().position(|t| t.abs() < CONTACT_S)?;
    let mut times_s = times_s.clone();
    times_s[contact] = 0.0;
    // Nothing is read across a blow: the slopes at contact are of what came before it.
    let end = if ball { contact + 1 } else { times_s.len() };
    let times_s = times_s.get(..end).filter(|times_s| times_s.len() >= FEWEST)?;
    let axis = |(sweet, hands): (&Vector3<f64>, &Vector3<f64>)| (sweet - hands).try_normalize(SHORTEST_M);
    let axes_w: Vec<_> = sweet_spot_w_m.iter().zip(hands_w_m).take(end).map(axis).collect::<Option<_>>()?;
    let state = |i: usize| {
        let axis_w: Vector3<f64> = axes_w[i];
        BatState {
            axis_w,
            omega_w_radps: axis_w.cross(&slope(times_s, &axes_w, i)),
            hands_w_m: hands_w_m[i],
            velocity_hands_w_mps: slope(times_s, &hands_w_m[..end], i),
        }
    };
    Some(BatMotion { times_s: times_s.to_vec(), states: (0..end).map(state).collect(), contact, ball })
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
            // The chords of 1 ms are shorter than their arcs by (40 rad/s · 1 ms)²/24 = 7e-5, angles than sines by 3e-4.
            assert!((found.window_s * 1e3 / expected_ms - 1.0).abs() < 1e-3, "{found:?} {expected_ms}");
            assert!(found.from_s < 0.0 && found.to_s > 0.0 && found.to_s < CARRY_S);
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
