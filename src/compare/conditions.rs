//! Whether two groups were swung under the same conditions.

use std::cmp::Reverse;
use std::collections::BTreeMap;

/// Under what a swing was made. Text is what people call it; `None`: not said.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Conditions {
    /// Who.
    pub athlete: Option<String>,
    /// With what.
    pub bat: Option<String>,
    /// At what.
    pub drill: Option<String>,
    /// Where the ball came from, as people say it.
    pub ball_source: Option<String>,
    /// `right` or `left`.
    pub side: Option<String>,
}

/// A condition that is not the same for all swings of both groups.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mismatch {
    /// Which.
    pub condition: Condition,
    /// What it was for the earlier group and for how many swings, the most frequent first; `None`: not said.
    pub then: Vec<(Option<String>, usize)>,
    /// The same of the later group.
    pub now: Vec<(Option<String>, usize)>,
}

/// One of the conditions.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Condition {
    /// Who swung.
    Athlete,
    /// The bat.
    Bat,
    /// The drill.
    Drill,
    /// Where the ball came from.
    BallSource,
    /// The side of the plate.
    Side,
}

impl Condition {
    /// All of them, in the order in which they are said.
    pub const ALL: [Condition; 5] =
        [Condition::Athlete, Condition::Bat, Condition::Drill, Condition::BallSource, Condition::Side];

    fn of(self, conditions: &Conditions) -> &Option<String> {
        match self {
            Condition::Athlete => &conditions.athlete,
            Condition::Bat => &conditions.bat,
            Condition::Drill => &conditions.drill,
            Condition::BallSource => &conditions.ball_source,
            Condition::Side => &conditions.side,
        }
    }
}

/// What differs between the groups, or is mixed within one of them, in the order of [`Condition::ALL`]. Not said is
/// another thing than said: nobody knows that it was the same.
pub fn mismatches(then: &[Conditions], now: &[Conditions]) -> Vec<Mismatch> {
    let of = |condition: Condition| {
        let mismatch = Mismatch { condition, then: counted(then, condition), now: counted(now, condition) };
        let mut words = mismatch.then.iter().chain(&mismatch.now).map(|(word, _)| word);
        let first = words.next();
        words.any(|word| Some(word) != first).then_some(mismatch)
    };
    Condition::ALL.into_iter().filter_map(of).collect()
}

/// What was said and how often, the most frequent first, then by name.
fn counted(group: &[Conditions], condition: Condition) -> Vec<(Option<String>, usize)> {
    let mut counts: BTreeMap<&Option<String>, usize> = BTreeMap::new();
    for conditions in group {
        *counts.entry(condition.of(conditions)).or_default() += 1;
    }
    let mut counted: Vec<_> = counts.into_iter().map(|(word, count)| (word.clone(), count)).collect();
    counted.sort_by_key(|(_, count)| Reverse(*count));
    counted
}

#[cfg(test)]
mod tests {
    use super::*;

    fn with(bat: Option<&str>, side: &str) -> Conditions {
        Conditions { bat: bat.map(str::to_owned), side: Some(side.to_owned()), ..Conditions::default() }
    }

    fn word(word: &str, count: usize) -> (Option<String>, usize) {
        (Some(word.to_owned()), count)
    }

    #[test]
    fn the_same_everywhere_or_nowhere_said_is_no_mismatch() {
        let group = vec![with(Some("Ash"), "right"); 3];
        assert_eq!(mismatches(&group, &group), []);
        assert_eq!(mismatches(&group, &[]), []);
        assert_eq!(mismatches(&[], &[]), []);
    }

    #[test]
    fn what_differs_between_the_groups_is_said_in_order() {
        let found = mismatches(&[with(Some("Ash"), "right")], &[with(Some("Birch"), "left")]);
        assert_eq!(found.iter().map(|one| one.condition).collect::<Vec<_>>(), [Condition::Bat, Condition::Side]);
        assert_eq!((&found[0].then, &found[0].now), (&vec![word("Ash", 1)], &vec![word("Birch", 1)]));
    }

    #[test]
    fn what_is_mixed_within_a_group_is_said_the_most_frequent_first() {
        let now = [
            with(Some("Ash"), "left"),
            with(Some("Oak"), "left"),
            with(Some("Birch"), "left"),
            with(Some("Oak"), "left"),
        ];
        let found = mismatches(&[], &now);
        let expected = Mismatch {
            condition: Condition::Bat,
            then: vec![],
            now: vec![word("Oak", 2), word("Ash", 1), word("Birch", 1)],
        };
        assert_eq!(found, [expected]);
    }

    #[test]
    fn not_said_is_another_thing_than_said() {
        let found = mismatches(&[with(Some("Ash"), "right")], &[with(None, "right")]);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].now, [(None, 1)]);
    }
}
