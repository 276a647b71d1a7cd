//! `swingd erase`: an athlete out of everything there is.

use super::ask::{athlete, open, print_json};
use super::config::ConfigArgs;
use super::door::{Address, Content};
use anyhow::bail;
use axum::http::Method;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::io::{BufRead, IsTerminal, Write};

/// What `erase` is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct EraseArgs {
    /// Who: nickname or id
    #[arg(value_name = "ATHLETE")]
    pub athlete: String,
    /// The nickname once more, in place of typing it when asked
    #[arg(long, value_name = "NICKNAME")]
    pub confirm: Option<String>,
    /// Print what the HTTP API answers
    #[arg(long)]
    pub json: bool,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

#[derive(Deserialize)]
struct Tombstone {
    rows: BTreeMap<String, i64>,
    bytes: u64,
    installations: Vec<Installation>,
}

#[derive(Deserialize)]
struct Installation {
    cage: String,
    events: u64,
    files_removed: u64,
    files_rewritten: u64,
    backups_erased: u64,
    waiting: Vec<String>,
    not_reached: Vec<String>,
    left: Vec<String>,
}

/// Erases, and prints what was removed; whether nothing was left.
///
/// # Errors
/// If it is not confirmed or refused, or the record cannot be reached.
pub fn run(args: &EraseArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<bool> {
    let door = open(&args.config, err)?;
    let athlete = athlete(&door, &args.athlete)?;
    let confirmed = match &args.confirm {
        Some(confirmed) => confirmed.clone(),
        None if std::io::stdin().is_terminal() => {
            let what = "with every lesson, swing and stretch of a recording, and from the backups";
            write!(err, "This erases \"{}\" for good, {what}. The nickname, to go on: ", athlete.nickname)?;
            err.flush()?;
            let mut line = String::new();
            std::io::stdin().lock().read_line(&mut line)?;
            line.trim_end_matches(['\r', '\n']).to_owned()
        }
        None => bail!("nothing was erased; expected --confirm \"{}\" where nobody can be asked", athlete.nickname),
    };
    if confirmed != athlete.nickname {
        bail!("\"{confirmed}\" is not the nickname \"{}\"; nothing was erased", athlete.nickname);
    }
    let address = Address::new(&["v1", "athletes", &athlete.id.to_string()]).with("confirm", Some(confirmed));
    let answer = door.send(Method::DELETE, address.as_str(), &[], Content::Nothing)?;
    let tombstone: Tombstone = answer.read()?;
    if args.json {
        print_json(out, [&answer.body])?;
    } else {
        tell(&tombstone, &athlete.nickname, out)?;
    }
    tell_left(&tombstone, err)
}

fn tell(tombstone: &Tombstone, nickname: &str, out: &mut dyn Write) -> std::io::Result<()> {
    writeln!(out, "{nickname} is erased:")?;
    for (table, rows) in tombstone.rows.iter().filter(|(_, rows)| **rows > 0) {
        writeln!(out, "  {:<14}{rows:>8}", table.replace('_', " "))?;
    }
    for here in &tombstone.installations {
        let files = here.files_removed + here.files_rewritten;
        let (events, backups, cage) = (here.events, here.backups_erased, &here.cage);
        writeln!(
            out,
            "  at {cage}: {files} files of recordings ({} of them whole), {events} events, {backups} backups",
            here.files_removed
        )?;
    }
    writeln!(out, "  {} bytes of recordings", tombstone.bytes)
}

fn tell_left(tombstone: &Tombstone, err: &mut dyn Write) -> anyhow::Result<bool> {
    let mut is_all = true;
    for here in &tombstone.installations {
        for name in &here.waiting {
            writeln!(err, "{name}: is still being written; erased once it is finished")?;
        }
        let not_reached = here.not_reached.iter().map(|what| (what, "not reached, tried again"));
        for (what, how) in not_reached.chain(here.left.iter().map(|what| (what, "may be left: see to it"))) {
            is_all = false;
            writeln!(err, "{what}: {how}")?;
        }
    }
    Ok(is_all)
}
