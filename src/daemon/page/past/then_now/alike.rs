//! How alike the swings of each group are, whose their spread is, and how the numbers went over months.

use super::super::super::figure::{figure, wide};
use crate::daemon::record::handout::Gathered;
use crate::daemon::record::over_months::OverMonths;
use crate::engine::metrics::Metric;
use crate::report::svg::trend;
use crate::report::then_now::{AlikeTold, VARIED, alike_words, trend_words};
use crate::report::words::Units;
use maud::{Markup, html};

/// Spreads, then the trends.
pub fn section(gathered: &Gathered, family: &[Metric], units: Units) -> Markup {
    let rows = |k: usize| -> Vec<AlikeTold> {
        let all = gathered.alike.get(k).map_or(&[][..], Vec::as_slice).iter();
        all.filter(|one| family.contains(&one.metric)).map(|one| alike_words(one, units)).collect()
    };
    html! {
        section {
            h2 { "How alike the swings are" }
            p.faint {
                "Standard deviations within a round and within a day, beside that of the sensor's measuring alone. Where most of \
                 the spread is the sensor's, a steadier swing would not show."
            }
            (wide("How alike the swings are", &table(&rows(0), &rows(1))))
        }
        section {
            h2 { "Over months" }
            p.faint { "Over all days with swings of the kind of now; a day counts as one, however many swings it has." }
            (not_the_same(&gathered.over_months))
            ul { @for (metric, one) in &gathered.over_months.trends { li { (trend_words(*metric, one.as_ref(), units)) } } }
            @if !gathered.trend_lines.is_empty() {
                (figure(&trend(Metric::BatSpeed, &gathered.trend_lines, units), "months", &html! {
                    "A point is a day: the mean of its swings. The bar is one standard deviation of them either way."
                }))
            }
        }
    }
}

/// What may have made a trend other than the swing.
fn not_the_same(over_months: &OverMonths) -> Markup {
    html! {
        @if !over_months.varied.is_empty() {
            section.care aria-label="Not the same over months" {
                p { strong { "Not all was the same on these days. " } (VARIED) }
                ul { @for words in over_months.varied_words() { li { bdi { (words) } "." } } }
            }
        }
    }
}

fn table(then: &[AlikeTold], now: &[AlikeTold]) -> Markup {
    html! {
        table.alike {
            thead { tr {
                th scope="col" { "Number" } th.words scope="col" { "Group" }
                th scope="col" { "In a round" } th scope="col" { "In a day" } th scope="col" { "Day to day" }
                th scope="col" { "Sensor" } th.words scope="col" { "The spread is" }
            } }
            tbody { @for (then, now) in then.iter().zip(now) {
                tr { th scope="row" rowspan="2" { (then.label) span.faint.under { (then.unit) } } td.words { "then" } (cells(then)) }
                tr { td.words { "now" } (cells(now)) }
            } }
        }
    }
}

fn cells(told: &AlikeTold) -> Markup {
    html! {
        @for spread in [&told.within_round, &told.within_day, &told.between_days, &told.sigma] {
            td { (spread.as_deref().unwrap_or("–")) }
        }
        td.words { (told.cause) }
    }
}
