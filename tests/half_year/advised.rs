//! Decides by the engine's advice: asks it at each review about each cut, and does what it says where it says anything.

use crate::counter::{Counter, Deed};
use crate::learning::{Learner, instant, opening_hours, truth};
use crate::policies::Policy;
use crate::world::Year;
use sakudana::domain::advice::program::solve;
use sakudana::domain::advice::question::{Asked, Cut, Freezing, Moves, Tray, ask};
use sakudana::domain::advice::stages::Days;
use sakudana::domain::advice::worth;
use sakudana::domain::demand::Forecast;
use sakudana::domain::demand::learn::Stated;
use sakudana::domain::hours::OpeningHours;
use sakudana::domain::terms::{CutTerms, ShopTerms, Terms};
use sakudana::domain::tray::Kind;
use sakudana::units::money::PricePerKg;
use sakudana::units::zone::Zone;

/// What is known of demand.
enum Knowledge {
    Fixed(Vec<Forecast>),
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
    shop: ShopTerms,
    waste_permille: Option<i64>,
    hours: OpeningHours,
}

impl Advised {
    /// The true demand, from the first day on.
    pub fn knowing(name: &str, years: &[Year], following: Following) -> Advised {
        Advised::new(name, years, Knowledge::Fixed(years.iter().map(truth).collect()), following)
    }

    /// The truth, but for the rates, which somebody said and which are so many times the true ones; nothing is ever learned.
    pub fn told(name: &str, years: &[Year], times: f64) -> Advised {
        let mut forecasts: Vec<Forecast> = years.iter().map(truth).collect();
        forecasts.iter_mut().for_each(|forecast| forecast.belief.shape *= times);
        Advised::new(name, years, Knowledge::Fixed(forecasts), Following::WorthIt)
    }

    /// Begins with the shop's stated elasticity and a stated rate, so many times the true one, and learns.
    pub fn learning(name: &str, years: &[Year], times: f64) -> Advised {
        let elasticity = shop_terms(&years[0]).elasticity_permille as f64 / 1_000.0;
        let stated = |rate: f64| Stated { elasticity, units_per_hour: times * rate };
        let learner = Learner::new(years, stated);
        Advised::new(name, years, Knowledge::Learned(Box::new(learner)), Following::WorthIt)
    }

    /// The true demand, by a shop that reckons waste at so much of the list price, whatever it really costs.
    pub fn sparing(name: &str, years: &[Year], waste_permille: i64) -> Advised {
        Advised { waste_permille: Some(waste_permille), ..Advised::knowing(name, years, Following::WorthIt) }
    }

    /// What the shop's terms mean for a cut, which must be what its world is like.
    fn terms(&self, year: &Year) -> Terms {
        let waste_cents_per_kg = self.waste_permille.map(|permille| year.cut.list * permille / 1_000);
        let cut = CutTerms { waste_cents_per_kg, ..CutTerms::default() };
        let terms = self.shop.of(&cut, PricePerKg::new(year.cut.list).unwrap());
        assert_eq!(terms.prices.iter().map(|price| price.get()).collect::<Vec<_>>(), year.ladder);
        assert_eq!(terms.kitchen_cents_per_kg, year.kitchen_cents_per_kg);
        terms
    }

    fn new(name: &str, years: &[Year], knowledge: Knowledge, following: Following) -> Advised {
        Advised {
            name: name.to_owned(),
            knowledge,
            following,
            shop: shop_terms(&years[0]),
            waste_permille: None,
            hours: opening_hours(),
        }
    }
}

/// What the shop says: the defaults, with the world's kitchen and waste.
fn shop_terms(year: &Year) -> ShopTerms {
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

    fn decide(&mut self, counter: &Counter<'_>, cut: usize, at: i64, first_of_day: bool) -> Deed {
        let forecast = match &self.knowledge {
            Knowledge::Fixed(forecasts) => &forecasts[cut],
            Knowledge::Learned(learner) => &learner.known[cut],
        };
        let terms = self.terms(counter.year);
        let days = Days {
            now: instant(at),
            zone: Zone::UTC,
            hours: &self.hours,
            review_times: &self.shop.review_times,
            pattern: &forecast.pattern,
        };
        let kitchen_taken_g = terms.kitchen_g_per_day - counter.kitchen_room(at, first_of_day);
        let cut = Cut { days, terms: &terms, forecast, kitchen_taken_g, trays: &trays(counter) };
        let Some(asked) = ask(&cut) else { return Deed::default() };
        let solution = solve(&asked.problem);
        let (cents, permille) = (self.shop.least_gain_cents, self.shop.least_gain_permille);
        match self.following {
            Following::WorthIt if !worth(&solution, cents, permille) => Deed::default(),
            _ => deed(counter, &asked, &asked.moves(&solution.best.choice)),
        }
    }
}

/// What stands on the counter, as the engine is told it.
fn trays(counter: &Counter<'_>) -> Vec<Tray> {
    let year = counter.year;
    let of_batch = |(batch, trays): (usize, std::ops::Range<usize>)| {
        let price = PricePerKg::new(year.ladder[counter.steps[batch]]).unwrap();
        trays.map(move |tray| Tray {
            id: i64::try_from(tray).unwrap(),
            kind: Kind::Block,
            net_g: year.grams[tray],
            price,
            ends: instant(year.batches[batch].end),
            freezing: Freezing::Refused,
        })
    };
    counter.stock().into_iter().flat_map(of_batch).collect()
}

/// Trays are issued in the order in which they were cut, in the engine as here.
fn deed(counter: &Counter<'_>, asked: &Asked, moves: &Moves) -> Deed {
    let in_order = |tray: &Tray| usize::try_from(tray.id).unwrap();
    assert!(asked.trays.iter().map(in_order).eq(counter.front..counter.arrived), "nothing is left out");
    assert!(moves.freeze.is_empty(), "this shop freezes nothing");
    let cooked = moves.kitchen.iter().map(|(tray, _)| usize::try_from(*tray).unwrap());
    assert!(cooked.eq(counter.front..counter.front + moves.kitchen.len()), "the kitchen takes the oldest");
    let mark = moves.prices.last().map(|(tray, price)| {
        assert!(moves.prices.iter().all(|(_, other)| other == price), "one price at a review");
        let step = counter.year.ladder.iter().position(|step| *step == price.get()).unwrap();
        (usize::try_from(*tray).unwrap() + 1 - counter.front, step)
    });
    Deed { marks: mark.into_iter().collect(), kitchen: moves.kitchen.len() }
}
