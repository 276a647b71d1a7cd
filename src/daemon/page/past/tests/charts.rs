//! What the charts of a swing hold, as their tables say it, is what the API says.

use super::{between, filled, page_with, words};
use crate::daemon::api::test_api::{TestApi, on_each};
use crate::daemon::store::queries::swings_read::FoundSwing;
use crate::daemon::store::queries::swings_read::example::put_curves;
use crate::daemon::store::rows::Mark;
use crate::engine::swing::Curves;
use crate::report::words::Units;
use nalgebra::Vector3;
use serde_json::Value;
use uuid::Uuid;

/// A swing of 0.2 s about a fixed centre, at `share` of 30 m/s; a point a millisecond up to contact.
fn some_swing(share: f64) -> Curves {
    let times_s: Vec<f64> = (-300..=0).map(|k| f64::from(k) * 1e-3).collect();
    let part = |t: &f64| (1.0 + t / 0.2).max(0.0);
    let speeds = |greatest: f64| times_s.iter().map(|t| greatest * share * part(t).powi(2)).collect::<Vec<_>>();
    let place = |radius: f64| {
        let angle = move |t: &f64| 2.0 * (part(t).powi(3) - 1.0) * share;
        let at = |angle: f64| Vector3::new(radius * angle.sin(), 0.8 - radius * angle.cos(), -0.2 * angle);
        times_s.iter().map(|t| at(angle(t))).collect::<Vec<_>>()
    };
    Curves {
        bat_speed_mps: speeds(30.0),
        hand_speed_mps: speeds(8.0),
        turn_rate_radps: speeds(40.0),
        sweet_spot_w_m: place(0.8),
        hands_w_m: place(0.3),
        times_s,
    }
}

/// The rows of a chart's table: the first cell, then the others.
fn rows(html: &str, key: &str) -> Vec<(String, Vec<String>)> {
    let details = between(html, &format!("data-key=\"text-{key}\""), "</details>");
    let body = between(details, "<tbody>", "</tbody>");
    let row = |row: &str| {
        let cells = row.split("<td>").skip(1).map(|cell| between(cell, "", "</td>").to_owned()).collect();
        (words(between(row, "<th scope=\"row\">", "</th>")), cells)
    };
    body.split("<tr>").skip(1).map(row).collect()
}

fn number(text: &str) -> f64 {
    text.replace('−', "-").parse().unwrap_or_else(|_| panic!("`{text}` is no number"))
}

/// The point of the API's curves at so many ms from contact.
fn point(curves: &Value, time_ms: &str) -> Option<usize> {
    let (first_s, step_s) = (curves["first_s"].as_f64()?, curves["step_s"].as_f64()?);
    let point = (number(time_ms) * 1e-3 - first_s) / step_s;
    (point > -0.5).then_some(point.round() as usize)
}

fn assert_near(text: &str, expected: f64, within: f64, what: &str) {
    assert!((number(text) - expected).abs() <= within + 1e-9, "{what}: {text} is not {expected}");
}

async fn curves(api: &TestApi, id: Uuid) -> Value {
    api.get(&format!("/v1/swings/{id}/curves")).await.json
}

/// Of the same lesson and side, counted and without flags, without itself.
fn others<'a>(all: &'a [FoundSwing], of: &'a FoundSwing) -> impl Iterator<Item = &'a FoundSwing> {
    all.iter().filter(|o| {
        let (one, other) = (&of.swing, &o.swing);
        let is_clean = other.mark != Mark::Exclude && o.analysis.flags.is_empty();
        is_clean && other.id != one.id && (other.lesson_id, other.side) == (one.lesson_id, one.side)
    })
}

#[test]
fn the_speed_chart_is_the_swings_curve_over_those_of_the_others() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 120).await;
        let is = |found: &&FoundSwing| found.swing.lesson_id.is_some() && others(&world.swings, found).count() >= 3;
        let found = world.swings.iter().find(is).unwrap();
        let others: Vec<&FoundSwing> = others(&world.swings, found).collect();
        let mut changes = api.api.store.write().await.unwrap();
        put_curves(&mut changes, found.swing.id, &some_swing(1.1)).await;
        for (k, other) in others.iter().enumerate() {
            put_curves(&mut changes, other.swing.id, &some_swing(0.8 + 0.02 * k as f64)).await;
        }
        changes.commit().await.unwrap();
        let own = curves(&api, found.swing.id).await;
        let mut theirs = Vec::new();
        for other in &others {
            theirs.push(curves(&api, other.swing.id).await);
        }
        for (cookies, units) in [("units=metric", Units::Metric), ("", Units::Us)] {
            let (_, html) = page_with(&api, &format!("/swings/{}", found.swing.id), cookies).await;
            assert!(html.contains(&format!("Others: {} swings of this lesson", others.len())), "{html}");
            let factor = units.speed().factor;
            let rows = rows(&html, "speed");
            assert!(rows.len() > 6, "{rows:?}");
            for (time_ms, cells) in rows {
                let at = point(&own, &time_ms).unwrap();
                for (key, cells) in ["bat_speed_mps", "hand_speed_mps"].iter().zip(cells.chunks(2)) {
                    assert_near(&cells[0], own[key][at].as_f64().unwrap() * factor, 0.05, key);
                    let mut then: Vec<f64> = theirs.iter().map(|c| c[key][at].as_f64().unwrap() * factor).collect();
                    then.sort_by(f64::total_cmp);
                    let middle = f64::midpoint(then[(then.len() - 1) / 2], then[then.len() / 2]);
                    let (shown, range) = cells[1].split_once(" (").unwrap();
                    assert_near(shown, middle, 0.05, &format!("{key} then at {time_ms} ms"));
                    let (low, high) = range.trim_end_matches(')').split_once(" to ").unwrap();
                    assert!(number(low) >= then[0] - 0.06 && number(low) <= middle + 0.06);
                    assert!(number(high) <= then[then.len() - 1] + 0.06 && number(high) >= middle - 0.06);
                }
            }
        }
    });
}

#[test]
fn the_paths_are_the_swings_own_from_both_sides() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 3).await;
        let id = world.swings[0].swing.id;
        let mut changes = api.api.store.write().await.unwrap();
        put_curves(&mut changes, id, &some_swing(1.0)).await;
        changes.commit().await.unwrap();
        let own = curves(&api, id).await;
        let (_, html) = page_with(&api, &format!("/swings/{id}"), "units=metric").await;
        for (key, up) in [("side", 2), ("above", 1)] {
            let mut read = 0;
            for (time_ms, cells) in rows(&html, key) {
                // Where the timing window ends lies between the points, or after them.
                if time_ms.contains('(') {
                    continue;
                }
                let at = point(&own, &time_ms).unwrap();
                for (of, cells) in ["sweet_spot_w_m", "hands_w_m"].iter().zip(cells.chunks(2)) {
                    for (axis, cell) in [0, up].into_iter().zip(cells) {
                        assert_near(cell, own[of][at][axis].as_f64().unwrap(), 0.005, of);
                        read += 1;
                    }
                }
            }
            assert!(read >= 4 * 5, "{key}: {read}");
        }
        assert!(html.contains("Path from"), "{html}");
    });
}
