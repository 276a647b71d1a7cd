//! `swingd calibrate`: what recordings teach of a sensor and its mount, as a profile.

use super::targets::{Targets, cannot_write};
use crate::daemon::files::{self, OpenRecording};
use crate::engine::motion::routine::{Hold, Routine, Spin, routines};
use crate::engine::motion::state::{parameter, prior};
use crate::engine::profile::{Calibration, Profile};
use crate::engine::{Engine, Event};
use anyhow::Context;
use std::io::Write;
use std::path::PathBuf;

/// What `calibrate` is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct CalibrateArgs {
    /// Recordings of one sensor on one mount, in the order of time; the first one's profile is the one that is filled in
    #[arg(required = true, value_name = "FILE")]
    pub files: Vec<PathBuf>,
    /// The profile to write
    #[arg(long, value_name = "PROFILE.toml")]
    pub out: PathBuf,
    /// Overwrite what is there
    #[arg(long)]
    pub force: bool,
}

/// What one recording held that teaches.
#[derive(Debug, Default)]
struct Lessons {
    holds: Vec<Hold>,
    spins: Vec<Spin>,
    swings: u64,
}

/// Reads the recordings one after the other, each with what the ones before taught, and writes the profile.
///
/// # Errors
/// If a recording cannot be read or the profile not be written; nothing is left behind then.
pub fn run(args: &CalibrateArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<()> {
    let mut profile: Option<Profile> = None;
    let mut learnt = None;
    for file in &args.files {
        let mut opened = files::open(file)?;
        for warning in opened.profile_warnings() {
            writeln!(err, "{warning}")?;
        }
        let known = profile.take().unwrap_or_else(|| opened.profile().clone());
        let (calibration, lessons) = learn(&mut opened, &known)?;
        for line in opened.issue_lines() {
            writeln!(err, "{line}")?;
        }
        tell(out, &file.display().to_string(), &lessons)?;
        let calibration = calibration.with_context(|| format!("{}: nothing can be learnt from it", file.display()))?;
        let next = calibration.after_a_pause(&known.sensor);
        learnt = Some(calibration);
        profile = Some(Profile { calibration: Some(next), ..known });
    }
    let Some((profile, learnt)) = profile.zip(learnt) else { return Ok(()) };
    write_table(out, &profile, &learnt)?;
    let mut targets = Targets::new(args.force);
    let mut file = targets.create(&args.out)?;
    file.write_all(profile.to_toml().as_bytes()).with_context(|| cannot_write(&args.out))?;
    drop(file);
    targets.put_in_place()?;
    writeln!(out, "Profile: {}", args.out.display())?;
    Ok(out.flush()?)
}

/// What a recording teaches on top of what is known.
fn learn(opened: &mut OpenRecording, known: &Profile) -> anyhow::Result<(Option<Calibration>, Lessons)> {
    let mut engine = Engine::new(known.clone());
    let (mut lessons, mut batch) = (Lessons::default(), Vec::new());
    while opened.read_batch(&mut batch)? {
        lessons.take(engine.push(&batch));
    }
    lessons.take(engine.finish());
    Ok((engine.calibration(), lessons))
}

impl Lessons {
    fn take(&mut self, events: Vec<Event>) {
        for event in events {
            match event {
                Event::Rest { from, to, up_b } => self.holds.push(Hold { from_s: from.0, to_s: to.0, up_b }),
                Event::Roll { from, to, angle_rad } => {
                    self.spins.push(Spin { from_s: from.0, to_s: to.0, angle_rad });
                }
                Event::Swing { number, .. } => self.swings = self.swings.max(number + 1),
            }
        }
    }
}

fn tell(out: &mut dyn Write, name: &str, lessons: &Lessons) -> std::io::Result<()> {
    let (rests, rolls) = (lessons.holds.len(), lessons.spins.len());
    writeln!(out, "{name}: {rests} rests, {rolls} rolls about the bat's axis, {} swings", lessons.swings)?;
    for Routine { from_s, to_s } in routines(&lessons.holds, &lessons.spins) {
        writeln!(out, "  calibration routine from {from_s:.1} s to {to_s:.1} s")?;
    }
    Ok(())
}

/// Parameters that are told, with how a number in SI units is shown.
const TOLD: [(&str, usize, usize, f64, &str); 7] = [
    ("gyro bias", parameter::GYRO_BIAS, 3, 1e3, "mrad/s"),
    ("gyro scale and misalignment", parameter::GYRO_MATRIX, 9, 1e3, "1e-3"),
    ("gyro's sensitivity to force", parameter::GYRO_FORCE, 9, 1e3, "mrad/s per m/s²"),
    ("accelerometer bias", parameter::ACCEL_BIAS, 3, 1.0, "m/s²"),
    ("accelerometer scale and misalignment", parameter::ACCEL_MATRIX, 9, 1e3, "1e-3"),
    ("mount tilt about x", parameter::TILT, 1, 1e3, "mrad"),
    ("mount tilt about y", parameter::TILT + 1, 1, 1e3, "mrad"),
];

/// 1 σ before and after, as the root mean square over a kind of parameter, and the values where they are few.
fn write_table(out: &mut dyn Write, profile: &Profile, calibration: &Calibration) -> std::io::Result<()> {
    let before = prior(&profile.sensor, profile.mount.tilt_error_rad);
    writeln!(out, "{:37} {:>9} {:>9}  values", "", "σ before", "σ after")?;
    for (name, at, count, factor, unit) in TOLD {
        let rms = |c: &Calibration| {
            let sum: f64 = (at..at + count).map(|i| c.covariance[(i, i)]).sum();
            factor * (sum / count as f64).sqrt()
        };
        let values: Vec<String> = (at..at + count).map(|i| format!("{:.2}", factor * calibration.mean[i])).collect();
        writeln!(out, "{name:37} {:9.3} {:9.3}  {} {unit}", rms(&before), rms(calibration), values.join(" "))?;
    }
    Ok(())
}
