//! Setting up: who swings, with what, and whether the sensor is what it is said to be.

use crate::support::browser::Browser;
use crate::support::cage::{Plays, visit};
use serde_json::json;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// A pendulum's swings, as a hand times them: three in about this long.
const RUN: Duration = Duration::from_millis(3 * 1_450);

#[tokio::test(flavor = "multi_thread")]
async fn an_athlete_is_entered_with_a_consent_which_is_withdrawn_again() {
    visit("consent", Plays::Nothing, async |cage| {
        let browser = &cage.browser;
        cage.open("/setup").await;
        browser.enter("Nickname", "Robin").await;
        browser.choose("Bats from", "left").await;
        browser.enter("Height", "64").await;
        browser.check("Under 18").await;
        browser.enter("Their name", "Jay Ash").await;
        browser.press("Enter the athlete").await;
        browser.until("the athlete's page", "return location.pathname.startsWith('/setup/athletes/')", &[]).await;
        browser.sees("Jay Ash").await;
        let robin = cage.get("/v1/athletes").await["items"][0].clone();
        assert_eq!((&robin["bats"], &robin["consent"]), (&json!("left"), &json!("in_force")));
        let whole = cage.get(&format!("/v1/athletes/{}", robin["id"].as_str().expect("an id"))).await;
        assert!((whole["height_m"].as_f64().expect("a height") - 64.0 * 0.0254).abs() < 1e-9, "{whole}");
        browser.press("Withdraw").await;
        browser.client.accept_alert().await.expect("it is asked first");
        browser.sees("no longer in force").await;
        assert_eq!(cage.get("/v1/athletes").await["items"][0]["consent"], "withdrawn");
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pendulum_timed_with_the_space_bar_gives_a_moment_of_inertia() {
    visit("pendulum", Plays::Nothing, async |cage| {
        let browser = &cage.browser;
        let ash = json!({"name": "Ash 33", "kind": "bat", "length_m": 0.838, "mass_kg": 0.85, "balance_m": 0.55});
        let id = cage.send("POST /v1/bats", ash).await["id"].as_str().expect("an id").to_owned();
        cage.open(&format!("/setup/bats/{id}")).await;
        browser.enter("Full swings in a run", "3").await;
        browser.run("document.activeElement.blur()", &[]).await;
        for run in 1..=3 {
            space(browser).await;
            browser.sees("Running: count 3 full swings").await;
            // The time itself is what is measured.
            tokio::time::sleep(RUN).await;
            space(browser).await;
            browser.sees(&format!("Run {run}:")).await;
        }
        browser.press("Keep this period").await;
        browser.sees("from a period of").await;
        let bat = cage.get(&format!("/v1/bats/{id}")).await;
        let period_s = bat["pendulum_period_s"].as_f64().expect("a period");
        let run_s = RUN.as_secs_f64() / 3.0;
        assert!((run_s..run_s + 0.3).contains(&period_s), "{period_s}");
        // I = m g d (T / 2 pi)^2 about the pivot (ASTM F2398).
        let moment = 0.85 * 9.80665 * (0.55 - 0.1524) * (period_s / std::f64::consts::TAU).powi(2);
        assert!((bat["moi_kgm2"].as_f64().expect("a moment") / moment - 1.0).abs() < 1e-6, "{bat}");
    })
    .await;
}

async fn space(browser: &Browser) {
    for kind in ["keyDown", "keyUp"] {
        browser
            .devtools("Input.dispatchKeyEvent", json!({"type": kind, "code": "Space", "key": " ", "text": " "}))
            .await;
    }
}

/// A minute of a sensor on a table, z up, with a little noise.
fn lying_still(path: &Path) -> PathBuf {
    let mut text = "t_s,gyro_x_radps,gyro_y_radps,gyro_z_radps,accel_x_mps2,accel_y_mps2,accel_z_mps2\n".to_owned();
    for k in 0..60_000_u64 {
        // Numbers without a pattern that a filter could see, within 1 of 0.
        let noise = |seed: u64| (((k + 1) * seed * 2_654_435_761) % 2001) as f64 / 1000.0 - 1.0;
        let [x, y, z] = [3, 5, 7].map(|seed| 1e-3 * noise(seed));
        let [a, b, c] = [11, 13, 17].map(|seed| 1e-2 * noise(seed));
        text += &format!("{:.3},{x:.5},{y:.5},{z:.5},{a:.4},{b:.4},{:.4}\n", k as f64 * 1e-3, 9.80665 + c);
    }
    std::fs::write(path, text).expect("a recording");
    path.to_owned()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_sensor_that_lies_still_is_checked_against_gravity() {
    visit("check", Plays::Nothing, async |cage| {
        let still = lying_still(&cage.path("still.csv"));
        cage.kill();
        cage.serve_again(Plays::File(still, 1));
        let browser = &cage.browser;
        cage.open("/setup").await;
        let sensor = browser.until(
            "the sensor",
            "return document.querySelector('a[href^=\"/setup/sensors/\"]')?.getAttribute('href')",
            &[],
        );
        let sensor = sensor.await.as_str().expect("a page").to_owned();
        cage.open(&sensor).await;
        browser.press("Begin: it lies still").await;
        let done = "return document.querySelector('[data-poll] section[data-done]')?.innerText";
        let told = browser.within(Duration::from_secs(60), "the check to be over", done, &[]).await;
        let told = told.as_str().expect("words").to_owned();
        assert!(told.contains("Fits."), "{told}");
        assert!(told.contains("Specific force") && told.contains("m/s²"), "{told}");
        // The others begin, and say what to do first.
        for (button, title) in [
            ("Begin: it stands", "How it sits"),
            ("Begin: it hangs", "As a pendulum"),
            ("Begin: I point", "Taking aim"),
        ] {
            browser.press(button).await;
            let step = "const at = document.querySelector('[data-poll]'); const words = at.querySelector('.came')?.textContent; \
                return at.querySelector('h3')?.textContent === arguments[0] && words && !words.startsWith('Waiting')";
            browser.until(&format!("the first step of {title:?}"), step, &[json!(title)]).await;
        }
        cage.inspect("sensor", &sensor, "Standing still").await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn pages_that_set_up_suit_every_screen_light_and_reader() {
    visit("setup", Plays::Nothing, async |cage| {
        let wren = cage.send("POST /v1/athletes", json!({"nickname": "Wren", "bats": "both"})).await;
        let ash = json!({"name": "Ash 33", "kind": "bat", "length_m": 0.838, "mass_kg": 0.85, "balance_m": 0.55});
        let bat = cage.send("POST /v1/bats", ash).await;
        let id = |value: &serde_json::Value| value["id"].as_str().expect("an id").to_owned();
        cage.inspect("setup", "/setup", "Wren").await;
        cage.inspect("setup-athlete", &format!("/setup/athletes/{}", id(&wren)), "Consents").await;
        cage.inspect("setup-bat", &format!("/setup/bats/{}", id(&bat)), "Moment of inertia").await;
        cage.inspect("setup-amounts", "/setup/amounts", "How much matters").await;
    })
    .await;
}
