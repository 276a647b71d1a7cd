//! `swingd swings` and `swingd export-swings`: swings of the record as a list, and as a table for notebooks.

use super::ask::{self, Nicknames, ShownArgs, When, athlete_id, bat_id, between, instant, open, print_json, shown};
use super::config::ConfigArgs;
use super::door::{Address, Door};
use super::targets::Targets;
use crate::engine::metrics::{Estimate, Flag, Metric};
use crate::report::columns::{Column, table};
use crate::report::words::{Cell, Units, label, letter, meaning, row_of};
use anyhow::{Context, bail};
use jiff::Timestamp;
use serde::Deserialize;
use std::collections::{BTreeMap, BTreeSet};
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
use uuid::Uuid;

/// Of each swing these are shown; all stand in `--json` and in an export.
const SHOWN: [Metric; 4] = [Metric::BatSpeed, Metric::HandSpeed, Metric::TimeToContact, Metric::AttackAngle];

/// Which swings.
#[derive(Clone, Debug, Default, clap::Args)]
#[command(next_help_heading = "Which swings")]
pub struct FilterArgs {
    /// This athlete's: nickname or id; none: those of nobody who is known
    #[arg(long, value_name = "NAME")]
    pub athlete: Option<String>,
    /// Of this lesson or practice
    #[arg(long, value_name = "ID")]
    pub lesson: Option<Uuid>,
    /// Of lessons, or of practice
    #[arg(long, value_parser = ["lesson", "practice"])]
    pub occasion: Option<String>,
    /// From this side
    #[arg(long, value_parser = ["right", "left"])]
    pub side: Option<String>,
    /// With this bat: name or id
    #[arg(long, value_name = "NAME")]
    pub bat: Option<String>,
    /// In rounds of exactly this drill
    #[arg(long)]
    pub drill: Option<String>,
    /// In rounds with this ball source
    #[arg(long, value_parser = ["tee", "toss", "front_toss", "machine", "live", "dry"])]
    pub ball_source: Option<String>,
    /// With this flag
    #[arg(long, value_parser = Flag::ALL.map(Flag::key))]
    pub flag: Option<String>,
    /// On this day or later
    #[arg(long, value_name = "DATE")]
    pub from: Option<When>,
    /// On this day or earlier
    #[arg(long, value_name = "DATE")]
    pub to: Option<When>,
}

/// What `swings` is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct SwingsArgs {
    /// Which
    #[command(flatten)]
    pub filter: FilterArgs,
    /// At most so many, the newest
    #[arg(long, value_name = "N", default_value_t = 50, value_parser = clap::value_parser!(u32).range(1..))]
    pub limit: u32,
    /// Show their ids too
    #[arg(long)]
    pub ids: bool,
    /// How they are shown
    #[command(flatten)]
    pub shown: ShownArgs,
}

/// What `export-swings` is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct ExportSwingsArgs {
    /// Where to: its ending says whether it is CSV or Parquet
    #[arg(long, value_name = "FILE.csv|FILE.parquet")]
    pub out: PathBuf,
    /// Overwrite what is there
    #[arg(long)]
    pub force: bool,
    /// Which
    #[command(flatten)]
    pub filter: FilterArgs,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

#[derive(Deserialize)]
struct Swing {
    id: Uuid,
    athlete_id: Option<Uuid>,
    occasion: Option<String>,
    drill: Option<String>,
    ball_source: Option<String>,
    side: Option<String>,
    bat: Option<String>,
    #[serde(deserialize_with = "instant")]
    contact_utc: Timestamp,
    mark: String,
    contact: String,
    flags: Vec<String>,
    metrics: BTreeMap<String, Option<Number>>,
}

#[derive(Deserialize)]
struct Number {
    value: f64,
    sigma: f64,
}

impl FilterArgs {
    fn put_into(&self, door: &Door, address: Address) -> anyhow::Result<Address> {
        let (from, to) = between(self.from, self.to)?;
        let athlete = match self.athlete.as_deref() {
            Some("none") => Some("none".to_owned()),
            name => athlete_id(door, name)?,
        };
        Ok(address
            .with("athlete", athlete)
            .with("lesson", self.lesson.map(|id| id.to_string()))
            .with("occasion", self.occasion.as_ref())
            .with("side", self.side.as_ref())
            .with("bat", bat_id(door, self.bat.as_deref())?)
            .with("drill", self.drill.as_ref())
            .with("ball_source", self.ball_source.as_ref())
            .with("flag", self.flag.as_ref())
            .with("from", from)
            .with("to", to))
    }
}

/// Lists them, the newest first.
///
/// # Errors
/// If it is refused, or the record cannot be reached.
pub fn run(args: &SwingsArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<()> {
    let door = open(&args.shown.config, err)?;
    let address = args.filter.put_into(&door, Address::new(&["v1", "swings"]))?;
    let found = ask::list::<Swing>(&door, &address, args.limit as usize)?;
    if found.has_more {
        writeln!(err, "there are more than {}; --limit shows them", args.limit)?;
    }
    if args.shown.json {
        return Ok(print_json(out, &found.pages)?);
    }
    let names = Nicknames::read(&door)?;
    write!(out, "{}", shown_as_table(&found.items, &names, args.shown.units.into(), args.ids))?;
    Ok(())
}

fn shown_as_table(swings: &[Swing], names: &Nicknames, units: Units, ids: bool) -> String {
    if swings.is_empty() {
        return String::new();
    }
    let mut columns: Vec<_> =
        ["Contact", "Athlete", "Kind", "Side", "Bat", "Drill", "Ball", "Met"].map(Column::words).into();
    let mut rows: Vec<Vec<String>> = swings.iter().map(|swing| first_cells(swing, names)).collect();
    for metric in SHOWN {
        let estimates: Vec<_> = swings.iter().map(|swing| swing.estimate(metric)).collect();
        let row = row_of(metric, &estimates, units);
        let head = label(metric).replace(" at contact", "\nat contact");
        columns.push(Column::numbers(&format!("{head}\n{}", row.unit)));
        for (cells, cell) in rows.iter_mut().zip(&row.cells) {
            cells.push(
                cell.as_ref().map_or("–".to_owned(), |Cell { value, half_width }| format!("{value} ± {half_width}")),
            );
        }
    }
    columns.extend(["Flags", "Mark", "Id"].map(Column::words));
    for (cells, swing) in rows.iter_mut().zip(swings) {
        let mark = if swing.mark == "none" { String::new() } else { swing.mark.clone() };
        cells.extend([swing.flags().map(letter).collect(), mark]);
        cells.extend(ids.then(|| swing.id.to_string()));
    }
    let mut text = table(&columns, &rows) + "\n± half the width of the 95 % interval (1.96 σ)\n";
    for flag in swings.iter().flat_map(Swing::flags).collect::<BTreeSet<_>>() {
        text += &format!("{} {}\n", letter(flag), meaning(flag));
    }
    text
}

fn first_cells(swing: &Swing, names: &Nicknames) -> Vec<String> {
    let word = |word: &Option<String>| word.clone().unwrap_or_default().replace('_', " ");
    let met = if swing.contact == "ball" { "ball" } else { "nothing" };
    vec![
        shown(swing.contact_utc, true),
        names.of(swing.athlete_id),
        word(&swing.occasion),
        word(&swing.side),
        swing.bat.clone().unwrap_or_default(),
        swing.drill.clone().unwrap_or_default(),
        word(&swing.ball_source),
        met.to_owned(),
    ]
}

impl Swing {
    fn estimate(&self, metric: Metric) -> Option<Estimate> {
        let Number { value, sigma } = self.metrics.get(metric.key())?.as_ref()?;
        Some(Estimate { value: *value, sigma: *sigma })
    }

    /// Those that this version knows.
    fn flags(&self) -> impl Iterator<Item = Flag> {
        let known = |key: &String| Flag::ALL.into_iter().find(|flag| flag.key() == key.as_str());
        self.flags.iter().filter_map(known)
    }
}

/// Writes them to a file.
///
/// # Errors
/// If it is refused, the record cannot be reached, or the file not be written.
pub fn export(args: &ExportSwingsArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<()> {
    let name = match args.out.extension().and_then(|ending| ending.to_str()) {
        Some("csv") => "export.csv",
        Some("parquet") => "export.parquet",
        _ => bail!("{}: expected a name that ends in .csv or .parquet", args.out.display()),
    };
    let door = open(&args.config, err)?;
    let address = args.filter.put_into(&door, Address::new(&["v1", "swings", name]))?;
    download(&door, &address, &args.out, args.force, out)
}

/// What the API sends, as a file that is there whole or not at all; says how long it is.
pub(super) fn download(
    door: &Door,
    address: &Address,
    path: &Path,
    force: bool,
    out: &mut dyn Write,
) -> anyhow::Result<()> {
    let mut targets = Targets::new(force);
    let mut file = BufWriter::new(targets.create(path)?);
    let bytes = door.download(address.as_str(), path, &mut file)?;
    file.flush().with_context(|| super::targets::cannot_write(path))?;
    targets.put_in_place()?;
    writeln!(out, "{}: {bytes} bytes", path.display())?;
    Ok(())
}
