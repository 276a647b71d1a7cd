//! What is around every page, and what the harness itself notices.

use crate::support::browser::{LAPTOP, Light, PHONE};
use crate::support::cage::{Plays, visit};
use crate::support::hands::ENTER;
use serde_json::json;

const UNITS: &str = "Units:";

#[tokio::test(flavor = "multi_thread")]
async fn what_the_policy_forbids_is_stopped_and_noticed() {
    visit("policy", Plays::Nothing, async |cage| {
        cage.open("/").await;
        assert_eq!(cage.complaints().await, Vec::<String>::new());
        let elsewhere = "fetch('http://192.0.2.1/').catch(() => (document.title = 'stopped'))";
        cage.browser.run(elsewhere, &[]).await;
        cage.browser.until("it to be stopped", "return document.title === 'stopped'", &[]).await;
        cage.browser.run("document.body.insertAdjacentHTML('beforeend', '<p style=\"color:red\">x</p>')", &[]).await;
        let complaints = cage.complaints().await.join("\n");
        assert!(complaints.contains("securitypolicyviolation: connect-src"), "{complaints}");
        assert!(complaints.contains("securitypolicyviolation: style-src"), "{complaints}");
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn units_change_with_one_touch_and_stay() {
    visit("units", Plays::Nothing, async |cage| {
        let browser = &cage.browser;
        cage.open("/").await;
        browser.sees("mph, ft").await;
        browser.press(UNITS).await;
        browser.sees("m/s, m").await;
        cage.open("/athletes").await;
        browser.sees("m/s, m").await;
        assert!(!browser.has("mph").await);
        browser.press(UNITS).await;
        browser.sees("mph, ft").await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_page_is_as_light_as_the_device_until_somebody_says_otherwise() {
    visit("look", Plays::Nothing, async |cage| {
        let browser = &cage.browser;
        cage.open("/").await;
        browser.is_in(Light::Light).await;
        browser.prefers(Light::Dark).await;
        browser.is_in(Light::Dark).await;
        let look = |look: &'static str| json!([look]);
        let is = "return document.documentElement.dataset.look === arguments[0][0]";
        browser.press("Light: auto").await;
        browser.until("light", is, &[look("light")]).await;
        browser.is_in(Light::Light).await;
        browser.prefers(Light::Light).await;
        browser.press("Light").await;
        browser.until("dark", is, &[look("dark")]).await;
        browser.is_in(Light::Dark).await;
        cage.open("/setup").await;
        browser.is_in(Light::Dark).await;
        browser.press("Dark").await;
        browser.until("as the device has it", is, &[look("auto")]).await;
        browser.is_in(Light::Light).await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_first_key_leads_past_the_ways_and_the_next_ones_along_them() {
    visit("skip", Plays::Nothing, async |cage| {
        let browser = &cage.browser;
        cage.open("/").await;
        assert!(browser.tab_to("To the content").await >= 2.0, "the focus is to be seen");
        browser.key(ENTER).await;
        browser.until("the content to have the focus", "return document.activeElement.id === 'main'", &[]).await;
        cage.open("/").await;
        assert!(browser.tab_to("Athletes").await >= 2.0, "the focus is to be seen");
        browser.key(ENTER).await;
        browser.until("the way", "return location.pathname === '/athletes'", &[]).await;
        assert!(browser.tab_to(UNITS).await >= 2.0, "the focus is to be seen");
        browser.key(ENTER).await;
        browser.sees("m/s, m").await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_page_that_is_not_there_says_so_and_leads_back() {
    visit("missing", Plays::Nothing, async |cage| {
        let browser = &cage.browser;
        for path in ["/nowhere", "/assets/000000000000-script.js"] {
            cage.open(path).await;
            let status = "return performance.getEntriesByType('navigation')[0].responseStatus";
            assert_eq!(browser.run(status, &[]).await, json!(404), "{path}");
            browser.is_accessible(path).await;
            for screen in [LAPTOP, PHONE] {
                browser.on(screen).await;
                browser.fits(screen, path).await;
            }
            // What Chromium itself says of every such page.
            let said = cage.complaints().await;
            assert!(said.len() == 1 && said[0].contains(path) && said[0].contains("status of 404"), "{said:?}");
            browser.press("To the plate").await;
            // Where nobody was entered, the plate leads on to the start.
            browser.until("the way back", "return ['/', '/start'].includes(location.pathname)", &[]).await;
        }
    })
    .await;
}
