//! `swingd ball-results`: what other devices measured of the ball, listed, entered, and taken from a table.

mod quantity;

pub use quantity::{Length, Speed};

use super::ask::{self, Nicknames, ShownArgs, When, athlete_id, between, instant, open, print_json, shown};
use super::config::ConfigArgs;
use super::door::{Address, Content, Door};
use crate::report::columns::{Column, table};
use crate::report::words::{Units, rounded};
use axum::http::Method;
use jiff::Timestamp;
use serde::Deserialize;
use serde_json::{Map, Value, json};
use std::io::Write;
use std::path::PathBuf;
use uuid::Uuid;

/// What `ball-results` is asked for.
#[derive(Clone, Debug, clap::Args)]
#[command(args_conflicts_with_subcommands = true)]
pub struct BallResultsArgs {
    /// List them where nothing else is asked
    #[command(subcommand)]
    pub what: Option<What>,
    /// Only this athlete's: nickname or id
    #[arg(long, value_name = "NAME")]
    pub athlete: Option<String>,
    /// Measured on this day or later
    #[arg(long, value_name = "DATE")]
    pub from: Option<When>,
    /// Measured on this day or earlier
    #[arg(long, value_name = "DATE")]
    pub to: Option<When>,
    /// Only those without a swing
    #[arg(long)]
    pub unmatched: bool,
    /// At most so many, the newest
    #[arg(long, value_name = "N", default_value_t = 50, value_parser = clap::value_parser!(u32).range(1..))]
    pub limit: u32,
    /// How they are shown
    #[command(flatten)]
    pub shown: ShownArgs,
}

/// What can be done beside listing.
#[derive(Clone, Debug, clap::Subcommand)]
pub enum What {
    /// Enter one by hand
    Add(Box<AddArgs>),
    /// Take in a table, and show which swing each row belongs to
    Import(Box<ImportArgs>),
}

/// What is entered.
#[derive(Clone, Debug, clap::Args)]
#[command(allow_negative_numbers = true)]
pub struct AddArgs {
    /// Exit speed, such as 92mph, 148kmh or 41.1mps
    #[arg(long, value_name = "SPEED")]
    pub exit_speed: Option<Speed>,
    /// Launch angle above the horizontal, degrees
    #[arg(long, value_name = "DEGREES")]
    pub launch_angle: Option<f64>,
    /// From straightaway centre, positive toward right field, degrees
    #[arg(long, value_name = "DEGREES")]
    pub direction: Option<f64>,
    /// Carry, such as 310ft or 94.5m
    #[arg(long, value_name = "LENGTH")]
    pub carry: Option<Length>,
    /// When it was measured; now where nothing is said
    #[arg(long, value_name = "INSTANT")]
    pub at: Option<Timestamp>,
    /// Its swing; found by time where nothing is said
    #[arg(long, value_name = "ID")]
    pub swing: Option<Uuid>,
    /// Whose: nickname or id
    #[arg(long, value_name = "NAME")]
    pub athlete: Option<String>,
    /// Whatever measured it
    #[arg(long, value_name = "WORDS")]
    pub device: Option<String>,
    /// Free words
    #[arg(long, value_name = "WORDS")]
    pub note: Option<String>,
    /// Print what the HTTP API answers
    #[arg(long)]
    pub json: bool,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

/// What is taken in.
#[derive(Clone, Debug, clap::Args)]
#[command(allow_negative_numbers = true)]
pub struct ImportArgs {
    /// A table with a header: `measured`, `exit_speed_mph` and others, as the HTTP API describes them
    #[arg(value_name = "FILE.csv")]
    pub file: PathBuf,
    /// All of it is this athlete's: nickname or id
    #[arg(long, value_name = "NAME")]
    pub athlete: Option<String>,
    /// The device's clock minus UTC, s
    #[arg(long, value_name = "S")]
    pub clock_offset_s: Option<f64>,
    /// Print what the HTTP API answers
    #[arg(long)]
    pub json: bool,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

#[derive(Deserialize)]
struct BallResult {
    id: Uuid,
    swing_id: Option<Uuid>,
    athlete_id: Option<Uuid>,
    matched_by: Option<String>,
    match_offset_ms: Option<f64>,
    #[serde(deserialize_with = "instant")]
    measured: Timestamp,
    #[serde(default)]
    device: String,
    exit_speed_mps: Option<f64>,
    launch_angle_deg: Option<f64>,
    direction_deg: Option<f64>,
    carry_m: Option<f64>,
}

#[derive(Deserialize)]
struct Imported {
    stored: usize,
    matched: usize,
    refused: usize,
    ignored_columns: Vec<String>,
    rows: Vec<ImportedRow>,
}

#[derive(Deserialize)]
struct ImportedRow {
    line: u64,
    swing_id: Option<Uuid>,
    match_offset_ms: Option<f64>,
    refused: Option<String>,
}

/// Lists, enters or takes in; whether all of it was.
///
/// # Errors
/// If it is refused, or the record cannot be reached.
pub fn run(args: &BallResultsArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<bool> {
    match &args.what {
        Some(What::Add(add)) => enter(&open(&add.config, err)?, add, out),
        Some(What::Import(import)) => take_in(&open(&import.config, err)?, import, out, err),
        None => list(&open(&args.shown.config, err)?, args, out, err),
    }
}

fn list(door: &Door, args: &BallResultsArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<bool> {
    let (from, to) = between(args.from, args.to)?;
    let address = Address::new(&["v1", "ball-results"])
        .with("athlete", athlete_id(door, args.athlete.as_deref())?)
        .with("from", from)
        .with("to", to)
        .with("unmatched", args.unmatched.then_some("true"));
    let found = ask::list::<BallResult>(door, &address, args.limit as usize)?;
    if found.has_more {
        writeln!(err, "there are more than {}; --limit shows them", args.limit)?;
    }
    if args.shown.json {
        print_json(out, &found.pages)?;
        return Ok(true);
    }
    let (names, units) = (Nicknames::read(door)?, Units::from(args.shown.units));
    let columns = [
        Column::words("Measured"),
        Column::words("Athlete"),
        Column::numbers(&format!("Exit speed\n{}", units.speed().sign)),
        Column::numbers("Launch angle\n°"),
        Column::numbers("Direction\n°"),
        Column::numbers(&format!("Carry\n{}", units.length().sign)),
        Column::words("Device"),
        Column::words("Swing"),
    ];
    let rows: Vec<_> = found.items.iter().map(|result| result.row(&names, units)).collect();
    write!(out, "{}", table(&columns, &rows))?;
    Ok(true)
}

impl BallResult {
    fn row(&self, names: &Nicknames, units: Units) -> Vec<String> {
        let number = |value: Option<f64>, factor: f64| value.map(|v| rounded(v * factor, 1)).unwrap_or_default();
        vec![
            shown(self.measured, true),
            names.of(self.athlete_id),
            number(self.exit_speed_mps, units.speed().factor),
            number(self.launch_angle_deg, 1.0),
            number(self.direction_deg, 1.0),
            number(self.carry_m, units.length().factor),
            self.device.clone(),
            matched(self.swing_id, self.match_offset_ms, self.matched_by.as_deref()),
        ]
    }
}

/// The match, in words.
fn matched(swing: Option<Uuid>, offset_ms: Option<f64>, by: Option<&str>) -> String {
    let Some(swing) = swing else { return "no swing".to_owned() };
    let offset = offset_ms.map(|ms| format!(", {} s after contact", rounded(ms / 1e3, 2))).unwrap_or_default();
    format!("{swing} by {}{offset}", by.unwrap_or("time"))
}

fn enter(door: &Door, args: &AddArgs, out: &mut dyn Write) -> anyhow::Result<bool> {
    let numbers = [
        ("exit_speed_mps", args.exit_speed.map(|speed| speed.mps)),
        ("launch_angle_deg", args.launch_angle),
        ("direction_deg", args.direction),
        ("carry_m", args.carry.map(|carry| carry.m)),
    ];
    let words = [
        ("measured", args.at.map(|at| at.to_string())),
        ("swing_id", args.swing.map(|id| id.to_string())),
        ("athlete_id", athlete_id(door, args.athlete.as_deref())?),
        ("device", args.device.clone()),
        ("note", args.note.clone()),
        ("entered_by", Some("hand".to_owned())),
    ];
    let numbers = numbers.into_iter().filter_map(|(key, value)| Some((key.to_owned(), json!(value?))));
    let words = words.into_iter().filter_map(|(key, value)| Some((key.to_owned(), json!(value?))));
    let body: Map<String, Value> = numbers.chain(words).collect();
    let answer = door.send(Method::POST, "/v1/ball-results", &[], Content::Json(Value::Object(body)))?;
    if args.json {
        print_json(out, [&answer.body])?;
        return Ok(true);
    }
    let result: BallResult = answer.read()?;
    let matched = matched(result.swing_id, result.match_offset_ms, result.matched_by.as_deref());
    writeln!(out, "{} is entered: {matched}", result.id)?;
    Ok(true)
}

fn take_in(door: &Door, args: &ImportArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<bool> {
    let address = Address::new(&["v1", "ball-results", "import"])
        .with("athlete", athlete_id(door, args.athlete.as_deref())?)
        .with("clock_offset_s", args.clock_offset_s.map(|s| s.to_string()));
    let content = Content::File { path: args.file.clone(), kind: "text/csv" };
    let answer = door.send(Method::POST, address.as_str(), &[], content)?;
    let imported: Imported = answer.read()?;
    if args.json {
        print_json(out, [&answer.body])?;
        return Ok(imported.refused == 0);
    }
    let file = args.file.display();
    for row in &imported.rows {
        match &row.refused {
            Some(why) => writeln!(err, "{file}: line {}: {why}", row.line)?,
            None => writeln!(out, "line {}: {}", row.line, matched(row.swing_id, row.match_offset_ms, None))?,
        }
    }
    if !imported.ignored_columns.is_empty() {
        writeln!(err, "{file}: nothing was taken from {}", imported.ignored_columns.join(", "))?;
    }
    let Imported { stored, matched, refused, .. } = imported;
    writeln!(out, "{file}: {stored} stored, {matched} of them with a swing; {refused} refused")?;
    Ok(refused == 0)
}
