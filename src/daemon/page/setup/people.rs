//! The form for a new athlete, with the consent of somebody under age.

use super::fields;
use crate::daemon::api::instant::Instant;
use crate::daemon::store::rows::UtcMicros;
use crate::report::words::Units;
use maud::{Markup, html};

/// Sides, as they are read.
pub const BATS: [(&str, &str); 4] =
    [("right", "right"), ("left", "left"), ("both", "both sides"), ("unknown", "not said")];
/// Who gives a consent, as it is read.
pub const RELATIONS: [(&str, &str); 4] =
    [("parent", "a parent"), ("guardian", "a guardian"), ("self", "the athlete"), ("other", "somebody else who may")];
/// What a consent is for, as it is read.
pub const SCOPES: [(&str, &str); 4] = [
    ("measuring", "swings are measured"),
    ("keeping", "what was measured is kept"),
    ("showing", "it is shown to others in the cage"),
    ("sharing", "it is given to others"),
];

/// The form; then to `then`, in which `{id}` is the new athlete's. With `units`, more is asked for.
pub fn new_athlete(then: &str, units: Option<Units>, now: UtcMicros) -> Markup {
    html! {
        form #new-athlete data-send="POST /v1/athletes" data-also="new-consent" data-then=(then) {
            .fields {
                (fields::line("Nickname", "nickname", "", "e.g. Wren", true))
                (fields::choice("Bats from", "bats", &BATS, "right"))
                @if let Some(units) = units {
                    (fields::number("Year of birth", "birth_year", fields::PLAIN, None, "may stay empty"))
                    (fields::number("Height", "height_m", fields::length(units), None, "may stay empty"))
                }
            }
            label.tick { input type="checkbox" data-opens="new-consent"; " Under 18, or it is not sure" }
            (fields::problem())
        }
        form #new-consent hidden data-send="POST /v1/athletes/{id}/consents" data-first="new-athlete"
            data-body=(given_now(now)) {
            p { "A parent or guardian has to agree before anything is measured." }
            (consent_fields("parent"))
            (fields::problem())
        }
        button.primary type="submit" form="new-athlete" { "Enter the athlete" }
    }
}

/// What is asked for in a consent.
pub fn consent_fields(relation: &str) -> Markup {
    html! {
        .fields {
            (fields::choice("Who agrees", "relation", &RELATIONS, relation))
            (fields::line("Their name", "given_by", "", "first and last name", true))
        }
        fieldset {
            legend { "They agree that" }
            @for (at, (word, read)) in SCOPES.iter().enumerate() {
                label.tick { input type="checkbox" name="scope" value=(word) data-as="list" checked[at < 2]; " " (read) }
            }
        }
    }
}

/// A body with the instant of this machine, which no other clock is compared with.
pub fn given_now(now: UtcMicros) -> String {
    serde_json::json!({ "given": Instant::from(now).to_string() }).to_string()
}
