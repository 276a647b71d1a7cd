//! How often the comparison of two groups of swings is wrong, and how often it can tell: a row a layout of days and
//! effect of the day.
//!
//! ```text
//! cargo run --release --example honesty -- [athletes a row, 10000 by default]
//! ```
//!
//! Exit status 1 if more than 5 % are told wrongly, beyond what chance makes of it. Every figure follows from seeds.

mod athletes;

use athletes::{LAYOUTS, Layout, Tally};
use std::process::ExitCode;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU32, Ordering};
use swingd::engine::metrics::Metric;
use swingd::sim::Random;

/// What a day adds, as a share of the spread from swing to swing.
const DAY_SHARES: [f64; 3] = [0.0, 0.3, 0.5];
/// 135 shares are looked at; one in a hundred runs would have one of them so far above 5 % by chance.
const DEVIATIONS: f64 = 3.8;

fn main() -> ExitCode {
    let asked = std::env::args().nth(1).unwrap_or_else(|| "10000".to_owned());
    let Some(athletes) = asked.parse().ok().filter(|athletes| *athletes > 0) else {
        eprintln!("{asked}: expected a number of athletes, 1 or more");
        return ExitCode::FAILURE;
    };
    println!(
        "of {athletes} athletes each, %: falsely changed, of no change | of the others, where one number changed by"
    );
    println!("one spread | by very much | falsely not changed | intervals that hold | told of a change of one spread:");
    println!("of all numbers, of one | told of none\n");
    println!("{:32} day    false   beside     much     same     held      all      one     none", "days");
    let mut is_honest = true;
    for (row, layout) in LAYOUTS.iter().enumerate() {
        for (column, day_share) in DAY_SHARES.into_iter().enumerate() {
            let tally = tallied(layout, day_share, athletes, (row * DAY_SHARES.len() + column) as u64);
            print(layout, day_share, &tally);
            is_honest &= tally.is_honest(DEVIATIONS);
        }
    }
    println!("\n{}", if is_honest { "nothing beyond 5 %" } else { "MORE THAN 5 %, OR NOT THE SAME AS A WHOLE" });
    if is_honest { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// Athlete by athlete, each with a seed of its own, on all processors.
fn tallied(layout: &Layout, day_share: f64, athletes: u32, place: u64) -> Tally {
    let (next, sum) = (AtomicU32::new(0), Mutex::new(Tally::default()));
    let work = || {
        let mut own = Tally::default();
        loop {
            let athlete = next.fetch_add(1, Ordering::Relaxed);
            if athlete >= athletes {
                break;
            }
            own.add(layout, day_share, athlete, &mut Random::new((place << 32) | u64::from(athlete)));
        }
        let mut sum = sum.lock().expect("no thread panics");
        *sum = sum.with(own);
    };
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
            scope.spawn(work);
        }
    });
    sum.into_inner().expect("no thread panics")
}

fn print(layout: &Layout, day_share: f64, tally: &Tally) {
    let (athletes, numbers) = (f64::from(tally.athletes), f64::from(tally.athletes) * Metric::COUNT as f64);
    let shares = [
        f64::from(tally.falsely_changed) / athletes,
        f64::from(tally.falsely_beside_one) / athletes,
        f64::from(tally.falsely_beside_much) / athletes,
        f64::from(tally.falsely_same) / athletes,
        f64::from(tally.held) / numbers,
        f64::from(tally.told_of_all) / numbers,
        f64::from(tally.told_of_one) / athletes,
        f64::from(tally.told_same) / numbers,
    ];
    let shares: Vec<String> = shares.iter().map(|share| format!("{:8.2}", 100.0 * share)).collect();
    println!("{:32} {day_share:.1} {}", layout.name, shares.join(" "));
}
