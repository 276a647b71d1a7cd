//! What speeds are drawn against, and the field they are drawn on.

use super::super::band::value_at;
use super::super::chart::{Field, Scale, round_step, tick_text};
use super::super::numbers::table;
use crate::compare::curves::{ComparedLine, MeanBand, Stretch};
use crate::report::words::{Unit, Units, rounded};
use maud::{Markup, html};

/// Faster is no bat, m/s.
const FASTEST_MPS: f64 = 200.0;

/// A difference's field against its greatest number: room below it for those of the other axis.
const ROOM: f64 = 1.08;

/// What the places of a [`ComparedLine`] are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Against {
    /// Seconds from contact, negative before.
    Time,
    /// Metres of the sweet spot's path still to go to contact, negative.
    Distance,
}

impl Against {
    pub(super) fn unit(self, units: Units) -> Unit {
        match self {
            Against::Time => Unit { sign: "ms", factor: 1e3 },
            Against::Distance => units.length(),
        }
    }

    /// What the numbers below a chart are.
    pub(super) fn below(self, units: Units) -> String {
        match self {
            Against::Time => "before contact, ms".to_owned(),
            Against::Distance => format!("way of the barrel to contact, {}", self.unit(units).sign),
        }
    }

    /// Where on the way, in a sentence.
    fn words(self) -> &'static str {
        match self {
            Against::Time => "time before contact",
            Against::Distance => "the barrel's way still to go to contact",
        }
    }

    pub(super) fn of_speed(self) -> String {
        format!("against {}", self.words())
    }

    /// Shown at least, at most, and a step of what is shown, in SI.
    fn shown(self) -> (f64, f64, f64) {
        match self {
            Against::Time => (0.15, 0.4, 0.05),
            Against::Distance => (1.5, 5.0, 0.5),
        }
    }

    /// Between two rows of a table, in SI.
    fn row_every(self, units: Units) -> f64 {
        match (self, units) {
            (Against::Time, _) => 0.025,
            (Against::Distance, Units::Us) => 0.5 / Units::Us.length().factor,
            (Against::Distance, Units::Metric) => 0.2,
        }
    }

    fn decimals(self) -> usize {
        match self {
            Against::Time => 0,
            Against::Distance => 1,
        }
    }

    /// From contact back to the first place, a little rounded, in the units shown; negative to zero.
    fn range(self, lines: &[&ComparedLine], units: Units) -> (f64, f64) {
        let (least, most, step) = self.shown();
        let first = lines.iter().flat_map(|line| &line.places).copied().filter(|place| place.is_finite());
        let before = (-first.fold(0.0, f64::min)).clamp(least, most);
        (-(before / step - 1e-6).ceil() * step * self.unit(units).factor, 0.0)
    }

    /// "120 to 60 ms before contact".
    fn stretches(self, stretches: &[Stretch], units: Units) -> String {
        let unit = self.unit(units);
        let number = |place: f64| rounded(-place * unit.factor, self.decimals());
        let one = |stretch: &Stretch| format!("{} to {}", number(stretch.from), number(stretch.to));
        let all: Vec<String> = stretches.iter().map(one).collect();
        format!("{} {} before contact", all.join(", "), unit.sign)
    }

    /// Stretches that can be drawn.
    pub(super) fn sound(self, line: &ComparedLine) -> Option<Vec<Stretch>> {
        let (_, most, _) = self.shown();
        let sound = |s: &&Stretch| s.from <= s.to && (-most..=0.0).contains(&s.to) && s.from.is_finite();
        let within = |s: &Stretch| Stretch { from: s.from.max(-most), ..*s };
        Some(line.difference.as_ref()?.differs.iter().filter(sound).map(within).collect())
    }

    /// Where the groups are shown to differ, or that they are nowhere, or that nobody can say.
    pub fn where_it_differs(self, line: &ComparedLine, units: Units) -> String {
        let known = line.difference.as_ref().is_some_and(|d| d.mean.iter().zip(&d.half_width).any(is_pair));
        match self.sound(line) {
            Some(stretches) if !stretches.is_empty() => {
                format!("shown to differ: {}", self.stretches(&stretches, units))
            }
            Some(_) if known => "nowhere shown to differ".to_owned(),
            _ => "too few days to say where they differ".to_owned(),
        }
    }
}

fn is_pair((mean, half_width): (&f64, &f64)) -> bool {
    mean.is_finite() && half_width.is_finite()
}

/// A field with the given places from top to bottom, of speeds from `lowest` to `highest` as shown.
pub(super) fn field(
    lines: &[&ComparedLine],
    against: Against,
    units: Units,
    speeds: (f64, f64),
    across: (f64, f64),
) -> Field {
    Field { x: Scale::new(against.range(lines, units), across), y: Scale::new(speeds, (282.0, 82.0)) }
}

/// From zero, or a little below it where a part of a speed is, to the next round number above the greatest.
pub(super) fn speeds_of(bands: &[&MeanBand], units: Units) -> (f64, f64) {
    let (step, least) = match units {
        Units::Us => (20.0, 80.0),
        Units::Metric => (10.0, 40.0),
    };
    let factor = units.speed().factor;
    let values = || {
        let all = bands.iter().flat_map(|band| band.mean.iter().chain(&band.high).chain(&band.low));
        all.copied().filter(|v| v.abs() < FASTEST_MPS).map(|v| v * factor)
    };
    let greatest = (values().fold(0.0, f64::max) / step).ceil() * step;
    let lowest = (values().fold(0.0, f64::min) / step * 4.0).floor() * step / 4.0;
    (lowest, greatest.max(least))
}

/// Even both ways of zero, and wide enough for all of these.
pub(super) fn even_speeds(values_mps: impl Iterator<Item = f64>, units: Units) -> (f64, f64) {
    let factor = units.speed().factor;
    let greatest = values_mps.map(f64::abs).filter(|v| *v < FASTEST_MPS).fold(0.0, f64::max) * factor;
    let step = round_step((greatest / 3.0).max(1.0));
    let most = ((greatest / step - 1e-9).ceil() * step).max(2.0 * step);
    (-ROOM * most, ROOM * most)
}

/// Where the values of a line are drawn; what is no speed is left out.
pub(super) fn places(
    line: &ComparedLine,
    values_mps: &[f64],
    against: Against,
    units: Units,
    field: &Field,
) -> Vec<(f64, f64)> {
    let (place, speed) = (against.unit(units).factor, units.speed().factor);
    let sound = line.places.iter().zip(values_mps).filter(|(_, v)| v.abs() < FASTEST_MPS);
    field.places(sound.map(|(x, v)| (x * place, v * speed)))
}

/// The grid, with the numbers below it counted back from contact.
pub(super) fn grid(field: &Field, against: Against, units: Units) -> Markup {
    html! {
        (field.grid_called(&field.x.ticks(5.0), &field.y.ticks(5.0), |x| tick_text(-x)))
        (field.upright("zero", 0.0, "contact"))
        (field.below(&against.below(units)))
    }
}

/// What a column of a table is of.
pub(super) struct Column<'a> {
    pub(super) head: String,
    pub(super) values: &'a [f64],
    /// With a range around it, and how it is said: "62.1 (60.0 to 64.0)" or "3.1 ± 1.2".
    pub(super) range: Range<'a>,
}

/// What is known of a value besides itself.
pub(super) enum Range<'a> {
    None,
    Between(&'a [f64], &'a [f64]),
    Give(&'a [f64]),
}

/// Numbers of a line at even places.
pub(super) fn numbers(
    caption: &str,
    line_places: &[f64],
    columns: &[Column],
    against: Against,
    units: Units,
) -> Markup {
    let unit = against.unit(units);
    let capital = match against {
        Against::Time => "Before contact",
        Against::Distance => "Way to contact",
    };
    let heads = std::iter::once(format!("{capital}, {}", unit.sign)).chain(columns.iter().map(|c| c.head.clone()));
    let (_, most, _) = against.shown();
    let every = against.row_every(units);
    let steps = (0..=(most / every + 1e-9) as u32).rev().map(|k| -f64::from(k) * every);
    let row = |place: f64| {
        let cells: Vec<_> = columns.iter().map(|column| column.cell(line_places, place, units)).collect();
        cells.iter().any(Option::is_some).then(|| {
            let cells = cells.into_iter().map(|cell| cell.unwrap_or_else(|| "–".to_owned()));
            std::iter::once(rounded(-place * unit.factor, against.decimals())).chain(cells).collect()
        })
    };
    table(caption, &heads.collect::<Vec<_>>(), steps.filter_map(row))
}

impl Column<'_> {
    fn cell(&self, places: &[f64], place: f64, units: Units) -> Option<String> {
        let number = |values| {
            let value = value_at(places, values, place).filter(|v| v.abs() < FASTEST_MPS)?;
            Some(rounded(value * units.speed().factor, 1))
        };
        let value = number(self.values)?;
        Some(match self.range {
            Range::None => value,
            Range::Between(low, high) => match (number(low), number(high)) {
                (Some(low), Some(high)) => format!("{value} ({low} to {high})"),
                _ => value,
            },
            Range::Give(half_width) => format!("{value} ± {}", number(half_width)?),
        })
    }
}

/// "24 swings on 4 days".
pub(super) fn counted(band: &MeanBand) -> String {
    let swings = if band.swings == 1 { "swing" } else { "swings" };
    let days = if band.days == 1 { "day" } else { "days" };
    format!("{} {swings} on {} {days}", band.swings, band.days)
}

/// The last value of a line that ends at contact, as it is shown.
pub(super) fn at_contact(line: &ComparedLine, values_mps: &[f64], units: Units) -> Option<String> {
    let value = value_at(&line.places, values_mps, 0.0).filter(|v| v.abs() < FASTEST_MPS)?;
    Some(rounded(value * units.speed().factor, 1))
}
