//! Rounds of a lesson: one drill, one ball source, one bat, one side.

use super::Api;
use super::check::Check;
use super::etag::{IfMatch, Versioned};
use super::extract::{Body, Id, Params};
use super::idempotency::Creation;
use super::instant::Instant;
use super::page::{Page, PageParams};
use super::patch::Patch;
use super::problem::{Kind, Problem, Result};
use super::refer::referred;
use super::words::{BallSource, Side};
use crate::daemon::store::queries::{TimeKey, bats, lessons, rounds};
use crate::daemon::store::rows::{self, Seen};
use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use serde::{Deserialize, Serialize};
use sqlx::AnyConnection;
use utoipa::ToSchema;
use uuid::Uuid;

/// A round that is entered.
#[derive(Clone, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewRound {
    /// In which lesson.
    lesson_id: Uuid,
    /// When it began; where nothing is said, now.
    begun: Option<Instant>,
    /// What is practised.
    #[schema(min_length = 1, max_length = 100)]
    drill: Option<String>,
    /// Where the ball comes from.
    ball_source: Option<BallSource>,
    /// The ball's speed at the plate, m/s.
    #[schema(minimum = 0.0, maximum = 100.0)]
    pitch_speed_mps: Option<f64>,
    /// How steeply it comes down there, degrees below the horizontal.
    #[schema(minimum = -89.0, maximum = 89.0)]
    pitch_descent_deg: Option<f64>,
    /// With what.
    bat_id: Option<Uuid>,
    /// From which side.
    side: Option<Side>,
    /// Free words.
    #[serde(default)]
    #[schema(max_length = 2000)]
    note: String,
}

/// What can be edited of a round.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RoundBody {
    /// When it began.
    begun: Instant,
    /// What is practised.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 100)]
    drill: Option<String>,
    /// Where the ball comes from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    ball_source: Option<BallSource>,
    /// The ball's speed at the plate, m/s.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0, maximum = 100.0)]
    pitch_speed_mps: Option<f64>,
    /// How steeply it comes down there, degrees below the horizontal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -89.0, maximum = 89.0)]
    pitch_descent_deg: Option<f64>,
    /// With what.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    bat_id: Option<Uuid>,
    /// From which side.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    side: Option<Side>,
    /// Free words.
    #[serde(default)]
    #[schema(max_length = 2000)]
    note: String,
}

/// Changes to a round.
pub type RoundPatch = Patch<RoundBody>;

/// A round as it is stored.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Round {
    /// Its id.
    id: Uuid,
    /// Counts its changes; the ETag.
    version: i64,
    /// In which lesson.
    lesson_id: Uuid,
    /// What can be edited.
    #[serde(flatten)]
    body: RoundBody,
}

/// List a lesson's rounds
///
/// In the order of time.
#[utoipa::path(
    get, path = "/v1/lessons/{id}/rounds", tag = "rounds", params(("id" = Uuid, Path), PageParams),
    responses((status = 200, body = Page<Round>))
)]
pub async fn list(
    State(api): State<Api>,
    Id(id): Id<Uuid>,
    Params(params): Params<PageParams>,
) -> Result<Json<Page<Round>>> {
    let mut reading = api.store.read().await?;
    lessons::get(&mut reading, id).await?;
    let rows = rounds::list(&mut reading, id, params.slice()?).await?;
    let key = |row: &rows::Round| TimeKey { at: row.begun, id: row.id }.to_string();
    Ok(Json(params.page(rows, key, Round::of)))
}

/// Enter a round
///
/// Swings are put into it as they are made, or are moved there.
#[utoipa::path(
    post, path = "/v1/rounds", tag = "rounds", request_body = NewRound, responses((status = 201, body = Round))
)]
pub async fn create(State(api): State<Api>, creation: Creation, Body(new): Body<NewRound>) -> Result<Response> {
    let lesson_id = new.lesson_id;
    let begun = new.begun.unwrap_or_else(|| api.now().into());
    let row = RoundBody::new(new, begun).row(Seen { id: Uuid::now_v7(), version: 1 }, lesson_id)?;
    let mut changes = api.store.write().await?;
    referred(lessons::get(&mut changes, lesson_id).await, "lesson_id")?;
    find_bat(&mut changes, row.bat_id).await?;
    rounds::insert(&mut changes, &row).await?;
    let location = format!("/v1/rounds/{}", row.id);
    creation.finish(&api, changes, location, 1, &Round::of(row)).await
}

/// Read a round
#[utoipa::path(
    get, path = "/v1/rounds/{id}", tag = "rounds", params(("id" = Uuid, Path)),
    responses((status = 200, body = Round))
)]
pub async fn read(State(api): State<Api>, Id(id): Id<Uuid>) -> Result<Versioned<Round>> {
    let row = rounds::get(&mut *api.store.read().await?, id).await?;
    Ok(Versioned(row.version, Round::of(row)))
}

/// Edit a round
///
/// Its swings keep the bat and the side that they have.
#[utoipa::path(
    patch, path = "/v1/rounds/{id}", tag = "rounds", params(("id" = Uuid, Path)),
    request_body(content = RoundPatch, content_type = "application/merge-patch+json"),
    responses((status = 200, body = Round))
)]
pub async fn edit(
    State(api): State<Api>,
    Id(id): Id<Uuid>,
    IfMatch(version): IfMatch,
    patch: RoundPatch,
) -> Result<Versioned<Round>> {
    let mut changes = api.store.write().await?;
    let before = rounds::get(&mut changes, id).await?;
    let row = patch.apply(&RoundBody::of(&before))?.row(Seen { id, version }, before.lesson_id)?;
    find_bat(&mut changes, row.bat_id).await?;
    rounds::update(&mut changes, &row).await?;
    changes.commit().await?;
    let version = version + 1;
    Ok(Versioned(version, Round::of(rows::Round { version, ..row })))
}

/// Remove a round
///
/// Only one without swings.
#[utoipa::path(
    delete, path = "/v1/rounds/{id}", tag = "rounds", params(("id" = Uuid, Path)), responses((status = 204))
)]
pub async fn remove(State(api): State<Api>, Id(id): Id<Uuid>, IfMatch(version): IfMatch) -> Result<StatusCode> {
    let mut changes = api.store.write().await?;
    let swings = rounds::swings(&mut changes, id).await?;
    // First, so that one who has not seen the present version learns that.
    rounds::delete(&mut changes, Seen { id, version }).await?;
    if swings > 0 {
        let words = format!("the round has {swings} swings; expected none: move them to another, or keep it");
        return Err(Problem::new(Kind::Conflict, words));
    }
    changes.commit().await?;
    Ok(StatusCode::NO_CONTENT)
}

async fn find_bat(connection: &mut AnyConnection, bat_id: Option<Uuid>) -> Result<()> {
    if let Some(id) = bat_id {
        referred(bats::get(connection, id).await, "bat_id")?;
    }
    Ok(())
}

impl Round {
    fn of(row: rows::Round) -> Self {
        Self { id: row.id, version: row.version, lesson_id: row.lesson_id, body: RoundBody::of(&row) }
    }
}

impl RoundBody {
    fn new(new: NewRound, begun: Instant) -> Self {
        Self {
            begun,
            drill: new.drill,
            ball_source: new.ball_source,
            pitch_speed_mps: new.pitch_speed_mps,
            pitch_descent_deg: new.pitch_descent_deg,
            bat_id: new.bat_id,
            side: new.side,
            note: new.note,
        }
    }

    fn of(row: &rows::Round) -> Self {
        Self {
            begun: row.begun.into(),
            drill: row.drill.clone(),
            ball_source: row.ball_source.map(BallSource::from),
            pitch_speed_mps: row.pitch_speed_mps,
            pitch_descent_deg: row.pitch_descent_deg,
            bat_id: row.bat_id,
            side: row.side.map(Side::from),
            note: row.note.clone(),
        }
    }

    fn row(self, seen: Seen, lesson_id: Uuid) -> Result<rows::Round> {
        let mut check = Check::new();
        if let Some(drill) = &self.drill {
            check.name("drill", drill, 100);
        }
        check
            .range("pitch_speed_mps", self.pitch_speed_mps, 0.0..=100.0)
            .range("pitch_descent_deg", self.pitch_descent_deg, -89.0..=89.0)
            .text("note", &self.note, 2000)
            .done()?;
        Ok(rows::Round {
            id: seen.id,
            lesson_id,
            begun: self.begun.into(),
            drill: self.drill,
            ball_source: self.ball_source.map(rows::BallSource::from),
            pitch_speed_mps: self.pitch_speed_mps,
            pitch_descent_deg: self.pitch_descent_deg,
            bat_id: self.bat_id,
            side: self.side.map(rows::Side::from),
            note: self.note,
            version: seen.version,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::test_api::{TestApi, athlete, on_each, pages};
    use super::*;
    use crate::daemon::store::rows::UtcMicros;
    use serde_json::{Value, json};

    async fn lesson(api: &TestApi) -> Value {
        let wren = athlete(api, "Wren").await;
        api.post("/v1/lessons", json!({"athlete_id": wren})).await.json["id"].clone()
    }

    #[test]
    fn a_round_is_entered_read_edited_and_removed() {
        on_each(async |api: TestApi| {
            let lesson_id = lesson(&api).await;
            let bat = api.post("/v1/bats", json!({"name": "Ash 33", "kind": "bat"})).await.json["id"].clone();
            let body = json!({"lesson_id": lesson_id, "drill": "high tee", "ball_source": "front_toss", "side": "left",
                "pitch_speed_mps": 18.0, "pitch_descent_deg": 7.5, "bat_id": bat, "note": "slow first"});
            let made = api.post("/v1/rounds", body.clone()).await;
            assert_eq!(made.status, 201, "{:?}", made.json);
            for (key, value) in body.as_object().unwrap() {
                assert_eq!(&made.json[key], value, "{key}");
            }
            let path = made.header("location").unwrap();
            assert_eq!(api.get(path).await.json, made.json);
            let edited = api.patch(path, "\"1\"", json!({"side": "right", "bat_id": null, "drill": null})).await;
            assert_eq!((edited.status, &edited.json["side"], edited.json.get("bat_id")), (200, &json!("right"), None));
            let late = api.patch(path, "\"1\"", json!({"note": "other"})).await;
            assert_eq!((late.status, &api.get(path).await.json), (412, &edited.json));
            assert_eq!(api.delete(path, "\"1\"").await.status, 412);
            assert_eq!(api.delete(path, "\"2\"").await.status, 204);
            assert_eq!((api.get(path).await.status, api.delete(path, "\"2\"").await.status), (404, 404));
        });
    }

    #[test]
    fn rounds_are_listed_in_the_order_of_time_page_by_page() {
        on_each(async |api: TestApi| {
            let (lesson_id, other) = (lesson(&api).await, lesson(&api).await);
            for (whose, second) in [(&lesson_id, 3), (&lesson_id, 1), (&other, 2), (&lesson_id, 2), (&lesson_id, 2)] {
                let begun = Instant::from(UtcMicros(second * 1_000_000));
                let body = json!({"lesson_id": whose, "begun": begun, "note": second.to_string()});
                assert_eq!(api.post("/v1/rounds", body).await.status, 201);
            }
            let path = format!("/v1/lessons/{}/rounds?limit=1", lesson_id.as_str().unwrap());
            let notes: Vec<_> = pages(&api, &path).await.iter().map(|item| item["note"].clone()).collect();
            assert_eq!(notes, ["1", "2", "2", "3"]);
            assert_eq!(api.get(&format!("/v1/lessons/{}/rounds", Uuid::now_v7())).await.status, 404);
        });
    }

    #[test]
    fn what_a_round_refers_to_has_to_be_there_and_what_it_says_in_range() {
        on_each(async |api: TestApi| {
            let lesson_id = lesson(&api).await;
            for (key, body) in [
                ("/lesson_id", json!({"lesson_id": Uuid::now_v7()})),
                ("/bat_id", json!({"lesson_id": lesson_id, "bat_id": Uuid::now_v7()})),
            ] {
                let refused = api.post("/v1/rounds", body).await;
                assert_eq!((refused.status, &refused.json["errors"][0]["pointer"]), (409, &json!(key)));
            }
            let body = json!({"lesson_id": lesson_id, "drill": "", "pitch_speed_mps": 101, "pitch_descent_deg": 90});
            let refused = api.post("/v1/rounds", body).await;
            let pointers: Vec<_> = refused.json["errors"].as_array().unwrap().iter().map(|e| &e["pointer"]).collect();
            assert_eq!(pointers, ["/drill", "/pitch_speed_mps", "/pitch_descent_deg"]);
            let word = api.post("/v1/rounds", json!({"lesson_id": lesson_id, "ball_source": "cannon"})).await;
            assert_eq!(word.status, 422);
            let path = format!("/v1/lessons/{}/rounds", lesson_id.as_str().unwrap());
            assert_eq!(api.get(&path).await.json["items"], json!([]));
        });
    }
}
