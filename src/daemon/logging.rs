//! Logs: to standard error for people, and to a file a day in `<data>/log`.
//!
//! Whoever logs never waits: lines go through bounded queues to threads that write, and what does not fit is dropped and
//! counted. A day's file is bounded too. A log that cannot be written stops nothing.

use std::io::{self, IsTerminal, Write};
use std::panic::PanicHookInfo;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{SystemTime, UNIX_EPOCH};
use tracing::level_filters::LevelFilter;
use tracing::{Level, Subscriber};
use tracing_appender::non_blocking::{ErrorCounter, NonBlocking, NonBlockingBuilder, WorkerGuard};
use tracing_appender::rolling::{RollingFileAppender, Rotation};
use tracing_subscriber::filter::Targets;
use tracing_subscriber::fmt;
use tracing_subscriber::layer::SubscriberExt;

/// Lines that wait for each writer: some seconds of a flood, a few MB.
const QUEUED_LINES: usize = 10_000;

/// What a day's file may grow by: a log is for reading, and recordings need the disk.
const MOST_BYTES_A_DAY: u64 = 100_000_000;

/// What to log, and where.
#[derive(Clone, Debug)]
pub struct LogSettings {
    /// As [`filter`] reads it.
    pub level: String,
    /// The folder of the files; `None`: standard error only.
    pub folder: Option<PathBuf>,
    /// How many daily files are kept.
    pub days: usize,
}

/// Why there are no logs.
#[derive(Debug, thiserror::Error)]
pub enum LogError {
    /// What to log was not understood.
    #[error("log level {0:?}: expected off, error, warn, info, debug or trace, or a list with PART=LEVEL")]
    Level(String),
    /// Something logs already.
    #[error("logs have been started before in this process")]
    Started,
}

/// Running logs. What waits is written when this is dropped, within about a second.
#[derive(Debug)]
pub struct Logging {
    /// Why there is no log file although one was asked for.
    pub file_fault: Option<String>,
    counters: Vec<ErrorCounter>,
    not_in_file: Arc<AtomicU64>,
    _guards: Vec<WorkerGuard>,
}

impl Logging {
    /// Lines that were not written because they came too fast, the day's file was full or it could not be written.
    pub fn dropped_lines(&self) -> u64 {
        let too_fast: usize = self.counters.iter().map(ErrorCounter::dropped_lines).sum();
        too_fast as u64 + self.not_in_file.load(Ordering::Relaxed)
    }
}

/// A level, and levels of parts: `info,swingd::daemon=debug`. `None` for anything else: a word that is no level would
/// otherwise be taken for a part of which everything is logged.
pub fn filter(text: &str) -> Option<Targets> {
    let mut targets = Targets::new();
    let mut has_default = false;
    for piece in text.split(',').map(str::trim) {
        targets = match piece.split_once('=') {
            Some((part, level)) if is_part(part) => targets.with_target(part, self::level(level)?),
            None if !has_default => targets.with_default(self::level(piece)?),
            _ => return None,
        };
        has_default |= !piece.contains('=');
    }
    Some(targets)
}

/// Modules of Rust, no more.
fn is_part(part: &str) -> bool {
    !part.is_empty() && part.chars().all(|c| c.is_ascii_alphanumeric() || c == '_' || c == ':')
}

/// A level by its word; the library would take numbers too.
fn level(word: &str) -> Option<LevelFilter> {
    let is_word = !word.is_empty() && word.chars().all(|c| c.is_ascii_alphabetic());
    is_word.then(|| word.parse().ok()).flatten()
}

/// Starts to log, for the whole process, panics too.
///
/// # Errors
/// If the level is not understood or something logs already. A file that cannot be written is told in the result and as
/// a warning on standard error.
pub fn start(settings: &LogSettings) -> Result<Logging, LogError> {
    let (subscriber, logging) = build(settings, io::stderr(), io::stderr().is_terminal())?;
    tracing::subscriber::set_global_default(subscriber).map_err(|_| LogError::Started)?;
    log_panics();
    if let Some(fault) = &logging.file_fault {
        tracing::warn!(fault, "no log file; logging to standard error only");
    }
    Ok(logging)
}

/// The subscriber and what keeps its writers running.
fn build<W: Write + Send + 'static>(
    settings: &LogSettings,
    terminal: W,
    coloured: bool,
) -> Result<(impl Subscriber + Send + Sync + use<W>, Logging), LogError> {
    let targets = filter(&settings.level).ok_or_else(|| LogError::Level(settings.level.clone()))?;
    let not_in_file = Arc::new(AtomicU64::new(0));
    let file = settings.folder.as_deref().map(|folder| daily_file(folder, settings.days));
    let (file, file_fault) = match file {
        None => (None, None),
        Some(Ok(file)) => (Some(file), None),
        Some(Err(fault)) => (None, Some(fault)),
    };
    let file = file.map(|file| queue(ADayAtMost::new(file, MOST_BYTES_A_DAY, not_in_file.clone())));
    let (terminal, terminal_guard) = queue(terminal);
    let (file, file_guard) = file.unzip();
    let writers = [Some(&terminal), file.as_ref()];
    let counters = writers.into_iter().flatten().map(NonBlocking::error_counter).collect();
    let guards = [Some(terminal_guard), file_guard].into_iter().flatten().collect();
    // The first layer writes a span's fields for the second too, so the one without colours comes first.
    let subscriber = tracing_subscriber::registry()
        .with(targets)
        .with(file.map(|file| fmt::layer().with_ansi(false).with_writer(file)))
        .with(fmt::layer().with_ansi(coloured).with_writer(terminal));
    Ok((subscriber, Logging { file_fault, counters, not_in_file, _guards: guards }))
}

fn queue(writer: impl Write + Send + 'static) -> (NonBlocking, WorkerGuard) {
    NonBlockingBuilder::default().lossy(true).buffered_lines_limit(QUEUED_LINES).finish(writer)
}

/// `swingd.YYYY-MM-DD.log`, by UTC.
fn daily_file(folder: &Path, days: usize) -> Result<RollingFileAppender, String> {
    let told = |error: &dyn std::fmt::Display| format!("{}: {error}", folder.display());
    super::lock::make_private_folder(folder).map_err(|error| told(&error))?;
    RollingFileAppender::builder()
        .rotation(Rotation::DAILY)
        .filename_prefix("swingd")
        .filename_suffix("log")
        .max_log_files(days.max(1))
        .build(folder)
        .map_err(|error| told(&error))
}

/// Drops what goes beyond a number of bytes a UTC day; counts that and what cannot be written.
struct ADayAtMost<W> {
    inner: W,
    most_bytes: u64,
    day: u64,
    written_bytes: u64,
    dropped_lines: Arc<AtomicU64>,
}

impl<W: Write> ADayAtMost<W> {
    fn new(inner: W, most_bytes: u64, dropped_lines: Arc<AtomicU64>) -> Self {
        Self { inner, most_bytes, day: today(), written_bytes: 0, dropped_lines }
    }

    /// A line on the given day, counted from 1970.
    fn write_on(&mut self, day: u64, line: &[u8]) -> io::Result<()> {
        if day != self.day {
            (self.day, self.written_bytes) = (day, 0);
        }
        let was_full = self.written_bytes >= self.most_bytes;
        self.written_bytes = self.written_bytes.saturating_add(line.len() as u64);
        if was_full {
            self.dropped_lines.fetch_add(1, Ordering::Relaxed);
            return Ok(());
        }
        self.inner.write_all(line)?;
        if self.written_bytes >= self.most_bytes {
            self.inner.write_all(b"The log of this day is full; nothing more is written to this file today.\n")?;
        }
        Ok(())
    }
}

impl<W: Write> Write for ADayAtMost<W> {
    fn write(&mut self, line: &[u8]) -> io::Result<usize> {
        let written = self.write_on(today(), line);
        if written.is_err() {
            self.dropped_lines.fetch_add(1, Ordering::Relaxed);
        }
        written.map(|()| line.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.inner.flush()
    }
}

fn today() -> u64 {
    SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default().as_secs() / 86_400
}

/// Panics become log lines; where errors are not logged, they are told as before.
fn log_panics() {
    let before = std::panic::take_hook();
    std::panic::set_hook(Box::new(
        move |panic| {
            if tracing::enabled!(Level::ERROR) { log_panic(panic) } else { before(panic) }
        },
    ));
}

fn log_panic(panic: &PanicHookInfo<'_>) {
    let thread = std::thread::current();
    let place = panic.location().map(ToString::to_string).unwrap_or_default();
    let message = panic.payload_as_str().unwrap_or("no message");
    tracing::error!(thread = thread.name().unwrap_or("unnamed"), place, panic = message, "a thread panicked");
}

#[cfg(test)]
mod tests;
