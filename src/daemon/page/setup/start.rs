//! From nothing to the first swing: four steps on one page, drawn from what is in the store, so that a reload loses nothing.
//! Who and what was touched stands in the address; that the cautions were read, in a cookie of the browser.

use super::fields;
use super::overview::{MOST, bat_words, new_bat, read_as};
use super::{cautions, near, people};
use crate::daemon::access::Who;
use crate::daemon::access::caller::cookies;
use crate::daemon::api::extract::Params;
use crate::daemon::api::{Api, Problem};
use crate::daemon::page::shell::{Here, Page};
use crate::daemon::page::view::View;
use crate::daemon::record::plate;
use crate::daemon::store::StoreError;
use crate::daemon::store::queries::{athletes, bats};
use crate::daemon::store::rows::{Athlete, Bat, Bats, UtcMicros, Word};
use crate::report::words::Units;
use axum::Extension;
use axum::extract::State;
use axum::http::HeaderMap;
use maud::{Markup, html};
use serde::Deserialize;
use serde_json::json;
use uuid::Uuid;

/// So many are offered to be touched; all of them are under "Set up".
const OFFERED: usize = 8;
/// The cookie that says that the cautions were read.
const HEEDED: &str = "cautions=read";
/// In the address: a bat like most.
const USUAL: &str = "none";

/// What was touched so far.
#[derive(Clone, Debug, Deserialize)]
pub struct Touched {
    /// Who swings.
    athlete: Option<Uuid>,
    /// With what: a bat's id, or `none`.
    bat: Option<String>,
}

/// With what is swung.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum With {
    /// It was not said.
    Open,
    /// A bat like most.
    Usual,
    /// This one.
    Bat(Uuid),
}

/// How far it is.
struct Start {
    is_heeded: bool,
    /// Newest first.
    athletes: Vec<Athlete>,
    bats: Vec<Bat>,
    athlete: Option<Athlete>,
    with: With,
}

/// The page.
pub async fn page(
    State(api): State<Api>,
    Params(touched): Params<Touched>,
    headers: HeaderMap,
    view: View,
    Extension(who): Extension<Who>,
) -> Result<Page, Problem> {
    let start = Start::read(&api, &touched, &headers).await?;
    let connected = api.hub.connected().into_iter().next();
    let athlete = start.athlete.as_ref().map(|athlete| athlete.nickname.clone());
    let with = match start.with {
        With::Open => None,
        With::Usual => Some("a bat like most".to_owned()),
        With::Bat(id) => start.bats.iter().find(|bat| bat.id == id).map(|bat| bat.name.clone()),
    };
    let main = html! {
        h1 { "The first swing, step by step" }
        ol.steps {
            (step(1, "Heed this", start.is_heeded.then(|| "Read on this device.".to_owned()), &heed(start.is_heeded)))
            (step(2, "Who swings", athlete, &start.who_swings(api.now())))
            (step(3, "With what", with, &start.with_what(view.units)))
            (step(4, "The sensor", connected, &sensor(&api)))
        }
        (start.to_the_plate())
    };
    let shown: Vec<Uuid> = start.offered_athletes().chain(&start.athlete).map(|athlete| athlete.id).collect();
    Ok(Page::new("Start", Here::Setup, view, &who, main).about(shown))
}

/// A step; a done one says what came of it, and opens to be changed.
fn step(number: u8, title: &str, done: Option<String>, inside: &Markup) -> Markup {
    html! {
        li.step.done[done.is_some()] {
            h2 { span.badge aria-hidden="true" { @if done.is_some() { "✓" } @else { (number) } } " " (title) span.unseen { @if done.is_some() { ": done" } } }
            @if let Some(what) = done {
                p.came { (what) }
                details data-key=(format!("step-{number}")) { summary { "See or change it" } (inside) }
            } @else {
                (inside)
            }
        }
    }
}

fn heed(is_heeded: bool) -> Markup {
    html! {
        (cautions::list())
        @if !is_heeded { button.primary type="button" data-set=(HEEDED) { "I have read this and heed it" } }
    }
}

fn sensor(api: &Api) -> Markup {
    html! {
        p { "Fix it to the end of the knob so that it can neither turn nor come off, and wake it." }
        (near::place(&near::near_now(api), "/setup/nearby"))
        p { "No sensor at hand? A bundled lesson of an invented athlete is played as if it were one." }
        button.change type="button" data-send="POST /v1/example" data-then="/" { "Try it with the bundled recording" }
        (fields::problem())
    }
}

/// What is not there is nothing, and no error.
fn there<T>(got: Result<T, StoreError>) -> Result<Option<T>, StoreError> {
    match got {
        Ok(it) => Ok(Some(it)),
        Err(StoreError::NoSuch { .. }) => Ok(None),
        Err(error) => Err(error),
    }
}

impl Start {
    async fn read(api: &Api, touched: &Touched, headers: &HeaderMap) -> Result<Self, Problem> {
        let mut reading = api.store.read().await?;
        let at_plate = plate::current(&mut reading, &api.cage, api.now()).await?.plate;
        let athletes = athletes::newest(&mut reading, MOST).await?;
        let mut bats = bats::newest(&mut reading, MOST).await?;
        bats.retain(|bat| !bat.is_retired);
        // Who was touched, else who is at the plate, else who was entered last. Who was touched and is not there is nobody.
        let athlete = match touched.athlete.or(at_plate.athlete_id) {
            Some(id) => there(athletes::get(&mut reading, id).await)?,
            None => athletes.first().cloned(),
        };
        drop(reading);
        let is_there = |id: &Uuid| bats.iter().any(|bat| bat.id == *id);
        let with = match touched.bat.as_deref() {
            Some(USUAL) => With::Usual,
            Some(asked) => asked.parse().ok().filter(is_there).map_or(With::Open, With::Bat),
            None => {
                let known = at_plate.bat_id.filter(is_there).or(bats.first().map(|bat| bat.id));
                known.map_or(With::Open, With::Bat)
            }
        };
        let is_heeded = cookies(headers).any(|cookie| Some(cookie) == HEEDED.split_once('='));
        Ok(Self { is_heeded, athletes, bats, athlete, with })
    }

    fn offered_athletes(&self) -> impl Iterator<Item = &Athlete> {
        self.athletes.iter().take(OFFERED)
    }

    /// The address with another athlete, and what else was touched.
    fn with_athlete(&self, athlete: &str) -> String {
        let bat = match self.with {
            With::Open => return format!("/start?athlete={athlete}"),
            With::Usual => USUAL.to_owned(),
            With::Bat(id) => id.to_string(),
        };
        format!("/start?athlete={athlete}&bat={bat}")
    }

    /// The address with another bat.
    fn with_bat(&self, bat: &str) -> String {
        let athlete = self.athlete.as_ref().map(|athlete| format!("athlete={}&", athlete.id)).unwrap_or_default();
        format!("/start?{athlete}bat={bat}")
    }

    fn who_swings(&self, now: UtcMicros) -> Markup {
        let new = people::new_athlete(&self.with_athlete("{id}"), None, now);
        let chosen = self.athlete.as_ref().map(|athlete| athlete.id);
        html! {
            @if self.athletes.is_empty() {
                (new)
            } @else {
                .row {
                    @for athlete in self.offered_athletes() {
                        @let is_chosen = (Some(athlete.id) == chosen).then_some("true");
                        a.button href=(self.with_athlete(&athlete.id.to_string())) aria-current=[is_chosen] { (athlete.nickname) }
                    }
                    @if self.athletes.len() > OFFERED { a href="/setup" { "All of them" } }
                }
                details data-key="new-athlete" { summary { "Somebody else" } (new) }
            }
        }
    }

    fn with_what(&self, units: Units) -> Markup {
        let new = new_bat(&self.with_bat("{id}"), units, false);
        html! {
            .row {
                @for bat in self.bats.iter().take(OFFERED) {
                    @let is_chosen = (self.with == With::Bat(bat.id)).then_some("true");
                    a.button href=(self.with_bat(&bat.id.to_string())) aria-current=[is_chosen] { (bat.name) (bat_words(bat, units)) }
                }
                @let is_chosen = (self.with == With::Usual).then_some("true");
                a.button href=(self.with_bat(USUAL)) aria-current=[is_chosen] { "A bat like most" }
            }
            p.faint { "A bat like most is 33 in (83.8 cm) and 30 oz (850 g). Length and weight are enough for another; the rest can follow." }
            @if self.bats.is_empty() { (new) } @else { details data-key="new-bat" { summary { "Another bat" } (new) } }
        }
    }

    /// One touch; two buttons for whoever bats from both sides, or has not said from which.
    fn to_the_plate(&self) -> Markup {
        let Some(athlete) = &self.athlete else {
            return html! { p.faint { "Say who swings; the way to the plate is here then." } };
        };
        let bat_id = match self.with {
            With::Bat(id) => Some(id),
            With::Open | With::Usual => None,
        };
        let sides: &[&str] = match athlete.bats {
            Bats::Right => &["right"],
            Bats::Left => &["left"],
            Bats::Both | Bats::Unknown => &["right", "left"],
        };
        html! {
            section.plate aria-label="To the plate" {
                @if !self.is_heeded { p { "Read the cautions first, and say so." } }
                .row {
                    @for side in sides {
                        button.primary.change type="button" data-send="PUT /v1/at-the-plate" data-then="/" disabled[!self.is_heeded]
                            data-body=(json!({ "athlete_id": athlete.id, "side": side, "bat_id": bat_id })) {
                            "To the plate: " (athlete.nickname) ", bats " (side)
                        }
                    }
                }
                @if athlete.bats == Bats::Both || athlete.bats == Bats::Unknown {
                    p.faint { (athlete.nickname) " bats from " (read_as(&people::BATS, athlete.bats.word())) ": from which now?" }
                }
                (fields::problem())
            }
        }
    }
}
