//! `swingd export`: all of one athlete as one archive.

use super::ask::{athlete, open};
use super::config::ConfigArgs;
use super::door::Address;
use super::swings::download;
use std::io::Write;
use std::path::PathBuf;

/// What `export` is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct ExportArgs {
    /// Whose record: nickname or id
    #[arg(value_name = "ATHLETE")]
    pub athlete: String,
    /// Where to
    #[arg(long, value_name = "FILE.zip")]
    pub out: PathBuf,
    /// Overwrite what is there
    #[arg(long)]
    pub force: bool,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

/// Writes the archive.
///
/// # Errors
/// If the athlete is not known, the record cannot be reached, or the file not be written.
pub fn run(args: &ExportArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<()> {
    let door = open(&args.config, err)?;
    let id = athlete(&door, &args.athlete)?.id.to_string();
    download(&door, &Address::new(&["v1", "athletes", &id, "archive"]), &args.out, args.force, out)
}
