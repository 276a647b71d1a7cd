//! Every metric of a swing with its uncertainty, and the middle of the lesson's others.

use super::super::super::figure::wide;
use super::super::super::words::{self, NOTHING};
use super::Whole;
use crate::engine::metrics::Metric;
use crate::report::words::{HALF_WIDTH_95, Units, decimals, label, rounded};
use maud::{Markup, html};

/// All of them.
pub fn section(whole: &Whole, units: Units) -> Markup {
    let table = html! {
        table.metrics {
            thead { tr {
                th scope="col" { "Number" } th scope="col" { "Value" span.faint.under { "± 95 %" } }
                th.sigma scope="col" { "σ" }
                th.words scope="col" { "Unit" }
                th scope="col" { "Others" span.faint.under { "median" } }
            } }
            tbody { @for metric in Metric::ALL { (row(metric, whole, units)) } }
        }
    };
    html! {
        section {
            h2 { "Numbers" }
            (wide("Numbers of this swing", &table))
            p.faint {
                "± is half the width of the interval that holds the true value in 95 of 100 cases (1.96 σ). "
                (whole.others.in_words(whole.found.swing.side))
            }
            (definitions())
        }
    }
}

/// What each number is; closed, for who knows them.
fn definitions() -> Markup {
    html! {
        details data-key="definitions" {
            summary { "What the numbers are" }
            dl.meanings { @for metric in Metric::ALL { dt { (label(metric)) } dd { (in_words(metric)) } } }
        }
    }
}

fn row(metric: Metric, whole: &Whole, units: Units) -> Markup {
    let unit = units.of(metric);
    let estimate = whole.found.analysis.metrics[metric.index()];
    // The median stands beside the value, with as many decimals.
    let places = |widths: f64| decimals(estimate.map(|estimate| widths * estimate.sigma * unit.factor).into_iter());
    let rounded_to =
        |value: Option<f64>, places| value.map_or(NOTHING.to_owned(), |value| rounded(value * unit.factor, places));
    html! {
        tr data-metric=(metric.key()) {
            th scope="row" {
                (label(metric))
                @if estimate.is_none() { (absent(metric, whole)) }
            }
            td { (words::estimate(metric, estimate, units)) }
            td.faint.sigma { (rounded_to(estimate.map(|estimate| estimate.sigma), places(1.0))) }
            td.words { (unit.sign) }
            td.faint { (rounded_to(whole.others.medians[metric.index()], places(HALF_WIDTH_95))) }
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
