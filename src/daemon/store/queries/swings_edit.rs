//! What people change of swings: what they say of them, and whom and what they belong to.

use super::super::StoreError;
use super::super::rows::{Lesson, Occasion, Origin, Recording, RecordingState, Round, Seen, Side, Swing, Word};
use super::recordings::recording;
use super::{Slice, changed, lessons, rounds};
use sqlx::AnyConnection;
use uuid::Uuid;

/// A lesson has fewer rounds than this; of more, the first are looked at.
const MOST_ROUNDS: i64 = 1000;

/// Where a swing is to go. The outer `None` leaves it as it is; the inner one takes it away.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Move {
    /// To whom.
    pub athlete: Option<Option<Uuid>>,
    /// Into which round.
    pub round: Option<Option<Uuid>>,
    /// To which side.
    pub side: Option<Option<Side>>,
    /// To which bat.
    pub bat: Option<Option<Uuid>>,
}

/// The swing as it is after a move; nothing is written but a lesson and a round that it needs.
///
/// A round brings its lesson and athlete, and, unless the move says otherwise, the side and bat that it names. An athlete
/// brings a lesson: that of the same occasion and installation which covers the swing, or a new one at the times of the old
/// one; and in it a round like the one the swing was in.
///
/// # Errors
/// If it goes to something that is not there, or to a round and an athlete that do not belong together.
pub async fn moved(connection: &mut AnyConnection, swing: &Swing, to: Move) -> Result<Swing, StoreError> {
    let mut moved = swing.clone();
    if let Some(side) = to.side {
        moved.side = side;
    }
    if let Some(bat_id) = to.bat {
        moved.bat_id = bat_id;
    }
    let other_athlete = to.athlete.filter(|athlete| *athlete != swing.athlete_id);
    match (to.round, other_athlete) {
        (Some(Some(round)), _) if swing.round_id != Some(round) => {
            into_round(connection, &mut moved, round, to).await?
        }
        (Some(Some(_)), Some(_)) => return Err(StoreError::Refused("the round is another athlete's".into())),
        (round, Some(Some(athlete))) => {
            if round == Some(None) {
                moved.round_id = None;
            }
            to_athlete(connection, &mut moved, athlete).await?;
        }
        (_, Some(None)) => (moved.athlete_id, moved.lesson_id, moved.round_id) = (None, None, None),
        (Some(None), None) => moved.round_id = None,
        (Some(Some(_)) | None, None) => {}
    }
    moved.is_moved |= owner(&moved) != owner(swing);
    Ok(moved)
}

/// Puts a swing to what people say of it, if it still has `before.version`. The ball's result goes with it.
///
/// # Errors
/// If it was changed since, refers to something that is not there, or cannot be written.
pub async fn put(connection: &mut AnyConnection, before: &Swing, swing: &Swing) -> Result<(), StoreError> {
    let text = |id: Option<Uuid>| id.map(|id| id.to_string());
    let done = sqlx::query(
        "UPDATE swings SET athlete_id = $3, lesson_id = $4, round_id = $5, side = $6, bat_id = $7, mark = $8, note = $9,
             is_moved = $10, version = version + 1
         WHERE id = $1 AND version = $2",
    )
    .bind(before.id.to_string())
    .bind(before.version)
    .bind(text(swing.athlete_id))
    .bind(text(swing.lesson_id))
    .bind(text(swing.round_id))
    .bind(swing.side.map(Side::word))
    .bind(text(swing.bat_id))
    .bind(swing.mark.word())
    .bind(&swing.note)
    .bind(i64::from(swing.is_moved))
    .execute(&mut *connection)
    .await?;
    let seen = Seen { id: before.id, version: before.version };
    changed(connection, done.rows_affected(), "swing", seen, "SELECT version FROM swings WHERE id = $1").await?;
    if swing.tags != before.tags {
        set_tags(connection, before.id, &swing.tags).await?;
    }
    if swing.athlete_id != before.athlete_id {
        sqlx::query("UPDATE ball_results SET athlete_id = $2, version = version + 1 WHERE swing_id = $1")
            .bind(before.id.to_string())
            .bind(text(swing.athlete_id))
            .execute(connection)
            .await?;
    }
    Ok(())
}

async fn set_tags(connection: &mut AnyConnection, id: Uuid, tags: &[String]) -> Result<(), StoreError> {
    sqlx::query("DELETE FROM swing_tags WHERE swing_id = $1").bind(id.to_string()).execute(&mut *connection).await?;
    for tag in tags {
        sqlx::query("INSERT INTO swing_tags (swing_id, tag) VALUES ($1, $2)")
            .bind(id.to_string())
            .bind(tag)
            .execute(&mut *connection)
            .await?;
    }
    Ok(())
}

fn owner(swing: &Swing) -> [Option<String>; 5] {
    let text = |id: Option<Uuid>| id.map(|id| id.to_string());
    let side = swing.side.map(|side| side.word().to_owned());
    [text(swing.athlete_id), text(swing.lesson_id), text(swing.round_id), side, text(swing.bat_id)]
}

async fn into_round(connection: &mut AnyConnection, swing: &mut Swing, id: Uuid, to: Move) -> Result<(), StoreError> {
    let round = rounds::get(connection, id).await.map_err(refused)?;
    let lesson = lessons::get(connection, round.lesson_id).await?;
    if to.athlete.is_some_and(|athlete| athlete != Some(lesson.athlete_id)) {
        return Err(StoreError::Refused("the round is another athlete's".into()));
    }
    (swing.athlete_id, swing.lesson_id, swing.round_id) = (Some(lesson.athlete_id), Some(lesson.id), Some(round.id));
    if to.side.is_none() {
        swing.side = round.side.or(swing.side);
    }
    if to.bat.is_none() {
        swing.bat_id = round.bat_id.or(swing.bat_id);
    }
    Ok(())
}

async fn to_athlete(connection: &mut AnyConnection, swing: &mut Swing, athlete: Uuid) -> Result<(), StoreError> {
    let like = like_before(connection, swing, athlete).await?;
    let covering = lessons::covering(connection, athlete, like.occasion, &like.cage, swing.contact_utc).await?;
    let lesson_id = match covering {
        Some(lesson) => lesson.id,
        None => {
            lessons::insert(connection, &like).await?;
            like.id
        }
    };
    if let Some(id) = swing.round_id {
        let before = rounds::get(connection, id).await?;
        let wanted =
            Round { lesson_id, side: swing.side.or(before.side), bat_id: swing.bat_id.or(before.bat_id), ..before };
        swing.round_id = Some(round_like(connection, wanted).await?);
    }
    (swing.athlete_id, swing.lesson_id) = (Some(athlete), Some(lesson_id));
    Ok(())
}

/// A lesson of an athlete at the times of the one that the swing was in, or else of its recording; it covers the swing.
async fn like_before(connection: &mut AnyConnection, swing: &Swing, athlete_id: Uuid) -> Result<Lesson, StoreError> {
    let like = match swing.lesson_id {
        Some(id) => lessons::get(connection, id).await?,
        None => lesson_of(&recording_of(connection, swing.recording_id).await?, athlete_id, swing),
    };
    Ok(Lesson {
        id: Uuid::now_v7(),
        athlete_id,
        begun: like.begun.min(swing.contact_utc),
        ended: like.ended.map(|ended| ended.max(swing.contact_utc)),
        title: String::new(),
        note: String::new(),
        version: 1,
        ..like
    })
}

/// What was brought from elsewhere is practice. While the recording is being written the lesson is going on.
fn lesson_of(recording: &Recording, athlete_id: Uuid, swing: &Swing) -> Lesson {
    let occasion = if recording.origin == Origin::Import { Occasion::Practice } else { Occasion::Lesson };
    let is_going_on = recording.ended.is_none() && recording.state == RecordingState::Open;
    Lesson {
        id: Uuid::nil(),
        athlete_id,
        occasion,
        cage: recording.cage.clone(),
        begun: recording.begun,
        ended: if is_going_on { None } else { Some(recording.ended.unwrap_or(swing.contact_utc)) },
        title: String::new(),
        note: String::new(),
        version: 1,
    }
}

async fn recording_of(connection: &mut AnyConnection, id: Uuid) -> Result<Recording, StoreError> {
    let row =
        sqlx::query("SELECT * FROM recordings WHERE id = $1").bind(id.to_string()).fetch_optional(connection).await?;
    row.as_ref().map_or_else(|| Err(StoreError::NoSuch { kind: "recording", id: id.to_string() }), recording)
}

/// The lesson's round of the same drill, ball, bat and side, or a new one.
async fn round_like(connection: &mut AnyConnection, wanted: Round) -> Result<Uuid, StoreError> {
    let what = |round: &Round| {
        let ball = (round.ball_source, round.pitch_speed_mps, round.pitch_descent_deg);
        (round.drill.clone(), ball, round.bat_id, round.side)
    };
    let all = rounds::list(connection, wanted.lesson_id, Slice { after: None, limit: MOST_ROUNDS }).await?;
    if let Some(found) = all.iter().find(|round| what(round) == what(&wanted)) {
        return Ok(found.id);
    }
    let new = Round { id: Uuid::now_v7(), note: String::new(), version: 1, ..wanted };
    rounds::insert(connection, &new).await?;
    Ok(new.id)
}

/// What a body names and is not there is no missing path.
fn refused(error: StoreError) -> StoreError {
    match error {
        StoreError::NoSuch { .. } => StoreError::Refused(error.to_string()),
        other => other,
    }
}
