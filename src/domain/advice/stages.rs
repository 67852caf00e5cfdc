//! When the counter is looked at again: from now on, at reviews, and where trays end.

use super::Stage;
use crate::domain::demand::Pattern;
use crate::domain::hours::OpeningHours;
use crate::units::instant::{Instant, MICROS_PER_HOUR};
use crate::units::zone::Zone;
use chrono::{NaiveDate, NaiveTime, Timelike};
use std::collections::BTreeMap;

/// Nothing further on is planned for.
const MOST_MICROS: i64 = 6 * 24 * MICROS_PER_HOUR;

/// When the shop sells and when it looks at its counter.
#[derive(Debug, Clone, Copy)]
pub struct Days<'a> {
    pub now: Instant,
    pub zone: Zone,
    pub hours: &'a OpeningHours,
    /// Local times, rising.
    pub review_times: &'a [NaiveTime],
    pub pattern: &'a Pattern,
}

/// What the kitchen takes of the cut, grams.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Kitchen {
    pub now_g: i64,
    pub other_days_g: i64,
}

/// The stages and when each begins.
pub(super) struct Stages {
    pub stages: Vec<Stage>,
    pub starts: Vec<Instant>,
    /// How many begin today.
    pub today: usize,
    end: Instant,
}

/// What happens at the beginning of a stage.
#[derive(Debug, Clone, Copy, Default)]
struct Mark {
    review: bool,
    kitchen_g: i64,
}

impl Stages {
    /// Until the last of these ends, in the sense of `last_sale`, at most six days on.
    pub fn until(days: &Days<'_>, ends: &[Instant], kitchen: Kitchen) -> Stages {
        let latest = days.now.plus_micros(MOST_MICROS);
        let end = ends.iter().copied().max().unwrap_or(days.now).min(latest);
        let mut marks = BTreeMap::from([(days.now, Mark { review: true, kitchen_g: kitchen.now_g })]);
        let (today, last) = (days.zone.day_of(days.now), days.zone.day_of(end));
        for day in today.iter_days().take_while(|day| *day <= last) {
            days.mark(day, today, kitchen, &mut marks);
        }
        for end in ends {
            marks.entry(*end).or_default();
        }
        marks.retain(|at, _| *at == days.now || (*at > days.now && *at < end));
        let starts: Vec<Instant> = marks.keys().copied().collect();
        let following = starts.iter().skip(1).chain(std::iter::once(&end));
        let stage = |((from, mark), to): ((&Instant, &Mark), &Instant)| Stage {
            hours: standard_hours(days, *from, *to),
            review: mark.review,
            kitchen_g: mark.kitchen_g,
        };
        let stages = marks.iter().zip(following).map(stage).collect();
        let tonight = days.zone.end_of(today);
        let today = starts.iter().filter(|start| **start < tonight).count();
        Stages { stages, starts, today, end }
    }

    /// In how many stages something can be sold that ends then; one more than there are where it outlives them.
    pub fn before(&self, end: Instant) -> usize {
        if end > self.end { self.starts.len() + 1 } else { self.starts.iter().filter(|start| **start < end).count() }
    }
}

impl Days<'_> {
    /// The moment at which a tray is gone in the plan: its end rounded down to the full hour, so that trays of one age have one end; where that
    /// has passed already, the end itself; and the next opening where the shop is closed then, which is the same, since nobody buys before.
    pub(super) fn gone(&self, ends: Instant) -> Instant {
        let local = self.zone.local(ends);
        let seconds = i64::from(local.minute()) * 60 + i64::from(local.second());
        let into_hour = seconds * 1_000_000 + i64::from(local.and_utc().timestamp_subsec_micros());
        let full = ends.plus_micros(-into_hour);
        let end = if full > self.now { full } else { ends };
        let days = self.zone.day_of(end).iter_days().take(8);
        let mut spans = days.filter_map(|day| self.hours.open_on(self.zone, day)).filter(|(_, close)| end < *close);
        spans.next().map_or(end, |(open, _)| open.max(end))
    }

    /// Marks a day's opening and its reviews. What is decided now holds for today's opening, too.
    fn mark(&self, day: NaiveDate, today: NaiveDate, kitchen: Kitchen, marks: &mut BTreeMap<Instant, Mark>) {
        let Some((open, close)) = self.hours.open_on(self.zone, day) else { return };
        let times = self.review_times.iter().map(|time| self.zone.instant_of(day.and_time(*time)));
        // A review before opening is one at opening: nothing is sold in between.
        let mut reviews: Vec<Instant> = times.map(|at| at.max(open)).filter(|at| *at < close).collect();
        reviews.sort_unstable();
        if day > today {
            marks.entry(open).or_default();
            if let Some(first) = reviews.first() {
                marks.entry(*first).or_default().kitchen_g = kitchen.other_days_g;
            }
        }
        for review in reviews.into_iter().filter(|review| day > today || *review > open) {
            marks.entry(review).or_default().review = true;
        }
    }
}

/// The demand between two instants, in standard hours: each opening hour counts as much as the pattern of the week says.
pub fn standard_hours(days: &Days<'_>, from: Instant, to: Instant) -> f64 {
    let slices = days.hours.slices(days.zone, from, to);
    let of = |slice: &crate::domain::hours::Slice| {
        let factor = days.pattern.factors.get(slice.weekday).and_then(|day| day.get(slice.hour)).copied();
        factor.unwrap_or(1.0) * slice.to.since(slice.from) as f64 / MICROS_PER_HOUR as f64
    };
    slices.iter().map(of).sum()
}
