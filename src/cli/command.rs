//! The commands by name: a line each in [`Command`], and one in [`run`].

use super::{
    amounts, athletes, backup, ball_results, calibrate, compare, config, convert, demo, doctor, erase, export,
};
use super::{film, homework, import, lessons};
use super::{pair, reanalyse, replay, report, scan, serve, swings, synth, track};
use crate::daemon::files;
use crate::daemon::radio::ble::BleRadio;
use crate::daemon::radio::{Radio, RadioError};
use std::io::{self, Write};

/// What the program is asked to do.
#[derive(Debug, clap::Subcommand)]
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
    /// Show the cage screen with a bundled lesson, without a sensor
    Demo(demo::DemoArgs),
    /// Serve: find sensors, record what they send, tell swings as they happen
    Serve(Box<serve::ServeArgs>),
    /// Show a code by which another device gets in
    Pair(Box<pair::PairArgs>),
    /// List athletes, or enter one
    Athletes(Box<athletes::AthletesArgs>),
    /// List lessons and practice
    Lessons(Box<lessons::LessonsArgs>),
    /// List swings with their numbers
    Swings(Box<swings::SwingsArgs>),
    /// Compare two groups of swings, then and now: has it really changed?
    Compare(Box<compare::CompareArgs>),
    /// List the changes that matter in a comparison, or say some
    Amounts(Box<amounts::AmountsArgs>),
    /// List an athlete's homework, give some, say that it is done, or remove it
    Homework(Box<homework::HomeworkArgs>),
    /// Find where a lesson's swings are in the sound of a clip
    Film(Box<film::FilmArgs>),
    /// Take recordings made elsewhere into an athlete's record
    Import(Box<import::ImportArgs>),
    /// Write all of one athlete into one archive
    Export(Box<export::ExportArgs>),
    /// Set two groups of an athlete's swings side by side, as one file to take home
    Report(Box<report::ReportArgs>),
    /// Write swings into a table for notebooks: CSV or Parquet
    ExportSwings(Box<swings::ExportSwingsArgs>),
    /// Erase an athlete
    Erase(Box<erase::EraseArgs>),
    /// List what other devices measured of the ball, enter it, or take in a table of it
    BallResults(Box<ball_results::BallResultsArgs>),
    /// Measure recordings of the record again
    Reanalyse(Box<reanalyse::ReanalyseArgs>),
    /// Copy the record into a new folder, also while the service works
    Backup(Box<backup::BackupArgs>),
    /// Put a backup in place of the record
    Restore(Box<backup::RestoreArgs>),
    /// List the Bluetooth sensors that are near
    Scan(Box<scan::ScanArgs>),
    /// Print the configuration in force and where each value comes from
    Config(Box<config::ShowArgs>),
    /// Check what the service needs: radio, disk, clock, port, configuration
    Doctor(Box<doctor::DoctorArgs>),
}

/// Does it; whether all was well.
///
/// # Errors
/// If something could not be read or written, in words for a person.
pub fn run(command: Command, out: &mut dyn Write) -> anyhow::Result<bool> {
    let err = &mut io::stderr();
    match command {
        Command::Replay(args) => Ok(replay::run(&args, &files::open, out, err)?),
        Command::Track(args) => done(track::run(&args, err)),
        Command::Calibrate(args) => done(calibrate::run(&args, out, err)),
        Command::Synth(args) => done(synth::run(&args, out).map(drop)),
        Command::Convert(args) => done(convert::run(&args, err)),
        Command::Demo(args) => done(demo::run(&args, out)),
        Command::Config(args) => done(config::run(&args, out, err)),
        Command::Serve(args) => done(serve::run(&args, out, err)),
        Command::Pair(args) => done(pair::run(&args, out, err)),
        Command::Athletes(args) => done(athletes::run(&args, out, err)),
        Command::Lessons(args) => done(lessons::run(&args, out, err)),
        Command::Swings(args) => done(swings::run(&args, out, err)),
        Command::Compare(args) => done(compare::run(&args, out, err)),
        Command::Amounts(args) => done(amounts::run(&args, out, err)),
        Command::Homework(args) => done(homework::run(&args, out, err)),
        Command::Film(args) => film::run(&args, out, err),
        Command::Import(args) => import::run(&args, out, err),
        Command::Export(args) => done(export::run(&args, out, err)),
        Command::Report(args) => done(report::run(&args, out, err)),
        Command::ExportSwings(args) => done(swings::export(&args, out, err)),
        Command::Erase(args) => erase::run(&args, out, err),
        Command::BallResults(args) => ball_results::run(&args, out, err),
        Command::Reanalyse(args) => reanalyse::run(&args, out, err),
        Command::Backup(args) => done(backup::run_backup(&args, out, err)),
        Command::Restore(args) => done(backup::run_restore(&args, out, err)),
        Command::Scan(args) => done(scan::run(&args, out, err)),
        Command::Doctor(args) => doctor::run(&args, radio_health, out),
    }
}

/// Whether Bluetooth can be used; `None` if nothing can be asked.
fn radio_health() -> Option<Result<(), RadioError>> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().ok()?;
    let health = runtime.block_on(BleRadio::default().health());
    runtime.shutdown_background();
    Some(health)
}

fn done(ran: anyhow::Result<()>) -> anyhow::Result<bool> {
    ran.map(|()| true)
}
