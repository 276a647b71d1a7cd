//! `swingd report`: two groups of an athlete's swings set side by side, as one file to take home.

use super::ask::{When, athlete, bat_id, open};
use super::config::ConfigArgs;
use super::door::Address;
use super::replay::UnitsArg;
use super::swings::download;
use crate::report::words::Units;
use std::io::Write;
use std::path::PathBuf;

/// What `report` is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct ReportArgs {
    /// Whose swings: nickname or id
    #[arg(long, value_name = "NAME")]
    pub athlete: String,
    /// For whom it is written
    #[arg(long = "for", value_enum, default_value_t)]
    pub reader: ReaderArg,
    /// The first day of the earlier group; where no day is said, the first few stand against the latest few
    #[arg(long, value_name = "DAY")]
    pub then_from: Option<When>,
    /// The last day of the earlier group
    #[arg(long, value_name = "DAY")]
    pub then_to: Option<When>,
    /// The first day of the later group
    #[arg(long, value_name = "DAY")]
    pub now_from: Option<When>,
    /// The last day of the later group
    #[arg(long, value_name = "DAY")]
    pub now_to: Option<When>,
    /// The side of the plate; where none is said, the one with most swings
    #[arg(long, value_enum)]
    pub side: Option<SideArg>,
    /// Only swings with this bat: name or id
    #[arg(long, value_name = "NAME")]
    pub bat: Option<String>,
    /// Only swings of this drill
    #[arg(long)]
    pub drill: Option<String>,
    /// Only these numbers, by their keys; all where none is said
    #[arg(long = "metric", value_name = "KEY")]
    pub metrics: Vec<String>,
    /// Your words to the athlete
    #[arg(long, value_name = "TEXT")]
    pub words: Option<String>,
    /// Units of all numbers
    #[arg(long, value_enum, default_value_t)]
    pub units: UnitsArg,
    /// Where to
    #[arg(long, value_name = "FILE.html")]
    pub out: PathBuf,
    /// Overwrite what is there
    #[arg(long)]
    pub force: bool,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

/// For whom.
#[derive(Clone, Copy, Debug, Default, clap::ValueEnum)]
pub enum ReaderArg {
    /// The athlete and a parent, in plain words
    #[default]
    Athlete,
    /// The instructor, in full
    Instructor,
}

/// A side of the plate.
#[derive(Clone, Copy, Debug, clap::ValueEnum)]
pub enum SideArg {
    /// Bats right-handed
    Right,
    /// Bats left-handed
    Left,
}

/// Writes the file.
///
/// # Errors
/// If the athlete or the bat is not known, the record cannot be reached, or the file not be written.
pub fn run(args: &ReportArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<()> {
    let door = open(&args.config, err)?;
    let id = athlete(&door, &args.athlete)?.id.to_string();
    let begins = |day: Option<When>| day.map(When::begins).transpose();
    let ends = |day: Option<When>| day.map(When::ends).transpose();
    let side = args.side.map(|side| match side {
        SideArg::Right => "right",
        SideArg::Left => "left",
    });
    let reader = match args.reader {
        ReaderArg::Athlete => "athlete",
        ReaderArg::Instructor => "instructor",
    };
    let units = match Units::from(args.units) {
        Units::Us => "us",
        Units::Metric => "metric",
    };
    let address = Address::new(&["v1", "athletes", &id, "report"])
        .with("for", Some(reader))
        .with("units", Some(units))
        .with("words", args.words.as_ref())
        .with("then_from", begins(args.then_from)?)
        .with("then_to", ends(args.then_to)?)
        .with("now_from", begins(args.now_from)?)
        .with("now_to", ends(args.now_to)?)
        .with("side", side)
        .with("bat", bat_id(&door, args.bat.as_deref())?)
        .with("drill", args.drill.as_ref());
    let address = args.metrics.iter().fold(address, |address, metric| address.with("metric", Some(metric)));
    download(&door, &address, &args.out, args.force, out)
}
