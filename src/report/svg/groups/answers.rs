//! What has changed and what has not, a row a metric.

use super::super::chart::{Chart, Field, Scale, WIDTH, at, frame_of, stroke, tick_text};
use super::super::numbers::table;
use crate::compare::numbers::{Answer, Compared, Difference, Group};
use crate::report::change;
use crate::report::words::{Units, label, rounded, with_unit};
use maud::{Markup, html};

/// Shown either way of no difference, in amounts that matter.
const MOST_AMOUNTS: f64 = 3.0;
/// Left and right edge of the scale; what the answer is stands to the right of it.
const ACROSS: (f64, f64) = (24.0, 264.0);
/// Where the words of the answer begin.
const ANSWER_AT: f64 = 288.0;
/// Top of the first row, and of one row.
const FIRST_ROW: f64 = 98.0;
const ROW_HEIGHT: f64 = 82.0;
/// Below the last row.
const FOOT: f64 = 34.0;
/// Of the scale's line below the top of its row.
const DOT_BELOW: f64 = 62.0;
/// Of the zone either way of that line.
const HALF_ZONE: f64 = 12.0;
/// Of the line that is left of an interval beyond the scale.
const STUB: f64 = 16.0;
/// Values beyond this are none.
const LARGEST: f64 = 1e7;
/// Letters of a line of the answer that have room beside the scale.
const MOST_LETTERS: usize = 20;
/// Between two lines of the answer.
const LINE: f64 = 19.0;
/// Of a mark.
const DOT: f64 = 7.0;

/// For each metric the difference now minus then with its 95 % interval, in amounts that would matter, and the answer.
pub fn answers(rows: &[Compared], units: Units) -> Chart {
    let x = Scale::new((-MOST_AMOUNTS, MOST_AMOUNTS), ACROSS);
    let height = FIRST_ROW + ROW_HEIGHT * rows.len().max(1) as f64 + FOOT;
    let field = Field { x, y: Scale::new((0.0, 1.0), (height - FOOT, FIRST_ROW)) };
    let content = html! {
        @if !rows.is_empty() { (scale(&field)) }
        @for (i, row) in rows.iter().enumerate() { (one(row, FIRST_ROW + ROW_HEIGHT * i as f64, &x, units)) }
    };
    let about =
        if rows.is_empty() { "nothing was compared" } else { "mark: now minus then; line: 95 % sure it is in here" };
    let said = format!(
        "Now minus then of each metric with its 95 % interval, in amounts that would matter; between −1 and 1 the difference \
         would not matter.{}",
        rows.iter().map(|row| sentence(row, units)).collect::<String>()
    );
    Chart { svg: frame_of(height, "Has it changed?", about, &said, &content), as_text: text(rows, units) }
}

/// The numbers of the scale above all rows, and what is shaded below them.
fn scale(field: &Field) -> Markup {
    let (top, bottom) = (field.top(), field.bottom());
    html! {
        @for value in field.x.ticks(6.0) {
            @let number = tick_text(value);
            @let sign = if value > 0.0 { "+" } else { "" };
            text.small x=(at(field.x.place(value))) y=(at(top - 8.0)) text-anchor="middle" { (sign) (number) }
        }
        text.small x=(at(ANSWER_AT)) y=(at(top - 8.0)) { "amounts that matter" }
        text.small x="12" y=(at(bottom + 21.0)) { "shaded: too small to matter" }
    }
}

/// The zone in which a difference would not matter.
fn zone(y: f64, x: &Scale) -> Markup {
    let (low, high) = (x.place(-1.0), x.place(1.0));
    let upright = |class, x: f64| stroke(class, (x, y - HALF_ZONE), (x, y + HALF_ZONE));
    html! {
        rect.zone x=(at(low)) y=(at(y - HALF_ZONE)) width=(at(high - low)) height=(2.0 * HALF_ZONE) {}
        (upright("start", low)) (upright("start", high)) (upright("zero", x.place(0.0)))
        (stroke("grid", (x.place(-MOST_AMOUNTS), y), (x.place(MOST_AMOUNTS), y)))
    }
}

fn one(row: &Compared, top: f64, x: &Scale, units: Units) -> Markup {
    html! {
        (stroke("grid", (12.0, top), (WIDTH - 12.0, top)))
        (zone(top + DOT_BELOW, x))
        text.name.ink x="12" y=(at(top + 19.0)) { (label(row.metric)) }
        text.about x="12" y=(at(top + 40.0)) { (difference(row, units)) }
        @if let Some((value, low, high)) = amounts(row) { (mark(row.answer, [value, low, high], top + DOT_BELOW, x)) }
        @for (i, line) in lines(row, units).iter().enumerate() {
            @let y = at(top + 19.0 + LINE * i as f64);
            @if i == 0 { text.name.ink x=(at(ANSWER_AT)) y=(y) { (line) } }
            @else { text.about x=(at(ANSWER_AT)) y=(y) { (line) } }
        }
    }
}

/// Difference and its interval in amounts that matter, where they are numbers.
fn amounts(row: &Compared) -> Option<(f64, f64, f64)> {
    let Difference { value, low, high, .. } = sound(row)?;
    let share = |v: f64| Some(v / row.amount).filter(|share| share.is_finite());
    (row.amount > 0.0).then_some((share(value)?, share(low)?, share(high)?))
}

fn sound(row: &Compared) -> Option<Difference> {
    row.difference.filter(|d| [d.value, d.low, d.high].iter().all(|v| v.abs() < LARGEST) && d.low <= d.high)
}

/// The interval as a line, with arrows where it goes on, and a mark by the answer: full, hollow, or a hollow diamond.
fn mark(answer: Answer, [value, low, high]: [f64; 3], y: f64, x: &Scale) -> Markup {
    let place = |v: f64| x.place(v.clamp(-MOST_AMOUNTS, MOST_AMOUNTS));
    let from = if low > MOST_AMOUNTS { x.place(MOST_AMOUNTS) - STUB } else { place(low) };
    let to = if high < -MOST_AMOUNTS { x.place(-MOST_AMOUNTS) + STUB } else { place(high) };
    let arrow = |tip: f64, sign: f64| {
        let corners = [(tip, 0.0), (tip - 12.0 * sign, -6.5), (tip - 12.0 * sign, 6.5)];
        corners.map(|(x, dy)| format!("{x:.1},{:.1}", y + dy)).join(" ")
    };
    html! {
        (stroke("interval", (from, y), (to, y)))
        @if low < -MOST_AMOUNTS { polygon.arrow points=(arrow(from - 10.0, -1.0)) {} }
        @if high > MOST_AMOUNTS { polygon.arrow points=(arrow(to + 10.0, 1.0)) {} }
        @if value.abs() <= MOST_AMOUNTS { (dot(answer, place(value), y)) }
    }
}

fn dot(answer: Answer, x: f64, y: f64) -> Markup {
    let diamond = [(0.0, -DOT - 2.0), (DOT + 2.0, 0.0), (0.0, DOT + 2.0), (-DOT - 2.0, 0.0)];
    let points = diamond.map(|(dx, dy)| format!("{:.1},{:.1}", x + dx, y + dy)).join(" ");
    html! {
        @match answer {
            Answer::Changed => circle.dot cx=(at(x)) cy=(at(y)) r=(DOT) {},
            Answer::NotChanged => circle.dot.hollow cx=(at(x)) cy=(at(y)) r=(DOT) {},
            Answer::CannotTell { .. } => polygon.dot.hollow points=(points) {},
        }
    }
}

/// The answer's parts, a line a place.
fn lines(row: &Compared, units: Units) -> Vec<String> {
    let (head, rest) = change::parts(row, units);
    let rest = rest.map_or_else(Vec::new, |rest| broken(&rest));
    std::iter::once(head.to_owned()).chain(rest).collect()
}

/// Between words into the fewest lines of at most [`MOST_LETTERS`], as even as they can be.
fn broken(words: &str) -> Vec<String> {
    let fewest = within(words, MOST_LETTERS).len();
    (1..=MOST_LETTERS).map(|most| within(words, most)).find(|lines| lines.len() == fewest).unwrap_or_default()
}

fn within(words: &str, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in words.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= most => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// "+3.1 mph (1.2 to 5.0)".
fn difference(row: &Compared, units: Units) -> String {
    let unit = units.of(row.metric);
    let Some(Difference { value, low, high, .. }) = sound(row) else {
        return "no difference known".to_owned();
    };
    let decimals = change::decimals_of(row, unit);
    let number = |v: f64| signed(v * unit.factor, decimals);
    format!("{} ({} to {})", with_unit(&number(value), unit), number(low), number(high))
}

fn signed(value: f64, decimals: usize) -> String {
    let text = rounded(value, decimals);
    let is_more = value > 0.0 && text.chars().any(|c| ('1'..='9').contains(&c));
    if is_more { format!("+{text}") } else { text }
}

fn sentence(row: &Compared, units: Units) -> String {
    format!(" {}: {}, {}.", label(row.metric), difference(row, units), change::answer_beside_difference(row, units))
}

fn text(rows: &[Compared], units: Units) -> Markup {
    let heads = ["Metric", "Then", "Now", "Now minus then (95 % interval)", "Amount that matters", "Answer"];
    let row = |row: &Compared| {
        vec![
            label(row.metric).to_owned(),
            group(&row.then, row, units),
            group(&row.now, row, units),
            difference(row, units),
            change::amount(row.metric, row.amount, units),
            change::answer_beside_difference(row, units),
        ]
    };
    let caption = if rows.is_empty() { "Has it changed? Nothing was compared." } else { "Has it changed?" };
    table(caption, &heads.map(str::to_owned), rows.iter().map(row))
}

/// "62.1 mph, 24 swings on 4 days".
fn group(group: &Group, row: &Compared, units: Units) -> String {
    let unit = units.of(row.metric);
    let swings = if group.swings == 1 { "swing" } else { "swings" };
    let days = if group.days == 1 { "day" } else { "days" };
    let counted = format!("{} {swings} on {} {days}", group.swings, group.days);
    let decimals = change::decimals_of(row, unit);
    let mean = group.mean.filter(|mean| mean.abs() < LARGEST);
    mean.map_or(counted.clone(), |mean| {
        format!("{}, {counted}", with_unit(&rounded(mean * unit.factor, decimals), unit))
    })
}
