//! The temperature of a place through time, from its readings, and the sums over any stretch of it.
//!
//! Between two readings no further apart than the era allows, the temperature is a straight line, and measured. A longer gap counts at the
//! warmest of both neighbours and the upper limit; so does, with its one neighbour, the time before the first reading and after the last
//! one; a place without readings counts at its upper limit. All of that is assumed. The gap rule between two readings is that of the era
//! the earlier one lies in; a stretch that crosses the start of an era is cut there.

mod chunk;
mod directory;
mod knot;
mod laying;

use crate::domain::life::rate::Sum;
use crate::domain::life::rate::regime::Evidence;
use crate::domain::life::wear::Wear;
use crate::domain::place::StorageMethod;
use crate::domain::profile::Rates;
use crate::units::instant::Instant;
use crate::units::temperature::MilliCelsius;
use chunk::{Chunk, Ground, Stretch};
use directory::Directory;
use knot::{Kind, Regimes, Sums};
use laying::Eras;
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
    /// How long it may be above its upper limit before that is taken for its state: a door, a defrosting, a delivery pass.
    pub warm_micros: i64,
}

/// Why a temperature is the one that counts from the last reading on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Because {
    NoSensor,
    UpperLimit,
    /// The last readings were above the limit for longer than the place may be.
    LastReadingWarmer,
    /// What a label tells its buyer to keep it at.
    StorageOnLabel,
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
    directory: Directory,
    count: usize,
}

impl Curve {
    /// Readings in any order; of several at one instant the warmest stays. Of eras that begin together the last named holds.
    pub fn new(rates: Rates, eras: &[Era], readings: impl IntoIterator<Item = Reading>) -> Curve {
        let mut readings: Vec<Reading> = readings.into_iter().collect();
        directory::order(&mut readings);
        let regimes = Arc::new(Regimes::new(&rates));
        let eras = Arc::new(Eras::new(eras, &rates));
        let directory = Directory::new(Ground { eras: &eras, regimes: &regimes }, &readings);
        Curve { rates, regimes, eras, directory, count: readings.len() }
    }

    /// Takes in readings, late or not, in any order; only the chunks they fall into are laid anew.
    pub fn insert(&mut self, readings: &[Reading]) {
        let mut readings = readings.to_vec();
        directory::order(&mut readings);
        let ground = Ground { eras: &self.eras, regimes: &self.regimes };
        self.count += self.directory.insert(ground, &readings);
    }

    /// Other settings of the place; everything is laid anew.
    pub fn set_eras(&mut self, eras: &[Era]) {
        self.eras = Arc::new(Eras::new(eras, &self.rates));
        let chunks = self.directory.chunks().iter();
        let readings: Vec<Reading> = chunks.flat_map(|chunk| chunk.readings.iter().copied()).collect();
        self.directory = Directory::new(Ground { eras: &self.eras, regimes: &self.regimes }, &readings);
    }

    /// How many readings it holds.
    pub fn len(&self) -> usize {
        self.count
    }

    pub fn is_empty(&self) -> bool {
        self.count == 0
    }

    /// What passed from one instant to another; nothing when there is no time between them. Additive to the microsecond.
    pub fn wear(&self, from: Instant, to: Instant) -> Wear {
        if !self.directory.small {
            return self.large_wear(from, to);
        }
        // Both ends are looked up before either is worked out, so that memory is waited for once.
        match (self.find(from), self.find(to)) {
            (Some(begin), Some(end)) if from < to => {
                end.small_sums(&self.regimes).wear_since(&begin.small_sums(&self.regimes), to.since(from))
            }
            _ => Wear::default(),
        }
    }

    #[cold]
    #[inline(never)]
    fn large_wear(&self, from: Instant, to: Instant) -> Wear {
        match (self.find(from), self.find(to)) {
            (Some(begin), Some(end)) if from < to => {
                end.sums(&self.regimes).wear_since(&begin.sums(&self.regimes), to.since(from))
            }
            _ => Wear::default(),
        }
    }

    /// Ice time of the raw clock that passed.
    pub fn raw_micros(&self, from: Instant, to: Instant) -> i64 {
        if !self.directory.small {
            return self.micros(Sum::Raw, from, to);
        }
        match (self.find(from), self.find(to)) {
            (Some(begin), Some(end)) if from < to => end.small_raw(&self.regimes) - begin.small_raw(&self.regimes),
            _ => 0,
        }
    }

    /// One sum over a stretch.
    #[inline(never)]
    pub fn micros(&self, sum: Sum, from: Instant, to: Instant) -> i64 {
        match (self.find(from), self.find(to)) {
            (Some(begin), Some(end)) if from < to => end.sum(sum, &self.regimes) - begin.sum(sum, &self.regimes),
            _ => 0,
        }
    }

    /// The last instant from `from` to `until` at which a sum since `from` is no more than `amount`; none when it never exceeds it there.
    /// A negative amount was exceeded before `from`: how long before, this does not say.
    pub fn when(&self, sum: Sum, from: Instant, amount: i64, until: Instant) -> Option<Instant> {
        if amount < 0 {
            return Some(from.plus_micros(-1));
        }
        if self.micros(sum, from, until) <= amount {
            return None;
        }
        let bound = self.sum_at(sum, from).saturating_add(amount);
        let chunks = self.directory.chunks();
        let begins_within = |chunk: &&Chunk| chunk.base.of(sum) <= bound;
        let halved = || chunks.partition_point(|chunk| begins_within(&chunk)).saturating_sub(1);
        let chunk = chunks.last().filter(begins_within).or_else(|| chunks.get(halved()))?;
        let bound = bound.saturating_sub(chunk.base.of(sum));
        let stretch = chunk.last_beginning(sum, bound)?;
        let left = bound.saturating_sub(chunk.sum_at(stretch.knot, sum));
        let span = stretch.knot.bend.span_within(sum, &self.regimes, left, stretch.length);
        Some(instant(stretch.from() + span).clamp(from, until))
    }

    /// The temperature that counts at an instant, and whether it was measured.
    pub fn temperature_at(&self, at: Instant) -> (MilliCelsius, bool) {
        let Some((chunk, stretch)) = self.directory.at(at.micros()) else {
            return (self.projection(at).temperature, false);
        };
        let readings = &chunk.readings;
        let read = readings.binary_search_by_key(&at, |reading| reading.at).ok();
        match read.and_then(|index| readings.get(index)) {
            Some(reading) => (reading.temperature, true),
            None => (stretch.temperature(at.micros()), stretch.measured()),
        }
    }

    /// The temperature that counts after `at` and after the last reading, until another reading comes.
    pub fn projection(&self, at: Instant) -> Projection {
        let era = self.eras.at(self.open_from(at));
        let limit = era.upper_limit;
        match self.last_reading() {
            None => Projection { temperature: limit, because: Because::NoSensor },
            Some(reading)
                if reading.temperature > limit && self.warm_for(limit, reading.at.max(at)) >= era.warm_micros =>
            {
                Projection { temperature: reading.temperature, because: Because::LastReadingWarmer }
            }
            Some(_) => Projection { temperature: limit, because: Because::UpperLimit },
        }
    }

    /// For how long up to an instant every reading was above a limit. Silence after a warm reading counts: nobody said it was over.
    fn warm_for(&self, limit: MilliCelsius, until: Instant) -> i64 {
        let readings = self.directory.chunks().iter().rev().flat_map(|chunk| chunk.readings.iter().rev());
        readings.take_while(|reading| reading.temperature > limit).last().map_or(0, |first| until.since(first.at))
    }

    /// The longest span in an unmeasured place of this method at a temperature that adds no more than `amount` to a sum; none when it stands
    /// still.
    pub fn span_at(&self, sum: Sum, method: StorageMethod, temperature: MilliCelsius, amount: i64) -> Option<i64> {
        let kind = Kind { method, evidence: Evidence::Assumed };
        self.regimes.of(kind).span_within(sum, temperature.get() as f64, amount)
    }

    fn open_from(&self, at: Instant) -> i64 {
        self.last_reading().map_or(at, |reading| reading.at.max(at)).micros()
    }

    pub fn first_reading(&self) -> Option<Reading> {
        self.directory.first_reading()
    }

    pub fn last_reading(&self) -> Option<Reading> {
        self.directory.last_reading()
    }

    /// The instants of the readings nearest before and after an instant, itself left out.
    pub fn neighbours(&self, at: Instant) -> (Option<Instant>, Option<Instant>) {
        let number = self.directory.number_at(at.micros());
        let readings = |number: usize| self.directory.chunks().get(number).map_or(&[][..], |chunk| &chunk.readings);
        let before = readings(number).iter().rev().find(|reading| reading.at < at);
        let earlier = || number.checked_sub(1).and_then(|previous| readings(previous).last());
        let here = readings(number);
        let after = here.get(here.partition_point(|reading| reading.at <= at));
        let later = || readings(number + 1).first();
        (before.or_else(earlier).map(|reading| reading.at), after.or_else(later).map(|reading| reading.at))
    }

    /// The stretches between two instants, cut at readings, eras and the borders of gaps.
    pub fn pieces(&self, from: Instant, to: Instant) -> impl Iterator<Item = Piece> + '_ {
        let (from, to) = (from.micros(), to.micros());
        let chunks = self.directory.chunks().iter().skip(self.directory.number_at(from));
        let stretches = chunks.flat_map(move |chunk| chunk.stretches_from(from));
        let inside = stretches.take_while(move |stretch| stretch.from() < to);
        inside.filter_map(move |stretch| self.piece(stretch, stretch.from().max(from), stretch.to().min(to)))
    }

    fn piece(&self, stretch: Stretch, from: i64, to: i64) -> Option<Piece> {
        let gains = |at: i64| stretch.knot.bend.gains(&self.regimes, at - stretch.from(), stretch.length);
        (from < to).then(|| Piece {
            from: instant(from),
            to: instant(to),
            from_temperature: stretch.temperature(from),
            to_temperature: stretch.temperature(to),
            measured: stretch.measured(),
            method: stretch.knot.bend.kind().method,
            upper_limit: self.eras.at(from).upper_limit,
            wear: gains(to).wear_since(&gains(from), to - from),
        })
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

    fn sum_at(&self, sum: Sum, at: Instant) -> i64 {
        self.find(at).map_or(0, |found| found.sum(sum, &self.regimes))
    }

    #[inline(always)]
    fn find(&self, at: Instant) -> Option<Found<'_>> {
        let at = at.micros();
        self.directory.at(at).map(|(chunk, stretch)| Found { chunk, stretch, micros: at - stretch.from() })
    }
}

/// Where an instant lies: so long after a knot of a chunk.
#[derive(Clone, Copy)]
struct Found<'a> {
    chunk: &'a Chunk,
    stretch: Stretch<'a>,
    micros: i64,
}

impl Found<'_> {
    #[inline(never)]
    fn sum(&self, sum: Sum, regimes: &Regimes) -> i64 {
        let gain = self.stretch.knot.bend.gain(sum, regimes, self.micros, self.stretch.length);
        self.chunk.base.of(sum).saturating_add(self.chunk.sum_at(self.stretch.knot, sum).saturating_add(gain))
    }

    #[inline(never)]
    fn sums(&self, regimes: &Regimes) -> Sums {
        let gains = self.stretch.knot.bend.gains(regimes, self.micros, self.stretch.length);
        self.chunk.base.plus(self.chunk.sums_at(self.stretch.knot).plus(gains))
    }

    /// The raw sum where all sums are small.
    #[inline(always)]
    fn small_raw(&self, regimes: &Regimes) -> i64 {
        let gain = self.stretch.knot.bend.raw_gain(regimes, self.micros, self.stretch.length);
        self.chunk.base.raw.wrapping_add(self.stretch.knot.raw).wrapping_add(gain)
    }

    /// All sums where they are small.
    #[inline(always)]
    fn small_sums(&self, regimes: &Regimes) -> Sums {
        let gains = self.stretch.knot.bend.gains(regimes, self.micros, self.stretch.length);
        self.chunk.base.plus_small(self.chunk.sums_at(self.stretch.knot)).plus_small(gains)
    }
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
