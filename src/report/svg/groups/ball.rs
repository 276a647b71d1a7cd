//! How fast the ball came off the bat, as measured, beside how fast it would be if squared up.

use super::super::chart::{Chart, Field, Scale, at, frame_of, shortened, stroke};
use super::super::numbers::table;
use crate::quantile::median;
use crate::report::words::{Units, rounded};
use maud::{Markup, html};

/// Left and right edge of the field.
const ACROSS: (f64, f64) = (24.0, 456.0);
/// Top of the first row, and of one row.
const FIRST_ROW: f64 = 66.0;
const ROW_HEIGHT: f64 = 118.0;
/// Below the last row: numbers and what they are.
const FOOT: f64 = 62.0;
/// Below the top of its row: the points' middle, and the range's top.
const POINTS_BELOW: f64 = 46.0;
const RANGE_BELOW: f64 = 70.0;
/// Of the range.
const RANGE_HEIGHT: f64 = 18.0;
/// Between two lines of its hatching.
const HATCH: f64 = 9.0;
/// Of a point.
const POINT: f64 = 5.0;
/// Points on one place stand this far above one another, on this many levels.
const LEVEL: f64 = 6.0;
const LEVELS: [f64; 5] = [0.0, -1.0, 1.0, -2.0, 2.0];
/// Most points of a row that are drawn.
const MOST_POINTS: usize = 400;
/// Faster is no ball, m/s.
const FASTEST_MPS: f64 = 90.0;
/// Shown at least, m/s.
const LEAST_MPS: (f64, f64) = (20.0, 45.0);

/// Exit speeds of one side.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Measured {
    /// What it is called.
    pub name: String,
    /// What was measured, m/s.
    pub values_mps: Vec<f64>,
    /// What a square hit would have, m/s, from and to; never measured.
    pub range: Option<(f64, f64)>,
}

/// Measured exit speeds, a row a side, with their median; below them, hatched, what a square hit would have.
pub fn ball(rows: &[Measured], units: Units) -> Chart {
    let unit = units.speed();
    let rows: Vec<Row> = rows.iter().map(|row| Row::new(row, unit.factor)).collect();
    let height = FIRST_ROW + ROW_HEIGHT * rows.len().max(1) as f64 + FOOT;
    let field = field(&rows, unit.factor, height);
    let content = html! {
        @if !rows.is_empty() { (field.grid(&field.x.ticks(6.0), &[])) (field.below(&format!("exit speed, {}", unit.sign))) }
        @for (i, row) in rows.iter().enumerate() { (row.svg(FIRST_ROW + ROW_HEIGHT * i as f64, &field)) }
    };
    let title = format!("Ball off the bat, {}", unit.sign);
    let about = if rows.is_empty() { "no ball yet" } else { "points: measured; thick line: their median" };
    let said = format!(
        "Measured exit speeds and their median; hatched: what a square hit would have, which was not measured.{}",
        rows.iter().map(|row| row.sentence(unit.sign)).collect::<String>()
    );
    Chart { svg: frame_of(height, &title, about, &said, &content), as_text: text(&rows, unit.sign) }
}

/// What is drawn of a side, in the units shown.
struct Row<'a> {
    name: &'a str,
    /// Sorted.
    values: Vec<f64>,
    range: Option<(f64, f64)>,
}

impl<'a> Row<'a> {
    fn new(row: &'a Measured, factor: f64) -> Self {
        let sound = |v: &f64| (0.0..FASTEST_MPS).contains(v);
        let mut values: Vec<f64> = row.values_mps.iter().filter(|v| sound(v)).map(|v| v * factor).collect();
        values.sort_by(f64::total_cmp);
        let range = row.range.filter(|(from, to)| sound(from) && sound(to) && from <= to);
        Self { name: &row.name, values, range: range.map(|(from, to)| (from * factor, to * factor)) }
    }

    fn median(&self) -> Option<f64> {
        median(&self.values)
    }

    fn svg(&self, top: f64, field: &Field) -> Markup {
        let y = top + POINTS_BELOW;
        html! {
            text.name.ink x="12" y=(at(top + 18.0)) { (shortened(self.name, 130.0)) }
            text.about.over x="150" y=(at(top + 18.0)) { (self.measured()) }
            @for (x, level) in self.points(field) { circle.hit cx=(at(x)) cy=(at(y + LEVEL * level)) r=(POINT) {} }
            @if let Some(median) = self.median() {
                @let x = field.x.place(median);
                (stroke("median", (x, y - 17.0), (x, y + 17.0)))
            }
            @if let Some(range) = self.range { (if_squared_up(range, top + RANGE_BELOW, field)) }
        }
    }

    fn measured(&self) -> String {
        self.median().map_or("none measured".to_owned(), |median| {
            format!("{} measured, median {}", self.values.len(), rounded(median, 1))
        })
    }

    /// Places along the scale, each on the next level where it would cover the one before it.
    fn points(&self, field: &Field) -> Vec<(f64, f64)> {
        let step = self.values.len().div_ceil(MOST_POINTS).max(1);
        let (mut before, mut level) = (f64::NEG_INFINITY, 0);
        let place = |value: &f64| {
            let x = field.x.place(*value);
            level = if x - before < 2.0 * POINT { level + 1 } else { 0 };
            before = x;
            (x, LEVELS.get(level % LEVELS.len()).copied().unwrap_or(0.0))
        };
        self.values.iter().rev().step_by(step).rev().map(place).collect()
    }

    fn sentence(&self, sign: &str) -> String {
        let range = self.range.map_or(String::new(), |(from, to)| {
            format!("; if squared up {} to {} {sign}, not measured", rounded(from, 0), rounded(to, 0))
        });
        let best = self.values.last().map_or(String::new(), |best| format!(", best {} {sign}", rounded(*best, 1)));
        format!(" {}: {}{best}{range}.", self.name, self.measured())
    }

    fn cells(&self) -> Vec<String> {
        let number = |value: Option<f64>| value.map_or_else(|| "–".to_owned(), |v| rounded(v, 1));
        let range =
            self.range.map_or_else(|| "–".to_owned(), |(f, t)| format!("{} to {}", rounded(f, 0), rounded(t, 0)));
        vec![
            self.name.to_owned(),
            self.values.len().to_string(),
            number(self.values.first().copied()),
            number(self.median()),
            number(self.values.last().copied()),
            range,
        ]
    }
}

/// A box with lines across it.
fn if_squared_up((from, to): (f64, f64), top: f64, field: &Field) -> Markup {
    let (left, right) = (field.x.place(from), field.x.place(to).max(field.x.place(from) + 3.0));
    let count = ((right - left + RANGE_HEIGHT) / HATCH).clamp(0.0, 200.0) as u32;
    let hatch = |k: u32| {
        // From the lower edge up to the right, cut at the sides.
        let foot = left - RANGE_HEIGHT + HATCH * f64::from(k + 1);
        let on = |x: f64| (x, top + RANGE_HEIGHT - (x - foot));
        (on(foot.max(left)), on((foot + RANGE_HEIGHT).min(right)))
    };
    let words_at = 0.5 * (left + right);
    html! {
        @for (a, b) in (0..count).map(hatch).filter(|(a, b)| a.0 < b.0) { (stroke("hatch", a, b)) }
        rect.if x=(at(left)) y=(at(top)) width=(at(right - left)) height=(RANGE_HEIGHT) {}
        text.small.over x=(at(words_at.clamp(156.0, 324.0))) y=(at(top + RANGE_HEIGHT + 18.0)) text-anchor="middle" {
            "if squared up, not measured: " (rounded(from, 0)) " to " (rounded(to, 0))
        }
    }
}

fn field(rows: &[Row], factor: f64, height: f64) -> Field {
    let ranges = rows.iter().filter_map(|row| row.range).flat_map(<[f64; 2]>::from);
    let all: Vec<f64> = rows.iter().flat_map(|row| row.values.iter().copied()).chain(ranges).collect();
    let low = all.iter().copied().fold(LEAST_MPS.0 * factor, f64::min);
    let high = all.iter().copied().fold(LEAST_MPS.1 * factor, f64::max);
    let x = Scale::new(((low / 10.0).floor() * 10.0, (high / 10.0).ceil() * 10.0), ACROSS);
    Field { x, y: Scale::new((0.0, 1.0), (height - FOOT, FIRST_ROW)) }
}

fn text(rows: &[Row], sign: &str) -> Markup {
    let heads = ["Swings from", "Measured", "Least", "Median", "Best", "If squared up, not measured"];
    let with_unit = |(i, head): (usize, &str)| if i < 2 { head.to_owned() } else { format!("{head}, {sign}") };
    let heads: Vec<String> = heads.into_iter().enumerate().map(with_unit).collect();
    let caption = if rows.is_empty() { "Exit speed: no ball yet." } else { "Exit speed of the ball off the bat." };
    table(caption, &heads, rows.iter().map(Row::cells))
}
