//! How demand answers to the price, from what was sold at list and at lowered prices.
//!
//! The likelihood is that of Poisson sales, given how many were sold in all: how they fall to the prices depends on the answer to the price
//! alone, and not on how much the cut is asked for. Around the stated default lies a normal prior, so that little evidence moves little.
//! Fish is marked down when it is old, and old fish may be asked for less: what is estimated is what a lower price did together with that.

use super::{Basis, Elasticity};

/// A price's own evidence counts from so many units sold, and so many hours in stock, at lowered prices, and as many hours at list.
pub const LEAST_UNITS: f64 = 20.0;
pub const LEAST_HOURS: f64 = 20.0;

/// The spread of the prior around the stated default. A choice of ours, no source.
pub const PRIOR_SPREAD: f64 = 1.0;

/// A lower price brings no fewer customers, and no more than this.
pub const BOUNDS: (f64, f64) = (0.0, 8.0);

/// What a range of 80 % is to both sides of the middle of a normal distribution, in its spread.
const RANGE: f64 = 1.281_551_565_5;

/// What was seen of one cut at one price.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// By how much the price was lowered, as a share of list.
    pub off: f64,
    /// Hours in stock, and the same weighed by how busy they usually are.
    pub hours: f64,
    pub standard_hours: f64,
    pub units: f64,
}

/// What was seen at lowered prices: units and hours.
pub fn lowered(points: &[Point]) -> (f64, f64) {
    let lowered = points.iter().filter(|point| point.off > 0.0);
    lowered.fold((0.0, 0.0), |(units, hours), point| (units + point.units, hours + point.hours))
}

fn enough(points: &[Point]) -> bool {
    let (units, hours) = lowered(points);
    let at_list: f64 = points.iter().filter(|point| point.off <= 0.0).map(|point| point.hours).sum();
    units >= LEAST_UNITS && hours >= LEAST_HOURS && at_list >= LEAST_HOURS
}

/// The answer of the cuts of `groups` together; none where it rests on too little.
pub fn learned(groups: &[&[Point]], stated: f64, basis: Basis) -> Option<Elasticity> {
    let together: Vec<Point> = groups.iter().flat_map(|points| points.iter().copied()).collect();
    if !enough(&together) {
        return None;
    }
    let (at_list, spread) = most_likely(groups, stated);
    Some(ranged(at_list, spread, basis))
}

/// A number that nobody measured, with the range of the prior.
pub fn stated(at_list: f64, basis: Basis) -> Elasticity {
    ranged(at_list, PRIOR_SPREAD, basis)
}

fn ranged(at_list: f64, spread: f64, basis: Basis) -> Elasticity {
    let (least, most) = BOUNDS;
    let (low, high) = ((at_list - RANGE * spread).max(least), at_list + RANGE * spread);
    Elasticity { at_list, low, high: if at_list <= most { high.min(most) } else { high }, basis }
}

/// Slope and bend of the logarithm of likelihood and prior.
fn slope(groups: &[&[Point]], centre: f64, elasticity: f64) -> (f64, f64) {
    let width = PRIOR_SPREAD * PRIOR_SPREAD;
    let (mut first, mut second) = ((centre - elasticity) / width, -1.0 / width);
    for points in groups {
        let (mut units, mut off_sold, mut weight, mut mean, mut square) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for point in *points {
            let expected = point.standard_hours * (elasticity * point.off).exp();
            units += point.units;
            off_sold += point.units * point.off;
            weight += expected;
            mean += expected * point.off;
            square += expected * point.off * point.off;
        }
        if weight > 0.0 {
            (mean, square) = (mean / weight, square / weight);
            first += off_sold - units * mean;
            second -= units * (square - mean * mean).max(0.0);
        }
    }
    (first, second)
}

/// Newton's way to the top, kept between the bounds: the logarithm is concave, so its slope falls through zero once at most.
fn most_likely(groups: &[&[Point]], centre: f64) -> (f64, f64) {
    let (mut low, mut high) = BOUNDS;
    let mut at = centre.clamp(low, high);
    for _ in 0..60 {
        let (first, second) = slope(groups, centre, at);
        if first > 0.0 {
            low = at
        } else {
            high = at
        }
        let step = at - first / second;
        let next = if step > low && step < high { step } else { 0.5 * (low + high) };
        let moved = (next - at).abs();
        at = next;
        if moved < 1e-10 {
            break;
        }
    }
    let (_, second) = slope(groups, centre, at);
    (at, (-1.0 / second).sqrt())
}
