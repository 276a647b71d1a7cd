//! `swingd replay`: recordings in, swings out, as a table or as JSON.

use super::analysis::{Analysis, analyse, analyse_while_reading};
use super::one_line;
use super::progress::Progress;
use super::targets::replace;
use crate::daemon::files::{OpenRecording, RecordingError};
use crate::engine::session::{Session, Told};
use crate::engine::swing::Swing;
use crate::report::event;
use crate::report::json::Document;
use crate::report::table::table;
use crate::report::{svg, words};
use std::collections::BTreeMap;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::sync_channel;
use std::thread;

/// What `replay` is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct ReplayArgs {
    /// Recordings: CSV with a profile beside it (NAME.toml), or MCAP
    #[arg(required = true, value_name = "FILE")]
    pub files: Vec<PathBuf>,
    /// Print one JSON document a file, one a line, instead of tables
    #[arg(long)]
    pub json: bool,
    /// Print what a live session told, one JSON document an event, instead of tables
    #[arg(long, conflicts_with_all = ["json", "svg"])]
    pub events: bool,
    /// Units of the tables and the picture
    #[arg(long, value_enum, default_value_t)]
    pub units: UnitsArg,
    /// Also draw all swings into an SVG file
    #[arg(long, value_name = "FILE")]
    pub svg: Option<PathBuf>,
}

/// Units as they are named on the command line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub enum UnitsArg {
    /// mph and ft
    #[default]
    Us,
    /// m/s and m
    Metric,
}

impl UnitsArg {
    /// As the API names them.
    pub fn word(self) -> &'static str {
        match self {
            UnitsArg::Us => "us",
            UnitsArg::Metric => "metric",
        }
    }
}

impl From<UnitsArg> for words::Units {
    fn from(units: UnitsArg) -> Self {
        match units {
            UnitsArg::Us => words::Units::Us,
            UnitsArg::Metric => words::Units::Metric,
        }
    }
}

/// Opens a recording; a parameter so that tests need no files.
pub type Opener<'a> = &'a (dyn Fn(&Path) -> Result<OpenRecording, RecordingError> + Sync);

type Outcome = Result<Analysis, RecordingError>;

/// Replays all files, in the order given; `true` if every one was read and everything asked for was written.
///
/// # Errors
/// Only if `out` or `err` cannot be written to.
pub fn run(args: &ReplayArgs, open: Opener, out: &mut dyn Write, err: &mut dyn Write) -> io::Result<bool> {
    if args.events {
        return print_events(&args.files, open, out, err);
    }
    let mut printer = Printer { args, out, err, all_read: true, drawn: Vec::new(), printed: 0 };
    match args.files.as_slice() {
        [file] => {
            let mut progress = Progress::of_a_file(!args.json);
            let outcome =
                open(file).and_then(|opened| analyse_while_reading(opened, &mut |share| progress.share(share)));
            drop(progress);
            printer.print(outcome)?;
        }
        files => in_parallel(files, open, &mut Progress::of_files(files.len(), !args.json), &mut printer)?,
    }
    printer.draw()?;
    printer.out.flush()?;
    Ok(printer.all_read)
}

/// As many files at a time as there are processors. Each is printed when all before it have been.
fn in_parallel(files: &[PathBuf], open: Opener, progress: &mut Progress, printer: &mut Printer) -> io::Result<()> {
    let workers = thread::available_parallelism().map_or(1, usize::from).min(files.len());
    let next = AtomicUsize::new(0);
    // What waits here for its turn are swings, not samples: small beside the recordings they came from.
    let (done, outcomes) = sync_channel::<(usize, Outcome)>(workers);
    thread::scope(|scope| {
        for _ in 0..workers {
            let (done, next) = (done.clone(), &next);
            scope.spawn(move || {
                loop {
                    let place = next.fetch_add(1, Ordering::Relaxed);
                    let Some(file) = files.get(place) else { return };
                    if done.send((place, open(file).and_then(analyse))).is_err() {
                        return;
                    }
                }
            });
        }
        drop(done);
        let mut waiting = BTreeMap::new();
        let mut turn = 0;
        for (place, outcome) in outcomes {
            progress.one_more();
            waiting.insert(place, outcome);
            while let Some(outcome) = waiting.remove(&turn) {
                progress.aside(|| printer.print(outcome))?;
                turn += 1;
            }
        }
        Ok(())
    })
}

/// What the sessions of the recordings tell, in the form of the event stream's `told`, with the kind of each.
fn print_events(files: &[PathBuf], open: Opener, out: &mut dyn Write, err: &mut dyn Write) -> io::Result<bool> {
    let mut all_read = true;
    for file in files {
        match open(file).and_then(told_by) {
            Ok(told) => {
                for told in &told {
                    let (kind, line) = event::line(told).map_err(io::Error::other)?;
                    writeln!(out, "{{\"event\":\"{kind}\",\"told\":{line}}}")?;
                }
            }
            Err(error) => {
                all_read = false;
                writeln!(err, "{}", one_line(&error))?;
            }
        }
    }
    out.flush()?;
    Ok(all_read)
}

fn told_by(mut recording: OpenRecording) -> Result<Vec<Told>, RecordingError> {
    let (mut session, mut told) = (Session::new(), Vec::new());
    while let Some(entry) = recording.next_entry()? {
        told.extend(session.take(&entry));
    }
    told.extend(session.finish());
    Ok(told)
}

fn is_same_file(a: &Path, b: &Path) -> bool {
    a.canonicalize().ok().zip(b.canonicalize().ok()).is_some_and(|(a, b)| a == b)
}

/// Where results and words go.
struct Printer<'a> {
    args: &'a ReplayArgs,
    out: &'a mut dyn Write,
    err: &'a mut dyn Write,
    all_read: bool,
    drawn: Vec<Swing>,
    printed: usize,
}

impl Printer<'_> {
    fn print(&mut self, outcome: Outcome) -> io::Result<()> {
        match outcome {
            Ok(analysis) => self.print_analysis(analysis),
            Err(error) => self.complain(&error),
        }
    }

    fn print_analysis(&mut self, analysis: Analysis) -> io::Result<()> {
        let Analysis { recording, notes, swings } = analysis;
        for note in &notes {
            writeln!(self.err, "{}", one_line(note))?;
        }
        if self.args.json {
            let line = Document::new(&recording, &swings).to_line().map_err(io::Error::other)?;
            writeln!(self.out, "{line}")?;
        } else {
            let between = if self.printed > 0 { "\n" } else { "" };
            write!(self.out, "{between}{}", table(&recording, &swings, self.args.units.into()))?;
        }
        self.printed += 1;
        if self.args.svg.is_some() {
            self.drawn.extend(swings);
        }
        Ok(())
    }

    fn draw(&mut self) -> io::Result<()> {
        let Some(path) = &self.args.svg else {
            return Ok(());
        };
        if self.args.files.iter().any(|file| is_same_file(file, path)) {
            return self
                .complain(&format!("{}: is a recording; expected another name for the picture", path.display()));
        }
        let picture = svg::picture(&self.drawn, self.args.units.into());
        match replace(path, |out| out.write_all(picture.as_bytes())) {
            Ok(()) => Ok(()),
            Err(error) => self.complain(&format!("{error:#}; expected a file that can be written")),
        }
    }

    fn complain(&mut self, error: &dyn std::fmt::Display) -> io::Result<()> {
        self.all_read = false;
        writeln!(self.err, "{}", one_line(error))
    }
}

#[cfg(test)]
mod tests;
