//! What stands on the pages is what the API says, in the reader's units.

use super::{between, filled, page, page_with, words};
use crate::daemon::api::test_api::{TestApi, on_each};
use crate::engine::metrics::Metric;
use crate::report::words::{HALF_WIDTH_95, Units};
use serde_json::{Value, json};

/// Cells of a table's row.
fn cells(row: &str) -> Vec<String> {
    row.split("<td").skip(1).map(|cell| words(between(cell, ">", "</td>"))).collect()
}

/// A number as people read it, and half of its last place.
fn read(text: &str) -> (f64, f64) {
    let value = text.replace('−', "-").parse().unwrap_or_else(|_| panic!("`{text}` is no number"));
    let places = text.split_once('.').map_or(0, |(_, places)| places.len());
    (value, 0.5 * 0.1f64.powi(places as i32) + 1e-9)
}

fn assert_is(text: &str, expected: f64, what: &str) {
    let (value, within) = read(text);
    assert!((value - expected).abs() <= within, "{what}: {text} is not {expected}");
}

/// The middle one, or the mean of the two in the middle.
fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let half = values.len() / 2;
    match values.len() {
        0 => None,
        count if count % 2 == 1 => Some(values[half]),
        _ => Some((values[half - 1] + values[half]) / 2.0),
    }
}

#[test]
fn a_swings_numbers_are_those_of_the_api() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 40).await;
        let all = api.get("/v1/swings?limit=500").await.json["items"].clone();
        let mut absent = 0;
        for found in &world.swings {
            let said = api.get(&format!("/v1/swings/{}", found.swing.id)).await.json;
            let alike = |other: &&Value| {
                other["lesson_id"].is_string()
                    && ["lesson_id", "side"].iter().all(|key| other[key] == said[key])
                    && other["id"] != said["id"]
                    && other["mark"] != "exclude"
                    && other["flags"] == json!([])
            };
            let alike: Vec<&Value> = all.as_array().unwrap().iter().filter(alike).collect();
            for (cookies, units) in [("units=metric", Units::Metric), ("", Units::Us)] {
                let (_, html) = page_with(&api, &format!("/swings/{}", found.swing.id), cookies).await;
                let meanings = words(between(&html, "data-key=\"definitions\"", "</details>"));
                for metric in Metric::ALL {
                    let row = between(&html, &format!("<tr data-metric=\"{}\">", metric.key()), "</tr>");
                    let cells = cells(row);
                    let (key, unit) = (metric.key(), units.of(metric));
                    assert_eq!(cells[2], unit.sign, "{key}");
                    assert!(meanings.contains(metric.definition().rsplit_once(", ").unwrap().0), "{key}");
                    let middle = median(alike.iter().filter_map(|o| o["metrics"][key]["value"].as_f64()).collect());
                    match middle {
                        Some(middle) => assert_is(&cells[3], middle * unit.factor, key),
                        None => assert_eq!(cells[3], "–", "{key}"),
                    }
                    let Some(value) = said["metrics"][key]["value"].as_f64() else {
                        absent += 1;
                        assert_eq!((cells[0].as_str(), cells[1].as_str()), ("–", "–"), "{key}");
                        assert!(words(row).contains("Absent"), "{key}");
                        continue;
                    };
                    let sigma = said["metrics"][key]["sigma"].as_f64().unwrap();
                    let (shown, half_width) = cells[0].split_once(" ± ").unwrap();
                    assert_is(shown, value * unit.factor, key);
                    assert_is(half_width, HALF_WIDTH_95 * sigma * unit.factor, key);
                    assert_is(&cells[1], sigma * unit.factor, key);
                }
            }
        }
        assert!(absent > 0, "some have none");
    });
}

#[test]
fn an_athletes_lessons_are_those_of_the_summary() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 80).await;
        let wren = world.athletes[0].id;
        let html = page(&api, &format!("/athletes/{wren}")).await;
        let groups = api.get(&format!("/v1/athletes/{wren}/summary?metric=bat_speed_mps")).await.json["groups"].clone();
        let mut seen = 0;
        for lesson in &world.lessons[..2] {
            let row = between(&html, &format!("<a class=\"open\" href=\"/lessons/{}\">", lesson.id), "</tr>");
            let cells = cells(row);
            let of: Vec<&Value> =
                groups.as_array().unwrap().iter().filter(|g| g["lesson_id"] == lesson.id.to_string()).collect();
            let sum = |key: &str| of.iter().map(|g| g[key].as_u64().unwrap()).sum::<u64>().to_string();
            assert_eq!(cells[1..5], ["2".to_owned(), sum("counted"), sum("excluded"), sum("flagged")]);
            for (cell, side) in cells[5..7].iter().zip(["right", "left"]) {
                let Some(group) = of.iter().find(|g| g["side"] == side) else {
                    assert_eq!(cell, "–", "{side}");
                    continue;
                };
                let speed = &group["metrics"]["bat_speed_mps"];
                let (mean, spread) = cell.split_once(" spread ").unwrap_or((cell, ""));
                assert_is(mean, speed["mean"].as_f64().unwrap(), side);
                match speed["standard_deviation"].as_f64() {
                    Some(expected) => assert_is(spread, expected, side),
                    None => assert_eq!(spread, "", "of one swing"),
                }
                seen += 1;
            }
        }
        assert!(seen >= 2, "{seen}");
        let newest = html.find(&world.lessons[1].id.to_string()).unwrap();
        assert!(newest < html.find(&world.lessons[0].id.to_string()).unwrap(), "the newest first");
    });
}
