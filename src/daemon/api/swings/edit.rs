//! What people say of swings, and whom and what they belong to.

use super::super::Api;
use super::super::check::Check;
use super::super::etag::{IfMatch, Versioned};
use super::super::extract::{Body, Id};
use super::super::idempotency::Creation;
use super::super::patch::Patch;
use super::super::problem::Result;
use super::super::refer::referred;
use super::super::words::{Mark, Side};
use super::query::LONGEST_TAG;
use super::shape::SwingInRecording;
use crate::daemon::store::Transaction;
use crate::daemon::store::queries::swings_edit::{self, Move};
use crate::daemon::store::queries::{athletes, bats, rounds, swings_read};
use crate::daemon::store::rows::Swing;
use axum::extract::State;
use axum::response::Response;
use serde::{Deserialize, Deserializer, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;
use utoipa::openapi::schema::{ArrayBuilder, ObjectBuilder, Type};
use uuid::Uuid;

/// A swing has no more tags than this.
const MOST_TAGS: usize = 20;
/// So many swings are moved at once at most.
const MOST_MOVES: usize = 500;

/// What can be changed of a swing. None of it is changed by a later analysis.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SwingEdit {
    /// Whether it counts.
    #[serde(default = "unmarked")]
    #[schema(inline)]
    mark: Mark,
    /// Free words.
    #[serde(default)]
    #[schema(max_length = 2000)]
    note: String,
    /// Words put on it, each of at most 50 characters.
    #[serde(default)]
    #[schema(schema_with = tags_schema)]
    tags: Vec<String>,
    /// Whose it is. With another athlete it comes into that athlete's lesson (or practice) of the same installation which
    /// covers it, or else a new one at the times of the old one, and there into a round like the one it was in. `null`:
    /// nobody's; it leaves lesson and round.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    athlete_id: Option<Uuid>,
    /// In which round. Another round brings its lesson and athlete, and its side and bat where it says them and the same
    /// edit does not. `null`: it stays in its lesson, in no round.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    round_id: Option<Uuid>,
    /// From which side.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(inline)]
    side: Option<Side>,
    /// With what.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    bat_id: Option<Uuid>,
}

/// Changes to a swing.
pub type SwingPatch = Patch<SwingEdit>;

/// Swings that go to one place. What is not named stays as it is; `null` takes it away.
#[derive(Clone, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MovesBody {
    /// Which.
    #[schema(min_items = 1, max_items = 500)]
    swing_ids: Vec<Uuid>,
    /// To this athlete.
    #[serde(default, deserialize_with = "named")]
    #[schema(value_type = Option<Uuid>)]
    athlete_id: Option<Option<Uuid>>,
    /// Into this round.
    #[serde(default, deserialize_with = "named")]
    #[schema(value_type = Option<Uuid>)]
    round_id: Option<Option<Uuid>>,
    /// To this side.
    #[serde(default, deserialize_with = "named")]
    #[schema(value_type = Option<Side>)]
    side: Option<Option<Side>>,
    /// To this bat.
    #[serde(default, deserialize_with = "named")]
    #[schema(value_type = Option<Uuid>)]
    bat_id: Option<Option<Uuid>>,
}

/// Where swings are after a move.
#[derive(Serialize, ToSchema)]
pub struct Moved {
    /// How many of them were changed; the others were there already.
    changed: usize,
    /// All of them, in the order of their ids.
    swings: Vec<MovedSwing>,
}

/// Where a swing is after a move.
#[derive(Serialize, ToSchema)]
pub struct MovedSwing {
    /// Which.
    id: Uuid,
    /// Its version now.
    version: i64,
    /// Whose.
    #[schema(required)]
    athlete_id: Option<Uuid>,
    /// In which lesson or practice.
    #[schema(required)]
    lesson_id: Option<Uuid>,
    /// In which round.
    #[schema(required)]
    round_id: Option<Uuid>,
    /// From which side.
    #[schema(required)]
    side: Option<Side>,
    /// With what.
    #[schema(required)]
    bat_id: Option<Uuid>,
}

/// Edit a swing
///
/// Its mark, note and tags, and whom and what it belongs to. Where an owner is changed, `is_moved` says so from then on, and
/// what other devices measured of its ball goes with it.
#[utoipa::path(
    patch, path = "/v1/swings/{id}", tag = "swings", params(("id" = Uuid, Path)),
    request_body(content = SwingPatch, content_type = "application/merge-patch+json"),
    responses((status = 200, body = SwingInRecording))
)]
pub async fn edit(
    State(api): State<Api>,
    Id(id): Id<Uuid>,
    IfMatch(version): IfMatch,
    patch: SwingPatch,
) -> Result<Versioned<SwingInRecording>> {
    let mut changes = api.store.write().await?;
    let before = Swing { version, ..swings_read::get(&mut changes, id).await?.swing };
    let named = Named::of(&patch);
    let body = patch.apply(&SwingEdit::of(&before))?.checked()?;
    let to = named.to(&body);
    owners_are_there(&mut changes, to).await?;
    let moved = swings_edit::moved(&mut changes, &before, to).await?;
    let after = Swing { mark: body.mark.into(), note: body.note, tags: body.tags, ..moved };
    swings_edit::put(&mut changes, &before, &after).await?;
    let found = swings_read::get(&mut changes, id).await?;
    changes.commit().await?;
    Ok(Versioned(found.swing.version, SwingInRecording::of(found)))
}

/// Move swings
///
/// As edits of each would move them, all or none. Swings that were changed by somebody else meanwhile are moved as well.
#[utoipa::path(
    post, path = "/v1/swings/moves", tag = "swings", request_body = MovesBody, responses((status = 200, body = Moved))
)]
pub async fn moves(State(api): State<Api>, creation: Creation, Body(body): Body<MovesBody>) -> Result<Response> {
    body.check()?;
    let to = Move {
        athlete: body.athlete_id,
        round: body.round_id,
        side: body.side.map(|side| side.map(Into::into)),
        bat: body.bat_id,
    };
    let mut changes = api.store.write().await?;
    let mut answer = Moved { changed: 0, swings: Vec::new() };
    owners_are_there(&mut changes, to).await?;
    let ids: BTreeMap<_, _> = body.swing_ids.iter().enumerate().map(|(k, id)| (*id, k)).collect();
    for (id, k) in ids {
        let before = referred(swings_read::get(&mut changes, id).await, &format!("swing_ids/{k}"))?.swing;
        let mut after = swings_edit::moved(&mut changes, &before, to).await?;
        if after != before {
            swings_edit::put(&mut changes, &before, &after).await?;
            after.version += 1;
            answer.changed += 1;
        }
        answer.swings.push(MovedSwing::of(&after));
    }
    creation.done(&api, changes, &answer).await
}

async fn owners_are_there(changes: &mut Transaction, to: Move) -> Result<()> {
    if let Some(Some(id)) = to.athlete {
        referred(athletes::get(changes, id).await, "athlete_id")?;
    }
    if let Some(Some(id)) = to.round {
        referred(rounds::get(changes, id).await, "round_id")?;
    }
    if let Some(Some(id)) = to.bat {
        referred(bats::get(changes, id).await, "bat_id")?;
    }
    Ok(())
}

/// Which owners an edit names.
struct Named {
    athlete: bool,
    round: bool,
    side: bool,
    bat: bool,
}

impl Named {
    fn of(patch: &SwingPatch) -> Self {
        Self {
            athlete: patch.names("athlete_id"),
            round: patch.names("round_id"),
            side: patch.names("side"),
            bat: patch.names("bat_id"),
        }
    }

    fn to(&self, body: &SwingEdit) -> Move {
        Move {
            athlete: self.athlete.then_some(body.athlete_id),
            round: self.round.then_some(body.round_id),
            side: self.side.then(|| body.side.map(Into::into)),
            bat: self.bat.then_some(body.bat_id),
        }
    }
}

impl SwingEdit {
    fn of(swing: &Swing) -> Self {
        Self {
            mark: swing.mark.into(),
            note: swing.note.clone(),
            tags: swing.tags.clone(),
            athlete_id: swing.athlete_id,
            round_id: swing.round_id,
            side: swing.side.map(Into::into),
            bat_id: swing.bat_id,
        }
    }

    /// Tags sorted, each once.
    fn checked(mut self) -> Result<Self> {
        let mut check = Check::new();
        check.text("note", &self.note, 2000);
        check.that(self.tags.len() <= MOST_TAGS, "tags", "are too many; expected at most 20");
        for (k, tag) in self.tags.iter().enumerate().take(MOST_TAGS) {
            check.name(&format!("tags/{k}"), tag, LONGEST_TAG);
        }
        check.done()?;
        self.tags.sort();
        self.tags.dedup();
        Ok(self)
    }
}

impl MovesBody {
    fn check(&self) -> Result<()> {
        let is_move =
            self.athlete_id.is_some() || self.round_id.is_some() || self.side.is_some() || self.bat_id.is_some();
        let fits = (1..=MOST_MOVES).contains(&self.swing_ids.len());
        Check::new()
            .that(fits, "swing_ids", "expected 1 to 500 ids")
            .that(is_move, "athlete_id", "no place is named; expected athlete_id, round_id, side or bat_id")
            .done()
    }
}

impl MovedSwing {
    fn of(swing: &Swing) -> Self {
        Self {
            id: swing.id,
            version: swing.version,
            athlete_id: swing.athlete_id,
            lesson_id: swing.lesson_id,
            round_id: swing.round_id,
            side: swing.side.map(Into::into),
            bat_id: swing.bat_id,
        }
    }
}

fn tags_schema() -> ArrayBuilder {
    let tag = ObjectBuilder::new().schema_type(Type::String).min_length(Some(1)).max_length(Some(LONGEST_TAG));
    let words = "Words put on it, each of at most 50 characters.";
    ArrayBuilder::new().items(tag).max_items(Some(MOST_TAGS)).description(Some(words))
}

fn unmarked() -> Mark {
    Mark::None
}

/// A key that is there, `null` or not.
fn named<'de, D: Deserializer<'de>, T: Deserialize<'de>>(
    deserializer: D,
) -> std::result::Result<Option<Option<T>>, D::Error> {
    Option::deserialize(deserializer).map(Some)
}
