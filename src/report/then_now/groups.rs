//! What is compared, what is left out, and what was not the same.

use super::count;
use crate::compare::conditions::{Condition, Mismatch};

/// A group, as far as a sentence needs it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Heard {
    /// Days, side and what else was chosen, in words: "Oct 1 to Oct 8, 2026, right".
    pub what: String,
    /// Swings that count,
    pub swings: usize,
    /// on as many days.
    pub days: usize,
    /// Left out because of a flag.
    pub flagged: usize,
    /// Left out by the instructor.
    pub excluded: usize,
}

/// "Then, …: 40 swings on 3 days. Now, …: 38 swings on 3 days."
pub fn groups(then: &Heard, now: &Heard) -> String {
    let one = |word: &str, group: &Heard| {
        format!("{word}, {}: {} on {}.", group.what, count(group.swings, "swing"), count(group.days, "day"))
    };
    format!("{} {}", one("Then", then), one("Now", now))
}

/// What is not among them; `None` if nothing was left out.
pub fn left_out(then: &Heard, now: &Heard) -> Option<String> {
    let said = |count: usize, why: &str| (count > 0).then(|| format!("{count} {why}"));
    let of = |word: &str, group: &Heard| {
        let all = [said(group.flagged, "flagged"), said(group.excluded, "by the instructor")];
        let all: Vec<String> = all.into_iter().flatten().collect();
        (!all.is_empty()).then(|| format!("{word} {}", all.join(" and ")))
    };
    let both: Vec<String> = [of("then", then), of("now", now)].into_iter().flatten().collect();
    (!both.is_empty()).then(|| format!("Left out: {}.", both.join("; ")))
}

/// "The bat was not the same: then Ash 33 (12 swings); now Maple 32 (10 swings)."
pub fn mismatch(mismatch: &Mismatch) -> String {
    let side = |values: &[(Option<String>, usize)]| {
        let one = |(value, swings): &(Option<String>, usize)| {
            format!(
                "{} ({})",
                value.as_deref().map_or("not said", |value| readable(mismatch.condition, value)),
                count(*swings, "swing")
            )
        };
        if values.is_empty() { "nothing".to_owned() } else { values.iter().map(one).collect::<Vec<_>>().join(", ") }
    };
    format!(
        "{} was not the same: then {}; now {}.",
        called(mismatch.condition),
        side(&mismatch.then),
        side(&mismatch.now)
    )
}

fn called(condition: Condition) -> &'static str {
    match condition {
        Condition::Athlete => "Who swung",
        Condition::Bat => "The bat",
        Condition::Drill => "The drill",
        Condition::BallSource => "Where the ball came from",
        Condition::Side => "The side of the plate",
    }
}

/// Words of the record as people read them; names of their own stay.
fn readable(condition: Condition, value: &str) -> &str {
    match (condition, value) {
        (Condition::BallSource, "toss") => "side toss",
        (Condition::BallSource, "front_toss") => "front toss",
        (Condition::BallSource, "live") => "live pitching",
        (Condition::BallSource, "dry") => "no ball",
        (_, value) => value,
    }
}
