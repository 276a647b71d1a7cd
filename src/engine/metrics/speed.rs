//! Speeds and turn rates, and when they were reached.

use super::evaluate::Values;
use super::series::{last_below, peak};
use super::traces::{Stretch, Traces};
use super::{BatState, Metric};

/// Share of the contact speed from which on the speed counts as built.
const BUILT_SHARE: f64 = 0.90;

/// What the state at contact alone tells.
pub(super) fn at_contact(state: &BatState, sweet_spot_m: f64, values: &mut Values) {
    values.set(Metric::BatSpeed, state.velocity_w_mps(sweet_spot_m).norm());
    values.set(Metric::HandSpeedAtContact, state.velocity_hands_w_mps.norm());
    values.set(Metric::RollRate, state.omega_w_radps.dot(&state.axis_w).to_degrees());
}

/// The last instant before contact at which the sweet spot was below 90 % of its contact speed; absent where the motion
/// does not reach back that far.
pub(super) fn built(stretch: &Stretch, traces: &Traces, values: &mut Values) {
    let speed_mps = &traces.bat_speed_mps[..=stretch.contact];
    let level_mps = BUILT_SHARE * speed_mps[stretch.contact];
    if let Some(time_s) = last_below(stretch.times_to_contact_s(), speed_mps, level_mps) {
        values.set(Metric::SpeedBuilt, -time_s * 1e3);
    }
}

/// The greatest values from start to contact.
pub(super) fn peaks(stretch: &Stretch, traces: &Traces, start_s: f64, values: &mut Values) {
    let since_start = |trace: &[f64]| peak(stretch.times_to_contact_s(), &trace[..=stretch.contact], start_s);
    let bat = since_start(&traces.bat_speed_mps);
    values.set(Metric::PeakBatSpeed, bat.value);
    values.set(Metric::PeakLead, 0.0 - bat.time_s * 1e3);
    values.set(Metric::HandSpeed, since_start(&traces.hand_speed_mps).value);
    values.set(Metric::TurnRate, since_start(&traces.turn_rate_radps).value.to_degrees());
}
