//! Instants and days as people at this machine read them: in its time zone, with the instant itself for programs.

use crate::daemon::store::rows::UtcMicros;
use jiff::tz::TimeZone;
use jiff::{Timestamp, Unit, ZonedDateTime};
use maud::{Markup, html};

/// Seconds of a day without a change of the clocks.
const DAY_S: f64 = 86_400.0;

/// The day: "Mon, Oct 5, 2026".
pub fn day(at: UtcMicros) -> Markup {
    element(at, "%a, %b %-d, %Y")
}

/// Day, hour and minute: "Oct 5, 2026, 17:02".
pub fn minute(at: UtcMicros) -> Markup {
    element(at, "%b %-d, %Y, %H:%M")
}

/// All of it, where seconds matter: "Oct 5, 2026, 17:02:31".
pub fn instant(at: UtcMicros) -> Markup {
    element(at, "%b %-d, %Y, %H:%M:%S")
}

/// When what began then ended: the hour and minute alone where it was the same day: "17:48".
pub fn end(begun: UtcMicros, ended: UtcMicros) -> Markup {
    if day_text(begun) == day_text(ended) { clock(ended) } else { minute(ended) }
}

/// Hour and minute alone, where the day is said elsewhere: "17:02".
pub fn clock(at: UtcMicros) -> Markup {
    element(at, "%H:%M")
}

/// Hour, minute and second alone, where the day is said elsewhere: "17:02:31".
pub fn second(at: UtcMicros) -> Markup {
    element(at, "%H:%M:%S")
}

/// The day in words for charts and titles: "Oct 5, 2026".
pub fn day_text(at: UtcMicros) -> String {
    local(at, TimeZone::system()).map_or_else(unknown, |at| at.strftime("%b %-d, %Y").to_string())
}

/// Days since 1970 as they are counted here, with the part of the day: places on the axis of a trend.
pub fn days(at: UtcMicros) -> f64 {
    local(at, TimeZone::system()).map_or(0.0, |at| days_of(&at))
}

fn days_of(at: &ZonedDateTime) -> f64 {
    let seconds = at.timestamp().as_second() + i64::from(at.offset().seconds());
    seconds as f64 / DAY_S
}

/// A `time` element.
fn element(at: UtcMicros, form: &str) -> Markup {
    in_zone(at, form, TimeZone::system())
}

fn in_zone(at: UtcMicros, form: &str, zone: TimeZone) -> Markup {
    let Some(local) = local(at, zone) else {
        return html! { (unknown()) };
    };
    let instant = local.timestamp().round(Unit::Millisecond).unwrap_or_else(|_| local.timestamp());
    html! { time datetime=(instant) { (local.strftime(form)) } }
}

/// Outside of the years that calendars have, nothing.
fn local(at: UtcMicros, zone: TimeZone) -> Option<ZonedDateTime> {
    Some(Timestamp::from_microsecond(at.0).ok()?.to_zoned_datetime(zone))
}

fn unknown() -> String {
    "at an unknown time".to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::tz::offset;

    /// 2026-10-05T03:04:05.678901Z.
    const AT: UtcMicros = UtcMicros(1_791_169_445_678_901);

    #[test]
    fn what_is_read_is_local_and_what_programs_read_is_the_instant() {
        let west = TimeZone::fixed(offset(-5));
        let shown = in_zone(AT, "%b %-d, %Y, %H:%M", west.clone()).into_string();
        assert_eq!(shown, "<time datetime=\"2026-10-05T03:04:05.679Z\">Oct 4, 2026, 22:04</time>");
        assert!(in_zone(AT, "%a, %b %-d, %Y", TimeZone::UTC).into_string().contains(">Mon, Oct 5, 2026<"));
        assert_eq!(in_zone(UtcMicros(i64::MAX), "%H", west).into_string(), "at an unknown time");
    }

    #[test]
    fn an_end_says_its_day_where_it_is_another() {
        let after = |hours: i64| end(AT, UtcMicros(AT.0 + hours * 3_600_000_000)).into_string();
        assert!(!after(0).contains(", "), "{}", after(0));
        assert!(after(48).contains(", 2026, "), "{}", after(48));
    }

    #[test]
    fn days_are_counted_where_the_clock_hangs() {
        let of = |zone| days_of(&local(AT, zone).unwrap());
        let (here, west) = (of(TimeZone::UTC), of(TimeZone::fixed(offset(-5))));
        assert_eq!((here.floor(), west.floor()), (20_731.0, 20_730.0));
        assert!((here - west - 5.0 / 24.0).abs() < 1e-9);
    }
}
