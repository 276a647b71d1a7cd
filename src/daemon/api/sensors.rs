//! Sensors that were ever connected, with what those that were since the start say of themselves now.

use super::Api;
use super::check::Check;
use super::etag::{IfMatch, Versioned};
use super::extract::{Id, Params};
use super::instant::Instant;
use super::page::{Page, PageParams};
use super::patch::Patch;
use super::problem::Result;
use crate::daemon::store::queries::{Slice, sensors};
use crate::daemon::store::rows;
use axum::Json;
use axum::extract::State;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::BTreeMap;
use utoipa::ToSchema;
use uuid::Uuid;

/// What people say of a sensor.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SensorBody {
    /// What they call it; may be empty.
    #[serde(default)]
    #[schema(max_length = 100)]
    label: String,
    /// Free words.
    #[serde(default)]
    #[schema(max_length = 2000)]
    note: String,
}

/// Changes to a sensor.
pub type SensorPatch = Patch<SensorBody>;

/// A sensor.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Sensor {
    /// Its id.
    id: Uuid,
    /// Counts its edits; the ETag. What is so now, and when it was seen, is no edit.
    version: i64,
    /// The name that the service gives it, by which events and recordings name it.
    name: String,
    /// When it was seen first.
    first_seen: Instant,
    /// When it was seen last, as far as is stored.
    last_seen: Instant,
    /// Its state as the event `sensor` of the event stream tells it; null if it was not connected since the start.
    #[schema(required, value_type = Option<Object>)]
    live: Option<Value>,
    /// What people say of it.
    #[serde(flatten)]
    body: SensorBody,
}

/// List sensors
///
/// Those that were ever connected, in the order in which they were seen first, with what is so now.
#[utoipa::path(
    get, path = "/v1/sensors", tag = "sensors", params(PageParams), responses((status = 200, body = Page<Sensor>))
)]
pub async fn list(State(api): State<Api>, Params(params): Params<PageParams>) -> Result<Json<Page<Sensor>>> {
    let slice = params.slice()?;
    let live = live(&api);
    enter_new(&api, &live).await?;
    let rows = sensors::list(&mut *api.store.read().await?, slice).await?;
    Ok(Json(params.page(rows, |row| row.id.to_string(), |row| Sensor::of(row, &live))))
}

/// A sensor with what is so now.
#[derive(Clone, Debug)]
pub struct Known {
    /// What is stored of it.
    pub row: rows::Sensor,
    /// Its state; `None` if it was not connected since the start.
    pub live: Option<Value>,
}

/// Those that were ever connected, as many as a page of the list may have.
///
/// # Errors
/// If the store cannot be used.
pub async fn known(api: &Api) -> Result<Vec<Known>> {
    let mut live = live(api);
    enter_new(api, &live).await?;
    let rows = sensors::list(&mut *api.store.read().await?, Slice { after: None, limit: 500 }).await?;
    let known = |row: rows::Sensor| Known { live: live.remove(&row.name), row };
    Ok(rows.into_iter().map(known).collect())
}

/// Read a sensor
#[utoipa::path(
    get, path = "/v1/sensors/{id}", tag = "sensors", params(("id" = Uuid, Path)),
    responses((status = 200, body = Sensor))
)]
pub async fn read(State(api): State<Api>, Id(id): Id<Uuid>) -> Result<Versioned<Sensor>> {
    let row = sensors::get(&mut *api.store.read().await?, id).await?;
    Ok(Versioned(row.version, Sensor::of(row, &live(&api))))
}

/// Edit a sensor
#[utoipa::path(
    patch, path = "/v1/sensors/{id}", tag = "sensors", params(("id" = Uuid, Path)),
    request_body(content = SensorPatch, content_type = "application/merge-patch+json"),
    responses((status = 200, body = Sensor))
)]
pub async fn edit(
    State(api): State<Api>,
    Id(id): Id<Uuid>,
    IfMatch(version): IfMatch,
    patch: SensorPatch,
) -> Result<Versioned<Sensor>> {
    let mut changes = api.store.write().await?;
    let before = sensors::get(&mut changes, id).await?;
    let SensorBody { label, note } = patch.apply(&SensorBody::of(&before))?;
    Check::new().text("label", &label, 100).text("note", &note, 2000).done()?;
    let row = rows::Sensor { label, note, version, ..before };
    sensors::update(&mut changes, &row).await?;
    changes.commit().await?;
    let version = version + 1;
    Ok(Versioned(version, Sensor::of(rows::Sensor { version, ..row }, &live(&api))))
}

/// The states of those that were connected since the start, by name.
fn live(api: &Api) -> BTreeMap<String, Value> {
    let states = api.hub.sensors().into_iter();
    states.filter_map(|(name, state)| Some((name, serde_json::from_str(&state).ok()?))).collect()
}

/// A sensor that was connected a moment ago may not be stored yet: it is then, so that none is missing from the list.
async fn enter_new(api: &Api, live: &BTreeMap<String, Value>) -> Result<()> {
    let mut reading = api.store.read().await?;
    let mut new = Vec::new();
    for name in live.keys() {
        if sensors::by_name(&mut reading, name).await?.is_none() {
            new.push(name);
        }
    }
    drop(reading);
    if new.is_empty() {
        return Ok(());
    }
    let mut changes = api.store.write().await?;
    for name in new {
        sensors::see(&mut changes, name, api.now()).await?;
    }
    Ok(changes.commit().await?)
}

impl Sensor {
    fn of(row: rows::Sensor, live: &BTreeMap<String, Value>) -> Self {
        Self {
            id: row.id,
            version: row.version,
            body: SensorBody::of(&row),
            live: live.get(&row.name).cloned(),
            name: row.name,
            first_seen: row.first_seen.into(),
            last_seen: row.last_seen.into(),
        }
    }
}

impl SensorBody {
    fn of(row: &rows::Sensor) -> Self {
        Self { label: row.label.clone(), note: row.note.clone() }
    }
}

#[cfg(test)]
mod tests {
    use super::super::test_api::{TestApi, on_each, pages, sensor};
    use super::*;
    use serde_json::json;

    #[test]
    fn a_connected_sensor_is_listed_with_its_state_and_stays_listed_without() {
        on_each(async |api: TestApi| {
            assert_eq!(api.get("/v1/sensors").await.json, json!({"items": [], "next": null}));
            let old = sensor(&api, "knob-old").await;
            api.api.hub.sensor("knob-4f1a", &json!({"sensor": "knob-4f1a", "link": "connected"}));
            let all = pages(&api, "/v1/sensors?limit=1").await;
            assert_eq!((all.len(), &all[0]["id"], &all[0]["live"]), (2, &json!(old), &json!(null)));
            assert_eq!(all[1]["live"], json!({"sensor": "knob-4f1a", "link": "connected"}));
            assert_eq!(pages(&api, "/v1/sensors").await, all, "seen once");
            api.api.hub.sensor("knob-4f1a", &json!({"link": "lost"}));
            let path = format!("/v1/sensors/{}", all[1]["id"].as_str().unwrap());
            let read = api.get(&path).await;
            assert_eq!((&read.json["live"], read.header("etag")), (&json!({"link": "lost"}), Some("\"1\"")));
        });
    }

    #[test]
    fn a_sensor_is_given_a_label_and_only_that_is_edited() {
        on_each(async |api: TestApi| {
            let path = format!("/v1/sensors/{}", sensor(&api, "knob-4f1a").await);
            let edited = api.patch(&path, "\"1\"", json!({"label": "Blue", "note": "new battery"})).await;
            assert_eq!((edited.status, &edited.json["label"]), (200, &json!("Blue")));
            assert_eq!(api.patch(&path, "\"1\"", json!({"label": "Red"})).await.status, 412);
            assert_eq!(api.patch(&path, "\"2\"", json!({"name": "knob"})).await.status, 422);
            assert_eq!(api.patch(&path, "\"2\"", json!({"label": "x".repeat(101)})).await.status, 422);
            assert_eq!(api.get(&path).await.json, edited.json);
            let nobody = format!("/v1/sensors/{}", Uuid::now_v7());
            assert_eq!(api.patch(&nobody, "\"1\"", json!({})).await.status, 404);
        });
    }
}
