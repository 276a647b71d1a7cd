//! How sensors sit on bats.

use super::Api;
use super::check::Check;
use super::etag::{IfMatch, Versioned};
use super::extract::{Body, Id, Params};
use super::idempotency::Creation;
use super::instant::Instant;
use super::page::{self, Page};
use super::patch::Patch;
use super::plate;
use super::problem::Result;
use super::refer::referred;
use super::words::MountSource;
use crate::daemon::store::queries::{bats, mounts, sensors};
use crate::daemon::store::rows::{self, Seen, UtcMicros};
use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// No sensor on a bat is farther from its knob, m.
const FARTHEST_M: f64 = 1.5;
/// A quaternion is taken as one of a rotation if its norm differs from 1 by no more: two digits were written of it.
const NORM_TOLERANCE: f64 = 0.01;

/// A mount that is entered.
#[derive(Clone, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewMount {
    /// Which sensor.
    sensor_id: Uuid,
    /// On which bat; where nothing is said, the same on every one.
    bat_id: Option<Uuid>,
    /// The IMU's position in the bat's frame B, m: each at most 1.5 either way.
    #[schema(min_items = 3, max_items = 3)]
    offset_b_m: [f64; 3],
    /// The rotation that takes a vector from the sensor's frame to the bat's, scalar first; of norm 1 to within 0.01.
    #[schema(min_items = 4, max_items = 4)]
    q_bs_wxyz: [f64; 4],
    /// 1 σ of the direction of the bat's axis in the sensor, rad.
    #[schema(minimum = 0.0, maximum = 3.15)]
    tilt_sigma_rad: f64,
    /// Whether it was measured with the sensor, or is somebody's word.
    source: MountSource,
    /// Since when; where nothing is said, now.
    mounted: Option<Instant>,
    /// Until when; where nothing is said, it still sits so.
    removed: Option<Instant>,
    /// Free words.
    #[serde(default)]
    #[schema(max_length = 2000)]
    note: String,
}

/// What can be edited of a mount.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MountBody {
    /// On which bat; where nothing is said, the same on every one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    bat_id: Option<Uuid>,
    /// The IMU's position in the bat's frame B, m: each at most 1.5 either way.
    #[schema(min_items = 3, max_items = 3)]
    offset_b_m: [f64; 3],
    /// The rotation that takes a vector from the sensor's frame to the bat's, scalar first; of norm 1 to within 0.01, and
    /// stored with norm 1.
    #[schema(min_items = 4, max_items = 4)]
    q_bs_wxyz: [f64; 4],
    /// 1 σ of the direction of the bat's axis in the sensor, rad.
    #[schema(minimum = 0.0, maximum = 3.15)]
    tilt_sigma_rad: f64,
    /// Whether it was measured with the sensor, or is somebody's word.
    source: MountSource,
    /// Since when.
    mounted: Instant,
    /// Until when; where nothing is said, it still sits so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    removed: Option<Instant>,
    /// Free words.
    #[serde(default)]
    #[schema(max_length = 2000)]
    note: String,
}

/// Changes to a mount.
pub type MountPatch = Patch<MountBody>;

/// A mount as it is stored.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Mount {
    /// Its id.
    id: Uuid,
    /// Counts its changes; the ETag.
    version: i64,
    /// Which sensor.
    sensor_id: Uuid,
    /// What can be edited.
    #[serde(flatten)]
    body: MountBody,
}

/// Which mounts.
#[derive(Clone, Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct MountParams {
    /// Only this sensor's.
    sensor: Option<Uuid>,
    /// `next` of the page before.
    #[param(max_length = 200)]
    after: Option<String>,
    /// At most so many items.
    #[param(minimum = 1, maximum = 500)]
    limit: Option<u16>,
}

/// List mounts
///
/// In the order in which they were entered. Of those of a sensor that still sit, the one for the bat that is swung holds, else
/// one for every bat; of several, the one that was mounted last.
#[utoipa::path(
    get, path = "/v1/mounts", tag = "mounts", params(MountParams), responses((status = 200, body = Page<Mount>))
)]
pub async fn list(State(api): State<Api>, Params(params): Params<MountParams>) -> Result<Json<Page<Mount>>> {
    let slice = page::slice(params.after.as_deref(), params.limit)?;
    let rows = mounts::list(&mut *api.store.read().await?, params.sensor, slice).await?;
    Ok(Json(page::page(params.limit, rows, |row| row.id.to_string(), Mount::of)))
}

/// Enter a mount
#[utoipa::path(
    post, path = "/v1/mounts", tag = "mounts", request_body = NewMount, responses((status = 201, body = Mount))
)]
pub async fn create(State(api): State<Api>, creation: Creation, Body(new): Body<NewMount>) -> Result<Response> {
    let sensor_id = new.sensor_id;
    let mounted = new.mounted.unwrap_or_else(|| api.now().into());
    let row = MountBody::new(new, mounted).row(Seen { id: Uuid::now_v7(), version: 1 }, sensor_id)?;
    let mut changes = api.store.write().await?;
    referred(sensors::get(&mut changes, sensor_id).await, "sensor_id")?;
    if let Some(id) = row.bat_id {
        referred(bats::get(&mut changes, id).await, "bat_id")?;
    }
    mounts::insert(&mut changes, &row).await?;
    let location = format!("/v1/mounts/{}", row.id);
    let response = creation.finish(&api, changes, location, 1, &Mount::of(row)).await?;
    plate::renew(&api).await;
    Ok(response)
}

/// Read a mount
#[utoipa::path(
    get, path = "/v1/mounts/{id}", tag = "mounts", params(("id" = Uuid, Path)),
    responses((status = 200, body = Mount))
)]
pub async fn read(State(api): State<Api>, Id(id): Id<Uuid>) -> Result<Versioned<Mount>> {
    let row = mounts::get(&mut *api.store.read().await?, id).await?;
    Ok(Versioned(row.version, Mount::of(row)))
}

/// Edit or end a mount
///
/// To end it, say `removed`. Swings that were analysed with it keep their numbers; a new analysis uses what it says then.
#[utoipa::path(
    patch, path = "/v1/mounts/{id}", tag = "mounts", params(("id" = Uuid, Path)),
    request_body(content = MountPatch, content_type = "application/merge-patch+json"),
    responses((status = 200, body = Mount))
)]
pub async fn edit(
    State(api): State<Api>,
    Id(id): Id<Uuid>,
    IfMatch(version): IfMatch,
    patch: MountPatch,
) -> Result<Versioned<Mount>> {
    let mut changes = api.store.write().await?;
    let before = mounts::get(&mut changes, id).await?;
    let row = patch.apply(&MountBody::of(&before))?.row(Seen { id, version }, before.sensor_id)?;
    if let Some(id) = row.bat_id {
        referred(bats::get(&mut changes, id).await, "bat_id")?;
    }
    mounts::update(&mut changes, &row).await?;
    changes.commit().await?;
    plate::renew(&api).await;
    let version = version + 1;
    Ok(Versioned(version, Mount::of(rows::Mount { version, ..row })))
}

/// Remove a mount
///
/// Where the sensor only sits otherwise from now on, end it instead.
#[utoipa::path(
    delete, path = "/v1/mounts/{id}", tag = "mounts", params(("id" = Uuid, Path)), responses((status = 204))
)]
pub async fn remove(State(api): State<Api>, Id(id): Id<Uuid>, IfMatch(version): IfMatch) -> Result<StatusCode> {
    let mut changes = api.store.write().await?;
    mounts::delete(&mut changes, Seen { id, version }).await?;
    changes.commit().await?;
    plate::renew(&api).await;
    Ok(StatusCode::NO_CONTENT)
}

impl Mount {
    fn of(row: rows::Mount) -> Self {
        Self { id: row.id, version: row.version, sensor_id: row.sensor_id, body: MountBody::of(&row) }
    }
}

impl MountBody {
    fn new(new: NewMount, mounted: Instant) -> Self {
        Self {
            bat_id: new.bat_id,
            offset_b_m: new.offset_b_m,
            q_bs_wxyz: new.q_bs_wxyz,
            tilt_sigma_rad: new.tilt_sigma_rad,
            source: new.source,
            mounted,
            removed: new.removed,
            note: new.note,
        }
    }

    fn of(row: &rows::Mount) -> Self {
        Self {
            bat_id: row.bat_id,
            offset_b_m: row.offset_b_m,
            q_bs_wxyz: row.q_bs_wxyz,
            tilt_sigma_rad: row.tilt_sigma_rad,
            source: row.source.into(),
            mounted: row.mounted.into(),
            removed: row.removed.map(Instant::from),
            note: row.note.clone(),
        }
    }

    fn row(self, seen: Seen, sensor_id: Uuid) -> Result<rows::Mount> {
        let norm = self.q_bs_wxyz.iter().map(|part| part * part).sum::<f64>().sqrt();
        let is_unit = (norm - 1.0).abs() <= NORM_TOLERANCE;
        let is_near = self.offset_b_m.iter().all(|part| part.abs() <= FARTHEST_M);
        let is_later = self.removed.is_none_or(|removed| removed >= self.mounted);
        Check::new()
            .that(is_near, "offset_b_m", "lies off any bat; expected each from -1.5 to 1.5")
            .that(is_unit, "q_bs_wxyz", &format!("has norm {norm}; expected 1 to within {NORM_TOLERANCE}"))
            .range("tilt_sigma_rad", Some(self.tilt_sigma_rad), 0.0..=3.15)
            .that(is_later, "removed", "lies before `mounted`; expected a later instant")
            .text("note", &self.note, 2000)
            .done()?;
        Ok(rows::Mount {
            id: seen.id,
            sensor_id,
            bat_id: self.bat_id,
            offset_b_m: self.offset_b_m,
            q_bs_wxyz: self.q_bs_wxyz.map(|part| part / norm),
            tilt_sigma_rad: self.tilt_sigma_rad,
            source: self.source.into(),
            mounted: self.mounted.into(),
            removed: self.removed.map(UtcMicros::from),
            note: self.note,
            version: seen.version,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::test_api::{TestApi, on_each, pages, sensor};
    use super::*;
    use serde_json::{Value, json};

    fn body(sensor_id: &str) -> Value {
        json!({"sensor_id": sensor_id, "offset_b_m": [0.0, 0.001, -0.02], "q_bs_wxyz": [0.5, -0.5, 0.5, 0.504],
            "tilt_sigma_rad": 0.01, "source": "measured"})
    }

    #[test]
    fn a_mount_is_entered_with_a_unit_quaternion_edited_ended_and_removed() {
        on_each(async |api: TestApi| {
            let sensor_id = sensor(&api, "knob-4f1a").await;
            let made = api.post("/v1/mounts", body(&sensor_id)).await;
            assert_eq!(made.status, 201, "{:?}", made.json);
            let q: Vec<f64> = serde_json::from_value(made.json["q_bs_wxyz"].clone()).unwrap();
            assert!((q.iter().map(|part| part * part).sum::<f64>() - 1.0).abs() < 1e-15, "{q:?}");
            assert!((q[3] / q[0] - 1.008).abs() < 1e-12 && q[1] < 0.0, "{q:?}");
            let path = made.header("location").unwrap();
            assert_eq!(api.get(path).await.json, made.json);
            let removed = made.json["mounted"].clone();
            let ended = api.patch(path, "\"1\"", json!({"removed": removed, "note": "tape came off"})).await;
            assert_eq!((ended.status, &ended.json["removed"]), (200, &removed));
            assert_eq!(api.patch(path, "\"1\"", json!({"note": "other"})).await.status, 412);
            assert_eq!(api.patch(path, "\"2\"", json!({"sensor_id": sensor_id})).await.status, 422);
            assert_eq!(api.get(path).await.json, ended.json);
            assert_eq!(api.delete(path, "\"1\"").await.status, 412);
            assert_eq!(api.delete(path, "\"2\"").await.status, 204);
            assert_eq!(api.get(path).await.status, 404);
        });
    }

    #[test]
    fn stations_hear_of_a_mount_that_is_entered_ended_or_removed() {
        on_each(async |api: TestApi| {
            let sensor_id = sensor(&api, "knob-4f1a").await;
            let heard = || api.plate.lock().unwrap().len();
            let made = api.post("/v1/mounts", body(&sensor_id)).await;
            assert_eq!(heard(), 1);
            let path = made.header("location").unwrap();
            api.patch(path, "\"1\"", json!({"note": "blue tape"})).await;
            assert_eq!(heard(), 2);
            assert_eq!(api.delete(path, "\"1\"").await.status, 412);
            assert_eq!(heard(), 2, "nothing changed");
            api.delete(path, "\"2\"").await;
            assert_eq!(heard(), 3);
        });
    }

    #[test]
    fn what_is_no_mount_is_refused_with_its_place() {
        on_each(async |api: TestApi| {
            let sensor_id = sensor(&api, "knob-4f1a").await;
            let with = |changes: Value| {
                let mut body = body(&sensor_id);
                changes.as_object().unwrap().iter().for_each(|(key, value)| body[key] = value.clone());
                body
            };
            let epoch = Instant::from(UtcMicros(0));
            for (key, changes) in [
                ("/q_bs_wxyz", json!({"q_bs_wxyz": [0.0, 0.0, 0.0, 0.0]})),
                ("/q_bs_wxyz", json!({"q_bs_wxyz": [1.02, 0.0, 0.0, 0.0]})),
                ("/q_bs_wxyz", json!({"q_bs_wxyz": [1e200, 0.0, 0.0, 0.0]})),
                ("/offset_b_m", json!({"offset_b_m": [0.0, 0.0, 1.6]})),
                ("/tilt_sigma_rad", json!({"tilt_sigma_rad": -0.1})),
                ("/removed", json!({"removed": epoch})),
            ] {
                let refused = api.post("/v1/mounts", with(changes)).await;
                assert_eq!((refused.status, &refused.json["errors"][0]["pointer"]), (422, &json!(key)));
            }
            let short = api.post("/v1/mounts", with(json!({"q_bs_wxyz": [1.0, 0.0, 0.0]}))).await;
            assert_eq!(short.status, 422);
            for key in ["sensor_id", "bat_id"] {
                let refused = api.post("/v1/mounts", with(json!({key: Uuid::now_v7()}))).await;
                let pointer = json!(format!("/{key}"));
                assert_eq!((refused.status, &refused.json["errors"][0]["pointer"]), (409, &pointer));
            }
            assert_eq!(api.get("/v1/mounts").await.json["items"], json!([]));
        });
    }

    #[test]
    fn a_list_is_paged_and_filtered_by_sensor() {
        on_each(async |api: TestApi| {
            let (blue, red) = (sensor(&api, "knob-blue").await, sensor(&api, "knob-red").await);
            for sensor_id in [&blue, &red, &blue, &blue] {
                api.post("/v1/mounts", body(sensor_id)).await;
            }
            assert_eq!(pages(&api, "/v1/mounts?limit=3").await.len(), 4);
            let of_blue = pages(&api, &format!("/v1/mounts?limit=2&sensor={blue}")).await;
            assert!(of_blue.len() == 3 && of_blue.iter().all(|item| item["sensor_id"] == json!(blue)), "{of_blue:?}");
        });
    }
}
