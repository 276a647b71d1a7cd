//! Mounts and aims of a sensor.

use crate::daemon::page::setup::fields;
use crate::daemon::page::when;
use crate::daemon::store::rows::{self, UtcMicros};
use crate::engine::check::aim::Fix;
use crate::report::words::{HALF_WIDTH_95, Units, rounded};
use maud::{Markup, html};
use serde_json::json;
use std::f64::consts::FRAC_1_SQRT_2;
use uuid::Uuid;

/// Which way the sensor's axes may lie along the bat, as people enter it: the axis that points from the knob to the tip, and
/// the least rotation that takes it there.
const WAYS: [(&str, [f64; 4]); 6] = [
    ("z, knob to tip", [1.0, 0.0, 0.0, 0.0]),
    ("z, tip to knob", [0.0, 1.0, 0.0, 0.0]),
    ("x, knob to tip", [FRAC_1_SQRT_2, 0.0, -FRAC_1_SQRT_2, 0.0]),
    ("x, tip to knob", [FRAC_1_SQRT_2, 0.0, FRAC_1_SQRT_2, 0.0]),
    ("y, knob to tip", [FRAC_1_SQRT_2, FRAC_1_SQRT_2, 0.0, 0.0]),
    ("y, tip to knob", [FRAC_1_SQRT_2, -FRAC_1_SQRT_2, 0.0, 0.0]),
];
/// A sensor put on by eye, rad.
const BY_EYE_RAD: f64 = 0.05;

/// Those there are, and the ways to enter one.
pub fn mounts(mounts: &[rows::Mount], bats: &[rows::Bat], sensor_id: Uuid, units: Units) -> Markup {
    let bat = |id: Option<Uuid>| match id {
        Some(id) => bats.iter().find(|bat| bat.id == id).map_or("a bat", |bat| bat.name.as_str()),
        None => "every bat",
    };
    let is_current = |mount: &rows::Mount| {
        let later = |other: &&rows::Mount| {
            other.bat_id == mount.bat_id
                && other.removed.is_none()
                && (other.mounted, other.id) > (mount.mounted, mount.id)
        };
        mount.removed.is_none() && !mounts.iter().any(|other| later(&other))
    };
    html! {
        @if mounts.is_empty() {
            p { "Not known: what the sensor's profile says is taken, else that its z axis runs from knob to tip. Do the check “How it sits”." }
        }
        ul.list {
            @for mount in mounts.iter().rev() {
                li {
                    span.who {
                        strong { (bat(mount.bat_id)) @if is_current(mount) { " · holds" } }
                        span.faint { (mount_words(mount, units)) }
                    }
                    @if mount.removed.is_none() {
                        button.change type="button" data-send=(format!("DELETE /v1/mounts/{}", mount.id)) data-version=(mount.version)
                            data-confirm="Remove this mount? What was measured with it keeps its numbers." {
                            "Remove" span.unseen { " the mount on " (bat(mount.bat_id)) }
                        }
                    }
                }
            }
        }
        details data-key="new-mount" {
            summary { "Enter a mount by hand" }
            (by_hand(bats, sensor_id, units))
        }
    }
}

fn mount_words(mount: &rows::Mount, units: Units) -> Markup {
    let [.., along_m] = mount.offset_b_m;
    let how = match mount.source {
        rows::MountSource::Measured => "measured",
        rows::MountSource::Entered => "entered",
    };
    html! {
        " " (how) " " (when::minute(mount.mounted))
        @if let Some(removed) = mount.removed { ", until " (when::minute(removed)) }
        " · axis ± " (rounded(HALF_WIDTH_95 * mount.tilt_sigma_rad.to_degrees(), 2)) "°"
        " · IMU at " (fields::length(units).with_unit(along_m).replace('-', "−")) " along the bat"
    }
}

fn by_hand(bats: &[rows::Bat], sensor_id: Uuid, units: Units) -> Markup {
    let length = fields::length(units);
    html! {
        p { "Which axis of the sensor runs along the bat stands on its board or in its papers. The check “How it sits” measures it better." }
        @for (words, q) in WAYS {
            form.row data-send="POST /v1/mounts" data-body=(json!({
                "sensor_id": sensor_id, "q_bs_wxyz": q, "tilt_sigma_rad": BY_EYE_RAD, "source": "entered", "offset_b_m": [0.0, 0.0, 0.0],
            })) {
                strong { (words) }
                (fields::number_signed("IMU beyond the knob's end (−) or inside (+)", "offset_b_m.2", length, Some(-0.012)))
                label { span { "On" }
                    select name="bat_id" {
                        option value="" { "every bat" }
                        @for bat in bats.iter().filter(|bat| !bat.is_retired) { option value=(bat.id) { (bat.name) } }
                    }
                }
                button.change type="submit" { "Enter" span.unseen { " " (words) } }
                (fields::problem())
            }
        }
    }
}

/// The one that was taken last, which is shown.
pub fn newest(aims: &[rows::Aim]) -> Option<&rows::Aim> {
    aims.iter().max_by_key(|aim| aim.taken)
}

/// The last aim, with how sure it still is.
pub fn aims(aims: &[rows::Aim], now: UtcMicros, fix: Option<Fix>) -> Markup {
    html! {
        @if let Some(aim) = newest(aims) {
            dl.pairs {
                dt { "Taken" } dd { (when::minute(aim.taken)) ", " (ago(now, aim.taken)) }
                @if let (Some(heading), Some(sigma)) = (aim.heading_rad, aim.heading_sigma_rad) {
                    dt { "Heading then" } dd { (rounded(heading.to_degrees(), 1)) "° ± " (rounded(HALF_WIDTH_95 * sigma.to_degrees(), 1)) "°" }
                    dt { "How sure now" } dd { (sure_now(aim, sigma, fix)) }
                }
            }
            button.change type="button" data-send=(format!("DELETE /v1/aims/{}", aim.id)) data-version=(aim.version)
                data-confirm="Remove this aim?" { "Remove the aim" }
            p.faint { "No number of a swing uses it yet: it is kept with the recording." }
        } @else {
            p { "No aim was taken. Do the check “Taking aim”." }
        }
    }
}

/// A gyro's heading drifts: the filter's own σ since its heading began, beside that of the taking.
fn sure_now(aim: &rows::Aim, sigma_rad: f64, fix: Option<Fix>) -> String {
    match (fix, aim.taken_s) {
        (Some(fix), Some(taken_s)) if fix.time_s >= taken_s => {
            let now_rad = HALF_WIDTH_95 * sigma_rad.hypot(fix.heading_sigma_rad);
            let turn = if now_rad.to_degrees() > 30.0 { ": take it again" } else { "" };
            format!("± {}° at most, unless the sensor was off since{turn}", rounded(now_rad.to_degrees(), 1))
        }
        _ => "nothing is known: the sensor is not connected, or was off since. Take it again.".to_owned(),
    }
}

fn ago(now: UtcMicros, then: UtcMicros) -> String {
    match (now.0 - then.0) / 60_000_000 {
        ..1 => "just now".to_owned(),
        minutes @ 1..120 => format!("{minutes} min ago"),
        minutes @ 120..2880 => format!("{} h ago", minutes / 60),
        minutes => format!("{} days ago", minutes / 1440),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::geometry::unit_quaternion;
    use nalgebra::Vector3;

    #[test]
    fn each_way_takes_the_axis_it_names_to_the_bats() {
        for (words, q) in WAYS {
            let axis = match words.as_bytes()[0] {
                b'x' => Vector3::x(),
                b'y' => Vector3::y(),
                _ => Vector3::z(),
            };
            let sign = if words.ends_with("knob to tip") { 1.0 } else { -1.0 };
            let taken = unit_quaternion(q).unwrap() * axis;
            assert!((taken - Vector3::z() * sign).norm() < 1e-12, "{words}: {taken}");
        }
    }

    #[test]
    fn how_long_ago_it_was_is_read_in_one_unit() {
        let now = UtcMicros(1_000_000_000_000);
        let before = |s: i64| ago(now, UtcMicros(now.0 - s * 1_000_000));
        assert_eq!(
            [before(5), before(600), before(7200), before(400_000)],
            ["just now", "10 min ago", "2 h ago", "4 days ago"]
        );
    }
}
