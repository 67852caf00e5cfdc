//! The temperature of a place through time, from its readings, and the sums over any stretch of it.
//!
//! Between two readings no further apart than the era allows, the temperature is a straight line, and measured. A longer gap counts at the
//! warmest of both neighbours and the upper limit; so does, with its one neighbour, the time before the first reading and after the last
//! one; a place without readings counts at its upper limit. All of that is assumed. The gap rule between two readings is that of the era
//! the earlier one lies in; a stretch that crosses the start of an era is cut there.

pub mod knot;

use crate::domain::life::rate::Sum;
use crate::domain::life::rate::regime::{Evidence, Paces};
use crate::domain::life::wear::Wear;
use crate::domain::place::StorageMethod;
use crate::domain::profile::Rates;
use crate::units::instant::Instant;
use crate::units::temperature::MilliCelsius;
use knot::{Eras, Kind, Knot, Laying, Regimes, Sums};
use std::sync::Arc;

/// One reading of a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reading {
    pub at: Instant,
    pub temperature: MilliCelsius,
}

/// The settings of a place from an instant on, until the next era begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Era {
    pub from: Instant,
    pub method: StorageMethod,
    /// What counts where nothing was measured.
    pub upper_limit: MilliCelsius,
    /// Two readings further apart leave a gap.
    pub gap_micros: i64,
}

/// Why a temperature is the one that counts from the last reading on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Because {
    NoSensor,
    UpperLimit,
    LastReadingWarmer,
}

/// The temperature that counts from now on, until a reading says otherwise.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Projection {
    pub temperature: MilliCelsius,
    pub because: Because,
}

/// A stretch of a curve under one rule: a straight line, measured or assumed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Piece {
    pub from: Instant,
    pub to: Instant,
    pub from_temperature: MilliCelsius,
    pub to_temperature: MilliCelsius,
    pub measured: bool,
    pub method: StorageMethod,
    pub upper_limit: MilliCelsius,
    pub wear: Wear,
}

/// The temperature of a place through all time, with running sums. A clone is cheap and keeps what it was cloned from.
#[derive(Debug, Clone)]
pub struct Curve {
    rates: Rates,
    regimes: Arc<Regimes>,
    eras: Arc<Eras>,
    readings: Arc<Vec<Reading>>,
    knots: Arc<Vec<Knot>>,
}

impl Curve {
    /// Readings in any order; of several at one instant the warmest stays. Of eras that begin together the last named holds.
    pub fn new(rates: Rates, eras: &[Era], readings: impl IntoIterator<Item = Reading>) -> Curve {
        let mut readings: Vec<Reading> = readings.into_iter().collect();
        order(&mut readings);
        let regimes = Arc::new(Regimes::new(&rates));
        let eras = Arc::new(Eras::new(eras, &rates));
        let mut curve = Curve { rates, regimes, eras, readings: Arc::new(readings), knots: Arc::default() };
        curve.lay();
        curve
    }

    /// Takes in readings, late or not, in any order.
    pub fn insert(&mut self, readings: &[Reading]) {
        let mut all = [self.readings.as_slice(), readings].concat();
        order(&mut all);
        self.readings = Arc::new(all);
        self.lay();
    }

    /// Other settings of the place; everything is laid anew.
    pub fn set_eras(&mut self, eras: &[Era]) {
        self.eras = Arc::new(Eras::new(eras, &self.rates));
        self.lay();
    }

    /// How many readings it holds.
    pub fn len(&self) -> usize {
        self.readings.len()
    }

    pub fn is_empty(&self) -> bool {
        self.readings.is_empty()
    }

    /// What passed from one instant to another; nothing when there is no time between them. Additive to the microsecond.
    pub fn wear(&self, from: Instant, to: Instant) -> Wear {
        if to <= from {
            return Wear::default();
        }
        self.sums_at(to).wear_since(&self.sums_at(from), to.since(from))
    }

    /// Ice time of the raw clock that passed.
    pub fn raw_micros(&self, from: Instant, to: Instant) -> i64 {
        self.micros(Sum::Raw, from, to)
    }

    /// One sum over a stretch.
    pub fn micros(&self, sum: Sum, from: Instant, to: Instant) -> i64 {
        if to <= from { 0 } else { self.sums_at(to).of(sum) - self.sums_at(from).of(sum) }
    }

    /// The last instant from `from` to `until` at which a sum since `from` is no more than `amount`; none when it never exceeds it there.
    pub fn when(&self, sum: Sum, from: Instant, amount: i64, until: Instant) -> Option<Instant> {
        if until <= from || self.micros(sum, from, until) <= amount {
            return None;
        }
        let (mut within, mut beyond) = (from.micros(), until.micros());
        while beyond - within > 1 {
            let middle = within + (beyond - within) / 2;
            if self.micros(sum, from, from.plus_micros(middle - from.micros())) <= amount {
                within = middle;
            } else {
                beyond = middle;
            }
        }
        Some(instant(within))
    }

    /// The temperature that counts at an instant, and whether it was measured.
    pub fn temperature_at(&self, at: Instant) -> (MilliCelsius, bool) {
        if let Ok(index) = self.readings.binary_search_by_key(&at, |reading| reading.at) {
            if let Some(reading) = self.readings.get(index) {
                return (reading.temperature, true);
            }
        }
        self.knot_at(at.micros()).map_or((self.projection(at).temperature, false), |(knot, length)| {
            let mc = knot.mc_after(at.micros() - knot.at, length);
            (knot::rounded(mc), knot.kind.evidence == Evidence::Measured)
        })
    }

    /// The temperature that counts after `at` and after the last reading, until another reading comes.
    pub fn projection(&self, at: Instant) -> Projection {
        let last = self.last_reading();
        let limit = self.eras.at(self.open_from(at)).upper_limit;
        match last {
            None => Projection { temperature: limit, because: Because::NoSensor },
            Some(reading) if reading.temperature > limit => {
                Projection { temperature: reading.temperature, because: Because::LastReadingWarmer }
            }
            Some(_) => Projection { temperature: limit, because: Because::UpperLimit },
        }
    }

    /// How fast each sum runs after `at` and after the last reading.
    pub fn rates_projected(&self, at: Instant) -> Paces {
        let method = self.eras.at(self.open_from(at)).method;
        let kind = Kind { method, evidence: Evidence::Assumed };
        self.regimes.of(kind).paces(self.projection(at).temperature)
    }

    fn open_from(&self, at: Instant) -> i64 {
        self.last_reading().map_or(at, |reading| reading.at.max(at)).micros()
    }

    pub fn first_reading(&self) -> Option<Reading> {
        self.readings.first().copied()
    }

    pub fn last_reading(&self) -> Option<Reading> {
        self.readings.last().copied()
    }

    /// The instants of the readings nearest before and after an instant, itself left out.
    pub fn neighbours(&self, at: Instant) -> (Option<Instant>, Option<Instant>) {
        let before = self.readings.partition_point(|reading| reading.at < at);
        let after = self.readings.partition_point(|reading| reading.at <= at);
        let instant_of = |index: usize| self.readings.get(index).map(|reading| reading.at);
        (before.checked_sub(1).and_then(instant_of), instant_of(after))
    }

    /// The stretches between two instants, cut at readings, eras and the borders of gaps.
    pub fn pieces(&self, from: Instant, to: Instant) -> impl Iterator<Item = Piece> + '_ {
        let first = self.knots.partition_point(|knot| knot.at <= from.micros()).saturating_sub(1);
        let knots = self.knots.iter().enumerate().skip(first);
        knots.take_while(move |(_, knot)| knot.at < to.micros()).filter_map(move |(index, knot)| {
            let end = self.knots.get(index + 1).map_or(Instant::MAXIMUM, |next| next.at);
            let (start, until) = (knot.at.max(from.micros()), end.min(to.micros()));
            (start < until).then(|| self.piece(knot, end, start, until))
        })
    }

    fn piece(&self, knot: &Knot, end: i64, start: i64, until: i64) -> Piece {
        let length = end - knot.at;
        let before = knot.sums_after(&self.regimes, start - knot.at, length);
        let after = knot.sums_after(&self.regimes, until - knot.at, length);
        Piece {
            from: instant(start),
            to: instant(until),
            from_temperature: knot::rounded(knot.mc_after(start - knot.at, length)),
            to_temperature: knot::rounded(knot.mc_after(until - knot.at, length)),
            measured: knot.kind.evidence == Evidence::Measured,
            method: knot.kind.method,
            upper_limit: self.eras.at(start).upper_limit,
            wear: after.wear_since(&before, until - start),
        }
    }

    /// The longest stretch between two instants that was measured throughout and never warmer than a temperature.
    pub fn coldest_spell(&self, from: Instant, to: Instant, at_most: MilliCelsius) -> Option<(Instant, Instant)> {
        let mut longest: Option<(Instant, Instant)> = None;
        let mut running: Option<(Instant, Instant)> = None;
        for piece in self.pieces(from, to) {
            if let Some((begin, end)) = piece.cold_part(at_most) {
                running = match running {
                    Some((since, until)) if until == begin => Some((since, end)),
                    _ => Some((begin, end)),
                };
                let length = |spell: Option<(Instant, Instant)>| spell.map_or(-1, |(a, b)| b.since(a));
                if length(running) > length(longest) {
                    longest = running;
                }
            }
        }
        longest
    }

    fn lay(&mut self) {
        let mut laying = Laying { eras: &self.eras, regimes: &self.regimes, knots: Vec::new(), sums: Sums::default() };
        let mut before = None;
        for reading in self.readings.iter() {
            laying.between(before, Some(*reading));
            before = Some(*reading);
        }
        laying.between(before, None);
        self.knots = Arc::new(laying.knots);
    }

    fn knot_at(&self, micros: i64) -> Option<(Knot, i64)> {
        let index = self.knots.partition_point(|knot| knot.at <= micros).saturating_sub(1);
        let end = self.knots.get(index + 1).map_or(Instant::MAXIMUM, |next| next.at);
        self.knots.get(index).map(|knot| (*knot, end - knot.at))
    }

    fn sums_at(&self, at: Instant) -> Sums {
        self.knot_at(at.micros())
            .map_or(Sums::default(), |(knot, length)| knot.sums_after(&self.regimes, at.micros() - knot.at, length))
    }
}

/// In order of time; of several readings at one instant the warmest stays.
fn order(readings: &mut Vec<Reading>) {
    readings.sort_by_key(|reading| (reading.at, std::cmp::Reverse(reading.temperature)));
    readings.dedup_by_key(|reading| reading.at);
}

fn instant(micros: i64) -> Instant {
    Instant::EPOCH.plus_micros(micros)
}

impl Piece {
    /// The part of a measured piece that is no warmer than a temperature, rounded inwards.
    fn cold_part(&self, at_most: MilliCelsius) -> Option<(Instant, Instant)> {
        let (from, to, limit) = (self.from_temperature.get(), self.to_temperature.get(), at_most.get());
        if !self.measured || from.min(to) > limit {
            return None;
        }
        let length = self.to.since(self.from);
        // Where the line crosses the limit, as far from the warm end as it must be.
        let cold = |cold_end: i64, warm_end: i64| {
            let share = i128::from(length) * i128::from(limit - cold_end) / i128::from(warm_end - cold_end);
            i64::try_from(share).unwrap_or(0)
        };
        Some(match (from > limit, to > limit) {
            (true, _) => (self.to.plus_micros(-cold(to, from)), self.to),
            (_, true) => (self.from, self.from.plus_micros(cold(from, to))),
            _ => (self.from, self.to),
        })
    }
}
