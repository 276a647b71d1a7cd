//! Path of the sweet spot and the hands from start to contact, as seen from one side.

use super::super::words::{Unit, Units, rounded};
use super::band::Between;
use super::chart::{Chart, Drawn, Field, Scale, at, frame, line, smooth, stroke, thinned};
use super::numbers::table;
use super::{View, others, which};
use crate::engine::metrics::{SquareStretch, carried_on};
use crate::engine::swing::{Curves, Swing};
use maud::{Markup, html};
use nalgebra::Vector3;

/// Between two drawn places of the bold swing's bat, s.
const BAT_EVERY_S: f64 = 0.02;
/// Longest time before contact that is shown, s.
const LONGEST_S: f64 = 0.5;
/// Shown after contact, of swings that met nothing, s.
const AFTER_S: f64 = 0.06;
/// Points farther than this from the sweet spot at contact are not drawn, m.
const FARTHEST_M: f64 = 10.0;
/// What is shown reaches in each direction to the next multiple of this, m.
const GROWS_BY_M: f64 = 0.25;
/// Always shown: behind and ahead of contact, below and above it (or to its right and left), m.
const LEAST_M: [(f64, f64); 2] = [(-0.5, 0.75), (-0.25, 0.25)];
/// What is shown against what has to be: room for names.
const ROOM: f64 = 1.1;
/// Half the length of the marks at the ends of the stretch that is still square.
const EDGE: f64 = 13.0;
/// Between two points of that stretch, s.
const FINE_S: f64 = 0.001;

/// The pitch: how steeply it comes down at the plate, degrees below the horizontal. Seen from above it comes along the swing's
/// heading at contact.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pitch {
    /// Downward positive.
    pub descent_deg: f64,
}

/// Where on the bat's own path contact would still be square: from and to, s from contact.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Square {
    /// Negative: there a swing that is late still meets the ball.
    pub from_s: f64,
    /// Positive: there one that is early does. Beyond the end of the curves of a swing that met a ball.
    pub to_s: f64,
}

impl From<SquareStretch> for Square {
    fn from(SquareStretch { from_s, to_s, .. }: SquareStretch) -> Self {
        Self { from_s, to_s }
    }
}

/// Path of sweet spot and hands, with the pitch's line, contact, and where the timing window begins and ends.
pub fn path(now: Drawn, view: View, pitch: Option<Pitch>, square: Option<Square>, units: Units) -> Chart {
    let sound = |pitch: &Pitch| pitch.descent_deg.abs() < 90.0;
    let sensible = |s: &Square| (-LONGEST_S..=0.0).contains(&s.from_s) && (0.0..=LONGEST_S).contains(&s.to_s);
    let (pitch, square) = (pitch.filter(sound), square.filter(sensible));
    let scene = Scene::new(Vec::new(), Some(now), view, (pitch, square), units.length());
    let about = if square.is_some() {
        "dot: contact; thick: timing window; bat every 20 ms"
    } else {
        "dot: contact; bat every 20 ms"
    };
    let description = scene.description();
    Chart { svg: scene.svg(about, &description), as_text: scene.text() }
}

/// The same of all swings of a recording, the fastest bold; without pitch and window.
pub fn paths(swings: &[Swing], units: Units, view: View) -> Markup {
    let (thin, bold) = others(swings);
    let scene = Scene::new(thin, bold, view, (None, None), units.length());
    let description = format!("{} Drawn: {}.", scene.description(), which(swings));
    scene.svg("dot: contact; bat every 20 ms", &description)
}

/// What one chart shows, and how the view lays the world on paper.
struct Scene<'a> {
    thin: Vec<Drawn<'a>>,
    bold: Option<Drawn<'a>>,
    view: View,
    pitch: Option<Pitch>,
    square: Option<Square>,
    /// Where contact would still be square: time, sweet spot and hands.
    still_square: Vec<(f64, Vector3<f64>, Vector3<f64>)>,
    unit: Unit,
    field: Field,
}

impl<'a> Scene<'a> {
    fn new(
        thin: Vec<Drawn<'a>>,
        bold: Option<Drawn<'a>>,
        view: View,
        (pitch, square): (Option<Pitch>, Option<Square>),
        unit: Unit,
    ) -> Self {
        let still_square = bold.zip(square).map_or(Vec::new(), |(drawn, square)| stretch(drawn.curves, square));
        let all = thin.iter().copied().chain(bold);
        let points = all.flat_map(|drawn| {
            shown(drawn, &drawn.curves.sweet_spot_w_m).chain(shown(drawn, &drawn.curves.hands_w_m)).collect::<Vec<_>>()
        });
        let points = points.chain(still_square.iter().map(|(_, sweet, _)| *sweet));
        let field = field(points.map(|p| seen(view, p)), unit);
        Self { thin, bold, view, pitch, square, still_square, unit, field }
    }

    fn svg(&self, about: &str, description: &str) -> Markup {
        let content = html! {
            (self.field.grid(&self.field.x.ticks(5.0), &self.field.y.ticks(4.0)))
            @if let Some(pitch) = self.pitch { (self.pitch_line(pitch)) }
            @if let Some(drawn) = self.bold { (self.bats(drawn)) }
            (self.square_line())
            @for &drawn in &self.thin { (self.lines(drawn, false)) }
            @if let Some(drawn) = self.bold { (self.lines(drawn, true)) (self.contact()) (self.names(drawn)) }
            (self.square_ends())
            (self.field.below("along the heading at contact →"))
        };
        let title = format!("Path from {}, {}", self.view.words(), self.unit.sign);
        frame(&title, about, description, &content)
    }

    fn place(&self, point_w_m: Vector3<f64>) -> (f64, f64) {
        let [right, up] = seen(self.view, point_w_m);
        self.field.place((right * self.unit.factor, up * self.unit.factor))
    }

    fn lines(&self, drawn: Drawn, bold: bool) -> Markup {
        let one = |class, path_w_m| line(class, bold, shown(drawn, path_w_m).map(|p| self.place(p)).collect());
        html! { (one("hands", &drawn.curves.hands_w_m)) (one("sweet", &drawn.curves.sweet_spot_w_m)) }
    }

    /// The bat from the hands to the sweet spot, now and then, and at contact.
    fn bats(&self, drawn: Drawn) -> Markup {
        let ends =
            |time_s: f64| pose(drawn.curves, time_s).map(|(sweet, hands)| (self.place(hands), self.place(sweet)));
        html! {
            @for (hands, sweet) in bat_times_s(drawn).filter(|t| *t < 0.0).filter_map(ends) { (stroke("bat", hands, sweet)) }
            @if let Some((hands, sweet)) = ends(0.0) { (stroke("bat last", hands, sweet)) }
        }
    }

    fn contact(&self) -> Markup {
        let (x, y) = self.place(Vector3::zeros());
        html! { circle.mark cx=(at(x)) cy=(at(y)) r="8" {} }
    }

    /// Lines end at contact, where there is no room: the sweet spot's name stands left of its path, the hands' at its start,
    /// wherever the other one leaves room.
    fn names(&self, drawn: Drawn) -> Markup {
        let places = |path_w_m| thinned(shown(drawn, path_w_m).map(|p| self.place(p)));
        let sweet = places(&drawn.curves.sweet_spot_w_m).into_iter().reduce(|a, b| if b.0 < a.0 { b } else { a });
        let sweet =
            sweet.map(|(x, y)| inside(&self.field, "sweet spot", (x - 12.0 - half_width("sweet spot"), y + 6.0)));
        let hands = places(&drawn.curves.hands_w_m).first().map(|&(x, y)| {
            let others = [-11.0, 26.0, -32.0, 47.0].map(|down| inside(&self.field, "hands", (x, y + down)));
            let is_free = |(x, y): &(f64, f64)| {
                let across = half_width("sweet spot") + half_width("hands");
                sweet.is_none_or(|(sx, sy)| (sx - x).abs() >= across || (sy - y).abs() >= 21.0)
            };
            others.into_iter().find(is_free).unwrap_or(others[0])
        });
        html! {
            @if let Some(place) = sweet { (self.label("sweet", "sweet spot", place)) }
            @if let Some(place) = hands { (self.label("hands", "hands", place)) }
        }
    }

    /// Words about a place, moved inside.
    fn label(&self, class: &str, words: &str, place: (f64, f64)) -> Markup {
        let (x, y) = inside(&self.field, words, place);
        html! { text class=(format!("name {class}")) x=(at(x)) y=(at(y)) text-anchor="middle" { (words) } }
    }

    /// Through contact from the right edge on, with an arrow the way the ball goes.
    fn pitch_line(&self, pitch: Pitch) -> Markup {
        let slope = match self.view {
            View::Side => pitch.descent_deg.to_radians().tan(),
            View::Above => 0.0,
        };
        let (x0, y0) = self.place(Vector3::zeros());
        // As far as the field goes, up or down too.
        let on = |x: f64| {
            let y = y0 - slope * (x - x0);
            let inside = y.clamp(self.field.top(), self.field.bottom());
            if inside == y { (x, y) } else { (x0 + (y0 - inside) / slope, inside) }
        };
        let hands = self.bold.and_then(|drawn| pose(drawn.curves, 0.0)).map(|(_, hands)| self.place(hands));
        // Words of the window stand on the other side.
        let hands_are_below = hands.is_some_and(|(_, y)| y > y0);
        let (from, to) = (on(self.field.right()), on(self.field.left()));
        let length = (from.0 - x0).hypot(from.1 - y0).max(1e-9);
        let (dx, dy) = ((from.0 - x0) / length, (from.1 - y0) / length);
        let tip = (x0 + 0.8 * length * dx, y0 + 0.8 * length * dy);
        let side = |sign: f64| (tip.0 + 17.0 * dx - 8.0 * sign * dy, tip.1 + 17.0 * dy + 8.0 * sign * dx);
        let (a, b) = (side(1.0), side(-1.0));
        let arrow = [tip, a, b].map(|(x, y)| format!("{x:.1},{y:.1}")).join(" ");
        html! {
            (stroke("pitch", from, to))
            polygon.arrow points=(arrow) {}
            (self.label("ink", "pitch", (from.0, from.1 + if hands_are_below { 23.0 } else { -10.0 })))
        }
    }

    fn square_line(&self) -> Markup {
        let places = thinned(self.still_square.iter().map(|(_, sweet, _)| self.place(*sweet)));
        html! { @if places.len() > 1 { path.square d=(smooth(&places)) {} } }
    }

    /// A mark across each end, with its word beyond the barrel.
    fn square_ends(&self) -> Markup {
        let end = |i: usize, neighbour: usize, words: &str, aside: f64| {
            let (_, sweet, hands) = self.still_square[i];
            let (x, y) = self.place(sweet);
            let unit = |from: (f64, f64)| {
                let length = (x - from.0).hypot(y - from.1);
                if length > 1e-3 { ((x - from.0) / length, (y - from.1) / length) } else { (0.0, 1.0) }
            };
            let (along, beyond) = (unit(self.place(self.still_square[neighbour].1)), unit(self.place(hands)));
            let across = |sign: f64| (x - sign * EDGE * along.1, y + sign * EDGE * along.0);
            let words_at = (x + 30.0 * beyond.0 + aside, y + 30.0 * beyond.1 + 6.0);
            html! { (stroke("edge", across(1.0), across(-1.0))) (self.label("mark", words, words_at)) }
        };
        let last = self.still_square.len().saturating_sub(1);
        html! { @if last > 0 { (end(0, 1, "late", -12.0)) (end(last, last - 1, "early", 12.0)) } }
    }

    fn description(&self) -> String {
        let length = |m: f64| format!("{} {}", rounded(m * self.unit.factor, 2), self.unit.sign);
        let seen_from = self.view.words();
        let mut said = format!(
            "Path of the sweet spot (whole line) and of the hands (dashed), seen from {seen_from}, with the bat every 20 ms."
        );
        let first = self.bold.and_then(|drawn| Some((drawn.start_s, pose(drawn.curves, drawn.start_s)?.0)));
        if let Some((start_s, p)) = first {
            let [behind, beside] = seen(self.view, p);
            let side = self.view.beside(beside);
            let (behind, beside) = (length(-behind), length(beside.abs()));
            said += &format!(
                " At the start, {} ms before contact, the sweet spot is {behind} behind and {beside} {side} where it is at contact.",
                rounded(-start_s * 1e3, 0)
            );
        }
        said + &self.pitch_in_words() + &self.square_in_words()
    }

    fn pitch_in_words(&self) -> String {
        let degrees = |pitch: Pitch| format!(" The pitch comes down at {}°.", rounded(pitch.descent_deg, 1));
        self.pitch.map_or(String::new(), degrees)
    }

    fn square_in_words(&self) -> String {
        self.square.map_or(String::new(), |Square { from_s, to_s }| {
            let ms = |time_s: f64| rounded(time_s * 1e3, 1);
            format!(
                " Contact would still be square from {} ms before to {} ms after it on the bat's path.",
                ms(-from_s),
                ms(to_s)
            )
        })
    }

    fn text(&self) -> Markup {
        let across = match self.view {
            View::Side => "above contact",
            View::Above => "left of contact",
        };
        let mut heads = vec!["Time from contact, ms".to_owned()];
        for point in ["Sweet spot", "Hands"] {
            heads.extend(["along the heading", across].map(|way| format!("{point} {way}, {}", self.unit.sign)));
        }
        let caption = format!("Path from {}.{}{}", self.view.words(), self.pitch_in_words(), self.square_in_words());
        table(&caption, &heads, self.rows().into_iter())
    }

    fn rows(&self) -> Vec<Vec<String>> {
        let bats = self.bold.into_iter().flat_map(|drawn| {
            let row = move |time_s: f64| pose(drawn.curves, time_s).map(|(sweet, hands)| (time_s, "", sweet, hands));
            bat_times_s(drawn).filter_map(row)
        });
        let (first, last) = (self.still_square.first(), self.still_square.last());
        let ends = first.map(|end| (end, " (late)")).into_iter().chain(last.map(|end| (end, " (early)")));
        let mut all: Vec<_> =
            bats.chain(ends.map(|(&(time_s, sweet, hands), words)| (time_s, words, sweet, hands))).collect();
        all.sort_by(|a, b| a.0.total_cmp(&b.0));
        let row = |(time_s, words, sweet, hands): (f64, &str, Vector3<f64>, Vector3<f64>)| {
            let decimals = if words.is_empty() { 0 } else { 1 };
            let mut row = vec![rounded(time_s * 1e3, decimals) + words];
            row.extend(
                [sweet, hands]
                    .map(|p| seen(self.view, p))
                    .concat()
                    .into_iter()
                    .map(|m| rounded(m * self.unit.factor, 2)),
            );
            row
        };
        all.into_iter().map(row).collect()
    }
}

/// One scale both ways, so that angles are seen as they are; the same for swings of about the same size.
pub(super) fn field(points: impl Iterator<Item = [f64; 2]>, unit: Unit) -> Field {
    let mut range_m = LEAST_M;
    for point in points {
        for (range, value) in range_m.iter_mut().zip(point) {
            range.0 = range.0.min((value / GROWS_BY_M).floor() * GROWS_BY_M);
            range.1 = range.1.max((value / GROWS_BY_M).ceil() * GROWS_BY_M);
        }
    }
    let places = [(58.0, 470.0), (284.0, 60.0)];
    let length = |(from, to): (f64, f64)| (to - from).abs();
    let share = |i: usize| length(range_m[i]) / length(places[i]);
    let a_unit_m = ROOM * share(0).max(share(1));
    let scale = |i: usize, share_before: f64| {
        let spare_m = a_unit_m * length(places[i]) - length(range_m[i]);
        let from_m = range_m[i].0 - share_before * spare_m;
        let to_m = range_m[i].1 + (1.0 - share_before) * spare_m;
        Scale::new((from_m * unit.factor, to_m * unit.factor), places[i])
    };
    // The sweet spot's name stands at the left.
    Field { x: scale(0, 0.7), y: scale(1, 0.5) }
}

/// Where words about a place are inside of the field.
pub(super) fn inside(field: &Field, words: &str, (x, y): (f64, f64)) -> (f64, f64) {
    let half = half_width(words);
    (x.clamp(field.left() + half + 3.0, field.right() - half - 3.0), y.clamp(field.top() + 16.0, field.bottom() - 4.0))
}

/// Of a name, in a wide font.
pub(super) fn half_width(words: &str) -> f64 {
    6.0 * words.chars().count() as f64
}

/// To the right and up on paper.
pub(super) fn seen(view: View, p_w_m: Vector3<f64>) -> [f64; 2] {
    match view {
        View::Side => [p_w_m.x, p_w_m.z],
        View::Above => [p_w_m.x, p_w_m.y],
    }
}

/// Times at which the bat is shown: every 20 ms from contact back to the start.
fn bat_times_s(drawn: Drawn) -> impl Iterator<Item = f64> {
    let before_s = (-drawn.start_s).clamp(0.0, LONGEST_S);
    (0..=(before_s / BAT_EVERY_S) as u32).rev().map(|k| -BAT_EVERY_S * f64::from(k))
}

/// The part of a path from start to contact, or a little beyond if nothing was met.
fn shown<'a>(drawn: Drawn<'a>, path_w_m: &'a [Vector3<f64>]) -> impl Iterator<Item = Vector3<f64>> + 'a {
    let times_s = drawn.curves.times_s.iter();
    let within = move |(time_s, p): &(&f64, &Vector3<f64>)| {
        (drawn.start_s..=AFTER_S).contains(*time_s) && **time_s >= -LONGEST_S && is_near(p)
    };
    times_s.zip(path_w_m).filter(within).map(|(_, p)| *p)
}

pub(super) fn is_near(p_w_m: &Vector3<f64>) -> bool {
    p_w_m.iter().all(|c| c.abs() < FARTHEST_M)
}

/// Sweet spot and hands at a time within the curves.
fn pose(curves: &Curves, time_s: f64) -> Option<(Vector3<f64>, Vector3<f64>)> {
    let between = Between::of(&curves.times_s, time_s)?;
    let point = |path_w_m: &[Vector3<f64>]| {
        let (before, after) = (path_w_m.get(between.before)?, path_w_m.get(between.after)?);
        // What is no number is near nothing.
        Some(before.zip_map(after, |before, after| between.mix(before, after))).filter(is_near)
    };
    Some((point(&curves.sweet_spot_w_m)?, point(&curves.hands_w_m)?))
}

/// The bat where contact would still be square: on the curves, and carried on where they end at a ball.
fn stretch(curves: &Curves, square: Square) -> Vec<(f64, Vector3<f64>, Vector3<f64>)> {
    let steps = ((square.to_s - square.from_s) / FINE_S).ceil().clamp(1.0, 1e3) as u32;
    let times_s: Vec<f64> =
        (0..=steps).map(|k| square.from_s + (square.to_s - square.from_s) * f64::from(k) / f64::from(steps)).collect();
    let end_s = curves.times_s.last().copied().unwrap_or(0.0);
    let (on, beyond): (Vec<f64>, Vec<f64>) = times_s.into_iter().partition(|t| *t <= end_s);
    let measured = on.into_iter().filter_map(|t| pose(curves, t).map(|(sweet, hands)| (t, sweet, hands)));
    let carried = carried_on(curves, &beyond);
    let near = |(_, sweet, hands): &(f64, Vector3<f64>, Vector3<f64>)| is_near(sweet) && is_near(hands);
    measured.chain(beyond.into_iter().zip(carried).map(|(t, (sweet, hands))| (t, sweet, hands))).filter(near).collect()
}
