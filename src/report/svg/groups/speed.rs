//! Speed of both groups, and the one less the other.

use super::super::chart::{
    Chart, Field, HEIGHT, Name, at, frame_of, line as drawn_line, names, shade, smooth, thinned,
};
use super::against::{
    Against, Column, Range, at_contact, counted, even_speeds, field, grid, numbers, places, speeds_of,
};
use crate::compare::curves::{ComparedLine, MeanBand};
use crate::report::words::Units;
use maud::{Markup, html};

/// Left and right edge of the field.
const ACROSS: (f64, f64) = (48.0, 346.0);
/// Below the axis' words: the bars, and the line that says what they are.
const BARS: f64 = 343.0;
/// Of a bar.
const BAR_HEIGHT: f64 = 9.0;
/// Higher than other charts by bars and words.
const HEIGHT_WITH_BARS: f64 = HEIGHT + 44.0;

/// Mean speed of both groups with the middle 80 % of their swings; below it the stretches in which they are shown to differ.
pub fn then_now_speed(line: &ComparedLine, against: Against, units: Units) -> Chart {
    let bands = [&line.then, &line.now];
    let field = field(&[line], against, units, speeds_of(&bands, units), ACROSS);
    let content = html! {
        (spread(line, &line.then, "then", against, units, &field))
        (spread(line, &line.now, "now", against, units, &field))
        (grid(&field, against, units))
        (drawn_line("then", true, places(line, &line.then.mean, against, units, &field)))
        (drawn_line("now", true, places(line, &line.now.mean, against, units, &field)))
        (names(bands_names(line, against, units, &field), &field))
        (bars(line, against, units, &field))
    };
    let differs = against.where_it_differs(line, units);
    let title = format!("Barrel speed, {}", units.speed().sign);
    let about = if is_empty(line) { "no swing yet" } else { "whole: now; dashed: then; shaded: 80 % of the swings" };
    let said = format!(
        "Mean barrel speed {} of two groups, with the middle 80 % of the swings. {} {} Now and then: {differs}.",
        against.of_speed(),
        group_in_words("Then", line, &line.then, units),
        group_in_words("Now", line, &line.now, units)
    );
    Chart {
        svg: frame_of(HEIGHT_WITH_BARS, &title, about, &said, &content),
        as_text: speed_numbers(line, against, units),
    }
}

/// Now less then with the band that holds the whole of the true line with 95 %.
pub fn difference(line: &ComparedLine, against: Against, units: Units) -> Chart {
    let none = Default::default();
    let band = line.difference.as_ref().unwrap_or(&none);
    let edges = |sign: f64| band.mean.iter().zip(&band.half_width).map(|(m, h)| m + sign * h).collect::<Vec<f64>>();
    let (low, high) = (edges(-1.0), edges(1.0));
    let speeds = even_speeds(low.iter().chain(&high).chain(&band.mean).copied(), units);
    let field = field(&[line], against, units, speeds, ACROSS);
    let of = |values: &[f64]| places(line, values, against, units, &field);
    let zero = at(field.y.place(0.0));
    let name = of(&band.mean).last().map(|&place| {
        let words = at_contact(line, &band.mean, units).map_or("now − then".to_owned(), |v| signed(&v));
        Name { class: "now", words, place }
    });
    let content = html! {
        (shade("now", of(&high), of(&low)))
        (grid(&field, against, units))
        (rim("now", of(&high))) (rim("now", of(&low)))
        line.zero x1=(at(field.left())) x2=(at(field.right())) y1=(zero) y2=(zero) {}
        text.small.over x=(at(field.left() + 6.0)) y=(at(field.top() + 17.0)) { "now faster ↑" }
        text.small.over x=(at(field.left() + 6.0)) y=(at(field.bottom() - 8.0)) { "now slower ↓" }
        (drawn_line("now", true, of(&band.mean)))
        (names(name.into_iter().collect(), &field))
        (bars(line, against, units, &field))
    };
    let differs = against.where_it_differs(line, units);
    let title = format!("Barrel speed, now minus then, {}", units.speed().sign);
    let about =
        if of(&band.mean).is_empty() { "no difference known" } else { "shaded: the true line is in here, 95 % sure" };
    let said = format!(
        "Barrel speed now minus then {}, with the band that holds the whole true line with 95 % confidence: {differs}.",
        against.of_speed()
    );
    let head = format!("Now minus then, {}", units.speed().sign);
    let columns = [Column { head, values: &band.mean, range: Range::Give(&band.half_width) }];
    let caption = format!("Barrel speed, now minus then, ± half the 95 % band of the whole line: {differs}.");
    Chart {
        svg: frame_of(HEIGHT_WITH_BARS, &title, about, &said, &content),
        as_text: numbers(&caption, &line.places, &columns, against, units),
    }
}

fn is_empty(line: &ComparedLine) -> bool {
    line.then.mean.is_empty() && line.now.mean.is_empty()
}

/// With a plus where it is more.
fn signed(number: &str) -> String {
    let is_more = !number.starts_with('−') && number.chars().any(|c| ('1'..='9').contains(&c));
    if is_more { format!("+{number}") } else { number.to_owned() }
}

/// The middle 80 % with lines along its edges, so that two that lie over one another are told apart.
fn spread(line: &ComparedLine, band: &MeanBand, class: &str, against: Against, units: Units, field: &Field) -> Markup {
    let of = |values: &[f64]| places(line, values, against, units, field);
    html! {
        (shade(class, of(&band.high), of(&band.low)))
        (rim(class, of(&band.high)))
        (rim(class, of(&band.low)))
    }
}

fn rim(class: &str, places: Vec<(f64, f64)>) -> Markup {
    html! { path class=(format!("rim {class}")) d=(smooth(&thinned(places.into_iter()))) {} }
}

/// "now 66.2" where the lines end.
fn bands_names(line: &ComparedLine, against: Against, units: Units, field: &Field) -> Vec<Name> {
    let name = |class: &'static str, band: &MeanBand| {
        let place = *places(line, &band.mean, against, units, field).last()?;
        let number = at_contact(line, &band.mean, units).map_or(String::new(), |v| format!(" {v}"));
        Some(Name { class, words: format!("{class}{number}"), place })
    };
    [name("then", &line.then), name("now", &line.now)].into_iter().flatten().collect()
}

/// A bar below each stretch in which the groups are shown to differ, and what that is, in words.
fn bars(line: &ComparedLine, against: Against, units: Units, field: &Field) -> Markup {
    let factor = against.unit(units).factor;
    let place = |value: f64| field.x.place(value * factor).clamp(field.left(), field.right());
    html! {
        @for stretch in against.sound(line).unwrap_or_default() {
            @let (from, to) = (place(stretch.from), place(stretch.to));
            rect.differs x=(at(from)) y=(at(BARS)) width=(at((to - from).max(3.0))) height=(BAR_HEIGHT) {}
        }
        text.small x="12" y=(at(BARS + 31.0)) { (against.where_it_differs(line, units)) }
    }
}

fn group_in_words(called: &str, line: &ComparedLine, band: &MeanBand, units: Units) -> String {
    let sign = units.speed().sign;
    let speed = at_contact(line, &band.mean, units).map_or(String::new(), |v| format!(", {v} {sign} at contact"));
    format!("{called}: {}{speed}.", counted(band))
}

fn speed_numbers(line: &ComparedLine, against: Against, units: Units) -> Markup {
    let sign = units.speed().sign;
    let column = |called: &str, band: &'_ MeanBand| format!("{called}, {} ({sign})", counted(band));
    let mut columns = vec![
        Column {
            head: column("Then", &line.then),
            values: &line.then.mean,
            range: Range::Between(&line.then.low, &line.then.high),
        },
        Column {
            head: column("Now", &line.now),
            values: &line.now.mean,
            range: Range::Between(&line.now.low, &line.now.high),
        },
    ];
    if let Some(band) = &line.difference {
        let head = format!("Now minus then, ± half the 95 % band ({sign})");
        columns.push(Column { head, values: &band.mean, range: Range::Give(&band.half_width) });
    }
    let caption = format!(
        "Barrel speed: mean and, in brackets, the middle 80 % of the swings. {}.",
        against.where_it_differs(line, units)
    );
    numbers(&caption, &line.places, &columns, against, units)
}
