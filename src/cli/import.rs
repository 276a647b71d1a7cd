//! `swingd import`: recordings made elsewhere into an athlete's record.

use super::ask::{athlete, bat_id, instant, open, print_json, shown};
use super::config::ConfigArgs;
use super::door::{Address, Answer, Content, Door, DoorError, Part};
use super::one_line;
use super::reanalyse::Outcome;
use crate::engine::wire::mcap::MAGIC;
use axum::http::Method;
use jiff::Timestamp;
use serde::Deserialize;
use std::fs::File;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use uuid::Uuid;

/// What `import` is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct ImportArgs {
    /// Recordings: MCAP, or CSV with a profile beside it (NAME.toml)
    #[arg(required = true, value_name = "FILE")]
    pub files: Vec<PathBuf>,
    /// Whose swings are in them: nickname or id
    #[arg(long, value_name = "NAME")]
    pub athlete: String,
    /// Practice where nothing is said
    #[arg(long, value_parser = ["lesson", "practice"])]
    pub occasion: Option<String>,
    /// From which side, where the recordings do not say
    #[arg(long, value_parser = ["right", "left"])]
    pub side: Option<String>,
    /// With what: a bat's name or id
    #[arg(long, value_name = "NAME")]
    pub bat: Option<String>,
    /// What was practised
    #[arg(long)]
    pub drill: Option<String>,
    /// Where the ball came from
    #[arg(long, value_parser = ["tee", "toss", "front_toss", "machine", "live", "dry"])]
    pub ball_source: Option<String>,
    /// When it began, of a recording that does not say (CSV), such as 2026-11-25T16:10:18Z
    #[arg(long, value_name = "INSTANT")]
    pub begun: Option<Timestamp>,
    /// Print what the HTTP API answers, a file a line
    #[arg(long)]
    pub json: bool,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

#[derive(Deserialize)]
struct Imported {
    recording: Recording,
    outcome: Outcome,
}

#[derive(Deserialize)]
struct Recording {
    id: Uuid,
    #[serde(deserialize_with = "instant")]
    begun: Timestamp,
}

/// Takes them in, one after the other; whether all were. One that is refused does not keep the others out.
///
/// # Errors
/// If the athlete or the bat is not known, or the record cannot be reached.
pub fn run(args: &ImportArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<bool> {
    let door = open(&args.config, err)?;
    let athlete = athlete(&door, &args.athlete)?;
    let address = Address::new(&["v1", "recordings"])
        .with("athlete", Some(athlete.id.to_string()))
        .with("occasion", args.occasion.as_ref())
        .with("side", args.side.as_ref())
        .with("bat", bat_id(&door, args.bat.as_deref())?)
        .with("drill", args.drill.as_ref())
        .with("ball_source", args.ball_source.as_ref())
        .with("begun", args.begun.map(|begun| begun.to_string()));
    let mut all_well = true;
    for file in &args.files {
        match take_in(&door, &address, file) {
            Ok(answer) if args.json => print_json(out, [&answer.body])?,
            Ok(answer) => {
                let Imported { recording, outcome } = answer.read()?;
                let (begun, id) = (shown(recording.begun, false), recording.id);
                writeln!(out, "{}: {}, {begun}, recording {id}: {outcome}", file.display(), athlete.nickname)?;
                outcome.tell_notes(&file.display(), err)?;
            }
            Err(error @ DoorError::File { .. }) => {
                all_well = false;
                writeln!(err, "{}", one_line(&error))?;
            }
            Err(DoorError::Refused(refusal)) => {
                all_well = false;
                writeln!(err, "{}: {}", file.display(), one_line(&refusal))?;
            }
            Err(error) => return Err(error.into()),
        }
    }
    Ok(all_well)
}

fn take_in(door: &Door, address: &Address, path: &Path) -> Result<Answer, DoorError> {
    let is_mcap = is_mcap(path).map_err(|cause| DoorError::File { path: path.into(), cause })?;
    let kind = if is_mcap { "application/octet-stream" } else { "text/csv" };
    let mut parts = vec![Part { name: "recording", path: path.into(), kind }];
    let profile = path.with_extension("toml");
    if !is_mcap && profile.exists() {
        parts.push(Part { name: "profile", path: profile, kind: "application/toml" });
    }
    door.send(Method::POST, address.as_str(), &[], Content::Form(parts))
}

/// By its first bytes.
fn is_mcap(path: &Path) -> std::io::Result<bool> {
    let mut head = Vec::new();
    File::open(path)?.take(MAGIC.len() as u64).read_to_end(&mut head)?;
    Ok(head == MAGIC)
}
