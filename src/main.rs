//! Arguments to one call; exit status 0 done, 1 something could not be read or written, 2 unusable arguments (by `clap`).

use clap::{Parser, Subcommand};
use std::io::{self, BufWriter, ErrorKind, Write};
use std::process::ExitCode;
use swingd::cli::{calibrate, convert, demo, one_line, recording, replay, synth, track};

/// Swings from a sensor on the knob of a bat, measured
#[derive(Parser)]
#[command(version)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
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
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let mut out = BufWriter::new(io::stdout());
    let done =
        run(arguments.command, &mut out).or_else(|error| if closed_pipe(&error) { Ok(true) } else { Err(error) });
    if let Err(error) = &done {
        eprintln!("{}", one_line(error));
    }
    if done.is_ok_and(|all_read| all_read) { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn run(command: Command, out: &mut dyn Write) -> anyhow::Result<bool> {
    let err = &mut io::stderr();
    match command {
        Command::Replay(args) => return Ok(replay::run(&args, &recording::open, out, err)?),
        Command::Track(args) => track::run(&args, err),
        Command::Calibrate(args) => calibrate::run(&args, out, err),
        Command::Synth(args) => synth::run(&args, out).map(drop),
        Command::Convert(args) => convert::run(&args, err),
        Command::Demo(args) => demo::run(&args, out),
    }
    .map(|()| true)
}

/// Whoever read our output has had enough.
fn closed_pipe(error: &anyhow::Error) -> bool {
    error.downcast_ref::<io::Error>().is_some_and(|e| e.kind() == ErrorKind::BrokenPipe)
}
