//! The cage screen while a lesson is played: what an instructor sees and touches.

use crate::support::browser::{Browser, LAPTOP, Light, PHONE};
use crate::support::cage::{Cage, Plays, visit};
use crate::support::hands::ENTER;
use crate::support::numbers::{agree, agree_now};
use crate::support::wait_for;
use serde_json::{Value, json};
use std::process::Command;
use std::time::Duration;

/// A lesson of two minutes is over by then, on a busy machine too.
const LESSON: Duration = Duration::from_secs(100);

/// Key, value, half the width of its interval and unit of every big number.
const NUMBERS: &str = "return [...document.querySelectorAll('[data-slot=numbers] [data-metric]')] \
    .filter((at) => at.querySelector('b')).map((at) => [at.dataset.metric, at.querySelector('b').textContent, \
    at.querySelector('.within').lastChild.textContent, at.querySelector('.unit').textContent])";

/// How many swings of the round are shown.
const CARDS: &str = "return document.querySelectorAll('[data-slot=round] [data-swing]').length >= arguments[0]";

/// Two athletes, and the first of them at the plate.
async fn wren_and_robin(cage: &Cage) -> (Value, Value) {
    let wren = cage.send("POST /v1/athletes", json!({"nickname": "Wren", "bats": "both"})).await;
    let robin = cage.send("POST /v1/athletes", json!({"nickname": "Robin", "bats": "left"})).await;
    let plate = json!({"athlete_id": wren["id"], "side": "right", "drill": "high tee", "ball_source": "tee"});
    cage.send("PUT /v1/at-the-plate", plate).await;
    (wren, robin)
}

async fn swings(browser: &Browser, count: usize) {
    browser.within(LESSON, &format!("{count} swings of the round"), CARDS, &[json!(count)]).await;
}

/// The swings of the record, the first one first.
async fn stored(cage: &Cage) -> Vec<Value> {
    let mut swings = cage.get("/v1/swings").await["items"].as_array().expect("swings").clone();
    swings.sort_by_key(|swing| swing["contact_utc"].to_string());
    swings
}

#[tokio::test(flavor = "multi_thread")]
async fn swings_appear_by_themselves_with_the_numbers_of_the_api() {
    visit("appear", Plays::Lesson(10), async |cage| {
        wren_and_robin(cage).await;
        let browser = &cage.browser;
        cage.open("/").await;
        browser.run("window.isSamePage = true", &[]).await;
        browser.sees("Wren").await;
        for count in 1..=8 {
            swings(browser, count).await;
        }
        let is_final = "return document.querySelector('[data-slot=numbers] :is([data-stage=final], [data-stage=revised]) a')";
        browser.until("the last one, final and in the record", is_final, &[]).await;
        assert_eq!(browser.run("return window.isSamePage", &[]).await, true, "it was not loaded again");
        // A later rest may make the last numbers better, on the screen a moment sooner or later than in the record.
        let shown = wait_for("the numbers of the record", async || {
            let last = stored(cage).await.pop()?;
            let shown = browser.run(NUMBERS, &[]).await;
            agree_now(&shown, &last).then_some((shown, last))
        });
        let (shown, last) = shown.await;
        assert!(agree(&shown, &last) >= 4, "{shown}");
        assert_eq!(stored(cage).await.len(), 8);
        // The curves are drawn, and each can be read as a table.
        let charts = "return ['speed', 'side', 'above'].every((slot) => \
            document.querySelector(`[data-slot=${slot}] svg path`) && document.querySelector(`[data-slot=${slot}] table td`))";
        assert_eq!(browser.run(charts, &[]).await, true, "three charts with their tables");
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn sides_and_athletes_change_in_the_middle_of_a_lesson() {
    visit("switch", Plays::Lesson(4), async |cage| {
        let (wren, robin) = wren_and_robin(cage).await;
        let browser = &cage.browser;
        cage.open("/").await;
        swings(browser, 1).await;
        browser.press("Left").await;
        let pressed = "return document.querySelector('[data-key=side-left]')?.ariaPressed === 'true'";
        browser.until("the side to be taken", pressed, &[]).await;
        let before = stored(cage).await.len();
        browser
            .within(
                LESSON,
                "a swing from the left",
                "return document.querySelector('[data-slot=numbers]').textContent.includes('bats left')",
                &[],
            )
            .await;
        browser.press("Robin").await;
        browser.until("Robin at the plate", "return document.querySelector('h1').textContent === 'Robin'", &[]).await;
        swings(browser, 1).await;
        let has_robins = wait_for("a swing of Robin's in the record", async || {
            Some(stored(cage).await).filter(|stored| stored.iter().any(|swing| swing["athlete_id"] == robin["id"]))
        });
        let stored = has_robins.await;
        assert!(
            stored[..before.max(1)].iter().all(|swing| swing["side"] == "right" && swing["athlete_id"] == wren["id"])
        );
        let left: Vec<_> = stored.iter().filter(|swing| swing["side"] == "left").collect();
        assert!(left.iter().any(|swing| swing["athlete_id"] == wren["id"]), "{left:?}");
        // Once it is left, it stays left: both of these bat from there.
        let first_left = stored.iter().position(|swing| swing["side"] == "left").expect("one");
        assert!(stored[first_left..].iter().all(|swing| swing["side"] == "left"));
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn quick_touches_all_hold() {
    visit("touches", Plays::Nothing, async |cage| {
        wren_and_robin(cage).await;
        cage.open("/").await;
        let is_drawn = "return document.querySelector('[data-key=source-machine]')";
        cage.browser.until("the touches", is_drawn, &[]).await;
        // Both before either is answered.
        let both =
            "for (const key of ['side-left', 'source-machine']) document.querySelector(`[data-key=${key}]`).click()";
        cage.browser.run(both, &[]).await;
        let are_so = "return ['side-left', 'source-machine'].every((key) => \
            document.querySelector(`[data-key=${key}]`).ariaPressed === 'true')";
        cage.browser.until("both", are_so, &[]).await;
        let plate = cage.get("/v1/at-the-plate").await;
        assert_eq!((&plate["side"], &plate["ball_source"]), (&json!("left"), &json!("machine")));
        assert_eq!(plate["drill"], "high tee");
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_swing_is_left_out_and_opened_by_keys_alone() {
    visit("keys", Plays::Lesson(6), async |cage| {
        wren_and_robin(cage).await;
        let browser = &cage.browser;
        cage.open("/").await;
        swings(browser, 2).await;
        let first = stored(cage).await[0]["id"].as_str().expect("an id").to_owned();
        assert!(browser.tab_to("Leave out: swing 1").await >= 2.0, "the focus is to be seen");
        browser.key(ENTER).await;
        let is_out = "return document.querySelector(`[data-swing='${arguments[0]}']`)?.classList.contains('out')";
        browser.until("it to be left out", is_out, &[json!(first)]).await;
        assert_eq!(cage.get(&format!("/v1/swings/{first}")).await["mark"], "exclude");
        // The part was drawn anew, by this and by the next swing; the focus is where it was.
        swings(browser, 3).await;
        let focused = "return document.activeElement.dataset.key";
        assert_eq!(browser.run(focused, &[]).await, json!(format!("Leave out-{first}")));
        browser.run("document.activeElement.blur()", &[]).await;
        assert!(browser.tab_to("Swing 1:").await >= 2.0, "the focus is to be seen");
        browser.key(ENTER).await;
        browser.sees("Left out by the instructor").await;
        assert!(cage.place().await.starts_with(&format!("/swings/{first}")));
        browser.client.back().await.expect("the way back");
        browser.sees("This round").await;
        browser.key("l").await;
        let is_left = "return document.querySelector('[data-key=side-left]')?.ariaPressed === 'true'";
        browser.until("the left side", is_left, &[]).await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_lost_connection_is_shown_and_heals() {
    visit("lost", Plays::Lesson(6), async |cage| {
        let (wren, _) = wren_and_robin(cage).await;
        cage.open("/").await;
        swings(&cage.browser, 1).await;
        cage.browser.run("window.isSamePage = true", &[]).await;
        let is_shown = "return document.getElementById('lost').checkVisibility()";
        assert_eq!(cage.browser.run(is_shown, &[]).await, false);
        cage.kill();
        cage.browser.until("the banner", is_shown, &[]).await;
        cage.browser.sees("No connection to the service").await;
        cage.browser.is_accessible("the cage screen without a connection").await;
        cage.picture("live-lost-laptop-light", LAPTOP).await;
        let complaints = cage.complaints().await;
        let is_expected = |said: &String| said.contains("/live/stream - Failed to load resource: net::ERR_");
        assert!(!complaints.is_empty() && complaints.iter().all(is_expected), "{complaints:?}");
        cage.serve_again(Plays::Lesson(6));
        cage.browser.until("the banner to go", "return !document.getElementById('lost').checkVisibility()", &[]).await;
        // The recording says itself who was there, so it is said anew.
        let plate = json!({"athlete_id": wren["id"], "side": "left", "drill": "high tee", "ball_source": "tee"});
        cage.send("PUT /v1/at-the-plate", plate).await;
        let is_new = "return document.querySelector('[data-slot=numbers]').textContent.includes('bats left')";
        cage.browser.within(LESSON, "a new swing", is_new, &[]).await;
        assert_eq!(cage.browser.run("return window.isSamePage", &[]).await, true, "it was not loaded again");
        let complaints = cage.complaints().await;
        assert!(complaints.iter().all(is_expected), "{complaints:?}");
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_flagged_swing_looks_flagged() {
    visit("flagged", Plays::Nothing, async |cage| {
        let out = cage.path("hobby");
        let mut synth = Command::new(env!("CARGO_BIN_EXE_swingd"));
        synth.args(["synth", "ball", "--preset", "hobby", "--seed", "3", "--mcap", "--out"]).arg(&out);
        let made = synth.output().expect("a swing");
        assert!(made.status.success(), "{made:?}");
        cage.kill();
        cage.serve_again(Plays::File(out.join("ball-hobby-0003.mcap"), 1));
        wren_and_robin(cage).await;
        cage.open("/").await;
        swings(&cage.browser, 1).await;
        let flags = stored_flags(cage).await;
        assert!(!flags.is_empty());
        cage.browser.sees("With care:").await;
        let marked = "return document.querySelector('[data-slot=numbers] .flagged') && document.querySelector('[data-swing].flagged')";
        cage.browser.until("it to look flagged", marked, &[]).await;
        cage.picture("live-flagged-laptop-light", LAPTOP).await;
    })
    .await;
}

/// The flags of the first swing, once it is stored.
async fn stored_flags(cage: &Cage) -> Vec<Value> {
    let first = wait_for("the swing in the record", async || stored(cage).await.into_iter().next()).await;
    first["flags"].as_array().expect("flags").clone()
}

#[tokio::test(flavor = "multi_thread")]
async fn the_cage_screen_suits_every_screen_light_and_reader() {
    visit("screen", Plays::Nothing, async |cage| {
        let (wren, _) = wren_and_robin(cage).await;
        cage.inspect("live-empty", "/", "No swing yet").await;
        // Swings come only now: on a busy machine they would be there before all was looked at.
        cage.browser.client.goto("about:blank").await.expect("an empty page");
        cage.kill();
        cage.serve_again(Plays::Lesson(12));
        let plate = json!({"athlete_id": wren["id"], "side": "right", "drill": "high tee", "ball_source": "tee"});
        cage.send("PUT /v1/at-the-plate", plate).await;
        cage.open("/").await;
        swings(&cage.browser, 6).await;
        cage.inspect("live", "/", "This round").await;
        // In metric units too, and where nobody is at the plate.
        cage.browser.press("Units:").await;
        cage.browser.sees("m/s").await;
        cage.browser.on(PHONE).await;
        cage.browser.fits(PHONE, "the cage screen in metric units").await;
        cage.browser.is_in(Light::Light).await;
        cage.send("PUT /v1/at-the-plate", json!({"athlete_id": null})).await;
        cage.browser.sees("Nobody is at the plate").await;
        cage.browser.fits(PHONE, "the cage screen without anybody").await;
        cage.browser.is_accessible("the cage screen without anybody").await;
    })
    .await;
}
