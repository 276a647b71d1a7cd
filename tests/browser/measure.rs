//! How soon pages are usable and a swing is on the screen, and what the live page weighs, each against its limit. Run by name: it
//! takes some minutes.

use crate::support::cage::{Cage, Plays, visit};
use crate::support::said::Said;
use crate::support::sse::Events;
use serde_json::{Value, json};
use std::process::Command;
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};
use tokio::task::JoinHandle;

/// From the event to the screen, p99.
const MOST_DELAY_MS: f64 = 150.0;
/// Until the live page can be used, p99.
const MOST_USABLE_MS: f64 = 1000.0;
/// The live page with its style, script and icon and the stream's first parts, worst.
const MOST_KB: f64 = 200.0;

const LOADS: usize = 20;
/// Swings and other events of the made-up lesson, and how fast it is played: a swing in less than a second.
const EVENTS: &str = "150";
const SPEED: u32 = 20;
/// So many are to be measured at least.
const LEAST: usize = 200;
/// Without a swing for so long, the lesson is over; it begins with the calibration routine.
const SILENCE: Duration = Duration::from_secs(15);
/// What is not on the screen by then is not counted, and may not be more than a few.
const LOST_AFTER_MS: f64 = 5000.0;

/// Times at which the numbers on the screen changed, ms since 1970 UTC, with the swing and the stage of them: after the frame that
/// shows them was made.
const WATCH: &str = "const slot = document.querySelector('[data-slot=numbers]'); window.changes = []; \
    new MutationObserver(() => { const last = slot.querySelector('[data-swing]'); if (!last) return; \
    const { swing, stage } = last.dataset; requestAnimationFrame(() => { const after = new MessageChannel(); \
    after.port1.onmessage = () => window.changes.push([performance.timeOrigin + performance.now(), swing, stage]); \
    after.port2.postMessage(0); }); }).observe(slot, {childList: true, subtree: true});";

/// ms from the start of the navigation to: the page was read, its script ran, something of it was drawn.
const LOADED: &str = "const at = performance.getEntriesByType('navigation')[0]; \
    const drawn = performance.getEntriesByName('first-contentful-paint')[0]; \
    return drawn && at.domContentLoadedEventEnd && [at.domInteractive, at.domContentLoadedEventEnd, drawn.startTime]";

/// What is told of a swing, in this order; what a revision changes need not be shown.
const STAGES: [&str; 2] = ["streaming", "final"];

/// A swing that was told: when, ms since 1970 UTC, which, and the place of its stage among [`STAGES`].
struct Told {
    at_ms: f64,
    swing: String,
    stage: usize,
}

/// Numbers that came to the screen; a revised swing counts as a final one.
struct Shown {
    at_ms: f64,
    swing: String,
    stage: usize,
}

#[tokio::test(flavor = "multi_thread")]
#[ignore = "minutes: `cargo test --release --test browser -- --ignored --nocapture measure`"]
async fn measure() {
    visit("measure", Plays::Nothing, async |cage| {
        let lesson = long_lesson(cage);
        cage.kill();
        cage.serve_again(Plays::File(lesson, SPEED));
        let kestrel = cage.send("POST /v1/athletes", json!({"nickname": "Kestrel", "bats": "right"})).await;
        cage.send("PUT /v1/at-the-plate", json!({"athlete_id": kestrel["id"], "side": "right"})).await;
        let events = Events::open(cage.address, None).await;
        cage.open("/").await;
        cage.browser.sees("Kestrel").await;
        let told = listen(events);
        cage.browser.run(WATCH, &[]).await;
        let told = told.await.expect("all of the lesson");
        let changes = cage.browser.run("return window.changes", &[]).await;
        let delay = report_delays(&told, &changes);
        let (usable, weight) = report_loads(cage).await;
        assert!(delay.p99 <= MOST_DELAY_MS, "from the event to the screen: {delay:?}");
        assert!(usable.p99 <= MOST_USABLE_MS, "until the page can be used: {usable:?}");
        assert!(weight.worst <= MOST_KB, "what the page weighs: {weight:?}");
    })
    .await;
}

/// Made by the program itself: more swings than the bundled lesson has.
fn long_lesson(cage: &Cage) -> std::path::PathBuf {
    let out = cage.path("long");
    let mut synth = Command::new(env!("CARGO_BIN_EXE_swingd"));
    let words = ["synth", "lesson", "--preset", "good", "--seed", "11", "--calibrated", "--mcap", "--events", EVENTS];
    let made = synth.args(words).arg("--out").arg(&out).output().expect("a lesson");
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
            let event = event.json();
            let stage = STAGES.iter().position(|stage| event["told"]["stage"] == *stage);
            if let (Some(stage), Some(swing)) = (stage, event["swing_id"].as_str()) {
                told.push(Told { at_ms, swing: swing.to_owned(), stage });
            }
        }
        told
    })
}

/// For each swing that was told: until these numbers, or later ones of it, are on the screen.
fn report_delays(told: &[Told], changes: &Value) -> Spread {
    let all: Vec<Shown> = changes.as_array().expect("a list").iter().map(shown).collect();
    let (mut delays_ms, mut lost) = (Vec::new(), 0);
    for Told { at_ms, swing, stage } in told {
        match all.iter().find(|shown| shown.swing == *swing && shown.stage >= *stage) {
            // The browser may have been told a moment before this program was.
            Some(shown) if shown.at_ms - at_ms < LOST_AFTER_MS => delays_ms.push((shown.at_ms - at_ms).max(0.0)),
            _ => lost += 1,
        }
    }
    println!("{} events of swings; {} came to the screen, {lost} did not", told.len(), delays_ms.len());
    let all = Spread::told("from the event to the screen, ms", delays_ms);
    assert!(all.count >= LEAST && lost * 20 < told.len(), "too few: {}, and {lost} did not come", all.count);
    all
}

fn shown(change: &Value) -> Shown {
    let text = |k: usize| change[k].as_str().unwrap_or_default();
    let stage = match text(2) {
        "streaming" => 0,
        "final" | "revised" => 1,
        other => panic!("no stage: {other:?}"),
    };
    Shown { at_ms: change[0].as_f64().expect("a time"), swing: text(1).to_owned(), stage }
}

/// With nothing kept by the browser from the load before: until the page can be used, and what it weighs.
async fn report_loads(cage: &Cage) -> (Spread, Spread) {
    let browser = &cage.browser;
    let [mut read_ms, mut ran_ms, mut drawn_ms, mut usable_ms] = [const { Vec::new() }; 4];
    let [mut page_kb, mut assets_kb, mut stream_kb, mut all_kb] = [const { Vec::new() }; 4];
    for _ in 0..LOADS {
        browser.devtools("Network.clearBrowserCache", json!({})).await;
        browser.client.goto("about:blank").await.expect("an empty page");
        cage.complaints().await;
        cage.open("/").await;
        let loaded = browser.until("the page to be drawn", LOADED, &[]).await;
        let of = |k: usize| loaded[k].as_f64().expect("a time");
        [&mut read_ms, &mut ran_ms, &mut drawn_ms].into_iter().zip(0..).for_each(|(list, k)| list.push(of(k)));
        usable_ms.push(of(0).max(of(1)).max(of(2)));
        // The first beat comes after all parts.
        let mut said = Said::default();
        browser.hears("beat", &mut said).await;
        let home = format!("http://{}", cage.address);
        let kb =
            |is_meant: &dyn Fn(&str) -> bool| said.bytes_of(|url| url.strip_prefix(&home).is_some_and(is_meant)) / 1e3;
        let parts =
            [kb(&|path| path == "/"), kb(&|path| path.starts_with("/assets/")), kb(&|path| path == "/live/stream")];
        assert!(parts.iter().all(|kb| *kb > 1.0), "something of the page was not seen: {parts:?}");
        [&mut page_kb, &mut assets_kb, &mut stream_kb].into_iter().zip(parts).for_each(|(list, kb)| list.push(kb));
        all_kb.push(parts.iter().sum());
    }
    Spread::told("page: read, ms", read_ms);
    Spread::told("page: its script ran, ms", ran_ms);
    Spread::told("page: drawn, ms", drawn_ms);
    let usable = Spread::told("page: usable (all of these), ms", usable_ms);
    Spread::told("transferred: the page, kB", page_kb);
    Spread::told("transferred: style, script and icon, kB", assets_kb);
    Spread::told("transferred: the stream until its first beat, kB", stream_kb);
    (usable, Spread::told("transferred: all of these, kB", all_kb))
}

/// How values lie (nearest rank).
#[derive(Debug)]
struct Spread {
    count: usize,
    p99: f64,
    worst: f64,
}

impl Spread {
    /// Of the values, which are printed.
    fn told(what: &str, mut values: Vec<f64>) -> Self {
        assert!(!values.is_empty(), "{what}: nothing was measured");
        values.sort_by(f64::total_cmp);
        let count = values.len();
        let at = |share: f64| values[((count as f64 * share).ceil() as usize).clamp(1, count) - 1];
        let (p50, p99, worst) = (at(0.5), at(0.99), at(1.0));
        println!("{what}: p50 {p50:.1}, p99 {p99:.1}, worst {worst:.1} of {count}");
        Self { count, p99, worst }
    }
}
