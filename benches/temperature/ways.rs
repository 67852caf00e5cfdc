//! Ways of answering: the floor, the curve, and walking through the readings.

use crate::ground::{Question, Shop, method, rates};
use sakudana::domain::life::curve::Reading;
use sakudana::domain::life::rate::Sum;
use sakudana::domain::life::rate::regime::{Evidence, Line, Regime};
use sakudana::domain::life::wear::Wear;
use sakudana::units::instant::{Instant, MICROS_PER_HOUR};

/// Two random reads of 16 bytes: the readings nearest to where both ends would stand if loggers were never late.
pub fn floor(shop: &Shop, questions: &[Question]) -> i64 {
    let mut total = 0_i64;
    for question in questions {
        let log = &shop.readings[question.place];
        let begin = log[0].at;
        let span = log[log.len() - 1].at.since(begin) as f64;
        let share = |at: Instant| ((at.since(begin) as f64 / span) * (log.len() - 1) as f64) as usize;
        let (one, other) = (log[share(question.from)], log[share(question.to)]);
        total =
            total.wrapping_add(other.at.since(one.at)).wrapping_add(other.temperature.get() - one.temperature.get());
    }
    total
}

pub fn raw(shop: &Shop, questions: &[Question]) -> i64 {
    questions.iter().map(|q| shop.curves[q.place].raw_micros(q.from, q.to)).fold(0, i64::wrapping_add)
}

pub fn wear(shop: &Shop, questions: &[Question]) -> i64 {
    questions.iter().map(|q| every(&shop.curves[q.place].wear(q.from, q.to))).fold(0, i64::wrapping_add)
}

/// All sums together, so that none is left out.
fn every(wear: &Wear) -> i64 {
    [wear.raw_micros, wear.colour_micros, wear.frozen_micros, wear.exposed_micros, wear.hot_micros]
        .into_iter()
        .fold(wear.measured_micros - wear.assumed_micros, i64::wrapping_add)
}

/// When four days of ice time are used up, if that is before the end of the question.
pub fn when(shop: &Shop, questions: &[Question]) -> i64 {
    let ends = questions.iter().map(|q| shop.curves[q.place].when(Sum::Raw, q.from, 96 * MICROS_PER_HOUR, q.to));
    ends.flatten().map(Instant::micros).fold(0, i64::wrapping_add)
}

/// The readings a question concerns, in pairs.
fn concerned(shop: &Shop, question: Question) -> impl Iterator<Item = (Reading, Reading)> + '_ {
    let log = &shop.readings[question.place];
    let first = log.partition_point(|reading| reading.at <= question.from).saturating_sub(1);
    let end = log.partition_point(|reading| reading.at < question.to);
    let part = &log[first..(end + 1).min(log.len())];
    part.iter().copied().zip(part.iter().skip(1).copied())
}

/// The cheapest walk there is: the square-root model alone, without gaps or edges.
pub fn walk(shop: &Shop, questions: &[Question]) -> i64 {
    let mut total = 0.0;
    for question in questions {
        for (a, b) in concerned(shop, *question) {
            let (p, q) = (1.0 + a.temperature.get() as f64 * 1e-4, 1.0 + b.temperature.get() as f64 * 1e-4);
            total += (p * p + p * q + q * q) * (b.at.since(a.at) as f64 / 3.0);
        }
    }
    total as i64
}

/// The walk that gives what the curve gives, but for the ends and gaps.
pub fn walk_by_rules(shop: &Shop, questions: &[Question]) -> i64 {
    let regimes: Vec<Regime> =
        (0..10).map(|place| Regime::new(&rates(), method(place).0, Evidence::Measured)).collect();
    let mut total = 0_i64;
    for question in questions {
        let regime = &regimes[question.place % 10];
        for (a, b) in concerned(shop, *question) {
            let (from_mc, to_mc) = (a.temperature.get() as f64, b.temperature.get() as f64);
            total = total.wrapping_add(regime.micros(Sum::Raw, Line { from_mc, to_mc, micros: b.at.since(a.at) }));
        }
    }
    total
}
