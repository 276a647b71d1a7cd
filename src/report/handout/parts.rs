//! What both versions have.

use super::super::change;
use super::super::then_now::{VARIED, asked_about, groups, left_out};
use super::{Handout, Homework};
use maud::{Markup, html};

/// None of them is a rule of a league or a maker: those are to be asked for.
const CAUTIONS: [&str; 5] = [
    "Swing only where nobody is within reach of bat and ball, and where a net or a wall stops both.",
    "See that the sensor sits firmly on the knob before every round; if it moves or the knob is cracked, do not swing.",
    "Stop when something hurts, and say so.",
    "Local rules and those of the league come first. Ask before a sensor or an implement is used in a game.",
    "Strength, injuries and growing bodies are for licensed people. What they say comes before anything on this sheet.",
];

/// What is compared, and what is to be heeded in reading it.
pub fn compared(handout: &Handout) -> Markup {
    let Handout { then, now, .. } = handout;
    html! {
        p { (groups(then, now)) }
        @if let Some(words) = left_out(then, now) { p { (words) } }
        p { (asked_about(handout.numbers.len())) }
        @if !handout.mismatches.is_empty() {
            .care {
                p { strong { "Not all was the same. " } "What has changed may come from this and not from the swing:" }
                ul { @for one in &handout.mismatches { li { (change::condition(one.condition)) ": " (change::mismatch(one)) "." } } }
            }
        }
    }
}

/// What may have made a trend other than the swing.
pub fn varied(handout: &Handout) -> Markup {
    html! {
        @if !handout.varied.is_empty() {
            .care {
                p { strong { "Not all was the same on these days. " } (VARIED) }
                ul { @for words in &handout.varied { li { (words) "." } } }
            }
        }
    }
}

/// What was measured of balls, where there is something to say; never more than a sentence of what was not measured.
pub fn balls(handout: &Handout) -> Markup {
    let is_any = handout.balls.iter().any(|balls| !balls.is_empty());
    html! {
        @if is_any {
            section {
                h2 { "The ball" }
                ul { @for words in handout.balls.iter().flat_map(|balls| balls.words(handout.units)) { li { (words) } } }
                @if handout.balls.iter().any(|balls| balls.if_squared_up.is_some()) {
                    p.faint { "“If squared up” is of a single swing of each group. It is no answer to whether anything has changed." }
                }
            }
        }
    }
}

/// The instructor's words and the homework, where there are any.
pub fn words_and_homework(handout: &Handout) -> Markup {
    let words = handout.words.trim();
    html! {
        @if !words.is_empty() { section.keep { h2 { "From the instructor" } p.words dir="auto" { (words) } } }
        @if !handout.homework.is_empty() {
            section { h2 { "To do until next time" } ul { @for one in &handout.homework { (homework(one)) } } }
        }
    }
}

fn homework(homework: &Homework) -> Markup {
    let Homework { drill, implement, amount, words } = homework;
    html! {
        li dir="auto" {
            b { (drill) }
            @if !implement.is_empty() { ", with " (implement) }
            @if !amount.is_empty() { ": " (amount) }
            @if !words.is_empty() { br; span.faint { (words) } }
        }
    }
}

/// Before the next swing, and what the sheet is not.
pub fn cautions() -> Markup {
    html! {
        section.care {
            h2 { "Before the next swing" }
            ul { @for caution in CAUTIONS { li { (caution) } } }
            p {
                strong { "What this is not. " }
                "It is no diagnosis and no score, and it ranks nobody. It says how a bat moved, and how sure that is; what to \
                 make of it is for athlete and coach."
            }
        }
    }
}
