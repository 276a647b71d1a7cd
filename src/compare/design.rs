//! Which days are compared with which: one rule for numbers and for curves.

use super::student::Student;
use std::collections::BTreeMap;

/// What a day is taken to add before anything is known, as a share of the spread from swing to swing: common practice,
/// no source.
pub const ASSUMED_DAY_SHARE: f64 = 0.5;

/// What is compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Design {
    /// The days of one group with those of the other: a group's day an item.
    Apart,
    /// On days of both groups, one's mean with the other's: their difference an item. What the day does to both falls
    /// out; what it does to one of them is left.
    Shared,
}

/// Swings of a day, then and now.
type Counts = BTreeMap<i64, [usize; 2]>;

impl Design {
    /// Of each group's days with the swings on them, in any order: day, whether of the later group, swings. By these
    /// numbers alone, never by the values, so that it cannot favour an answer.
    ///
    /// Where all days are of both groups, and there are two: within the days. Where only some are: what promises the
    /// shorter interval, if a day adds half the spread from swing to swing, half of that variance to both groups alike
    /// and half to each on its own. Days taken as apart that are not are more alike than is reckoned with, so the
    /// interval is too long, never too short.
    pub fn of(swings: impl Iterator<Item = (i64, bool, usize)>) -> Self {
        let mut days = Counts::new();
        for (day, is_now, count) in swings {
            let [of_then, of_now] = days.entry(day).or_default();
            *(if is_now { of_now } else { of_then }) += count;
        }
        let shared = days.values().filter(|counts| is_shared(counts)).count();
        if shared < 2 {
            Self::Apart
        } else if shared == days.len() || promised_shared(&days) < promised_apart(&days) {
            Self::Shared
        } else {
            Self::Apart
        }
    }
}

fn is_shared(counts: &[usize; 2]) -> bool {
    counts.iter().all(|count| *count > 0)
}

/// Half the promised interval, in spreads from swing to swing.
fn promised(variance: f64, freedom: usize) -> f64 {
    Student::new(freedom as f64).map_or(f64::INFINITY, |student| student.quantile(0.975) * variance.sqrt())
}

fn promised_shared(days: &Counts) -> f64 {
    let of_days = ASSUMED_DAY_SHARE.powi(2);
    let weights = days
        .values()
        .filter(|counts| is_shared(counts))
        .map(|[then, now]| 1.0 / (1.0 / *then as f64 + 1.0 / *now as f64 + of_days));
    let (items, sum) = weights.fold((0_usize, 0.0), |(items, sum), weight| (items + 1, sum + weight));
    promised(1.0 / sum, items.saturating_sub(1))
}

fn promised_apart(days: &Counts) -> f64 {
    let of_days = ASSUMED_DAY_SHARE.powi(2);
    let (mut items, mut sums) = (0_usize, [0.0; 2]);
    for counts in days.values() {
        for (sum, count) in sums.iter_mut().zip(counts).filter(|(_, count)| **count > 0) {
            *sum += 1.0 / (1.0 / *count as f64 + of_days);
            items += 1;
        }
    }
    promised(sums.iter().map(|sum| 1.0 / sum).sum(), items.saturating_sub(2))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Days from `first` on with so many swings each.
    fn of(then: (i64, &[usize]), now: (i64, &[usize])) -> Design {
        let group = |(first, counts): (i64, &[usize]), is_now: bool| -> Vec<(i64, bool, usize)> {
            (first..).zip(counts).map(|(day, count)| (day, is_now, *count)).collect()
        };
        Design::of(group(now, true).into_iter().chain(group(then, false)))
    }

    #[test]
    fn all_days_of_both_groups_are_compared_within_themselves() {
        assert_eq!(of((0, &[4; 2]), (0, &[4; 2])), Design::Shared);
        assert_eq!(of((5, &[1, 60, 3]), (5, &[60, 1, 1])), Design::Shared);
    }

    #[test]
    fn with_fewer_than_two_days_of_both_they_are_apart() {
        assert_eq!(of((0, &[4; 3]), (9, &[4; 3])), Design::Apart);
        assert_eq!(of((0, &[4; 3]), (2, &[4; 3])), Design::Apart);
        assert_eq!(of((0, &[40]), (0, &[40])), Design::Apart, "one day says nothing of days");
        assert_eq!(of((0, &[]), (0, &[4; 3])), Design::Apart);
        // A day without a swing of one group is not of both.
        assert_eq!(of((0, &[4, 4, 0]), (1, &[0, 4, 4])), Design::Apart);
    }

    /// With so many swings that only days count, ¼ is what a day adds to each group, and ½ of that twice to a difference:
    /// ¼ a pair too. Of n days a group, s of both, half the interval is t(s − 1)·√(¼/s) or t(2n − 2)·√(2·¼/n), with t of
    /// 97.5 % (Student's table).
    #[test]
    fn where_some_are_of_both_the_shorter_promise_counts() {
        let many = [100_000; 6];
        // s = 2: 12.706·0.354 = 4.49; s = 4: 3.182·0.25 = 0.795; s = 5: 2.776·0.224 = 0.621. n = 6: 2.228·0.289 = 0.643.
        for (first, design) in [(4, Design::Apart), (2, Design::Apart), (1, Design::Shared)] {
            assert_eq!(of((0, &many), (first, &many)), design, "from {first} on");
        }
        // With ten swings a day instead: 2.776·√((0.2 + 0.25)/5) = 0.833, 2.228·√(2·0.35/6) = 0.761.
        assert_eq!(of((0, &[10; 6]), (1, &[10; 6])), Design::Apart);
    }
}
