//! What the athlete has to do until next time.

use super::super::super::when;
use super::super::super::words::{name, problem};
use crate::daemon::store::StoreError;
use crate::daemon::store::queries::homework;
use crate::daemon::store::rows::{Bat, Homework};
use maud::{Markup, html};
use sqlx::AnyConnection;
use uuid::Uuid;

/// So many of those that are done are shown, the latest.
const MOST_DONE: i64 = 10;

/// What was given.
pub struct Given {
    open: Vec<Homework>,
    done: Vec<Homework>,
}

/// All that is still to be done, and what was done last.
///
/// # Errors
/// If it cannot be read.
pub async fn given(reading: &mut AnyConnection, athlete: Uuid) -> Result<Given, StoreError> {
    let open = homework::open(reading, athlete).await?;
    Ok(Given { open, done: homework::latest_done(reading, athlete, MOST_DONE).await? })
}

/// What is to be done, what was done, and a form for more.
pub fn section(athlete: Uuid, Given { open, done }: &Given, bats: &[Bat]) -> Markup {
    html! {
        section.homework {
            h2 #homework { "Homework" }
            @if open.is_empty() { p.faint { "Nothing is to be done." } }
            ul.list { @for one in open { (line(one, bats)) } }
            @if !done.is_empty() {
                details data-key="homework-done" {
                    summary { "What was done" }
                    ul.list { @for one in done { (line(one, bats)) } }
                }
            }
            details.change.no-print data-key="homework-new" { summary { "Give homework" } (new(athlete, bats)) }
        }
    }
}

fn line(one: &Homework, bats: &[Bat]) -> Markup {
    let path = format!("/v1/homework/{}", one.id);
    let bat = one.bat_id.and_then(|id| bats.iter().find(|bat| bat.id == id));
    html! {
        li {
            .who {
                strong dir="auto" { (one.drill) }
                @if let Some(bat) = bat { ", with " (name(&bat.name)) }
                @if !one.how_much.is_empty() { ": " bdi { (one.how_much) } }
                @if !one.words.is_empty() { br; span.faint dir="auto" { (one.words) } }
                br;
                span.faint { "given " (when::day(one.given)) @if let Some(ended) = one.ended { ", done " (when::day(ended)) } }
                (problem())
            }
            @if one.ended.is_none() {
                form.change data-send=(format!("PATCH {path}")) data-version=(one.version) {
                    input type="hidden" name="ended" data-as="now";
                    button type="submit" { "Done" span.unseen { ": " (one.drill) } }
                }
            }
            button.change type="button" data-send=(format!("DELETE {path}")) data-version=(one.version)
                data-confirm="Remove it, as if it had never been given?" { "Remove" span.unseen { ": " (one.drill) } }
        }
    }
}

fn new(athlete: Uuid, bats: &[Bat]) -> Markup {
    html! {
        form.telling data-send=(format!("POST /v1/athletes/{athlete}/homework")) {
            label { "Drill " input name="drill" maxlength="100" required dir="auto" placeholder="e.g. tee, low and away"; }
            label { "With " select name="bat_id" {
                option value="" { "nothing said" }
                @for bat in bats { option value=(bat.id) { (bat.name) } }
            } }
            label { "How much " input name="how_much" maxlength="100" dir="auto" placeholder="e.g. 3 × 10 a day" data-leave; }
            label { "Words " textarea name="words" rows="2" maxlength="2000" dir="auto" data-leave {} }
            (problem())
            button.primary type="submit" { "Give it" }
        }
    }
}
