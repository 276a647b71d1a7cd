//! How long `swingd replay` takes for long recordings, and how much memory: 15, 30 and 60 minutes.
//!
//!     cargo build --release && cargo run --release --example hour -- RECORDING.csv [MINUTES...]
//!
//! The recording is repeated, with its times moved on, until it is as long as wanted, and replayed by the built program
//! as a process of its own. Its peak memory is read from /proc (Linux only), where the kernel keeps the high-water mark.

use anyhow::{Context, ensure};
use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use swingd::daemon::files;
use swingd::engine::sample::{Sample, SensorTime};
use swingd::engine::wire::csv::CsvWriter;

fn main() -> anyhow::Result<()> {
    let mut arguments = std::env::args_os().skip(1);
    let input = PathBuf::from(arguments.next().context("expected a recording")?);
    let minutes: Vec<u32> = arguments
        .map(|word| word.to_string_lossy().parse().context("expected minutes"))
        .collect::<anyhow::Result<_>>()?;
    let minutes = if minutes.is_empty() { vec![15, 30, 60] } else { minutes };
    let samples = read(&input)?;
    let folder = std::env::temp_dir().join(format!("swingd-hour-{}", std::process::id()));
    std::fs::create_dir_all(&folder)?;
    let told = minutes.iter().try_for_each(|&minutes| {
        let made = make(&samples, &input, &folder, minutes)?;
        report(&made, minutes)
    });
    std::fs::remove_dir_all(&folder)?;
    told
}

fn read(input: &Path) -> anyhow::Result<Vec<Sample>> {
    let mut recording = files::open(input)?;
    let (mut samples, mut batch) = (Vec::new(), Vec::new());
    while recording.read_batch(&mut batch)? {
        samples.append(&mut batch);
    }
    ensure!(samples.len() > 1, "{}: expected a longer recording", input.display());
    Ok(samples)
}

/// Writes a recording of so many minutes, its profile beside it.
fn make(samples: &[Sample], input: &Path, folder: &Path, minutes: u32) -> anyhow::Result<PathBuf> {
    let path = folder.join(format!("{minutes}-minutes.csv"));
    let profile = input.with_extension("toml");
    if profile.exists() {
        std::fs::copy(profile, path.with_extension("toml"))?;
    }
    let (first, last) = (samples[0].time, samples[samples.len() - 1].time);
    let span_s = last.seconds_since(first) + samples[1].time.seconds_since(first);
    let with_hi = samples[0].accel_hi_s_mps2.is_some();
    let mut writer = CsvWriter::new(BufWriter::new(File::create(&path)?), with_hi)?;
    for round in 0.. {
        let moved = samples.iter().map(|sample| Sample {
            time: microseconds(sample.time.0 - first.0 + span_s * f64::from(round)),
            ..*sample
        });
        let wanted: Vec<Sample> = moved.take_while(|sample| sample.time.0 < f64::from(minutes) * 60.0).collect();
        writer.write(&wanted)?;
        if wanted.len() < samples.len() {
            break;
        }
    }
    writer.finish()?;
    Ok(path)
}

/// Times as a sensor would send them, and not as sums of doubles are.
fn microseconds(time_s: f64) -> SensorTime {
    SensorTime((time_s * 1e6).round() / 1e6)
}

fn report(recording: &Path, minutes: u32) -> anyhow::Result<()> {
    let megabytes = recording.metadata()?.len() as f64 / 1e6;
    let start = Instant::now();
    let child = Command::new(program()?)
        .args(["replay", "--json"])
        .arg(recording)
        .stdout(Stdio::piped())
        .spawn()
        .context("the program is not there; expected `cargo build --release` before")?;
    let (swings, peak_kb) = follow(child)?;
    let seconds = start.elapsed().as_secs_f64();
    let peak_mb = peak_kb.map_or("?".to_owned(), |kb| format!("{:.1}", kb / 1e3));
    println!(
        "{minutes:3} min, {megabytes:6.1} MB of CSV: {seconds:.2} s, {:.3} s a minute, peak {peak_mb} MB, {swings} swings",
        seconds / f64::from(minutes)
    );
    Ok(())
}

/// The program beside which this one was built.
fn program() -> anyhow::Result<PathBuf> {
    let this = std::env::current_exe()?;
    let profile = this.parent().and_then(Path::parent);
    Ok(profile.context("expected to run by cargo")?.join("swingd"))
}

/// Waits for the process; how many swings it printed and its peak memory, kB.
fn follow(mut child: Child) -> anyhow::Result<(usize, Option<f64>)> {
    let output = child.stdout.take().context("no output")?;
    let printed = std::thread::spawn(move || std::io::read_to_string(output));
    let mut peak_kb = None;
    let status = loop {
        peak_kb = peak_memory_kb(child.id()).or(peak_kb);
        match child.try_wait()? {
            Some(status) => break status,
            None => std::thread::sleep(Duration::from_millis(5)),
        }
    };
    ensure!(status.success(), "replay failed: {status}");
    let printed = printed.join().ok().context("the reader panicked")??;
    let document: serde_json::Value = serde_json::from_str(&printed)?;
    let swings = document["swings"].as_array().context("no swings")?;
    Ok((swings.len(), peak_kb))
}

/// The line `VmHWM` of proc(5), "peak resident set size".
fn peak_memory_kb(process: u32) -> Option<f64> {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    line.split_whitespace().next()?.parse().ok()
}
