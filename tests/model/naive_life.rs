//! A tray's life told again from the beginning each time it is asked for: what it was made of, where it stood, what was poured into it.
//! Then what every clock makes of it. Written without a look at how the program does it.

use crate::naive::{Naive, NaiveTray};
use crate::naive_climate::{Climate, Toll};

pub const HOUR: f64 = 3_600e6;
pub const DAY: i64 = 24 * 3_600_000_000;
/// The sequence begins at 06:00 UTC.
const BEGIN: i64 = 6 * 3_600_000_000;

/// What differs between the shops of two laws.
#[derive(Debug, Clone, Copy, Default)]
pub struct Law {
    pub utc_offset_hours: i64,
    pub date_mark_days: Option<i64>,
    pub frozen_days: i64,
    /// How warm a chilled place may be kept.
    pub cold_limit: i64,
}

impl Law {
    /// The calendar day of an instant, counted from that on which the sequence began.
    pub fn day(self, at: i64) -> i64 {
        (BEGIN + self.utc_offset_hours * 3_600_000_000 + at).div_euclid(DAY)
    }

    /// The last instant of a day.
    pub fn end_of_day(self, day: i64) -> i64 {
        (day + 1) * DAY - BEGIN - self.utc_offset_hours * 3_600_000_000 - 1
    }
}

/// What a tray may use up, in microseconds.
#[derive(Debug, Clone, Copy)]
pub struct Budget {
    pub raw: f64,
    pub colour: Option<f64>,
    pub frozen: f64,
}

/// Hours at 0 °C, as the tables of budgets are printed: 96 h of tuna block, 72 h of salmon; colour of tuna 6 days at 4 °C, which are 282.24
/// hours at 0 °C.
pub fn budget(species: &str, form: &str, own: Option<i64>, law: Law) -> Budget {
    let block = if species == "YFT" { 96 } else { 72 };
    let hours = match form {
        "slices" => 4,
        "scrape" => block / 2,
        "for_cooking" => block * 3 / 2,
        _ => block,
    };
    let colour = match form {
        "loin" | "block" => Some(282.24),
        "scrape" => Some(141.12),
        "slices" => Some(4.0),
        _ => None,
    };
    Budget {
        raw: own.map_or(hours, |own| own.min(hours)) as f64 * HOUR,
        colour: colour.filter(|_| species == "YFT").map(|hours| hours * HOUR),
        frozen: (law.frozen_days * DAY) as f64,
    }
}

/// How fish came into a tray.
#[derive(Debug, Clone)]
pub struct Pouring {
    pub at: i64,
    pub sources: Vec<usize>,
}

/// A time in a place; the last one is open.
#[derive(Debug, Clone, Copy)]
pub struct NaiveStay {
    pub place: usize,
    pub from: i64,
    pub to: Option<i64>,
}

/// When a clock ends, as things stand.
#[derive(Debug, Clone, Copy)]
pub struct End {
    pub clock: &'static str,
    pub at: f64,
    /// How near to its limit the clock is, in microseconds of its own.
    pub margin: f64,
    pub pace: f64,
}

/// A clock, what it counts, and how much of that there may be.
type Limit = (&'static str, fn(&Toll) -> f64, f64);

/// The first instant at which something is so that stays so, which it is at `to`.
fn first_beyond(from: i64, to: i64, is_so: impl Fn(i64) -> bool) -> f64 {
    let (mut not_yet, mut so) = (from, to);
    while so - not_yet > 1 {
        let middle = not_yet + (so - not_yet) / 2;
        if is_so(middle) { so = middle } else { not_yet = middle }
    }
    so as f64
}

/// What of a new budget is used: the same share as before, and never more left than before.
fn taken_over(used: f64, before: f64, after: f64) -> f64 {
    (used / before * after).max(after - (before - used).max(0.0))
}

/// What trays of these tolls and budgets become together. How much was measured is that of the part whose raw clock ran furthest.
fn together(parts: &[(Toll, Budget)], own: Budget) -> Toll {
    let most = |value: &dyn Fn(&(Toll, Budget)) -> f64| parts.iter().map(value).fold(0.0, f64::max);
    let share = |part: &(Toll, Budget)| (part.0.raw / part.1.raw * 1_000.0).ceil().min(1_000.0);
    let furthest = parts.iter().max_by(|a, b| (share(a), a.0.assumed).partial_cmp(&(share(b), b.0.assumed)).unwrap());
    let (measured, assumed) = furthest.map_or((0.0, 0.0), |(toll, _)| (toll.measured, toll.assumed));
    Toll {
        raw: most(&|(toll, budget)| taken_over(toll.raw, budget.raw, own.raw)),
        colour: most(&|(toll, budget)| match (budget.colour, own.colour) {
            (Some(before), Some(after)) => taken_over(toll.colour, before, after),
            _ => toll.colour,
        }),
        frozen: most(&|(toll, budget)| taken_over(toll.frozen, budget.frozen, own.frozen)),
        exposed: most(&|(toll, _)| toll.exposed),
        hot: most(&|(toll, _)| toll.hot),
        measured,
        assumed,
    }
}

impl Naive {
    /// Where a tray stood between two instants, and what that did.
    fn stood(&self, tray: &NaiveTray, from: i64, to: i64) -> Toll {
        let mut sum = Toll::default();
        for stay in &tray.stays {
            let (begin, end) = (stay.from.max(from), stay.to.unwrap_or(i64::MAX).min(to));
            sum = sum.plus(self.places[stay.place].climate.toll(begin, end));
        }
        sum
    }

    /// All that a tray had lived through at an instant, with what came of the acts at that instant.
    pub fn toll(&self, tray: usize, at: i64) -> Toll {
        self.tell(tray, at, at)
    }

    /// The same; acts later than `latest` are not told. No two acts are at one instant.
    fn tell(&self, tray: usize, at: i64, latest: i64) -> Toll {
        if let Some(told) = self.told.borrow().get(&(tray, at, latest)) {
            return *told;
        }
        let it = &self.trays[tray];
        let (mut toll, mut since) = (Toll::default(), it.stays[0].from);
        for (number, pouring) in it.came.iter().filter(|pouring| pouring.at <= latest).enumerate() {
            let mut parts = Vec::new();
            if number > 0 || it.breakdown.is_none() {
                parts.push((toll.plus(self.stood(it, since, pouring.at)), it.budget));
            }
            for source in &pouring.sources {
                parts.push((self.tell(*source, pouring.at, pouring.at - 1), self.trays[*source].budget));
            }
            toll = together(&parts, it.budget);
            since = pouring.at;
        }
        toll = toll.plus(self.stood(it, since, at));
        self.told.borrow_mut().insert((tray, at, latest), toll);
        toll
    }

    /// When each clock of a tray ends if it stands in a place from now on. One that has ended ends a moment before now: when exactly, only
    /// `ended_at` asks.
    pub fn ends(&self, tray: usize, place: usize, now: i64) -> Vec<End> {
        self.ends_at_pace(tray, place, now, Climate::pace)
    }

    /// When the first of them ends as a label may promise it.
    pub fn promise(&self, tray: usize, now: i64) -> Option<f64> {
        let ends = self.ends_at_pace(tray, self.trays[tray].place, now, Climate::pace_on_label);
        ends.into_iter().map(|end| end.at).min_by(f64::total_cmp)
    }

    fn ends_at_pace(&self, tray: usize, place: usize, now: i64, pace: fn(&Climate, i64) -> Toll) -> Vec<End> {
        let (it, climate) = (&self.trays[tray], &self.places[place].climate);
        let last = climate.readings().last_key_value().map_or(now, |(at, _)| (*at).max(now));
        let (toll, pace) = (self.toll(tray, now), pace(climate, last));
        let date = |clock, at: i64| End { clock, at: at as f64, margin: f64::MAX, pace: 0.0 };
        let mut ends = Vec::new();
        for (clock, used, limit) in self.limits(tray, place, &toll, toll.hot > 0.0 || pace.hot > 0.0) {
            let left = limit - used(&toll);
            // What was measured after now, by a clock that runs fast, is not told before its time.
            let at = if left < 0.0 { now as f64 - 1.0 } else { now as f64 + left / used(&pace) };
            ends.push(End { clock, at, margin: left, pace: used(&pace) });
        }
        if let Some(exposure) = ends.iter_mut().find(|end| end.clock == "exposure" && toll.hot == 0.0) {
            // The heat is still to come: until it does, the longer limit holds.
            let plain =
                self.limits(tray, place, &toll, false).iter().any(|(c, used, l)| *c == "exposure" && used(&toll) > *l);
            if exposure.margin < 0.0 && !plain {
                (exposure.at, exposure.margin) = (now as f64, f64::MAX);
            }
        }
        if let (Some(days), Some(first)) = (self.law.date_mark_days, it.day_one) {
            match it.frozen_day {
                None => ends.push(date("date_mark", self.law.end_of_day(first + days - 1))),
                Some(frozen) if frozen - first >= days => ends.push(date("date_mark", it.anchor() - 1)),
                Some(_) => {}
            }
        }
        ends.extend(it.supplier_until.map(|end| date("supplier", end)));
        ends.retain(|end| end.at.is_finite());
        ends
    }

    /// The clocks that count something, each with what it counts and how much of that there may be.
    fn limits(&self, tray: usize, place: usize, toll: &Toll, hot: bool) -> Vec<Limit> {
        let it = &self.trays[tray];
        let hours = match (it.wholly_frozen, hot) {
            (false, false) => 8.0,
            (false, true) => 4.0,
            (true, false) => 24.0,
            (true, true) => 12.0,
        };
        let mut limits: Vec<Limit> =
            vec![("raw", |toll| toll.raw, it.budget.raw), ("exposure", |toll| toll.exposed, hours * HOUR)];
        if let Some(full) = it.budget.colour {
            limits.push(("colour", |toll| toll.colour, if it.thawed { full / 2.0 } else { full }));
        }
        if self.places[place].method == "frozen" || toll.frozen > 0.0 {
            limits.push(("frozen", |toll| toll.frozen, it.budget.frozen));
        }
        limits
    }

    /// When exactly the first clock that has ended did; before its stay began when it had ended by then.
    fn ended_at(&self, tray: usize, now: i64) -> f64 {
        let it = &self.trays[tray];
        let over = |at: i64| {
            let toll = self.toll(tray, at);
            self.limits(tray, it.place, &toll, toll.hot > 0.0).iter().any(|(_, used, limit)| used(&toll) > *limit)
        };
        if over(it.anchor()) { it.anchor() as f64 - 1.0 } else { first_beyond(it.anchor(), now, over) }
    }

    /// The first end of a tray where it stands.
    pub fn end(&self, tray: usize, now: i64) -> Option<f64> {
        self.end_in(tray, self.trays[tray].place, now)
    }

    pub fn end_in(&self, tray: usize, place: usize, now: i64) -> Option<f64> {
        self.ends(tray, place, now).into_iter().map(|end| end.at).min_by(f64::total_cmp)
    }

    /// Whether rounding may decide about any tray at this moment.
    pub fn in_doubt(&self, now: i64) -> bool {
        (0..self.trays.len()).filter(|tray| self.trays[*tray].in_stock()).any(|tray| {
            let place = self.trays[tray].place;
            self.ends(tray, place, now).iter().any(|end| end.pace > 0.0 && end.margin.abs() < 20_000.0 * end.pace)
        })
    }

    /// Whether a printed date promises more than is left; none when rounding decides. A second is let pass.
    pub fn outdated(&self, tray: usize, place: usize, now: i64) -> Option<bool> {
        let it = &self.trays[tray];
        let (Some(printed), Some(mut end)) = (it.use_by, self.end_in(tray, place, now)) else { return Some(false) };
        let spent = |end: &End| end.at < now as f64 && !matches!(end.clock, "date_mark" | "supplier");
        if place == it.place && self.ends(tray, place, now).iter().any(spent) {
            end = end.min(self.ended_at(tray, now));
        }
        let over = printed as f64 - end - 1e6;
        (over.abs() > 20_000.0).then_some(over > 0.0)
    }
}
