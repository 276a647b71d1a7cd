//! The program's commands: which there are, and one call for each.

use super::{calibrate, convert, demo, recording, replay, scan, synth, track};
use clap::Subcommand;
use std::io::Write;

/// What the program can be told to do.
#[derive(Subcommand)]
pub enum Command {
    /// Measure the swings of recordings
    Replay(replay::ReplayArgs),
    /// Write the motion of the sensor over a whole recording, as CSV
    Track(track::TrackArgs),
    /// Learn a sensor's errors and its mount's tilt from recordings, into a profile
    Calibrate(calibrate::CalibrateArgs),
    /// Simulate recordings with their truth
    Synth(synth::Args),
    /// Convert a recording between CSV (with NAME.toml beside it) and MCAP
    Convert(convert::ConvertArgs),
    /// Measure the bundled lesson and show it
    Demo(demo::DemoArgs),
    /// List the Bluetooth sensors that are near
    Scan(scan::ScanArgs),
}

impl Command {
    /// Does it; false if it was done, but not everything could be read.
    ///
    /// # Errors
    /// If it could not be done.
    pub fn run(self, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<bool> {
        match self {
            Self::Replay(args) => return Ok(replay::run(&args, &recording::open, out, err)?),
            Self::Track(args) => track::run(&args, err),
            Self::Calibrate(args) => calibrate::run(&args, out, err),
            Self::Synth(args) => synth::run(&args, out).map(drop),
            Self::Convert(args) => convert::run(&args, err),
            Self::Demo(args) => demo::run(&args, out),
            Self::Scan(args) => scan::run(&args, &scan::own_profile, out, err),
        }
        .map(|()| true)
    }
}
