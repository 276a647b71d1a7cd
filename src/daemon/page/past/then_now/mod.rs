//! Then and now: two groups of an athlete's swings side by side. What is compared, the [`answers`], where the speed is
//! ([`charts`]), how [`alike`] the swings are, the [`balls`], a [`sheet`] to take home; the [`form`] says which swings.

mod alike;
mod answers;
mod balls;
mod charts;
mod form;
mod sheet;

use super::super::shell::{Here, Page};
use super::super::view::View;
use super::super::words::{self, name};
use super::ball_and_air::BallAndAir;
use crate::daemon::access::Who;
use crate::daemon::api::then_now::query::ThenNowQuery;
use crate::daemon::api::then_now::usual::{completed, days};
use crate::daemon::api::{Api, Id, Problem};
use crate::daemon::record::handout::{Gathered, gather};
use crate::daemon::record::then_now::question;
use crate::daemon::store::queries::athletes;
use crate::report::change;
use crate::report::then_now::{groups, left_out};
use axum::Extension;
use axum::extract::{RawQuery, State};
use form::Form;
use maud::{Markup, html};
use uuid::Uuid;

/// The page.
pub async fn then_now(
    State(api): State<Api>,
    view: View,
    Extension(who): Extension<Who>,
    Id(id): Id<Uuid>,
    RawQuery(asked): RawQuery,
) -> Result<Page, Problem> {
    let mut reading = api.store.read().await?;
    let athlete = athletes::get(&mut reading, id).await?;
    let days = days(&mut reading, id).await?;
    let (ball_and_air, others) = BallAndAir::of(asked.as_deref().unwrap_or_default())?;
    let asked = completed(&others, &days);
    let ThenNowQuery { filters, metrics, .. } = ThenNowQuery::of_athlete(&asked.query, id)?;
    let question = question(&mut reading, metrics).await?;
    let form = Form::read(&mut reading, id, days, &filters, &question.family).await?;
    let gathered = gather(&mut reading, id, [&filters[0], &filters[1]], &question, &ball_and_air.asked).await?;
    drop(reading);
    let main = html! {
        p.crumbs {
            a href="/athletes" { "Athletes" } " › " a href=(format!("/athletes/{id}")) { (name(&athlete.nickname)) }
        }
        h1 { "Then and now" }
        @if form.days.is_empty() {
            p { "There is no swing yet. Swings made while " (name(&athlete.nickname)) " is at the plate come here." }
        } @else {
            (compared(&gathered))
            (form.markup(&asked, &ball_and_air))
            @if gathered.compared.in_both() == 0 {
                (answers::section(&gathered, view.units))
                (charts::section(&gathered, view.units))
                (alike::section(&gathered, &question.family, view.units))
                (balls::section(&gathered.balls, &ball_and_air, &asked.query, view.units))
                (sheet::section(id, &asked.query, &ball_and_air, view.units))
            }
        }
    };
    let title = format!("{}: then and now", athlete.nickname);
    Ok(Page::new(title, Here::Past, view, &who, main).about(gathered.compared.athletes()).about([id]))
}

/// What stands against what, what is not among it, and what was not the same.
fn compared(gathered: &Gathered) -> Markup {
    let [then, now] = &gathered.heard;
    html! {
        p.compared { (groups(then, now)) @if let Some(words) = left_out(then, now) { " " (words) } }
        @if gathered.compared.in_both() > 0 {
            p.care {
                strong { (words::count(gathered.compared.in_both(), "swing")) " in both groups. " }
                "Nothing that is said of such groups holds: choose days that are then or now, not both."
            }
        }
        @if !gathered.compared.mismatches.is_empty() {
            section.care aria-label="Not the same" {
                p { strong { "Not all was the same. " } "What has changed may come from this and not from the swing:" }
                ul { @for one in &gathered.compared.mismatches {
                    li { strong { (change::condition(one.condition)) } ": " bdi { (change::mismatch(one)) } "." }
                } }
            }
        }
    }
}
