//! `swingd convert`: a recording from CSV with its profile to MCAP and back, without loss.
//!
//! Numbers keep their bits and the profile its text. CSV has no place for packets and for who is at the plate: such a
//! file is only converted to it when asked to leave them out.

use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, bail, ensure};

use super::targets::{Targets, cannot_write};
use crate::daemon::files::{self, EntrySource, RecordingError, samples_of, wire_error};
use crate::engine::intake::Intake;
use crate::engine::profile::Profile;
use crate::engine::sample::Sample;
use crate::engine::wire::WireError;
use crate::engine::wire::csv::CsvWriter;
use crate::engine::wire::mcap::{Entry, McapWriter, sensor_time_ns};

/// Converts a recording between CSV (with NAME.toml beside it) and MCAP.
#[derive(Clone, Debug, clap::Args)]
pub struct ConvertArgs {
    /// The recording to read.
    #[arg(value_name = "IN")]
    pub input: PathBuf,
    /// The recording to write; its ending, .csv or .mcap, says which kind.
    #[arg(value_name = "OUT")]
    pub output: PathBuf,
    /// Overwrite what is there.
    #[arg(long)]
    pub force: bool,
    /// Leave out what CSV cannot hold: packets, and who was at the plate.
    #[arg(long)]
    pub samples_only: bool,
}

/// The sensor's name in an MCAP file made from a CSV file, which has none.
const UNNAMED_SENSOR: &str = "imu";

/// Converts; what could not be used is told to `err`.
///
/// # Errors
/// If the recording cannot be read, or not be written in the form asked for; nothing is left behind then.
pub fn run(args: &ConvertArgs, err: &mut dyn Write) -> anyhow::Result<()> {
    let kind = Kind::of(&args.output)?;
    let survey = Survey::of(&args.input)?;
    for line in survey.profile_warnings(&args.input)? {
        writeln!(err, "{line}")?;
    }
    let mut targets = Targets::new(args.force);
    match kind {
        Kind::Csv => to_csv(args, &survey, &mut targets)?,
        Kind::Mcap => to_mcap(args, &survey, &mut targets)?,
    }
    targets.put_in_place()?;
    for line in &survey.issue_lines {
        writeln!(err, "{line}")?;
    }
    Ok(())
}

#[derive(Clone, Copy)]
enum Kind {
    Csv,
    Mcap,
}

impl Kind {
    fn of(output: &Path) -> anyhow::Result<Self> {
        match output.extension().map(|ending| ending.to_ascii_lowercase()) {
            Some(ending) if ending == "csv" => Ok(Self::Csv),
            Some(ending) if ending == "mcap" => Ok(Self::Mcap),
            _ => bail!("{}: the ending says no kind of recording; expected .csv or .mcap", output.display()),
        }
    }
}

/// What is in a recording, told before anything is written.
#[derive(Default)]
struct Survey {
    samples: u64,
    with_hi: bool,
    /// The profile the samples are read with.
    profile_toml: Option<String>,
    /// Packets, messages of who is at the plate, and profiles that are not the one above.
    beyond_csv: u64,
    sensor: Option<String>,
    /// Packets to samples.
    intake: Intake,
    issue_lines: Vec<String>,
}

impl Survey {
    fn of(path: &Path) -> Result<Self, RecordingError> {
        let mut survey = Self::default();
        let mut input = EntrySource::open(path)?;
        while let Some(entry) = input.next_entry().map_err(|cause| wire_error(path, cause))? {
            survey.take(entry);
        }
        survey.issue_lines = input.issue_lines(path);
        survey.sensor = input.sensor();
        if survey.samples == 0 {
            let found = "the file has no sample".to_owned();
            return Err(wire_error(path, WireError::NotMcap { record: 1, found }));
        }
        Ok(survey)
    }

    fn take(&mut self, entry: Entry) {
        match entry {
            Entry::Samples { samples, .. } => {
                self.samples += samples.len() as u64;
                self.with_hi |= samples.iter().any(|sample| sample.accel_hi_s_mps2.is_some());
            }
            Entry::Profile { toml, .. } if self.samples == 0 => {
                self.beyond_csv += u64::from(self.profile_toml.replace(toml).is_some());
            }
            Entry::Profile { .. } | Entry::AtThePlate { .. } => self.beyond_csv += 1,
            Entry::Packet(_) | Entry::Device { .. } | Entry::Link { .. } => {
                self.beyond_csv += u64::from(matches!(entry, Entry::Packet(_)));
                let samples = samples_of(&entry, &mut self.intake);
                self.samples += samples.len() as u64;
                self.with_hi |= samples.iter().any(|sample| sample.accel_hi_s_mps2.is_some());
            }
        }
    }

    /// What is unusual in the profile; an error if it cannot be used.
    fn profile_warnings(&self, path: &Path) -> Result<Vec<String>, RecordingError> {
        let Some(toml) = &self.profile_toml else {
            return Ok(Vec::new());
        };
        match Profile::parse(toml) {
            Ok((_, warnings)) => {
                Ok(warnings.iter().map(|warning| format!("{}: profile: {warning}", path.display())).collect())
            }
            Err(cause) => Err(RecordingError::Profile { path: path.into(), cause }),
        }
    }
}

fn to_csv(args: &ConvertArgs, survey: &Survey, targets: &mut Targets) -> anyhow::Result<()> {
    ensure!(
        survey.beyond_csv == 0 || args.samples_only,
        "{}: holds {} messages that CSV cannot hold (packets, who was at the plate); expected --samples-only to leave \
         them out",
        args.input.display(),
        survey.beyond_csv,
    );
    // The profile comes first into place, so that no CSV file is ever seen without its own.
    let toml_path = args.output.with_extension("toml");
    match &survey.profile_toml {
        Some(toml) => targets.create(&toml_path)?.write_all(toml.as_bytes())?,
        None => targets.clear(&toml_path)?,
    }
    let file = targets.create(&args.output)?;
    let mut writer = CsvWriter::new(BufWriter::new(file), survey.with_hi)?;
    let (mut input, mut batch) = (files::open(&args.input)?, Vec::new());
    while input.read_batch(&mut batch)? {
        writer.write(&batch).with_context(|| cannot_write(&args.output))?;
    }
    writer.finish().with_context(|| cannot_write(&args.output))?;
    Ok(())
}

fn to_mcap(args: &ConvertArgs, survey: &Survey, targets: &mut Targets) -> anyhow::Result<()> {
    let file = targets.create(&args.output)?;
    let sensor = survey.sensor.as_deref().unwrap_or(UNNAMED_SENSOR);
    let mut input = EntrySource::open(&args.input)?;
    let times = match input {
        EntrySource::Csv { .. } => MessageTimes::OfSensor,
        EntrySource::Mcap(_) => MessageTimes::AsTheyWere,
    };
    let copy = || -> Result<(), WireError> {
        let mut writer = McapWriter::new(BufWriter::new(file), sensor)?;
        while let Some(entry) = input.next_entry()? {
            match entry {
                Entry::Samples { log_time_ns, samples } => times.write(&mut writer, log_time_ns, &samples)?,
                other => writer.write_entry(&other)?,
            }
        }
        writer.finish().map(drop)
    };
    copy().with_context(|| cannot_write(&args.output))
}

/// Where the times of the messages of samples come from.
#[derive(Clone, Copy)]
enum MessageTimes {
    OfSensor,
    AsTheyWere,
}

impl MessageTimes {
    fn write<W: Write + std::io::Seek>(
        self,
        writer: &mut McapWriter<W>,
        log_time_ns: u64,
        samples: &[Sample],
    ) -> Result<(), WireError> {
        match self {
            Self::OfSensor => writer.write_samples(samples, sensor_time_ns),
            Self::AsTheyWere => writer.write_samples(samples, |_| log_time_ns),
        }
    }
}

#[cfg(test)]
mod tests;
