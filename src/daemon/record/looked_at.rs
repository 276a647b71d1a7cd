//! How much of each group of a comparison was looked at, in words for the report.

use super::then_now::{Chosen, MOST_SWINGS, ThenNow, observed};
use crate::report::then_now::LookedAt;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use uuid::Uuid;

/// Of the earlier and of the later group.
pub fn looked_at(compared: &ThenNow) -> [LookedAt; 2] {
    let [then, now] = compared.typical();
    [of(&compared.then, then), of(&compared.now, now)]
}

fn of(chosen: &Chosen, typical: Option<Uuid>) -> LookedAt {
    LookedAt {
        swings: chosen.swings.len(),
        drawn: chosen.drawn.len(),
        cut_at: usize::try_from(MOST_SWINGS).ok().filter(|_| chosen.is_cut),
        typical: typical.and_then(|id| words(chosen, id)),
    }
}

/// Day and time as they are counted at this machine, and its place among the swings of that day that count.
fn words(chosen: &Chosen, id: Uuid) -> Option<String> {
    let found = chosen.swings.iter().find(|found| found.swing.id == id)?;
    let day = observed(found).day;
    let of_day: Vec<Uuid> =
        chosen.swings.iter().filter(|other| observed(other).day == day).map(|other| other.swing.id).collect();
    let number = 1 + of_day.iter().position(|other| *other == id)?;
    let at = Timestamp::from_microsecond(found.swing.contact_utc.0).ok()?.to_zoned_datetime(TimeZone::system());
    Some(format!("{}, number {number} of {} that count on that day", at.strftime("%b %-d, %Y, %H:%M:%S"), of_day.len()))
}
