//! `swingd film`: where a lesson's swings are in the sound of a clip.

use super::ask::{open, print_json};
use super::config::ConfigArgs;
use super::door::{Address, Content};
use super::replay::UnitsArg;
use super::targets::{Targets, cannot_write};
use crate::film::wav::Wav;
use crate::report::words::HALF_WIDTH_95;
use anyhow::Context;
use axum::http::Method;
use serde::Deserialize;
use std::fs::File;
use std::io::{BufReader, Write};
use std::path::{Path, PathBuf};
use uuid::Uuid;

/// How a sound track is come by, at the end of the help.
const HOW: &str = "The cracks of bat on ball are matched with the contacts that were measured. If they fit at one place alone, it is told with its
uncertainty, and captions and contact times can be written; if not, why not. The sound is kept nowhere.

SOUND.wav is the sound track of the clip, as long as the clip: most programs that play, cut or convert films can save or export the
sound alone; choose WAV, 44.1 or 48 kHz, 16 bits, and do not cut it or change its speed. Film times count from its beginning.";

/// What `film` is asked for.
#[derive(Clone, Debug, clap::Args)]
#[command(after_long_help = HOW)]
pub struct FilmArgs {
    /// The sound track of the clip: WAV of 44.1 or 48 kHz
    #[arg(value_name = "SOUND.wav")]
    pub sound: PathBuf,
    /// Which lesson it shows: its id, as `swingd lessons` lists it
    #[arg(long, value_name = "ID")]
    pub lesson: Uuid,
    /// Only swings of this round: its id
    #[arg(long, value_name = "ID")]
    pub round: Option<Uuid>,
    /// From bat to microphone, m: film times are then those at which a contact is seen, not heard
    #[arg(long, value_name = "M")]
    pub distance: Option<f64>,
    /// Where captions go: WebVTT
    #[arg(long, value_name = "OUT.vtt")]
    pub captions: Option<PathBuf>,
    /// Where contact times go: CSV
    #[arg(long, value_name = "OUT.csv")]
    pub contacts: Option<PathBuf>,
    /// Units of the captions
    #[arg(long, value_enum, default_value_t)]
    pub units: UnitsArg,
    /// Overwrite what is there
    #[arg(long)]
    pub force: bool,
    /// Print what the HTTP API answers
    #[arg(long)]
    pub json: bool,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

#[derive(Deserialize)]
struct Answered {
    reason: Option<String>,
    duration_s: f64,
    cracks_found: usize,
    cracks_left_out: usize,
    matched: Option<Matched>,
}

/// What there is of a match.
#[derive(Deserialize)]
struct Matched {
    offset_sigma_s: f64,
    drift_ppm: f64,
    matched_contacts: usize,
    contacts_in_clip: usize,
    is_seen: bool,
    contacts: Vec<FilmContact>,
    captions: String,
    contacts_csv: String,
}

#[derive(Deserialize)]
struct FilmContact {
    number: usize,
    film_s: f64,
    sigma_s: f64,
    met_ball: bool,
}

/// Reads the head alone, so that what cannot be used is said before it is sent.
fn look_at(sound: &Path) -> anyhow::Result<()> {
    let file = File::open(sound).with_context(|| format!("{}: it cannot be read", sound.display()))?;
    Wav::open(BufReader::new(file)).with_context(|| format!("{}: no sound to match", sound.display()))?;
    Ok(())
}

/// Tells where the swings are; whether they were found.
///
/// # Errors
/// If the sound cannot be read, the record not be reached, or a file not be written.
pub fn run(args: &FilmArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<bool> {
    look_at(&args.sound)?;
    let door = open(&args.config, err)?;
    let units = match args.units {
        UnitsArg::Us => "us",
        UnitsArg::Metric => "metric",
    };
    let address = Address::new(&["v1", "lessons", &args.lesson.to_string(), "film-match"])
        .with("round", args.round.map(|id| id.to_string()))
        .with("distance_m", args.distance.map(|distance_m| distance_m.to_string()))
        .with("units", Some(units));
    let sound = Content::File { path: args.sound.clone(), kind: "audio/wav" };
    let answer = door.send(Method::POST, address.as_str(), &[], sound)?;
    let Answered { reason, duration_s, cracks_found, cracks_left_out, matched } = Answered::read(answer.read()?)?;
    if args.json {
        print_json(out, [&answer.body])?;
    }
    if cracks_left_out > 0 {
        writeln!(err, "{cracks_left_out} fainter sounds were left out: the {cracks_found} loudest are matched")?;
    }
    let Some(matched) = matched else {
        writeln!(err, "{}: not matched: {}", args.sound.display(), reason.unwrap_or_default())?;
        return Ok(false);
    };
    if !args.json {
        writeln!(out, "{duration_s:.1} s of sound; {cracks_found} sharp sounds were heard")?;
        matched.tell(out)?;
    }
    let mut targets = Targets::new(args.force);
    write(&mut targets, args.captions.as_deref(), &matched.captions)?;
    write(&mut targets, args.contacts.as_deref(), &matched.contacts_csv)?;
    targets.put_in_place()?;
    Ok(true)
}

impl Answered {
    /// What is there only of a match is read as a whole or not at all.
    fn read(mut answer: serde_json::Value) -> Result<Self, serde_json::Error> {
        let is_matched = answer["matched"] == true;
        let matched = is_matched.then(|| serde_json::from_value(answer.clone())).transpose()?;
        answer["matched"] = serde_json::Value::Null;
        Ok(Self { matched, ..serde_json::from_value(answer)? })
    }
}

impl Matched {
    fn tell(&self, out: &mut dyn Write) -> std::io::Result<()> {
        let Self { matched_contacts, contacts_in_clip, offset_sigma_s, drift_ppm, .. } = self;
        let sense = if self.is_seen { "seen" } else { "heard" };
        writeln!(
            out,
            "{matched_contacts} of {contacts_in_clip} contacts in the clip have a crack; place known to ± {:.1} ms; {}",
            HALF_WIDTH_95 * offset_sigma_s * 1e3,
            pace(*drift_ppm)
        )?;
        writeln!(out, "Contacts as they are {sense}, seconds from the clip's beginning:")?;
        for FilmContact { number, film_s, sigma_s, met_ball } in &self.contacts {
            let half_width_s = HALF_WIDTH_95 * sigma_s;
            let note = if *met_ball { "" } else { "  no ball met" };
            writeln!(out, "swing {number:>4}  {film_s:>10.3} ± {half_width_s:.3}{note}")?;
        }
        Ok(())
    }
}

/// How the film's clock goes against the sensor's.
fn pace(drift_ppm: f64) -> String {
    let size = drift_ppm.abs().round();
    let unit = if size == 1.0 { "millionth" } else { "millionths" };
    let way = if drift_ppm < 0.0 { "slower" } else { "faster" };
    if size == 0.0 {
        return "the film runs as fast as the sensor's clock".to_owned();
    }
    format!("the film runs {size:.0} {unit} {way} than the sensor's clock")
}

fn write(targets: &mut Targets, path: Option<&Path>, text: &str) -> anyhow::Result<()> {
    let Some(path) = path else { return Ok(()) };
    let mut file = targets.create(path)?;
    file.write_all(text.as_bytes()).with_context(|| cannot_write(path))
}

#[cfg(test)]
mod tests {
    use super::pace;

    #[test]
    fn the_films_clock_is_told_in_words() {
        assert_eq!(pace(12.4), "the film runs 12 millionths faster than the sensor's clock");
        assert_eq!(pace(-1.2), "the film runs 1 millionth slower than the sensor's clock");
        assert_eq!(pace(-0.3), "the film runs as fast as the sensor's clock");
    }
}
