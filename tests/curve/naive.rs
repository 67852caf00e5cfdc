//! The sums by walking through every second with the published formulas, written without a look at how the curve does it.

use super::ground::start;
use sakudana::domain::life::curve::{Era, Reading};
use sakudana::domain::place::StorageMethod;
use sakudana::domain::profile::{Rates, RawModel};
use sakudana::units::instant::Instant;

/// Microseconds since the start of the tests, which a float holds exactly.
fn micros(at: Instant) -> f64 {
    at.since(start()) as f64
}

/// Temperature in °C, whether it was measured, and how the place keeps fish.
fn state(eras: &[Era], readings: &[Reading], at: f64) -> (f64, bool, StorageMethod) {
    let era_at = |t: f64| *eras.iter().rev().find(|era| micros(era.from) <= t).unwrap_or(&eras[0]);
    let era = era_at(at);
    let degrees = |r: &Reading| r.temperature.get() as f64 / 1_000.0;
    let limit = era.upper_limit.get() as f64 / 1_000.0;
    let next = readings.partition_point(|r| micros(r.at) <= at);
    let before = next.checked_sub(1).map(|i| &readings[i]);
    let after = readings.get(next);
    if let (Some(a), Some(b)) = (before, after) {
        let (from, to) = (micros(a.at), micros(b.at));
        if to - from <= era_at(from).gap_micros as f64 {
            return (degrees(a) + (degrees(b) - degrees(a)) * (at - from) / (to - from), true, era.method);
        }
    }
    let warmest = [before, after].into_iter().flatten().map(degrees).fold(limit, f64::max);
    (warmest, false, era.method)
}

fn model(rates: &Rates, t: f64) -> f64 {
    let root = if t > -10.0 { (1.0 + 0.1 * t).powi(2) } else { 0.0 };
    let exponential = (0.12 * t).exp();
    match rates.model {
        RawModel::SquareRoot => root,
        RawModel::Exponential => exponential,
        RawModel::Cautious => root.max(exponential),
    }
}

fn raw(rates: &Rates, t: f64, measured: bool, method: StorageMethod) -> f64 {
    let top = rates.freezing_point.get() as f64 / 1_000.0;
    let bottom = top - rates.band_depth_mc as f64 / 1_000.0;
    match method {
        StorageMethod::Frozen if t <= rates.frozen_through.get() as f64 / 1_000.0 => 0.0,
        StorageMethod::Superchill if measured && t < bottom => 1.0,
        StorageMethod::Superchill if measured && t <= top => {
            model(rates, t).max(1_000.0 / rates.superchill_cap_permille as f64)
        }
        _ => model(rates, t).max(1.0),
    }
}

fn colour(rates: &Rates, t: f64, measured: bool, method: StorageMethod) -> f64 {
    if method != StorageMethod::Frozen {
        return raw(rates, t, measured, method);
    }
    // 6 d at 4 °C at 1.96 used up in 14 d at -18 °C; Q10 1.78; the worst at -10 °C.
    let coldest = rates.coldest_credit.get() as f64 / 1_000.0;
    let frozen = 6.0 * 1.96 / 14.0 * 1.78_f64.powf((t.max(coldest).min(-10.0) + 18.0) / 10.0);
    if t > 0.0 { frozen.max(model(rates, t)) } else { frozen }
}

/// The rates of all sums, in the order of `Sum::ALL`.
fn rate(rates: &Rates, (t, measured, method): (f64, bool, StorageMethod)) -> [f64; 5] {
    let coldest = rates.coldest_credit.get() as f64 / 1_000.0;
    let above = |limit: i64| f64::from(t > limit as f64 / 1_000.0);
    let frozen = (rates.frozen_q10_permille as f64 / 1_000.0).powf((t.max(coldest) + 18.0) / 10.0);
    [
        raw(rates, t, measured, method),
        colour(rates, t, measured, method),
        if method == StorageMethod::Frozen { frozen } else { 0.0 },
        above(rates.safe.get()),
        above(rates.hot.get()),
    ]
}

/// Integrates second by second, each second at three places of Gauss, which is exact up to the fifth power. Seconds begin anew at every
/// reading and era, and one in which a rate jumps is halved until the jump lies within a hundredth of a microsecond.
pub fn sums(rates: &Rates, eras: &[Era], readings: &[Reading], from: Instant, to: Instant) -> [f64; 5] {
    const SECOND: f64 = 1e6;
    let (from, to) = (micros(from), micros(to));
    let f = |t: f64| rate(rates, state(eras, readings, t));
    let starts = readings.iter().map(|r| micros(r.at)).chain(eras.iter().map(|era| micros(era.from)));
    let mut borders: Vec<f64> = starts.filter(|t| from < *t && *t < to).chain([from, to]).collect();
    borders.sort_by(f64::total_cmp);
    let mut total = [0.0; 5];
    for pair in borders.windows(2) {
        let mut at = pair[0];
        while at < pair[1] {
            let end = (at + SECOND).min(pair[1]);
            total = join(total, short(&f, at, end), |a, b| a + b);
            at = end;
        }
    }
    total
}

fn short(f: &impl Fn(f64) -> [f64; 5], from: f64, to: f64) -> [f64; 5] {
    let (width, middle) = (to - from, (from + to) / 2.0);
    let inside = width * 1e-6;
    let jump = join(f(from + inside), f(to - inside), |a, b| (a - b).abs());
    if jump.iter().any(|jump| *jump > 0.05) && width > 0.01 {
        return join(short(f, from, middle), short(f, middle, to), |a, b| a + b);
    }
    let reach = width / 2.0 * 0.6_f64.sqrt();
    let ends = join(f(middle - reach), f(middle + reach), |a, b| a + b);
    join(ends, f(middle), |ends, middle| width * (5.0 * ends + 8.0 * middle) / 18.0)
}

fn join(a: [f64; 5], b: [f64; 5], with: impl Fn(f64, f64) -> f64) -> [f64; 5] {
    std::array::from_fn(|i| with(a[i], b[i]))
}
