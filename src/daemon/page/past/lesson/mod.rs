//! A lesson: what was said of it, its rounds in order, and the way to put swings elsewhere.

mod film;
mod rounds;

pub use rounds::ball;

use super::super::shell::{Here, Page};
use super::super::view::View;
use super::super::when;
use super::super::words::{self, name, problem};
use super::Moving;
use super::places::Places;
use crate::daemon::access::Who;
use crate::daemon::api::{Api, Id, Params, Problem};
use crate::daemon::store::StoreError;
use crate::daemon::store::queries::ball_results::{self, BallFilter};
use crate::daemon::store::queries::swings_read::{self, FoundSwing, Order, SwingFilter};
use crate::daemon::store::queries::{Slice, athletes, bats, lessons, rounds as stored_rounds};
use crate::daemon::store::rows::{Athlete, BallResult, Lesson, Role, Round};
use axum::Extension;
use axum::extract::State;
use maud::{Markup, html};
use sqlx::AnyConnection;
use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use uuid::Uuid;

/// Swings of one lesson that are shown: at one every six seconds, more than an hour and a half.
const MOST_SWINGS: i64 = 1000;
/// Rounds of one lesson that are shown.
const MOST_ROUNDS: i64 = 500;

/// All that is shown of a lesson.
struct Whole {
    lesson: Lesson,
    athlete: Athlete,
    rounds: Vec<Round>,
    /// The oldest first.
    swings: Vec<FoundSwing>,
    /// Names of bats by their ids.
    bats: BTreeMap<Uuid, String>,
    /// By their swings.
    balls: BTreeMap<Uuid, BallResult>,
}

/// The page.
pub async fn lesson(
    State(api): State<Api>,
    view: View,
    Extension(who): Extension<Who>,
    Id(id): Id<Uuid>,
    Params(asked): Params<Moving>,
) -> Result<Page, Problem> {
    let mut reading = api.store.read().await?;
    let whole = Whole::read(&mut reading, id).await?;
    let is_moving = asked.is_asked() && who.role() >= Role::Coach;
    let places = match is_moving {
        true => Some(Places::of(&mut reading, Some(whole.athlete.id)).await?),
        false => None,
    };
    drop(reading);
    let day = when::day_text(whole.lesson.begun);
    let shown: Vec<Uuid> = places.iter().flat_map(Places::shown).chain([whole.athlete.id]).collect();
    let main = html! {
        (head(&whole))
        (rounds::all(&whole, is_moving, view.units))
        @match &places {
            Some(places) => (moving(id, places)),
            None => @if !whole.swings.is_empty() {
                p.change.no-print { a.button href="?moving=yes" { "Move swings elsewhere" } }
            },
        }
        @if who.role() >= Role::Coach && !whole.swings.is_empty() { (film::film(id, &whole.rounds, view.units)) }
        (about(&whole.lesson))
    };
    let title = format!("{}, {day}", whole.athlete.nickname);
    Ok(Page::new(title, Here::Past, view, &who, main).about(shown))
}

impl Whole {
    async fn read(reading: &mut AnyConnection, id: Uuid) -> Result<Self, StoreError> {
        let lesson = lessons::get(reading, id).await?;
        let athlete = athletes::get(reading, lesson.athlete_id).await?;
        let rounds = stored_rounds::list(reading, id, Slice { after: None, limit: MOST_ROUNDS }).await?;
        let filter = SwingFilter { lesson: Some(id), ..SwingFilter::default() };
        let slice = Slice { after: None, limit: MOST_SWINGS };
        let swings = swings_read::list(reading, &filter, Order::Oldest, slice).await?;
        let mut names = BTreeMap::new();
        for bat in rounds.iter().filter_map(|round| round.bat_id) {
            if let Entry::Vacant(place) = names.entry(bat) {
                place.insert(bats::get(reading, bat).await?.name);
            }
        }
        let of_lesson = BallFilter { lesson: Some(id), ..BallFilter::default() };
        let balls = ball_results::list(reading, &of_lesson, Slice { after: None, limit: MOST_SWINGS }).await?;
        let balls = balls.into_iter().filter_map(|ball| Some((ball.swing_id?, ball))).collect();
        Ok(Self { lesson, athlete, rounds, swings, bats: names, balls })
    }
}

fn head(whole: &Whole) -> Markup {
    let lesson = &whole.lesson;
    html! {
        p.crumbs {
            a href="/athletes" { "Athletes" } " › "
            a href=(format!("/athletes/{}", whole.athlete.id)) { (name(&whole.athlete.nickname)) }
        }
        h1 {
            @if lesson.title.is_empty() { (words::occasion(lesson.occasion)) } @else { (name(&lesson.title)) }
            ", " (when::day(lesson.begun))
        }
        p {
            (words::occasion(lesson.occasion)) ", " (when::clock(lesson.begun)) " to "
            @match lesson.ended { Some(ended) => (when::end(lesson.begun, ended)), None => "now" }
            ". " (words::count(whole.swings.len(), "swing")) " in " (words::count(whole.rounds.len(), "round")) "."
            @if whole.swings.len() as i64 == MOST_SWINGS { " Only the first " (MOST_SWINGS) " swings are shown." }
        }
        @if !lesson.note.is_empty() { p.note dir="auto" { (lesson.note) } }
        @if lesson.ended.is_none() {
            form.change.no-print data-send=(format!("PATCH /v1/lessons/{}", lesson.id)) data-version=(lesson.version) {
                input type="hidden" name="ended" data-as="now";
                button type="submit" { "End the lesson" }
                (problem())
            }
        }
    }
}

/// Title and note, to be changed.
fn about(lesson: &Lesson) -> Markup {
    html! {
        section.change.no-print {
            h2 { "About the lesson" }
            form.telling data-send=(format!("PATCH /v1/lessons/{}", lesson.id)) data-version=(lesson.version) {
                label { "Title " input name="title" value=(lesson.title) maxlength="200" dir="auto"; }
                label { "Note " textarea name="note" rows="4" maxlength="10000" dir="auto" { (lesson.note) } }
                (problem())
                button type="submit" { "Save" }
            }
        }
    }
}

/// What is chosen in the tables goes to one place; their boxes are of this form.
fn moving(lesson: Uuid, places: &Places) -> Markup {
    html! {
        section.card.no-print {
            h2 #move { "Move the chosen swings" }
            form.telling #moving data-send="POST /v1/swings/moves" {
                (places.fields())
                (problem())
                .row {
                    button.primary type="submit" { "Move" }
                    a.button href=(format!("/lessons/{lesson}")) { "Done" }
                }
            }
        }
    }
}
