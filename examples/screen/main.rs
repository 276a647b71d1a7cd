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
use browser::Fetched;
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
/// By how much the event may come later with fifty viewers than with none, p99: half the time between two packets.
const MOST_LATER_MS: f64 = 10.0;
/// Of the numbers told, those that a viewer did not get because another swing was the last one by then. Four sensors share one
/// screen here: a final value of one comes half a second after its first, and in that time another may have swung.
const MOST_SUPERSEDED: f64 = 0.25;
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
    let mut engine_p99_ms = Vec::new();
    for viewers in [0, VIEWERS] {
        println!("{viewers} viewers, {SENSORS} sensors, {seconds} s (load before {})", machine::load_average());
        let outcome = cage::play(lessons().collect::<Result<_, _>>()?, Wanted { viewers, seconds })?;
        engine_p99_ms.push(report(&outcome, viewers, &mut verdicts));
    }
    let most_ms = engine_p99_ms[0] + MOST_LATER_MS;
    verdicts.at_most("packet to event with viewers, p99", engine_p99_ms[1], most_ms, "ms");
    Ok(if verdicts.all_hold() { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

/// Prints what holds without viewers too; p99 from a packet to its event, ms.
fn report(outcome: &Outcome, viewers: usize, verdicts: &mut Verdicts) -> f64 {
    println!("  {:.3} cores used; by thread, s of CPU:", outcome.cpu_s / outcome.seconds);
    let busy = outcome.threads_cpu_s.iter().filter(|(_, used_s)| **used_s >= 0.01);
    println!("    {}", busy.map(|(name, used_s)| format!("{name} {used_s:.2}")).collect::<Vec<_>>().join(", "));
    let engine_ms = Sorted::new(outcome.engine_ms.clone());
    engine_ms.print("packet with the contact of a ball to the event", "ms");
    verdicts.at_most("entries lost by the recorder", outcome.lost_entries, 0.0, "");
    verdicts.at_most("packets dropped before the engine", outcome.dropped, 0.0, "");
    if viewers > 0 {
        report_numbers(outcome, verdicts);
        report_pages(outcome, verdicts);
    }
    engine_ms.quantile(0.99)
}

fn report_numbers(outcome: &Outcome, verdicts: &mut Verdicts) {
    let numbers_ms = Sorted::new(outcome.numbers_ms.clone());
    numbers_ms.print("a swing's event to its numbers with a viewer", "ms");
    let (got, superseded) = (outcome.numbers_ms.len() as f64, outcome.superseded as f64);
    verdicts.at_least("numbers with viewers", got, 1000.0, "");
    verdicts.at_most("a swing's numbers, p99", numbers_ms.quantile(0.99), MOST_NUMBERS_MS, "ms");
    verdicts.at_most("share where another swing was the last", superseded / (got + superseded), MOST_SUPERSEDED, "");
    verdicts.at_most("numbers that did not come without that", outcome.missed as f64, 0.0, "");
}

fn report_pages(outcome: &Outcome, verdicts: &mut Verdicts) {
    let all = |of: fn(&Fetched) -> f64| Sorted::new(outcome.pages.iter().map(of).collect());
    all(|page| page.html_kb).print("page", "kB");
    all(|page| page.assets_kb).print("style, script and icon", "kB");
    all(|page| page.stream_kb).print("first parts of the stream", "kB");
    let kb = all(|page| page.html_kb + page.assets_kb + page.stream_kb);
    verdicts.at_most("transferred for the live page, worst", kb.quantile(1.0), MOST_PAGE_KB, "kB");
    let ms = all(|page| page.ms);
    ms.print("until a browser has all of it", "ms");
    verdicts.at_most("until a browser has all of it, worst", ms.quantile(1.0), MOST_PAGE_MS, "ms");
}
