//! Decides by the engine's advice: asks it at each review about each cut, and does what it says where it says anything.

use crate::counter::{Counter, Deed};
use crate::learning::{Learner, truth};
use crate::policies::Policy;
use crate::standin;
use crate::world::Year;
use sakudana::domain::advice::Choice;
use sakudana::domain::advice::program::solve;
use sakudana::domain::demand::Forecast;
use sakudana::domain::demand::learn::Stated;
use sakudana::domain::terms::ShopTerms;

pub enum Knowledge {
    True(Vec<Forecast>),
    Learned(Box<Learner>),
}

/// Which advice is followed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Following {
    /// Whatever is best by the model.
    Best,
    /// What the shop is told: what gains enough.
    WorthIt,
}

pub struct Advised {
    name: String,
    knowledge: Knowledge,
    following: Following,
    terms: ShopTerms,
    pub asked: usize,
    pub followed: usize,
}

impl Advised {
    pub fn knowing(name: &str, years: &[Year], following: Following) -> Advised {
        let knowledge = Knowledge::True(years.iter().map(truth).collect());
        Advised { name: name.to_owned(), knowledge, following, terms: terms(&years[0]), asked: 0, followed: 0 }
    }

    /// Begins with the same rate for every cut, so many times the true mean of all of them.
    pub fn learning(name: &str, years: &[Year], times: f64) -> Advised {
        let mean = years.iter().map(|year| year.cut.rate).sum::<f64>() / years.len() as f64;
        let terms = terms(&years[0]);
        let stated = Stated { elasticity: terms.elasticity_permille as f64 / 1_000.0, units_per_hour: times * mean };
        let knowledge = Knowledge::Learned(Box::new(Learner::new(years, stated)));
        Advised { name: name.to_owned(), knowledge, following: Following::WorthIt, terms, asked: 0, followed: 0 }
    }
}

/// What the shop says: the defaults, with the world's kitchen and waste.
pub fn terms(year: &Year) -> ShopTerms {
    ShopTerms {
        kitchen_permille: 1_000 * year.kitchen_cents_per_kg / year.cut.list,
        kitchen_g_per_day: year.kitchen_g_per_day,
        waste_cents_per_kg: year.waste_cents_per_kg,
        ..ShopTerms::default()
    }
}

impl Policy for Advised {
    fn name(&self) -> String {
        self.name.clone()
    }

    fn look_around(&mut self, counters: &[Counter<'_>], at: i64) {
        if let Knowledge::Learned(learner) = &mut self.knowledge {
            learner.look(counters, at);
        }
    }

    fn decide(&mut self, counter: &Counter<'_>, cut: usize, at: i64, _: bool) -> Deed {
        if counter.front == counter.arrived {
            return Deed::default();
        }
        let (forecast, sure) = match &self.knowledge {
            Knowledge::True(forecasts) => (&forecasts[cut], true),
            Knowledge::Learned(learner) => (&learner.known[cut], false),
        };
        let problem = standin::ask(counter, forecast, &self.terms, at, sure);
        let solution = solve(&problem);
        self.asked += 1;
        let gain = solution.best.total - solution.nothing.total;
        let share = solution.nothing.total.max(0.0) * self.terms.least_gain_permille as f64 / 1_000.0;
        let enough = gain >= (self.terms.least_gain_cents as f64).max(share);
        if self.following == Following::WorthIt && !enough {
            return Deed::default();
        }
        self.followed += usize::from(solution.best.choice != Choice::default());
        deed(&solution.best.choice)
    }
}

fn deed(choice: &Choice) -> Deed {
    assert_eq!(choice.freeze, 0, "this shop freezes nothing");
    let marks = choice.price.map(|step| (choice.reach, step)).into_iter().collect();
    Deed { marks, kitchen: choice.kitchen }
}
