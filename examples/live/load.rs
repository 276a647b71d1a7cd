//! Eight sensors at once: nothing lost, and how much of a processor it takes.

use super::machine::load_average;
use super::motion::{Lesson, PER_PACKET, densest};
use super::rig::{Outcome, Played, play};
use super::verdict::Verdicts;

pub const SECONDS: f64 = 30.0;
pub const SENSORS: usize = 8;
/// Events that fill the time, one for so long, s: most take longer.
const EVENT_S: f64 = 8.0;
/// Seeds of their own, used nowhere else, and how many are looked at for each sensor.
const FIRST_SEED: u64 = 810_000;
const CANDIDATES: usize = 20;
const MOST_CORES: f64 = 0.5;

/// A lesson for each sensor that lasts so long, with many swings.
pub fn lessons(sensors: usize, seconds: f64, first_seed: u64) -> anyhow::Result<Vec<Lesson>> {
    let events = (seconds / EVENT_S).ceil() as usize;
    let candidates = first_seed..first_seed + (CANDIDATES * sensors) as u64;
    let seeds = densest(candidates, events, seconds, sensors);
    anyhow::ensure!(seeds.len() == sensors, "too few lessons last {seconds} s");
    seeds.into_iter().map(|seed| Lesson::simulated(seed, events)).collect()
}

pub fn run(seconds: f64, verdicts: &mut Verdicts) -> anyhow::Result<()> {
    println!("load: {SENSORS} sensors at 1 kHz for {seconds} s, a front-end each (load before {})", load_average());
    let Outcome { sensors, seconds, cpu_s, threads_cpu_s } = play(lessons(SENSORS, seconds, FIRST_SEED)?, seconds)?;
    let sum = |of: &dyn Fn(&Played) -> f64| sensors.iter().map(of).sum::<f64>();
    let count = |key: &'static str| sum(&|it: &Played| it.state["counts"][key].as_f64().unwrap_or(f64::NAN));
    let recording = |key: &'static str| sum(&|it: &Played| it.state["recording"][key].as_f64().unwrap_or(f64::NAN));
    let sent = sum(&|it| (it.handed_over.len() * PER_PACKET) as f64);
    let entries = sum(&|it| (it.handed_over.len() + it.lesson.preamble(0).len()) as f64);
    let told = sum(&|it| it.heard.iter().filter(|heard| heard.stage == "streaming").count() as f64);
    println!("  {sent} samples were sent and {told} swings told");
    verdicts.at_most("samples sent that did not reach the analysis", sent - count("samples"), 0.0, "");
    verdicts.at_most("samples counted as lost", count("lost_samples"), 0.0, "");
    verdicts.at_most("packets dropped for want of room", count("dropped"), 0.0, "");
    verdicts.at_most("entries not in the recordings", entries - recording("entries"), 0.0, "");
    verdicts.at_least("swings told", told, 1.0, "");
    let what = "CPU of all, simulated sensors and front-ends included";
    verdicts.at_most(what, cpu_s / seconds, MOST_CORES, "cores");
    for (name, used_s) in threads_cpu_s {
        println!("    threads {name:18} {:.4} cores", used_s / seconds);
    }
    Ok(())
}
