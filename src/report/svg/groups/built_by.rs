//! What the barrel's speed is made of, then and now.

use super::super::chart::{Chart, Field, Name, frame, line as drawn_line, names};
use super::against::{Against, Column, Range, at_contact, field, grid, numbers, places, speeds_of};
use crate::compare::curves::{ComparedLine, MeanBand};
use crate::report::words::Units;
use maud::html;

/// Left and right edge of the field: the names are long.
const ACROSS: (f64, f64) = (48.0, 310.0);
const AGAINST: Against = Against::Time;

/// The part of the barrel's speed that the bat's turning makes and the part that the hands' motion makes, against time:
/// then thin, now bold.
pub fn built_by(by_rotation: &ComparedLine, by_hands: &ComparedLine, units: Units) -> Chart {
    let parts = [("sweet", "turning", by_rotation), ("hands", "hands", by_hands)];
    let bands = [&by_rotation.then, &by_rotation.now, &by_hands.then, &by_hands.now];
    let field = field(&[by_rotation, by_hands], AGAINST, units, speeds_of(&bands, units), ACROSS);
    let of = |line, band: &MeanBand| places(line, &band.mean, AGAINST, units, &field);
    let content = html! {
        (grid(&field, AGAINST, units))
        @for (class, _, line) in parts { (drawn_line(&format!("{class} middle"), false, of(line, &line.then))) }
        @for (class, _, line) in parts { (drawn_line(class, true, of(line, &line.now))) }
        (names(parts.iter().flat_map(|(class, word, line)| part_names(class, word, line, units, &field)).collect(), &field))
    };
    let empty = bands.iter().all(|band| band.mean.is_empty());
    let about = if empty { "no swing yet" } else { "bold: now; thin: then; whole: bat’s turning; dashed: hands" };
    let title = format!("What makes the speed, {}", units.speed().sign);
    let said = format!(
        "The part of the barrel's speed that the bat's turning makes and the part that the hands' motion makes, against time \
         before contact; together they are the barrel's speed.{}",
        parts.iter().map(|(_, word, line)| part_in_words(word, line, units)).collect::<String>()
    );
    Chart { svg: frame(&title, about, &said, &content), as_text: text(by_rotation, by_hands, units) }
}

fn part_names(class: &str, word: &str, line: &ComparedLine, units: Units, field: &Field) -> Vec<Name> {
    let [now, then] = if class == "hands" { ["hands", "hands thin"] } else { ["sweet", "sweet thin"] };
    let name = |class, group: &str, band: &MeanBand| {
        let place = *places(line, &band.mean, AGAINST, units, field).last()?;
        Some(Name { class, words: format!("{word}, {group}"), place })
    };
    [name(now, "now", &line.now), name(then, "then", &line.then)].into_iter().flatten().collect()
}

fn part_in_words(word: &str, line: &ComparedLine, units: Units) -> String {
    let number = |band: &MeanBand| at_contact(line, &band.mean, units).unwrap_or_else(|| "unknown".to_owned());
    let whose = if word == "hands" { "the hands" } else { "the bat's turning" };
    let sign = units.speed().sign;
    format!(" At contact {whose} made {} {sign} then and {} {sign} now.", number(&line.then), number(&line.now))
}

fn text(by_rotation: &ComparedLine, by_hands: &ComparedLine, units: Units) -> maud::Markup {
    let sign = units.speed().sign;
    let column = |head: &str, values| Column { head: format!("{head}, {sign}"), values, range: Range::None };
    let columns = [
        column("Bat's turning, then", &by_rotation.then.mean),
        column("Bat's turning, now", &by_rotation.now.mean),
        column("Hands, then", &by_hands.then.mean),
        column("Hands, now", &by_hands.now.mean),
    ];
    let places = if by_rotation.places.is_empty() { &by_hands.places } else { &by_rotation.places };
    numbers("What the barrel's speed is made of: means of the swings.", places, &columns, AGAINST, units)
}
