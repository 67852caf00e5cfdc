//! The shop's time zone: which business day an instant falls on, when a day ends, how a local time is written.

use super::Unreadable;
use super::instant::Instant;
use chrono::{Datelike, NaiveDate, NaiveDateTime, NaiveTime, TimeZone, Timelike, Utc};
use chrono_tz::Tz;

/// Release of the time zone data in this program.
pub const TZ_RELEASE: &str = chrono_tz::IANA_TZDB_VERSION;

/// An IANA time zone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Zone(Tz);

/// How often the clock on the wall shows a time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shown {
    Once(Instant),
    /// The clocks were put back: the earlier and the later.
    Twice(Instant, Instant),
    /// The clocks were put forward over it.
    Never,
}

impl Zone {
    pub const UTC: Zone = Zone(Tz::UTC);

    /// Reads an IANA name such as `Europe/Lisbon`.
    pub fn parse(name: &str) -> Result<Zone, Unreadable> {
        name.parse().map(Zone).map_err(|_| Unreadable { measure: "an IANA time zone name", text: name.to_owned() })
    }

    pub fn name(self) -> &'static str {
        self.0.name()
    }

    /// The calendar day of an instant in this zone.
    pub fn day_of(self, instant: Instant) -> NaiveDate {
        instant.to_chrono().with_timezone(&self.0).date_naive()
    }

    /// The wall time of an instant in this zone.
    pub fn time_of(self, instant: Instant) -> NaiveTime {
        instant.to_chrono().with_timezone(&self.0).time()
    }

    /// Day and wall time of an instant in this zone.
    pub fn local(self, instant: Instant) -> NaiveDateTime {
        self.day_of(instant).and_time(self.time_of(instant))
    }

    /// The instant of a local wall time. A time that a clock change skips is taken as the first instant after the gap;
    /// one that happens twice is taken as the earlier, so that a limit is never read later than meant.
    pub fn instant_of(self, local: NaiveDateTime) -> Instant {
        let mut candidate = local;
        // No gap of the tz database is longer than a day (a day skipped at the date line).
        for _ in 0..(26 * 60) {
            if let Some(found) = self.0.from_local_datetime(&candidate).earliest() {
                return Instant::from_chrono(found.with_timezone(&Utc));
            }
            candidate += chrono::Duration::minutes(1);
        }
        Instant::from_chrono(Utc.from_utc_datetime(&local))
    }

    /// Every instant at which the clock on the wall shows this.
    pub fn instants_of(self, local: NaiveDateTime) -> Shown {
        let instant = |moment: chrono::DateTime<Tz>| Instant::from_chrono(moment.with_timezone(&Utc));
        match self.0.from_local_datetime(&local) {
            chrono::LocalResult::Single(once) => Shown::Once(instant(once)),
            chrono::LocalResult::Ambiguous(earlier, later) => Shown::Twice(instant(earlier), instant(later)),
            chrono::LocalResult::None => Shown::Never,
        }
    }

    /// The first instant of a day; on days whose midnight is skipped, the first instant that exists.
    pub fn start_of(self, day: NaiveDate) -> Instant {
        self.instant_of(day.and_time(NaiveTime::MIN))
    }

    /// The first instant after a day.
    pub fn end_of(self, day: NaiveDate) -> Instant {
        day.succ_opt().map_or(self.instant_of(day.and_time(NaiveTime::MIN)).plus_micros(86_400_000_000), |next| {
            self.start_of(next)
        })
    }

    /// `26 Nov 2026 18:00` in local time: day first and the month in letters, so that no reader can swap them.
    pub fn write(self, instant: Instant) -> String {
        let local = instant.to_chrono().with_timezone(&self.0);
        format!("{} {:02}:{:02}", write_day(local.date_naive()), local.hour(), local.minute())
    }
}

/// A local time as it is written in the United States: `Nov 26, 2026 6:00 PM`.
pub fn write_american(zone: Zone, instant: Instant) -> String {
    let local = instant.to_chrono().with_timezone(&zone.0);
    let (afternoon, hour) = local.hour12();
    let half = if afternoon { "PM" } else { "AM" };
    format!("{} {hour}:{:02} {half}", write_american_day(local.date_naive()), local.minute())
}

/// `Nov 26, 2026`.
pub fn write_american_day(day: NaiveDate) -> String {
    format!("{} {}, {}", day.format("%b"), day.day(), day.year())
}

/// `26 Nov 2026`.
pub fn write_day(day: NaiveDate) -> String {
    format!("{} {} {}", day.day(), day.format("%b"), day.year())
}

/// Reads a full-date of RFC 3339, `YYYY-MM-DD`, within the years 1970 to 9999.
pub fn parse_day(text: &str) -> Result<NaiveDate, Unreadable> {
    let unreadable = || Unreadable { measure: "a date YYYY-MM-DD", text: text.chars().take(40).collect() };
    let shaped = text.len() == 10
        && text.bytes().enumerate().all(|(i, b)| if i == 4 || i == 7 { b == b'-' } else { b.is_ascii_digit() });
    if !shaped {
        return Err(unreadable());
    }
    let day = NaiveDate::parse_from_str(text, "%Y-%m-%d").map_err(|_| unreadable())?;
    if day.year() < 1970 { Err(unreadable()) } else { Ok(day) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        parse_day(text).unwrap_or_default()
    }

    /// Day lengths computed from the IANA tz database (release 2026f).
    #[test]
    fn days_of_a_clock_change_have_their_own_length() {
        let rows = [
            ("Europe/London", "2026-03-29", 23 * 60),
            ("Europe/London", "2026-10-25", 25 * 60),
            ("Australia/Lord_Howe", "2026-04-05", 24 * 60 + 30),
            ("Australia/Lord_Howe", "2026-10-04", 23 * 60 + 30),
            ("Asia/Tokyo", "2026-10-25", 24 * 60),
        ];
        for (zone, date, minutes) in rows {
            let zone = Zone::parse(zone).unwrap_or(Zone::UTC);
            assert_eq!(
                zone.end_of(day(date)).since(zone.start_of(day(date))),
                minutes * 60_000_000,
                "{date} in {}",
                zone.name()
            );
        }
    }

    /// Local midnight does not exist on these nights (IANA tz database, release 2026f).
    #[test]
    fn a_day_without_midnight_still_starts() {
        for (zone, date) in
            [("Africa/Cairo", "2026-04-24"), ("America/Santiago", "2026-09-06"), ("Asia/Beirut", "2026-03-29")]
        {
            let zone = Zone::parse(zone).unwrap_or(Zone::UTC);
            assert_eq!(zone.day_of(zone.start_of(day(date))), day(date));
            assert_eq!(zone.write(zone.start_of(day(date))).split(' ').next_back(), Some("01:00"));
        }
    }

    #[test]
    fn dates_are_strict() {
        for bad in ["2027-02-29", "2026-1-1", "26-11-25", "2026/11/25", "2026-11-25T", "1969-01-01", ""] {
            assert!(parse_day(bad).is_err(), "{bad}");
        }
        assert_eq!(write_day(day("2026-11-05")), "5 Nov 2026");
        assert_eq!(write_american_day(day("2026-11-05")), "Nov 5, 2026");
        for (text, written) in [
            ("2026-11-26T23:00:00Z", "Nov 26, 2026 6:00 PM"),
            ("2026-11-26T05:05:00Z", "Nov 26, 2026 12:05 AM"),
            ("2026-11-26T17:00:00Z", "Nov 26, 2026 12:00 PM"),
        ] {
            let zone = Zone::parse("America/New_York").unwrap_or(Zone::UTC);
            assert_eq!(Instant::parse(text).map(|instant| write_american(zone, instant)), Ok(written.into()));
        }
    }
}
