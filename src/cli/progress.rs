//! A progress bar on standard error, for people and only when the work is long.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::IsTerminal;
use std::time::{Duration, Instant};

/// Work that is done sooner shows no bar.
const PATIENCE: Duration = Duration::from_millis(700);
/// Steps of a bar that stands for one file.
const STEPS: u64 = 1000;

/// A bar that appears when the work turns out to be long, and never where nobody watches.
pub(super) struct Progress {
    bar: ProgressBar,
    begun: Instant,
    wanted: bool,
}

impl Progress {
    /// For one file, told in shares.
    pub(super) fn of_a_file(wanted: bool) -> Self {
        Self::new(STEPS, "{bar:40} {percent} %  {eta}", wanted)
    }

    /// For many, told one by one.
    pub(super) fn of_files(count: usize, wanted: bool) -> Self {
        Self::new(count as u64, "{bar:40} {pos} of {len} files  {eta}", wanted)
    }

    fn new(length: u64, template: &str, wanted: bool) -> Self {
        let bar = ProgressBar::with_draw_target(Some(length), ProgressDrawTarget::hidden());
        if let Ok(style) = ProgressStyle::with_template(template) {
            bar.set_style(style);
        }
        Self { bar, begun: Instant::now(), wanted: wanted && std::io::stderr().is_terminal() }
    }

    /// The share of one file that is done.
    pub(super) fn share(&mut self, share: f64) {
        self.show_if_long();
        self.bar.set_position((share.clamp(0.0, 1.0) * STEPS as f64) as u64);
    }

    /// One more of many is done.
    pub(super) fn one_more(&mut self) {
        self.show_if_long();
        self.bar.inc(1);
    }

    /// Runs what prints with the bar out of the way.
    pub(super) fn aside<T>(&self, print: impl FnOnce() -> T) -> T {
        self.bar.suspend(print)
    }

    fn show_if_long(&mut self) {
        if self.wanted && self.begun.elapsed() > PATIENCE {
            self.bar.set_draw_target(ProgressDrawTarget::stderr());
            self.wanted = false;
        }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}
