//! Lessons and practice: an athlete's time.

use super::Api;
use super::check::Check;
use super::etag::{IfMatch, Versioned};
use super::extract::{Body, Id, Params};
use super::idempotency::Creation;
use super::instant::Instant;
use super::page::{self, Page};
use super::patch::Patch;
use super::plate::{tell, to_the_end};
use super::problem::{Kind, Problem, Result};
use super::refer::referred;
use super::words::Occasion;
use crate::daemon::record::plate::settle;
use crate::daemon::store::Transaction;
use crate::daemon::store::queries::lessons::{self, Counted, Filter};
use crate::daemon::store::queries::{TimeKey, athletes};
use crate::daemon::store::rows::{self, Seen, UtcMicros};
use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// A lesson that is entered: one that begins, or one that was.
#[derive(Clone, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewLesson {
    /// Whose.
    athlete_id: Uuid,
    /// Lesson or practice.
    #[serde(default = "lesson")]
    occasion: Occasion,
    /// At which installation; where nothing is said, this one.
    #[schema(min_length = 1, max_length = 100)]
    cage: Option<String>,
    /// When it began; where nothing is said, now.
    begun: Option<Instant>,
    /// When it ended; where nothing is said, it is going on.
    ended: Option<Instant>,
    /// A few words.
    #[serde(default)]
    #[schema(max_length = 200)]
    title: String,
    /// Free words.
    #[serde(default)]
    #[schema(max_length = 10000)]
    note: String,
}

fn lesson() -> Occasion {
    Occasion::Lesson
}

/// What can be edited of a lesson.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LessonBody {
    /// When it began.
    begun: Instant,
    /// When it ended; it is going on where nothing is said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    ended: Option<Instant>,
    /// A few words.
    #[serde(default)]
    #[schema(max_length = 200)]
    title: String,
    /// Free words.
    #[serde(default)]
    #[schema(max_length = 10000)]
    note: String,
}

/// Changes to a lesson.
pub type LessonPatch = Patch<LessonBody>;

/// A lesson as it is stored.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Lesson {
    /// Its id.
    id: Uuid,
    /// Counts its changes; the ETag.
    version: i64,
    /// Whose.
    athlete_id: Uuid,
    /// Lesson or practice.
    occasion: Occasion,
    /// At which installation.
    cage: String,
    /// How many swings it has.
    swings: i64,
    /// How many rounds it has.
    rounds: i64,
    /// What can be edited.
    #[serde(flatten)]
    body: LessonBody,
}

/// Which lessons.
#[derive(Clone, Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct LessonParams {
    /// Only this athlete's.
    athlete: Option<Uuid>,
    /// Only lessons, or only practice.
    occasion: Option<Occasion>,
    /// Begun at this instant or later.
    #[param(value_type = Option<String>, format = DateTime)]
    from: Option<Instant>,
    /// Begun before this instant.
    #[param(value_type = Option<String>, format = DateTime)]
    to: Option<Instant>,
    /// `next` of the page before.
    #[param(max_length = 200)]
    after: Option<String>,
    /// At most so many items.
    #[param(minimum = 1, maximum = 500)]
    limit: Option<u16>,
}

/// List lessons
///
/// Lessons and practice, the newest first.
#[utoipa::path(
    get, path = "/v1/lessons", tag = "lessons", params(LessonParams), responses((status = 200, body = Page<Lesson>))
)]
pub async fn list(State(api): State<Api>, Params(params): Params<LessonParams>) -> Result<Json<Page<Lesson>>> {
    let slice = page::slice(params.after.as_deref(), params.limit)?;
    let filter = Filter {
        athlete_id: params.athlete,
        occasion: params.occasion.map(rows::Occasion::from),
        from: params.from.map(UtcMicros::from),
        to: params.to.map(UtcMicros::from),
    };
    let rows = lessons::list(&mut *api.store.read().await?, &filter, slice).await?;
    let key = |row: &Counted| TimeKey { at: row.lesson.begun, id: row.lesson.id }.to_string();
    Ok(Json(page::page(params.limit, rows, key, Lesson::of)))
}

/// Enter a lesson
///
/// One that begins now, or one that was: lesson or practice. Swings are put into it as they are made, or are moved there.
#[utoipa::path(
    post, path = "/v1/lessons", tag = "lessons", request_body = NewLesson, responses((status = 201, body = Lesson))
)]
pub async fn create(State(api): State<Api>, creation: Creation, Body(new): Body<NewLesson>) -> Result<Response> {
    let cage = new.cage.unwrap_or_else(|| api.cage.clone());
    Check::new().name("cage", &cage, 100).done()?;
    let begun = new.begun.unwrap_or_else(|| api.now().into());
    let body = LessonBody { begun, ended: new.ended, title: new.title, note: new.note };
    let of = (new.athlete_id, new.occasion.into(), cage);
    let lesson = body.row(Seen { id: Uuid::now_v7(), version: 1 }, of)?;
    let mut changes = api.store.write().await?;
    referred(athletes::get(&mut changes, lesson.athlete_id).await, "athlete_id")?;
    lessons::insert(&mut changes, &lesson).await?;
    let location = format!("/v1/lessons/{}", lesson.id);
    let made = Lesson::of(Counted { lesson, swings: 0, rounds: 0 });
    creation.finish(&api, changes, location, 1, &made).await
}

/// Read a lesson
#[utoipa::path(
    get, path = "/v1/lessons/{id}", tag = "lessons", params(("id" = Uuid, Path)),
    responses((status = 200, body = Lesson))
)]
pub async fn read(State(api): State<Api>, Id(id): Id<Uuid>) -> Result<Versioned<Lesson>> {
    let row = lessons::counted(&mut *api.store.read().await?, id).await?;
    Ok(Versioned(row.lesson.version, Lesson::of(row)))
}

/// Edit or end a lesson
///
/// To end it, say `ended`: whoever is at the plate in it is there no more. Whose it is stays; swings can be moved to another athlete's lesson.
#[utoipa::path(
    patch, path = "/v1/lessons/{id}", tag = "lessons", params(("id" = Uuid, Path)),
    request_body(content = LessonPatch, content_type = "application/merge-patch+json"),
    responses((status = 200, body = Lesson))
)]
pub async fn edit(
    State(api): State<Api>,
    Id(id): Id<Uuid>,
    IfMatch(version): IfMatch,
    patch: LessonPatch,
) -> Result<Versioned<Lesson>> {
    to_the_end(async move {
        let mut changes = api.store.write().await?;
        let Counted { lesson: before, swings, rounds } = lessons::counted(&mut changes, id).await?;
        let body = patch.apply(&LessonBody::of(&before))?;
        let lesson = body.row(Seen { id, version }, (before.athlete_id, before.occasion, before.cage))?;
        lessons::update(&mut changes, &lesson).await?;
        commit(&api, changes).await?;
        let version = version + 1;
        let lesson = rows::Lesson { version, ..lesson };
        Ok(Versioned(version, Lesson::of(Counted { lesson, swings, rounds })))
    })
    .await
}

/// Whoever was at the plate in a lesson that is over by this is there no more, and stations learn that: the next swing is not
/// theirs.
async fn commit(api: &Api, mut changes: Transaction) -> Result<()> {
    let at_bat = settle(&mut changes, &api.cage, api.now()).await?;
    changes.commit().await?;
    at_bat.iter().for_each(|at_bat| {
        tell(api, at_bat);
    });
    Ok(())
}

/// Remove a lesson
///
/// Only one without swings; its rounds and aims go with it.
#[utoipa::path(
    delete, path = "/v1/lessons/{id}", tag = "lessons", params(("id" = Uuid, Path)), responses((status = 204))
)]
pub async fn remove(State(api): State<Api>, Id(id): Id<Uuid>, IfMatch(version): IfMatch) -> Result<StatusCode> {
    to_the_end(async move {
        let mut changes = api.store.write().await?;
        let Counted { swings, .. } = lessons::counted(&mut changes, id).await?;
        // First, so that one who has not seen the present version learns that.
        lessons::delete(&mut changes, Seen { id, version }).await?;
        if swings > 0 {
            let words = format!("the lesson has {swings} swings; expected none: move them to another, or keep it");
            return Err(Problem::new(Kind::Conflict, words));
        }
        commit(&api, changes).await?;
        Ok(StatusCode::NO_CONTENT)
    })
    .await
}

impl Lesson {
    fn of(row: Counted) -> Self {
        let Counted { lesson, swings, rounds } = row;
        Self {
            id: lesson.id,
            version: lesson.version,
            athlete_id: lesson.athlete_id,
            occasion: lesson.occasion.into(),
            body: LessonBody::of(&lesson),
            cage: lesson.cage,
            swings,
            rounds,
        }
    }
}

impl LessonBody {
    fn of(row: &rows::Lesson) -> Self {
        Self {
            begun: row.begun.into(),
            ended: row.ended.map(Instant::from),
            title: row.title.clone(),
            note: row.note.clone(),
        }
    }

    fn row(self, seen: Seen, of: (Uuid, rows::Occasion, String)) -> Result<rows::Lesson> {
        let is_later = self.ended.is_none_or(|ended| ended >= self.begun);
        Check::new()
            .that(is_later, "ended", "lies before `begun`; expected a later instant")
            .text("title", &self.title, 200)
            .text("note", &self.note, 10_000)
            .done()?;
        let (athlete_id, occasion, cage) = of;
        Ok(rows::Lesson {
            id: seen.id,
            athlete_id,
            occasion,
            cage,
            begun: self.begun.into(),
            ended: self.ended.map(UtcMicros::from),
            title: self.title,
            note: self.note,
            version: seen.version,
        })
    }
}

#[cfg(test)]
mod tests;
