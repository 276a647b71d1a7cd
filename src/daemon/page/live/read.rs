//! What is shown of the store: who is at the plate, what can be said at a touch, the round's swings.
//!
//! All of it is read at once, within milliseconds, and again whenever something may have changed.

use super::scene::{Asked, AthleteChoice, Card, Choices, Last, MOST_CARDS, Read};
use crate::daemon::api::Api;
use crate::daemon::record::plate::{self, AtBat};
use crate::daemon::store::StoreError;
use crate::daemon::store::queries::rounds::InLesson;
use crate::daemon::store::queries::swings_read::{self, FoundSwing, Order, SwingFilter, Whose};
use crate::daemon::store::queries::{Slice, athletes, bats, profiles, rounds};
use crate::daemon::store::rows::{Athlete, Bats, Round, Side, UtcMicros};
use crate::engine::profile::{Profile, SwingContext};
use crate::engine::swing::Curves;
use crate::report::curves::decode;
use sqlx::AnyConnection;
use std::collections::BTreeSet;
use uuid::Uuid;

/// Rounds through which is looked for whom and what was there recently.
const RECENT_ROUNDS: i64 = 300;
/// Rounds of one athlete through which is looked for drills.
const DRILL_ROUNDS: i64 = 100;
/// Drills that stand to choose.
const MOST_DRILLS: usize = 6;
/// Athletes and bats that are looked through at most; an academy has fewer.
const MOST_THINGS: i64 = 500;

/// What is asked of the store.
#[derive(Clone, Copy, Debug, Default)]
pub struct Question {
    /// The swing that is shown as the last one: its id if it has one, and whose it is.
    pub last: Option<(Option<Uuid>, Option<Uuid>)>,
}

/// Whether anybody was entered.
///
/// # Errors
/// If it cannot be read.
pub async fn has_athletes(api: &Api) -> Result<bool, StoreError> {
    Ok(!athletes::list(&mut *api.store.read().await?, None, Slice { after: None, limit: 1 }).await?.is_empty())
}

/// Everything that is shown of the store.
///
/// # Errors
/// If it cannot be read.
pub async fn read(api: &Api, question: Question, now: UtcMicros) -> Result<Read, StoreError> {
    let mut reading = api.store.read().await?;
    let connection = &mut *reading;
    let at_bat = plate::current(connection, &api.cage, now).await?;
    let recent = recent_rounds(connection).await?;
    let bats = bat_choices(connection, &recent).await?;
    let choices = Choices {
        athletes: athlete_choices(connection, &recent, &bats).await?,
        bats,
        drills: drills(connection, &at_bat).await?,
    };
    let (round, before) = round(connection, &at_bat).await?;
    let asked = match question.last {
        Some((Some(id), _)) => Some(asked(connection, id).await?),
        _ => None,
    };
    let whose = match (question.last, asked) {
        (_, Some(Asked { now: Some((whose, _)), .. })) => Some(whose),
        (Some((_, whose)), _) => Some(whose),
        (None, _) => None,
    };
    let shown = question.last.and_then(|(id, _)| id);
    let is_last = round.last().is_none_or(|card| Some(card.id) == shown);
    let is_known = whose == Some(at_bat.plate.athlete_id) && is_last;
    let newest = if is_known { None } else { newest(connection, &at_bat).await? };
    Ok(Read { at_bat, choices, round, before, asked, newest })
}

async fn asked(connection: &mut AnyConnection, id: Uuid) -> Result<Asked, StoreError> {
    match swings_read::get(connection, id).await {
        Ok(found) => Ok(Asked { id, now: Some((found.swing.athlete_id, found.swing.mark)) }),
        Err(StoreError::NoSuch { .. }) => Ok(Asked { id, now: None }),
        Err(error) => Err(error),
    }
}

/// The last lessons with their latest rounds, newest first.
async fn recent_rounds(connection: &mut AnyConnection) -> Result<Vec<(Uuid, Round)>, StoreError> {
    let found = rounds::of_latest_lessons(connection, None, RECENT_ROUNDS).await?;
    let latest = found.chunk_by(in_one_lesson).filter_map(<[InLesson]>::last);
    Ok(latest.map(|found| (found.athlete_id, found.round.clone())).collect())
}

fn in_one_lesson(a: &InLesson, b: &InLesson) -> bool {
    a.round.lesson_id == b.round.lesson_id
}

async fn athlete_choices(
    connection: &mut AnyConnection,
    recent: &[(Uuid, Round)],
    bats: &[(Uuid, String)],
) -> Result<Vec<AthleteChoice>, StoreError> {
    let mut all = athletes::list(connection, None, Slice { after: None, limit: MOST_THINGS }).await?;
    let place = |id: Uuid| recent.iter().position(|(athlete, _)| *athlete == id).unwrap_or(recent.len());
    // Those who were never here are in the order of their names.
    all.sort_by_cached_key(|athlete| (place(athlete.id), athlete.nickname.to_lowercase()));
    Ok(all.iter().map(|athlete| choice(athlete, recent, bats)).collect())
}

/// With the bat of their latest round, unless it is no longer swung.
fn choice(athlete: &Athlete, recent: &[(Uuid, Round)], bats: &[(Uuid, String)]) -> AthleteChoice {
    let round = recent.iter().find(|(id, _)| *id == athlete.id).map(|(_, round)| round);
    let is_swung = |bat: &Uuid| bats.iter().any(|(id, _)| id == bat);
    let usual = match athlete.bats {
        Bats::Right => Some(Side::Right),
        Bats::Left => Some(Side::Left),
        Bats::Both | Bats::Unknown => None,
    };
    AthleteChoice {
        id: athlete.id,
        nickname: athlete.nickname.clone(),
        side: round.and_then(|round| round.side).or(usual),
        bat_id: round.and_then(|round| round.bat_id).filter(is_swung),
    }
}

async fn bat_choices(
    connection: &mut AnyConnection,
    recent: &[(Uuid, Round)],
) -> Result<Vec<(Uuid, String)>, StoreError> {
    let mut all = bats::list(connection, Slice { after: None, limit: MOST_THINGS }).await?;
    all.retain(|bat| !bat.is_retired);
    let place = |id: Uuid| recent.iter().position(|(_, round)| round.bat_id == Some(id));
    all.sort_by_cached_key(|bat| (place(bat.id).unwrap_or(recent.len()), bat.name.to_lowercase()));
    Ok(all.into_iter().map(|bat| (bat.id, bat.name)).collect())
}

/// What whoever is at the plate practised lately.
async fn drills(connection: &mut AnyConnection, at_bat: &AtBat) -> Result<Vec<String>, StoreError> {
    let mut drills: Vec<String> = Vec::new();
    if at_bat.plate.athlete_id.is_some() {
        let found = rounds::of_latest_lessons(connection, at_bat.plate.athlete_id, DRILL_ROUNDS).await?;
        let newest = found.chunk_by(in_one_lesson).flat_map(|lesson| lesson.iter().rev());
        drills.extend(newest.filter_map(|found| found.round.drill.clone()));
    }
    let mut seen = BTreeSet::new();
    drills.retain(|drill| seen.insert(drill.clone()));
    drills.truncate(MOST_DRILLS);
    Ok(drills)
}

/// Which swings are of the round; of nobody's, those since nobody is at the plate.
fn of_round(at_bat: &AtBat) -> SwingFilter {
    match at_bat.plate.round_id {
        Some(round) => SwingFilter { round: Some(round), ..SwingFilter::default() },
        None => SwingFilter { whose: Some(Whose::Nobody), from: Some(at_bat.plate.since), ..SwingFilter::default() },
    }
}

async fn round(connection: &mut AnyConnection, at_bat: &AtBat) -> Result<(Vec<Card>, i64), StoreError> {
    let most = i64::try_from(MOST_CARDS).unwrap_or(i64::MAX);
    let slice = Slice { after: None, limit: most };
    let found = swings_read::list(connection, &of_round(at_bat), Order::Newest, slice).await?;
    let mut cards: Vec<Card> = found.iter().map(Card::of).collect();
    cards.reverse();
    let all = match at_bat.plate.round_id {
        Some(id) => rounds::swings(connection, id).await?,
        None => 0,
    };
    let before = (all - i64::try_from(cards.len()).unwrap_or(0)).max(0);
    Ok((cards, before))
}

/// The last swing of the round, else of the lesson; of nobody, since nobody is at the plate.
async fn newest(connection: &mut AnyConnection, at_bat: &AtBat) -> Result<Option<Last>, StoreError> {
    let one = Slice { after: None, limit: 1 };
    let mut found = swings_read::list(connection, &of_round(at_bat), Order::Newest, one).await?;
    if let (true, Some(lesson)) = (found.is_empty(), at_bat.plate.lesson_id) {
        let filter = SwingFilter { lesson: Some(lesson), ..SwingFilter::default() };
        found = swings_read::list(connection, &filter, Order::Newest, one).await?;
    }
    let Some(found) = found.first() else { return Ok(None) };
    let (curves, pitch) = (curves(connection, found.swing.id).await?, pitch(connection, found).await?);
    Ok(Some(Last::stored(found, curves, pitch)))
}

/// A swing's latest curves; `None`: it could not be drawn.
///
/// # Errors
/// If they cannot be read.
pub async fn curves(connection: &mut AnyConnection, id: Uuid) -> Result<Option<Curves>, StoreError> {
    match swings_read::curves(connection, id, None).await {
        Ok((_, compact)) => Ok(decode(&compact).ok().map(|curves| curves.to_curves())),
        Err(StoreError::NoSuch { .. }) => Ok(None),
        Err(error) => Err(error),
    }
}

/// What a swing was measured against, and whether its round says so.
async fn pitch(connection: &mut AnyConnection, found: &FoundSwing) -> Result<(SwingContext, bool), StoreError> {
    let toml = profiles::get(connection, &found.analysis.profile_sha256).await?;
    let context = Profile::parse(&toml).map(|(profile, _)| profile.swing).unwrap_or_else(|_| Profile::default().swing);
    let is_said = match found.swing.round_id {
        Some(id) => rounds::get(connection, id).await?.pitch_speed_mps.is_some(),
        None => false,
    };
    Ok((context, is_said))
}
