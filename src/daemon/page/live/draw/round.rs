//! The row of the round's swings.

use super::super::scene::{Card, Scene};
use crate::daemon::page::words as page_words;
use crate::daemon::store::rows::Mark;
use crate::engine::metrics::Metric;
use crate::report::words::{self, Units};
use maud::{Markup, html};
use serde_json::json;

/// The round's swings, the newest first, so that it is seen without scrolling.
pub fn round(scene: &Scene, units: Units) -> Markup {
    let nobody = scene.athlete_id().is_none();
    if scene.round.is_empty() {
        return html! {
            p.faint { (if nobody { "No swing since nobody is at the plate." } else { "No swing in this round yet." }) }
        };
    }
    let shown = scene.last.as_ref().and_then(|last| last.id);
    html! {
        ol.cards tabindex="0" aria-label="This round's swings, the newest first" reversed {
            @for (place, card) in scene.round.iter().enumerate().rev() {
                @let number = scene.before + 1 + i64::try_from(place).unwrap_or(0);
                (swing(card, number, shown == Some(card.id), units))
            }
        }
    }
}

fn swing(card: &Card, number: i64, is_shown: bool, units: Units) -> Markup {
    let row = words::row_of(Metric::BatSpeed, &[card.bat_speed], units);
    let speed = row.cells.into_iter().next().flatten();
    let unit = row.unit;
    let speed = html! {
        @match speed {
            Some(cell) => { b { (cell.value) " " (unit) } span.faint { span.unseen { "plus or minus" } span aria-hidden="true" { "±" } " " (cell.half_width) } },
            None => b { "speed not known" },
        }
    };
    let is_out = card.mark == Mark::Exclude;
    html! {
        li.flagged[!card.flags.is_empty()].out[is_out] data-swing=(card.id) {
            @if card.version.is_some() {
                a href=(format!("/swings/{}", card.id)) data-key=(format!("open-{}", card.id)) {
                    span.unseen { "Swing " } (number) ": " (speed)
                }
            } @else {
                span.head { span.unseen { "Swing " } (number) ": " (speed) }
            }
            span.about { (note(card)) }
            @if let Some(version) = card.version {
                .row.change {
                    (mark(card, number, version, Mark::Keep, false))
                    (mark(card, number, version, Mark::Exclude, is_shown))
                }
            }
        }
    }
}

fn note(card: &Card) -> Markup {
    html! {
        (if card.met_ball { "ball" } else { "met nothing" })
        @if !card.flags.is_empty() {
            span.care-mark title=(card.flags.iter().map(|flag| words::meaning(*flag)).collect::<Vec<_>>().join("; ")) {
                " · with care"
            }
        }
        @if card.mark != Mark::None { " · " (page_words::mark(card.mark)) }
    }
}

/// A button that puts a mark on a swing, or takes it off.
fn mark(card: &Card, number: i64, version: i64, mark: Mark, has_key: bool) -> Markup {
    let is_on = card.mark == mark;
    let to = if is_on {
        "none"
    } else if mark == Mark::Keep {
        "keep"
    } else {
        "exclude"
    };
    let words = if mark == Mark::Keep { "Keep" } else { "Leave out" };
    html! {
        button type="button" data-send=(format!("PATCH /v1/swings/{}", card.id)) data-version=(version)
            data-body=(json!({ "mark": to })) data-then="none" aria-pressed=(is_on)
            data-key=(format!("{words}-{}", card.id)) data-hotkey=[has_key.then_some("x")] {
            (words) span.unseen { ": swing " (number) }
        }
    }
}
