//! Laying knots between readings: what counts as measured, and what is assumed where nothing was.

use super::knot::{Bend, Fine, Kind, Laid, Regimes, Sums};
use super::{Era, Reading};
use crate::domain::life::rate::regime::Evidence;
use crate::domain::place::StorageMethod;
use crate::domain::profile::Rates;
use crate::units::instant::Instant;
use crate::units::temperature::MilliCelsius;

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
            return Eras {
                first: Era { from: Instant::EPOCH, method, upper_limit, gap_micros: 0, warm_micros: 0 },
                later,
            };
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
    pub laid: Vec<Laid>,
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

    /// What was laid, and then what it leads to, whose sums shift, or else the bend that ends it all.
    pub fn join(mut self, tail: &[Laid], end: i64) -> Vec<Laid> {
        match tail.first() {
            None => {
                let kind = Kind { method: StorageMethod::Chill, evidence: Evidence::Assumed };
                let still = Fine::from_mc(0.0);
                let bend = Bend::new((end, end), (still, still), kind, self.regimes);
                self.laid.push(Laid { bend, sums: self.sums });
            }
            Some(first) => {
                let shift = self.sums.minus(first.sums);
                self.laid.extend(tail.iter().map(|laid| Laid { sums: laid.sums.plus(shift), ..*laid }));
            }
        }
        self.laid
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
        let bend = Bend::new((at, until), (from, to), kind, self.regimes);
        self.laid.push(Laid { bend, sums: self.sums });
        self.sums = self.sums.plus(bend.gains(self.regimes, until - at, until - at));
    }
}
