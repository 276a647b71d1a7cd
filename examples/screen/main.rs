//! What the cage screen must reach, measured: how soon a swing's numbers are with every viewer, what fifty viewers cost the
//! recorder and the engine, and how much a browser fetches.
//!
//! ```text
//! cargo run --release --example screen -- [seconds of each part, 60 by default]
//! ```
//!
//! The whole service runs in this process, with simulated sensors that send in real time; viewers are threads with a socket,
//! every other one in metric units. The same lessons are played without a viewer and with fifty. Every figure that has a limit
//! stands beside it and beside the machine's load averages; the exit status is 1 if one is missed. Linux only: figures of CPU are
//! read from /proc.

#[path = "../live/machine.rs"]
#[allow(dead_code)]
mod machine;
#[path = "../live/motion.rs"]
#[allow(dead_code)]
mod motion;
#[path = "../live/verdict.rs"]
#[allow(dead_code)]
mod verdict;

mod browser;
mod cage;

use anyhow::Context;
use cage::{Outcome, Wanted};
use motion::Lesson;
use std::process::ExitCode;
use verdict::{Sorted, Verdicts};

const SENSORS: usize = 4;
const VIEWERS: usize = 50;
const SECONDS: f64 = 60.0;
/// Of the simulator's lessons one lasts at least so long for each event in it, s.
const EVENT_S: f64 = 8.0;
/// Seeds of their own, used nowhere else.
const FIRST_SEED: u64 = 830_000;
const CANDIDATES: u64 = 80;

/// From the event to the numbers with a viewer, p99.
const MOST_NUMBERS_MS: f64 = 150.0;
/// Until a browser has all that the page needs.
const MOST_PAGE_MS: f64 = 1000.0;
/// Of the page, what it names and the first parts of the stream.
const MOST_PAGE_KB: f64 = 200.0;

fn main() -> anyhow::Result<ExitCode> {
    let seconds: Option<f64> =
        std::env::args().nth(1).map(|word| word.parse().context("expected a number")).transpose()?;
    let seconds = seconds.unwrap_or(SECONDS);
    let mut verdicts = Verdicts::default();
    let seeds =
        motion::densest(FIRST_SEED..FIRST_SEED + CANDIDATES, (seconds / EVENT_S).ceil() as usize, seconds, SENSORS);
    anyhow::ensure!(seeds.len() == SENSORS, "too few lessons last {seconds} s");
    let lessons = || seeds.iter().map(|seed| Lesson::simulated(*seed, (seconds / EVENT_S).ceil() as usize));
    for viewers in [0, VIEWERS] {
        println!("{viewers} viewers, {SENSORS} sensors, {seconds} s (load before {})", machine::load_average());
        let outcome = cage::play(lessons().collect::<Result<_, _>>()?, Wanted { viewers, seconds })?;
        report(&outcome, viewers, &mut verdicts);
    }
    Ok(if verdicts.all_hold() { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

fn report(outcome: &Outcome, viewers: usize, verdicts: &mut Verdicts) {
    println!("  {:.3} cores used; by thread, s of CPU:", outcome.cpu_s / outcome.seconds);
    let busy = outcome.threads_cpu_s.iter().filter(|(_, used_s)| **used_s >= 0.01);
    println!("    {}", busy.map(|(name, used_s)| format!("{name} {used_s:.2}")).collect::<Vec<_>>().join(", "));
    Sorted::new(outcome.engine_ms.clone()).print("packet with the contact of a ball to the event", "ms");
    verdicts.at_most("entries lost by the recorder", outcome.lost_entries, 0.0, "");
    verdicts.at_most("packets dropped before the engine", outcome.dropped, 0.0, "");
    if viewers == 0 {
        return;
    }
    let first_ms = Sorted::new(outcome.numbers_ms.clone());
    first_ms.print("a swing's event to its numbers with a viewer", "ms");
    let superseded = outcome.superseded;
    println!("  {superseded} times a viewer got a later swing's numbers at once instead");
    verdicts.at_least("numbers with viewers", outcome.numbers_ms.len() as f64, 1000.0, "");
    verdicts.at_most("a swing's numbers, p99", first_ms.quantile(0.99), MOST_NUMBERS_MS, "ms");
    let page = &outcome.page;
    println!(
        "  page {:.1} kB, style, script and icon {:.1} kB, first parts {:.1} kB",
        page.html_kb, page.assets_kb, page.stream_kb
    );
    verdicts.at_most(
        "transferred for the live page",
        page.html_kb + page.assets_kb + page.stream_kb,
        MOST_PAGE_KB,
        "kB",
    );
    verdicts.at_most("until a browser has all of it", page.ms, MOST_PAGE_MS, "ms");
}
