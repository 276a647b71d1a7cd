//! What every chart stands on: scales, even ticks, smooth lines, names that do not cover one another.

use super::super::words::rounded;
use crate::engine::swing::{Curves, Swing};
use maud::{Markup, html};
use std::fmt::Write;

/// Of one chart, in its own units; about pixels on a laptop where three stand side by side.
pub(super) const WIDTH: f64 = 480.0;
/// Of one chart.
pub(super) const HEIGHT: f64 = 340.0;

/// Most points of one line; more cannot be seen.
const MOST_POINTS: usize = 48;
/// Values beyond this are no part of a picture.
const LARGEST: f64 = 1e6;
/// From one name to the next below it.
const NAME_HEIGHT: f64 = 21.0;
/// Width of a letter of a name in a wide font, on average.
const LETTER: f64 = 11.5;

/// A chart in both forms.
#[derive(Clone, Debug)]
pub struct Chart {
    /// For eyes. Without ids and without `style` elements or attributes: [`RULES`](super::RULES) are its style.
    pub svg: Markup,
    /// The numbers in it as a `table` with a caption, for whoever reads text.
    pub as_text: Markup,
}

/// A swing to be drawn.
#[derive(Clone, Copy, Debug)]
pub struct Drawn<'a> {
    /// Its curves.
    pub curves: &'a Curves,
    /// Its start, s from contact; negative.
    pub start_s: f64,
}

impl<'a> From<&'a Swing> for Drawn<'a> {
    fn from(swing: &'a Swing) -> Self {
        Self { curves: &swing.curves, start_s: swing.start.0 - swing.contact.0 }
    }
}

/// A line's way from values to places.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Scale {
    values: (f64, f64),
    places: (f64, f64),
}

impl Scale {
    pub(super) fn new(values: (f64, f64), places: (f64, f64)) -> Self {
        Self { values, places }
    }

    pub(super) fn place(&self, value: f64) -> f64 {
        let share = (value - self.values.0) / (self.values.1 - self.values.0);
        self.places.0 + share * (self.places.1 - self.places.0)
    }

    pub(super) fn holds(&self, value: f64) -> bool {
        let slack = 1e-6 * (self.values.1 - self.values.0).abs();
        (self.values.0 - slack..=self.values.1 + slack).contains(&value)
    }

    /// Round values within, at most about `count` of them: steps of 1, 2 or 5 times a power of ten.
    pub(super) fn ticks(&self, count: f64) -> Vec<f64> {
        let step = round_step((self.values.1 - self.values.0) / count);
        let (first, last) = ((self.values.0 / step - 1e-9).ceil(), (self.values.1 / step + 1e-9).floor());
        (0..=(last - first).clamp(0.0, 50.0) as u32).map(|k| (first + f64::from(k)) * step).collect()
    }
}

/// The least of 1, 2 or 5 times a power of ten that is not below `least`.
pub(super) fn round_step(least: f64) -> f64 {
    let power = 10f64.powf(least.max(1e-9).log10().floor());
    [1.0, 2.0, 5.0].into_iter().map(|m| m * power).find(|step| *step >= least * (1.0 - 1e-9)).unwrap_or(10.0 * power)
}

/// A tick's number: as few decimals as tell it.
pub(super) fn tick_text(value: f64) -> String {
    let whole = |decimals: i32| (value * 10f64.powi(decimals) - (value * 10f64.powi(decimals)).round()).abs() < 1e-6;
    rounded(value, (0..3).find(|&decimals| whole(decimals)).unwrap_or(3) as usize)
}

/// A number of the drawing.
pub(super) fn at(place: f64) -> String {
    format!("{place:.1}")
}

/// Where something is drawn, and how values are laid on it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Field {
    pub(super) x: Scale,
    pub(super) y: Scale,
}

impl Field {
    pub(super) fn left(&self) -> f64 {
        self.x.places.0
    }

    pub(super) fn right(&self) -> f64 {
        self.x.places.1
    }

    pub(super) fn top(&self) -> f64 {
        self.y.places.1
    }

    pub(super) fn bottom(&self) -> f64 {
        self.y.places.0
    }

    pub(super) fn place(&self, (x, y): (f64, f64)) -> (f64, f64) {
        (self.x.place(x), self.y.place(y))
    }

    /// The places of those values that lie within the times, or whatever is to the right.
    pub(super) fn places(&self, values: impl Iterator<Item = (f64, f64)>) -> Vec<(f64, f64)> {
        values.filter(|(x, _)| self.x.holds(*x)).map(|value| self.place(value)).collect()
    }

    /// Lines across at the ticks of both scales, with their numbers at the left and below.
    pub(super) fn grid(&self, x_ticks: &[f64], y_ticks: &[f64]) -> Markup {
        self.grid_called(x_ticks, y_ticks, tick_text)
    }

    /// The same with other numbers below.
    pub(super) fn grid_called(&self, x_ticks: &[f64], y_ticks: &[f64], x_text: impl Fn(f64) -> String) -> Markup {
        html! {
            @for &value in y_ticks {
                @let y = at(self.y.place(value));
                line.grid x1=(self.left()) x2=(self.right()) y1=(y) y2=(y) {}
                @let text = tick_text(value);
                // There is room for three signs, for more of them if they are small.
                @if text.chars().count() > 3 {
                    text.small x=(self.left() - 8.0) y=(y) dy="0.34em" text-anchor="end" { (text) }
                } @else {
                    text x=(self.left() - 8.0) y=(y) dy="0.34em" text-anchor="end" { (text) }
                }
            }
            @for &value in x_ticks {
                @let x = at(self.x.place(value));
                line.grid x1=(x) x2=(x) y1=(self.top()) y2=(self.bottom()) {}
                text x=(x) y=(self.bottom() + 23.0) text-anchor="middle" { (x_text(value)) }
            }
        }
    }

    /// What the numbers below a chart are.
    pub(super) fn below(&self, words: &str) -> Markup {
        html! { text.small x=(self.right()) y=(self.bottom() + 46.0) text-anchor="end" { (words) } }
    }

    /// A line down at `x`, its word above it.
    pub(super) fn upright(&self, class: &str, x: f64, word: &str) -> Markup {
        let x = at(self.x.place(x));
        html! {
            line class=(class) x1=(x) x2=(x) y1=(self.top()) y2=(self.bottom()) {}
            text.small x=(x) y=(self.top() - 7.0) text-anchor="middle" { (word) }
        }
    }
}

/// A smooth line through places.
pub(super) fn line(class: &str, bold: bool, places: Vec<(f64, f64)>) -> Markup {
    let class = format!("line {class}{}", if bold { " bold" } else { "" });
    html! { path class=(class) d=(smooth(&thinned(places.into_iter()))) {} }
}

/// What lies between two lines, shaded.
pub(super) fn shade(class: &str, high: Vec<(f64, f64)>, low: Vec<(f64, f64)>) -> Markup {
    let (high, mut low) = (thinned(high.into_iter()), thinned(low.into_iter()));
    low.reverse();
    let back = smooth(&low).replacen('M', "L", 1);
    html! {
        @if high.len() > 1 && low.len() > 1 { path class=(format!("band {class}")) d=(format!("{}{back}Z", smooth(&high))) {} }
    }
}

/// Points that can be drawn, thinned; the last always stays.
pub(super) fn thinned(points: impl Iterator<Item = (f64, f64)>) -> Vec<(f64, f64)> {
    let drawable = |(x, y): &(f64, f64)| x.abs() < LARGEST && y.abs() < LARGEST;
    let points: Vec<_> = points.filter(drawable).collect();
    let step = points.len().div_ceil(MOST_POINTS).max(1);
    let mut thinned: Vec<_> = points.iter().rev().step_by(step).copied().collect();
    thinned.reverse();
    thinned
}

/// A smooth line through the points: cubic Bézier pieces whose ends head along the chord of their neighbours (Catmull &
/// Rom 1974).
pub(super) fn smooth(points: &[(f64, f64)]) -> String {
    let Some(first) = points.first() else {
        return String::new();
    };
    let mut d = format!("M{:.1} {:.1}", first.0, first.1);
    let heading = |i: usize| {
        let (from, to) = (points[i.saturating_sub(1)], points[(i + 1).min(points.len() - 1)]);
        ((to.0 - from.0) / 6.0, (to.1 - from.1) / 6.0)
    };
    for i in 1..points.len() {
        let ((x0, y0), (x1, y1)) = (points[i - 1], points[i]);
        let (out, into) = (heading(i - 1), heading(i));
        let (ax, ay, bx, by) = (x0 + out.0, y0 + out.1, x1 - into.0, y1 - into.1);
        let _ = write!(d, "C{ax:.1} {ay:.1} {bx:.1} {by:.1} {x1:.1} {y1:.1}");
    }
    d
}

/// A straight line.
pub(super) fn stroke(class: &str, (x1, y1): (f64, f64), (x2, y2): (f64, f64)) -> Markup {
    html! { line class=(class) x1=(at(x1)) y1=(at(y1)) x2=(at(x2)) y2=(at(y2)) {} }
}

/// A name where a line ends.
#[derive(Clone, Debug)]
pub(super) struct Name {
    pub(super) class: &'static str,
    pub(super) words: String,
    pub(super) place: (f64, f64),
}

/// Names to the right of their places, moved up or down until none covers another; cut where the chart ends.
pub(super) fn names(mut names: Vec<Name>, field: &Field) -> Markup {
    names.retain(|name| name.place.0.abs() < LARGEST && name.place.1.abs() < LARGEST);
    names.sort_by(|a, b| a.place.1.total_cmp(&b.place.1));
    for i in 1..names.len() {
        names[i].place.1 = names[i].place.1.max(names[i - 1].place.1 + NAME_HEIGHT);
    }
    let mut lowest = field.bottom();
    for name in names.iter_mut().rev() {
        name.place.1 = name.place.1.min(lowest);
        lowest = name.place.1 - NAME_HEIGHT;
    }
    html! {
        @for Name { class, words, place: (x, y) } in &names {
            text class=(format!("name {class}")) x=(at(x + 9.0)) y=(at(*y)) dy="0.34em" { (shortened(words, WIDTH - x - 9.0)) }
        }
    }
}

/// Words that fit into a width.
pub(super) fn shortened(words: &str, width: f64) -> String {
    let most = (width / LETTER).max(2.0) as usize;
    if words.chars().count() <= most {
        return words.to_owned();
    }
    words.chars().take(most - 1).chain(['…']).collect()
}

/// A chart with its title, a line below it, and what is seen in a sentence. It names itself without ids, so that a page
/// can hold it twice.
pub(super) fn frame(title: &str, about: &str, description: &str, content: &Markup) -> Markup {
    frame_of(HEIGHT, title, about, description, content)
}

/// The same of another height.
pub(super) fn frame_of(height: f64, title: &str, about: &str, description: &str, content: &Markup) -> Markup {
    html! {
        svg.chart xmlns="http://www.w3.org/2000/svg" width=(WIDTH) height=(height) viewBox=(format!("0 0 {WIDTH} {height}"))
            role="img" aria-label=(title) {
            desc { (description) }
            text.title x="12" y="24" { (title) }
            text.about x="12" y="46" { (about) }
            (content)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        assert_eq!(Scale::new((0.0, 73.0), (0.0, 1.0)).ticks(5.0), [0.0, 20.0, 40.0, 60.0]);
        assert_eq!(Scale::new((-200.0, 0.0), (0.0, 1.0)).ticks(4.0), [-200.0, -150.0, -100.0, -50.0, 0.0]);
        assert_eq!(round_step(0.3), 0.5);
        assert_eq!(round_step(7.0), 10.0);
        assert_eq!([-0.25, 0.3, -7.0, 1e-9].map(tick_text), ["−0.25", "0.3", "−7", "0"]);
    }

    #[test]
    fn thinning_keeps_the_last_point() {
        let points = thinned((0..1000).map(|k| (f64::from(k), f64::NAN.max(1.0))));
        assert!(points.len() <= MOST_POINTS);
        assert_eq!(points.last(), Some(&(999.0, 1.0)));
    }

    #[test]
    fn a_straight_line_stays_straight() {
        let d = smooth(&[(0.0, 0.0), (6.0, 3.0), (12.0, 6.0)]);
        assert_eq!(d, "M0.0 0.0C1.0 0.5 4.0 2.0 6.0 3.0C8.0 4.0 11.0 5.5 12.0 6.0");
    }

    #[test]
    fn names_that_would_cover_one_another_move_apart_and_stay_inside() {
        let field = Field { x: Scale::new((0.0, 1.0), (50.0, 380.0)), y: Scale::new((0.0, 1.0), (280.0, 80.0)) };
        let name = |words: &str, y: f64| Name { class: "ink", words: words.to_owned(), place: (380.0, y) };
        let drawn = names(vec![name("low", 279.0), name("high", 275.0), name("far", 100.0)], &field).into_string();
        let y = |words: &str| {
            let text = drawn.split("<text").find(|text| text.contains(words)).unwrap();
            text.split(" y=\"").nth(1).unwrap().split('"').next().unwrap().parse::<f64>().unwrap()
        };
        assert_eq!((y("far"), y("high"), y("low")), (100.0, 259.0, 280.0));
        assert_eq!(shortened("a very long name of a side", 104.0), "a very l…");
    }
}
