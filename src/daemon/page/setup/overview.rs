//! Athletes, bats and sensors.

use super::{cautions, fields, near, people};
use crate::daemon::access::Who;
use crate::daemon::api::consents::{ConsentState, standing};
use crate::daemon::api::{Api, Problem};
use crate::daemon::page::shell::{Here, Page};
use crate::daemon::page::view::View;
use crate::daemon::page::words;
use crate::daemon::store::queries::{Slice, athletes, bats, consents};
use crate::daemon::store::rows::{self, UtcMicros};
use crate::report::words::Units;
use axum::Extension;
use axum::extract::State;
use maud::{Markup, html};
use std::collections::BTreeMap;
use uuid::Uuid;

/// More are not listed at once, those that were entered last first.
pub const MOST: i64 = 500;
/// All from the beginning.
pub const ALL: Slice<Uuid> = Slice { after: None, limit: MOST };

/// The page.
pub async fn page(State(api): State<Api>, view: View, Extension(who): Extension<Who>) -> Result<Page, Problem> {
    let mut reading = api.store.read().await?;
    let athletes = athletes::newest(&mut reading, MOST).await?;
    let ids: Vec<Uuid> = athletes.iter().map(|athlete| athlete.id).collect();
    let mut by_athlete: BTreeMap<Uuid, Vec<rows::Consent>> = BTreeMap::new();
    for consent in consents::of_athletes(&mut reading, &ids).await? {
        by_athlete.entry(consent.athlete_id).or_default().push(consent);
    }
    let bats = bats::newest(&mut reading, MOST).await?;
    drop(reading);
    let now = api.now();
    let main = html! {
        h1 { "Set up" }
        p { a.button href="/start" { "The first swing, step by step" } }
        .columns {
            section aria-labelledby="athletes" {
                h2 #athletes { "Athletes" }
                (athlete_list(&athletes, &by_athlete, now))
                details data-key="new-athlete" open[athletes.is_empty()] {
                    summary { "Enter an athlete" }
                    (people::new_athlete("/setup/athletes/{id}", Some(view.units), now))
                }
            }
            section aria-labelledby="bats" {
                h2 #bats { "Bats and implements" }
                (bat_list(&bats, view.units))
                details data-key="new-bat" open[bats.is_empty()] {
                    summary { "Enter a bat or an implement" }
                    (new_bat("/setup/bats/{id}", view.units, true))
                }
            }
            section aria-labelledby="sensors" {
                h2 #sensors { "Sensors" }
                (near::place(&near::both(&api).await?, "/setup/nearby?stored=true"))
            }
        }
        .columns {
            section {
                h2 { "Other devices" }
                p {
                    "A phone or a tablet gets in with a code: run " code { "swingd pair" } " on this machine, then open "
                    a href="/pair" { "Pair this device" } " on the other one and enter the code."
                }
            }
            section {
                h2 { "Then and now" }
                p { a.button href="/setup/amounts" { "How much of a change matters" } }
            }
            section { h2 { "Cautions" } (cautions::list()) }
        }
    };
    Ok(Page::new("Set up", Here::Setup, view, &who, main).about(ids))
}

fn athlete_list(athletes: &[rows::Athlete], consents: &BTreeMap<Uuid, Vec<rows::Consent>>, now: UtcMicros) -> Markup {
    html! {
        @if athletes.is_empty() { p { "Nobody was entered yet." } }
        ul.list {
            @for athlete in athletes {
                li { a.who href=(format!("/setup/athletes/{}", athlete.id)) {
                    strong { (athlete.nickname) }
                    span.faint {
                        " " (words::bats(athlete.bats)) " · "
                        (consent_words(standing(consents.get(&athlete.id).map_or(&[], Vec::as_slice), now).0))
                    }
                } }
            }
        }
    }
}

fn bat_list(bats: &[rows::Bat], units: Units) -> Markup {
    html! {
        @if bats.is_empty() { p { "None was entered yet." } }
        ul.list {
            @for bat in bats {
                li { a.who href=(format!("/setup/bats/{}", bat.id)) {
                    strong { (bat.name) }
                    span.faint { (bat_words(bat, units)) }
                } }
            }
        }
    }
}

/// What is known of a bat, short.
pub fn bat_words(bat: &rows::Bat, units: Units) -> String {
    let mut words = String::new();
    let mut add = |word: &str| {
        words.push_str(if words.is_empty() { " " } else { " · " });
        words.push_str(word);
    };
    bat.length_m.iter().for_each(|m| add(&fields::length(units).with_unit(*m)));
    bat.mass_kg.iter().for_each(|kg| add(&fields::mass(units).with_unit(*kg)));
    match bat.moi {
        Some(rows::Moi::Pendulum { .. }) => add("swung as a pendulum"),
        Some(rows::Moi::Entered { .. }) => add("moment of inertia entered"),
        None => {}
    }
    if bat.kind == rows::BatKind::Implement {
        add("implement");
    }
    if bat.is_retired {
        add("retired");
    }
    words
}

/// The form for a new bat; then to `then`, in which `{id}` is the new bat's. It may be something else if that is asked.
pub fn new_bat(then: &str, units: Units, asks_kind: bool) -> Markup {
    let (length, mass) = match units {
        Units::Us => ("e.g. 33", "e.g. 30"),
        Units::Metric => ("e.g. 84", "e.g. 850"),
    };
    html! {
        form #new-bat data-send="POST /v1/bats" data-then=(then) data-body=[(!asks_kind).then_some(r#"{"kind":"bat"}"#)] {
            .fields {
                (fields::line("Name", "name", "", "e.g. Ash 33", true))
                @if asks_kind { (fields::choice("It is", "kind", &super::bat::KINDS, "bat")) }
                (fields::number("Length", "length_m", fields::length(units), None, length))
                (fields::number("Weight", "mass_kg", fields::mass(units), None, mass))
            }
            (fields::problem())
            button.primary type="submit" { "Enter the bat" }
        }
    }
}

/// What people read for a word.
pub fn read_as<'a>(words: &[(&str, &'a str)], word: &'a str) -> &'a str {
    words.iter().find(|(known, _)| *known == word).map_or(word, |(_, read)| read)
}

/// How consent stands, short.
pub fn consent_words(state: ConsentState) -> &'static str {
    match state {
        ConsentState::InForce => "consent given",
        ConsentState::Expired => "consent is over",
        ConsentState::Withdrawn => "consent withdrawn",
        ConsentState::None => "no consent written down",
    }
}
