//! What is compared, and what is left out.

use super::count;

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

/// How much of a group was looked at, and which of its swings stands for it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LookedAt {
    /// Swings that count,
    pub swings: usize,
    /// and those of them whose curves are compared.
    pub drawn: usize,
    /// At most so many were read, and there were more: the oldest are left out.
    pub cut_at: Option<usize>,
    /// The swing nearest the middle of all: "Oct 5, 2026, 17:48:03, number 3 of 20 that count on that day".
    pub typical: Option<String>,
}

impl LookedAt {
    /// A sentence or more.
    pub fn words(&self, name: &str) -> String {
        let Self { swings, drawn, cut_at, typical } = self;
        let read = cut_at.map_or_else(
            || "all swings that were chosen were read".to_owned(),
            |most| format!("more than {most} swings were chosen, and the newest {most} alone were read"),
        );
        let middle = typical.as_ref().map_or_else(
            || "no swing can stand for all".to_owned(),
            |typical| format!("the typical swing, nearest the middle of all, is that of {typical}"),
        );
        format!("{name}: {read}; curves are of {drawn} of {}; {middle}.", count(*swings, "swing"))
    }
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
