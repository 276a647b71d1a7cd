//! For the instructor: every number, its conditions, and how the answers came about.

use super::super::svg::groups::Against;
use super::super::then_now::{AlikeTold, GroupTold, Told, alike_words, trend_words};
use super::super::words::meaning;
use super::{Handout, parts, pictures};
use crate::compare::alike::Alike;
use maud::{Markup, html};

/// All of it.
pub fn sections(handout: &Handout) -> Markup {
    let told = handout.told();
    html! {
        section { h2 { "What is compared" } (parts::compared(handout)) (flags(handout)) (looked_at(handout)) }
        section { h2 { "Has it changed?" } (answers(&told)) }
        section { h2 { "How the answers came about" } (details(&told)) (method(told.len())) }
        section { h2 { "Where the speed is" } (stretches(handout)) (pictures::all(handout)) }
        section {
            h2 { "How alike the swings are" }
            (alike("Then", &handout.alike[0], handout))
            (alike("Now", &handout.alike[1], handout))
        }
        section {
            h2 { "Over months" }
            p.faint { "Over all days with swings of the later group's kind; a day counts as one." }
            (parts::varied(handout))
            ul { @for (metric, trend) in &handout.trends { li { (trend_words(*metric, trend.as_ref(), handout.units)) } } }
        }
        (parts::balls(handout))
        (parts::words_and_homework(handout))
        (parts::cautions())
        p.faint { "Measured and compared by " (handout.version) "." }
    }
}

fn flags(handout: &Handout) -> Markup {
    html! {
        @if !handout.flags.is_empty() {
            p { "Flags of swings that were left out:" }
            ul { @for (flag, swings) in &handout.flags { li { (swings) " × " (meaning(*flag)) } } }
        }
    }
}

fn answers(told: &[Told]) -> Markup {
    html! {
        .wide { table {
            caption {
                "Spread is one standard deviation from swing to swing of one day; in brackets swings and days. The interval of a \
                 difference is of that number alone; the answer is by tests of all of them together, and whether it has not \
                 changed by one-sided tests, so an interval may reach a little beyond what matters."
            }
            thead { tr {
                th scope="col" { "Number" } th.text scope="col" { "Answer" } th scope="col" { "Difference (95 %)" }
                th scope="col" { "Then" } th scope="col" { "Now" } th scope="col" { "Matters from" }
            } }
            tbody { @for told in told { tr {
                th scope="row" { (told.label) ", " (told.unit) }
                td.text { (told.answer) }
                td { @match (&told.difference, &told.interval) {
                    (Some(difference), Some((low, high))) => { (difference) span.half { " (" (low) " to " (high) ")" } },
                    _ => "–",
                } }
                td { (group(&told.then)) } td { (group(&told.now)) }
                td { (told.amount) }
            } } }
        } }
    }
}

fn group(group: &GroupTold) -> Markup {
    html! {
        @match &group.mean {
            Some(mean) => { (mean) @if let Some(spread) = &group.swing_spread { span.half { ", spread " (spread) } } },
            None => "–",
        }
        span.half { " (" (group.swings) "/" (group.days) ")" }
    }
}

fn details(told: &[Told]) -> Markup {
    let known: Vec<&Told> = told.iter().filter(|told| !told.details.is_empty()).collect();
    html! {
        @if known.is_empty() { p { "There is no difference to say anything of." } } @else {
            .wide { table {
                caption { "Spreads: then, now. Holm: over all numbers asked about." }
                thead { tr {
                    th scope="col" { "Number" } th scope="col" { "Spread of days" } th scope="col" { "Sensor’s σ" }
                    th scope="col" { "Standard error" } th scope="col" { "Degrees of freedom" }
                    th scope="col" { "p if unchanged" } th scope="col" { "Holm" }
                    th scope="col" { "p if it matters" } th scope="col" { "Holm" }
                } }
                tbody { @for told in known { tr {
                    th scope="row" { (told.label) ", " (told.unit) }
                    td { (or_dash(&told.then.day_spread)) ", " (or_dash(&told.now.day_spread)) }
                    td { (or_dash(&told.then.sigma)) ", " (or_dash(&told.now.sigma)) }
                    @for (_, value) in &told.details { td { (value) } }
                } } }
            } }
        }
    }
}

fn or_dash(text: &Option<String>) -> &str {
    text.as_deref().unwrap_or("–")
}

fn method(count: usize) -> Markup {
    html! {
        p.faint {
            "Swings of one day are alike, so the day is the unit: a mixed model with an effect of the day (REML) gives each \
             difference and its degrees of freedom; the sensor's σ is part of the error. “Changed” needs a p if unchanged \
             below 0.05, “not changed” two one-sided tests against the amount that matters, both after Holm over the "
            (count) " numbers asked about. Flagged swings count only where the instructor said so."
        }
    }
}

/// How much of each group there is, and a swing of each to look at.
fn looked_at(handout: &Handout) -> Markup {
    html! { ul { @for (one, name) in handout.looked_at.iter().zip(["Then", "Now"]) { li { (one.words(name)) } } } }
}

/// Where the speed curves differ, in words.
fn stretches(handout: &Handout) -> Markup {
    html! {
        @match &handout.curves {
            None => p { "There are no curves of these swings." },
            Some(curves) => {
                p { "Speeds of then and now, with 95 % for each curve as a whole:" }
                ul {
                    li { "Against time, " (Against::Time.where_it_differs(&curves.speed_by_time, handout.units)) "." }
                    li {
                        "Against the barrel's way still to go, "
                        (Against::Distance.where_it_differs(&curves.speed_by_distance, handout.units)) "."
                    }
                }
            },
        }
    }
}

fn alike(name: &str, all: &[Alike], handout: &Handout) -> Markup {
    let asked = |alike: &&Alike| handout.numbers.iter().any(|compared| compared.metric == alike.metric);
    let rows: Vec<AlikeTold> =
        all.iter().filter(asked).filter(|alike| alike.swings > 0).map(|one| alike_words(one, handout.units)).collect();
    html! {
        @if rows.is_empty() { p { (name) ": no swing." } } @else {
            .wide { table {
                caption { (name) ": standard deviations" }
                thead { tr {
                    th scope="col" { "Number" } th scope="col" { "Swings" } th scope="col" { "In a round" } th scope="col" { "In a day" }
                    th scope="col" { "Day to day" } th scope="col" { "Sensor" } th.text scope="col" { "The spread is" }
                } }
                tbody { @for row in &rows { tr {
                    th scope="row" { (row.label) ", " (row.unit) }
                    td { (row.swings) }
                    @for spread in [&row.within_round, &row.within_day, &row.between_days, &row.sigma] { td { (or_dash(spread)) } }
                    td.text { (row.cause) }
                } } }
            } }
        }
    }
}
