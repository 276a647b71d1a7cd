//! Has it changed? A row a number: the answer, the difference, both means, what matters; the rest for whoever opens it.

use super::super::super::figure::figure;
use crate::daemon::record::handout::Gathered;
use crate::report::svg::groups;
use crate::report::then_now::{GroupTold, Told, asked_about};
use crate::report::words::Units;
use maud::{Markup, html};

/// Answers in words, then as a picture.
pub fn section(gathered: &Gathered, units: Units) -> Markup {
    let numbers = &gathered.compared.numbers;
    let told: Vec<Told> = numbers.iter().map(|compared| Told::new(compared, units)).collect();
    html! {
        section {
            h2 { "Has it changed?" }
            p.faint { (asked_about(numbers.len()))
                @if told.iter().any(|told| told.kind == "unsure") {
                    " Where many days would be needed, then may have too few days, or too many numbers are asked about at once."
                } }
            ul.told { @for told in &told { (row(told)) } }
            p.change.no-print { a.button href="/setup/amounts" { "Say how much matters" } }
            (figure(&groups::answers(numbers, units), "answers", &html! {
                "Each difference with its 95 % interval, in amounts that matter: within the shaded zone it would not matter."
            }))
        }
    }
}

fn row(told: &Told) -> Markup {
    html! {
        li.(told.kind) data-metric=(told.metric.key()) {
            h3 { (told.label) }
            p.answer { strong { (told.answer) } }
            @if told.kind != "changed" {
                @if let Some(difference) = &told.difference_words { p { "Now " (difference) "." } }
            }
            dl.facts {
                (group("Then", &told.then, told))
                (group("Now", &told.now, told))
                div { dt { "Matters from" } dd { (told.with_unit(&told.amount)) } }
            }
            (details(told))
        }
    }
}

fn group(head: &str, group: &GroupTold, told: &Told) -> Markup {
    html! {
        div {
            dt { (head) }
            dd {
                @match &group.mean {
                    Some(mean) => {
                        span.number { (told.with_unit(mean)) }
                        @if let Some(spread) = &group.swing_spread { span.faint.number { " spread " (spread) } }
                    },
                    None => span.faint { "–" },
                }
            }
        }
    }
}

fn details(told: &Told) -> Markup {
    let shown = |number: &Option<String>| number.as_ref().map_or("–".to_owned(), |number| told.with_unit(number));
    html! {
        details data-key=(format!("details-{}", told.metric.key())) {
            summary { "How that came about" span.unseen { ": " (told.label) } }
            dl.pairs {
                @for (head, group) in [("then", &told.then), ("now", &told.now)] {
                    dt { "swings, days " (head) } dd { (group.swings) ", " (group.days) }
                    dt { "spread from swing to swing, " (head) } dd { (shown(&group.swing_spread)) }
                    dt { "spread of the days' means, " (head) } dd { (shown(&group.day_spread)) }
                    dt { "the sensor's σ, " (head) } dd { (shown(&group.sigma)) }
                }
                @for (what, value) in &told.details { dt { (what) } dd { (value) } }
            }
        }
    }
}
