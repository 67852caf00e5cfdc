//! What the tests of the clocks stand on: places with readings, trays and instants in few words.

use sakudana::domain::life::budget::{Form, OwnBudget, SpeciesGroup, budgets};
use sakudana::domain::life::clocks::{Clock, ClockAnswer, Life, Subject, reckon};
use sakudana::domain::life::curve::{Curve, Era, Reading};
use sakudana::domain::life::wear::Wear;
use sakudana::domain::place::StorageMethod;
use sakudana::domain::profile::Rules;
use sakudana::domain::profile::own::{Refused, Wish, Written};
use sakudana::domain::shop::Jurisdiction;
use sakudana::units::instant::{Instant, MICROS_PER_HOUR};
use sakudana::units::temperature::MilliCelsius;
use sakudana::units::zone::{Zone, parse_day};

pub const HOUR: i64 = MICROS_PER_HOUR;
pub const DAY: i64 = 24 * HOUR;
/// Every line is rounded up to a whole microsecond, so an end may come a few of them early.
pub const GRAIN: i64 = 10;

pub fn mc(milli: i64) -> MilliCelsius {
    MilliCelsius::new(milli).unwrap()
}

pub fn start() -> Instant {
    Instant::parse("2026-11-25T06:00:00Z").unwrap()
}

pub fn at(micros: i64) -> Instant {
    start().plus_micros(micros)
}

pub fn us() -> Rules {
    Rules::of(Jurisdiction::Us)
}

pub fn eu() -> Rules {
    Rules::of(Jurisdiction::Eu)
}

pub fn day(text: &str) -> chrono::NaiveDate {
    parse_day(text).unwrap()
}

pub fn zone(name: &str) -> Zone {
    Zone::parse(name).unwrap()
}

/// A place: its method, its upper limit, and readings as microseconds from the start and milli-degrees. Any gap is allowed.
pub struct Kept {
    pub method: StorageMethod,
    pub curve: Curve,
    rows: Vec<(i64, i64)>,
}

impl std::fmt::Debug for Kept {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:?} {:?}", self.method, self.rows)
    }
}

pub fn kept(rules: &Rules, method: StorageMethod, upper_limit_mc: i64, rows: &[(i64, i64)]) -> Kept {
    kept_warm(rules, method, (upper_limit_mc, 0), rows)
}

/// The same with the time it may be above its upper limit.
pub fn kept_warm(
    rules: &Rules,
    method: StorageMethod,
    (upper_limit_mc, warm_micros): (i64, i64),
    rows: &[(i64, i64)],
) -> Kept {
    let (from, upper_limit, gap_micros) = (Instant::EPOCH, mc(upper_limit_mc), 4_000 * DAY);
    let era = Era { from, method, upper_limit, gap_micros, warm_micros };
    let readings = rows.iter().map(|(micros, milli)| Reading { at: at(*micros), temperature: mc(*milli) });
    Kept { method, curve: Curve::new(rules.rates, &[era], readings), rows: rows.to_vec() }
}

/// Phases of hours at a temperature, one after another, with a step of a microsecond between them; afterwards as cold as the place allows.
pub fn phases(rules: &Rules, method: StorageMethod, upper_limit_mc: i64, phases: &[(i64, i64)]) -> Kept {
    let mut rows = Vec::new();
    let mut since = 0;
    for (hours, milli) in phases {
        rows.extend([(since, *milli), (since + hours * HOUR - 1, *milli)]);
        since += hours * HOUR;
    }
    rows.push((since, upper_limit_mc.min(0)));
    kept(rules, method, upper_limit_mc, &rows)
}

/// A block of tuna that was cut at the start, in a place since then.
pub fn block(rules: &Rules) -> Subject {
    subject(rules, SpeciesGroup::Tuna, Form::Block)
}

pub fn subject(rules: &Rules, group: SpeciesGroup, form: Form) -> Subject {
    Subject {
        as_of: start(),
        wear: Wear::default(),
        budgets: budgets(rules, group, form, OwnBudget::default()),
        since: start(),
        date_day_one: None,
        days_before_freezing: None,
        unmarked_thaw: None,
        wholly_frozen_before: false,
        was_thawed: false,
        supplier_until: None,
        raw_budget_validated: false,
    }
}

/// The life of a tray so long after the start, in a shop on UTC.
pub fn life(rules: &Rules, subject: &Subject, kept: &Kept, after: i64) -> Life {
    reckon(subject, (&kept.curve, kept.method), rules, Zone::UTC, at(after))
}

pub fn answer(life: &Life, clock: Clock) -> ClockAnswer {
    *life.clocks.of(clock).unwrap_or_else(|| panic!("no clock {}", clock.as_str()))
}

/// When a clock ends, in microseconds from the start.
pub fn end(life: &Life, clock: Clock) -> Option<i64> {
    answer(life, clock).ends_at.map(|end| end.since(start()))
}

/// An end is at this time or a few microseconds before, and never after.
pub fn ends_by(life: &Life, clock: Clock, micros: i64) {
    let found = end(life, clock).unwrap_or_else(|| panic!("{} never ends", clock.as_str()));
    let hours = |micros: i64| micros as f64 / HOUR as f64;
    assert!(
        found <= micros && micros - found <= GRAIN,
        "{} ends at {} h, not {}",
        clock.as_str(),
        hours(found),
        hours(micros)
    );
}

pub fn wish(name: &str, value: Written, validated: Option<&str>) -> Wish {
    Wish { name: name.to_owned(), value, validated: validated.map(str::to_owned) }
}

pub fn with_number(rules: Rules, name: &str, value: i64) -> Result<Rules, Vec<Refused>> {
    rules.with_own(&[wish(name, Written::Number(value), None)])
}
