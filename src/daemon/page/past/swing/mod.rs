//! A swing: its [`numbers`], its [`curves`], over those [`beside`] it, its [ball](ball), where it [came from](origin), and what people [say of it](correct).

mod ball;
mod beside;
mod correct;
mod curves;
mod numbers;
mod origin;

use super::super::shell::{Here, Page};
use super::super::view::View;
use super::super::when;
use super::super::words::{self, flag, flags_of, name};
use super::Moving;
use super::ball_and_air::BallAndAir;
use super::places::Places;
use crate::daemon::access::Who;
use crate::daemon::api::{Api, Id, Params, Problem};
use crate::daemon::store::StoreError;
use crate::daemon::store::queries::ball_results::{self, BallFilter};
use crate::daemon::store::queries::swings_read::{self, FoundSwing, Order, SwingFilter};
use crate::daemon::store::queries::{Slice, bats, lessons, profiles, recordings, rounds, sensors};
use crate::daemon::store::rows::{Analysis, BallResult, Bat, Lesson, Mark, Recording, Role, Round, Sensor, Swing};
use crate::engine::metrics::Flag;
use crate::engine::profile::Profile;
use crate::engine::swing::Curves;
use crate::report::curves::decode;
use crate::report::svg::Band;
use crate::report::words::meaning;
use axum::Extension;
use axum::extract::{RawQuery, State};
use beside::Others;
use maud::{Markup, html};
use sqlx::AnyConnection;
use uuid::Uuid;

/// Swings beside it that are looked at: of a lesson more than there are.
const MOST_SWINGS: i64 = 1000;
/// Ball results of one swing that are shown.
const MOST_BALLS: i64 = 20;

/// All that is shown of a swing.
struct Whole {
    found: FoundSwing,
    lesson: Option<Lesson>,
    round: Option<Round>,
    bat: Option<Bat>,
    recording: Recording,
    sensor: Option<Sensor>,
    /// The first one first.
    revisions: Vec<Analysis>,
    /// The swings of its lesson, itself among them, the oldest first; where it is of none, those of its recording.
    around: Vec<FoundSwing>,
    /// None if nothing could be drawn.
    curves: Option<Curves>,
    /// The lesson's other swings from the same side.
    others: Others,
    /// How those went; `None`: too few of them can be drawn.
    band: Option<Band>,
    balls: Vec<BallResult>,
    /// What it was analysed with, if that can be read.
    profile: Option<Profile>,
}

/// The page.
pub async fn swing(
    State(api): State<Api>,
    view: View,
    Extension(who): Extension<Who>,
    Id(id): Id<Uuid>,
    Params(asked): Params<Moving>,
    RawQuery(query): RawQuery,
) -> Result<Page, Problem> {
    let (ball_and_air, _) = BallAndAir::of(query.as_deref().unwrap_or_default())?;
    let mut reading = api.store.read().await?;
    let whole = Whole::read(&mut reading, id).await?;
    let athlete = whole.found.swing.athlete_id;
    let places = match asked.is_asked() && who.role() >= Role::Coach {
        true => Some(Places::of(&mut reading, athlete).await?),
        false => None,
    };
    drop(reading);
    let shown: Vec<Uuid> = places.iter().flat_map(Places::shown).chain(athlete).collect();
    let main = html! {
        (head(&whole))
        (flags(&whole.found.analysis.flags))
        .halves {
            (numbers::section(&whole, view.units))
            (curves::section(&whole, view.units))
            .rest {
                (ball::section(&whole, &ball_and_air, view.units))
                (correct::section(&whole.found.swing, places.as_ref()))
            }
        }
        (origin::section(&whole, view.units))
    };
    let title = format!("Swing, {}", when::day_text(whole.found.swing.contact_utc));
    Ok(Page::new(title, Here::Past, view, &who, main).about(shown))
}

impl Whole {
    async fn read(reading: &mut AnyConnection, id: Uuid) -> Result<Self, StoreError> {
        let found = swings_read::get(reading, id).await?;
        let lesson = match found.swing.lesson_id {
            Some(id) => Some(lessons::get(reading, id).await?),
            None => None,
        };
        let round = match found.swing.round_id {
            Some(id) => Some(rounds::get(reading, id).await?),
            None => None,
        };
        let bat = match found.swing.bat_id {
            Some(id) => Some(bats::get(reading, id).await?),
            None => None,
        };
        let recording = recordings::get(reading, found.swing.recording_id).await?;
        let sensor = match recording.sensor_id {
            Some(id) => Some(sensors::get(reading, id).await?),
            None => None,
        };
        let around = around(reading, &found.swing).await?;
        let others = Others::of(&around, &found.swing);
        let band = beside::band(id, swings_read::curves_of(reading, &others.ids).await?).await;
        let of_swing = BallFilter { swing: Some(id), ..BallFilter::default() };
        let profile = there(profiles::get(reading, &found.analysis.profile_sha256).await)?;
        Ok(Self {
            revisions: swings_read::revisions(reading, id).await?,
            curves: there(swings_read::curves(reading, id, None).await)?
                .and_then(|(_, compact)| unpacked(id, &compact)),
            balls: ball_results::list(reading, &of_swing, Slice { after: None, limit: MOST_BALLS }).await?,
            profile: profile.and_then(|text| Some(Profile::parse(&text).ok()?.0)),
            found,
            lesson,
            round,
            bat,
            recording,
            sensor,
            around,
            others,
            band,
        })
    }

    /// The swings of the same round, in order; where it is of none, those of the lesson or recording that are of none.
    fn in_round(&self) -> Vec<&FoundSwing> {
        let is_of = |other: &&FoundSwing| other.swing.round_id == self.found.swing.round_id;
        self.around.iter().filter(is_of).collect()
    }
}

async fn around(reading: &mut AnyConnection, swing: &Swing) -> Result<Vec<FoundSwing>, StoreError> {
    let filter = match swing.lesson_id {
        Some(lesson) => SwingFilter { lesson: Some(lesson), ..SwingFilter::default() },
        None => SwingFilter { recording: Some(swing.recording_id), ..SwingFilter::default() },
    };
    swings_read::list(reading, &filter, Order::Oldest, Slice { after: None, limit: MOST_SWINGS }).await
}

/// Nothing where there is no such thing.
fn there<T>(found: Result<T, StoreError>) -> Result<Option<T>, StoreError> {
    match found {
        Ok(found) => Ok(Some(found)),
        Err(StoreError::NoSuch { .. }) => Ok(None),
        Err(error) => Err(error),
    }
}

/// Damaged curves are told to the log, and the rest of the page is shown.
fn unpacked(swing: Uuid, compact: &[u8]) -> Option<Curves> {
    let read = decode(compact);
    if let Err(error) = &read {
        tracing::error!(%swing, %error, "stored curves of a swing or of one beside it cannot be read");
    }
    Some(read.ok()?.to_curves())
}

fn head(whole: &Whole) -> Markup {
    let (found, swing) = (&whole.found, &whole.found.swing);
    let in_round = whole.in_round();
    let at = in_round.iter().position(|other| other.swing.id == swing.id);
    let beside =
        |at: Option<usize>| at.and_then(|at| in_round.get(at)).map(|other| format!("/swings/{}", other.swing.id));
    let (before, next) = (beside(at.and_then(|at| at.checked_sub(1))), beside(at.map(|at| at + 1)));
    html! {
        (crumbs(whole))
        .row.head {
            h1 {
                "Swing " @if let Some(at) = at { (at + 1) " of " (in_round.len()) } ", "
                (when::minute(swing.contact_utc))
            }
            nav.row.no-print aria-label="Swings beside it" {
                @if let Some(before) = before { a.button rel="prev" href=(before) { "‹ Swing before" } }
                @if let Some(next) = next { a.button rel="next" href=(next) { "Next swing ›" } }
            }
        }
        p {
            @match &found.nickname { Some(nickname) => (name(nickname)), None => "Nobody knows whose it is" }
            ", " (words::side(swing.side))
            @if let Some(bat) = &found.bat { ", " (name(bat)) }
            @if let Some(drill) = &found.drill { ", " (name(drill)) }
            @if let Some(source) = found.ball_source { ", " (words::ball_source(source)) }
            ". It met " (words::contact(found.analysis.met_ball)) "."
        }
        @if swing.mark == Mark::Exclude { p.care { "Left out by the instructor: it is in no mean, trend or band." } }
        @if !swing.note.is_empty() { p.note dir="auto" { (swing.note) } }
        @if !swing.tags.is_empty() { p { @for tag in &swing.tags { span.tag { (tag) } " " } } }
    }
}

fn crumbs(whole: &Whole) -> Markup {
    let swing = &whole.found.swing;
    html! {
        p.crumbs {
            a href="/athletes" { "Athletes" }
            @if let Some((id, nickname)) = swing.athlete_id.zip(whole.found.nickname.as_ref()) {
                " › " a href=(format!("/athletes/{id}")) { (name(nickname)) }
            }
            @if let Some(lesson) = &whole.lesson {
                " › "
                a href=(format!("/lessons/{}", lesson.id)) {
                    (words::occasion(lesson.occasion)) ", " (when::day(lesson.begun))
                }
            }
            @if let Some(round) = &whole.round {
                " › " a href=(format!("/lessons/{}#round-{}", round.lesson_id, round.id)) { "Round" }
            }
        }
    }
}

/// What makes it poorer, and what that means.
fn flags(keys: &[String]) -> Markup {
    let found: Vec<Flag> = flags_of(keys);
    html! {
        @if !found.is_empty() {
            section.care aria-label="Flags" {
                ul { @for one in found { li { strong { (flag(one)) } ": " (meaning(one)) "." } } }
            }
        }
    }
}
