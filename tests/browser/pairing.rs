//! A phone in the network: nothing without a code, a viewer's pages with one.

use crate::support::browser::PHONE;
use crate::support::cage::{Plays, visit};
use serde_json::json;
use std::io::Write;

/// What only a coach may touch, and is to be seen.
const CHANGES: &str = "return [...document.querySelectorAll('.change')].filter((at) => at.checkVisibility()).length";

#[tokio::test(flavor = "multi_thread")]
async fn a_phone_is_paired_by_the_link_of_a_code_follows_and_leaves() {
    visit("pairing", Plays::Nothing, async |cage| {
        let Some(there) = cage.serve_for_others().await else {
            let _ = writeln!(std::io::stderr(), "left out: pairing: this machine has no address but its own");
            return;
        };
        let wren = cage.send("POST /v1/athletes", json!({"nickname": "Wren", "bats": "both"})).await;
        let plate = |side: &str| json!({"athlete_id": wren["id"], "side": side});
        cage.send("PUT /v1/at-the-plate", plate("right")).await;
        let browser = &cage.browser;
        browser.on(PHONE).await;
        let open = async |url: &str| browser.client.goto(url).await.unwrap_or_else(|error| panic!("{url}: {error}"));
        open(&format!("http://{there}/")).await;
        browser.sees("Enter a pairing code").await;
        assert!(!browser.has("Wren").await, "nothing is shown without a code");
        let shown = json!({"role": "viewer", "label": "a phone", "days": 1});
        let shown = cage.send("POST /v1/pairings", shown).await;
        let url = shown["url"].as_str().expect("an address").to_owned();
        let code = url.strip_prefix(&format!("http://{there}/pair#")).unwrap_or_else(|| panic!("{url}"));
        open(&url).await;
        let is_there = "return document.querySelector('#code')?.value === arguments[0] && location.hash === ''";
        browser.until("the code in its field", is_there, &[json!(code)]).await;
        browser.fits(PHONE, "pairing").await;
        browser.press("Pair").await;
        browser.until("the plate", "return location.pathname === '/'", &[]).await;
        browser.sees("Wren").await;
        browser.sees("This device is paired as viewer").await;
        assert_eq!(browser.run(CHANGES, &[]).await, 0, "a viewer changes nothing");
        assert_eq!(browser.run("return document.cookie.includes('swingd_token')", &[]).await, false);
        browser.fits(PHONE, "the cage screen of a viewer").await;
        browser.is_accessible("the cage screen of a viewer").await;
        // What is said at the service's machine comes by itself.
        browser.run("window.isSamePage = true", &[]).await;
        cage.send("PUT /v1/at-the-plate", plate("left")).await;
        browser.sees("bats left").await;
        assert_eq!(browser.run("return window.isSamePage", &[]).await, true, "it was not loaded again");
        browser.press("Leave").await;
        browser.sees("paired no more").await;
        let status = "return fetch('/v1/athletes').then((answer) => answer.status)";
        assert_eq!(browser.run(status, &[]).await, 401, "the token is forgotten");
        // Over plain HTTP to another machine a browser does without that header, and says so of every page.
        let expected = ["status of 401", "The Cross-Origin-Opener-Policy header has been ignored"];
        let complaints = cage.complaints().await;
        let is_expected = |said: &String| expected.iter().any(|words| said.contains(words));
        assert!(complaints.iter().all(is_expected), "{complaints:?}");
    })
    .await;
}
