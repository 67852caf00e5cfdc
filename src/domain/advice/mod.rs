//! What is best done with what is left of a cut: the optimum of a stated model, and what it rests on.
//!
//! The model. Trays of a cut are issued oldest first, and each customer pays the price of the tray that is next. Customers come at random, at a
//! rate that the hour, the weekday and that price decide; the rate itself is known as well as the shop's sales tell it. At each review prices may
//! fall, for all trays up to an age, and never rise again. The kitchen takes the oldest, up to what it has room for that day: now, and at the
//! first review of each day to come. Now, and only now, the youngest may be frozen. What is not sold by the end of its life is thrown away,
//! which may cost something. Fish that is still to be cut is not reckoned with.

mod customers;
mod flow;
pub mod program;
pub mod question;
pub mod stages;
mod states;
mod values;

use super::demand::Belief;

/// What a customer takes: a block whole, or a portion out of a tub.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Unit {
    pub grams: i64,
    /// What it is priced at now, minor units a kilogram.
    pub price: i64,
    /// How many stages it can be sold in, from the first on; at least 1.
    pub ends: usize,
    /// Which tray it is of, as the caller counts them.
    pub tray: usize,
}

/// A stretch of time in which nothing is decided but at its beginning.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stage {
    /// Demand in it, in standard hours at the list price.
    pub hours: f64,
    /// Whether prices may fall at its beginning. The first stage begins now, at a review.
    pub review: bool,
    /// What the kitchen takes at its beginning, grams; 0 where it takes nothing.
    pub kitchen_g: i64,
}

/// How many customers come.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Demand {
    /// Poisson, so many a standard hour at list.
    Known(f64),
    /// As believed: in each stage the predictive distribution, a negative binomial, independent of the other stages.
    Believed(Belief),
}

impl Demand {
    /// The same demand told in units that are so many times as large.
    #[must_use]
    pub fn in_units_of(self, times: f64) -> Demand {
        match self {
            Demand::Known(rate) => Demand::Known(rate / times),
            Demand::Believed(belief) => Demand::Believed(Belief { rate: belief.rate * times, ..belief }),
        }
    }
}

/// Freezing now: the youngest units, from one of them on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Freezer {
    pub cents_per_kg: i64,
    /// The oldest unit that may be frozen; all younger ones may.
    pub first: usize,
}

/// The question for one cut. All values in minor units of money.
#[derive(Debug, Clone, PartialEq)]
pub struct Problem {
    /// In the order of issue: `ends` never falls.
    pub units: Vec<Unit>,
    pub stages: Vec<Stage>,
    /// How many of the stages belong to today.
    pub today: usize,
    /// The ladder, falling, the list price first, minor units a kilogram.
    pub prices: Vec<i64>,
    /// Up to how many units a price may reach, rising, the last one all of them: the ages of the trays.
    pub reaches: Vec<usize>,
    pub demand: Demand,
    pub elasticity: f64,
    pub kitchen_cents_per_kg: i64,
    pub freezer: Option<Freezer>,
    /// What throwing away costs.
    pub waste_cents_per_kg: i64,
    /// What is still good after the last stage is worth.
    pub left_cents_per_kg: i64,
}

/// What may be done now with a cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Choice {
    /// Which step of the ladder the first `reach` units fall to, where they are dearer; none leaves prices alone.
    pub price: Option<usize>,
    /// Counted before any are taken away.
    pub reach: usize,
    /// How many of the first units go to the kitchen.
    pub kitchen: usize,
    /// How many of the last units are frozen.
    pub freeze: usize,
}

/// What becomes of the units, in expectation. Masses in grams, money in minor units.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Flow {
    pub sold_units: f64,
    pub sold_g: f64,
    pub revenue: f64,
    pub kitchen_g: f64,
    pub kitchen: f64,
    pub frozen_g: f64,
    pub frozen: f64,
    pub wasted_g: f64,
    /// A cost, not negative.
    pub waste: f64,
    /// Still there at the end of the stretch.
    pub left_units: f64,
    pub left_g: f64,
}

/// What is expected of one choice, when what comes after it is decided as well as can be.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlook {
    pub choice: Choice,
    /// Until the end of today.
    pub today: Flow,
    /// Until nothing is left, or the last stage has ended.
    pub whole: Flow,
    /// Money of all of it: revenue, kitchen, freezer and what is left, less what waste costs.
    pub total: f64,
    /// How likely all that was kept for the counter is sold today.
    pub sells_out_today: f64,
    /// How likely each unit is sold before its life, or the last stage, ends.
    pub sold: Vec<f64>,
}

/// The answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Solution {
    pub best: Outlook,
    /// Nothing now, the best at later reviews.
    pub wait: Outlook,
    /// Nothing now and never.
    pub nothing: Outlook,
    /// For each price of the ladder that lowers anything, the best choice with it, from the highest price down.
    pub prices: Vec<Outlook>,
    /// As much as the kitchen takes, prices as they are; none where it takes nothing.
    pub kitchen: Option<Outlook>,
    /// All that may be frozen, prices as they are; none where nothing may.
    pub freezer: Option<Outlook>,
}

/// Whether it is worth speaking: the best choice does something now that is better than waiting for the next review, and brings enough more
/// than leaving things alone for good, in money and as a share. Held against waiting alone, many small gains in a row would never be
/// spoken of (`tests/half_year.rs` shows what that costs).
pub fn worth(solution: &Solution, least_cents: i64, least_permille: i64) -> bool {
    let share = solution.nothing.total.abs() * least_permille as f64 / 1_000.0;
    let gain = solution.best.total - solution.nothing.total;
    solution.best.choice != Choice::default()
        && solution.best.total > solution.wait.total
        && gain >= share.max(least_cents as f64)
}
