//! Knots: the instants at which the temperature of a place takes a new direction, each with the sums up to it. Laying them is where the
//! rules between readings stand: what counts as measured, and what is assumed where nothing was.

use super::{Era, Reading};
use crate::domain::life::rate::Sum;
use crate::domain::life::rate::regime::{Evidence, FINENESS, Line, Regime};
use crate::domain::life::wear::Wear;
use crate::domain::place::StorageMethod;
use crate::domain::profile::Rates;
use crate::units::instant::Instant;
use crate::units::temperature::MilliCelsius;

/// Running sums in microseconds. Plain measured time is what is left of the time between two knots.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Sums {
    pub raw: i64,
    pub colour: i64,
    pub frozen: i64,
    pub exposed: i64,
    pub hot: i64,
    pub assumed: i64,
}

impl Sums {
    pub fn plus(self, other: Sums) -> Sums {
        Sums {
            raw: self.raw.saturating_add(other.raw),
            colour: self.colour.saturating_add(other.colour),
            frozen: self.frozen.saturating_add(other.frozen),
            exposed: self.exposed.saturating_add(other.exposed),
            hot: self.hot.saturating_add(other.hot),
            assumed: self.assumed.saturating_add(other.assumed),
        }
    }

    pub fn of(&self, sum: Sum) -> i64 {
        match sum {
            Sum::Raw => self.raw,
            Sum::Colour => self.colour,
            Sum::Frozen => self.frozen,
            Sum::Exposed => self.exposed,
            Sum::Hot => self.hot,
        }
    }

    /// The wear of a stretch of `micros` that began at `earlier`.
    pub fn wear_since(&self, earlier: &Sums, micros: i64) -> Wear {
        let assumed = self.assumed - earlier.assumed;
        Wear {
            raw_micros: self.raw - earlier.raw,
            colour_micros: self.colour - earlier.colour,
            frozen_micros: self.frozen - earlier.frozen,
            exposed_micros: self.exposed - earlier.exposed,
            hot_micros: self.hot - earlier.hot,
            measured_micros: micros - assumed,
            assumed_micros: assumed,
        }
    }
}

/// A temperature in parts of a milli-degree, so that a line cut at the start of an era keeps its course.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fine(i32);

impl Fine {
    pub fn new(temperature: MilliCelsius) -> Fine {
        Fine::from_mc(temperature.get() as f64)
    }

    fn from_mc(mc: f64) -> Fine {
        Fine((mc * FINENESS).round() as i32)
    }

    pub fn mc(self) -> f64 {
        f64::from(self.0) / FINENESS
    }
}

/// From `at` to the next knot the temperature goes evenly from `from` to `to`.
#[derive(Debug, Clone, Copy)]
pub struct Knot {
    pub at: i64,
    pub from: Fine,
    pub to: Fine,
    pub kind: Kind,
    /// Up to `at`.
    pub sums: Sums,
}

/// Rounded up to a whole milli-degree, but for what only the arithmetic put there.
pub fn rounded(mc: f64) -> MilliCelsius {
    MilliCelsius::nearest((mc - 1e-6).ceil())
}

/// The tariffs that hold between two knots.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Kind {
    pub method: StorageMethod,
    pub evidence: Evidence,
}

/// The tariffs of every kind.
#[derive(Debug)]
pub struct Regimes {
    chill: [Regime; 2],
    superchill: [Regime; 2],
    frozen: [Regime; 2],
    ambient: [Regime; 2],
}

impl Regimes {
    pub fn new(rates: &Rates) -> Regimes {
        let both =
            |method| [Evidence::Measured, Evidence::Assumed].map(|evidence| Regime::new(rates, method, evidence));
        Regimes {
            chill: both(StorageMethod::Chill),
            superchill: both(StorageMethod::Superchill),
            frozen: both(StorageMethod::Frozen),
            ambient: both(StorageMethod::Ambient),
        }
    }

    pub fn of(&self, kind: Kind) -> &Regime {
        let [measured, assumed] = match kind.method {
            StorageMethod::Chill => &self.chill,
            StorageMethod::Superchill => &self.superchill,
            StorageMethod::Frozen => &self.frozen,
            StorageMethod::Ambient => &self.ambient,
        };
        match kind.evidence {
            Evidence::Measured => measured,
            Evidence::Assumed => assumed,
        }
    }
}

impl Knot {
    /// The temperature `micros` after the knot, of `length` to the next.
    pub fn mc_after(&self, micros: i64, length: i64) -> f64 {
        let (from, to) = (self.from.mc(), self.to.mc());
        if from == to || length <= 0 { from } else { from + (to - from) * (micros as f64 / length as f64) }
    }

    pub fn line(&self, micros: i64, length: i64) -> Line {
        let to_mc = if micros == length { self.to.mc() } else { self.mc_after(micros, length) };
        Line { from_mc: self.from.mc(), to_mc, micros }
    }

    /// The sums `micros` after the knot, of `length` to the next.
    pub fn sums_after(&self, regimes: &Regimes, micros: i64, length: i64) -> Sums {
        let wear = regimes.of(self.kind).wear(self.line(micros, length));
        self.sums.plus(Sums {
            raw: wear.raw_micros,
            colour: wear.colour_micros,
            frozen: wear.frozen_micros,
            exposed: wear.exposed_micros,
            hot: wear.hot_micros,
            assumed: if self.kind.evidence == Evidence::Assumed { micros } else { 0 },
        })
    }
}

/// The settings of a place through time, never empty, in order.
#[derive(Debug, Clone)]
pub struct Eras {
    first: Era,
    later: Vec<Era>,
}

impl Eras {
    /// Of eras that begin at the same instant the last named holds. Where none is given, the place is a bench at the hot temperature: what
    /// nobody described must not lengthen a life.
    pub fn new(eras: &[Era], rates: &Rates) -> Eras {
        let mut later: Vec<Era> = Vec::with_capacity(eras.len());
        let mut sorted = eras.to_vec();
        sorted.sort_by_key(|era| era.from);
        for era in sorted {
            later.pop_if(|last| last.from == era.from);
            later.push(era);
        }
        if later.is_empty() {
            let (method, upper_limit) = (StorageMethod::Ambient, rates.hot);
            return Eras { first: Era { from: Instant::EPOCH, method, upper_limit, gap_micros: 0 }, later };
        }
        let first = later.remove(0);
        Eras { first, later }
    }

    /// The era an instant lies in; those before the first count as the first.
    pub fn at(&self, micros: i64) -> &Era {
        let index = self.later.partition_point(|era| era.from.micros() <= micros);
        index.checked_sub(1).and_then(|last| self.later.get(last)).unwrap_or(&self.first)
    }

    /// Eras that begin strictly inside a span.
    fn within(&self, from: i64, to: i64) -> &[Era] {
        let begin = self.later.partition_point(|era| era.from.micros() <= from);
        let end = self.later.partition_point(|era| era.from.micros() < to);
        self.later.get(begin..end).unwrap_or(&[])
    }
}

/// Lays knots one after another, with their running sums.
pub struct Laying<'a> {
    pub eras: &'a Eras,
    pub regimes: &'a Regimes,
    pub knots: Vec<Knot>,
    pub sums: Sums,
}

impl Laying<'_> {
    /// What lies between two neighbouring readings; before the first one or after the last one of them is missing.
    pub fn between(&mut self, before: Option<Reading>, after: Option<Reading>) {
        let from = before.map_or(Instant::MINIMUM, |reading| reading.at.micros());
        let to = after.map_or(Instant::MAXIMUM, |reading| reading.at.micros());
        match (before, after) {
            (Some(a), Some(b)) if to - from <= self.eras.at(from).gap_micros => self.straight(a, b),
            _ => self.held(before.map(|a| a.temperature).max(after.map(|b| b.temperature)), from, to),
        }
    }

    fn straight(&mut self, a: Reading, b: Reading) {
        let (from, to) = (a.at.micros(), b.at.micros());
        let (start, end) = (a.temperature.get() as f64, b.temperature.get() as f64);
        let mut reached = from;
        let mut at = Fine::new(a.temperature);
        let mut method = self.eras.at(from).method;
        for era in self.eras.within(from, to) {
            let next = era.from.micros();
            let mc = start + (end - start) * ((next - from) as f64 / (to - from) as f64);
            let here = Fine::from_mc(mc);
            self.lay(reached, next, at, here, Kind { method, evidence: Evidence::Measured });
            (reached, at, method) = (next, here, era.method);
        }
        self.lay(reached, to, at, Fine::new(b.temperature), Kind { method, evidence: Evidence::Measured });
    }

    fn held(&mut self, warmest: Option<MilliCelsius>, from: i64, to: i64) {
        let eras = self.eras;
        let mut reached = from;
        let mut holding = eras.at(from);
        for era in eras.within(from, to) {
            self.hold(holding, warmest, reached, era.from.micros());
            (reached, holding) = (era.from.micros(), era);
        }
        self.hold(holding, warmest, reached, to);
    }

    fn hold(&mut self, era: &Era, warmest: Option<MilliCelsius>, from: i64, to: i64) {
        let at = Fine::new(warmest.map_or(era.upper_limit, |warmest| warmest.max(era.upper_limit)));
        self.lay(from, to, at, at, Kind { method: era.method, evidence: Evidence::Assumed });
    }

    fn lay(&mut self, at: i64, until: i64, from: Fine, to: Fine, kind: Kind) {
        let knot = Knot { at, from, to, kind, sums: self.sums };
        self.sums = knot.sums_after(self.regimes, until - at, until - at);
        self.knots.push(knot);
    }
}
