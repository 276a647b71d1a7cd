//! Arguments to one call; exit status 0 done, 1 something could not be read or written, 2 unusable arguments (by `clap`).

use clap::Parser;
use std::io::{self, BufWriter, ErrorKind};
use std::process::ExitCode;
use swingd::cli::{command::Command, one_line};

/// Swings from a sensor on the knob of a bat, measured
#[derive(Parser)]
#[command(version)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let mut out = BufWriter::new(io::stdout());
    let done = arguments.command.run(&mut out, &mut io::stderr());
    let done = done.or_else(|error| if closed_pipe(&error) { Ok(true) } else { Err(error) });
    if let Err(error) = &done {
        eprintln!("{}", one_line(error));
    }
    if done.is_ok_and(|all_read| all_read) { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// Whoever read our output has had enough.
fn closed_pipe(error: &anyhow::Error) -> bool {
    error.downcast_ref::<io::Error>().is_some_and(|e| e.kind() == ErrorKind::BrokenPipe)
}
