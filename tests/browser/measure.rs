//! How soon pages are usable and a swing is on the screen, and what the live page weighs. Run by name: it takes some minutes.

use crate::support::cage::{Cage, Plays, visit};
use crate::support::sse::Events;
use serde_json::{Value, json};
use std::process::Command;
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};
use tokio::task::JoinHandle;

const LOADS: usize = 20;
/// Swings and other events of the made-up lesson, and how fast it is played: a swing in less than a second.
const EVENTS: &str = "100";
const SPEED: u32 = 20;
/// So many are to be measured at least.
const LEAST: usize = 200;
/// Without a swing for so long, the lesson is over; it begins with the calibration routine.
const SILENCE: Duration = Duration::from_secs(15);
/// What is not on the screen by then is not counted, and may not be more than a few.
const LOST_AFTER_MS: f64 = 5000.0;

/// Times at which the numbers on the screen changed, ms since 1970 UTC, with what they are then: after the frame that shows
/// them was made.
const WATCH: &str = "const slot = document.querySelector('[data-slot=numbers]'); window.changes = []; \
    new MutationObserver(() => requestAnimationFrame(() => { const after = new MessageChannel(); \
    after.port1.onmessage = () => window.changes.push([performance.timeOrigin + performance.now(), slot.textContent]); \
    after.port2.postMessage(0); })).observe(slot, {childList: true, subtree: true, characterData: true});";

/// ms from the start of the navigation to: the page was read, its script ran, something of it was drawn.
const LOADED: &str = "const at = performance.getEntriesByType('navigation')[0]; \
    const drawn = performance.getEntriesByName('first-contentful-paint')[0]; \
    return drawn && at.domContentLoadedEventEnd && [at.domInteractive, at.domContentLoadedEventEnd, drawn.startTime]";

/// A swing that was told: when, ms since 1970 UTC, and its speed, mph as it is written.
struct Told {
    at_ms: f64,
    bat_speed_mph: String,
}

#[tokio::test(flavor = "multi_thread")]
#[ignore = "a measurement of some minutes"]
async fn measure() {
    visit("measure", Plays::Nothing, async |cage| {
        let lesson = long_lesson(cage);
        cage.kill();
        cage.serve_again(Plays::File(lesson, SPEED));
        let events = Events::open(cage.address, None).await;
        cage.open("/").await;
        let told = listen(events);
        cage.browser.run(WATCH, &[]).await;
        let told = told.await.expect("all of the lesson");
        let changes = cage.browser.run("return window.changes", &[]).await;
        report_delays(&told, &changes);
        report_loads(cage).await;
    })
    .await;
}

/// Made by the program itself: more swings than the bundled lesson has.
fn long_lesson(cage: &Cage) -> std::path::PathBuf {
    let out = cage.path("long");
    let mut synth = Command::new(env!("CARGO_BIN_EXE_swingd"));
    let words =
        ["synth", "lesson", "--preset", "good", "--seed", "11", "--calibrated", "--mcap", "--athlete", "Kestrel"];
    let made = synth.args(words).args(["--events", EVENTS]).arg("--out").arg(&out).output().expect("a lesson");
    assert!(made.status.success(), "{made:?}");
    out.join("lesson-good-0011.mcap")
}

/// Every swing that is told, until none is for a while.
fn listen(mut events: Events) -> JoinHandle<Vec<Told>> {
    tokio::spawn(async move {
        let (mut told, mut last) = (Vec::new(), Instant::now());
        // A heartbeat comes every few seconds at least.
        while last.elapsed() < SILENCE {
            let Some(event) = events.next_or_comment().await else { break };
            let at_ms = SystemTime::now().duration_since(UNIX_EPOCH).expect("after 1970").as_secs_f64() * 1000.0;
            if event.kind != "swing" {
                continue;
            }
            last = Instant::now();
            let speed_mps = event.json()["told"]["metrics"]["bat_speed_mps"]["value"].as_f64();
            if let Some(speed_mps) = speed_mps {
                told.push(Told { at_ms, bat_speed_mph: format!("{:.1}", speed_mps / 0.44704) });
            }
        }
        told
    })
}

/// For each swing that was told: until its speed, which was not there before, is on the screen.
fn report_delays(told: &[Told], changes: &Value) {
    let changes: Vec<(f64, &str)> = changes
        .as_array()
        .expect("a list")
        .iter()
        .map(|change| (change[0].as_f64().unwrap(), change[1].as_str().unwrap()))
        .collect();
    let (mut delays_ms, mut lost) = (Vec::new(), 0);
    for Told { at_ms, bat_speed_mph } in told {
        let shown = |(_, text): &(f64, &str)| text.contains(bat_speed_mph.as_str());
        let before = changes.iter().rev().find(|(when, _)| when < at_ms);
        if before.is_some_and(shown) {
            continue;
        }
        match changes.iter().find(|change| change.0 >= *at_ms && shown(change)) {
            Some((when, _)) if when - at_ms < LOST_AFTER_MS => delays_ms.push(when - at_ms),
            _ => lost += 1,
        }
    }
    println!("{} events of swings; {} changed the screen, {lost} were overtaken", told.len(), delays_ms.len());
    tell("from the event to the screen, ms", &mut delays_ms);
    assert!(delays_ms.len() >= LEAST && lost * 20 < told.len(), "too few: {} and {lost} overtaken", delays_ms.len());
}

/// With nothing kept by the browser from the load before.
async fn report_loads(cage: &Cage) {
    let browser = &cage.browser;
    let [mut read_ms, mut ran_ms, mut drawn_ms, mut usable_ms] = [const { Vec::new() }; 4];
    let mut bytes = Vec::new();
    for _ in 0..LOADS {
        browser.devtools("Network.clearBrowserCache", json!({})).await;
        browser.client.goto("about:blank").await.expect("an empty page");
        cage.complaints().await;
        cage.open("/").await;
        let loaded = browser.until("the page to be drawn", LOADED, &[]).await;
        let of = |k: usize| loaded[k].as_f64().expect("a time");
        [&mut read_ms, &mut ran_ms, &mut drawn_ms].into_iter().zip(0..).for_each(|(list, k)| list.push(of(k)));
        usable_ms.push(of(0).max(of(1)).max(of(2)));
        // Its stream has sent all parts by then.
        tokio::time::sleep(Duration::from_secs(1)).await;
        bytes.push(browser.said().await.bytes / 1000.0);
    }
    tell("page: read, ms", &mut read_ms);
    tell("page: its script ran, ms", &mut ran_ms);
    tell("page: drawn, ms", &mut drawn_ms);
    tell("page: usable (all of these), ms", &mut usable_ms);
    tell("transferred with the parts of the first second, kB", &mut bytes);
}

fn tell(what: &str, values: &mut [f64]) {
    assert!(!values.is_empty(), "{what}: nothing was measured");
    values.sort_by(f64::total_cmp);
    let at = |share: f64| values[((values.len() as f64 * share).ceil() as usize).clamp(1, values.len()) - 1];
    println!("{what}: p50 {:.1}, p99 {:.1}, worst {:.1} of {}", at(0.5), at(0.99), at(1.0), values.len());
}
