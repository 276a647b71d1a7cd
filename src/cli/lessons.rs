//! `swingd lessons`: lessons and practice, the newest first.

use super::ask::{self, Nicknames, When, athlete_id, between, instant, maybe_instant, open, print_json, shown};
use super::config::ConfigArgs;
use super::door::Address;
use crate::report::columns::{Column, table};
use jiff::Timestamp;
use serde::Deserialize;
use std::io::Write;
use uuid::Uuid;

/// What `lessons` is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct LessonsArgs {
    /// Only this athlete's: nickname or id
    #[arg(long, value_name = "NAME")]
    pub athlete: Option<String>,
    /// Only lessons, or only practice
    #[arg(long, value_parser = ["lesson", "practice"])]
    pub occasion: Option<String>,
    /// Begun on this day or later
    #[arg(long, value_name = "DATE")]
    pub from: Option<When>,
    /// Begun on this day or earlier
    #[arg(long, value_name = "DATE")]
    pub to: Option<When>,
    /// At most so many
    #[arg(long, value_name = "N", default_value_t = 50, value_parser = clap::value_parser!(u32).range(1..))]
    pub limit: u32,
    /// Print what the HTTP API answers, a page a line
    #[arg(long)]
    pub json: bool,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

#[derive(Deserialize)]
struct Lesson {
    id: Uuid,
    athlete_id: Uuid,
    occasion: String,
    cage: String,
    swings: i64,
    rounds: i64,
    #[serde(deserialize_with = "instant")]
    begun: Timestamp,
    #[serde(default, deserialize_with = "maybe_instant")]
    ended: Option<Timestamp>,
    title: String,
}

/// Lists them.
///
/// # Errors
/// If it is refused, or the record cannot be reached.
pub fn run(args: &LessonsArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<()> {
    let door = open(&args.config, err)?;
    let (from, to) = between(args.from, args.to)?;
    let address = Address::new(&["v1", "lessons"])
        .with("athlete", athlete_id(&door, args.athlete.as_deref())?)
        .with("occasion", args.occasion.as_ref())
        .with("from", from)
        .with("to", to);
    let found = ask::list::<Lesson>(&door, &address, args.limit as usize)?;
    if found.has_more {
        writeln!(err, "there are more than {}; --limit shows them", args.limit)?;
    }
    if args.json {
        return Ok(print_json(out, &found.pages)?);
    }
    let names = Nicknames::read(&door)?;
    let columns = [
        Column::words("Begun"),
        Column::numbers("Length"),
        Column::words("Athlete"),
        Column::words("Kind"),
        Column::numbers("Swings"),
        Column::numbers("Rounds"),
        Column::words("Cage"),
        Column::words("Title"),
        Column::words("Id"),
    ];
    let rows: Vec<_> = found.items.into_iter().map(|lesson| row(lesson, &names)).collect();
    write!(out, "{}", table(&columns, &rows))?;
    Ok(())
}

fn row(lesson: Lesson, names: &Nicknames) -> Vec<String> {
    let length = lesson.ended.map_or("goes on".to_owned(), |ended| {
        let minutes = (ended.duration_since(lesson.begun).as_secs() + 30) / 60;
        format!("{minutes} min")
    });
    vec![
        shown(lesson.begun, false),
        length,
        names.of(Some(lesson.athlete_id)),
        lesson.occasion,
        lesson.swings.to_string(),
        lesson.rounds.to_string(),
        lesson.cage,
        lesson.title,
        lesson.id.to_string(),
    ]
}
