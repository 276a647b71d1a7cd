//! Which days are set side by side where nobody says: the first few and the latest few of the side with most swings. All days
//! where the groups are told apart without them: left against right, one bat against another.

use super::query::pairs;
use crate::daemon::local_days;
use crate::daemon::store::StoreError;
use crate::daemon::store::queries::swings_read::summary::{Group, SummaryOf, by_lesson};
use crate::daemon::store::rows::{Side, Word};
use jiff::civil::Date;
use sqlx::AnyConnection;
use std::collections::BTreeMap;
use uuid::Uuid;

/// So many days of either end, where there are as many: enough to know how much days differ.
const FEW: usize = 3;
/// More are not taken by themselves.
const MANY: usize = 6;
/// What says which days.
const OF_DAYS: [&str; 6] = ["from", "to", "then_from", "then_to", "now_from", "now_to"];
/// What says from which side.
const OF_SIDE: [&str; 3] = ["side", "then_side", "now_side"];
/// What tells groups apart without days: of the earlier one, of the later one.
const APART: [[&str; 2]; 4] = [
    ["then_side", "now_side"],
    ["then_bat", "now_bat"],
    ["then_drill", "now_drill"],
    ["then_ball_source", "now_ball_source"],
];

/// A day on which an athlete swung, as days are counted at this machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Day {
    /// Which.
    pub date: Date,
    /// Swings from the right,
    pub right: u32,
    /// from the left,
    pub left: u32,
    /// and from a side that was not said.
    pub unsaid: u32,
}

impl Day {
    fn swings(&self, side: Option<Side>) -> u32 {
        match side {
            Some(Side::Right) => self.right,
            Some(Side::Left) => self.left,
            None => self.right + self.left + self.unsaid,
        }
    }
}

/// The days of an athlete's lessons and practice, the first one first. Swings that were left out do not make a day.
///
/// # Errors
/// If they cannot be read.
pub async fn days(connection: &mut AnyConnection, athlete: Uuid) -> Result<Vec<Day>, StoreError> {
    let all = SummaryOf { athlete, side: None, bat: None, from: None, to: None };
    Ok(of_groups(&by_lesson(connection, all, &[]).await?))
}

fn of_groups(groups: &[Group]) -> Vec<Day> {
    let mut days: BTreeMap<Date, Day> = BTreeMap::new();
    for group in groups.iter().filter(|group| group.counted > 0) {
        let Some(date) = local_days::date(group.first) else { continue };
        let day = days.entry(date).or_insert(Day { date, right: 0, left: 0, unsaid: 0 });
        match group.side {
            Some(Side::Right) => day.right += group.counted,
            Some(Side::Left) => day.left += group.counted,
            None => day.unsaid += group.counted,
        }
    }
    days.into_values().collect()
}

/// A query with what was not said in it. Completed again, it is the same.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Completed {
    /// It. A side or a day that a form left empty is in it, for that is said: either side, no first or no last day.
    pub query: String,
    /// Whether its days are the usual ones, for nobody said which.
    pub has_usual_days: bool,
    /// Whether its side is the usual one, for nobody said which.
    pub has_usual_side: bool,
}

/// A query with the days and the side that it does not say. Groups that are told apart without days have all of them.
pub fn completed(query: &str, days: &[Day]) -> Completed {
    let pairs = pairs(query);
    let is_said = |keys: &[&str]| pairs.iter().any(|(key, _)| keys.contains(&key.as_str()));
    let usual_side = if is_said(&OF_SIDE) { None } else { most(days) };
    let has_usual_days = !is_said(&OF_DAYS) && !are_told_apart(&pairs);
    let mut all: Vec<String> = query.split('&').filter(|pair| says_something(pair)).map(str::to_owned).collect();
    all.extend(usual_side.map(|side| format!("side={}", side.word())));
    if has_usual_days {
        let said = pairs.iter().find(|(key, value)| OF_SIDE.contains(&key.as_str()) && !value.is_empty());
        let side = usual_side.or(said.and_then(|(_, word)| Side::from_word(word).ok()));
        all.extend(usual(&days.iter().filter(|day| day.swings(side) > 0).collect::<Vec<_>>()));
    }
    Completed { query: all.join("&"), has_usual_days, has_usual_side: usual_side.is_some() }
}

/// Whether a pair is filled in, or says something by being empty.
fn says_something(pair: &str) -> bool {
    match pair.split_once('=') {
        Some((key, "")) => OF_DAYS.contains(&key) || OF_SIDE.contains(&key),
        _ => !pair.is_empty(),
    }
}

/// Whether no swing can be in both groups, whatever the days.
fn are_told_apart(pairs: &[(String, String)]) -> bool {
    let of = |key: &str| {
        pairs.iter().find(|(said, _)| said == key).map(|(_, value)| value).filter(|value| !value.is_empty())
    };
    APART.iter().any(|[then, now]| matches!((of(then), of(now)), (Some(then), Some(now)) if then != now))
}

/// The side with most swings; none where no side was ever said.
fn most(days: &[Day]) -> Option<Side> {
    let sum = |side: Side| days.iter().map(|day| day.swings(Some(side))).sum::<u32>();
    let (right, left) = (sum(Side::Right), sum(Side::Left));
    if right == 0 && left == 0 {
        return None;
    }
    Some(if left > right { Side::Left } else { Side::Right })
}

/// The first and the latest of these days: a third of them, but [`FEW`] where that is less, and never one in both.
fn usual(days: &[&Day]) -> Vec<String> {
    let (Some(first), Some(last)) = (days.first(), days.last()) else { return Vec::new() };
    if days.len() == 1 {
        let later = first.date.tomorrow().unwrap_or(first.date);
        return vec![format!("then_to={}", first.date), format!("now_from={later}")];
    }
    let count = (days.len() / 3).max(FEW).min(days.len() / 2).min(MANY);
    let (then_last, now_first) = (days[count - 1], days[days.len() - count]);
    let bound = |key: &str, day: &Day| format!("{key}={}", day.date);
    vec![bound("then_from", first), bound("then_to", then_last), bound("now_from", now_first), bound("now_to", last)]
}

#[cfg(test)]
mod tests {
    use super::super::query::ThenNowQuery;
    use super::*;
    use jiff::ToSpan;
    use jiff::civil::date;

    fn days(count: i32) -> Vec<Day> {
        let day =
            |k: i32| Day { date: date(2026, 9, 1) + (7 * k).days(), right: 5, left: u32::from(k % 2 == 0), unsaid: 0 };
        (0..count).map(day).collect()
    }

    fn of(query: &str, count: i32) -> String {
        completed(query, &days(count)).query
    }

    #[test]
    fn the_first_days_stand_against_the_latest_ones() {
        assert_eq!(
            of("", 2),
            "side=right&then_from=2026-09-01&then_to=2026-09-01&now_from=2026-09-08&now_to=2026-09-08"
        );
        assert_eq!(
            of("", 6),
            "side=right&then_from=2026-09-01&then_to=2026-09-15&now_from=2026-09-22&now_to=2026-10-06"
        );
        assert!(of("", 30).contains("then_to=2026-10-06"), "six of thirty: {}", of("", 30));
        let left = of("side=left", 6);
        assert_eq!(left, "side=left&then_from=2026-09-01&then_to=2026-09-01&now_from=2026-09-29&now_to=2026-09-29");
    }

    #[test]
    fn a_single_day_stands_against_what_is_still_to_come() {
        assert_eq!(of("", 1), "side=right&then_to=2026-09-01&now_from=2026-09-02");
        assert_eq!(of("", 0), "");
    }

    #[test]
    fn what_is_said_stays_and_so_does_what_an_empty_field_says() {
        let form = "then_from=2026-09-08&then_to=&then_side=&now_side=left&now_bat=&metric=bat_speed_mps";
        assert_eq!(of(form, 6), "then_from=2026-09-08&then_to=&then_side=&now_side=left&metric=bat_speed_mps");
        let either = "then_side=&now_side=";
        assert!(of(either, 6).starts_with("then_side=&now_side=&then_from="), "{}", of(either, 6));
        let all_days = "then_from=&then_to=&now_from=&now_to=&side=left";
        assert_eq!(of(all_days, 6), all_days, "from the first day to the last");
    }

    #[test]
    fn groups_that_are_told_apart_without_days_have_all_of_them() {
        let sides = "then_side=left&now_side=right";
        assert_eq!(of(sides, 6), sides);
        for key in ["bat", "drill", "ball_source"] {
            let apart = format!("then_{key}=a&now_{key}=b");
            assert_eq!(of(&apart, 6), format!("{apart}&side=right"));
            for overlapping in
                [format!("then_{key}=a&now_{key}=a"), format!("then_{key}=a&now_{key}="), format!("{key}=a")]
            {
                assert!(of(&overlapping, 6).contains("then_to=2026-09-15"), "{overlapping}");
            }
        }
        assert_eq!(
            of("then_side=left&now_side=right&from=2026-09-08", 6),
            "then_side=left&now_side=right&from=2026-09-08"
        );
    }

    #[test]
    fn what_was_taken_by_itself_is_told() {
        let told = |query: &str| {
            let completed = completed(query, &days(6));
            (completed.has_usual_days, completed.has_usual_side)
        };
        assert_eq!(told(""), (true, true));
        assert_eq!(told("metric=bat_speed_mps"), (true, true));
        assert_eq!(told("then_side="), (true, false));
        assert_eq!(told("now_to="), (false, true));
        assert_eq!(told("then_bat=a&now_bat=b"), (false, true));
    }

    #[test]
    fn whatever_is_completed_can_be_read_and_stays_as_it_is() {
        for count in 0..15 {
            for query in ["", "side=left", "then_side=&now_side=", "metric=bat_speed_mps&bat=", "then_to=&drill=tee"] {
                let once = completed(query, &days(count)).query;
                assert!(ThenNowQuery::of_athlete(&once, Uuid::nil()).is_ok(), "{once}");
                assert_eq!(completed(&once, &days(count)).query, once);
            }
        }
        for query in ["colour=red", "colour", "%ff"] {
            let query = completed(query, &[]).query;
            assert!(ThenNowQuery::of_athlete(&query, Uuid::nil()).is_err(), "{query}");
        }
    }
}
