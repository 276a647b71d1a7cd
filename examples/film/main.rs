//! Whether simulated clips are matched with their swings rightly or refused, and how long an hour of sound takes.
//!
//! ```text
//! cargo run --release --example film -- [clips, 1000 by default] [first seed]
//! ```
//!
//! Kinds of clips in turn: ordinary, even intervals, one or two swings, none of the stored swings, loud neighbours, a machine, much noise,
//! many swings missed. Ends with status 1 if any film time is wrong by more than 5 ms, if fewer clips are right than
//! [`LEAST_RIGHT`] asks of those that a listener could match, or if an hour takes more than 10 s; with status 2 if it was asked wrongly.
//! The constants were chosen on seeds below 20,000 and, once, 700,000 to 700,999; those that are counted here begin at 710,000.

mod hour;
mod judge;

use judge::{Judged, judge};
use std::collections::BTreeMap;
use std::process::ExitCode;
use std::thread;
use std::time::Instant;
use swingd::sim::sound::SoundKind;

const FIRST_SEED: u64 = 710_000;
const THREADS: u64 = 2;
/// So many of the clips that a listener could match are right, at least, so that a run in which everything is refused does not
/// pass. Of seeds 10,000 to 10,399, on which the constants were chosen, about eight in ten clips with six hits heard are.
const LEAST_RIGHT: f64 = 0.7;
const USAGE: &str = "expected: film [clips, at least 1] [first seed]";

fn main() -> ExitCode {
    let (count, first) = match asked(std::env::args().skip(1)) {
        Ok(asked) => asked,
        Err(words) => {
            eprintln!("{words}; {USAGE}");
            return ExitCode::from(2);
        }
    };
    let begun = Instant::now();
    let judged = all(first, count);
    tell(&judged);
    println!("{:.0} s for all, simulating included", begun.elapsed().as_secs_f64());
    let (is_never_wrong, is_often_right) = (is_never_wrong(&judged), is_often_right(&judged));
    let is_in_time = hour::is_in_time();
    if is_never_wrong && is_often_right && is_in_time { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// How many clips, from which seed on.
fn asked(arguments: impl Iterator<Item = String>) -> Result<(u64, u64), String> {
    let numbers = arguments.map(|text| text.parse::<u64>().map_err(|_| format!("{text}: no number")));
    let numbers = numbers.collect::<Result<Vec<u64>, String>>()?;
    let (count, first) = match numbers[..] {
        [] => (1000, FIRST_SEED),
        [count] => (count, FIRST_SEED),
        [count, first] => (count, first),
        _ => return Err("more than two numbers".to_owned()),
    };
    if count == 0 {
        return Err("0 clips show nothing".to_owned());
    }
    if first.checked_add(count).is_none() {
        return Err(format!("{first}: too large a seed"));
    }
    Ok((count, first))
}

fn all(first: u64, count: u64) -> Vec<(u64, Judged)> {
    let part = |thread: u64| {
        let seeds = (first..first + count).filter(move |seed| seed % THREADS == thread);
        seeds.map(|seed| (seed, judge(seed, None))).collect::<Vec<_>>()
    };
    thread::scope(|scope| {
        let running: Vec<_> = (0..THREADS).map(|thread| scope.spawn(move || part(thread))).collect();
        running.into_iter().flat_map(|thread| thread.join().expect("a thread that ends well")).collect()
    })
}

fn is_never_wrong(all: &[(u64, Judged)]) -> bool {
    let wrong: Vec<&(u64, Judged)> = all.iter().filter(|(_, judged)| judged.is_wrong()).collect();
    for (seed, judged) in &wrong {
        println!("WRONG: seed {seed}, {:?}: {:.1} ms", judged.kind, judged.error_s * 1e3);
    }
    wrong.is_empty()
}

/// Whether as many are right as must be; three standard errors of a share are let pass, so that few clips do not fail by chance.
fn is_often_right(all: &[(u64, Judged)]) -> bool {
    let for_a_listener = || all.iter().map(|(_, judged)| judged).filter(|judged| judged.is_for_a_listener);
    let (clips, right) = (for_a_listener().count(), for_a_listener().filter(|judged| judged.is_right()).count());
    let by_chance = 3.0 * (clips as f64 * LEAST_RIGHT * (1.0 - LEAST_RIGHT)).sqrt();
    let least = (clips as f64 * LEAST_RIGHT - by_chance).ceil().max(1.0);
    println!("clips that a listener could match: {right} of {clips} right; at least {least:.0} must be");
    right as f64 >= least
}

fn tell(all: &[(u64, Judged)]) {
    let count = |is: &dyn Fn(&Judged) -> bool| all.iter().filter(|(_, judged)| is(judged)).count();
    println!(
        "{} clips: {} right, {} refused, {} wrong",
        all.len(),
        count(&Judged::is_right),
        count(&|j| j.refused.is_some()),
        count(&Judged::is_wrong)
    );
    let mut refused: BTreeMap<(SoundKind, &str), usize> = BTreeMap::new();
    for (_, judged) in all {
        *refused.entry((judged.kind, judged.refused.unwrap_or("matched"))).or_default() += 1;
    }
    for ((kind, word), count) in refused {
        println!("  {:<12}{word:<14}{count:>5}", format!("{kind:?}"));
    }
    for kind in SoundKind::ALL {
        let clips = count(&|judged| judged.kind == kind && judged.is_for_a_listener);
        let right = count(&|judged| judged.kind == kind && judged.is_for_a_listener && judged.is_right());
        println!("  {:<12}{right} of {clips} that a listener could match", format!("{kind:?}"));
    }
    let ordinary = count(&Judged::is_ordinary);
    let matched = count(&|judged| judged.is_ordinary() && judged.is_right());
    println!("ordinary clips with {} swings or more heard: {matched} of {ordinary} matched", judge::ENOUGH);
    errors(all);
}

fn errors(all: &[(u64, Judged)]) {
    let matched: Vec<&Judged> =
        all.iter().map(|(_, judged)| judged).filter(|judged| judged.refused.is_none()).collect();
    let mut errors: Vec<f64> = matched.iter().map(|judged| judged.error_s * 1e3).collect();
    errors.sort_by(f64::total_cmp);
    let at = |share: f64| errors.get((share * errors.len().saturating_sub(1) as f64) as usize).copied().unwrap_or(0.0);
    println!("largest error in a clip: p50 {:.2} ms, p95 {:.2} ms, max {:.2} ms", at(0.5), at(0.95), at(1.0));
    let share = |k: usize| matched.iter().filter(|judged| judged.covered[k]).count() as f64 / matched.len() as f64;
    println!("offsets within 1 σ {:.3}, within 1.96 σ {:.3}", share(0), share(1));
}
