//! Mean paths of both groups, laid over one another at contact.

use super::super::View;
use super::super::band::Between;
use super::super::chart::{Chart, Field, at, frame, line as drawn_line, shade, stroke};
use super::super::numbers::table;
use super::super::path::{field, half_width, inside, is_near, seen};
use crate::compare::curves::MeanPath;
use crate::report::words::{Units, rounded};
use maud::{Markup, html};

/// Longest time before contact that is shown, s.
const LONGEST_S: f64 = 0.5;
/// Between two rows of the table, s.
const ROW_S: f64 = 0.02;
/// A spread that is more is none, m.
const WIDEST_M: f64 = 2.0;

/// A place of a mean path, as it is seen.
#[derive(Clone, Copy)]
struct Seen {
    time_s: f64,
    sweet_m: [f64; 2],
    hands_m: [f64; 2],
    /// Of the sweet spots up or down on paper; `None`: not known.
    spread_m: Option<f64>,
}

/// Mean paths of the sweet spot and the hands of both groups, aligned at contact, with the spread of the sweet spots (1
/// standard deviation either way).
pub fn then_now_path(then: &MeanPath, now: &MeanPath, view: View, units: Units) -> Chart {
    let unit = units.length();
    let (then, now) = (places(then, view), places(now, view));
    let field = field(then.iter().chain(&now).flat_map(corners), unit);
    let place = |[right, up]: [f64; 2]| field.place((right * unit.factor, up * unit.factor));
    let empty = then.is_empty() && now.is_empty();
    let content = html! {
        (spread("then", &then, &place)) (spread("now", &now, &place))
        (field.grid(&field.x.ticks(5.0), &field.y.ticks(4.0)))
        (bat("bat last then", &then, &place)) (bat("bat last", &now, &place))
        (group("then", &then, &place)) (group("now", &now, &place))
        @if !empty {
            @let (x, y) = place([0.0, 0.0]);
            circle.mark cx=(at(x)) cy=(at(y)) r="8" {}
        }
        (names([&then, &now], &field, &place))
        @if !empty { (key(&field)) }
        (field.below("along the heading at contact →"))
    };
    let about = if empty { "no swing yet" } else { "mean of the swings; dot: contact; shaded: their spread" };
    let title = format!("Path from {}, {}", view.words(), unit.sign);
    let said = format!(
        "Mean path of the sweet spot and of the hands, seen from {}: now whole, then dashed, aligned at contact; shaded: one \
         standard deviation of the sweet spots.{}{}",
        view.words(),
        in_words("Then", &then, view, units),
        in_words("Now", &now, view, units)
    );
    Chart { svg: frame(&title, about, &said, &content), as_text: text(&then, &now, view, units) }
}

/// Places that can be drawn.
fn places(path: &MeanPath, view: View) -> Vec<Seen> {
    let spreads = match view {
        View::Side => &path.height_spread_m,
        View::Above => &path.aside_spread_m,
    };
    let sound = |i: usize| {
        let (time_s, sweet, hands) = (*path.times_s.get(i)?, path.sweet_spot_w_m.get(i)?, path.hands_w_m.get(i)?);
        let shown = (-LONGEST_S..=1e-9).contains(&time_s) && is_near(sweet) && is_near(hands);
        let spread_m = spreads.get(i).copied().filter(|s| (0.0..WIDEST_M).contains(s));
        shown.then(|| Seen { time_s, sweet_m: seen(view, *sweet), hands_m: seen(view, *hands), spread_m })
    };
    (0..path.times_s.len()).filter_map(sound).collect()
}

/// What a place needs of the field.
fn corners(seen: &Seen) -> [[f64; 2]; 3] {
    let [right, up] = seen.sweet_m;
    let spread_m = seen.spread_m.unwrap_or(0.0);
    [[right, up - spread_m], [right, up + spread_m], seen.hands_m]
}

fn group(class: &str, path: &[Seen], place: &impl Fn([f64; 2]) -> (f64, f64)) -> Markup {
    html! {
        (drawn_line(class, false, path.iter().map(|seen| place(seen.hands_m)).collect()))
        (drawn_line(class, true, path.iter().map(|seen| place(seen.sweet_m)).collect()))
    }
}

fn spread(class: &str, path: &[Seen], place: &impl Fn([f64; 2]) -> (f64, f64)) -> Markup {
    let edge = |sign: f64| {
        let of = |seen: &Seen| seen.spread_m.map(|s| place([seen.sweet_m[0], seen.sweet_m[1] + sign * s]));
        path.iter().filter_map(of).collect::<Vec<_>>()
    };
    shade(class, edge(1.0), edge(-1.0))
}

/// From the hands to the sweet spot at contact.
fn bat(class: &str, path: &[Seen], place: &impl Fn([f64; 2]) -> (f64, f64)) -> Markup {
    html! { @if let Some(last) = path.last() { (stroke(class, place(last.hands_m), place(last.sweet_m))) } }
}

/// Beside the sweet spot's path and about the start of the hands', where they cover the fewest lines.
fn names(drawn: [&[Seen]; 2], field: &Field, place: &impl Fn([f64; 2]) -> (f64, f64)) -> Markup {
    let path = if drawn[1].is_empty() { drawn[0] } else { drawn[1] };
    let mut lines: Vec<(f64, f64)> = drawn.iter().flat_map(|path| on_lines(path)).map(place).collect();
    let mut name = |words: &'static str, near: Option<(f64, f64)>| {
        let place = fewest_covered(words, near?, &lines, field);
        let half = half_width(words);
        lines.extend((-4..=4).map(|k| (place.0 + half * f64::from(k) / 4.0, place.1 - 6.0)));
        Some((words, place))
    };
    let left = path.iter().map(|seen| place(seen.sweet_m)).reduce(|a, b| if b.0 < a.0 { b } else { a });
    let names = [name("sweet spot", left), name("hands", path.first().map(|first| place(first.hands_m)))];
    html! {
        @for (words, (x, y)) in names.into_iter().flatten() {
            text.name.ink x=(at(x)) y=(at(y)) text-anchor="middle" { (words) }
        }
    }
}

/// Sweet spots and hands, and some places of the bat at contact.
fn on_lines(path: &[Seen]) -> Vec<[f64; 2]> {
    let bat = path.last().map(|last| {
        let on = |share: f64, i: usize| last.hands_m[i] + share * (last.sweet_m[i] - last.hands_m[i]);
        (0..=8).map(move |k| std::array::from_fn(|i| on(f64::from(k) / 8.0, i)))
    });
    path.iter().flat_map(|seen| [seen.sweet_m, seen.hands_m]).chain(bat.into_iter().flatten()).collect()
}

/// Where words near a place cover the fewest of the lines' points: left of it, right, above, below, or farther.
fn fewest_covered(words: &str, (x, y): (f64, f64), lines: &[(f64, f64)], field: &Field) -> (f64, f64) {
    let half = half_width(words);
    let covered = |(cx, cy): (f64, f64)| {
        lines.iter().filter(|(x, y)| (x - cx).abs() < half + 4.0 && (y - (cy - 6.0)).abs() < 13.0).count()
    };
    let ways = [(-1.0, 0.0), (1.0, 0.0), (0.0, -1.0), (0.0, 1.0), (-1.0, -1.0), (-1.0, 1.0), (1.0, -1.0), (1.0, 1.0)];
    let tried = [1.0, 1.8].into_iter().flat_map(|far| {
        ways.map(|(right, down)| inside(field, words, (x + right * far * (half + 12.0), y + 6.0 + down * far * 22.0)))
    });
    tried.min_by_key(|&place| covered(place)).unwrap_or((x, y))
}

/// Both paths end where they meet: a sample of each line stands below.
fn key(field: &Field) -> Markup {
    let y = field.bottom() + 40.0;
    let sample = |class: &str, x: f64| drawn_line(class, true, vec![(x, y), (x + 38.0, y)]);
    html! {
        (sample("now", 14.0)) text.name.now x="60" y=(at(y + 6.0)) { "now" }
        (sample("then", 112.0)) text.name.then x="158" y=(at(y + 6.0)) { "then" }
    }
}

fn in_words(called: &str, path: &[Seen], view: View, units: Units) -> String {
    let unit = units.length();
    let length = |m: f64| format!("{} {}", rounded(m * unit.factor, 2), unit.sign);
    path.first().map_or(format!(" {called}: no path."), |first| {
        let [right, up] = first.sweet_m;
        format!(
            " {called}, {} ms before contact, the sweet spot is {} behind and {} {} where it is at contact.",
            rounded(-first.time_s * 1e3, 0),
            length(-right),
            length(up.abs()),
            view.beside(up)
        )
    })
}

fn text(then: &[Seen], now: &[Seen], view: View, units: Units) -> Markup {
    let unit = units.length();
    let across = match view {
        View::Side => "above contact",
        View::Above => "left of contact",
    };
    let mut heads = vec!["Before contact, ms".to_owned()];
    for group in ["then", "now"] {
        for point in ["Sweet spot", "Hands"] {
            heads.extend(["along the heading", across].map(|way| format!("{point} {group}, {way}, {}", unit.sign)));
        }
    }
    let row = |time_s: f64| {
        let groups = [at_time(then, time_s), at_time(now, time_s)];
        groups.iter().any(Option::is_some).then(|| {
            let cells = groups.into_iter().flat_map(|seen| cells(seen, units));
            std::iter::once(rounded(-time_s * 1e3, 0)).chain(cells).collect()
        })
    };
    let times_s = (0..=(LONGEST_S / ROW_S).round() as u32).rev().map(|k| -ROW_S * f64::from(k));
    let caption = format!("Mean paths from {}, ± one standard deviation of the sweet spots.", view.words());
    table(&caption, &heads, times_s.filter_map(row))
}

fn cells(seen: Option<Seen>, units: Units) -> [String; 4] {
    let number = |m: f64| rounded(m * units.length().factor, 2);
    match seen {
        Some(Seen { sweet_m: [right, up], hands_m, spread_m, .. }) => {
            let spread = spread_m.map_or(String::new(), |s| format!(" ± {}", number(s)));
            [number(right), number(up) + &spread, number(hands_m[0]), number(hands_m[1])]
        }
        None => std::array::from_fn(|_| "–".to_owned()),
    }
}

/// Linear between two places; `None` beyond them.
fn at_time(path: &[Seen], time_s: f64) -> Option<Seen> {
    let times_s: Vec<f64> = path.iter().map(|seen| seen.time_s).collect();
    let between = Between::of(&times_s, time_s)?;
    let (before, after) = (path.get(between.before)?, path.get(between.after)?);
    let mix = |before: f64, after: f64| Some(between.mix(before, after)).filter(|v| v.is_finite());
    let point = |a: [f64; 2], b: [f64; 2]| Some([mix(a[0], b[0])?, mix(a[1], b[1])?]);
    Some(Seen {
        time_s,
        sweet_m: point(before.sweet_m, after.sweet_m)?,
        hands_m: point(before.hands_m, after.hands_m)?,
        spread_m: before.spread_m.zip(after.spread_m).and_then(|(a, b)| mix(a, b)),
    })
}
