//! Instants and spans of time in whole microseconds, UTC. Calendar days belong to `zone`.

use super::{OutOfRange, Unreadable};
use chrono::{DateTime, SecondsFormat, Utc};
use std::fmt;

/// A moment in UTC microseconds since 1970, from 1970 to the end of 9999.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Instant(i64);

pub const MICROS_PER_SECOND: i64 = 1_000_000;
pub const MICROS_PER_MINUTE: i64 = 60 * MICROS_PER_SECOND;
pub const MICROS_PER_HOUR: i64 = 60 * MICROS_PER_MINUTE;

impl Instant {
    pub const MINIMUM: i64 = 0;
    /// 9999-12-31T23:59:59.999999Z
    pub const MAXIMUM: i64 = 253_402_300_799_999_999;

    /// Refuses instants before 1970 and after 9999.
    pub fn from_micros(micros: i64) -> Result<Instant, OutOfRange> {
        if (Self::MINIMUM..=Self::MAXIMUM).contains(&micros) {
            return Ok(Instant(micros));
        }
        let (minimum, maximum) = (Self::MINIMUM, Self::MAXIMUM);
        Err(OutOfRange { measure: "instant in microseconds", value: micros.to_string(), minimum, maximum })
    }

    /// 1970-01-01T00:00:00Z.
    pub const EPOCH: Instant = Instant(0);

    pub const fn micros(self) -> i64 {
        self.0
    }

    /// This instant moved by a span, held inside the range.
    pub fn plus_micros(self, span: i64) -> Instant {
        Instant(self.0.saturating_add(span).clamp(Self::MINIMUM, Self::MAXIMUM))
    }

    /// Microseconds from `earlier` to this instant; negative when it is the other way round.
    pub const fn since(self, earlier: Instant) -> i64 {
        self.0 - earlier.0
    }

    /// The whole minute at or before this instant.
    pub const fn floor_minute(self) -> Instant {
        Instant(self.0 - self.0 % MICROS_PER_MINUTE)
    }

    /// Reads RFC 3339 with any offset; a missing offset is refused.
    pub fn parse(text: &str) -> Result<Instant, Unreadable> {
        let unreadable =
            || Unreadable { measure: "an RFC 3339 instant with its offset", text: text.chars().take(40).collect() };
        let parsed = DateTime::parse_from_rfc3339(text).map_err(|_| unreadable())?;
        Instant::from_micros(parsed.timestamp_micros()).map_err(|_| unreadable())
    }

    /// The same moment for calendar arithmetic.
    pub fn to_chrono(self) -> DateTime<Utc> {
        DateTime::from_timestamp_micros(self.0).unwrap_or(DateTime::UNIX_EPOCH)
    }

    pub fn from_chrono(moment: DateTime<Utc>) -> Instant {
        Instant(moment.timestamp_micros().clamp(Self::MINIMUM, Self::MAXIMUM))
    }
}

impl fmt::Display for Instant {
    /// RFC 3339 in UTC with six decimals.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.to_chrono().to_rfc3339_opts(SecondsFormat::Micros, true))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Examples of RFC 3339, section 5.8; the leap second is read as the second that follows it.
    #[test]
    fn rfc_3339_examples() {
        let rows = [
            ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.520000Z"),
            ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57.000000Z"),
            ("1990-12-31T23:59:60Z", "1991-01-01T00:00:00.000000Z"),
        ];
        for (text, expected) in rows {
            assert_eq!(Instant::parse(text).map(|i| i.to_string()), Ok(expected.to_owned()), "{text}");
        }
    }

    #[test]
    fn refuses_what_is_not_an_instant() {
        for bad in [
            "",
            "2026-11-25",
            "2026-11-25T10:00:00",
            "2027-02-29T00:00:00Z",
            "2026-13-01T00:00:00Z",
            "2026-11-25T24:01:00Z",
            "10000-01-01T00:00:00Z",
            "1969-12-31T23:59:59Z",
            "2024-01-01T12:99:00Z",
        ] {
            assert!(Instant::parse(bad).is_err(), "{bad}");
        }
        assert!(Instant::parse("2028-02-29T00:00:00Z").is_ok() && Instant::parse("2038-01-19T03:14:08Z").is_ok());
        assert_eq!(Instant::parse("9999-12-31T23:59:59.999999Z").map(Instant::micros), Ok(Instant::MAXIMUM));
    }
}
