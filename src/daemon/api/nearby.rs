//! Which sensors can be heard now, and which of them are to be used.

use super::Api;
use super::extract::{Body, Id};
use super::instant::Instant;
use super::plate::to_the_end;
use super::problem::{Kind, Problem, Result};
use crate::daemon::MOST_SENSORS;
use crate::daemon::finder::{LISTENING, RADIO};
use crate::daemon::nearby::Heard;
use crate::daemon::radio::printable;
use crate::daemon::store::queries::chosen_sensors;
use crate::daemon::store::rows::{ChosenSensor, UtcMicros};
use axum::Json;
use axum::extract::State;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What can be heard.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct NearbySensors {
    /// Whether a radio is listened to: not where a recording is played in its place.
    pub is_listening: bool,
    /// Why nothing is heard, for people; null where something is.
    #[schema(required)]
    pub why_empty: Option<String>,
    /// Those that are understood, and those that were chosen, heard or not.
    pub items: Vec<NearbySensor>,
}

/// A sensor that can be heard, or was chosen.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct NearbySensor {
    /// What this machine's radio calls it.
    pub id: String,
    /// The name it advertises, or did when it was chosen.
    #[schema(required)]
    pub name: Option<String>,
    /// What kind of sensor it is; null where it was not heard since the start.
    #[schema(required)]
    pub kind: Option<String>,
    /// Whether it says by a service what it is; false: it is known by its name alone, or was not heard.
    pub is_sure: bool,
    /// Signal strength when it was heard last, dBm.
    #[schema(required)]
    pub rssi_dbm: Option<i16>,
    /// When it was heard last; a connected sensor may be silent here.
    #[schema(required)]
    pub heard: Option<Instant>,
    /// Whether somebody chose it. While none is chosen, the configuration says which are connected to.
    pub is_used: bool,
    /// Whether it is connected now.
    pub is_connected: bool,
    /// What the service calls it, while it is kept connected.
    #[schema(required)]
    pub sensor: Option<String>,
}

/// Whether a sensor is to be used.
#[derive(Clone, Copy, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct UseBody {
    /// True: it is connected to, and others only if they were chosen as well. False: it is not chosen any more.
    is_used: bool,
}

/// Read what is near
///
/// Asking makes the service listen more often for some seconds.
#[utoipa::path(get, path = "/v1/nearby", tag = "sensors", responses((status = 200, body = NearbySensors)))]
pub async fn nearby(State(api): State<Api>) -> Json<NearbySensors> {
    Json(near(&api))
}

/// Choose a sensor
///
/// Chosen sensors are always connected to; while any is chosen, others are not. It takes effect within seconds and holds
/// after a restart.
#[utoipa::path(
    put, path = "/v1/nearby/{id}", tag = "sensors", params(("id" = String, Path)), request_body = UseBody,
    responses((status = 200, body = NearbySensor))
)]
pub async fn choose(
    State(api): State<Api>,
    Id(id): Id<String>,
    Body(UseBody { is_used }): Body<UseBody>,
) -> Result<Json<NearbySensor>> {
    to_the_end(async move {
        let _turn = api.nearby.turn.lock().await;
        let items = near(&api).items;
        let there = items.iter().find(|item| item.id == id);
        let there =
            there.ok_or_else(|| Problem::new(Kind::NotFound, "no sensor that is near or chosen has this id"))?;
        if is_used && !there.is_used && items.iter().filter(|item| item.is_used).count() >= MOST_SENSORS {
            return Err(Problem::new(Kind::Conflict, format!("{MOST_SENSORS} sensors are chosen; expected no more")));
        }
        let mut changes = api.store.write().await?;
        if is_used {
            let (cage, radio_id, name) = (api.cage.clone(), id.clone(), there.name.clone());
            let row = ChosenSensor { cage, radio_id, name, chosen: api.now() };
            chosen_sensors::insert(&mut changes, &row).await?;
        } else {
            chosen_sensors::delete(&mut changes, &api.cage, &id).await?;
        }
        changes.commit().await?;
        api.nearby.choose(&id, there.name.clone(), is_used);
        Ok(Json(NearbySensor { is_used, ..there.clone() }))
    })
    .await
}

/// What is near, with who is chosen and connected. The finder is told that somebody looks.
pub fn near(api: &Api) -> NearbySensors {
    api.nearby.look();
    let mut chosen = api.nearby.chosen();
    let connected = api.hub.connected();
    let heard = api.nearby.heard().into_iter();
    let mut items: Vec<NearbySensor> = heard
        .map(|heard| {
            let is_used = chosen.remove(&heard.advert.id).is_some();
            let is_connected = heard.sensor.as_ref().is_some_and(|sensor| connected.contains(sensor));
            NearbySensor::of(heard, is_used, is_connected)
        })
        .collect();
    items.extend(chosen.into_iter().map(|(id, name)| NearbySensor::unheard(id, name)));
    let why_empty = if items.is_empty() { Some(why_empty(api)) } else { None };
    NearbySensors { is_listening: api.nearby.is_listening(), why_empty, items }
}

fn why_empty(api: &Api) -> String {
    if !api.nearby.is_listening() {
        return "no radio is listened to while a recording is played".into();
    }
    let faults = api.hub.faults();
    let fault = faults.iter().find(|fault| fault.sensor.is_none() && [RADIO, LISTENING].contains(&fault.key));
    fault.map_or_else(
        || "no sensor that is understood was heard yet; wake it, and bring it closer".into(),
        |fault| format!("{}; {}", fault.cause, fault.remedy),
    )
}

impl NearbySensor {
    fn of(heard: Heard, is_used: bool, is_connected: bool) -> Self {
        Self {
            id: heard.advert.id,
            name: heard.advert.name.as_deref().map(printable).filter(|name| !name.is_empty()),
            kind: Some(heard.kind),
            is_sure: heard.is_sure,
            rssi_dbm: heard.advert.rssi_dbm,
            heard: Some(UtcMicros(heard.utc_ns / 1000).into()),
            is_used,
            is_connected,
            sensor: heard.sensor,
        }
    }

    fn unheard(id: String, name: Option<String>) -> Self {
        let (kind, rssi_dbm, heard, sensor) = (None, None, None, None);
        Self { id, name, kind, is_sure: false, rssi_dbm, heard, is_used: true, is_connected: false, sensor }
    }
}

#[cfg(test)]
mod tests {
    use super::super::test_api::{TestApi, on_each};
    use super::*;
    use crate::daemon::radio::Advert;
    use serde_json::json;

    fn hear(api: &TestApi, id: &str, name: &str) {
        let (name, services) = (Some(name.into()), vec![]);
        let advert = Advert { id: id.into(), name, rssi_dbm: Some(-61), services, adapter: "hci0".into() };
        let heard = Heard { advert, kind: "swingd sensor".into(), is_sure: true, utc_ns: 1_000_000_000, sensor: None };
        api.api.nearby.hear(heard);
    }

    #[test]
    fn what_is_near_is_listed_with_who_is_connected_and_an_empty_list_says_why() {
        on_each(async |api: TestApi| {
            let none = api.get("/v1/nearby").await.json;
            assert_eq!((&none["items"], &none["is_listening"]), (&json!([]), &json!(false)));
            assert!(none["why_empty"].as_str().unwrap().contains("a recording is played"), "{none}");
            api.api.nearby.begin();
            let words = api.get("/v1/nearby").await.json["why_empty"].as_str().unwrap().to_owned();
            assert!(words.contains("wake it"), "{words}");
            // As it came over the air; shown without what would steer a terminal.
            hear(&api, "hci0/dev_1", "Knob\u{1b}\0");
            api.api.nearby.keep("hci0/dev_1", Some("Knob-dev1"));
            api.api.hub.sensor("Knob-dev1", &json!({"link": "connected"}));
            let near = api.get("/v1/nearby").await.json;
            let expected = json!({
                "id": "hci0/dev_1", "name": "Knob\u{fffd}", "kind": "swingd sensor", "is_sure": true, "rssi_dbm": -61,
                "heard": "1970-01-01T00:00:01.000000Z", "is_used": false, "is_connected": true, "sensor": "Knob-dev1"});
            assert_eq!(near, json!({"is_listening": true, "why_empty": null, "items": [expected]}));
        });
    }

    #[test]
    fn a_choice_is_stored_for_this_installation_and_taken_back() {
        on_each(async |api: TestApi| {
            hear(&api, "hci0/dev_1", "Knob");
            let path = "/v1/nearby/hci0%2Fdev_1";
            let chosen =
                async || chosen_sensors::list(&mut api.api.store.read().await.unwrap(), "north").await.unwrap();
            for _ in 0..2 {
                let put = api.put(path, json!({"is_used": true})).await;
                assert_eq!((put.status, &put.json["is_used"]), (200, &json!(true)), "{:?}", put.json);
                let rows = chosen().await;
                assert_eq!(
                    (rows.len(), rows[0].radio_id.as_str(), rows[0].name.as_deref()),
                    (1, "hci0/dev_1", Some("Knob"))
                );
            }
            let other = chosen_sensors::list(&mut api.api.store.read().await.unwrap(), "south").await.unwrap();
            assert_eq!(other, [], "another installation has its own");
            assert_eq!(api.get("/v1/nearby").await.json["items"][0]["is_used"], json!(true));
            let put = api.put(path, json!({"is_used": false})).await;
            assert_eq!((put.status, &put.json["is_used"], chosen().await), (200, &json!(false), vec![]));
            assert_eq!(api.put("/v1/nearby/nobody", json!({"is_used": true})).await.status, 404);
            assert_eq!(api.put(path, json!({"used": true})).await.status, 422);
        });
    }

    #[test]
    fn one_that_was_chosen_and_is_not_heard_is_listed_and_can_be_let_go() {
        on_each(async |api: TestApi| {
            api.api.nearby.choose("hci0/dev_2", Some("Old knob".into()), true);
            let near = api.get("/v1/nearby").await.json;
            let item = &near["items"][0];
            assert_eq!(
                (&item["name"], &item["heard"], &item["is_used"]),
                (&json!("Old knob"), &json!(null), &json!(true))
            );
            assert_eq!(api.put("/v1/nearby/hci0%2Fdev_2", json!({"is_used": false})).await.status, 200);
            assert_eq!(api.get("/v1/nearby").await.json["items"], json!([]));
        });
    }
}
