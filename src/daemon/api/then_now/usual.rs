//! Which days are set side by side where nobody says: the first few and the latest few of the side with most swings.

use crate::daemon::store::StoreError;
use crate::daemon::store::queries::swings_read::summary::{Group, SummaryOf, by_lesson};
use crate::daemon::store::rows::{Side, UtcMicros, Word};
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
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
        let Some(date) = date(group.first) else { continue };
        let day = days.entry(date).or_insert(Day { date, right: 0, left: 0, unsaid: 0 });
        match group.side {
            Some(Side::Right) => day.right += group.counted,
            Some(Side::Left) => day.left += group.counted,
            None => day.unsaid += group.counted,
        }
    }
    days.into_values().collect()
}

fn date(at: UtcMicros) -> Option<Date> {
    Some(Timestamp::from_microsecond(at.0).ok()?.to_zoned_datetime(TimeZone::system()).date())
}

/// A query with what it does not say: whose swings, which days and from which side. What a form leaves empty is left out.
pub fn completed(query: &str, athlete: Uuid, days: &[Day]) -> String {
    let pairs: Vec<(&str, &str)> = query.split('&').filter_map(|pair| pair.split_once('=')).collect();
    let said = |keys: &[&str]| pairs.iter().find(|(key, _)| keys.contains(key)).map(|(_, value)| *value);
    let has_days = pairs.iter().any(|(key, value)| OF_DAYS.contains(key) && !value.is_empty());
    let side = match said(&OF_SIDE) {
        Some(word) => Side::from_word(word).ok(),
        None => most(days),
    };
    let mut all: Vec<String> = vec![format!("athlete={athlete}")];
    all.extend(pairs.iter().filter(|(_, value)| !value.is_empty()).map(|(key, value)| format!("{key}={value}")));
    if said(&OF_SIDE).is_none() {
        all.extend(side.map(|side| format!("side={}", side.word())));
    }
    if !has_days {
        all.extend(usual(&days.iter().filter(|day| day.swings(side) > 0).collect::<Vec<_>>()));
    }
    all.join("&")
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
        completed(query, Uuid::nil(), &days(count)).split_once('&').map(|(_, rest)| rest.to_owned()).unwrap_or_default()
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
    fn what_is_said_stays_and_what_is_left_empty_goes() {
        let form = "then_from=2026-09-08&then_to=&then_side=&now_side=left&now_bat=&metric=bat_speed_mps";
        assert_eq!(of(form, 6), "then_from=2026-09-08&now_side=left&metric=bat_speed_mps");
    }

    #[test]
    fn whatever_is_completed_can_be_read() {
        for count in 0..15 {
            for query in ["", "side=left", "then_side=&now_side=", "metric=bat_speed_mps&bat="] {
                let query = completed(query, Uuid::nil(), &days(count));
                assert!(ThenNowQuery::of(&query).is_ok(), "{query}");
            }
        }
        assert!(ThenNowQuery::of(&completed("colour=red", Uuid::nil(), &[])).is_err());
    }
}
