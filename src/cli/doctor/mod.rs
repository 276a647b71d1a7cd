//! `swingd doctor`: what the service needs, checked, and what to do about what is missing.
//!
//! It makes the data folder where it is missing, as the service would, and leaves nothing else behind. Every check ends
//! within seconds, whatever the disk or the system does.

mod disk;
mod files;
mod host;
mod store;
#[cfg(test)]
mod tests;

use super::config::{Config, ConfigArgs, ConfigError, Places, UnknownVariable};
use super::one_line;
use crate::daemon::clock::{Clock, SystemClock};
use crate::daemon::lock::{Occupancy, occupancy};
use crate::daemon::radio::RadioError;
use serde::Serialize;
use std::io::Write;

/// What `doctor` is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct DoctorArgs {
    /// One JSON document instead of lines
    #[arg(long)]
    pub json: bool,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

/// How a check came out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// As it should be.
    Ok,
    /// It works, worse than it could.
    Warning,
    /// It does not work.
    Problem,
    /// Nobody looked.
    NotChecked,
}

impl Verdict {
    fn words(self) -> &'static str {
        match self {
            Self::Ok => "ok",
            Self::Warning => "warning",
            Self::Problem => "problem",
            Self::NotChecked => "not checked",
        }
    }
}

/// One thing that was looked at.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Check {
    /// What.
    pub name: &'static str,
    /// How it came out.
    pub verdict: Verdict,
    /// What was found.
    pub found: String,
    /// What to do about it.
    pub remedy: Option<String>,
}

impl Check {
    fn ok(name: &'static str, found: impl Into<String>) -> Self {
        Self { name, verdict: Verdict::Ok, found: found.into(), remedy: None }
    }

    fn warning(name: &'static str, found: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { name, verdict: Verdict::Warning, found: found.into(), remedy: Some(remedy.into()) }
    }

    fn problem(name: &'static str, found: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { verdict: Verdict::Problem, ..Self::warning(name, found, remedy) }
    }

    fn not_checked(name: &'static str, why: impl Into<String>) -> Self {
        Self { verdict: Verdict::NotChecked, ..Self::ok(name, why) }
    }

    fn line(&self) -> String {
        let remedy = self.remedy.iter().map(|remedy| format!("; {remedy}")).collect::<String>();
        let (verdict, found) = (self.verdict.words(), one_line(&self.found));
        format!("{verdict:<12}{:<15}{found}{}", self.name, one_line(&remedy))
    }
}

/// Checks everything and prints a line each; whether there is no problem. `radio` tells whether Bluetooth can be used,
/// or `None` where that is not known.
///
/// # Errors
/// If `out` cannot be written to.
pub fn run(
    args: &DoctorArgs,
    radio: impl FnOnce() -> Option<Result<(), RadioError>>,
    out: &mut dyn Write,
) -> anyhow::Result<bool> {
    let places = Places::of_platform();
    let config = Config::load(&args.config, std::env::vars_os(), &places);
    let mut checks = vec![host::radio(radio()), host::clock(SystemClock::new().now(), host::is_synchronised())];
    checks.extend(of_configuration(config));
    let is_well = checks.iter().all(|check| check.verdict != Verdict::Problem);
    if args.json {
        writeln!(out, "{}", serde_json::json!({ "no_problem": is_well, "checks": checks }))?;
    } else {
        for check in &checks {
            writeln!(out, "{}", check.line())?;
        }
    }
    out.flush()?;
    Ok(is_well)
}

/// The configuration, and all that depends on it.
fn of_configuration(config: Result<(Config, Vec<UnknownVariable>), ConfigError>) -> Vec<Check> {
    let (config, unknown_variables) = match config {
        Ok(loaded) => loaded,
        Err(error) => {
            let remedy = "correct it; until then data folder, log, files, store and port are not checked";
            return vec![Check::problem("configuration", error.to_string(), remedy)];
        }
    };
    let read = match &config.file {
        Some(path) => format!("read from {}", path.display()),
        None => "no file; defaults, environment and flags".to_owned(),
    };
    let unknown = |it: UnknownVariable| Check::warning("environment", it.to_string(), "rename or remove it");
    let mut checks = vec![Check::ok("configuration", read)];
    checks.extend(unknown_variables.into_iter().map(unknown));
    let folder = &config.data_folder.value;
    let occupancy = occupancy(folder);
    checks.push(disk::data_folder(folder, config.recording.near_full_mb.value));
    checks.push(disk::log_folder(config.log_folder().as_deref()));
    checks.push(files::profiles(&config.sensors));
    checks.push(files::descriptors(&config.sensors));
    checks.push(store::store(&config.store()));
    checks.push(match &occupancy {
        Ok(Occupancy::Free) => Check::ok("instance", "none runs on this data folder"),
        Ok(Occupancy::Held(Some(holder))) => Check::ok("instance", format!("one runs: {holder}")),
        Ok(Occupancy::Held(None)) => Check::ok("instance", "one runs; it does not tell which"),
        Err(error) => Check::problem("instance", format!("lock: {error}"), "make the file readable for this user"),
    });
    checks.push(host::port(config.http_listen.value, &occupancy.unwrap_or(Occupancy::Free)));
    checks
}
