//! What athletes are to do until they come again.

use super::Api;
use super::check::Check;
use super::etag::{IfMatch, Versioned};
use super::extract::{Body, Id, Params};
use super::idempotency::Creation;
use super::instant::Instant;
use super::page::{Page, PageParams};
use super::patch::Patch;
use super::problem::{Kind, Place, Problem, Result};
use super::refer::referred;
use crate::daemon::store::Transaction;
use crate::daemon::store::queries::{athletes, bats, homework, lessons};
use crate::daemon::store::rows::{self, Seen, UtcMicros};
use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

/// What is said of homework.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct HomeworkBody {
    /// In which of the athlete's lessons it was given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    lesson_id: Option<Uuid>,
    /// When it was given. On entering: now.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    given: Option<Instant>,
    /// What is to be practised.
    #[schema(min_length = 1, max_length = 100)]
    drill: String,
    /// With which bat or training implement.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    bat_id: Option<Uuid>,
    /// How often and how long, in words: "3 × 10 a day".
    #[serde(default)]
    #[schema(max_length = 100)]
    how_much: String,
    /// Free words.
    #[serde(default)]
    #[schema(max_length = 2000)]
    words: String,
    /// When it was done or taken back; until then it is still to be done.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    ended: Option<Instant>,
}

/// Changes to homework.
pub type HomeworkPatch = Patch<HomeworkBody>;

/// Homework as it is stored.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Homework {
    /// Its id.
    id: Uuid,
    /// Counts its changes; the ETag.
    version: i64,
    /// For whom.
    athlete_id: Uuid,
    /// What is said of it.
    #[serde(flatten)]
    body: HomeworkBody,
}

/// List an athlete's homework
///
/// In the order in which it was entered.
#[utoipa::path(
    get, path = "/v1/athletes/{id}/homework", tag = "homework", params(("id" = Uuid, Path), PageParams),
    responses((status = 200, body = Page<Homework>))
)]
pub async fn list(
    State(api): State<Api>,
    Id(id): Id<Uuid>,
    Params(params): Params<PageParams>,
) -> Result<Json<Page<Homework>>> {
    let mut reading = api.store.read().await?;
    athletes::get(&mut reading, id).await?;
    let rows = homework::list(&mut reading, id, params.slice()?).await?;
    Ok(Json(params.page(rows, |row| row.id.to_string(), Homework::of)))
}

/// Give homework
#[utoipa::path(
    post, path = "/v1/athletes/{id}/homework", tag = "homework", params(("id" = Uuid, Path)),
    request_body = HomeworkBody, responses((status = 201, body = Homework))
)]
pub async fn create(
    State(api): State<Api>,
    Id(athlete_id): Id<Uuid>,
    creation: Creation,
    Body(body): Body<HomeworkBody>,
) -> Result<Response> {
    let row = body.row(Uuid::now_v7(), athlete_id, 1, api.now())?;
    let mut changes = api.store.write().await?;
    athletes::get(&mut changes, athlete_id).await?;
    check_references(&mut changes, &row).await?;
    homework::insert(&mut changes, &row).await?;
    let location = format!("/v1/homework/{}", row.id);
    creation.finish(&api, changes, location, 1, &Homework::of(row)).await
}

/// Read homework
#[utoipa::path(
    get, path = "/v1/homework/{id}", tag = "homework", params(("id" = Uuid, Path)),
    responses((status = 200, body = Homework))
)]
pub async fn read(State(api): State<Api>, Id(id): Id<Uuid>) -> Result<Versioned<Homework>> {
    let row = homework::get(&mut *api.store.read().await?, id).await?;
    Ok(Versioned(row.version, Homework::of(row)))
}

/// Edit homework
///
/// That it was done is said by `ended`.
#[utoipa::path(
    patch, path = "/v1/homework/{id}", tag = "homework", params(("id" = Uuid, Path)),
    request_body(content = HomeworkPatch, content_type = "application/merge-patch+json"),
    responses((status = 200, body = Homework))
)]
pub async fn edit(
    State(api): State<Api>,
    Id(id): Id<Uuid>,
    IfMatch(version): IfMatch,
    patch: HomeworkPatch,
) -> Result<Versioned<Homework>> {
    let mut changes = api.store.write().await?;
    let before = homework::get(&mut changes, id).await?;
    let (athlete_id, given) = (before.athlete_id, before.given);
    let body = patch.apply(&HomeworkBody::of(before))?;
    Check::new().that(body.given.is_some(), "given", "is absent; expected an instant").done()?;
    let row = body.row(id, athlete_id, version, given)?;
    check_references(&mut changes, &row).await?;
    homework::update(&mut changes, &row).await?;
    changes.commit().await?;
    let row = rows::Homework { version: version + 1, ..row };
    Ok(Versioned(row.version, Homework::of(row)))
}

/// Remove homework
///
/// For what was never given; what was done has `ended`.
#[utoipa::path(
    delete, path = "/v1/homework/{id}", tag = "homework", params(("id" = Uuid, Path)), responses((status = 204))
)]
pub async fn remove(State(api): State<Api>, Id(id): Id<Uuid>, IfMatch(version): IfMatch) -> Result<StatusCode> {
    let mut changes = api.store.write().await?;
    homework::delete(&mut changes, Seen { id, version }).await?;
    changes.commit().await?;
    Ok(StatusCode::NO_CONTENT)
}

/// The lesson is one of the athlete's, and there is such a bat.
async fn check_references(changes: &mut Transaction, row: &rows::Homework) -> Result<()> {
    if let Some(id) = row.lesson_id {
        let lesson = referred(lessons::get(changes, id).await, "lesson_id")?;
        if lesson.athlete_id != row.athlete_id {
            let detail = "is a lesson of somebody else".to_owned();
            let mut problem = Problem::new(Kind::Conflict, format!("/lesson_id: {detail}"));
            problem.errors.push(Place { pointer: "/lesson_id".into(), detail });
            return Err(problem);
        }
    }
    if let Some(id) = row.bat_id {
        referred(bats::get(changes, id).await, "bat_id")?;
    }
    Ok(())
}

impl Homework {
    fn of(row: rows::Homework) -> Self {
        Self { id: row.id, version: row.version, athlete_id: row.athlete_id, body: HomeworkBody::of(row) }
    }
}

impl HomeworkBody {
    fn of(row: rows::Homework) -> Self {
        Self {
            lesson_id: row.lesson_id,
            given: Some(row.given.into()),
            drill: row.drill,
            bat_id: row.bat_id,
            how_much: row.how_much,
            words: row.words,
            ended: row.ended.map(Instant::from),
        }
    }

    fn row(self, id: Uuid, athlete_id: Uuid, version: i64, now: UtcMicros) -> Result<rows::Homework> {
        let given = self.given.map_or(now, UtcMicros::from);
        let is_later = self.ended.is_none_or(|ended| UtcMicros::from(ended) >= given);
        Check::new()
            .name("drill", &self.drill, 100)
            .text("how_much", &self.how_much, 100)
            .text("words", &self.words, 2000)
            .that(is_later, "ended", "lies before `given`; expected a later instant")
            .done()?;
        Ok(rows::Homework {
            id,
            athlete_id,
            lesson_id: self.lesson_id,
            given,
            drill: self.drill,
            bat_id: self.bat_id,
            how_much: self.how_much,
            words: self.words,
            ended: self.ended.map(UtcMicros::from),
            version,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::test_api::{TestApi, athlete, on_each, pages};
    use serde_json::{Value, json};
    use uuid::Uuid;

    async fn made(api: &TestApi, path: &str, body: Value) -> String {
        let made = api.post(path, body).await;
        assert_eq!(made.status, 201, "{:?}", made.json);
        made.json["id"].as_str().unwrap().to_owned()
    }

    #[test]
    fn homework_is_given_edited_ended_and_taken_back() {
        on_each(async |api: TestApi| {
            let wren = athlete(&api, "Wren").await;
            let lesson = made(&api, "/v1/lessons", json!({"athlete_id": wren})).await;
            let rod = made(&api, "/v1/bats", json!({"name": "Rod", "kind": "implement"})).await;
            let path = format!("/v1/athletes/{wren}/homework");
            let body = json!({"drill": "high tee", "lesson_id": lesson, "bat_id": rod, "how_much": "3 × 10 a day"});
            let given = api.post_with_key(&path, "once", body.clone()).await;
            assert_eq!((given.status, &given.json["athlete_id"]), (201, &json!(wren)), "{:?}", given.json);
            assert_eq!(api.post_with_key(&path, "once", body).await.json, given.json, "nothing is given twice");
            let one = given.header("location").unwrap();
            assert_eq!(api.get(one).await.json, given.json);
            let when = given.json["given"].clone();
            assert!(when.is_string());
            let ended = api.patch(one, "\"1\"", json!({"ended": when, "bat_id": null, "words": "done"})).await;
            assert_eq!((ended.status, &ended.json["ended"]), (200, &when), "{:?}", ended.json);
            assert_eq!((ended.json.get("bat_id"), ended.header("etag")), (None, Some("\"2\"")));
            assert_eq!(api.patch(one, "\"1\"", json!({"words": "other"})).await.status, 412);
            made(&api, &path, json!({"drill": "dry swings"})).await;
            let list = pages(&api, &format!("{path}?limit=1")).await;
            assert_eq!(
                list.iter().map(|item| item["drill"].as_str()).collect::<Vec<_>>(),
                [Some("high tee"), Some("dry swings")]
            );
            assert_eq!(list[0], ended.json);
            assert_eq!(api.delete(one, "\"1\"").await.status, 412);
            assert_eq!(api.delete(one, "\"2\"").await.status, 204);
            assert_eq!(api.get(one).await.status, 404);
        });
    }

    #[test]
    fn homework_that_cannot_be_is_refused() {
        on_each(async |api: TestApi| {
            let (wren, tern) = (athlete(&api, "Wren").await, athlete(&api, "Tern").await);
            let terns = made(&api, "/v1/lessons", json!({"athlete_id": tern})).await;
            let path = format!("/v1/athletes/{wren}/homework");
            let (early, late) = ("2026-11-24T16:00:00Z", "2026-11-25T16:00:00Z");
            for (status, pointer, body) in [
                (422, "/drill", json!({"drill": " "})),
                (422, "/how_much", json!({"drill": "tee", "how_much": "x".repeat(101)})),
                (422, "/ended", json!({"drill": "tee", "given": late, "ended": early})),
                (409, "/lesson_id", json!({"drill": "tee", "lesson_id": terns})),
                (409, "/lesson_id", json!({"drill": "tee", "lesson_id": Uuid::now_v7()})),
                (409, "/bat_id", json!({"drill": "tee", "bat_id": Uuid::now_v7()})),
            ] {
                let refused = api.post(&path, body).await;
                assert_eq!((refused.status, &refused.json["errors"][0]["pointer"]), (status, &json!(pointer)));
            }
            let nobody = format!("/v1/athletes/{}/homework", Uuid::now_v7());
            assert_eq!(api.post(&nobody, json!({"drill": "tee"})).await.status, 404);
            assert_eq!(api.get(&nobody).await.status, 404);
            let id = made(&api, &path, json!({"drill": "tee"})).await;
            let refused = api.patch(&format!("/v1/homework/{id}"), "\"1\"", json!({"given": null})).await;
            assert_eq!((refused.status, &refused.json["errors"][0]["pointer"]), (422, &json!("/given")));
        });
    }
}
