//! `swingd athletes`: who is in the record, and entering somebody.

use super::ask::{Athlete, list, open, print_json};
use super::config::ConfigArgs;
use super::door::{Address, Content, Door};
use crate::report::columns::{Column, table};
use axum::http::Method;
use serde_json::json;
use std::io::Write;

/// What `athletes` is asked for.
#[derive(Clone, Debug, clap::Args)]
#[command(args_conflicts_with_subcommands = true)]
pub struct AthletesArgs {
    /// List them where nothing else is asked
    #[command(subcommand)]
    pub what: Option<What>,
    /// Print what the HTTP API answers, a page a line
    #[arg(long)]
    pub json: bool,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

/// What can be done beside listing.
#[derive(Clone, Debug, clap::Subcommand)]
pub enum What {
    /// Enter an athlete
    Add(Box<AddArgs>),
}

/// Who is entered.
#[derive(Clone, Debug, clap::Args)]
pub struct AddArgs {
    /// A name of their choice
    #[arg(value_name = "NICKNAME")]
    pub nickname: String,
    /// From where they bat
    #[arg(long, value_name = "SIDE", value_parser = ["right", "left", "both"])]
    pub bats: Option<String>,
    /// Year of birth
    #[arg(long, value_name = "YEAR")]
    pub birth_year: Option<i64>,
    /// Print what the HTTP API answers
    #[arg(long)]
    pub json: bool,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

/// Lists them, or enters one.
///
/// # Errors
/// If it is refused, or the record cannot be reached.
pub fn run(args: &AthletesArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<()> {
    match &args.what {
        Some(What::Add(add)) => enter(&open(&add.config, err)?, add, out),
        None => show(&open(&args.config, err)?, args.json, out),
    }
}

fn enter(door: &Door, args: &AddArgs, out: &mut dyn Write) -> anyhow::Result<()> {
    let mut body = json!({ "nickname": args.nickname });
    if let Some(bats) = &args.bats {
        body["bats"] = json!(bats);
    }
    if let Some(year) = args.birth_year {
        body["birth_year"] = json!(year);
    }
    let answer = door.send(Method::POST, "/v1/athletes", &[], Content::Json(body))?;
    if args.json {
        return Ok(print_json(out, [&answer.body])?);
    }
    let athlete: Athlete = answer.read()?;
    writeln!(out, "{} is entered as {}", athlete.nickname, athlete.id)?;
    Ok(())
}

fn show(door: &Door, json: bool, out: &mut dyn Write) -> anyhow::Result<()> {
    let all = list::<Athlete>(door, &Address::new(&["v1", "athletes"]), usize::MAX)?;
    if json {
        return Ok(print_json(out, &all.pages)?);
    }
    let columns = [
        Column::words("Athlete"),
        Column::words("Bats"),
        Column::numbers("Born"),
        Column::words("Minor"),
        Column::words("Consent"),
        Column::words("Id"),
    ];
    let rows: Vec<_> = all.items.into_iter().map(row).collect();
    write!(out, "{}", table(&columns, &rows))?;
    Ok(())
}

fn row(athlete: Athlete) -> Vec<String> {
    let bats = if athlete.bats == "unknown" { String::new() } else { athlete.bats };
    let minor = match athlete.is_minor {
        Some(true) => "yes",
        Some(false) => "no",
        None => "",
    };
    let born = athlete.birth_year.map(|year| year.to_string()).unwrap_or_default();
    vec![athlete.nickname, bats, born, minor.to_owned(), athlete.consent.replace('_', " "), athlete.id.to_string()]
}
