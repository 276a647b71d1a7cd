//! A comparison to take home: one HTML file that needs nothing else, for an athlete and a parent in plain words, or for the
//! instructor in full. It prints on A4 and Letter alike: no size is fixed, what belongs together stays together.
//!
//! [`Handout`] is all that goes into it; [`handout`] draws it. [`athlete`] and [`instructor`] are the two versions,
//! [`parts`] what both have.

mod athlete;
mod instructor;
mod parts;
mod pictures;
mod style;
#[cfg(test)]
mod tests;

use super::svg::{COLOURS, RULES, TrendLine};
use super::then_now::{Balls, Heard, LookedAt, Told};
use super::words::Units;
use crate::compare::alike::{Alike, Trend};
use crate::compare::conditions::Mismatch;
use crate::compare::curves::ComparedCurves;
use crate::compare::numbers::Compared;
use crate::engine::metrics::{Flag, Metric};
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// For whom it is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Reader {
    /// The athlete and a parent: plain words, few numbers.
    #[default]
    Athlete,
    /// The instructor: everything.
    Instructor,
}

/// All that goes into it.
#[derive(Clone, Debug, Default)]
pub struct Handout {
    /// For whom.
    pub reader: Reader,
    /// Units of all numbers.
    pub units: Units,
    /// Who swung; no other name is in it.
    pub nickname: String,
    /// The day it was made, in words.
    pub made: String,
    /// The earlier group.
    pub then: Heard,
    /// The later group.
    pub now: Heard,
    /// What was not the same.
    pub mismatches: Vec<Mismatch>,
    /// The answers.
    pub numbers: Vec<Compared>,
    /// Speeds and paths.
    pub curves: Option<ComparedCurves>,
    /// How much of each group was looked at.
    pub looked_at: [LookedAt; 2],
    /// How alike the swings of each group are.
    pub alike: [Vec<Alike>; 2],
    /// How each metric went over months, over all swings of the later group's kind.
    pub trends: Vec<(Metric, Option<Trend>)>,
    /// What was not the same over these months, in words with its days.
    pub varied: Vec<String>,
    /// The bat speed of each day of that kind.
    pub trend_lines: Vec<TrendLine>,
    /// Balls of the earlier and of the later group.
    pub balls: Vec<Balls>,
    /// The instructor's words.
    pub words: String,
    /// What to do until next time.
    pub homework: Vec<Homework>,
    /// Flags of the swings that were left out for one, with how many swings have it.
    pub flags: Vec<(Flag, usize)>,
    /// What measured and compared: "swingd 0.7.0".
    pub version: String,
}

/// One thing to do until next time.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Homework {
    /// What to do,
    pub drill: String,
    /// with what,
    pub implement: String,
    /// how much of it,
    pub amount: String,
    /// and what else there is to say.
    pub words: String,
}

impl Handout {
    /// The answers in words, in their order.
    fn told(&self) -> Vec<Told> {
        self.numbers.iter().map(|compared| Told::new(compared, self.units)).collect()
    }

    fn title(&self) -> String {
        match self.reader {
            Reader::Athlete => format!("{}: then and now", self.nickname),
            Reader::Instructor => format!("{}: then and now, in full", self.nickname),
        }
    }
}

/// The file.
pub fn handout(handout: &Handout) -> String {
    let title = handout.title();
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="referrer" content="no-referrer";
                title { (title) }
                style { (PreEscaped(COLOURS)) (PreEscaped(RULES)) (PreEscaped(style::STYLE)) }
            }
            body { main { (main(handout, &title)) } }
        }
    }
    .into_string()
}

fn main(handout: &Handout, title: &str) -> Markup {
    html! {
        header {
            h1 { bdi { (title) } }
            p.faint { "Made on " (handout.made) " from swings measured with a sensor on the bat's knob." }
        }
        @match handout.reader {
            Reader::Athlete => (athlete::sections(handout)),
            Reader::Instructor => (instructor::sections(handout)),
        }
    }
}
