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
fn another_ball_and_air_are_taken_by_the_page_as_by_the_api_and_said_beside_the_numbers() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 40).await;
        let path = |id| format!("/v1/swings/{id}/if-squared-up?ball=softball&temperature_c=20&elevation_m=1609.344");
        let mut said_of = 0;
        for found in &world.swings {
            let id = found.swing.id;
            let said = api.get(&path(id)).await.json;
            if said["why_not"].is_string() {
                continue;
            }
            let of = |query: &str| format!("/swings/{id}?{query}");
            let (_, us) = page_with(&api, &of("ball=softball&temperature_f=68&elevation_ft=5280"), "").await;
            let metric = page(&api, &of("ball=softball&temperature_c=20&elevation_m=1609.344")).await;
            for (html, air, (factor, sign)) in [
                (us, "air of 68 °F 5280 ft above the sea", (1.0 / 0.3048, "ft")),
                (metric, "air of 20 °C 1609 m above the sea", (1.0, "m")),
            ] {
                let html = words(between(&html, "<h3>If squared up</h3>", "</section>"));
                let [low, high] = ["low", "high"].map(|end| whole(&said["carry_m"][end], factor));
                let shown = if low == high { format!("{low} {sign}") } else { format!("{low} to {high} {sign}") };
                for part in [&shown, "Taken: a softball", air] {
                    assert!(html.contains(part), "{part} is not in {html}");
                }
            }
            said_of += 1;
        }
        assert!(said_of > 10, "{said_of}");
        let id = world.swings[0].swing.id;
        for (query, status) in [("ball=cricket", 400), ("elevation_ft=1e9", 422)] {
            assert_eq!(page_with(&api, &format!("/swings/{id}?{query}"), "").await.0, status, "{query}");
        }
    });
}

#[test]
fn then_and_now_keep_the_ball_and_the_air_through_every_form() {
    on_each(async |api: TestApi| {
        let world = filled(&api, 120).await;
        let (mut whose, mut chosen, mut html) = (world.athletes[0].id, String::new(), String::new());
        // Of a typical swing without bat speed nothing is said.
        for (athlete, side) in world.athletes.iter().flat_map(|athlete| [(athlete.id, "left"), (athlete.id, "right")]) {
            if !html.contains("data-key=\"ball-and-air\"") {
                whose = athlete;
                chosen = format!("side={side}&ball=softball&temperature_c=20&elevation_m=1600");
                html = page(&api, &format!("/athletes/{whose}/then-and-now?{chosen}")).await;
            }
        }
        let side = chosen.split('&').next().unwrap().replace("side=", "name=\"side\" value=\"") + "\"";
        let assumed = "a softball; ";
        let air = "air of 20 °C 1600 m above the sea";
        assert!(words(&html).contains(assumed) && words(&html).contains(air), "{html}");
        let hidden = "<input type=\"hidden\" name=\"elevation_m\" value=\"1600\">";
        let of_ball = between(&html, "data-key=\"ball-and-air\"", "</form>");
        assert!(of_ball.contains(&side) && !of_ball.contains(hidden), "{of_ball}");
        assert_eq!(html.matches(hidden).count(), 2, "the form of the days and that of the sheet");
        let sheet = api.get(&format!("/v1/athletes/{whose}/report?for=athlete&units=metric&{chosen}")).await;
        let sheet = words(&String::from_utf8(sheet.bytes).unwrap());
        assert!(sheet.contains(assumed) && sheet.contains(air), "{sheet}");
        assert_eq!(api.get(&format!("/v1/athletes/{whose}/report?temperature_c=99")).await.status, 422);
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
