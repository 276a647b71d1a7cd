//! A metric over months.

use super::super::words::{Unit, Units, label, rounded};
use super::chart::{Chart, Field, Name, Scale, WIDTH, at, frame, names, round_step, shortened, stroke};
use super::numbers::table;
use crate::engine::metrics::Metric;
use maud::{Markup, html};
use std::fmt::Write;

/// Marks, dashes and colours: a line takes the next; beyond the last they come again.
const CLASSES: [&str; 3] = ["one", "two", "three"];
/// Between marks of different lines on the same day.
const BESIDE: f64 = 9.0;
/// Width of a letter of a date.
const DATE_LETTER: f64 = 8.6;
/// Between two dates.
const DATE_GAP: f64 = 14.0;
/// Between two counts.
const COUNT_ROOM: f64 = 26.0;
/// Half the height of a mark.
const MARK: f64 = 8.0;
/// Days and values beyond this are none.
const LARGEST: f64 = 1e7;

/// One lesson's swings from one side, in a trend.
#[derive(Clone, Debug, PartialEq)]
pub struct TrendPoint {
    /// When the lesson was: days since 1970, for the place.
    pub day: f64,
    /// The same in words, as it is written.
    pub when: String,
    /// The values of its counted swings, in the metric's own unit.
    pub values: Vec<f64>,
}

/// A line of a trend: its name (a side) and its lessons in order of time.
#[derive(Clone, Debug, PartialEq)]
pub struct TrendLine {
    /// What it is called.
    pub name: String,
    /// Its points.
    pub points: Vec<TrendPoint>,
}

/// A metric over months: each lesson's mean with the spread of its swings (1 s.d. either way), a line a side.
pub fn trend(metric: Metric, lines: &[TrendLine], units: Units) -> Chart {
    let unit = units.of(metric);
    let lines: Vec<Line> = lines.iter().enumerate().map(|(i, line)| Line::new(i, line, unit)).collect();
    let scene = Scene { metric, unit, field: field(&lines), lines };
    Chart { svg: scene.svg(), as_text: scene.text() }
}

/// A lesson, in the units shown.
struct Lesson<'a> {
    day: f64,
    when: &'a str,
    count: usize,
    mean: f64,
    /// Standard deviation of its swings, of two or more.
    spread: Option<f64>,
}

impl<'a> Lesson<'a> {
    /// `None` without a value.
    fn new(point: &'a TrendPoint, unit: Unit) -> Option<Self> {
        let values: Vec<f64> = point.values.iter().map(|v| v * unit.factor).filter(|v| v.abs() < LARGEST).collect();
        if values.is_empty() || point.day.is_nan() || point.day.abs() > LARGEST {
            return None;
        }
        let count = values.len();
        let mean = values.iter().sum::<f64>() / count as f64;
        let squares: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
        let spread = (count > 1).then(|| (squares / (count - 1) as f64).sqrt());
        Some(Self { day: point.day, when: &point.when, count, mean, spread })
    }

    fn range(&self) -> (f64, f64) {
        let spread = self.spread.unwrap_or(0.0);
        (self.mean - spread, self.mean + spread)
    }
}

struct Line<'a> {
    name: &'a str,
    class: &'static str,
    /// How far its marks stand beside their day.
    aside: f64,
    lessons: Vec<Lesson<'a>>,
}

impl<'a> Line<'a> {
    fn new(i: usize, line: &'a TrendLine, unit: Unit) -> Self {
        let lessons = line.points.iter().filter_map(|point| Lesson::new(point, unit)).collect();
        Self {
            name: &line.name,
            class: CLASSES[i % CLASSES.len()],
            aside: BESIDE * (i % CLASSES.len()) as f64,
            lessons,
        }
    }

    fn places(&self, field: &Field) -> Vec<(f64, f64)> {
        let place = |lesson: &Lesson| field.place((lesson.day, lesson.mean));
        self.lessons.iter().map(place).map(|(x, y)| (x + self.aside, y)).collect()
    }
}

struct Scene<'a> {
    metric: Metric,
    unit: Unit,
    field: Field,
    lines: Vec<Line<'a>>,
}

impl Scene<'_> {
    fn svg(&self) -> Markup {
        let content = html! {
            @if !self.is_empty() { (self.field.grid(&[], &self.field.y.ticks(4.0))) }
            (self.dates())
            @for line in &self.lines { (self.line(line)) }
            (names(self.names(), &self.field))
        };
        let about = if self.is_empty() { "no swing yet" } else { "point: mean of its swings; bar: ±1 s.d." };
        let title = format!("{}, {}", label(self.metric), self.unit.sign);
        frame(&title, about, &self.description(), &content)
    }

    fn is_empty(&self) -> bool {
        self.lines.iter().all(|line| line.lessons.is_empty())
    }

    fn line(&self, line: &Line) -> Markup {
        let places = line.places(&self.field);
        let mut d = String::new();
        for (i, (x, y)) in places.iter().enumerate() {
            let _ = write!(d, "{}{x:.1} {y:.1}", if i == 0 { 'M' } else { 'L' });
        }
        html! {
            @if places.len() > 1 { path.join.(line.class) d=(d) {} }
            @for (lesson, &(x, y)) in line.lessons.iter().zip(&places) {
                @if lesson.spread.is_some() {
                    @let (low, high) = lesson.range();
                    (stroke(&format!("spread {}", line.class), (x, self.field.y.place(low)), (x, self.field.y.place(high))))
                }
                (mark(line.class, x, y))
            }
            (self.counts(line))
        }
    }

    /// How many swings, above the bars of the first line and below those of others, where there is room.
    fn counts(&self, line: &Line) -> Markup {
        let mut free_from = f64::NEG_INFINITY;
        let mut written = Vec::new();
        for (lesson, (x, y)) in line.lessons.iter().zip(line.places(&self.field)) {
            if x >= free_from {
                let (low, high) = lesson.range();
                let above = self.field.y.place(high).min(y - MARK) - 6.0;
                let below = self.field.y.place(low).max(y + MARK) + 16.0;
                written.push((x, if line.aside > 0.0 { below } else { above }, lesson.count));
                free_from = x + COUNT_ROOM;
            }
        }
        html! { @for (x, y, count) in written { text.small x=(at(x)) y=(at(y)) text-anchor="middle" { (count) } } }
    }

    fn names(&self) -> Vec<Name> {
        let name = |line: &Line| {
            let (_, y) = *line.places(&self.field).last()?;
            Some(Name { class: line.class, words: line.name.to_owned(), place: (self.field.right(), y) })
        };
        self.lines.iter().filter_map(name).collect()
    }

    /// Lessons in order of time, each day once.
    fn days(&self) -> Vec<(f64, &str)> {
        let lessons = self.lines.iter().flat_map(|line| &line.lessons);
        let mut days: Vec<(f64, &str)> = lessons.map(|lesson| (lesson.day, lesson.when)).collect();
        days.sort_by(|a, b| a.0.total_cmp(&b.0));
        days.dedup_by(|a, b| a.0 == b.0);
        days
    }

    /// A mark for every lesson, and the dates of the last, the first and as many between as there is room for.
    fn dates(&self) -> Markup {
        let days = self.days();
        let bottom = self.field.bottom();
        let mut taken: Vec<(f64, f64)> = Vec::new();
        let mut written = Vec::new();
        let order = days.iter().rev().take(1).chain(days.iter().take(days.len().saturating_sub(1)));
        for &(day, when) in order {
            let words = shortened(when, WIDTH / 2.0);
            let half = 0.5 * DATE_LETTER * words.chars().count() as f64;
            let x = self.field.x.place(day).clamp(half + 2.0, WIDTH - half - 2.0);
            if taken.iter().all(|(from, to)| x + half + DATE_GAP < *from || x - half - DATE_GAP > *to) {
                taken.push((x - half, x + half));
                written.push((x, words));
            }
        }
        html! {
            @for (day, _) in &days {
                @let x = at(self.field.x.place(*day));
                line.zero x1=(x) x2=(x) y1=(bottom) y2=(bottom + 7.0) {}
            }
            @for (x, words) in &written { text.small x=(at(*x)) y=(bottom + 27.0) text-anchor="middle" { (words) } }
        }
    }

    fn with_unit(&self, value: f64) -> String {
        let sign = self.unit.sign;
        let space = if sign == "°" { "" } else { " " };
        format!("{}{space}{sign}", self.rounded(value))
    }

    fn rounded(&self, value: f64) -> String {
        let decimals = match self.unit.sign {
            "°/s" => 0,
            "m" | "ft" => 2,
            _ => 1,
        };
        rounded(value, decimals)
    }

    fn description(&self) -> String {
        let mut said =
            format!("{} of each lesson: mean and spread (1 standard deviation) of its swings.", label(self.metric));
        for line in &self.lines {
            let (Some(first), Some(last)) = (line.lessons.first(), line.lessons.last()) else {
                continue;
            };
            let lessons = if line.lessons.len() == 1 { "lesson" } else { "lessons" };
            let _ = write!(
                said,
                " {}, {} {lessons}: {} on {}",
                line.name,
                line.lessons.len(),
                self.with_unit(first.mean),
                first.when
            );
            if line.lessons.len() > 1 {
                let _ = write!(said, ", {} on {}", self.with_unit(last.mean), last.when);
            }
            said += ".";
        }
        said + if self.is_empty() { " No swing yet." } else { "" }
    }

    fn text(&self) -> Markup {
        let sign = self.unit.sign;
        let mean = format!("Mean, {sign}");
        let spread = format!("Spread (1 s.d.), {sign}");
        let heads = ["Lesson".to_owned(), "Swings from".to_owned(), mean, spread, "Swings".to_owned()];
        let lessons = self.lines.iter().flat_map(|line| line.lessons.iter().map(move |lesson| (line.name, lesson)));
        let mut rows: Vec<_> = lessons.collect();
        rows.sort_by(|a, b| a.1.day.total_cmp(&b.1.day));
        let row = |(name, lesson): (&str, &Lesson)| {
            let spread = lesson.spread.map_or_else(|| "–".to_owned(), |spread| self.rounded(spread));
            vec![lesson.when.to_owned(), name.to_owned(), self.rounded(lesson.mean), spread, lesson.count.to_string()]
        };
        let none = if self.is_empty() { ": no swing yet" } else { "" };
        table(&format!("{} by lesson{none}.", label(self.metric)), &heads, rows.into_iter().map(row))
    }
}

/// Lessons from the left to the right edge; values to round numbers.
fn field(lines: &[Line]) -> Field {
    let lessons = || lines.iter().flat_map(|line| &line.lessons);
    let range = |values: &mut dyn Iterator<Item = f64>| {
        values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)))
    };
    let (first, last) = range(&mut lessons().map(|lesson| lesson.day));
    let days = if first < last { (first, last) } else { (first.min(0.0) - 1.0, first.min(0.0) + 1.0) };
    let days = if first == last { (first - 1.0, first + 1.0) } else { days };
    let (low, high) = range(&mut lessons().flat_map(|lesson| <[f64; 2]>::from(lesson.range())));
    let (low, high) = if low <= high { (low, high) } else { (0.0, 1.0) };
    // A mean of hardly any spread is not blown up to fill the chart.
    let step = round_step(((high - low) / 3.0).max(0.02 * high.abs().max(low.abs())).max(0.1));
    let values = ((low / step).floor() * step, ((high / step).ceil() * step).max((low / step).floor() * step + step));
    let days_per_place = (days.1 - days.0) / 272.0;
    let x = Scale::new((days.0 - 20.0 * days_per_place, days.1 + 38.0 * days_per_place), (60.0, 390.0));
    Field { x, y: Scale::new(values, (288.0, 70.0)) }
}

/// A circle, a square, a triangle.
fn mark(class: &str, x: f64, y: f64) -> Markup {
    let corners = |corners: &[(f64, f64)]| {
        corners.iter().map(|(dx, dy)| format!("{:.1},{:.1}", x + dx, y + dy)).collect::<Vec<_>>().join(" ")
    };
    let class_of_mark = format!("mean {class}");
    html! {
        @match class {
            "one" => { circle class=(class_of_mark) cx=(at(x)) cy=(at(y)) r="7.5" {} }
            "two" => { polygon class=(class_of_mark) points=(corners(&[(-7.0, -7.0), (7.0, -7.0), (7.0, 7.0), (-7.0, 7.0)])) {} }
            _ => { polygon class=(class_of_mark) points=(corners(&[(0.0, -9.0), (8.5, 7.0), (-8.5, 7.0)])) {} }
        }
    }
}
