//! The calendar of the date mark: when its days end, and how they go on after freezing. Pure dates; how many days there are is the
//! profile's.

use crate::domain::profile::{AcrossFreezing, Counting};
use crate::units::instant::{Instant, MICROS_PER_HOUR};
use crate::units::zone::Zone;
use chrono::{Days, NaiveDate};
use std::cell::Cell;

/// Days the date mark has counted when the fish goes into the freezer: that day itself does not count.
pub fn days_counted(day_one: NaiveDate, freeze_day: NaiveDate) -> i64 {
    freeze_day.signed_duration_since(day_one).num_days().max(0)
}

/// The first day of the date mark after a thaw, moved so that the days go on where freezing stopped them. It never moves back to before
/// the old first day, and a freezing that did not outlast its day gains nothing.
pub fn day_one_after_thaw(
    day_one: NaiveDate,
    freeze_day: NaiveDate,
    thaw_day: NaiveDate,
    across: AcrossFreezing,
) -> NaiveDate {
    let frozen_days = thaw_day.signed_duration_since(freeze_day).num_days();
    let free = match across {
        AcrossFreezing::ThawDayCounts => 0,
        AcrossFreezing::ThawDayFree => 1,
    };
    if frozen_days <= 0 { day_one } else { later(day_one, frozen_days + free) }
}

/// The first day of what is put together: the earliest of any part that has one.
pub fn earliest(day_ones: impl IntoIterator<Item = Option<NaiveDate>>) -> Option<NaiveDate> {
    day_ones.into_iter().flatten().min()
}

/// The last day of a date mark.
pub fn last_day(day_one: NaiveDate, days: i64) -> NaiveDate {
    later(day_one, days - 1)
}

/// The last instant within a date mark of so many days. By clock hours it is the time of day of `prepared_at` on the last day, so that it
/// is never after the end of that day.
pub fn discard_end(
    day_one: NaiveDate,
    days: i64,
    calendar: &Calendar,
    counting: Counting,
    prepared_at: Instant,
) -> Instant {
    let day = last_day(day_one, days);
    let end = calendar.last_instant_of(day);
    match counting {
        Counting::CalendarDays => end,
        Counting::ClockHours => {
            let zone = calendar.zone();
            zone.instant_of(day.and_time(zone.time_of(prepared_at))).min(end)
        }
    }
}

/// The last instant for fish that should carry a date mark and was frozen without one: 24 hours from thawing.
pub fn unmarked_end(thawed_at: Instant) -> Instant {
    thawed_at.plus_micros(24 * MICROS_PER_HOUR)
}

fn later(day: NaiveDate, days: i64) -> NaiveDate {
    let moved = match u64::try_from(days) {
        Ok(ahead) => day.checked_add_days(Days::new(ahead)),
        Err(_) => day.checked_sub_days(Days::new(days.unsigned_abs())),
    };
    moved.unwrap_or(day)
}

/// A zone that remembers the ends of the days it was last asked for: a morning's stock lies on few days, and asking the zone is slow.
#[derive(Debug)]
pub struct Calendar {
    zone: Zone,
    ends: [Cell<Option<(NaiveDate, Instant)>>; 32],
}

impl Calendar {
    pub fn new(zone: Zone) -> Calendar {
        Calendar { zone, ends: [const { Cell::new(None) }; 32] }
    }

    pub const fn zone(&self) -> Zone {
        self.zone
    }

    /// The first instant after a day.
    pub fn end_of(&self, day: NaiveDate) -> Instant {
        let slot = usize::try_from(chrono::Datelike::num_days_from_ce(&day).rem_euclid(32)).ok();
        let Some(slot) = slot.and_then(|at| self.ends.get(at)) else { return self.zone.end_of(day) };
        if let Some((_, end)) = slot.get().filter(|(known, _)| *known == day) {
            return end;
        }
        let end = self.zone.end_of(day);
        slot.set(Some((day, end)));
        end
    }

    pub fn last_instant_of(&self, day: NaiveDate) -> Instant {
        self.end_of(day).plus_micros(-1)
    }

    /// The first instant of a day.
    pub fn start_of(&self, day: NaiveDate) -> Instant {
        day.pred_opt().map_or_else(|| self.zone.start_of(day), |eve| self.end_of(eve))
    }
}
