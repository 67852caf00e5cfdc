//! The clocks of a tray: which there are, how much each has used, when it ends, and which ends first.
//!
//! A `Standing` holds what is the same for every tray of one place at one moment, so that a morning's stock is reckoned place by place.

use super::curve::{Because, Curve, Projection};
use super::date_mark::{self, Calendar};
use super::rate::Sum;
use super::warnings::{Warning, Warnings, of_place};
use super::wear::{Budgets, Wear, permille};
use crate::domain::place::StorageMethod;
use crate::domain::profile::Rules;
use crate::units::instant::{Instant, MICROS_PER_MINUTE};
use crate::units::temperature::MilliCelsius;
use crate::units::zone::Zone;
use chrono::NaiveDate;

/// One limit on a tray's life.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Clock {
    Raw,
    Colour,
    Exposure,
    DateMark,
    Frozen,
    Supplier,
}

impl Clock {
    pub const ALL: [Clock; 6] =
        [Clock::Raw, Clock::Colour, Clock::Exposure, Clock::DateMark, Clock::Frozen, Clock::Supplier];

    pub const fn as_str(self) -> &'static str {
        match self {
            Clock::Raw => "raw",
            Clock::Colour => "colour",
            Clock::Exposure => "exposure",
            Clock::DateMark => "date_mark",
            Clock::Frozen => "frozen",
            Clock::Supplier => "supplier",
        }
    }
}

/// What one clock says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ClockAnswer {
    pub clock: Clock,
    /// 0 to 1000, rounded up. Dates count calendar time.
    pub used_permille: i64,
    /// The last instant within the limit if things stay as projected; none while the clock stands still with something left.
    pub ends_at: Option<Instant>,
}

/// What every clock in force says, in the order of `Clock`. No more than one answer a clock, and nothing on the heap.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Answers([Option<ClockAnswer>; 6]);

impl Answers {
    pub fn iter(&self) -> impl Iterator<Item = &ClockAnswer> {
        self.0.iter().flatten()
    }

    /// The answer of one clock; none when it is switched off or has nothing to say of this tray.
    pub fn of(&self, clock: Clock) -> Option<&ClockAnswer> {
        self.iter().find(|answer| answer.clock == clock)
    }

    /// The answer that ends first; of several the first in the order of `Clock`.
    pub fn limiting(&self) -> Option<&ClockAnswer> {
        self.iter().filter(|answer| answer.ends_at.is_some()).min_by_key(|answer| answer.ends_at)
    }
}

/// A tray as its clocks see it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Subject {
    /// When it came to where it stands, and what it had lived through up to then.
    pub as_of: Instant,
    pub wear: Wear,
    pub budgets: Budgets,
    /// The first cutting of anything in it, the receiving for what was never cut: dates are counted from here.
    pub since: Instant,
    /// First day of its date mark; none for what was never cut.
    pub date_day_one: Option<NaiveDate>,
    /// Days the date mark had counted when it was frozen.
    pub days_before_freezing: Option<i64>,
    /// When fish that should have carried a date mark, but was frozen without, was thawed. None for all other fish.
    pub unmarked_thaw: Option<Instant>,
    /// Every part of it came frozen, or was frozen before it came.
    pub wholly_frozen_before: bool,
    /// Some part of it was frozen and thawed.
    pub was_thawed: bool,
    pub supplier_until: Option<Instant>,
    /// Its raw budget is looser than published, on the shop's own ground.
    pub raw_budget_validated: bool,
}

/// The life of a tray as of an instant.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Life {
    pub at: Instant,
    /// Clocks in force for this tray; those switched off are absent.
    pub clocks: Answers,
    /// The earliest end, and whose it is.
    pub ends_at: Option<Instant>,
    pub limiting: Option<Clock>,
    /// All it lived through, with what it took over.
    pub wear: Wear,
    pub projection: Projection,
    pub warnings: Warnings,
}

impl Life {
    /// When a clock ends; none while it stands still, or is not in force.
    pub fn end_of(&self, clock: Clock) -> Option<Instant> {
        self.clocks.of(clock).and_then(|answer| answer.ends_at)
    }

    /// The clock whose end has passed first, if any has.
    pub fn ended(&self, now: Instant) -> Option<Clock> {
        self.limiting.filter(|_| self.ends_at.is_some_and(|end| now > end))
    }
}

/// One place at one moment under the rules of the shop.
#[derive(Debug)]
pub struct Standing<'a> {
    rules: &'a Rules,
    calendar: &'a Calendar,
    curve: &'a Curve,
    in_freezer: bool,
    now: Instant,
    projection: Projection,
    /// How it is kept from the horizon on.
    ahead: StorageMethod,
    warnings: Warnings,
}

/// The life of one tray that stands in a place of this curve and method.
pub fn reckon(
    subject: &Subject,
    (curve, method): (&Curve, StorageMethod),
    rules: &Rules,
    zone: Zone,
    now: Instant,
) -> Life {
    Standing::new(rules, &Calendar::new(zone), (curve, method), now).life(subject)
}

/// How far a sum has run: at the beginning of the stay, and now.
#[derive(Debug, Clone, Copy)]
struct Run {
    sum: Sum,
    before: i64,
    now: i64,
}

impl<'a> Standing<'a> {
    pub fn new(
        rules: &'a Rules,
        calendar: &'a Calendar,
        (curve, method): (&'a Curve, StorageMethod),
        now: Instant,
    ) -> Standing<'a> {
        Standing {
            rules,
            calendar,
            curve,
            in_freezer: method == StorageMethod::Frozen,
            now,
            projection: curve.projection(now),
            ahead: method,
            warnings: of_place(rules, curve, method, now),
        }
    }

    /// The same, but from now on kept in an unmeasured chilled place at this temperature, if that is warmer than what is projected: what
    /// may be promised to whoever takes a tray away.
    pub fn then_kept_at(mut self, temperature: MilliCelsius) -> Standing<'a> {
        let warmer = temperature.max(self.projection.temperature);
        self.projection = Projection { temperature: warmer, because: Because::StorageOnLabel };
        self.ahead = StorageMethod::Chill;
        self
    }

    /// The life of a tray that stands here. A clock of the shop that was set back must not bring an ended life back: nothing is reckoned
    /// earlier than its stay began.
    pub fn life(&self, subject: &Subject) -> Life {
        let at = self.now.max(subject.as_of);
        let wear = subject.wear.plus(self.curve.wear(subject.as_of, at));
        let clocks = Answers([
            self.raw(subject, &wear),
            self.colour(subject, &wear),
            self.exposure(subject, &wear),
            self.date_mark(subject, at),
            self.frozen(subject, &wear),
            supplier(subject, at),
        ]);
        let mut warnings = self.warnings;
        warnings.note(Warning::MostlyAssumed, wear.assumed_micros > wear.measured_micros);
        warnings.note(Warning::ValidatedByShop, subject.raw_budget_validated);
        let limiting = clocks.limiting();
        Life {
            at,
            ends_at: limiting.and_then(|answer| answer.ends_at),
            limiting: limiting.map(|answer| answer.clock),
            clocks,
            wear,
            projection: self.projection,
            warnings,
        }
    }

    fn raw(&self, subject: &Subject, wear: &Wear) -> Option<ClockAnswer> {
        let run = Run { sum: Sum::Raw, before: subject.wear.raw_micros, now: wear.raw_micros };
        self.rules.running.raw.then(|| self.budget_clock(Clock::Raw, run, subject.budgets.raw_micros, subject.as_of))
    }

    fn colour(&self, subject: &Subject, wear: &Wear) -> Option<ClockAnswer> {
        let full = subject.budgets.colour_micros.filter(|_| self.rules.running.colour)?;
        let share = if subject.was_thawed { self.rules.thawed_colour_permille } else { 1_000 };
        // A budget in hours times a share of a thousand stays far inside 64 bits.
        let budget = full.saturating_mul(share) / 1_000;
        let run = Run { sum: Sum::Colour, before: subject.wear.colour_micros, now: wear.colour_micros };
        Some(self.budget_clock(Clock::Colour, run, budget, subject.as_of))
    }

    /// Speaks in a freezer, and later of what was used there.
    fn frozen(&self, subject: &Subject, wear: &Wear) -> Option<ClockAnswer> {
        let run = Run { sum: Sum::Frozen, before: subject.wear.frozen_micros, now: wear.frozen_micros };
        let speaks = self.rules.running.frozen && (self.in_freezer || run.now > 0);
        speaks.then(|| self.budget_clock(Clock::Frozen, run, subject.budgets.frozen_micros, subject.as_of))
    }

    fn budget_clock(&self, clock: Clock, run: Run, budget: i64, as_of: Instant) -> ClockAnswer {
        let ends_at = self.last_within(run, budget, as_of).or_else(|| {
            // Nothing left is an end even where the clock stands still.
            (run.now == budget).then(|| self.last_within(run, budget - 1, as_of)).flatten()
        });
        ClockAnswer { clock, used_permille: permille(run.now, budget), ends_at }
    }

    /// The last instant at which a sum is within a limit, past or as projected; none if it stays within it. When it was passed before the
    /// stay began, the stay no longer knows when.
    fn last_within(&self, run: Run, limit: i64, as_of: Instant) -> Option<Instant> {
        // What was measured after now, if anything was, is not told before its time.
        let horizon = self.now.max(as_of);
        if run.now > limit {
            return self.curve.when(run.sum, as_of, limit - run.before, horizon);
        }
        let span = self.curve.span_at(run.sum, self.ahead, self.projection.temperature, limit - run.now)?;
        Some(horizon.plus_micros(span))
    }

    /// The limit drops at the first moment of heat, so it ends when the plain limit is passed, or before that as soon as there was heat and
    /// the limit with heat is passed.
    fn exposure(&self, subject: &Subject, wear: &Wear) -> Option<ClockAnswer> {
        if !self.rules.running.exposure {
            return None;
        }
        let limit = |hot| self.rules.exposure.limit_minutes(hot, subject.wholly_frozen_before) * MICROS_PER_MINUTE;
        let exposed = Run { sum: Sum::Exposed, before: subject.wear.exposed_micros, now: wear.exposed_micros };
        let hot = Run { sum: Sum::Hot, before: subject.wear.hot_micros, now: wear.hot_micros };
        let plain = self.last_within(exposed, limit(false), subject.as_of);
        let with_heat = match self.last_within(hot, 0, subject.as_of) {
            None => None,
            Some(cool) => self.last_within(exposed, limit(true), subject.as_of).map(|end| end.max(cool)),
        };
        Some(ClockAnswer {
            clock: Clock::Exposure,
            used_permille: if exposed.now == 0 { 0 } else { permille(exposed.now, limit(hot.now > 0)) },
            ends_at: [plain, with_heat].into_iter().flatten().min(),
        })
    }

    /// Stands still in a freezer with the days it had counted.
    fn date_mark(&self, subject: &Subject, at: Instant) -> Option<ClockAnswer> {
        let rule = self.rules.date_mark;
        let days = rule.days?;
        let clock = Clock::DateMark;
        if self.in_freezer {
            let counted = subject.days_before_freezing?;
            let ended = (counted >= days).then(|| subject.as_of.plus_micros(-1));
            return Some(ClockAnswer { clock, used_permille: permille(counted, days), ends_at: ended });
        }
        let marked = subject.date_day_one.map(|day_one| {
            let end = date_mark::discard_end(day_one, days, self.calendar, rule.counting, subject.since);
            calendar_clock(clock, self.calendar.start_of(day_one), end, at)
        });
        let unmarked =
            subject.unmarked_thaw.map(|thawed| calendar_clock(clock, thawed, date_mark::unmarked_end(thawed), at));
        [marked, unmarked].into_iter().flatten().min_by_key(|answer| answer.ends_at)
    }
}

fn calendar_clock(clock: Clock, from: Instant, end: Instant, at: Instant) -> ClockAnswer {
    ClockAnswer { clock, used_permille: permille(at.since(from), end.since(from)), ends_at: Some(end) }
}

fn supplier(subject: &Subject, at: Instant) -> Option<ClockAnswer> {
    subject.supplier_until.map(|end| calendar_clock(Clock::Supplier, subject.since, end, at))
}
