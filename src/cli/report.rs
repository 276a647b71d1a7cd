//! `swingd report`: two groups of an athlete's swings set side by side, as one file to take home.

use super::ask::{athlete, open};
use super::ball_results::Length;
use super::config::ConfigArgs;
use super::door::Address;
use super::groups::GroupsArgs;
use super::replay::UnitsArg;
use super::swings::download;
use std::io::Write;
use std::path::PathBuf;

/// What is taken where nothing is said, at the end of the help.
const USUAL: &str =
    "Where no day is said, the first few days stand against the latest few; where no side is said, it is the one with most
swings.";

/// What `report` is asked for.
#[derive(Clone, Debug, clap::Args)]
#[command(after_help = USUAL)]
pub struct ReportArgs {
    /// Whose swings: nickname or id
    #[arg(long, value_name = "NAME")]
    pub athlete: String,
    /// For whom it is written
    #[arg(long = "for", value_enum, default_value_t)]
    pub reader: ReaderArg,
    /// Which of them; where no day is said, the first few days stand against the latest few
    #[command(flatten)]
    pub groups: GroupsArgs,
    /// Only these numbers, by their keys; all where none is said
    #[arg(long = "metric", value_name = "KEY")]
    pub metrics: Vec<String>,
    /// The ball, where it is said what one would do if squared up
    #[arg(long, value_name = "BALL", value_parser = ["baseball", "softball"], default_value = "baseball")]
    pub ball: String,
    /// Temperature of the air for that, °C; 10 to 30 where nothing is said
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    pub temperature_c: Option<f64>,
    /// Elevation above the sea for that, such as 5280ft or 1609m; sea level where nothing is said
    #[arg(long, value_name = "LENGTH", allow_negative_numbers = true)]
    pub elevation: Option<Length>,
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

/// Writes the file.
///
/// # Errors
/// If the athlete or the bat is not known, the record cannot be reached, or the file not be written.
pub fn run(args: &ReportArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<()> {
    let door = open(&args.config, err)?;
    let id = athlete(&door, &args.athlete)?.id.to_string();
    let reader = match args.reader {
        ReaderArg::Athlete => "athlete",
        ReaderArg::Instructor => "instructor",
    };
    let address = Address::new(&["v1", "athletes", &id, "report"])
        .with("for", Some(reader))
        .with("units", Some(args.units.word()))
        .with("ball", Some(&args.ball))
        .with("temperature_c", args.temperature_c.map(|degrees| degrees.to_string()))
        .with("elevation_m", args.elevation.map(|elevation| elevation.m.to_string()))
        .with("words", args.words.as_ref());
    let address = args.groups.put_into(&door, address)?;
    let address = args.metrics.iter().fold(address, |address, metric| address.with("metric", Some(metric)));
    download(&door, &address, &args.out, args.force, out)
}
