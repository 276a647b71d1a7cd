//! What people say of a swing, and whose it is: each change goes to the API with the version that is shown.

use super::super::super::words::problem;
use super::super::places::Places;
use crate::daemon::store::rows::{Mark, Swing, Word};
use maud::{Markup, html};
use serde_json::json;

/// Mark, note and tags; where it goes, once that is asked for.
pub fn section(swing: &Swing, places: Option<&Places>) -> Markup {
    html! {
        section.change.no-print {
            h2 { "What is said of it" }
            (problem())
            (marks(swing))
            (words_of_it(swing))
            @match places {
                Some(places) => (moving(swing, places)),
                None => p { a.button href="?moving=yes#move" { "Move it to another athlete, round, side or bat" } },
            }
        }
    }
}

fn send(swing: &Swing) -> String {
    format!("PATCH /v1/swings/{}", swing.id)
}

fn marks(swing: &Swing) -> Markup {
    let marks = [(Mark::None, "Count it"), (Mark::Keep, "Keep, whatever its flags"), (Mark::Exclude, "Leave out")];
    html! {
        .row role="group" aria-label="Whether it counts" {
            @for (mark, what) in marks {
                button type="button" data-send=(send(swing)) data-version=(swing.version)
                    data-body=(json!({"mark": mark.word()})) aria-pressed=(swing.mark == mark) { (what) }
            }
        }
    }
}

fn words_of_it(swing: &Swing) -> Markup {
    html! {
        form.telling data-send=(send(swing)) data-version=(swing.version) {
            label { "Note " textarea name="note" rows="3" maxlength="2000" dir="auto" { (swing.note) } }
            (problem())
            button type="submit" { "Save the note" }
        }
        form.telling data-send=(send(swing)) data-version=(swing.version) {
            label {
                "Tags, between commas "
                input name="tags" data-as="words" value=(swing.tags.join(", ")) dir="auto";
            }
            (problem())
            button type="submit" { "Save the tags" }
        }
    }
}

fn moving(swing: &Swing, places: &Places) -> Markup {
    let here = format!("/swings/{}", swing.id);
    html! {
        section.card {
            h3 #move { "Move it" }
            form.telling data-send=(send(swing)) data-version=(swing.version) data-then=(here) {
                (places.fields())
                (problem())
                button.primary type="submit" { "Move" }
            }
            .row {
                button type="button" data-send=(send(swing)) data-version=(swing.version)
                    data-body=(json!({"athlete_id": null})) { "It is nobody's" }
                @if swing.round_id.is_some() {
                    button type="button" data-send=(send(swing)) data-version=(swing.version)
                        data-body=(json!({"round_id": null})) { "It is of no round" }
                }
                a.button href=(here) { "Leave it where it is" }
            }
        }
    }
}
