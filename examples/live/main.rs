//! What the live service must reach, measured: the load of eight sensors, how soon a swing is told, whether memory stays
//! flat over a day, and what a packet costs.
//!
//! ```text
//! cargo run --release --example live -- [load | latency | day | cost | all, the default]
//! ```
//!
//! Every figure stands beside what it must be and beside the machine's load averages, as other programs make them worse;
//! the exit status is 1 if one is missed. Motion, sensors and front-ends are simulated here and follow from seeds; time, disk
//! and sockets are this machine's. Linux only: figures of CPU and memory are read from /proc.
//!
//! `latency [seconds]` and `load [seconds]` take as long as they are told (300 and 30 s); `day [hours]` too (8 hours, some
//! minutes and 400 MB of disk).

mod cost;
mod day;
mod latency;
mod load;
mod machine;
mod motion;
mod rig;
mod sse;
mod verdict;

use anyhow::{Context, bail};
use std::process::ExitCode;
use verdict::Verdicts;

fn main() -> anyhow::Result<ExitCode> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let part = arguments.first().map_or("all", String::as_str);
    let size: Option<f64> = arguments.get(1).map(|word| word.parse().context("expected a number")).transpose()?;
    let mut verdicts = Verdicts::default();
    match part {
        "load" => load::run(size.unwrap_or(load::SECONDS), &mut verdicts)?,
        "latency" => latency::run(size.unwrap_or(latency::SECONDS), &mut verdicts)?,
        "day" => day::run(size.unwrap_or(day::HOURS), &mut verdicts)?,
        "cost" => cost::run()?,
        // A process of its own, so that the memory of the simulation is not the service's.
        "send-day" => return day::send(size.unwrap_or(day::HOURS)).map(|()| ExitCode::SUCCESS),
        "all" => {
            cost::run()?;
            load::run(load::SECONDS, &mut verdicts)?;
            day::run(day::HOURS, &mut verdicts)?;
            latency::run(latency::SECONDS, &mut verdicts)?;
        }
        _ => bail!("{part}: expected load, latency, day, cost or all"),
    }
    Ok(if verdicts.all_hold() { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}
