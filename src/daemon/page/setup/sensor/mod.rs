//! A sensor: how it is, how it sits, and whether it is what it is said to be.
//!
//! [`checking`] draws how a check stands; [`routines`] how each is done; [`sits`] mounts and aims.

mod checking;
mod routines;
mod sits;
#[cfg(test)]
mod tests;

use super::fields;
use super::overview::{ALL, MOST};
use crate::daemon::access::Who;
use crate::daemon::api::extract::Id;
use crate::daemon::api::sensors;
use crate::daemon::api::{Api, Problem, checks};
use crate::daemon::page::shell::{Here, Page};
use crate::daemon::page::view::View;
use crate::daemon::store::queries::aims::{self, Filter};
use crate::daemon::store::queries::{bats, lessons, mounts, sensors as rows};
use crate::daemon::store::rows::Aim;
use axum::Extension;
use axum::extract::State;
use axum::response::Html;
use maud::{Markup, html};
use serde_json::Value;
use sqlx::AnyConnection;
use uuid::Uuid;

/// The page.
pub async fn page(
    State(api): State<Api>,
    Id(id): Id<Uuid>,
    view: View,
    Extension(who): Extension<Who>,
) -> Result<Page, Problem> {
    let state = checks::state(&api, id).await?;
    let known = sensors::known(&api).await?.into_iter().find(|known| known.row.id == id);
    let mut reading = api.store.read().await?;
    let row = rows::get(&mut reading, id).await?;
    let live = known.and_then(|known| known.live);
    let mounts = mounts::list(&mut reading, Some(id), ALL).await?;
    let of_sensor = Filter { sensor_id: Some(id), ..Filter::default() };
    let aims = aims::list(&mut reading, &of_sensor, ALL).await?;
    let bats = bats::newest(&mut reading, MOST).await?;
    let shown = whose(&mut reading, sits::newest(&aims)).await?;
    drop(reading);
    let name = if row.label.is_empty() { row.name.clone() } else { row.label.clone() };
    let kept = checking::Kept { mounts: &mounts, aims: &aims };
    let part = format!("/setup/sensors/{id}/check");
    let main = html! {
        p { a href="/setup" { "Set up" } " / sensor" }
        h1 { (name) }
        .columns {
            section aria-labelledby="now" {
                h2 #now { "Now" }
                (now(live.as_ref()))
                form data-send=(format!("PATCH /v1/sensors/{id}")) data-version=(row.version) {
                    .fields {
                        (fields::line("What you call it", "label", &row.label, "e.g. Blue", false))
                        (fields::note(&row.note))
                    }
                    (fields::problem())
                    button.primary.change type="submit" { "Keep the changes" }
                }
            }
            section aria-labelledby="sits" {
                h2 #sits { "How it sits on a bat" }
                (sits::mounts(&mounts, &bats, id, view.units))
                h2 { "Where the pitcher is" }
                (sits::aims(&aims, api.now(), api.checks.tap(&row.name).and_then(|tap| tap.last_fix())))
            }
        }
        section aria-labelledby="checks" {
            h2 #checks { "Checks" }
            p.care { (routines::CAUTION) }
            div #check tabindex="-1" data-poll=(part) aria-live="polite" { (checking::drawn(state.as_ref(), &kept, view.units)) }
            .steps { (routines::cards(id, &bats, state.as_ref())) }
        }
    };
    Ok(Page::new(name, Here::Setup, view, &who, main).about(shown))
}

/// Whose an aim is: of a lesson, its athlete's.
async fn whose(reading: &mut AnyConnection, aim: Option<&Aim>) -> Result<Option<Uuid>, Problem> {
    match aim.and_then(|aim| aim.lesson_id) {
        Some(lesson_id) => Ok(Some(lessons::get(reading, lesson_id).await?.athlete_id)),
        None => Ok(None),
    }
}

/// How a check stands now: a part of a page.
pub async fn check(State(api): State<Api>, Id(id): Id<Uuid>, view: View) -> Result<Html<String>, Problem> {
    let state = checks::state(&api, id).await?;
    let mut reading = api.store.read().await?;
    let mounts = mounts::list(&mut reading, Some(id), ALL).await?;
    let of_sensor = Filter { sensor_id: Some(id), ..Filter::default() };
    let aims = aims::list(&mut reading, &of_sensor, ALL).await?;
    drop(reading);
    let kept = checking::Kept { mounts: &mounts, aims: &aims };
    Ok(Html(checking::drawn(state.as_ref(), &kept, view.units).into_string()))
}

/// What it says of itself.
fn now(live: Option<&Value>) -> Markup {
    let Some(live) = live else {
        return html! { p { "It was not connected since the service was started. Wake it by moving it." } };
    };
    let number = |key: &str| live.get(key).and_then(Value::as_f64);
    let words = |key: &str| live.get(key).and_then(Value::as_str);
    html! {
        dl.pairs {
            dt { "Connection" } dd { (words("link").unwrap_or("waiting")) }
            @if let Some(hardware) = words("hardware") { dt { "Hardware" } dd { (hardware) } }
            @if let Some(percent) = number("battery_percent") { dt { "Battery" } dd { (format!("{percent:.0} %")) } }
            @if let Some(rate) = number("sample_rate_hz") { dt { "Samples" } dd { (format!("{rate:.0} a second")) } }
            @if let Some(share) = number("lost_share") { dt { "Lost on the way" } dd { (format!("{:.1} %", 100.0 * share)) } }
        }
        p.faint { "As the page was loaded." }
    }
}
