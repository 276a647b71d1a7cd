//! A motion checked and cut to the stretch that is read, with the speeds every metric needs.

use super::motion::{BatMotion, BatState};
use nalgebra::Vector3;

/// Nothing earlier than this before contact is read, s.
const LONGEST_BEFORE_S: f64 = 2.0;
/// Nothing later than this after contact is read, s.
const LONGEST_AFTER_S: f64 = 0.5;
/// Anything larger, in any SI unit, is no bat's motion; it keeps squares and products finite.
const LARGEST: f64 = 1e9;
/// Fewer states than this up to contact are no motion.
const FEWEST: usize = 3;

/// The checked part of a motion: at least three states up to contact, all finite, times strictly increasing. What comes
/// after contact is kept only for a swing that met nothing.
#[derive(Clone, Copy)]
pub(super) struct Stretch<'a> {
    pub(super) times_s: &'a [f64],
    pub(super) states: &'a [BatState],
    pub(super) contact: usize,
    pub(super) ball: bool,
}

impl<'a> Stretch<'a> {
    pub(super) fn of(motion: &'a BatMotion) -> Option<Self> {
        let BatMotion { times_s, states, contact, ball } = motion;
        if times_s.len() != states.len() || *times_s.get(*contact)? != 0.0 {
            return None;
        }
        let first = times_s[..*contact].partition_point(|&t| t < -LONGEST_BEFORE_S);
        let end = if *ball { contact + 1 } else { times_s.partition_point(|&t| t <= LONGEST_AFTER_S) };
        let times_s = times_s.get(first..end)?;
        let states = states.get(first..end)?;
        let contact = contact.checked_sub(first)?;
        let sound = contact + 1 >= FEWEST
            && times_s.iter().all(|t| t.is_finite())
            && times_s.windows(2).all(|pair| pair[0] < pair[1])
            && states.iter().all(is_sound);
        sound.then_some(Self { times_s, states, contact, ball: *ball })
    }

    /// The state just before contact.
    pub(super) fn at_contact(&self) -> &'a BatState {
        &self.states[self.contact]
    }

    /// Times up to and with contact.
    pub(super) fn times_to_contact_s(&self) -> &'a [f64] {
        &self.times_s[..=self.contact]
    }
}

fn is_sound(state: &BatState) -> bool {
    let BatState { axis_w, omega_w_radps, hands_w_m, velocity_hands_w_mps } = state;
    let within = |v: &Vector3<f64>| v.iter().all(|c| c.abs() < LARGEST);
    (axis_w.norm_squared() - 1.0).abs() < 1e-3
        && within(omega_w_radps)
        && within(hands_w_m)
        && within(velocity_hands_w_mps)
}

/// One value a state of a [`Stretch`].
#[derive(Clone, Debug, Default)]
pub(super) struct Traces {
    pub(super) bat_speed_mps: Vec<f64>,
    pub(super) hand_speed_mps: Vec<f64>,
    pub(super) turn_rate_radps: Vec<f64>,
}

impl Traces {
    pub(super) fn fill(&mut self, stretch: &Stretch, sweet_spot_m: f64) {
        refill(&mut self.bat_speed_mps, stretch, |s| s.velocity_w_mps(sweet_spot_m).norm());
        refill(&mut self.hand_speed_mps, stretch, |s| s.velocity_hands_w_mps.norm());
        refill(&mut self.turn_rate_radps, stretch, BatState::omega_across_radps);
    }
}

fn refill(trace: &mut Vec<f64>, stretch: &Stretch, value: impl Fn(&BatState) -> f64) {
    trace.clear();
    trace.extend(stretch.states.iter().map(value));
}
