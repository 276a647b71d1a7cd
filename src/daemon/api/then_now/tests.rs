//! Comparisons through the door, on a small cage.

use super::super::test_api::{TestApi, on_each};
use crate::daemon::access::OfAthletes;
use crate::daemon::store::queries::swings_read::FoundSwing;
use crate::daemon::store::queries::swings_read::example::{World, fill};
use crate::daemon::store::rows::{Mark, Side, Word};
use crate::engine::metrics::Metric;
use axum::body::Body;
use axum::http::Request;
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
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
        assert_eq!(amounts, [(&json!("bat_speed_mps"), &json!(0.894)), (&json!("path_length_m"), &json!(0.25))]);
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

/// What a condition of a swing is called.
type Named = fn(&FoundSwing) -> Option<String>;
const CONDITIONS: [(&str, Named); 5] = [
    ("bat", |found| found.bat.clone()),
    ("drill", |found| found.drill.clone()),
    ("ball_source", |found| found.ball_source.map(|source| source.word().to_owned())),
    ("side", |found| found.swing.side.map(|side| side.word().to_owned())),
    ("contact", |found| Some(if found.analysis.met_ball { "ball" } else { "none" }.to_owned())),
];

/// Each condition that is not the same for all of these, and for how many of them it is what.
fn not_the_same(world: &World, is: impl Fn(&FoundSwing) -> bool) -> BTreeMap<String, BTreeMap<Option<String>, u64>> {
    let mut all: BTreeMap<String, BTreeMap<Option<String>, u64>> = BTreeMap::new();
    for found in world.swings.iter().filter(|found| is(found) && counts(found)) {
        for (condition, named) in CONDITIONS {
            *all.entry(condition.to_owned()).or_default().entry(named(found)).or_default() += 1;
        }
    }
    all.retain(|_, values| values.len() > 1);
    all
}

/// The same as an answer says it, and that its days go on.
fn said_to_vary(varied: &Value) -> BTreeMap<String, BTreeMap<Option<String>, u64>> {
    let mut all: BTreeMap<String, BTreeMap<Option<String>, u64>> = BTreeMap::new();
    for one in varied.as_array().unwrap() {
        let of = all.entry(one["condition"].as_str().unwrap().to_owned()).or_default();
        let mut last = String::new();
        for stretch in one["stretches"].as_array().unwrap() {
            let [from, to] = ["from", "to"].map(|end| stretch[end].as_str().unwrap().to_owned());
            assert!(last < from && from <= to, "{last} {stretch}");
            last = to;
            for value in stretch["values"].as_array().unwrap() {
                *of.entry(value["value"].as_str().map(str::to_owned)).or_default() += value["swings"].as_u64().unwrap();
            }
        }
    }
    all
}

#[test]
fn what_was_not_the_same_over_months_is_told_with_its_days() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 120).await;
        let [wren, tern] = [0, 1].map(|k| world.athletes[k].id);
        let left = |found: &FoundSwing| is_of(wren)(found) && found.swing.side == Some(Side::Left);
        let expected = not_the_same(&world, left);
        assert!(expected.contains_key("bat") && !expected.contains_key("side"), "{expected:?}: nothing would be shown");
        let alike = api.get(&format!("/v1/athletes/{wren}/alike?side=left")).await.json;
        assert_eq!(said_to_vary(&alike["varied"]), expected, "{}", alike["varied"]);
        let path = format!(
            "/v1/comparison?athlete={wren}&then_side=right&now_side=left&metric=bat_speed_mps&now_to=1999-01-01"
        );
        let comparison = api.get(&path).await.json;
        let over_months = &comparison["over_months"];
        assert_eq!((said(&comparison["now"])[0], said(&over_months["group"])), (0, group(&world, left)), "of all days");
        assert_eq!(over_months["varied"], alike["varied"]);
        let trends = over_months["trends"].as_array().unwrap();
        assert_eq!((trends.len(), &trends[0]["metric"]), (1, &json!("bat_speed_mps")));
        let alone = &alike["metrics"][0]["trend"];
        assert_eq!((&trends[0]["trend"]["a_month"], &trends[0]["trend"]["p"]), (&alone["a_month"], &alone["p"]));
        for both in [format!("then_athlete={wren}&now_athlete={tern}"), "then_side=left&now_side=right".to_owned()] {
            let comparison = api.get(&format!("/v1/comparison?{both}")).await.json;
            assert_eq!(comparison["over_months"], Value::Null, "{both}");
        }
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
        let wren = world.athletes[0].id;
        let of_none = format!("/v1/comparison?athlete={wren}&then_to=1999-01-01&now_to=1998-01-01");
        let answer = api.open(Request::get(of_none).body(Body::empty()).unwrap()).await;
        assert_eq!(answer.extensions().get::<OfAthletes>().map(|of| of.0.clone()), Some([wren].into()), "over months");
    });
}
