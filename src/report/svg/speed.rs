//! Speed of the sweet spot and the hands against time before contact.

use super::super::words::Units;
use super::chart::{AREA, Scale, below, chart, grid, round_step, smooth, thinned};
use super::{bold_last, which};
use crate::engine::swing::Swing;
use maud::{Markup, html};

/// Shown before the start, s.
const BEFORE_START_S: f64 = 0.05;
/// Longest time before contact that is shown, s.
const LONGEST_S: f64 = 0.4;
/// Longest time after contact that is shown, of swings that met nothing, s.
const AFTER_S: f64 = 0.1;

pub(super) fn panel(swings: &[Swing], units: Units) -> Markup {
    let unit = units.speed();
    let [left, top, right, bottom] = AREA;
    let x = Scale::new(time_range_ms(swings), (left, right));
    let fastest_mps =
        swings.iter().flat_map(|s| &s.curves.bat_speed_mps).copied().filter(|v| *v < 200.0).fold(10.0, f64::max);
    let greatest = fastest_mps * unit.factor;
    let step = round_step(greatest / 5.0);
    let y = Scale::new((0.0, (greatest / step).ceil() * step), (bottom, top));
    let content = html! {
        (grid((&x, &x.ticks(5.0)), (&y, &y.ticks(5.0))))
        line.zero x1=(x.place(0.0)) x2=(x.place(0.0)) y1=(top) y2=(bottom) {}
        @for (bold, swing) in bold_last(swings) {
            (line(swing, &swing.curves.hand_speed_mps, unit.factor, (&x, &y), "hands", bold))
            (line(swing, &swing.curves.bat_speed_mps, unit.factor, (&x, &y), "sweet", bold))
        }
        (names(swings, unit.factor, &x, &y))
        (below("ms from contact"))
    };
    let title = format!("Speed, {}", unit.sign);
    let description = format!(
        "Speed of the sweet spot (whole lines) and of the hands (dashed) against time from contact, {}.",
        which(swings)
    );
    chart("speed", &title, &which(swings), &description, &content)
}

/// From a little before the earliest start to contact, or beyond it if a swing met nothing.
fn time_range_ms(swings: &[Swing]) -> (f64, f64) {
    let before_s = swings.iter().map(|s| s.contact.0 - s.start.0 + BEFORE_START_S).filter(|t| t.is_finite());
    let last_s = swings.iter().filter_map(|s| s.curves.times_s.last().copied()).filter(|t| t.is_finite());
    let before_s = before_s.fold(0.15, f64::max).min(LONGEST_S);
    let after_s = last_s.fold(0.0, f64::max).min(AFTER_S);
    (-1e3 * before_s, 1e3 * after_s)
}

fn points<'a>(swing: &'a Swing, speed_mps: &'a [f64], factor: f64, (x, y): (&'a Scale, &'a Scale)) -> Vec<(f64, f64)> {
    let shown = |(time_s, _): &(&f64, &f64)| (AREA[0]..=AREA[2] + 0.01).contains(&x.place(**time_s * 1e3));
    let place = |(time_s, speed): (&f64, &f64)| (x.place(*time_s * 1e3), y.place(*speed * factor));
    thinned(swing.curves.times_s.iter().zip(speed_mps).filter(shown).map(place))
}

fn line(swing: &Swing, speed_mps: &[f64], factor: f64, scales: (&Scale, &Scale), class: &str, bold: bool) -> Markup {
    let class = format!("line {class}{}", if bold { " bold" } else { "" });
    html! { path class=(class) d=(smooth(&points(swing, speed_mps, factor, scales))) {} }
}

/// Names beside the bold lines, left of where they rise.
fn names(swings: &[Swing], factor: f64, x: &Scale, y: &Scale) -> Markup {
    let Some((_, swing)) = bold_last(swings).last() else {
        return html! {};
    };
    let name = |speed_mps: &[f64], share: f64, class: &str, text: &str, (dx, anchor, dy): (f64, &str, f64)| {
        let points = points(swing, speed_mps, factor, (x, y));
        let top = points.iter().map(|p| p.1).fold(f64::INFINITY, f64::min);
        let level = AREA[3] + (top - AREA[3]) * share;
        let at = points.iter().find(|p| p.1 <= level).copied();
        html! {
            @if let Some((px, py)) = at {
                text class=(class) x=(format!("{:.1}", px + dx)) y=(format!("{:.1}", py + dy)) text-anchor=(anchor) { (text) }
            }
        }
    };
    html! {
        (name(&swing.curves.bat_speed_mps, 0.75, "sweet", "sweet spot", (-9.0, "end", 4.0)))
        (name(&swing.curves.hand_speed_mps, 0.97, "hands", "hands", (-8.0, "end", -8.0)))
    }
}
