use super::super::super::test_api::{TestApi, on_each};
use crate::daemon::store::queries::swings_read::FoundSwing;
use crate::daemon::store::queries::swings_read::example::{World, fill, value};
use crate::engine::metrics::Metric;
use serde_json::{Value, json};
use uuid::Uuid;

async fn filled(api: &TestApi) -> World {
    let mut changes = api.api.store.write().await.unwrap();
    let world = fill(&mut changes, 17, 60).await;
    changes.commit().await.unwrap();
    world
}

/// The first swing with a bat speed that is so.
fn one(world: &World, is: impl Fn(&FoundSwing) -> bool) -> &FoundSwing {
    world.swings.iter().find(|found| value(found, Metric::BatSpeed).is_some() && is(found)).unwrap()
}

fn ends(range: &Value) -> [f64; 2] {
    ["low", "high"].map(|end| range[end].as_f64().unwrap())
}

#[test]
fn without_a_word_the_pitch_is_the_rounds_and_the_bat_any() {
    on_each(async |api: TestApi| {
        let world = filled(&api).await;
        let pitched = one(&world, |found| found.swing.round_id == Some(world.rounds[1].id));
        let said = api.get(&format!("/v1/swings/{}/if-squared-up", pitched.swing.id)).await;
        assert_eq!((said.status, &said.json["is_measured"]), (200, &json!(false)), "{}", said.json);
        assert_eq!((&said.json["condition"], &said.json["why_not"]), (&json!("if squared up"), &Value::Null));
        let assumed = &said.json["assumed"];
        assert_eq!((&assumed["pitch_speed_mps"], &assumed["pitch_from"]), (&json!(30.0), &json!("round")));
        assert_eq!((&assumed["bat"], &assumed["ball"]), (&json!("usual"), &json!("baseball")));
        let bat_speed_mps = value(pitched, Metric::BatSpeed).unwrap();
        let ([q_low, q_high], [low, high]) =
            (ends(&said.json["collision_efficiency"]), ends(&said.json["exit_speed_mps"]));
        // σ of every metric of the example is 0.125.
        let slowest_mps = (bat_speed_mps - 1.96 * 0.125).max(0.0);
        assert!((low - (q_low * 30.0 + (1.0 + q_low) * slowest_mps)).abs() < 1e-9, "{low}");
        assert!((high - (q_high * 30.0 + (1.0 + q_high) * (bat_speed_mps + 1.96 * 0.125))).abs() < 1e-9, "{high}");
        let on_tee = one(&world, |found| found.swing.round_id == Some(world.rounds[0].id));
        let said = api.get(&format!("/v1/swings/{}/if-squared-up", on_tee.swing.id)).await.json;
        assert_eq!(
            (&said["assumed"]["pitch_speed_mps"], &said["assumed"]["pitch_from"]),
            (&json!(0.0), &json!("still"))
        );
        let of_no_round = one(&world, |found| found.swing.round_id.is_none());
        let said = api.get(&format!("/v1/swings/{}/if-squared-up", of_no_round.swing.id)).await.json;
        assert_eq!(said["assumed"]["pitch_from"], "profile");
    });
}

#[test]
fn what_is_asked_is_taken_and_a_known_bat_narrows_the_range() {
    on_each(async |api: TestApi| {
        let world = filled(&api).await;
        let bat = world.bats[0].id;
        let found = one(&world, |found| found.swing.bat_id == Some(bat) && value(found, Metric::BatSpeed) > Some(5.0));
        let path = format!("/v1/swings/{}/if-squared-up", found.swing.id);
        let query = "?pitch_speed_mps=20&launch_angle_deg=27&temperature_c=20&elevation_m=0&ball=baseball";
        let usual = api.get(&format!("{path}{query}")).await.json;
        assert_eq!(usual["assumed"]["launch_angle_deg"], json!({"low": 27.0, "high": 27.0}));
        assert_eq!(usual["assumed"]["pitch_from"], "asked");
        let data = json!({"length_m": 0.838, "mass_kg": 0.85, "balance_m": 0.55, "moi_knob6_kgm2": 0.185});
        assert_eq!(api.patch(&format!("/v1/bats/{bat}"), "\"1\"", data).await.status, 200);
        let own = api.get(&format!("{path}{query}")).await.json;
        assert_eq!(own["assumed"]["bat"], "own");
        for key in ["collision_efficiency", "exit_speed_mps", "carry_m"] {
            let ([low, high], [own_low, own_high]) = (ends(&usual[key]), ends(&own[key]));
            assert!(low <= own_low && own_high <= high && own_high - own_low < high - low, "{key}: {usual} {own}");
        }
        let high = format!("{path}?pitch_speed_mps=20&launch_angle_deg=27&temperature_c=20&elevation_m=1609");
        let thin = api.get(&high).await.json;
        let density = |said: &Value| ends(&said["assumed"]["air_density_kgpm3"]);
        assert!(density(&thin)[1] < density(&own)[0] && thin["carry_m"] != own["carry_m"], "{thin} {own}");
        let soft = api.get(&format!("{path}?pitch_speed_mps=20&ball=softball")).await.json;
        assert!(ends(&soft["exit_speed_mps"])[1] < ends(&own["exit_speed_mps"])[1]);
        assert_eq!(api.patch(&format!("/v1/bats/{bat}"), "\"2\"", json!({"kind": "implement"})).await.status, 200);
        let rod = api.get(&path).await.json;
        assert_eq!((&rod["why_not"], &rod["carry_m"]), (&json!("no_bat"), &Value::Null));
    });
}

#[test]
fn what_cannot_be_is_refused_and_what_is_not_known_is_said() {
    on_each(async |api: TestApi| {
        let world = filled(&api).await;
        let found = one(&world, |_| true);
        let path = format!("/v1/swings/{}/if-squared-up", found.swing.id);
        for wrong in
            ["pitch_speed_mps=-1", "pitch_speed_mps=NaN", "launch_angle_deg=91", "temperature_c=100", "elevation_m=1e9"]
        {
            assert_eq!(api.get(&format!("{path}?{wrong}")).await.status, 422, "{wrong}");
        }
        for wrong in ["pitch_speed_mps=fast", "ball=tennis", "wind=3"] {
            assert_eq!(api.get(&format!("{path}?{wrong}")).await.status, 400, "{wrong}");
        }
        let none = world.swings.iter().find(|found| value(found, Metric::BatSpeed).is_none()).unwrap();
        let said = api.get(&format!("/v1/swings/{}/if-squared-up", none.swing.id)).await.json;
        assert_eq!((&said["why_not"], &said["exit_speed_mps"]), (&json!("no_bat_speed"), &Value::Null));
        assert_eq!(said["assumed"]["pitch_speed_mps"], Value::Null);
        assert_eq!(api.get(&format!("/v1/swings/{}/if-squared-up", Uuid::nil())).await.status, 404);
    });
}
