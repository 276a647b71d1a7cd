//! The last swing's few big numbers.

use super::super::scene::{Last, Scene};
use super::bats_from;
use crate::daemon::page::words as page_words;
use crate::daemon::store::rows::Mark;
use crate::engine::Stage;
use crate::engine::metrics::{Flag, Metric};
use crate::report::event;
use crate::report::words::{self, Units, rounded};
use maud::{Markup, html};

/// Those that are shown, the first one large.
const SHOWN: [Metric; 5] =
    [Metric::BatSpeed, Metric::TimeToContact, Metric::AttackAngle, Metric::HandSpeed, Metric::TimingWindow];

const NOT_KNOWN: &str = "not known";

/// The last swing.
pub fn numbers(scene: &Scene, units: Units) -> Markup {
    let Some(last) = &scene.last else {
        return html! {
            p.none { "No swing yet. The next one is shown here by itself." }
        };
    };
    let is_flagged = !last.flags.is_empty();
    html! {
        .last.flagged[is_flagged].out[last.mark == Mark::Exclude] data-stage=(event::stage(last.stage)) data-swing=[last.id] {
            p.which {
                (name(scene, last))
                @if let Some(side) = last.side { span { (bats_from(side)) } }
                span { (met(last)) }
                span.stage { (stage_words(last.stage)) }
                @if last.mark != Mark::None { span.mark { (page_words::mark(last.mark)) } }
            }
            @if is_flagged { (flags(&last.flags)) }
            dl.numbers { @for metric in SHOWN { (number(scene, last, metric, units)) } }
        }
    }
}

fn name(scene: &Scene, last: &Last) -> Markup {
    let number = last.id.and_then(|id| scene.number(id));
    let words = number.map_or_else(|| "Last swing".to_owned(), |number| format!("Swing {number}"));
    html! {
        @match last.id.filter(|_| last.is_stored) {
            Some(id) => a href=(format!("/swings/{id}")) data-key="open-last" data-hotkey="o" { (words) },
            None => b { (words) },
        }
    }
}

fn number(scene: &Scene, last: &Last, metric: Metric, units: Units) -> Markup {
    let row = words::row_of(metric, &[last.metrics[metric.index()]], units);
    let cell = row.cells.into_iter().next().flatten();
    html! {
        .reading data-metric=(metric.key()) {
            dt { (row.label) }
            @match cell {
                Some(cell) => {
                    dd.value {
                        b { (cell.value) }
                        span.unit { (row.unit) }
                        span.within { span.unseen { "plus or minus " } span aria-hidden="true" { "± " } (cell.half_width) }
                    }
                    @if metric == Metric::TimingWindow && !last.is_pitch_said {
                        dd.then { "for a pitch of " (pitch_words(last, units)) ", assumed" }
                    }
                }
                None => dd {
                    span.absent { (absent(last, metric)) }
                    @if let Some(why) = why_absent(last, metric) { span.why { " " (why) } }
                }
            }
            @if let Some(then) = scene.then_of_last().and_then(|then| then.medians[metric.index()]) {
                dd.then { (against(last, metric, then, units)) }
            }
        }
    }
}

/// The median then, and by how much this one differs.
fn against(last: &Last, metric: Metric, then: f64, units: Units) -> String {
    let unit = units.of(metric);
    let decimals = if matches!(unit.sign, "°" | "ms" | "°/s") { 0 } else { 1 };
    let middle = rounded(then * unit.factor, decimals) + if unit.sign.starts_with('°') { "" } else { " " } + unit.sign;
    let Some(now) = last.metrics[metric.index()] else { return format!("then {middle}") };
    let by = rounded((now.value - then) * unit.factor, decimals);
    let sign = if by.starts_with('−') || by.chars().all(|c| "0.".contains(c)) { "" } else { "+" };
    format!("then {middle} ({sign}{by})")
}

fn pitch_words(last: &Last, units: Units) -> String {
    let unit = units.speed();
    format!("{} {}", rounded(last.pitch.pitch_speed_mps * unit.factor, 0), unit.sign)
}

fn absent(last: &Last, metric: Metric) -> &'static str {
    let has_no_pitch = last.pitch.pitch_speed_mps <= 0.0;
    match metric {
        Metric::TimingWindow if has_no_pitch => "no pitch",
        Metric::TimingWindow if last.stage == Stage::Streaming => "with the final value",
        _ => NOT_KNOWN,
    }
}

/// What the engine says of it: the flags, as far as none of the reasons above is known.
fn why_absent(last: &Last, metric: Metric) -> Option<String> {
    let is_flagged = absent(last, metric) == NOT_KNOWN && !last.flags.is_empty();
    is_flagged.then(|| last.flags.iter().map(|flag| page_words::flag(*flag)).collect::<Vec<_>>().join(", "))
}

fn met(last: &Last) -> &'static str {
    if last.met_ball { "met a ball" } else { "met nothing" }
}

fn flags(flags: &[Flag]) -> Markup {
    html! {
        p.flags {
            strong { "With care: " }
            @for (place, flag) in flags.iter().enumerate() {
                @if place > 0 { "; " }
                (words::meaning(*flag))
            }
            "."
        }
    }
}

fn stage_words(stage: Stage) -> &'static str {
    match stage {
        Stage::Streaming => "first values; the final ones follow",
        Stage::Smoothed => "final values",
        Stage::Revised => "final values, revised",
    }
}

/// The last swing in words, as they are spoken.
pub fn said(scene: &Scene, last: &Last, units: Units) -> String {
    let value = |metric: Metric, decimals: usize| {
        let estimate = last.metrics[metric.index()]?;
        Some(rounded(estimate.value * units.of(metric).factor, decimals).replace('−', "minus "))
    };
    let unit = match units {
        Units::Us => "miles per hour",
        Units::Metric => "metres per second",
    };
    let number = last.id.and_then(|id| scene.number(id)).map(|number| format!("Swing {number}."));
    let speed = value(Metric::BatSpeed, 1).map(|speed| format!("{speed} {unit}."));
    let time = value(Metric::TimeToContact, 0).map(|time| format!("{time} milliseconds to contact."));
    let care = (!last.flags.is_empty()).then(|| "With care.".to_owned());
    [number, speed, time, care].into_iter().flatten().collect::<Vec<_>>().join(" ")
}
