//! Who is at the plate: whom and what the next swing belongs to.
//!
//! One word of the instructor in the middle of a lesson does it all: it finds or begins the athlete's lesson, finds or
//! begins the round, and is kept over a restart. A switch is an entry of every recording, so that a recording says by itself
//! whose its swings are.

use super::outfit::Outfit;
use crate::daemon::store::queries::{athletes, bats, lessons, plates, rounds};
use crate::daemon::store::rows::{BallSource, Lesson, Occasion, Plate, Round, Side, UtcMicros, Word};
use crate::daemon::store::{StoreError, Transaction};
use crate::engine::wire::mcap::{AtThePlate, AtThePlateSide};
use sqlx::AnyConnection;
use std::sync::Arc;
use uuid::Uuid;

/// A lesson that began longer ago than this and was never said to be over is over: nobody bats for half a day.
const LONGEST_LESSON_US: i64 = 12 * 3_600_000_000;

/// What an instructor says.
#[derive(Clone, Debug, PartialEq)]
pub struct Saying {
    /// Who swings next; `None`: nobody who is known.
    pub athlete_id: Option<Uuid>,
    /// From which side.
    pub side: Option<Side>,
    /// With what.
    pub bat_id: Option<Uuid>,
    /// What is practised.
    pub drill: Option<String>,
    /// Where the ball comes from.
    pub ball_source: Option<BallSource>,
    /// The ball's speed at the plate, m/s.
    pub pitch_speed_mps: Option<f64>,
    /// How steeply it comes down there, degrees below the horizontal.
    pub pitch_descent_deg: Option<f64>,
    /// Lesson or practice.
    pub occasion: Occasion,
    /// On the round; `None`: nothing new.
    pub note: Option<String>,
}

/// Who is at the plate, with all that front-ends and stations want to know of it.
#[derive(Clone, Debug, PartialEq)]
pub struct AtBat {
    /// The row.
    pub plate: Plate,
    /// The athlete's name.
    pub nickname: Option<String>,
    /// The bat's name.
    pub bat: Option<String>,
    /// The lesson.
    pub lesson: Option<Lesson>,
    /// The round.
    pub round: Option<Round>,
    /// What is swung.
    pub outfit: Arc<Outfit>,
}

/// Hears who is at the plate: what records does.
pub type Hears = Arc<dyn Fn(&AtBat) + Send + Sync>;

/// Why what was said cannot be done.
#[derive(Debug, thiserror::Error)]
pub enum PlateError {
    /// It names something that is not there.
    #[error("{key}: there is none with this id")]
    Unknown {
        /// Which word of it.
        key: &'static str,
    },
    /// The store failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Whoever is at the plate of an installation; nobody, if that was never said or their lesson is over.
///
/// # Errors
/// If it cannot be read.
pub async fn current(connection: &mut AnyConnection, cage: &str, now: UtcMicros) -> Result<AtBat, StoreError> {
    let said = plates::get(connection, cage).await?.unwrap_or_else(|| nobody(cage, now));
    let version = said.version;
    let at_bat = look_up(connection, said).await?;
    let is_over = match (&at_bat.plate.athlete_id, &at_bat.lesson) {
        (Some(_), Some(lesson)) => !is_going_on(lesson, now),
        (Some(_), None) => true,
        (None, _) => now.0 - at_bat.plate.since.0 > LONGEST_LESSON_US,
    };
    if !is_over {
        return Ok(at_bat);
    }
    look_up(connection, Plate { version, ..nobody(cage, now) }).await
}

/// Whether anybody is at the plate of an installation. If only the row says so, and their lesson is over, nobody is said to be.
///
/// # Errors
/// If it cannot be read or written.
pub async fn still_there(changes: &mut Transaction, cage: &str, now: UtcMicros) -> Result<bool, StoreError> {
    if current(changes, cage, now).await?.plate.athlete_id.is_some() {
        return Ok(true);
    }
    plates::put(changes, &nobody(cage, now)).await?;
    Ok(false)
}

/// Does what an instructor says; who is at the plate then. The same again changes nothing.
///
/// # Errors
/// If it names something that is not there, or cannot be written.
pub async fn put(changes: &mut Transaction, cage: &str, saying: &Saying, now: UtcMicros) -> Result<AtBat, PlateError> {
    let before = plates::get(changes, cage).await?;
    if let Some(id) = saying.bat_id {
        bats::get(changes, id).await.map_err(|error| unknown(error, "bat_id"))?;
    }
    let (mut lesson_id, mut round_id) = (None, None);
    if let Some(id) = saying.athlete_id {
        athletes::get(changes, id).await.map_err(|error| unknown(error, "athlete_id"))?;
        let lesson = lesson(changes, cage, id, saying.occasion, now).await?;
        round_id = Some(round(changes, lesson.id, saying, now).await?);
        lesson_id = Some(lesson.id);
    }
    let mut plate = Plate {
        cage: cage.into(),
        athlete_id: saying.athlete_id,
        lesson_id,
        round_id,
        side: saying.side,
        bat_id: saying.bat_id,
        drill: saying.drill.clone(),
        ball_source: saying.ball_source,
        pitch_speed_mps: saying.pitch_speed_mps,
        pitch_descent_deg: saying.pitch_descent_deg,
        since: now,
        version: 1,
    };
    match before {
        Some(before) if (Plate { since: before.since, version: before.version, ..plate.clone() }) == before => {
            plate = before;
        }
        _ => plate.version = plates::put(changes, &plate).await?,
    }
    Ok(look_up(changes, plate).await?)
}

/// Writes down that whoever was said to be at the plate is there no more, if their lesson ended, went or was moved in time,
/// or is over by itself; who is there then, or `None` if all is as it was said.
///
/// # Errors
/// If it cannot be read or written.
pub async fn settle(changes: &mut Transaction, cage: &str, now: UtcMicros) -> Result<Option<AtBat>, StoreError> {
    let Some(said) = plates::get(changes, cage).await? else { return Ok(None) };
    let mut at_bat = current(changes, cage, now).await?;
    if is_as_said(&said, &at_bat.plate) {
        return Ok(None);
    }
    at_bat.plate.version = plates::put(changes, &at_bat.plate).await?;
    Ok(Some(at_bat))
}

/// Whether [`settle`] has nothing to write.
///
/// # Errors
/// If it cannot be read.
pub async fn is_settled(connection: &mut AnyConnection, cage: &str, now: UtcMicros) -> Result<bool, StoreError> {
    let Some(said) = plates::get(connection, cage).await? else { return Ok(true) };
    Ok(is_as_said(&said, &current(connection, cage, now).await?.plate))
}

fn is_as_said(said: &Plate, now: &Plate) -> bool {
    Plate { since: said.since, ..now.clone() } == *said
}

impl AtBat {
    /// As it is written into recordings.
    pub fn entry(&self) -> AtThePlate {
        let (plate, text) = (&self.plate, |id: Option<Uuid>| id.map(|id| id.to_string()));
        AtThePlate {
            nickname: self.nickname.clone(),
            side: plate.side.map(|side| match side {
                Side::Right => AtThePlateSide::Right,
                Side::Left => AtThePlateSide::Left,
            }),
            bat: self.bat.clone(),
            drill: plate.drill.clone(),
            round: None,
            athlete_id: text(plate.athlete_id),
            lesson_id: text(plate.lesson_id),
            round_id: text(plate.round_id),
            bat_id: text(plate.bat_id),
            ball_source: plate.ball_source.map(|source| source.word().to_owned()),
            pitch_speed_mps: plate.pitch_speed_mps,
        }
    }
}

/// Before anything was said.
fn nobody(cage: &str, since: UtcMicros) -> Plate {
    Plate {
        cage: cage.into(),
        athlete_id: None,
        lesson_id: None,
        round_id: None,
        side: None,
        bat_id: None,
        drill: None,
        ball_source: None,
        pitch_speed_mps: None,
        pitch_descent_deg: None,
        since,
        version: 0,
    }
}

async fn look_up(connection: &mut AnyConnection, plate: Plate) -> Result<AtBat, StoreError> {
    let nickname = match plate.athlete_id {
        Some(id) => Some(athletes::get(connection, id).await?.nickname),
        None => None,
    };
    let bat = match plate.bat_id {
        Some(id) => Some(bats::get(connection, id).await?.name),
        None => None,
    };
    let lesson = match plate.lesson_id {
        Some(id) => Some(lessons::get(connection, id).await?),
        None => None,
    };
    let round = match plate.round_id {
        Some(id) => Some(rounds::get(connection, id).await?),
        None => None,
    };
    let outfit = Arc::new(Outfit::of(connection, &plate).await?);
    Ok(AtBat { plate, nickname, bat, lesson, round, outfit })
}

fn unknown(error: StoreError, key: &'static str) -> PlateError {
    if matches!(error, StoreError::NoSuch { .. }) { PlateError::Unknown { key } } else { error.into() }
}

fn is_going_on(lesson: &Lesson, now: UtcMicros) -> bool {
    lesson.ended.is_none() && now.0 - lesson.begun.0 <= LONGEST_LESSON_US
}

/// The athlete's that is going on here, or a new one. Another one that was never said to be over is.
async fn lesson(
    changes: &mut Transaction,
    cage: &str,
    athlete_id: Uuid,
    occasion: Occasion,
    now: UtcMicros,
) -> Result<Lesson, StoreError> {
    if let Some(before) = lessons::going_on(changes, cage, athlete_id).await? {
        let is_recent = is_going_on(&before, now);
        if is_recent && before.occasion == occasion {
            return Ok(before);
        }
        // One that was forgotten ended with its last swing.
        let last = plates::last_swing(changes, before.id).await?.unwrap_or(before.begun).max(before.begun);
        let ended = if is_recent { now.max(before.begun) } else { last };
        lessons::update(changes, &Lesson { ended: Some(ended), ..before }).await?;
    }
    let lesson = Lesson {
        id: Uuid::now_v7(),
        athlete_id,
        occasion,
        cage: cage.into(),
        begun: now,
        ended: None,
        title: String::new(),
        note: String::new(),
        version: 1,
    };
    lessons::insert(changes, &lesson).await?;
    Ok(lesson)
}

/// The lesson's latest if it is the same drill, ball, bat and side; else a new one.
async fn round(
    changes: &mut Transaction,
    lesson_id: Uuid,
    saying: &Saying,
    now: UtcMicros,
) -> Result<Uuid, StoreError> {
    let said = Round {
        id: Uuid::now_v7(),
        lesson_id,
        begun: now,
        drill: saying.drill.clone(),
        ball_source: saying.ball_source,
        pitch_speed_mps: saying.pitch_speed_mps,
        pitch_descent_deg: saying.pitch_descent_deg,
        bat_id: saying.bat_id,
        side: saying.side,
        note: saying.note.clone().unwrap_or_default(),
        version: 1,
    };
    if let Some(latest) = rounds::latest(changes, lesson_id).await? {
        let Round { id, begun, version, ref note, .. } = latest;
        if (Round { id, begun, version, note: note.clone(), ..said.clone() }) == latest {
            if saying.note.as_ref().is_some_and(|said| said != note) {
                rounds::update(changes, &Round { note: said.note, ..latest }).await?;
            }
            return Ok(id);
        }
    }
    rounds::insert(changes, &said).await?;
    Ok(said.id)
}
