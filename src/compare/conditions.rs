//! Whether two groups were swung under the same conditions, and whether all days of a trend were.

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
    /// What it met: `ball` or `none`.
    pub contact: Option<String>,
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

/// A condition that is not the same for all swings of a trend.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Varied {
    /// Which.
    pub condition: Condition,
    /// What it was, in order of time; a single one where it is mixed in the same way on every day.
    pub stretches: Vec<Stretch>,
}

/// Days one after another of which the same is said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// The first of them, by the number of [`Observed::day`](super::Observed::day),
    pub first_day: i64,
    /// and the last.
    pub last_day: i64,
    /// What it was and for how many swings, the most frequent first; `None`: not said.
    pub values: Vec<(Option<String>, usize)>,
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
    /// Whether it met a ball: without one the instant of contact is where it would have been met.
    Contact,
}

impl Condition {
    /// All of them, in the order in which they are said.
    pub const ALL: [Condition; 6] = [
        Condition::Athlete,
        Condition::Bat,
        Condition::Drill,
        Condition::BallSource,
        Condition::Side,
        Condition::Contact,
    ];

    fn of(self, conditions: &Conditions) -> &Option<String> {
        match self {
            Condition::Athlete => &conditions.athlete,
            Condition::Bat => &conditions.bat,
            Condition::Drill => &conditions.drill,
            Condition::BallSource => &conditions.ball_source,
            Condition::Side => &conditions.side,
            Condition::Contact => &conditions.contact,
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

/// What is not the same over all swings of a trend, each with its day, by the rule of [`mismatches`]: a rise or a fall may come
/// from it. In the order of [`Condition::ALL`].
pub fn varied(swings: &[(i64, Conditions)]) -> Vec<Varied> {
    let all: Vec<Conditions> = swings.iter().map(|(_, conditions)| conditions.clone()).collect();
    let of = |Mismatch { condition, .. }| Varied { condition, stretches: stretches(swings, condition) };
    mismatches(&all, &[]).into_iter().map(of).collect()
}

impl Varied {
    /// What it was over all of them and for how many swings, the most frequent first.
    pub fn in_all(&self) -> Vec<(Option<String>, usize)> {
        together(self.stretches.iter().flat_map(|stretch| stretch.values.iter().map(|(word, count)| (word, *count))))
    }
}

type Counts<'a> = BTreeMap<&'a Option<String>, usize>;

fn stretches(swings: &[(i64, Conditions)], condition: Condition) -> Vec<Stretch> {
    let mut days: BTreeMap<i64, Counts<'_>> = BTreeMap::new();
    for (day, conditions) in swings {
        *days.entry(*day).or_default().entry(condition.of(conditions)).or_default() += 1;
    }
    let days: Vec<(i64, Counts<'_>)> = days.into_iter().collect();
    let stretch = |days: &[(i64, Counts<'_>)]| {
        let (first_day, last_day) = (days.first()?.0, days.last()?.0);
        let counts = days.iter().flat_map(|(_, counts)| counts.iter().map(|(word, count)| (*word, *count)));
        Some(Stretch { first_day, last_day, values: together(counts) })
    };
    days.chunk_by(|(_, one), (_, next)| one.keys().eq(next.keys())).filter_map(stretch).collect()
}

/// What was said and how often.
fn counted(group: &[Conditions], condition: Condition) -> Vec<(Option<String>, usize)> {
    together(group.iter().map(|conditions| (condition.of(conditions), 1)))
}

/// Counts of the same summed, the most frequent first, then by name.
fn together<'a>(counts: impl Iterator<Item = (&'a Option<String>, usize)>) -> Vec<(Option<String>, usize)> {
    let mut sums: Counts<'a> = BTreeMap::new();
    for (word, count) in counts {
        *sums.entry(word).or_default() += count;
    }
    let mut counted: Vec<_> = sums.into_iter().map(|(word, count)| (word.clone(), count)).collect();
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

    #[test]
    fn over_days_what_changed_is_said_stretch_by_stretch() {
        let of = |day: i64, bat: &str| (day, with(Some(bat), "right"));
        let days = [of(9, "Ash"), of(1, "Ash"), of(3, "Ash"), of(5, "Oak"), of(5, "Ash"), of(8, "Oak"), of(8, "Oak")];
        let stretch = |first_day, last_day, values| Stretch { first_day, last_day, values };
        let stretches = vec![
            stretch(1, 3, vec![word("Ash", 2)]),
            stretch(5, 5, vec![word("Ash", 1), word("Oak", 1)]),
            stretch(8, 8, vec![word("Oak", 2)]),
            stretch(9, 9, vec![word("Ash", 1)]),
        ];
        assert_eq!(varied(&days), [Varied { condition: Condition::Bat, stretches }]);
        assert_eq!(varied(&days[1..3]), []);
        assert_eq!(varied(&[]), []);
    }

    #[test]
    fn what_is_mixed_alike_on_every_day_is_one_stretch() {
        let day = |day: i64| [(day, with(None, "left")), (day, with(None, "right")), (day, with(None, "left"))];
        let found = varied(&[day(i64::MIN), day(i64::MAX)].concat());
        let values = vec![word("left", 4), word("right", 2)];
        let stretches = vec![Stretch { first_day: i64::MIN, last_day: i64::MAX, values }];
        assert_eq!(found, [Varied { condition: Condition::Side, stretches }]);
    }
}
