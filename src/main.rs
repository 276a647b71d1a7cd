//! The command line of swingd.

use std::process::ExitCode;

use clap::Parser;
use swingd::cli::convert::{self, ConvertArgs};

#[derive(Parser)]
enum Command {
    /// Convert a recording between CSV (with NAME.toml beside it) and MCAP.
    Convert(ConvertArgs),
}

fn main() -> ExitCode {
    let Command::Convert(args) = Command::parse();
    convert::run(&args).unwrap_or_else(|error| {
        eprintln!("{error:#}");
        ExitCode::FAILURE
    })
}
