use super::super::test_api::{Answer, TestApi, athlete, on_each};
use super::*;
use crate::daemon::inlet::Outlet;
use crate::engine::wire::mcap::{Entry, LinkState};
use serde_json::{Value, json};
use std::time::{Duration, Instant};

async fn play(api: &TestApi) -> Answer {
    api.post("/v1/example", json!({"speed": 20.0})).await
}

fn notice(api: &TestApi) -> Option<String> {
    let faults = api.api.hub.faults().into_iter();
    faults.filter(|fault| fault.key == example::NOTICE).map(|fault| fault.cause).next()
}

fn outlet(api: &TestApi) -> Outlet {
    api.played.lock().unwrap().outlet.take().unwrap()
}

/// Until it has ended, what it sent: how many pieces, and whether it said that it is lost.
fn rest_of(outlet: &mut Outlet) -> (usize, bool) {
    let (begun, mut count) = (Instant::now(), 0);
    while begun.elapsed() < Duration::from_secs(20) {
        match outlet.pop() {
            Some(Entry::Samples { .. }) => count += 1,
            Some(Entry::Link { link, .. }) if link.state == LinkState::Lost => return (count, true),
            Some(Entry::AtThePlate { context, .. }) => panic!("{context:?}"),
            Some(_) => {}
            None => std::thread::sleep(Duration::from_millis(1)),
        }
    }
    (count, false)
}

#[test]
fn it_is_played_as_an_invented_athletes_who_is_entered_once() {
    on_each(async |api: TestApi| {
        let mut before = None;
        for _ in 0..2 {
            let played = play(&api).await;
            assert_eq!((played.status, played.json["sensor"].as_str()), (201, Some("example")), "{played:?}");
            let id = played.json["athlete_id"].as_str().unwrap().to_owned();
            let athlete = api.get(&format!("/v1/athletes/{id}")).await.json;
            assert_eq!((&athlete["nickname"], &athlete["note"]), (&json!(NICKNAME), &json!(NOTE)));
            let plate = api.get("/v1/at-the-plate").await.json;
            assert_eq!(
                (&plate["athlete_id"], &plate["bat"], &plate["side"]),
                (&json!(id), &json!(BAT), &json!("right"))
            );
            assert!(notice(&api).unwrap().contains("simulated"));
            assert_eq!(api.played.lock().unwrap().kept_to.last().unwrap().to_string(), id);
            let mut outlet = outlet(&api);
            assert_eq!(api.send(axum::http::Request::delete("/v1/example").body("".into()).unwrap()).await.status, 204);
            assert!(rest_of(&mut outlet).1, "it is lost when it is ended");
            assert_eq!((notice(&api), &api.get("/v1/at-the-plate").await.json["athlete_id"]), (None, &Value::Null));
            assert!(before.replace(id.clone()).is_none_or(|before| before == id));
        }
        let count = async |path: &str| api.get(path).await.json["items"].as_array().unwrap().len();
        assert_eq!((count("/v1/athletes").await, count("/v1/bats").await), (1, 1));
    });
}

#[test]
fn it_ends_when_somebody_else_is_put_at_the_plate() {
    on_each(async |api: TestApi| {
        let wren = athlete(&api, "Wren").await;
        assert_eq!(play(&api).await.status, 201);
        let mut outlet = outlet(&api);
        let again = play(&api).await;
        assert_eq!((again.status, again.json["detail"].as_str()), (409, Some("the example is played already")));
        let same = api.get("/v1/at-the-plate").await.json;
        let body = json!({"athlete_id": same["athlete_id"], "side": "left"});
        assert_eq!(api.put("/v1/at-the-plate", body).await.status, 200);
        assert!(notice(&api).is_some(), "it goes on with another side");
        assert_eq!(api.put("/v1/at-the-plate", json!({"athlete_id": wren})).await.status, 200);
        assert!(rest_of(&mut outlet).1 && notice(&api).is_none());
        let refused = play(&api).await;
        assert_eq!(refused.status, 409);
        assert!(refused.json["detail"].as_str().unwrap().starts_with("Wren is at the plate"), "{refused:?}");
        assert_eq!(api.get("/v1/at-the-plate").await.json["nickname"], "Wren");
        assert_eq!(api.put("/v1/at-the-plate", json!({})).await.status, 200);
        assert_eq!(play(&api).await.status, 201, "once nobody is");
    });
}

#[test]
fn it_is_not_played_beside_a_sensor_and_ends_when_one_connects() {
    on_each(async |api: TestApi| {
        let state = |link: &str| json!({"sensor": "knob", "link": link});
        api.api.hub.sensor("knob", &state("connected"));
        let refused = play(&api).await;
        assert_eq!(refused.status, 409);
        assert!(refused.json["detail"].as_str().unwrap().contains("the sensor knob is connected"), "{refused:?}");
        assert_eq!(api.get("/v1/athletes").await.json["items"], json!([]), "nobody is entered");
        api.api.hub.sensor("knob", &state("lost"));
        assert_eq!(play(&api).await.status, 201);
        let mut outlet = outlet(&api);
        api.api.hub.sensor("knob", &state("connected"));
        let (sent, is_lost) = rest_of(&mut outlet);
        assert!(is_lost && sent < 1000, "{sent}");
        assert!(notice(&api).unwrap().contains("knob is connected"));
    });
}

#[test]
fn speeds_that_make_no_sense_are_refused_and_none_need_be_given() {
    on_each(async |api: TestApi| {
        for body in [json!({"speed": 0.5}), json!({"speed": 21}), json!({"loop": true}), json!({"speed": "fast"})] {
            assert_eq!(api.post("/v1/example", body.clone()).await.status, 422, "{body}");
        }
        let bare = api.send(axum::http::Request::post("/v1/example").body("".into()).unwrap()).await;
        assert_eq!((bare.status, bare.json["speed"].as_f64()), (201, Some(USUAL_SPEED)), "{bare:?}");
    });
}

#[test]
fn the_bat_is_the_one_that_was_simulated() {
    on_each(async |api: TestApi| {
        let played = play(&api).await.json;
        let bat = api.get(&format!("/v1/bats/{}", played["bat_id"].as_str().unwrap())).await.json;
        let simulated = example::lesson().unwrap().profile().bat.clone();
        let of = |key: &str| bat[key].as_f64().unwrap();
        assert_eq!(
            (of("length_m"), of("mass_kg"), of("sweet_spot_m")),
            (simulated.length_m, simulated.mass_kg, simulated.sweet_spot_m)
        );
    });
}
