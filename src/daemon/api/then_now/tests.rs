//! Comparisons through the door, on a small cage.

use super::super::test_api::{TestApi, on_each};
use crate::daemon::access::OfAthletes;
use crate::daemon::store::queries::swings_read::FoundSwing;
use crate::daemon::store::queries::swings_read::example::{World, fill};
use crate::daemon::store::rows::{Mark, Side};
use crate::engine::metrics::Metric;
use axum::body::Body;
use axum::http::Request;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use uuid::Uuid;

async fn filled(api: &TestApi, count: usize) -> World {
    let mut changes = api.api.store.write().await.unwrap();
    let world = fill(&mut changes, 23, count).await;
    changes.commit().await.unwrap();
    world
}

fn counts(found: &FoundSwing) -> bool {
    found.swing.mark == Mark::Keep || found.swing.mark == Mark::None && found.analysis.flags.is_empty()
}

/// What a group of these swings is.
fn group(world: &World, is: impl Fn(&FoundSwing) -> bool) -> [usize; 3] {
    let of = |counted: &dyn Fn(&FoundSwing) -> bool| world.swings.iter().filter(|f| is(f) && counted(f)).count();
    let excluded = of(&|found| found.swing.mark == Mark::Exclude);
    [of(&counts), of(&|found| !counts(found)) - excluded, excluded]
}

fn said(group: &Value) -> [usize; 3] {
    let count = |value: &Value| value.as_u64().unwrap() as usize;
    [count(&group["swings"]), count(&group["left_out"]["flagged"]), count(&group["left_out"]["excluded"])]
}

fn is_of(id: Uuid) -> impl Fn(&FoundSwing) -> bool {
    move |found| found.swing.athlete_id == Some(id)
}

#[test]
fn groups_are_what_their_filters_select_and_say_what_is_left_out() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 120).await;
        let [wren, tern] = [0, 1].map(|k| world.athletes[k].id);
        let answer = api.get(&format!("/v1/comparison?then_athlete={wren}&now_athlete={tern}&units=metric")).await;
        assert_eq!(answer.status, 200, "{:?}", answer.json);
        let (then, now) = (group(&world, is_of(wren)), group(&world, is_of(tern)));
        assert!(then.iter().chain(&now).all(|count| *count > 0), "{then:?} {now:?}: nothing would be shown");
        assert_eq!((said(&answer.json["then"]), said(&answer.json["now"])), (then, now));
        assert_eq!(answer.json["then"]["left_out"]["older"], false);
        let numbers = answer.json["numbers"].as_array().unwrap();
        let keys: Vec<_> = numbers.iter().map(|number| number["metric"].as_str().unwrap()).collect();
        assert_eq!(keys, Metric::ALL.map(Metric::key));
        for (number, metric) in numbers.iter().zip(Metric::ALL) {
            let has = |found: &FoundSwing| found.analysis.metrics[metric.index()].is_some();
            let of = |id| group(&world, |found| is_of(id)(found) && has(found))[0];
            assert_eq!((&number["then"]["swings"], &number["now"]["swings"]), (&json!(of(wren)), &json!(of(tern))));
            let words = number["words"].as_str().unwrap();
            assert!(words.starts_with(number["label"].as_str().unwrap()), "{words}");
        }
        let sides = api.get(&format!("/v1/comparison?athlete={wren}&then_side=left&now_side=right")).await;
        let of = |side| group(&world, |found| is_of(wren)(found) && found.swing.side == Some(side));
        assert_eq!((said(&sides.json["then"]), said(&sides.json["now"])), (of(Side::Left), of(Side::Right)));
    });
}

#[test]
fn a_swing_in_both_groups_is_refused_with_how_many_there_are() {
    on_each(async |api: TestApi| {
        assert_eq!(api.get("/v1/comparison").await.status, 200, "of none there is none in both");
        let world = filled(&api, 60).await;
        let shared = group(&world, |_| true)[0];
        for path in ["/v1/comparison", "/v1/comparison/curves"] {
            let refused = api.get(path).await;
            assert_eq!((refused.status, &refused.json["type"]), (422, &json!("/v1/problems/invalid")));
            let words = refused.json["detail"].as_str().unwrap();
            assert!(words.starts_with(&format!("{shared} swings are in both groups")), "{words}");
        }
        assert_eq!(api.get("/v1/comparison?colour=red").await.status, 400);
    });
}

#[test]
fn the_family_is_what_is_asked_for_and_the_amounts_are_the_instructors() {
    on_each(async |api: TestApi| {
        filled(&api, 30).await;
        api.patch("/v1/amounts", "\"1\"", json!({"path_length_m": 0.25})).await;
        let path = "/v1/comparison?then_side=left&now_side=right&metric=path_length_m&metric=bat_speed_mps";
        let answer = api.get(path).await;
        let numbers = answer.json["numbers"].as_array().unwrap();
        let amounts: Vec<_> = numbers.iter().map(|number| (&number["metric"], &number["amount"])).collect();
        assert_eq!(amounts, [(&json!("bat_speed_mps"), &json!(0.9)), (&json!("path_length_m"), &json!(0.25))]);
    });
}

#[test]
fn curves_of_both_groups_have_a_value_a_place_and_name_typical_swings() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 60).await;
        let [wren, tern] = [0, 1].map(|k| world.athletes[k].id);
        let answer = api.get(&format!("/v1/comparison/curves?then_athlete={wren}&now_athlete={tern}")).await;
        assert_eq!(answer.status, 200, "{:?}", answer.json);
        assert_eq!(said(&answer.json["then"]), group(&world, is_of(wren)));
        for line in ["speed_by_time", "speed_by_distance", "by_rotation", "by_hands"] {
            let line = &answer.json[line];
            let places = line["places"].as_array().unwrap().len();
            for band in ["then", "now"] {
                for values in ["mean_mps", "low_mps", "high_mps"] {
                    assert_eq!(line[band][values].as_array().unwrap().len(), places, "{band} {values}");
                }
            }
        }
        for (group, id) in [("then", wren), ("now", tern)] {
            let typical = &answer.json["typical"][group];
            let ids: Vec<_> =
                world.swings.iter().filter(|found| is_of(id)(found) && counts(found)).map(|f| f.swing.id).collect();
            assert!(ids.iter().any(|id| json!(id) == *typical), "{typical}");
        }
    });
}

#[test]
fn how_alike_swings_are_is_said_for_every_metric_of_one_athlete() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 60).await;
        let wren = world.athletes[0].id;
        let answer = api.get(&format!("/v1/athletes/{wren}/alike?side=left")).await;
        assert_eq!((answer.status, &answer.json["athlete_id"]), (200, &json!(wren)), "{:?}", answer.json);
        let left = |found: &FoundSwing| is_of(wren)(found) && found.swing.side == Some(Side::Left);
        assert_eq!(said(&answer.json["group"]), group(&world, left));
        let metrics = answer.json["metrics"].as_array().unwrap();
        assert_eq!(metrics.len(), Metric::COUNT);
        for (said, metric) in metrics.iter().zip(Metric::ALL) {
            let has = |found: &FoundSwing| left(found) && found.analysis.metrics[metric.index()].is_some();
            assert_eq!((&said["metric"], &said["swings"]), (&json!(metric.key()), &json!(group(&world, has)[0])));
        }
        assert_eq!(api.get(&format!("/v1/athletes/{wren}/alike?athlete={wren}")).await.status, 400);
        assert_eq!(api.get(&format!("/v1/athletes/{}/alike", Uuid::now_v7())).await.status, 404);
    });
}

#[test]
fn whose_swings_are_read_is_told() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 60).await;
        let both: BTreeSet<Uuid> = [0, 1].map(|k| world.athletes[k].id).into();
        for path in ["/v1/comparison", "/v1/comparison/curves"] {
            let request = Request::get(format!("{path}?then_side=left&now_side=right")).body(Body::empty()).unwrap();
            let answer = api.open(request).await;
            assert_eq!(answer.extensions().get::<OfAthletes>().map(|of| of.0.clone()), Some(both.clone()), "{path}");
        }
    });
}
