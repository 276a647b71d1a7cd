//! Directions toward the pitcher, as they were taken. What was measured is not edited; a new aim is a new one.

use super::Api;
use super::check::Check;
use super::etag::{IfMatch, Versioned};
use super::extract::{Body, Id, Params};
use super::idempotency::Creation;
use super::instant::Instant;
use super::page::{self, Page};
use super::patch::Patch;
use super::problem::Result;
use super::refer::referred;
use crate::daemon::store::queries::aims::{self, Filter};
use crate::daemon::store::queries::{lessons, sensors};
use crate::daemon::store::rows::{self, Seen, UtcMicros};
use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// An aim that is entered.
#[derive(Clone, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewAim {
    /// With which sensor.
    sensor_id: Uuid,
    /// In which lesson.
    lesson_id: Option<Uuid>,
    /// In which recording.
    recording_id: Option<Uuid>,
    /// When; where nothing is said, now.
    taken: Option<Instant>,
    /// When on the sensor's clock, s.
    #[schema(minimum = 0.0, maximum = 1e9)]
    taken_s: Option<f64>,
    /// The pitcher's heading in the world frame of that stretch of the recording, about the vertical, rad.
    #[schema(minimum = -3.15, maximum = 3.15)]
    heading_rad: Option<f64>,
    /// 1 σ of it, rad.
    #[schema(minimum = 0.0, maximum = 3.15)]
    heading_sigma_rad: Option<f64>,
    /// Free words.
    #[serde(default)]
    #[schema(max_length = 2000)]
    note: String,
}

/// What can be edited of an aim.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AimBody {
    /// Free words.
    #[serde(default)]
    #[schema(max_length = 2000)]
    note: String,
}

/// Changes to an aim.
pub type AimPatch = Patch<AimBody>;

/// An aim as it is stored.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Aim {
    /// Its id.
    id: Uuid,
    /// Counts its changes; the ETag.
    version: i64,
    /// With which sensor.
    sensor_id: Uuid,
    /// In which lesson.
    #[schema(required)]
    lesson_id: Option<Uuid>,
    /// In which recording.
    #[schema(required)]
    recording_id: Option<Uuid>,
    /// When.
    taken: Instant,
    /// When on the sensor's clock, s.
    #[schema(required)]
    taken_s: Option<f64>,
    /// The pitcher's heading in the world frame of that stretch of the recording, about the vertical, rad.
    #[schema(required)]
    heading_rad: Option<f64>,
    /// 1 σ of it, rad.
    #[schema(required)]
    heading_sigma_rad: Option<f64>,
    /// What can be edited.
    #[serde(flatten)]
    body: AimBody,
}

/// Which aims.
#[derive(Clone, Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct AimParams {
    /// Only in this lesson.
    lesson: Option<Uuid>,
    /// Only with this sensor.
    sensor: Option<Uuid>,
    /// `next` of the page before.
    #[param(max_length = 200)]
    after: Option<String>,
    /// At most so many items.
    #[param(minimum = 1, maximum = 500)]
    limit: Option<u16>,
}

/// List aims
///
/// In the order in which they were entered.
#[utoipa::path(get, path = "/v1/aims", tag = "aims", params(AimParams), responses((status = 200, body = Page<Aim>)))]
pub async fn list(State(api): State<Api>, Params(params): Params<AimParams>) -> Result<Json<Page<Aim>>> {
    let slice = page::slice(params.after.as_deref(), params.limit)?;
    let filter = Filter { lesson_id: params.lesson, sensor_id: params.sensor };
    let rows = aims::list(&mut *api.store.read().await?, &filter, slice).await?;
    Ok(Json(page::page(params.limit, rows, |row| row.id.to_string(), Aim::of)))
}

/// Enter an aim
#[utoipa::path(post, path = "/v1/aims", tag = "aims", request_body = NewAim, responses((status = 201, body = Aim)))]
pub async fn create(State(api): State<Api>, creation: Creation, Body(new): Body<NewAim>) -> Result<Response> {
    let now = api.now();
    let row = new.row(now)?;
    let mut changes = api.store.write().await?;
    referred(sensors::get(&mut changes, row.sensor_id).await, "sensor_id")?;
    if let Some(id) = row.lesson_id {
        referred(lessons::get(&mut changes, id).await, "lesson_id")?;
    }
    aims::insert(&mut changes, &row).await?;
    let location = format!("/v1/aims/{}", row.id);
    creation.finish(&api, changes, location, 1, &Aim::of(row)).await
}

/// Read an aim
#[utoipa::path(get, path = "/v1/aims/{id}", tag = "aims", params(("id" = Uuid, Path)), responses((status = 200, body = Aim)))]
pub async fn read(State(api): State<Api>, Id(id): Id<Uuid>) -> Result<Versioned<Aim>> {
    let row = aims::get(&mut *api.store.read().await?, id).await?;
    Ok(Versioned(row.version, Aim::of(row)))
}

/// Edit an aim
#[utoipa::path(
    patch, path = "/v1/aims/{id}", tag = "aims", params(("id" = Uuid, Path)),
    request_body(content = AimPatch, content_type = "application/merge-patch+json"),
    responses((status = 200, body = Aim))
)]
pub async fn edit(
    State(api): State<Api>,
    Id(id): Id<Uuid>,
    IfMatch(version): IfMatch,
    patch: AimPatch,
) -> Result<Versioned<Aim>> {
    let mut changes = api.store.write().await?;
    let before = aims::get(&mut changes, id).await?;
    let AimBody { note } = patch.apply(&AimBody { note: before.note.clone() })?;
    Check::new().text("note", &note, 2000).done()?;
    let row = rows::Aim { note, version, ..before };
    aims::update(&mut changes, &row).await?;
    changes.commit().await?;
    let version = version + 1;
    Ok(Versioned(version, Aim::of(rows::Aim { version, ..row })))
}

/// Remove an aim
#[utoipa::path(delete, path = "/v1/aims/{id}", tag = "aims", params(("id" = Uuid, Path)), responses((status = 204)))]
pub async fn remove(State(api): State<Api>, Id(id): Id<Uuid>, IfMatch(version): IfMatch) -> Result<StatusCode> {
    let mut changes = api.store.write().await?;
    aims::delete(&mut changes, Seen { id, version }).await?;
    changes.commit().await?;
    Ok(StatusCode::NO_CONTENT)
}

impl NewAim {
    fn row(self, now: UtcMicros) -> Result<rows::Aim> {
        let has_heading = self.heading_sigma_rad.is_none() || self.heading_rad.is_some();
        Check::new()
            .range("taken_s", self.taken_s, 0.0..=1e9)
            .range("heading_rad", self.heading_rad, -3.15..=3.15)
            .range("heading_sigma_rad", self.heading_sigma_rad, 0.0..=3.15)
            .that(has_heading, "heading_sigma_rad", "has no heading_rad")
            .text("note", &self.note, 2000)
            .done()?;
        Ok(rows::Aim {
            id: Uuid::now_v7(),
            sensor_id: self.sensor_id,
            lesson_id: self.lesson_id,
            recording_id: self.recording_id,
            taken: self.taken.map_or(now, UtcMicros::from),
            taken_s: self.taken_s,
            heading_rad: self.heading_rad,
            heading_sigma_rad: self.heading_sigma_rad,
            note: self.note,
            version: 1,
        })
    }
}

impl Aim {
    fn of(row: rows::Aim) -> Self {
        Self {
            id: row.id,
            version: row.version,
            sensor_id: row.sensor_id,
            lesson_id: row.lesson_id,
            recording_id: row.recording_id,
            taken: row.taken.into(),
            taken_s: row.taken_s,
            heading_rad: row.heading_rad,
            heading_sigma_rad: row.heading_sigma_rad,
            body: AimBody { note: row.note },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::test_api::{TestApi, athlete, on_each, pages, sensor};
    use super::*;
    use serde_json::json;

    #[test]
    fn an_aim_is_entered_and_of_it_only_the_note_is_edited() {
        on_each(async |api: TestApi| {
            let sensor_id = sensor(&api, "knob-4f1a").await;
            let body = json!({"sensor_id": sensor_id, "taken_s": 12.5, "heading_rad": -0.4, "heading_sigma_rad": 0.02});
            let made = api.post("/v1/aims", body).await;
            assert_eq!((made.status, &made.json["heading_rad"]), (201, &json!(-0.4)), "{:?}", made.json);
            assert_eq!(made.json["lesson_id"], json!(null));
            let path = made.header("location").unwrap();
            assert_eq!(api.get(path).await.json, made.json);
            let edited = api.patch(path, "\"1\"", json!({"note": "by the net"})).await;
            assert_eq!((edited.status, &edited.json["note"]), (200, &json!("by the net")));
            assert_eq!(api.patch(path, "\"1\"", json!({"note": "other"})).await.status, 412);
            assert_eq!(api.patch(path, "\"2\"", json!({"heading_rad": 0.1})).await.status, 422);
            assert_eq!(api.get(path).await.json, edited.json);
            assert_eq!(api.delete(path, "\"1\"").await.status, 412);
            assert_eq!(api.delete(path, "\"2\"").await.status, 204);
            assert_eq!(api.get(path).await.status, 404);
        });
    }

    #[test]
    fn an_aim_without_what_it_needs_is_refused() {
        on_each(async |api: TestApi| {
            let sensor_id = sensor(&api, "knob-4f1a").await;
            for (status, key, body) in [
                (422, "heading_sigma_rad", json!({"sensor_id": sensor_id, "heading_sigma_rad": 0.1})),
                (422, "heading_rad", json!({"sensor_id": sensor_id, "heading_rad": 4.0})),
                (422, "taken_s", json!({"sensor_id": sensor_id, "taken_s": -1.0})),
                (409, "sensor_id", json!({"sensor_id": Uuid::now_v7()})),
                (409, "lesson_id", json!({"sensor_id": sensor_id, "lesson_id": Uuid::now_v7()})),
            ] {
                let refused = api.post("/v1/aims", body).await;
                let pointer = json!(format!("/{key}"));
                assert_eq!((refused.status, &refused.json["errors"][0]["pointer"]), (status, &pointer));
            }
            let recording = json!({"sensor_id": sensor_id, "recording_id": Uuid::now_v7()});
            assert_eq!(api.post("/v1/aims", recording).await.status, 409);
            assert_eq!(api.get("/v1/aims").await.json["items"], json!([]));
        });
    }

    #[test]
    fn a_list_is_paged_and_filtered_by_lesson_and_sensor() {
        on_each(async |api: TestApi| {
            let (blue, red) = (sensor(&api, "knob-blue").await, sensor(&api, "knob-red").await);
            let wren = athlete(&api, "Wren").await;
            let lesson = api.post("/v1/lessons", json!({"athlete_id": wren})).await.json["id"].clone();
            for (sensor_id, lesson_id) in [(&blue, None), (&red, Some(&lesson)), (&blue, Some(&lesson)), (&blue, None)]
            {
                api.post("/v1/aims", json!({"sensor_id": sensor_id, "lesson_id": lesson_id})).await;
            }
            let lesson = lesson.as_str().unwrap();
            for (query, expected) in [
                (String::new(), 4),
                (format!("sensor={blue}"), 3),
                (format!("lesson={lesson}"), 2),
                (format!("lesson={lesson}&sensor={blue}"), 1),
            ] {
                assert_eq!(pages(&api, &format!("/v1/aims?limit=1&{query}")).await.len(), expected, "{query}");
            }
        });
    }
}
