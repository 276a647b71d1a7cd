//! Path of the sweet spot and the hands from start to contact, as seen from one side.

use super::super::words::{Unit, Units};
use super::chart::{AREA, Scale, below, chart, grid, smooth, thinned};
use super::{View, bold_last, which};
use crate::engine::swing::Swing;
use maud::{Markup, html};
use nalgebra::Vector3;

/// Between two drawn places of the bold swing's bat, s.
const BAT_EVERY_S: f64 = 0.02;
/// Shown after contact, of swings that met nothing, s.
const AFTER_S: f64 = 0.06;
/// Points farther than this from the sweet spot at contact are not drawn, m.
const FARTHEST_M: f64 = 10.0;

/// How a view lays the world on paper.
struct Paper {
    view: View,
    unit: Unit,
    x: Scale,
    y: Scale,
}

pub(super) fn panel(swings: &[Swing], units: Units, view: View) -> Markup {
    let paper = Paper::new(swings, units.length(), view);
    let (seen_from, key) = match view {
        View::Side => ("the side", "side"),
        View::Above => ("above", "above"),
    };
    let ticks = |scale: &Scale, count| scale.ticks(count);
    let content = html! {
        (grid((&paper.x, &ticks(&paper.x, 6.0)), (&paper.y, &ticks(&paper.y, 4.0))))
        @if let Some((_, swing)) = bold_last(swings).last() { (paper.bats(swing)) }
        @for (bold, swing) in bold_last(swings) {
            (paper.line(swing, &swing.curves.hands_w_m, "hands", bold))
            (paper.line(swing, &swing.curves.sweet_spot_w_m, "sweet", bold))
        }
        @if !swings.is_empty() { (paper.contact()) }
        (below("along the heading at contact →"))
    };
    let title = format!("Path seen from {seen_from}, {}", paper.unit.sign);
    let description = format!(
        "Path of the sweet spot (whole lines) and of the hands (dashed) from start to contact seen from {seen_from}, \
         with the bat every 20 ms, {}.",
        which(swings)
    );
    chart(key, &title, "bat every 20 ms; contact at 0, 0", &description, &content)
}

impl Paper {
    /// One scale both ways, so that angles are seen as they are.
    fn new(swings: &[Swing], unit: Unit, view: View) -> Self {
        let mut low = [-0.3, -0.3];
        let mut high = [0.3, 0.3];
        for swing in swings {
            for point_m in shown(swing, &swing.curves.sweet_spot_w_m).chain(shown(swing, &swing.curves.hands_w_m)) {
                for (i, value) in seen(view, point_m).into_iter().enumerate() {
                    low[i] = value.min(low[i]);
                    high[i] = value.max(high[i]);
                }
            }
        }
        let [left, top, right, bottom] = AREA;
        let a_unit = ((high[0] - low[0]) / (right - left)).max((high[1] - low[1]) / (bottom - top)) * 1.06;
        let range = |i: usize, places: f64| {
            let (middle, half) = (0.5 * (low[i] + high[i]) * unit.factor, 0.5 * a_unit * places * unit.factor);
            (middle - half, middle + half)
        };
        let x = Scale::new(range(0, right - left), (left, right));
        let y = Scale::new(range(1, bottom - top), (bottom, top));
        Self { view, unit, x, y }
    }

    fn place(&self, point_w_m: Vector3<f64>) -> (f64, f64) {
        let [right, up] = seen(self.view, point_w_m);
        (self.x.place(right * self.unit.factor), self.y.place(up * self.unit.factor))
    }

    fn line(&self, swing: &Swing, path_w_m: &[Vector3<f64>], class: &str, bold: bool) -> Markup {
        let class = format!("line {class}{}", if bold { " bold" } else { "" });
        let points = thinned(shown(swing, path_w_m).map(|p| self.place(p)));
        html! { path class=(class) d=(smooth(&points)) {} }
    }

    /// The bat from the hands to the sweet spot, now and then, and at contact.
    fn bats(&self, swing: &Swing) -> Markup {
        let curves = &swing.curves;
        let ends = |i: usize| Some((self.place(*curves.hands_w_m.get(i)?), self.place(*curves.sweet_spot_w_m.get(i)?)));
        let drawable = |((x1, y1), (x2, y2)): &((f64, f64), (f64, f64))| [x1, y1, x2, y2].iter().all(|v| v.abs() < 1e4);
        let before_s = (swing.contact.0 - swing.start.0).clamp(0.0, 0.5);
        let at = |time_s: f64| curves.times_s.partition_point(|&t| t < time_s);
        let places = (1..=(before_s / BAT_EVERY_S) as u32).map(|k| at(-BAT_EVERY_S * f64::from(k)));
        let contact = at(-1e-9);
        html! {
            @for ((x1, y1), (x2, y2)) in places.filter_map(ends).filter(drawable) { (stroke("bat", x1, y1, x2, y2)) }
            @for ((x1, y1), (x2, y2)) in ends(contact).into_iter().filter(drawable) { (stroke("bat last", x1, y1, x2, y2)) }
        }
    }

    fn contact(&self) -> Markup {
        let (x, y) = self.place(Vector3::zeros());
        html! { circle.mark cx=(format!("{x:.1}")) cy=(format!("{y:.1}")) r="6" {} }
    }
}

fn stroke(class: &str, x1: f64, y1: f64, x2: f64, y2: f64) -> Markup {
    let text = |v: f64| format!("{v:.1}");
    html! { line class=(class) x1=(text(x1)) y1=(text(y1)) x2=(text(x2)) y2=(text(y2)) {} }
}

/// To the right and up on paper.
fn seen(view: View, p_w_m: Vector3<f64>) -> [f64; 2] {
    match view {
        View::Side => [p_w_m.x, p_w_m.z],
        View::Above => [p_w_m.x, p_w_m.y],
    }
}

/// The part of a path from start to contact, or a little beyond if nothing was met.
fn shown<'a>(swing: &'a Swing, path_w_m: &'a [Vector3<f64>]) -> impl Iterator<Item = Vector3<f64>> + 'a {
    let from_s = swing.start.0 - swing.contact.0;
    let times_s = swing.curves.times_s.iter();
    let within = move |(time_s, p): &(&f64, &Vector3<f64>)| {
        (from_s..=AFTER_S).contains(*time_s) && p.iter().all(|c| c.abs() < FARTHEST_M)
    };
    times_s.zip(path_w_m).filter(within).map(|(_, p)| *p)
}
