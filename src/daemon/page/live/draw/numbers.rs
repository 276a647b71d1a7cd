//! The last swing's few big numbers.

use super::super::scene::{Last, Scene};
use super::bats_from;
use crate::daemon::page::words as page_words;
use crate::daemon::store::rows::Mark;
use crate::engine::Stage;
use crate::engine::metrics::{Estimate, Flag, Metric};
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
                span { "±: 95 %" }
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
    let is_vague = last.metrics[metric.index()].is_some_and(|estimate| is_vague(metric, estimate));
    html! {
        .reading.vague[is_vague] data-metric=(metric.key()) {
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
            @if is_vague {
                dd.then { "not known well" }
            } @else if let Some(then) = scene.then_of_last().and_then(|then| then.medians[metric.index()]) {
                dd.then { (against(last, metric, then, units)) }
            }
        }
    }
}

/// The median then, and by how much this one differs.
fn against(last: &Last, metric: Metric, then: f64, units: Units) -> String {
    let unit = units.of(metric);
    let estimates = [last.metrics[metric.index()]];
    let half_widths = estimates.iter().flatten().map(|now| words::HALF_WIDTH_95 * now.sigma * unit.factor);
    let decimals = words::decimals(half_widths);
    let shown = |value: f64| format!("{:.decimals$}", value * unit.factor).parse().unwrap_or(f64::NAN);
    let middle = rounded(then * unit.factor, decimals) + if unit.sign.starts_with('°') { "" } else { " " } + unit.sign;
    let [Some(now)] = estimates else { return format!("then {middle}") };
    // Of what is shown, so that it adds up.
    let by = rounded(shown(now.value) - shown(then), decimals);
    let sign = if by.starts_with('−') || by.chars().all(|c| "0.".contains(c)) { "" } else { "+" };
    format!("then {middle} ({sign}{by})")
}

fn pitch_words(last: &Last, units: Units) -> String {
    let unit = units.speed();
    format!("{} {}", rounded(last.pitch.pitch_speed_mps * unit.factor, 0), unit.sign)
}

/// Whether its ± is as large as half of it or more. Of an angle, which is often near zero, as half of ten degrees.
fn is_vague(metric: Metric, Estimate { value, sigma }: Estimate) -> bool {
    let least = if Units::Metric.of(metric).sign == "°" { 10.0 } else { 0.0 };
    words::HALF_WIDTH_95 * sigma >= 0.5 * value.abs().max(least)
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

#[cfg(test)]
mod tests {
    use super::super::super::scene::tests::scene;
    use super::*;

    #[test]
    fn the_difference_to_then_is_that_of_what_is_shown() {
        let scene = scene(1);
        let last = scene.last.as_ref().unwrap();
        // 67.108 mph now, 64.875 mph then: 2.233 apart, but 67.11 and 64.87 are shown.
        let told = against(last, Metric::BatSpeed, 64.8749 * 0.44704, Units::Us);
        assert!(told.starts_with("then 64.87") && told.ends_with("(+2.24)"), "{told}");
    }

    #[test]
    fn what_is_hardly_known_is_faint_and_compared_with_nothing() {
        let is = |metric, value, sigma| is_vague(metric, Estimate { value, sigma });
        assert!(!is(Metric::BatSpeed, 30.0, 0.15) && is(Metric::BatSpeed, 30.0, 7.7));
        assert!(
            !is(Metric::AttackAngle, 0.5, 0.4) && is(Metric::AttackAngle, -0.5, 3.0),
            "an angle near zero is known"
        );
        let mut scene = scene(1);
        let known = numbers(&scene, Units::Us).into_string();
        assert!(!known.contains("not known well") && known.contains("±: 95 %"), "{known}");
        scene.last.as_mut().unwrap().metrics[Metric::BatSpeed.index()].as_mut().unwrap().sigma = 10.0;
        let vague = numbers(&scene, Units::Us).into_string();
        assert!(vague.contains("reading vague") && vague.contains("not known well"), "{vague}");
    }
}
