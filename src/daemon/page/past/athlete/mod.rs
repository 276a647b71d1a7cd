//! An athlete: the way to then and now, the trend of a metric, lessons, the newest first, what was measured of balls, homework.

mod balls;
mod homework;
mod trend;

use super::super::figure::wide;
use super::super::shell::{Here, Page};
use super::super::view::View;
use super::super::when;
use super::super::words::{self, name};
use super::after;
use super::spread::mean_and_spread;
use crate::daemon::access::Who;
use crate::daemon::api::{Api, Id, Params, Problem};
use crate::daemon::record::measured_balls::measured_balls;
use crate::daemon::store::queries::ball_results::MeasuredOf;
use crate::daemon::store::queries::lessons::{self, Counted};
use crate::daemon::store::queries::swings_read::summary::{Group, SummaryOf, by_lesson};
use crate::daemon::store::queries::{Slice, TimeKey, athletes, bats};
use crate::daemon::store::rows::Side;
use crate::engine::metrics::Metric;
use crate::report::words::Units;
use axum::Extension;
use axum::extract::State;
use maud::{Markup, html};
use trend::{Asked, Choice};
use uuid::Uuid;

/// Lessons on one page.
const MOST_LESSONS: usize = 50;
/// Bats that are offered.
const MOST_BATS: i64 = 500;

/// The page.
pub async fn athlete(
    State(api): State<Api>,
    view: View,
    Extension(who): Extension<Who>,
    Id(id): Id<Uuid>,
    Params(asked): Params<Asked>,
) -> Result<Page, Problem> {
    let choice = Choice::of(&asked)?;
    let slice = Slice { after: after(asked.after.as_deref())?, limit: MOST_LESSONS as i64 + 1 };
    let is_first = slice.after.is_none();
    let mut reading = api.store.read().await?;
    let athlete = athletes::get(&mut reading, id).await?;
    let filter = lessons::Filter { athlete_id: Some(id), ..lessons::Filter::default() };
    let mut had = lessons::list(&mut reading, &filter, slice).await?;
    let everything = SummaryOf { athlete: id, side: None, bat: None, from: None, to: None };
    let groups = by_lesson(&mut reading, everything, &[Metric::BatSpeed]).await?;
    let chosen = by_lesson(&mut reading, SummaryOf { bat: choice.bat, ..everything }, &[choice.metric]).await?;
    let every = MeasuredOf { athlete: id, bat: None, from: None, to: None };
    let balls = measured_balls(&mut reading, &every).await?;
    let bats = bats::list(&mut reading, Slice { after: None, limit: MOST_BATS }).await?;
    let given = homework::given(&mut reading, id).await?;
    drop(reading);
    let is_more = had.len() > MOST_LESSONS;
    had.truncate(MOST_LESSONS);
    let last = had.last().map(|row| TimeKey { at: row.lesson.begun, id: row.lesson.id }).filter(|_| is_more);
    let main = html! {
        .row.head {
            h1 { (name(&athlete.nickname)) }
            span.faint { (words::bats(athlete.bats)) }
            a.button.change href=(format!("/setup/athletes/{id}")) { "Set up" }
        }
        @if had.is_empty() && groups.is_empty() && is_first {
            p { "There is no lesson yet. Swings made while " (name(&athlete.nickname)) " is at the plate come here." }
        } @else {
            p.no-print { a.button.primary href=(format!("/athletes/{id}/then-and-now")) { "Then and now: has it changed?" } }
            (trend::section(choice, &chosen, &bats, view.units))
            (lessons_section(&had, &groups, last, view.units))
        }
        (balls::section(&balls, view.units))
        (homework::section(id, &given, &bats))
    };
    Ok(Page::new(athlete.nickname.clone(), Here::Past, view, &who, main).about([id]))
}

fn lessons_section(had: &[Counted], groups: &[Group], last: Option<TimeKey>, units: Units) -> Markup {
    let unit = units.of(Metric::BatSpeed).sign;
    let table = html! {
        table.lessons {
            thead { tr {
                th scope="col" { "Date" } th.words scope="col" { "What" } th scope="col" { "Rounds" }
                th scope="col" { "Counted" } th scope="col" { "Left out" } th scope="col" { "Flagged" }
                th scope="col" { "Bat speed, " (unit) span.faint.under { "right" } }
                th scope="col" { "Bat speed, " (unit) span.faint.under { "left" } }
            } }
            tbody { @for row in had { (lesson_row(row, groups, units)) } }
        }
    };
    html! {
        section {
            h2 { "Lessons" }
            (wide("Lessons", &table))
            p.faint {
                "Bat speed: the mean of the counted swings; spread is one standard deviation of that lesson's swings. \
                 Swings whose side was not said are in the counts alone."
            }
            @if let Some(last) = last {
                a.button.no-print href=(format!("?after={}%20{}", last.at.0, last.id)) { "Earlier lessons" }
            }
            (outside(groups))
        }
    }
}

fn lesson_row(row: &Counted, groups: &[Group], units: Units) -> Markup {
    let of_lesson = |group: &&Group| group.lesson.is_some_and(|lesson| lesson.id == row.lesson.id);
    let groups: Vec<&Group> = groups.iter().filter(of_lesson).collect();
    let sum = |of: fn(&Group) -> u32| groups.iter().map(|group| of(group)).sum::<u32>();
    let speed = |side: Side| {
        let values = groups.iter().filter(|group| group.side == Some(side)).flat_map(|group| &group.values);
        mean_and_spread(Metric::BatSpeed, values.flatten().copied().collect(), units)
    };
    html! {
        tr {
            th scope="row" { a.open href=(format!("/lessons/{}", row.lesson.id)) { (when::day(row.lesson.begun)) } }
            td.words {
                (words::occasion(row.lesson.occasion))
                @if row.lesson.ended.is_none() { ", going on" }
                @if !row.lesson.title.is_empty() { ": " (name(&row.lesson.title)) }
            }
            td { (row.rounds) } td { (sum(|group| group.counted)) }
            td { (sum(|group| group.excluded)) } td { (sum(|group| group.flagged)) }
            td { (speed(Side::Right)) } td { (speed(Side::Left)) }
        }
    }
}

/// Swings that are of no lesson would not be missed in the table.
fn outside(groups: &[Group]) -> Markup {
    let swings: u32 = groups.iter().filter(|g| g.lesson.is_none()).map(|g| g.counted + g.excluded).sum();
    html! {
        @if swings > 0 {
            p { (words::count(swings as usize, "swing")) " of no lesson are in neither table nor trend." }
        }
    }
}
