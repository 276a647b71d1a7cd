//! `swingd reanalyse`: recordings measured again by this version, or by another profile.

use super::ask::{athlete_id, list, open, print_json};
use super::config::ConfigArgs;
use super::door::{Address, Content, Door, DoorError};
use super::{one_line, text_file};
use anyhow::{Context, bail};
use axum::http::Method;
use serde::Deserialize;
use serde_json::json;
use std::fmt;
use std::io::Write;
use std::path::PathBuf;
use uuid::Uuid;

/// What `reanalyse` is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct ReanalyseArgs {
    /// Recordings: ids, or names of files in the folder of recordings
    #[arg(value_name = "RECORDING", required_unless_present_any = ["athlete", "all"])]
    pub recordings: Vec<String>,
    /// All that hold swings of this athlete, or were imported for them: nickname or id
    #[arg(long, value_name = "NAME", conflicts_with_all = ["recordings", "all"])]
    pub athlete: Option<String>,
    /// All there are
    #[arg(long, conflicts_with = "recordings")]
    pub all: bool,
    /// Measure by this profile in place of their own
    #[arg(long, value_name = "PROFILE.toml")]
    pub profile: Option<PathBuf>,
    /// Print what the HTTP API answers, a recording a line
    #[arg(long)]
    pub json: bool,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

/// What came of measuring a recording.
#[derive(Debug, Deserialize)]
pub(super) struct Outcome {
    swings_found: u64,
    new: u64,
    revised: u64,
    unchanged: u64,
    missing: Vec<Uuid>,
    notes: Vec<String>,
}

impl fmt::Display for Outcome {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { swings_found, new, revised, unchanged, missing, .. } = self;
        let gone = missing.len();
        write!(
            f,
            "{swings_found} swings found: {new} new, {revised} revised, {unchanged} unchanged; {gone} no longer found"
        )
    }
}

impl Outcome {
    /// What is unusual in the recording, a line each.
    pub(super) fn tell_notes(&self, of: &dyn fmt::Display, err: &mut dyn Write) -> std::io::Result<()> {
        self.notes.iter().try_for_each(|note| writeln!(err, "{of}: {}", one_line(note)))
    }
}

#[derive(Deserialize)]
struct Recording {
    id: Uuid,
    file_name: String,
    state: String,
}

/// Measures them one after the other; whether all were. One that cannot be read does not keep the others from it.
///
/// # Errors
/// If one that is named is not known, or the record cannot be reached.
pub fn run(args: &ReanalyseArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<bool> {
    let profile = args
        .profile
        .as_ref()
        .map(|path| text_file::text_of(path).with_context(|| format!("{}: cannot be read", path.display())));
    let content = profile.transpose()?.map_or(Content::Nothing, |toml| Content::Json(json!({ "profile_toml": toml })));
    let door = open(&args.config, err)?;
    let mut all_well = true;
    for recording in wanted(&door, args)? {
        let (id, name) = (recording.id.to_string(), &recording.file_name);
        if recording.state == "removed" {
            writeln!(err, "{name}: the file was removed; its numbers stay as they are")?;
            continue;
        }
        let address = Address::new(&["v1", "recordings", &id, "reanalyses"]);
        match door.send(Method::POST, address.as_str(), &[], content.clone()) {
            Ok(answer) if args.json => print_json(out, [&answer.body])?,
            Ok(answer) => {
                let outcome: Outcome = answer.read()?;
                writeln!(out, "{name}: {outcome}")?;
                out.flush()?;
                outcome.tell_notes(name, err)?;
            }
            Err(DoorError::Refused(refusal)) => {
                all_well = false;
                writeln!(err, "{name}: {}", one_line(&refusal))?;
            }
            Err(error) => return Err(error.into()),
        }
    }
    Ok(all_well)
}

fn wanted(door: &Door, args: &ReanalyseArgs) -> anyhow::Result<Vec<Recording>> {
    let address = Address::new(&["v1", "recordings"]).with("athlete", athlete_id(door, args.athlete.as_deref())?);
    let mut all = list::<Recording>(door, &address, usize::MAX)?.items;
    if args.recordings.is_empty() {
        return Ok(all);
    }
    let mut wanted = Vec::new();
    for named in &args.recordings {
        let is_it = |recording: &Recording| recording.file_name == *named || recording.id.to_string() == *named;
        match all.iter().position(is_it) {
            Some(at) => wanted.push(all.swap_remove(at)),
            None if wanted.iter().any(is_it) => {}
            None => bail!("there is no recording \"{named}\"; expected its id or the name of its file"),
        }
    }
    Ok(wanted)
}
