//! Every metric of a swing with its uncertainty, and the middle of the swings it is one of.

use super::super::super::words::{self, NOTHING};
use super::super::wide;
use super::{Whole, alike, median};
use crate::daemon::store::queries::swings_read::FoundSwing;
use crate::engine::metrics::Metric;
use crate::report::words::{Units, decimals, label, rounded};
use maud::{Markup, html};

/// All of them.
pub fn section(whole: &Whole, units: Units) -> Markup {
    let swing = &whole.found.swing;
    let beside: Vec<&FoundSwing> = alike(&whole.around, swing).collect();
    let table = html! {
        table.metrics {
            thead { tr {
                th scope="col" { "Number" } th scope="col" { "Value" span.faint.under { "± 95 %" } }
                th scope="col" { "σ" }
                th.words scope="col" { "Unit" }
                th scope="col" { "Median" span.faint.under { "of " (beside.len()) } }
            } }
            tbody { @for metric in Metric::ALL { (row(metric, whole, &beside, units)) } }
        }
    };
    html! {
        section {
            h2 { "Numbers" }
            (wide("Numbers of this swing", &table))
            p.faint {
                "± is half the width of the interval that holds the true value in 95 of 100 cases (1.96 σ). "
                @if beside.is_empty() { "There is no counted swing of the same lesson and side." } @else {
                    "Median: the middle of the " (words::count(beside.len(), "counted swing")) " of this lesson, "
                    (words::side(swing.side)) "."
                }
            }
        }
    }
}

fn row(metric: Metric, whole: &Whole, beside: &[&FoundSwing], units: Units) -> Markup {
    let unit = units.of(metric);
    let estimate = whole.found.analysis.metrics[metric.index()];
    let places = estimate.map_or(1, |estimate| decimals(std::iter::once(estimate.sigma * unit.factor)));
    let (middle, _) = median(metric, beside);
    let shown = |value: Option<f64>| value.map_or(NOTHING.to_owned(), |value| rounded(value * unit.factor, places));
    html! {
        tr data-metric=(metric.key()) {
            th scope="row" {
                (label(metric)) span.faint.under { (in_words(metric)) }
                @if estimate.is_none() { (absent(metric, whole)) }
            }
            td { (words::estimate(metric, estimate, units)) }
            td.faint { (shown(estimate.map(|estimate| estimate.sigma))) }
            td.words { (unit.sign) }
            td.faint { (shown(middle)) }
        }
    }
}

/// Its definition without the unit, which stands beside the number.
fn in_words(metric: Metric) -> String {
    let definition = metric.definition();
    definition.rsplit_once(", ").map_or_else(|| definition.to_owned(), |(words, _)| format!("{words}."))
}

/// Why there is no number, as far as that is known.
fn absent(metric: Metric, whole: &Whole) -> Markup {
    let no_pitch = whole.profile.as_ref().is_some_and(|profile| profile.swing.pitch_speed_mps == 0.0);
    html! {
        span.under {
            @if metric == Metric::TimingWindow && no_pitch { "Absent: nothing was pitched." }
            @else if whole.found.analysis.flags.is_empty() { "Absent: a number would be a guess." }
            @else { "Absent: a number would be a guess; the flags say why." }
        }
    }
}
