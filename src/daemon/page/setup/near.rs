//! What sensors are near, with "use this one": a part of two pages, which asks for itself again and again.

use crate::daemon::api::extract::Params;
use crate::daemon::api::nearby::{NearbySensor, near};
use crate::daemon::api::sensors::{self, Known};
use crate::daemon::api::{Api, Problem};
use axum::extract::State;
use axum::response::Html;
use maud::{Markup, html};
use serde::Deserialize;

/// What is asked for.
#[derive(Clone, Copy, Debug, Deserialize)]
pub struct Asked {
    /// Whether those that were connected before are in it.
    stored: Option<bool>,
}

/// The part.
pub async fn part(State(api): State<Api>, Params(asked): Params<Asked>) -> Result<Html<String>, Problem> {
    let drawn = if asked.stored == Some(true) { both(&api).await? } else { near_now(&api) };
    Ok(Html(drawn.into_string()))
}

/// Where it is filled in.
pub fn place(drawn: &Markup, path: &str) -> Markup {
    html! { div data-poll=(path) data-every="2000" aria-live="polite" { (drawn) } }
}

/// Those that were ever connected, and those that are near.
pub async fn both(api: &Api) -> Result<Markup, Problem> {
    let known = sensors::known(api).await?;
    Ok(html! {
        (sensor_list(&known))
        h3 { "Near now" }
        (near_now(api))
    })
}

fn sensor_list(known: &[Known]) -> Markup {
    html! {
        @if known.is_empty() { p { "None was connected yet." } }
        ul.list {
            @for Known { row, live } in known {
                li { a.who href=(format!("/setup/sensors/{}", row.id)) {
                    strong { @if row.label.is_empty() { (row.name) } @else { (row.label) } }
                    span.faint {
                        @if !row.label.is_empty() { " " (row.name) }
                        " · " (live.as_ref().map_or("not connected since the start", |live| live["link"].as_str().unwrap_or("waiting")))
                        @if let Some(percent) = live.as_ref().and_then(|live| live["battery_percent"].as_u64()) { " · battery " (percent) " %" }
                    }
                } }
            }
        }
    }
}

/// What is near.
pub fn near_now(api: &Api) -> Markup {
    let near = near(api);
    let is_any_used = near.items.iter().any(|item| item.is_used);
    let mut items = near.items;
    // The loudest first; in steps, so that the list stays in order while one looks.
    items.sort_by_key(|item| (!item.is_connected, item.rssi_dbm.map_or(i16::MAX, |dbm| -tens(dbm)), item.id.clone()));
    html! {
        @if let Some(why) = &near.why_empty { p { "Nothing is heard: " (why) "." } }
        @if !items.is_empty() {
            ul.list {
                @for item in &items { li { (line(item, is_any_used)) } }
            }
        }
        @if is_any_used {
            p.faint { "Only what is marked as used is connected to." }
        } @else if !items.is_empty() {
            p.faint { "None is marked as used: every sensor is connected to that says what it is. Use one, and the others are left alone." }
        }
    }
}

fn line(item: &NearbySensor, is_any_used: bool) -> Markup {
    let name = item.name.as_deref().unwrap_or("without a name");
    let state = match (item.is_connected, item.is_used, &item.heard) {
        (true, ..) => "connected",
        (false, true, Some(_)) => "used; it is being connected to",
        (false, true, None) => "used; it was not heard since the start",
        (false, false, _) if item.sensor.is_some() => "it is being connected to",
        (false, false, _) => "not connected",
    };
    let send = format!("PUT /v1/nearby/{}", encoded(&item.id));
    html! {
        .who {
            strong { (name) }
            " " span.faint { (item.id) }
            br;
            @if let Some(kind) = &item.kind { (kind) " · " }
            @if let Some(dbm) = item.rssi_dbm { "signal about " (minus(tens(dbm))) " dBm · " }
            (state)
            @if !item.is_sure && item.heard.is_some() { br; span.faint { "Known by its name alone: it may be somebody else's." } }
        }
        @if item.is_used {
            button.change type="button" data-key=(format!("leave {}", item.id)) data-send=(send) data-then="none"
                data-body=r#"{"is_used":false}"# { "No longer use it" }
        } @else {
            button.change.primary[!is_any_used] type="button" data-key=(format!("use {}", item.id)) data-send=(send) data-then="none"
                data-body=r#"{"is_used":true}"# { "Use this one" span.unseen { ": " (name) " " (item.id) } }
        }
    }
}

/// Rounded to tens: more than that changes by itself.
fn tens(dbm: i16) -> i16 {
    let tens = (f32::from(dbm) / 10.0).round();
    tens as i16 * 10
}

fn minus(value: i16) -> String {
    if value < 0 { format!("−{}", -value) } else { value.to_string() }
}

/// A text as a segment of a path (RFC 3986, 2.3).
pub fn encoded(text: &str) -> String {
    let byte = |byte: u8| match byte {
        b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' => char::from(byte).to_string(),
        _ => format!("%{byte:02X}"),
    };
    text.bytes().map(byte).collect()
}
