//! Instants as they enter and leave: RFC 3339 text, to the microsecond; what leaves is in UTC.

use crate::daemon::store::rows::UtcMicros;
use jiff::Timestamp;
use serde::de::{Deserializer, Error};
use serde::{Deserialize, Serialize, Serializer};
use std::fmt;
use std::str::FromStr;
use utoipa::ToSchema;

/// The first and the last year that RFC 3339 can write, µs of UTC.
const WRITABLE_US: std::ops::RangeInclusive<i64> = -62_167_219_200_000_000..=253_402_207_199_999_999;

/// An instant of UTC in RFC 3339, to the microsecond: `2026-11-25T16:10:18.240000Z`. With another offset it is taken as
/// well.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, ToSchema)]
#[schema(value_type = String, format = DateTime)]
pub struct Instant(UtcMicros);

/// Why a text is no instant.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is no instant; expected RFC 3339 with an offset, such as 2026-11-25T16:10:18Z")]
pub struct NoInstant(String);

impl Instant {
    /// Whether RFC 3339 can write it: its years have four digits.
    pub fn can_write(at: UtcMicros) -> bool {
        WRITABLE_US.contains(&at.0)
    }
}

impl From<UtcMicros> for Instant {
    fn from(at: UtcMicros) -> Self {
        Self(at)
    }
}

impl From<Instant> for UtcMicros {
    fn from(instant: Instant) -> Self {
        instant.0
    }
}

impl fmt::Display for Instant {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let us = self.0.0.clamp(*WRITABLE_US.start(), *WRITABLE_US.end());
        let at = Timestamp::from_microsecond(us).unwrap_or(Timestamp::UNIX_EPOCH);
        write!(f, "{at:.6}")
    }
}

impl FromStr for Instant {
    type Err = NoInstant;

    fn from_str(text: &str) -> Result<Self, NoInstant> {
        let us = has_form(text).then(|| text.parse::<Timestamp>().ok()).flatten().map(Timestamp::as_microsecond);
        let us = us.filter(|us| WRITABLE_US.contains(us));
        us.map(|us| Self(UtcMicros(us))).ok_or_else(|| NoInstant(text.chars().take(40).collect()))
    }
}

/// RFC 3339, section 5.6: of the forms of ISO 8601 only this one. What the digits say is left to the reader of dates.
fn has_form(text: &str) -> bool {
    let bytes = text.as_bytes();
    let at = |place: usize, of: &[u8]| bytes.get(place).is_some_and(|byte| of.contains(byte));
    let has_offset = text.ends_with(['Z', 'z']) || bytes.iter().rev().nth(5).is_some_and(|byte| b"+-".contains(byte));
    let has_time = at(10, b"Tt ") && at(13, b":") && at(16, b":") && at(19, b".Zz+-");
    at(4, b"-") && at(7, b"-") && has_time && has_offset && !text.contains(',')
}

impl Serialize for Instant {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Instant {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?.parse().map_err(D::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn us(text: &str) -> Option<i64> {
        text.parse::<Instant>().ok().map(|instant| UtcMicros::from(instant).0)
    }

    #[test]
    fn what_is_written_is_read_back_to_the_microsecond() {
        for at in [0, 1, -1, 1_764_087_018_240_001, *WRITABLE_US.start(), *WRITABLE_US.end()] {
            let text = Instant::from(UtcMicros(at)).to_string();
            assert_eq!((us(&text), text.len()), (Some(at), 27), "{text}");
            let json = serde_json::to_string(&Instant::from(UtcMicros(at))).unwrap();
            assert_eq!(serde_json::from_str::<Instant>(&json).unwrap(), Instant::from(UtcMicros(at)));
        }
        assert_eq!(Instant::from(UtcMicros(i64::MAX)).to_string().len(), 27, "never what cannot be read");
    }

    #[test]
    fn the_examples_of_rfc_3339_section_5_8_are_read() {
        assert_eq!(us("1985-04-12T23:20:50.52Z"), Some(482_196_050_520_000));
        assert_eq!(us("1996-12-19T16:39:57-08:00"), Some(851_042_397_000_000));
        assert_eq!(us("1996-12-19t16:39:57-08:00"), us("1996-12-20T00:39:57z"));
    }

    #[test]
    fn other_ways_to_write_an_instant_are_refused() {
        for text in [
            "",
            "now",
            "1985-04-12",
            "1985-04-12T23:20:50",
            "1985-04-12T23:20Z",
            "19850412T232050Z",
            "1985-04-12T23:20:50,5Z",
            "1985-04-12T23:20:50+0100",
            "1985-02-30T23:20:50Z",
            "1985-04-12T25:20:50Z",
            "+001985-04-12T23:20:50Z",
            "1985-04-12T23:20:50+01:00[Europe/Paris]",
            "482196050",
            "é985-04-12T23:20:50Z",
        ] {
            assert_eq!(us(text), None, "{text}");
        }
    }
}
