//! The cage screen: who is at the plate, the last swing, the round.
//!
//! [`board`] is the one task that draws, as long as somebody looks: [`scene`] what there is to see, [`read`] and [`then`] what
//! of it is in the store, [`draw`] from there to HTML, a part a [slot](screen::Slot). [`stream`] sends each viewer the parts
//! that are new to them.

mod board;
mod draw;
mod read;
mod scene;
mod screen;
mod stream;
#[cfg(test)]
mod tests;
mod then;

pub use board::Board;
pub use stream::stream;

use super::shell::{Here, Page};
use super::view::View;
use crate::daemon::access::Who;
use crate::daemon::api::{Api, Problem};
use crate::daemon::page::words;
use crate::daemon::store::rows::Role;
use crate::report::words::Units;
use axum::Extension;
use axum::extract::{Request, State};
use axum::http::Method;
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};
use maud::{Markup, html};
use screen::{Screen, Slot};

/// The page. Where nobody was entered yet, whoever can begin is led to where that is done.
pub async fn page(State(api): State<Api>, view: View, Extension(who): Extension<Who>) -> Result<Response, Problem> {
    if who.role() >= Role::Coach && !read::has_athletes(&api).await? {
        return Ok(Redirect::to("/start").into_response());
    }
    let screen = api.screen.watch(&api, view.units).drawn().await;
    let page = Page::new("At the plate", Here::Live, view, &who, main(&screen, view.units));
    let about = screen.about.iter().flat_map(|about| about.iter().copied());
    Ok(page.following("/live/stream").about(about).into_response())
}

/// What is shown of it lies under these. Who is at the plate is news anyway.
const SHOWN: [&str; 6] = ["athletes", "bats", "lessons", "rounds", "swings", "recordings"];

/// What was changed through the API is shown.
pub async fn notice(State(api): State<Api>, request: Request, next: Next) -> Response {
    let is_change = changes(request.method(), request.uri().path());
    let response = next.run(request).await;
    if is_change && response.status().is_success() {
        api.screen.touch();
    }
    response
}

/// Whether the page may look otherwise afterwards.
fn changes(method: &Method, path: &str) -> bool {
    let thing = path.strip_prefix("/v1/").and_then(|path| path.split('/').next());
    ![Method::GET, Method::HEAD].contains(method) && thing.is_some_and(|thing| SHOWN.contains(&thing))
}

fn main(screen: &Screen, units: Units) -> Markup {
    let slot = |slot: Slot| html! { div.slot data-slot=(slot.name()) { (screen.html(units, slot)) } };
    html! {
        .live {
            .seen {
                div.slot role="status" data-slot=(Slot::Faults.name()) { (screen.html(units, Slot::Faults)) }
                section aria-label="Who is at the plate" {
                    (slot(Slot::Who))
                    (words::problem())
                }
                (slot(Slot::Numbers))
                .charts { (slot(Slot::Speed)) (slot(Slot::Side)) (slot(Slot::Above)) }
                h2 { "This round" }
                (slot(Slot::Round))
            }
            section.say #say aria-label="What the next swing belongs to" {
                (words::problem())
                div.slot.change data-slot=(Slot::Plate.name()) { (screen.html(units, Slot::Plate)) }
                (slot(Slot::Sensor))
                (by_ear_and_key())
            }
        }
        p.unseen #said role="status" {}
    }
}

/// Spoken numbers, and keys. Both are kept by the browser.
fn by_ear_and_key() -> Markup {
    let keys = [
        ("L", "left side"),
        ("R", "right side"),
        ("X", "leave the last swing out, or take it back in"),
        ("O", "open the last swing"),
        ("S", "speak the numbers, or be quiet"),
    ];
    html! {
        .row {
            button #speak type="button" aria-pressed="false" data-hotkey="s" hidden { "Speak the numbers" }
        }
        details {
            summary { "Keys" }
            dl.pairs { @for (key, does) in keys { dt { kbd { (key) } } dd { (does) } } }
            button #keys type="button" aria-pressed="true" { "Keys are on" }
        }
    }
}
