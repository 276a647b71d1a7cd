//! What is measured of balls and what is computed stand apart, and each is what the API says.

use super::{between, filled, page, page_with, words};
use crate::daemon::api::test_api::{TestApi, on_each};
use serde_json::json;

/// A whole number in the page's unit.
fn whole(value: &serde_json::Value, factor: f64) -> String {
    format!("{:.0}", value.as_f64().unwrap() * factor)
}

#[test]
fn a_swing_says_what_a_squared_up_ball_would_do_and_that_it_was_not_measured() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 40).await;
        let mut said_of = 0;
        for found in &world.swings {
            let id = found.swing.id;
            let said = api.get(&format!("/v1/swings/{id}/if-squared-up")).await.json;
            let html =
                words(between(&page(&api, &format!("/swings/{id}")).await, "<h3>If squared up</h3>", "</section>"));
            let (_, us) = page_with(&api, &format!("/swings/{id}"), "").await;
            let us = words(between(&us, "<h3>If squared up</h3>", "</section>"));
            let Some(why_not) = said["why_not"].as_str() else {
                for (html, speed, length) in
                    [(&html, (1.0, "m/s"), (1.0, "m")), (&us, (1.0 / 0.44704, "mph"), (1.0 / 0.3048, "ft"))]
                {
                    for (key, (factor, sign)) in [("exit_speed_mps", speed), ("carry_m", length)] {
                        let [low, high] = ["low", "high"].map(|end| whole(&said[key][end], factor));
                        let shown =
                            if low == high { format!("{low} {sign}") } else { format!("{low} to {high} {sign}") };
                        assert!(html.contains(&shown), "{key}: {shown} is not in {html}");
                    }
                    assert!(html.contains("not measured"), "{html}");
                }
                said_of += 1;
                continue;
            };
            assert_eq!((why_not, html.starts_with("Not known")), ("no_bat_speed", true), "{html}");
        }
        assert!(said_of > 10 && said_of < world.swings.len(), "{said_of}");
    });
}

#[test]
fn an_athletes_measured_balls_are_tallied_by_side() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 0).await;
        let athlete = world.athletes[0].id;
        let path = format!("/athletes/{athlete}");
        assert!(!page(&api, &path).await.contains("Ball, measured"));
        for (exit, carry) in [(30.0, 60.0), (34.0, 80.0), (38.0, 97.0)] {
            let body = json!({"athlete_id": athlete, "exit_speed_mps": exit, "carry_m": carry});
            assert_eq!(api.post("/v1/ball-results", body).await.status, 201);
        }
        let html = page(&api, &path).await;
        let table = between(&html, "<table class=\"balls\">", "</table>");
        // 30, 34, 38: median 34, s = √(32/2) = 4.
        assert!(words(table).contains("Exit speed, m/s338.034.04.0"), "{}", words(table));
        assert!(words(table).contains("Carry, m397"), "{}", words(table));
        let (_, us) = page_with(&api, &path, "").await;
        assert!(words(between(&us, "<table class=\"balls\">", "</table>")).contains("Exit speed, mph385.076.18.9"));
    });
}
