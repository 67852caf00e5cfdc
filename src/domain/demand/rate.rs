//! How much of a cut is asked for in an average opening hour at its list price: Gamma-Poisson on the hours in stock.

use super::{Basis, Belief};
use crate::domain::life::budget::Form;
use crate::domain::tray::Kind;

/// What one cut was seen to sell: units, and standard hours in stock (hours times how busy they usually are times what the price did).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sales {
    pub kind: Kind,
    pub form: Form,
    pub units: f64,
    pub standard_hours: f64,
}

/// What is believed of a cut before its own sales, and where that is from: the mean rate of the shop's other cuts of its kind and form, each
/// seen for a trading day at least; else of its kind; else the stated rate. It weighs as much as one trading day in stock.
pub fn prior(all: &[Sales], index: usize, stated: f64, trading_day: f64) -> (Belief, Basis) {
    let believed = |mean: f64, basis| (Belief { shape: mean * trading_day, rate: trading_day }, basis);
    let Some(own) = all.get(index) else { return believed(stated, Basis::Stated) };
    let known = |alike: &dyn Fn(&Sales) -> bool| {
        let others = all.iter().enumerate().filter(|(other, sales)| {
            *other != index && alike(sales) && sales.units > 0.0 && sales.standard_hours >= trading_day
        });
        let (sum, count) =
            others.fold((0.0, 0.0), |(sum, count), (_, s)| (sum + s.units / s.standard_hours, count + 1.0));
        (count > 0.0).then(|| sum / count)
    };
    let mean = known(&|sales| sales.kind == own.kind && sales.form == own.form)
        .or_else(|| known(&|sales| sales.kind == own.kind));
    mean.map_or_else(|| believed(stated, Basis::Stated), |mean| believed(mean, Basis::Shop))
}

/// What is believed of a cut, and on which ground: its own sales once they weigh as much as what was believed before.
pub fn belief(all: &[Sales], index: usize, stated: f64, trading_day: f64) -> (Belief, Basis) {
    let (prior, basis) = prior(all, index, stated, trading_day);
    let Some(own) = all.get(index) else { return (prior, basis) };
    let basis = if own.standard_hours >= trading_day { Basis::Own } else { basis };
    (prior.after(own.units, own.standard_hours), basis)
}
