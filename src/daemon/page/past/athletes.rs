//! Who was here.

use super::super::shell::{Here, Page};
use super::super::view::View;
use super::super::when;
use super::super::words::{self, name};
use crate::daemon::access::Who;
use crate::daemon::api::{Api, Kind, Params, Problem};
use crate::daemon::store::queries::lessons::{self, Had};
use crate::daemon::store::queries::{Slice, athletes as stored};
use crate::daemon::store::rows::Athlete;
use axum::Extension;
use axum::extract::State;
use maud::{Markup, html};
use serde::Deserialize;
use std::collections::BTreeMap;
use uuid::Uuid;

/// On one page.
const MOST: usize = 100;
/// Names are not longer, characters.
const LONGEST_NAME: usize = 100;

/// What is asked for.
#[derive(Debug, Default, Deserialize)]
pub struct Asked {
    #[serde(default)]
    name: String,
    #[serde(default)]
    after: String,
}

/// All athletes, or those whose names hold some words.
pub async fn athletes(
    State(api): State<Api>,
    view: View,
    Extension(who): Extension<Who>,
    Params(asked): Params<Asked>,
) -> Result<Page, Problem> {
    // No name holds anything else, and PostgreSQL takes no NUL.
    let wanted: String = asked.name.trim().chars().filter(|c| !c.is_control()).take(LONGEST_NAME).collect();
    let not_ours = |_| Problem::new(Kind::Malformed, "`after` is no athlete; begin at the first page");
    let after = Some(asked.after).filter(|after| !after.is_empty());
    let after: Option<Uuid> = after.map(|after| after.parse().map_err(not_ours)).transpose()?;
    let mut reading = api.store.read().await?;
    let mut found = stored::search(&mut reading, &wanted, Slice { after, limit: MOST as i64 + 1 }).await?;
    let is_more = found.len() > MOST;
    found.truncate(MOST);
    let last = found.last().map(|athlete| athlete.id).filter(|_| is_more);
    let ids: Vec<Uuid> = found.iter().map(|athlete| athlete.id).collect();
    let had = lessons::had(&mut reading, &ids).await?;
    drop(reading);
    found.sort_by_key(|athlete| athlete.nickname.to_lowercase());
    let main = html! {
        h1 { "Athletes" }
        (search(&wanted))
        @if found.is_empty() { (nobody(&wanted)) } @else { ul.people { @for one in &found { (line(one, &had)) } } }
        @if let Some(last) = last { (more(&wanted, last)) }
    };
    Ok(Page::new("Athletes", Here::Past, view, &who, main).about(ids))
}

fn search(wanted: &str) -> Markup {
    html! {
        form.row.no-print method="get" action="/athletes" role="search" {
            label { "Name " input type="search" name="name" value=(wanted) maxlength=(LONGEST_NAME) dir="auto"; }
            button type="submit" { "Search" }
            @if !wanted.is_empty() { a.button href="/athletes" { "Show all" } }
        }
    }
}

fn nobody(wanted: &str) -> Markup {
    html! {
        @if wanted.is_empty() {
            p { "Nobody has been entered yet." }
            p.change { a.button.primary href="/start" { "Start here" } }
        } @else {
            p { "No name holds " (name(wanted)) "." }
        }
    }
}

fn line(athlete: &Athlete, had: &BTreeMap<Uuid, Had>) -> Markup {
    let had = had.get(&athlete.id);
    html! {
        li {
            a.who href=(format!("/athletes/{}", athlete.id)) {
                (name(&athlete.nickname))
                span.faint { (words::bats(athlete.bats)) }
            }
            span.had {
                @match had {
                    Some(had) => {
                        (words::count(usize::try_from(had.lessons).unwrap_or(0), "lesson")) ", last "
                        (when::day(had.last))
                    },
                    None => span.faint { "no lesson yet" },
                }
            }
            a.button.change href=(format!("/setup/athletes/{}", athlete.id)) {
                "Set up" span.unseen { " " (name(&athlete.nickname)) }
            }
        }
    }
}

/// A form, so that the browser writes the name into the address.
fn more(wanted: &str, last: Uuid) -> Markup {
    html! {
        form.no-print method="get" action="/athletes" {
            input type="hidden" name="name" value=(wanted);
            input type="hidden" name="after" value=(last);
            button type="submit" { "Further athletes" }
        }
    }
}
