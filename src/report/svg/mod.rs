//! Swings as charts: speed against time from contact, the path from the side and from above, a metric over months.
//!
//! [`speed`], [`path`] and [`trend`] show one swing or many lessons, each as SVG and as a table of the same numbers;
//! [`speeds`] and [`paths`] all swings of a recording, the fastest bold; [`picture`] those three as one file; [`groups`] two
//! groups of swings, then and now.
//!
//! A chart has no script, no id and no outside part; it follows the reader's light or dark scheme by CSS variables. Colours
//! are of the set that people with any colour vision tell apart (Okabe & Ito, *Color Universal Design*, 2008), darker in
//! light schemes so that words in them can be read; no line is told by colour alone: the hands' lines are dashed, lines are
//! named where they end, and lines of a trend have marks of their own.

mod band;
mod chart;
pub mod groups;
mod numbers;
mod path;
mod speed;
mod style;
mod trend;

pub use band::{Band, Called, Ranges};
pub use chart::{Chart, Drawn};
pub use path::{Pitch, Square, path, paths};
pub use speed::{speed, speeds};
pub use style::{COLOURS, RULES};
pub use trend::{TrendLine, TrendPoint, trend};

use super::words::Units;
use crate::engine::metrics::Metric;
use crate::engine::swing::Swing;
use maud::{PreEscaped, html};

/// From which side a path is seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum View {
    /// Level with the bat, its heading at contact to the right.
    Side,
    /// From above, its heading at contact to the right.
    Above,
}

impl View {
    fn words(self) -> &'static str {
        match self {
            View::Side => "the side",
            View::Above => "above",
        }
    }

    /// Which way a place is that far up on paper.
    fn beside(self, up: f64) -> &'static str {
        match (self, up < 0.0) {
            (View::Side, false) => "above",
            (View::Side, true) => "below",
            (View::Above, false) => "to the left of",
            (View::Above, true) => "to the right of",
        }
    }
}

/// All three below one another, as a file of its own.
pub fn picture(swings: &[Swing], units: Units) -> String {
    let (width, height) = (chart::WIDTH, chart::HEIGHT);
    let panels = [speeds(swings, units), paths(swings, units, View::Side), paths(swings, units, View::Above)];
    let total = height * panels.len() as f64;
    html! {
        svg.chart xmlns="http://www.w3.org/2000/svg" width=(width) height=(total) viewBox=(format!("0 0 {width} {total}")) {
            style { (PreEscaped(COLOURS)) (PreEscaped(RULES)) }
            @for (i, panel) in panels.iter().enumerate() {
                g transform=(format!("translate(0 {})", height * i as f64)) { (panel) }
            }
        }
    }
    .into_string()
}

/// The place of the swing drawn bold.
fn fastest(swings: &[Swing]) -> Option<usize> {
    let speed = |swing: &Swing| swing.metrics[Metric::BatSpeed.index()].map_or(f64::NEG_INFINITY, |m| m.value);
    (0..swings.len()).max_by(|&a, &b| speed(&swings[a]).total_cmp(&speed(&swings[b])))
}

/// "swing 3, the fastest of 12", as far as there is something to say.
fn which(swings: &[Swing]) -> String {
    match (swings.len(), fastest(swings)) {
        (0, _) | (_, None) => "no swing".to_owned(),
        (1, _) => "one swing".to_owned(),
        (count, Some(bold)) => format!("{count} swings, bold: swing {}, the fastest", bold + 1),
    }
}

/// All but the swing drawn bold, and that one.
fn others(swings: &[Swing]) -> (Vec<Drawn<'_>>, Option<Drawn<'_>>) {
    let bold = fastest(swings);
    let thin = swings.iter().enumerate().filter(|(i, _)| Some(*i) != bold).map(|(_, swing)| swing.into());
    (thin.collect(), bold.map(|i| (&swings[i]).into()))
}

/// "12 swings".
fn swings_in_words(count: usize) -> String {
    format!("{count} swings")
}

#[cfg(test)]
mod tests;
