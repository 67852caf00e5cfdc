//! When the shop is open: sales can only happen then, so demand is counted, and days are planned, in opening hours.

use crate::units::instant::Instant;
use crate::units::zone::Zone;
use chrono::{Datelike, NaiveDate, NaiveTime, Timelike};

/// From opening to closing, local time of one day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span {
    pub open: NaiveTime,
    pub close: NaiveTime,
}

/// The week, Monday first; a day without a span is closed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpeningHours {
    pub days: [Option<Span>; 7],
}

/// A stretch of opening time within one clock hour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Slice {
    pub from: Instant,
    pub to: Instant,
    /// 0 is Monday.
    pub weekday: usize,
    /// 0 to 23, local.
    pub hour: usize,
}

impl Default for OpeningHours {
    /// Every day from nine to seven in the evening.
    fn default() -> OpeningHours {
        let span = NaiveTime::from_hms_opt(9, 0, 0).zip(NaiveTime::from_hms_opt(19, 0, 0));
        OpeningHours { days: [span.map(|(open, close)| Span { open, close }); 7] }
    }
}

impl OpeningHours {
    /// The span of a local day.
    pub fn on(&self, day: NaiveDate) -> Option<Span> {
        self.days.get(weekday(day)).copied().flatten()
    }

    /// The same hours, each so many weekdays later.
    #[must_use]
    pub fn later(mut self, days: usize) -> OpeningHours {
        self.days.rotate_right(days % 7);
        self
    }

    /// Opening and closing of a local day as instants.
    pub fn open_on(&self, zone: Zone, day: NaiveDate) -> Option<(Instant, Instant)> {
        let span = self.on(day)?;
        Some((zone.instant_of(day.and_time(span.open)), zone.instant_of(day.and_time(span.close))))
    }

    /// The opening time between two instants, cut at every full clock hour, in order.
    pub fn slices(&self, zone: Zone, from: Instant, to: Instant) -> Vec<Slice> {
        let mut slices = Vec::new();
        let last = zone.day_of(to);
        for day in zone.day_of(from).iter_days().take_while(|day| *day <= last) {
            let Some((open, close)) = self.open_on(zone, day) else { continue };
            let (mut at, end) = (open.max(from), close.min(to));
            while at < end {
                let local = zone.local(at);
                let into_hour = i64::from(local.minute()) * 60_000_000
                    + i64::from(local.second()) * 1_000_000
                    + i64::from(local.and_utc().timestamp_subsec_micros());
                let next = at.plus_micros(3_600_000_000 - into_hour).min(end);
                let hour = usize::try_from(local.hour()).unwrap_or(0);
                slices.push(Slice { from: at, to: next, weekday: weekday(day), hour });
                at = next;
            }
        }
        slices
    }
}

/// The weekday of a day; 0 is Monday.
pub fn weekday(day: NaiveDate) -> usize {
    usize::try_from(day.weekday().num_days_from_monday()).unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Instant {
        Instant::parse(text).unwrap_or_else(|_| panic!("an instant: {text}"))
    }

    #[test]
    fn opening_time_is_cut_at_hours_and_at_the_ends() {
        let mut hours = OpeningHours::default();
        hours.days[6] = None;
        // 2026-11-28 is a Saturday; the Sunday is closed.
        let slices = hours.slices(Zone::UTC, at("2026-11-28T17:40:00Z"), at("2026-11-30T10:15:00Z"));
        let told: Vec<(String, i64, usize, usize)> =
            slices.iter().map(|s| (s.from.to_string(), s.to.since(s.from) / 60_000_000, s.weekday, s.hour)).collect();
        assert_eq!(
            told,
            [
                ("2026-11-28T17:40:00.000000Z".to_owned(), 20, 5, 17),
                ("2026-11-28T18:00:00.000000Z".to_owned(), 60, 5, 18),
                ("2026-11-30T09:00:00.000000Z".to_owned(), 60, 0, 9),
                ("2026-11-30T10:00:00.000000Z".to_owned(), 15, 0, 10),
            ]
        );
    }
}
