//! What the tests of the curve stand on: rules, places and readings in few words.

use sakudana::domain::life::curve::{Curve, Era, Reading};
use sakudana::domain::place::StorageMethod;
use sakudana::domain::profile::{Rates, RawModel};
use sakudana::units::instant::{Instant, MICROS_PER_HOUR};
use sakudana::units::temperature::MilliCelsius;

pub const HOUR: i64 = MICROS_PER_HOUR;
pub const DAY: i64 = 24 * HOUR;

pub fn mc(milli: i64) -> MilliCelsius {
    MilliCelsius::new(milli).unwrap()
}

pub fn start() -> Instant {
    Instant::parse("2026-11-25T06:00:00Z").unwrap()
}

pub fn at(micros: i64) -> Instant {
    start().plus_micros(micros)
}

pub fn rates(model: RawModel) -> Rates {
    Rates {
        model,
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

pub fn era(method: StorageMethod, upper_limit_mc: i64, gap_micros: i64) -> Era {
    Era { from: Instant::EPOCH, method, upper_limit: mc(upper_limit_mc), gap_micros, warm_micros: 0 }
}

pub fn readings(rows: &[(i64, i64)]) -> Vec<Reading> {
    rows.iter().map(|(micros, milli)| Reading { at: at(*micros), temperature: mc(*milli) }).collect()
}

/// A curve of one era whose gap allowance is beyond all tests.
pub fn curve(model: RawModel, method: StorageMethod, rows: &[(i64, i64)]) -> Curve {
    Curve::new(rates(model), &[era(method, 2_000, 400 * DAY)], readings(rows))
}
