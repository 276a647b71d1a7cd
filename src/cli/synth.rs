//! `swingd synth`: simulated recordings with their truth, as files.

mod truth_file;

use crate::engine::profile::Side;
use crate::engine::wire::WireError;
use crate::engine::wire::csv::CsvWriter;
use crate::engine::wire::mcap::{AtThePlate, AtThePlateSide, McapWriter, sensor_time_ns};
use crate::sim::{EventKind, Kind, Mishaps, Preset, Scenario, Simulated, SwingKind, Visit};
use anyhow::Context;
use clap::builder::PossibleValuesParser;
use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
use truth_file::TruthFile;

const SWINGS: [(&str, SwingKind); 4] =
    [("ball", SwingKind::Ball), ("dry", SwingKind::Dry), ("check", SwingKind::Check), ("slow", SwingKind::Slow)];

const CALIBRATION: &str = "calibration";
const LESSON: &str = "lesson";
const ROUND: &str = "round";

fn kind_names() -> Vec<&'static str> {
    let swings = SWINGS.iter().map(|(name, _)| *name);
    swings.chain(EventKind::ALL.map(EventKind::key)).chain([CALIBRATION, LESSON, ROUND]).collect()
}

fn preset_names() -> Vec<&'static str> {
    Preset::ALL.map(Preset::key).to_vec()
}

/// Simulates recordings and writes NAME.csv, NAME.toml (or NAME.mcap) and NAME.truth.json for each.
#[derive(Clone, Debug, clap::Args)]
pub struct Args {
    /// What happens in each recording.
    #[arg(value_parser = PossibleValuesParser::new(kind_names()))]
    pub kind: String,
    /// The sensor.
    #[arg(long, default_value = "good", value_parser = PossibleValuesParser::new(preset_names()))]
    pub preset: String,
    /// Seed of the first recording; the next ones count on.
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Directory for the files; made if it is missing.
    #[arg(long)]
    pub out: PathBuf,
    /// How many recordings.
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=100_000))]
    pub count: u32,
    /// For a lesson: how many swings and other events; for a round: how many swings at a ball.
    #[arg(long, default_value_t = 12, value_parser = clap::value_parser!(u32).range(1..=2000))]
    pub events: u32,
    /// Another day of the same batter, who is a little another one then.
    #[arg(long, default_value_t = 0, value_parser = clap::value_parser!(u32).range(0..=100_000))]
    pub day: u32,
    /// The batter is faster by so much than drawn, m/s.
    #[arg(long, default_value_t = 0.0, allow_hyphen_values = true, value_parser = faster, value_name = "M/S")]
    pub faster_mps: f64,
    /// For a lesson: begin with the calibration routine.
    #[arg(long)]
    pub calibrated: bool,
    /// Write one NAME.mcap instead of NAME.csv and NAME.toml.
    #[arg(long)]
    pub mcap: bool,
    /// With --mcap: who is at the plate, by a name of their choice.
    #[arg(long, requires = "mcap", value_name = "NICKNAME")]
    pub athlete: Option<String>,
    /// Share of rows that are lost, in groups.
    #[arg(long, default_value_t = 0.0, value_parser = share)]
    pub lost_share: f64,
}

fn faster(text: &str) -> Result<f64, String> {
    let value = text.parse::<f64>().map_err(|_| "expected a number from -10 to 10".to_owned())?;
    (-10.0..=10.0).contains(&value).then_some(value).ok_or_else(|| "expected a number from -10 to 10".to_owned())
}

fn share(text: &str) -> Result<f64, String> {
    let value = text.parse::<f64>().map_err(|_| "expected a number from 0 to 0.9".to_owned())?;
    (0.0..=0.9).contains(&value).then_some(value).ok_or_else(|| "expected a number from 0 to 0.9".to_owned())
}

impl Args {
    fn kind(&self) -> Option<Kind> {
        let name = self.kind.as_str();
        let swing = SWINGS.iter().find(|(key, _)| *key == name).map(|&(_, kind)| Kind::Swing(kind));
        let event = || EventKind::ALL.into_iter().find(|kind| kind.key() == name).map(Kind::Event);
        let other = || match name {
            CALIBRATION => Some(Kind::Calibration),
            LESSON => Some(Kind::Lesson { events: self.events as usize, calibrated: self.calibrated }),
            ROUND => Some(Kind::Round { swings: self.events as usize }),
            _ => None,
        };
        swing.or_else(event).or_else(other)
    }

    fn scenario(&self, seed: u64) -> anyhow::Result<Scenario> {
        let kind = self.kind().with_context(|| format!("kind {:?}: expected one of {:?}", self.kind, kind_names()))?;
        let preset = Preset::ALL.into_iter().find(|preset| preset.key() == self.preset);
        let preset =
            preset.with_context(|| format!("preset {:?}: expected one of {:?}", self.preset, preset_names()))?;
        let mishaps = Mishaps { lost_share: self.lost_share, gap_s: None };
        let visit = Visit { day: self.day, faster_mps: self.faster_mps };
        Ok(Scenario { seed, preset, kind, mishaps, visit })
    }
}

/// Writes the recordings; tells and returns the names of the files without their endings.
pub fn run(args: &Args, out: &mut dyn Write) -> anyhow::Result<Vec<PathBuf>> {
    fs::create_dir_all(&args.out).with_context(|| format!("{}: cannot be made", args.out.display()))?;
    let seeds = (0..u64::from(args.count)).map(|i| args.seed.wrapping_add(i));
    seeds
        .map(|seed| {
            let scenario = args.scenario(seed)?;
            let day = if args.day > 0 { format!("-day{}", args.day) } else { String::new() };
            let stem = args.out.join(format!("{}-{}-{seed:04}{day}", args.kind, args.preset));
            write_recording(&stem, &scenario, args)?;
            writeln!(out, "{}", stem.display())?;
            Ok(stem)
        })
        .collect()
}

fn write_recording(stem: &Path, scenario: &Scenario, args: &Args) -> anyhow::Result<()> {
    let simulated = scenario.run();
    if args.mcap {
        write_file(&stem.with_extension("mcap"), |out| {
            write_mcap(&simulated, args, out).map_err(std::io::Error::other)
        })?;
    } else {
        write_file(&stem.with_extension("csv"), |out| write_samples(&simulated, out))?;
        write_file(&stem.with_extension("toml"), |out| out.write_all(simulated.profile.to_toml().as_bytes()))?;
    }
    let truth = TruthFile::of(&simulated, scenario, &args.kind);
    write_file(&stem.with_extension("truth.json"), |out| {
        serde_json::to_writer_pretty(&mut *out, &truth)?;
        writeln!(out)
    })
}

fn write_mcap(simulated: &Simulated, args: &Args, out: &mut BufWriter<File>) -> Result<(), WireError> {
    let first_ns = simulated.samples.first().map_or(0, |sample| sensor_time_ns(sample.time));
    let mut writer = McapWriter::new(out, &format!("simulated-{}", args.preset))?;
    writer.write_profile(first_ns, &simulated.profile.to_toml())?;
    let side = match simulated.profile.swing.side {
        Side::Right => AtThePlateSide::Right,
        Side::Left => AtThePlateSide::Left,
    };
    let context = AtThePlate { nickname: args.athlete.clone(), side: Some(side), ..AtThePlate::default() };
    writer.write_at_the_plate(first_ns, &context)?;
    writer.write_samples(&simulated.samples, sensor_time_ns)?;
    writer.finish().map(drop)
}

fn write_samples(simulated: &Simulated, out: &mut BufWriter<File>) -> std::io::Result<()> {
    let mut writer = CsvWriter::new(out, simulated.truth.drawn.accel_hi.is_some())?;
    writer.write(&simulated.samples)?;
    writer.finish().map(drop)
}

fn write_file(path: &Path, write: impl FnOnce(&mut BufWriter<File>) -> std::io::Result<()>) -> anyhow::Result<()> {
    let written = || -> std::io::Result<()> {
        let mut out = BufWriter::new(File::create(path)?);
        write(&mut out)?;
        out.flush()
    };
    written().with_context(|| format!("{}: cannot be written", path.display()))
}

#[cfg(test)]
mod tests;
