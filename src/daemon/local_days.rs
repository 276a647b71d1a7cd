//! Days as they are counted at this machine, in its time zone.

use super::store::rows::UtcMicros;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Span, Timestamp, ZonedDateTime};

/// The day; none outside of the years that calendars have.
pub fn date(at: UtcMicros) -> Option<Date> {
    local(at).map(|at| at.date())
}

/// Days since 1970; 0 where [`date`] has none.
pub fn number(at: UtcMicros) -> i64 {
    local(at).map_or(0, |at| {
        let seconds = at.timestamp().as_second() + i64::from(at.offset().seconds());
        seconds.div_euclid(86_400)
    })
}

/// "Oct 5, 2026".
pub fn text(at: UtcMicros) -> String {
    in_words(date(at))
}

/// The day of a [`number`].
pub fn numbered(number: i64) -> Option<Date> {
    Date::constant(1970, 1, 1).checked_add(Span::new().try_days(number).ok()?).ok()
}

/// It in words, as by [`text`].
pub fn numbered_text(number: i64) -> String {
    in_words(numbered(number))
}

fn in_words(date: Option<Date>) -> String {
    date.map_or_else(|| "an unknown day".to_owned(), |date| date.strftime("%b %-d, %Y").to_string())
}

fn local(at: UtcMicros) -> Option<ZonedDateTime> {
    Some(Timestamp::from_microsecond(at.0).ok()?.to_zoned_datetime(TimeZone::system()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date as civil;

    #[test]
    fn a_day_has_the_same_date_number_and_words() {
        let noon = civil(2026, 10, 5).at(12, 0, 0, 0).to_zoned_datetime(TimeZone::system()).unwrap();
        let at = UtcMicros(noon.timestamp().as_microsecond());
        // 56 years with 14 leap days, then 277 days of 2026 before October 5.
        assert_eq!((date(at), number(at)), (Some(civil(2026, 10, 5)), 56 * 365 + 14 + 277));
        assert_eq!(text(at), "Oct 5, 2026");
        assert_eq!((numbered(number(at)), numbered_text(number(at)).as_str()), (date(at), "Oct 5, 2026"));
        let none = UtcMicros(i64::MAX);
        assert_eq!((date(none), number(none), text(none).as_str()), (None, 0, "an unknown day"));
        assert_eq!([i64::MIN, i64::MAX, 10_000_000].map(numbered), [None; 3]);
    }
}
