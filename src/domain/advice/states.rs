//! Which prices may be in force, and what each customer does then.

use super::{Problem, Unit};
use crate::domain::demand::multiplier;

/// A price in force: every unit below `reach` costs at most this step of the ladder.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Posted {
    pub step: usize,
    pub reach: usize,
}

/// The state of prices while the next unit lies below the reach; beyond it, no price is in force any more.
pub(super) struct State {
    /// None in the first state of all: each unit at its own price.
    pub posted: Option<Posted>,
    /// As far as the state goes: the reach, or all units.
    pub until: usize,
    /// The state with the next lower price and the same reach.
    pub deeper: Option<usize>,
    /// The state with the same price and the next reach.
    pub wider: Option<usize>,
    /// Minor units a kilogram, by unit.
    pub prices: Vec<i64>,
    /// How likely a customer buys, by the unit that is next.
    pub buys: Vec<f64>,
    /// The same times what is paid.
    pub pays: Vec<f64>,
}

/// All states, in the order of preference among equals: no price in force, then the higher price, then the shorter reach.
pub(super) struct States {
    pub all: Vec<State>,
    /// The multiplier at which customers arrive: the highest that any price causes.
    pub rush: f64,
}

impl States {
    /// Of the first `count` units.
    pub fn of(problem: &Problem, count: usize) -> States {
        let units = problem.units.get(..count).unwrap_or(&problem.units);
        let mut reaches: Vec<usize> = problem.reaches.iter().map(|reach| (*reach).min(units.len())).collect();
        reaches.dedup();
        let own = State {
            posted: None,
            until: units.len(),
            deeper: None,
            wider: None,
            prices: units.iter().map(|unit| unit.price).collect(),
            buys: Vec::new(),
            pays: Vec::new(),
        };
        let mut all = vec![own];
        for (step, price) in problem.prices.iter().enumerate() {
            for reach in &reaches {
                if units.iter().take(*reach).any(|unit| *price < unit.price) {
                    all.push(State::posted(units, Posted { step, reach: *reach }, *price));
                }
            }
        }
        let mut states = States { all, rush: 0.0 };
        states.join(&reaches);
        states.weigh(problem, units);
        states
    }

    /// Finds for each state its neighbours. A price that lowers something still does when it falls or reaches further, so they are there.
    fn join(&mut self, reaches: &[usize]) {
        let found: Vec<(Option<usize>, Option<usize>)> = self
            .all
            .iter()
            .map(|state| {
                let Some(Posted { step, reach }) = state.posted else { return (None, None) };
                let wider = reaches.iter().copied().find(|other| *other > reach);
                (self.find(Posted { step: step + 1, reach }), wider.and_then(|reach| self.find(Posted { step, reach })))
            })
            .collect();
        for (state, (deeper, wider)) in self.all.iter_mut().zip(found) {
            (state.deeper, state.wider) = (deeper, wider);
        }
    }

    fn weigh(&mut self, problem: &Problem, units: &[Unit]) {
        let list = problem.prices.first().map_or(1.0, |price| *price as f64);
        let at = |price: i64| multiplier(problem.elasticity, price as f64, list);
        let lowest = self.all.iter().flat_map(|state| state.prices.iter().copied()).min();
        self.rush = lowest.map_or(1.0, at);
        for state in &mut self.all {
            state.buys = state.prices.iter().map(|price| (at(*price) / self.rush).min(1.0)).collect();
            let paid = state.prices.iter().zip(units).map(|(price, unit)| *price as f64 * unit.grams as f64 / 1_000.0);
            state.pays = state.buys.iter().zip(paid).map(|(buys, paid)| buys * paid).collect();
        }
    }

    pub fn find(&self, posted: Posted) -> Option<usize> {
        self.all.iter().position(|state| state.posted == Some(posted))
    }

    /// What may follow a state at a review, itself among it, in the order of preference.
    pub fn after(&self, at: usize) -> impl Iterator<Item = (usize, &State)> {
        let from = self.all.get(at).and_then(|state| state.posted);
        self.all.iter().enumerate().filter(move |(_, state)| match (from, state.posted) {
            (None, _) => true,
            (Some(_), None) => false,
            (Some(from), Some(to)) => to.step >= from.step && to.reach >= from.reach,
        })
    }
}

impl State {
    /// How many values there are in it, by the unit that is next; the first state knows one for none left, too.
    pub fn values(&self) -> usize {
        if self.posted.is_none() { self.until + 1 } else { self.until }
    }

    fn posted(units: &[Unit], posted: Posted, price: i64) -> State {
        let lowered = units.iter().enumerate().map(
            |(at, unit)| {
                if at < posted.reach { unit.price.min(price) } else { unit.price }
            },
        );
        State {
            posted: Some(posted),
            until: posted.reach,
            deeper: None,
            wider: None,
            prices: lowered.collect(),
            buys: Vec::new(),
            pays: Vec::new(),
        }
    }
}
