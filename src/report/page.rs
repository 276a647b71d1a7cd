//! A recording's swings as one HTML file: cautions, the table, the pictures. No script, nothing from outside.

use super::RecordingSummary;
use super::svg::{COLOURS, RULES, View, paths, speeds};
use super::table::summary_line;
use super::words::{Cell, Units, flags, letter, meaning, rounded, rows};
use crate::engine::swing::{Contact, Swing};
use maud::{DOCTYPE, Markup, PreEscaped, html};

const PAGE_STYLE: &str = "\
:root{--care:#fbf3dc;--edge:#d55e00}@media(prefers-color-scheme:dark){:root{--care:#2b2412;--edge:#e69f00}}\
*{box-sizing:border-box}body{margin:0 auto;max-width:88rem;padding:1.25rem;background:var(--paper);color:var(--ink);line-height:1.5}\
h1{font-size:1.6rem;line-height:1.2;margin:.2rem 0}h2{font-size:1.15rem;margin:1.6rem 0 .5rem}p{margin:.3rem 0}\
.faint{color:var(--faint)}.care{background:var(--care);border-left:4px solid var(--edge);padding:.6rem 1rem;margin:1rem 0;\
border-radius:0 .4rem .4rem 0}.wide{overflow-x:auto}\
table{border-collapse:collapse;font-variant-numeric:tabular-nums;white-space:nowrap}\
th,td{padding:.3rem .9rem;text-align:right;border-bottom:1px solid var(--grid)}thead th{border-bottom:2px solid var(--faint)}\
th:first-child{text-align:left;padding-left:.2rem;position:sticky;left:0;background:var(--paper);font-weight:500}\
.half{color:var(--faint);font-size:.86em}dl{display:grid;grid-template-columns:auto 1fr;gap:.1rem .8rem;margin:.6rem 0}\
dt{font-weight:600}dd{margin:0}\
.charts{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(100%,24rem),1fr));gap:1.2rem}.charts svg{width:100%}";

/// The page.
pub fn page(title: &str, recording: &RecordingSummary, swings: &[Swing], units: Units) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(PAGE_STYLE)) (PreEscaped(COLOURS)) (PreEscaped(RULES)) }
            }
            body {
                h1 { (title) }
                p.faint { (summary_line(recording, swings.len())) }
                (cautions())
                main {
                    (pictures(swings, units))
                    @if swings.is_empty() { p { "No swing was found in this recording." } } @else { (numbers(swings, units)) }
                }
            }
        }
    }
    .into_string()
}

fn pictures(swings: &[Swing], units: Units) -> Markup {
    html! {
        h2 { "How the swings went" }
        .charts { (speeds(swings, units)) (paths(swings, units, View::Side)) (paths(swings, units, View::Above)) }
    }
}

fn numbers(swings: &[Swing], units: Units) -> Markup {
    html! {
        h2 { "Swing by swing" }
        .wide tabindex="0" role="region" aria-label="Metrics of every swing" {
            table {
                thead { tr { th scope="col" { "Swing" } @for n in 1..=swings.len() { th scope="col" { (n) } } } }
                tbody {
                    tr { th scope="row" { "Contact at, s" } @for s in swings { td { (rounded(s.contact.0, 3)) } } }
                    tr { th scope="row" { "Met" } @for s in swings { td { (met(s)) } } }
                    @for row in rows(swings, units) {
                        tr { th scope="row" { (row.label) ", " (row.unit) } @for cell in &row.cells { td { (number(cell.as_ref())) } } }
                    }
                    tr { th scope="row" { "Flags" } @for s in swings { td { @for &flag in &s.flags { (letter(flag)) } } } }
                }
            }
        }
        p.faint { "± half the width of the 95 % interval (1.96 σ)" }
        dl { @for flag in flags(swings) { dt { (letter(flag)) } dd { (meaning(flag)) } } }
    }
}

fn met(swing: &Swing) -> &'static str {
    match swing.contact_kind {
        Contact::Ball => "ball",
        Contact::None => "nothing",
    }
}

fn number(cell: Option<&Cell>) -> Markup {
    html! {
        @match cell {
            Some(cell) => { (cell.value) span.half { " ± " (cell.half_width) } }
            None => { "–" }
        }
    }
}

fn cautions() -> Markup {
    html! {
        section.care aria-label="Before you swing" {
            p { strong { "Before you swing. " }
                "Clear the space that the bat and the ball can reach, of people above all. See that the sensor is secured to \
                 the knob before every round. Stop when something hurts." }
            p { "Local rules come first, and so does what a licensed practitioner or your coach says. The numbers describe \
                 a swing; they do not say what is right for a body." }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::example::{summary, swing};
    use super::*;

    #[test]
    fn what_came_from_outside_is_escaped() {
        let recording = RecordingSummary { path: "<b>&.csv".to_owned(), ..summary() };
        let html = page("a < b", &recording, &[swing(1)], Units::Us);
        assert!(html.contains("&lt;b&gt;&amp;.csv") && !html.contains("<b>"));
        assert!(html.contains("<title>a &lt; b</title>"));
    }

    #[test]
    fn every_swing_has_its_column() {
        let swings: Vec<Swing> = (1..=4).map(swing).collect();
        let html = page("Lesson", &summary(), &swings, Units::Metric);
        assert_eq!(html.matches("scope=\"col\"").count(), 5);
        assert!(html.contains("30.000") && html.contains("nothing"));
        assert!(html.contains("samples are missing within the swing"));
        assert!(!html.contains("<script") && !html.contains("href"));
        assert!(page("Lesson", &summary(), &[], Units::Us).contains("No swing was found"));
    }
}
