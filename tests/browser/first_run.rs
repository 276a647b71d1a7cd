//! From nothing to the first swing, as somebody does it who has just started the service.

use crate::support::cage::{Plays, visit};
use serde_json::json;
use std::time::{Duration, Instant};

/// What is promised.
const WITHIN: Duration = Duration::from_secs(120);

/// A swing with its bat speed is on the screen.
const HAS_SWING: &str =
    "return document.querySelector('[data-slot=numbers] [data-metric=bat_speed_mps] b')?.textContent";

#[tokio::test(flavor = "multi_thread")]
async fn the_bundled_recording_leads_to_the_first_swing_within_two_minutes() {
    visit("first-run", Plays::Nothing, async |cage| {
        let (browser, began) = (&cage.browser, Instant::now());
        cage.open("/").await;
        browser.sees("The first swing, step by step").await;
        browser.press("Try it with the bundled recording").await;
        browser.until("the plate", "return location.pathname === '/'", &[]).await;
        let speed = browser.within(WITHIN, "the first swing", HAS_SWING, &[]).await;
        let took = began.elapsed();
        println!("from nothing to {speed} on the screen in {:.1} s", took.as_secs_f64());
        assert!(took < WITHIN, "{took:?}");
        // What is shown says that it is simulated.
        browser.sees("simulated").await;
        assert_eq!(cage.get("/v1/at-the-plate").await["nickname"], "Example");
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_athlete_a_bat_and_a_touch_lead_to_the_first_swing() {
    visit("first-athlete", Plays::Lesson(3), async |cage| {
        let (browser, began) = (&cage.browser, Instant::now());
        cage.open("/").await;
        browser.press("I have read this and heed it").await;
        browser.enter("Nickname", "Wren").await;
        browser.choose("Bats from", "right").await;
        browser.check("Under 18").await;
        browser.enter("Their name", "Linnet Ash").await;
        browser.press("Enter the athlete").await;
        browser.sees("To the plate: Wren, bats right").await;
        browser.enter("Name", "Ash 33").await;
        browser.enter("Length", "33").await;
        browser.enter("Weight", "30").await;
        browser.press("Enter the bat").await;
        browser
            .until(
                "the bat to be chosen",
                "return location.search.includes('bat=') && location.search.includes('athlete=')",
                &[],
            )
            .await;
        browser.press("To the plate: Wren").await;
        browser.until("the plate", "return location.pathname === '/'", &[]).await;
        browser.within(WITHIN, "the first swing", HAS_SWING, &[]).await;
        let took = began.elapsed();
        println!("from nothing, with an athlete and a bat, to a swing on the screen in {:.1} s", took.as_secs_f64());
        assert!(took < WITHIN, "{took:?}");
        let plate = cage.get("/v1/at-the-plate").await;
        assert_eq!(
            (&plate["nickname"], &plate["side"], &plate["bat"]),
            (&json!("Wren"), &json!("right"), &json!("Ash 33"))
        );
        let bats = cage.get("/v1/bats").await;
        let near = |key: &str, value: f64| (bats["items"][0][key].as_f64().unwrap() - value).abs() < 1e-6;
        assert!(near("length_m", 33.0 * 0.0254) && near("mass_kg", 30.0 * 0.028349523125), "{bats}");
        let wren = &cage.get("/v1/athletes").await["items"][0];
        assert_eq!(wren["consent"], "in_force", "{wren}");
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_way_from_nothing_suits_every_screen_light_and_reader() {
    visit("start", Plays::Nothing, async |cage| {
        cage.inspect("start", "/start", "The first swing, step by step").await;
        cage.inspect("setup-empty", "/setup", "Nobody was entered yet").await;
        cage.inspect("athletes-empty", "/athletes", "Nobody has been entered yet").await;
    })
    .await;
}
