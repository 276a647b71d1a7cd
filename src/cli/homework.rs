//! `swingd homework`: what an athlete is to do until the next time; given, and done.

use super::ask::{self, athlete, bat_id, bat_names, instant, maybe_instant, open, print_json, shown};
use super::config::ConfigArgs;
use super::door::{Address, Content, Door};
use crate::report::columns::{Column, table};
use anyhow::Context;
use axum::http::header::{ETAG, IF_MATCH};
use axum::http::{HeaderValue, Method};
use jiff::Timestamp;
use serde::Deserialize;
use serde_json::json;
use std::collections::BTreeMap;
use std::io::Write;
use uuid::Uuid;

/// What `homework` is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct HomeworkArgs {
    /// What
    #[command(subcommand)]
    pub what: What,
}

/// What can be done.
#[derive(Clone, Debug, clap::Subcommand)]
pub enum What {
    /// List an athlete's
    List(Box<ListArgs>),
    /// Give some
    Add(Box<AddArgs>),
    /// Say that it is done
    Done(Box<DoneArgs>),
    /// Remove what was never given
    Remove(Box<DoneArgs>),
}

/// Whose is listed.
#[derive(Clone, Debug, clap::Args)]
pub struct ListArgs {
    /// Whose: nickname or id
    #[arg(value_name = "ATHLETE")]
    pub athlete: String,
    /// Print what the HTTP API answers, a page a line
    #[arg(long)]
    pub json: bool,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

/// What is given.
#[derive(Clone, Debug, clap::Args)]
pub struct AddArgs {
    /// To whom: nickname or id
    #[arg(value_name = "ATHLETE")]
    pub athlete: String,
    /// What is to be practised
    #[arg(value_name = "DRILL")]
    pub drill: String,
    /// How often and how long: "3 × 10 a day"
    #[arg(long, value_name = "WORDS")]
    pub how_much: Option<String>,
    /// With this bat or training implement: name or id
    #[arg(long, value_name = "NAME")]
    pub bat: Option<String>,
    /// In this lesson
    #[arg(long, value_name = "ID")]
    pub lesson: Option<Uuid>,
    /// What else is to be said
    #[arg(long)]
    pub words: Option<String>,
    /// Print what the HTTP API answers
    #[arg(long)]
    pub json: bool,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

/// What is done, or removed.
#[derive(Clone, Debug, clap::Args)]
pub struct DoneArgs {
    /// Which
    #[arg(value_name = "ID")]
    pub id: Uuid,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

#[derive(Deserialize)]
struct Homework {
    id: Uuid,
    #[serde(deserialize_with = "instant")]
    given: Timestamp,
    drill: String,
    how_much: String,
    words: String,
    bat_id: Option<Uuid>,
    #[serde(default, deserialize_with = "maybe_instant")]
    ended: Option<Timestamp>,
}

/// Lists it, gives some, ends some, or removes some.
///
/// # Errors
/// If it is refused, or the record cannot be reached.
pub fn run(args: &HomeworkArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<()> {
    match &args.what {
        What::List(args) => show(&open(&args.config, err)?, args, out),
        What::Add(args) => give(&open(&args.config, err)?, args, out),
        What::Done(args) => end(&open(&args.config, err)?, args.id, out),
        What::Remove(args) => remove(&open(&args.config, err)?, args.id, out),
    }
}

fn of_athlete(door: &Door, name: &str) -> anyhow::Result<Address> {
    Ok(Address::new(&["v1", "athletes", &athlete(door, name)?.id.to_string(), "homework"]))
}

fn show(door: &Door, args: &ListArgs, out: &mut dyn Write) -> anyhow::Result<()> {
    let all = ask::list::<Homework>(door, &of_athlete(door, &args.athlete)?, usize::MAX)?;
    if args.json {
        return Ok(print_json(out, &all.pages)?);
    }
    let bats = if all.items.iter().any(|one| one.bat_id.is_some()) { bat_names(door)? } else { BTreeMap::new() };
    let columns = ["Given", "Drill", "Bat", "How much", "Words", "Done", "Id"].map(Column::words);
    let row = |one: Homework| {
        let done = one.ended.map(|at| shown(at, false)).unwrap_or_default();
        let bat = one.bat_id.and_then(|id| bats.get(&id)).cloned().unwrap_or_default();
        vec![shown(one.given, false), one.drill, bat, one.how_much, one.words, done, one.id.to_string()]
    };
    write!(out, "{}", table(&columns, &all.items.into_iter().map(row).collect::<Vec<_>>()))?;
    Ok(())
}

fn give(door: &Door, args: &AddArgs, out: &mut dyn Write) -> anyhow::Result<()> {
    let address = of_athlete(door, &args.athlete)?;
    let mut body = json!({ "drill": args.drill });
    let said = [
        ("how_much", args.how_much.clone()),
        ("words", args.words.clone()),
        ("lesson_id", args.lesson.map(|id| id.to_string())),
        ("bat_id", bat_id(door, args.bat.as_deref())?),
    ];
    for (key, value) in said {
        if let Some(value) = value {
            body[key] = json!(value);
        }
    }
    let answer = door.send(Method::POST, address.as_str(), &[], Content::Json(body))?;
    if args.json {
        return Ok(print_json(out, [&answer.body])?);
    }
    let given: Homework = answer.read()?;
    writeln!(out, "{} is given as {}", given.drill, given.id)?;
    Ok(())
}

/// One piece of homework: where it is, in which version, and what it is.
fn one(door: &Door, id: Uuid) -> anyhow::Result<(Address, HeaderValue, Homework)> {
    let address = Address::new(&["v1", "homework", &id.to_string()]);
    let answer = door.get(address.as_str())?;
    let version = answer.headers.get(ETAG).context("the service says no version of it")?.clone();
    Ok((address, version, answer.read()?))
}

fn remove(door: &Door, id: Uuid, out: &mut dyn Write) -> anyhow::Result<()> {
    let (address, version, given) = one(door, id)?;
    door.send(Method::DELETE, address.as_str(), &[(IF_MATCH, version)], Content::Nothing)?;
    writeln!(out, "{} is removed", given.drill)?;
    Ok(())
}

fn end(door: &Door, id: Uuid, out: &mut dyn Write) -> anyhow::Result<()> {
    let (address, version, given) = one(door, id)?;
    let changes = json!({ "ended": Timestamp::now().max(given.given).to_string() });
    door.send(Method::PATCH, address.as_str(), &[(IF_MATCH, version)], Content::Json(changes))?;
    writeln!(out, "{} is done", given.drill)?;
    Ok(())
}
