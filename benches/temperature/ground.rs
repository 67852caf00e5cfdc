//! A hundred places with their loggers, and questions about them. Chance is a fixed sequence, so that every run asks the same.

use sakudana::domain::life::curve::{Curve, Era, Reading};
use sakudana::domain::place::StorageMethod;
use sakudana::domain::profile::{Rates, RawModel};
use sakudana::units::instant::{Instant, MICROS_PER_HOUR, MICROS_PER_MINUTE, MICROS_PER_SECOND};
use sakudana::units::temperature::MilliCelsius;

pub const PLACES: usize = 100;

pub struct Shop {
    pub readings: Vec<Vec<Reading>>,
    pub curves: Vec<Curve>,
}

#[derive(Clone, Copy)]
pub struct Question {
    pub place: usize,
    pub from: Instant,
    pub to: Instant,
}

/// Marsaglia's xorshift (2003), with the shifts 13, 7, 17.
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    fn below(&mut self, bound: i64) -> i64 {
        (self.next() % bound.max(1) as u64) as i64
    }
}

pub fn rates() -> Rates {
    let mc = |milli| MilliCelsius::new(milli).expect("a temperature");
    Rates {
        model: RawModel::Cautious,
        freezing_point: mc(-1_000),
        band_depth_mc: 2_000,
        superchill_cap_permille: 1_500,
        frozen_through: mc(-10_000),
        safe: mc(4_444),
        hot: mc(21_111),
        frozen_q10_permille: 3_000,
        coldest_credit: mc(-60_000),
    }
}

/// Of ten places seven chill, two superchill, one freezes.
pub fn method(place: usize) -> (StorageMethod, i64) {
    match place % 10 {
        0..7 => (StorageMethod::Chill, 1_500),
        7 | 8 => (StorageMethod::Superchill, -1_500),
        _ => (StorageMethod::Frozen, -20_000),
    }
}

/// Every five minutes, some seconds early or late; now and then hours are missing, now and then the door stands open.
pub fn readings(count: usize) -> Vec<Vec<Reading>> {
    let mut chance = Chance(0x5a_ba_da_7a);
    let begin = Instant::parse("2025-01-01T00:00:00Z").expect("an instant");
    let log = |place: usize| {
        let mut at = begin.plus_micros(chance.below(MICROS_PER_HOUR));
        let level = method(place).1;
        let mut off = 0;
        (0..count / PLACES)
            .map(|_| {
                let missing = if chance.below(2_000) == 0 { chance.below(6) * MICROS_PER_HOUR } else { 0 };
                at = at.plus_micros(
                    5 * MICROS_PER_MINUTE - 10 * MICROS_PER_SECOND + chance.below(20 * MICROS_PER_SECOND) + missing,
                );
                off += chance.below(401) - 200 - off / 20 + if chance.below(300) == 0 { 4_000 } else { 0 };
                Reading { at, temperature: MilliCelsius::new(level + off).expect("a temperature") }
            })
            .collect()
    };
    (0..PLACES).map(log).collect()
}

impl Shop {
    pub fn new(readings: Vec<Vec<Reading>>) -> Shop {
        let curve = |(place, log): (usize, &Vec<Reading>)| {
            let (method, level) = method(place);
            let upper_limit = MilliCelsius::new(level + 1_000).expect("a temperature");
            let era = Era { from: Instant::EPOCH, method, upper_limit, gap_micros: MICROS_PER_HOUR, warm_micros: 0 };
            Curve::new(rates(), &[era], log.iter().copied())
        };
        let curves = readings.iter().enumerate().map(curve).collect();
        Shop { readings, curves }
    }

    /// Random stretches of what was logged, of at most a span.
    pub fn questions(&self, count: usize, longest: i64) -> Vec<Question> {
        let mut chance = Chance(0xf1_5b_0a_4d);
        let ask = |_| {
            let place = chance.below(PLACES as i64) as usize;
            let log = &self.readings[place];
            let (first, last) = (log[0].at, log[log.len() - 1].at);
            let one = first.plus_micros(chance.below(last.since(first)));
            let other = first.plus_micros(chance.below(last.since(first)));
            let (from, to) = (one.min(other), one.max(other));
            let span = if longest == i64::MAX { to.since(from) } else { chance.below(longest) };
            Question { place, from, to: from.plus_micros(span).min(last) }
        };
        (0..count).map(ask).collect()
    }

    /// Readings that come late to the first place.
    pub fn late(&self, count: usize) -> Vec<Reading> {
        let mut chance = Chance(0x1a_7e_1a_7e);
        let log = &self.readings[0];
        let (first, last) = (log[0].at, log[log.len() - 1].at);
        let temperature = MilliCelsius::new(3_000).expect("a temperature");
        (0..count).map(|_| Reading { at: first.plus_micros(chance.below(last.since(first))), temperature }).collect()
    }

    /// Readings that follow the last one of the first place.
    pub fn newest(&self, count: usize) -> Vec<Reading> {
        let last = self.readings[0].last().expect("a reading");
        (1..=count as i64).map(|k| Reading { at: last.at.plus_micros(k * 5 * MICROS_PER_MINUTE), ..*last }).collect()
    }
}
