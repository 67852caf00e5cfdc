//! Puts together what the shop's sales say of demand: how the week runs, how demand answers to prices, and how much of each cut is asked for.
//! Each of the three needs the other two, so they are told in turns until they agree.

use super::observe::Cell;
use super::rate::{self, Sales};
use super::response::{self, Point};
use super::week::{Week, trading_day};
use super::{Basis, Belief, Elasticity, Forecast, Pattern, multiplier};
use crate::domain::life::budget::Form;
use crate::domain::tray::Kind;
use crate::units::instant::Instant;
use std::collections::BTreeMap;

/// What the shop states for when its sales do not say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stated {
    pub elasticity: f64,
    pub units_per_hour: f64,
}

/// One cut: what was seen of it, and what a person said instead.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    pub code: String,
    pub kind: Kind,
    pub form: Form,
    pub cells: Vec<Cell>,
    /// When the first of the trays that count came.
    pub since: Option<Instant>,
    pub told_elasticity: Option<f64>,
    pub told_units_per_hour: Option<f64>,
}

/// What is known of a cut, with what it rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct Learned {
    pub code: String,
    pub forecast: Forecast,
    /// Without what a person said.
    pub own_belief: Belief,
    pub own_basis: Basis,
    pub own_elasticity: Elasticity,
    pub since: Option<Instant>,
    /// What was seen at lowered prices.
    pub lowered_units: f64,
    pub lowered_hours: f64,
}

/// Turns until the three agree to well below what they are known to; the sales of a year of an invented shop need four.
const TURNS: usize = 8;

/// A rate that a person said is taken to be as sure as this many trading days in stock would make it, or as the sales are.
const TOLD_DAYS: f64 = 7.0;

/// Where the shop never opens, an hour has to weigh something all the same.
const LEAST_DAY: f64 = 1.0;

/// What is known of the demand for each of these cuts, in their order.
pub fn learn(open: &Week, stated: Stated, cuts: &[Evidence]) -> Vec<Learned> {
    let day = trading_day(open).max(LEAST_DAY);
    let mut pattern = Pattern::flat(open);
    let mut answers: Vec<Elasticity> =
        cuts.iter().map(|_| response::stated(stated.elasticity, Basis::Stated)).collect();
    for _ in 0..TURNS {
        let beliefs = beliefs(&sales(cuts, &pattern, &used(cuts, &answers)), stated, day);
        pattern = week(open, cuts, &beliefs, &used(cuts, &answers));
        answers = responses(cuts, &pattern, stated.elasticity);
    }
    let beliefs = beliefs(&sales(cuts, &pattern, &used(cuts, &answers)), stated, day);
    let known = cuts.iter().zip(beliefs).zip(answers);
    known.map(|((cut, believed), answer)| together(cut, believed, answer, &pattern, day)).collect()
}

/// The answers to prices that are reckoned with: what a person said goes first.
fn used(cuts: &[Evidence], answers: &[Elasticity]) -> Vec<f64> {
    cuts.iter().zip(answers).map(|(cut, answer)| cut.told_elasticity.unwrap_or(answer.at_list)).collect()
}

#[expect(clippy::cast_precision_loss, reason = "permille")]
fn off(cell: &Cell) -> f64 {
    1.0 - cell.price_permille as f64 / 1_000.0
}

fn price_effect(elasticity: f64, cell: &Cell) -> f64 {
    multiplier(elasticity, 1.0 - off(cell), 1.0)
}

fn sales(cuts: &[Evidence], pattern: &Pattern, answers: &[f64]) -> Vec<Sales> {
    let one = |(cut, answer): (&Evidence, &f64)| {
        let standard = |cell: &Cell| cell.hours * pattern.at(cell.weekday, cell.hour) * price_effect(*answer, cell);
        Sales {
            kind: cut.kind,
            form: cut.form,
            units: cut.cells.iter().map(|cell| cell.units).sum(),
            standard_hours: cut.cells.iter().map(standard).sum(),
        }
    };
    cuts.iter().zip(answers).map(one).collect()
}

fn beliefs(sales: &[Sales], stated: Stated, day: f64) -> Vec<(Belief, Basis)> {
    (0..sales.len()).map(|index| rate::belief(sales, index, stated.units_per_hour, day)).collect()
}

fn week(open: &Week, cuts: &[Evidence], beliefs: &[(Belief, Basis)], answers: &[f64]) -> Pattern {
    let (mut sold, mut expected) = ([[0.0; 24]; 7], [[0.0; 24]; 7]);
    let add = |week: &mut Week, cell: &Cell, units: f64| {
        if let Some(value) = week.get_mut(cell.weekday).and_then(|day| day.get_mut(cell.hour)) {
            *value += units;
        }
    };
    for ((cut, (belief, _)), answer) in cuts.iter().zip(beliefs).zip(answers) {
        for cell in &cut.cells {
            add(&mut sold, cell, cell.units);
            add(&mut expected, cell, cell.hours * belief.mean() * price_effect(*answer, cell));
        }
    }
    Pattern::learned(open, &sold, &expected)
}

fn points(cut: &Evidence, pattern: &Pattern) -> Vec<Point> {
    let mut by_price: BTreeMap<i64, Point> = BTreeMap::new();
    for cell in &cut.cells {
        let none = Point { off: off(cell), hours: 0.0, standard_hours: 0.0, units: 0.0 };
        let point = by_price.entry(cell.price_permille).or_insert(none);
        point.hours += cell.hours;
        point.standard_hours += cell.hours * pattern.at(cell.weekday, cell.hour);
        point.units += cell.units;
    }
    by_price.into_values().collect()
}

/// The answer of each cut: its own, else the shop's, else the stated one.
fn responses(cuts: &[Evidence], pattern: &Pattern, stated: f64) -> Vec<Elasticity> {
    let seen: Vec<Vec<Point>> = cuts.iter().map(|cut| points(cut, pattern)).collect();
    let all: Vec<&[Point]> = seen.iter().map(Vec::as_slice).collect();
    let shop = response::learned(&all, stated, Basis::Shop);
    let one = |points: &Vec<Point>| {
        let own = response::learned(&[points.as_slice()], stated, Basis::Own);
        own.or(shop).unwrap_or_else(|| response::stated(stated, Basis::Stated))
    };
    seen.iter().map(one).collect()
}

fn together(cut: &Evidence, believed: (Belief, Basis), own: Elasticity, pattern: &Pattern, day: f64) -> Learned {
    let (own_belief, own_basis) = believed;
    let told = cut.told_units_per_hour.map(|mean| {
        let rate = own_belief.rate.max(TOLD_DAYS * day);
        (Belief { shape: mean * rate, rate }, Basis::Told)
    });
    let (belief, basis) = told.unwrap_or((own_belief, own_basis));
    let elasticity = cut.told_elasticity.map_or(own, |at_list| response::stated(at_list, Basis::Told));
    let (lowered_units, lowered_hours) = response::lowered(&points(cut, pattern));
    let units: f64 = cut.cells.iter().map(|cell| cell.units).sum();
    let forecast = Forecast {
        belief,
        basis,
        elasticity,
        pattern: pattern.clone(),
        units_sold: whole(units),
        hours_in_stock: cut.cells.iter().map(|cell| cell.hours).sum(),
    };
    let (code, since) = (cut.code.clone(), cut.since);
    Learned { code, forecast, own_belief, own_basis, own_elasticity: own, since, lowered_units, lowered_hours }
}

#[expect(clippy::cast_possible_truncation, reason = "units sold in a few weeks")]
fn whole(units: f64) -> i64 {
    units.round() as i64
}
