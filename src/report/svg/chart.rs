//! Scales, even ticks and smooth lines.

use maud::{Markup, html};
use std::fmt::Write;

/// Of one chart, in its own units; about pixels on a phone.
pub(super) const WIDTH: f64 = 480.0;
/// Of one chart.
pub(super) const HEIGHT: f64 = 340.0;
/// Where curves are drawn: left, top, right, bottom.
pub(super) const AREA: [f64; 4] = [46.0, 58.0, 466.0, 298.0];

/// Most points of one line; more cannot be seen.
const MOST_POINTS: usize = 48;
/// Values beyond this are no part of a picture.
const LARGEST: f64 = 1e6;

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

    /// Round values within, about `count` of them: steps of 1, 2 or 5 times a power of ten.
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
    let decimals = if (value - value.round()).abs() < 1e-6 { 0 } else { 1 };
    super::super::words::rounded(value, decimals)
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

/// A chart with its title, a line below it, and what it holds.
pub(super) fn chart(key: &str, title: &str, about: &str, description: &str, content: &Markup) -> Markup {
    let (title_id, description_id) = (format!("{key}-title"), format!("{key}-desc"));
    html! {
        svg.chart xmlns="http://www.w3.org/2000/svg" width=(WIDTH) height=(HEIGHT) viewBox=(format!("0 0 {WIDTH} {HEIGHT}"))
            role="img" aria-labelledby=(format!("{title_id} {description_id}")) {
            title id=(title_id) { (title) }
            desc id=(description_id) { (description) }
            text.title x="14" y="24" { (title) }
            text x="14" y="43" { (about) }
            (content)
        }
    }
}

/// Lines across at the ticks of both scales, with their numbers at the left and below.
pub(super) fn grid(x: (&Scale, &[f64]), y: (&Scale, &[f64])) -> Markup {
    let [left, top, right, bottom] = AREA;
    html! {
        @for &value in y.1 {
            @let at = format!("{:.1}", y.0.place(value));
            line.grid x1=(left) x2=(right) y1=(at) y2=(at) {}
            text x=(left - 7.0) y=(at) dy="0.34em" text-anchor="end" { (tick_text(value)) }
        }
        @for &value in x.1 {
            @let at = format!("{:.1}", x.0.place(value));
            line.grid x1=(at) x2=(at) y1=(top) y2=(bottom) {}
            text x=(at) y=(bottom + 19.0) text-anchor="middle" { (tick_text(value)) }
        }
    }
}

/// What the numbers below a chart are.
pub(super) fn below(text: &str) -> Markup {
    html! { text x=(AREA[2]) y=(AREA[3] + 36.0) text-anchor="end" { (text) } }
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
}
