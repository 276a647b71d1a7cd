//! How a check stands, in words and numbers.

use super::routines::title;
use crate::daemon::api::checks::{AimFound, CheckState, MountFoundOut, PendulumFound, Step, StillFound, Verdict};
use crate::daemon::page::setup::fields;
use crate::daemon::store::rows;
use crate::report::words::{HALF_WIDTH_95, Units, decimals, rounded};
use maud::{Markup, html};
use serde_json::json;
use std::f64::consts::TAU;

/// What is stored already.
pub struct Kept<'a> {
    /// Mounts of the sensor.
    pub mounts: &'a [rows::Mount],
    /// Aims with it.
    pub aims: &'a [rows::Aim],
}

/// A check, or that there is none. `data-done` ends the asking.
pub fn drawn(state: Option<&CheckState>, kept: &Kept, units: Units) -> Markup {
    let Some(state) = state else {
        return html! { p.faint data-done { "No check is under way." } };
    };
    html! {
        section.card data-done[state.step == Step::Done] {
            h3 { (title(state.kind)) }
            @if state.step == Step::Done { (over(state, kept, units)) } @else { (under_way(state)) }
        }
    }
}

fn under_way(state: &CheckState) -> Markup {
    let degrees = state.angle_rad.map(|angle| rounded(angle.to_degrees(), 0)).unwrap_or_default();
    let words = match state.step {
        Step::Waiting => "Waiting for the sensor.".to_owned(),
        Step::Moving => "It moves. Lay it down and leave it alone.".to_owned(),
        Step::Standing => "It stands still. Leave it alone.".to_owned(),
        Step::Stand => "Stand the bat on its barrel end, knob up, and keep it still.".to_owned(),
        Step::Roll => "Now roll it about its own axis, upright, one way and then back.".to_owned(),
        Step::Hang => "Draw the barrel aside and let it go.".to_owned(),
        Step::Swing => "It swings. Do not touch it.".to_owned(),
        Step::Amplitude => format!("It swings to {degrees}°. Let it go from 15° to 30°."),
        Step::Hold => "Hold the bat out level toward the pitcher, and keep it still.".to_owned(),
        Step::Level => format!("It is still, but the barrel is at {degrees}°. Hold it level."),
        Step::Done => String::new(),
    };
    html! {
        @if !state.is_connected {
            p.care { "The sensor is not connected. Wake it by moving it; then begin again if nothing comes." }
        }
        p.came { (words) }
        @if let (Some(so_far), Some(needed)) = (state.so_far, state.needed) {
            p { (counted(state.step, so_far.min(needed), needed)) }
            progress aria-label="How far it is" max=(needed) value=(so_far.min(needed)) {}
        }
    }
}

fn counted(step: Step, so_far: f64, needed: f64) -> String {
    match step {
        Step::Roll => format!("{:.1} of {:.1} turns, each way", so_far / TAU, needed / TAU),
        Step::Swing => format!("{so_far:.0} of {needed:.0} half swings"),
        _ => format!("{so_far:.1} of {needed:.1} s"),
    }
}

fn over(state: &CheckState, kept: &Kept, units: Units) -> Markup {
    html! {
        @match state.verdict {
            Some(Verdict::Fits) => p.came { strong { "Fits." } },
            Some(Verdict::DoesNotFit) => p.came { strong { "Does not fit." } },
            None => {},
        }
        @if let Some(still) = &state.still { (of_still(still)) }
        @if let Some(mount) = &state.mount { (of_mount(mount)) (store_mount(state, mount, kept)) }
        @if let Some(pendulum) = &state.pendulum { (of_pendulum(pendulum, units)) }
        @if let Some(aim) = &state.aim { (of_aim(aim)) (store_aim(state, aim, kept)) }
        @if let Some(remedy) = &state.remedy { p { (remedy) } }
        p.faint { "± is 95 %. Two numbers fit that differ by no more than the root of the sum of the squares of both ±." }
    }
}

/// A row: what, measured, expected, whether they fit.
type Row<'a> = (&'a str, String, String, Option<bool>);

fn rows_of(rows: &[Row]) -> Markup {
    html! {
        .wide role="region" aria-label="What was found" tabindex="0" { table {
            thead { tr { th scope="col" { "What" } th.words scope="col" { "verdict" } th scope="col" { "measured" } th scope="col" { "expected" } } }
            tbody {
                @for (what, found, expected, fits) in rows {
                    tr {
                        th.words scope="row" { (what) }
                        td.words { @match fits { Some(true) => "fits", Some(false) => "does not fit", None => "—" } }
                        td { (found) }
                        td { (expected) }
                    }
                }
            }
        } }
    }
}

/// A value with ±, which on all pages is 95 %, rounded as everywhere.
fn with_range(value: f64, sigma: f64, unit: &str) -> String {
    let half = HALF_WIDTH_95 * sigma;
    let decimals = decimals(std::iter::once(half));
    let space = if unit == "°" { "" } else { " " };
    format!("{} ± {}{space}{unit}", rounded(value, decimals), rounded(half, decimals))
}

fn of_still(still: &StillFound) -> Markup {
    let [x, y, z] = still.gyro_bias_s_radps.map(f64::to_degrees);
    let bias = format!("{}, {}, {} °/s", rounded(x, 2), rounded(y, 2), rounded(z, 2));
    let sigma = format!("0 ± {} °/s each", rounded(HALF_WIDTH_95 * still.gyro_bias_sigma_radps.to_degrees(), 2));
    rows_of(&[
        (
            "Specific force",
            with_range(still.force_mps2, still.force_sigma_mps2, "m/s²"),
            with_range(still.gravity_mps2, still.gravity_sigma_mps2, "m/s²"),
            Some(still.force_fits),
        ),
        ("Gyro at rest (x, y, z)", bias, sigma, Some(still.gyro_bias_fits)),
    ])
}

fn of_mount(mount: &MountFoundOut) -> Markup {
    let degrees = |rad: f64| rad.to_degrees();
    let [right, left] = mount.rolled_rad.map(|rad| rad / TAU);
    html! {
        dl.pairs {
            dt { "The bat's axis in the sensor" }
            dd { "known to ± " (rounded(HALF_WIDTH_95 * degrees(mount.tilt_sigma_rad), 2)) "°" }
            dt { "Away from what was known before" }
            dd { (rounded(degrees(mount.from_nominal_rad), 2)) "°" @if mount.is_another_way { ": it sits another way" } }
            dt { "Gravity against rolling" }
            dd { (with_range(degrees(mount.apart_rad), degrees(mount.apart_sigma_rad), "°")) " apart" }
            dt { "Rolled" } dd { (rounded(right, 1)) " turns one way, " (rounded(left, 1)) " the other" }
        }
    }
}

fn of_pendulum(found: &PendulumFound, units: Units) -> Markup {
    let unit = units.speed();
    let speed = |value: f64, sigma: f64| with_range(value * unit.factor, sigma * unit.factor, unit.sign);
    let length = fields::length(units);
    let expected_s = found.expected_period_s.zip(found.expected_period_sigma_s);
    let period = expected_s.map_or_else(
        || "the bat's data say none".to_owned(),
        |(value, sigma)| with_range(value * 1e3, sigma * 1e3, "ms"),
    );
    html! {
        (rows_of(&[
            (
                "Speed of the sweet spot at the bottom",
                speed(found.speed_mps, found.speed_sigma_mps),
                speed(found.expected_speed_mps, found.expected_speed_sigma_mps),
                Some(found.speed_fits),
            ),
            (
                "Period of small swings",
                with_range(found.period_s * 1e3, found.period_sigma_s * 1e3, "ms"),
                period,
                found.period_fits,
            ),
        ]))
        p.faint {
            "Over " (found.half_swings) " half swings. It turned back at "
            (with_range(found.amplitude_rad.to_degrees(), found.amplitude_sigma_rad.to_degrees(), "°"))
            ": the sweet spot fell by "
            (with_range(found.fallen_m / length.factor, found.fallen_sigma_m / length.factor, length.sign)) "."
        }
    }
}

fn of_aim(aim: &AimFound) -> Markup {
    html! {
        dl.pairs {
            dt { "The pitcher's heading" }
            dd {
                (with_range(aim.heading_rad.to_degrees(), aim.heading_sigma_rad.to_degrees(), "°"))
                " from where this stretch of the recording began"
            }
            dt { "The barrel" } dd { (rounded(aim.elevation_rad.to_degrees(), 0)) "° above level" }
        }
    }
}

/// What does not fit is offered as well, as one may know which of the two is wrong, but not as what is to be done.
fn store_mount(state: &CheckState, mount: &MountFoundOut, kept: &Kept) -> Markup {
    let fits = state.verdict == Some(Verdict::Fits);
    let is_same = |row: &&rows::Mount| {
        row.source == rows::MountSource::Measured
            && row.q_bs_wxyz.iter().zip(mount.q_bs_wxyz).all(|(one, other)| (one - other).abs() < 1e-9)
    };
    let body = json!({
        "sensor_id": state.sensor_id, "bat_id": state.bat_id, "offset_b_m": mount.offset_b_m,
        "q_bs_wxyz": mount.q_bs_wxyz, "tilt_sigma_rad": mount.tilt_sigma_rad, "source": "measured",
    });
    html! {
        @if kept.mounts.iter().any(|row| is_same(&row)) {
            p { "It is stored." }
        } @else {
            button.change.primary[fits] type="button" data-key="store" data-send="POST /v1/mounts" data-body=(body)
                data-confirm=[(!fits).then_some("It does not fit: gravity and rolling tell different axes. Store this mount all the same?")] {
                @if fits { "Store this mount" } @else { "Store it all the same" }
            }
        }
    }
}

fn store_aim(state: &CheckState, aim: &AimFound, kept: &Kept) -> Markup {
    let is_same = |row: &&rows::Aim| row.taken_s == Some(aim.taken_s) && row.heading_rad == Some(aim.heading_rad);
    let body = json!({
        "sensor_id": state.sensor_id, "taken_s": aim.taken_s,
        "heading_rad": aim.heading_rad, "heading_sigma_rad": aim.heading_sigma_rad,
    });
    html! {
        @if kept.aims.iter().any(|row| is_same(&row)) {
            p { "It is stored." }
        } @else {
            button.primary.change type="button" data-key="store" data-send="POST /v1/aims" data-body=(body) { "Store this aim" }
        }
    }
}
