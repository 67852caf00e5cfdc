//! The best choice for one cut, and what is expected of it and of the others.

use super::flow::{Later, outlook as follow};
use super::states::Posted;
use super::values::Plan;
use super::{Choice, Demand, Flow, Outlook, Problem, Solution, Unit};

/// At this a price a tenth lower sells 148 times as much; beyond it numbers are no longer told apart.
const MOST_ELASTICITY: f64 = 50.0;

/// Why a problem is none.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// A weight of nothing or less, a price below zero, or an end before the first stage.
    Unit,
    /// Units are not in the order of issue.
    Order,
    /// A stage of less than no hours, or of no number of them; or more stages of today than there are.
    Stage,
    /// No ladder, one that does not fall, or a list price of nothing.
    Prices,
    /// Reaches do not rise to all units.
    Reaches,
    /// A rate or an elasticity that is no number or below zero, or an elasticity above 50.
    Demand,
    /// The freezer begins beyond the last unit.
    Freezer,
}

/// What is wrong with a problem; none where it can be solved. No units at all is a problem, with an empty answer.
pub fn fault(problem: &Problem) -> Option<Fault> {
    let sound = |value: f64| value.is_finite() && value >= 0.0;
    let rising = |(one, next): (&usize, &usize)| one < next;
    let demand = match problem.demand {
        Demand::Known(rate) => sound(rate),
        Demand::Believed(belief) => {
            sound(belief.shape) && sound(belief.rate) && belief.shape > 0.0 && belief.rate > 0.0
        }
    };
    let units = &problem.units;
    let reaches = &problem.reaches;
    let checks = [
        (units.iter().all(|unit| unit.grams > 0 && unit.price >= 0 && unit.ends > 0), Fault::Unit),
        (units.iter().zip(units.iter().skip(1)).all(|(one, next)| one.ends <= next.ends), Fault::Order),
        (problem.stages.iter().all(|stage| sound(stage.hours) && stage.kitchen_g >= 0), Fault::Stage),
        (problem.today <= problem.stages.len(), Fault::Stage),
        (problem.prices.first().is_some_and(|list| *list > 0), Fault::Prices),
        (problem.prices.iter().zip(problem.prices.iter().skip(1)).all(|(high, low)| high > low), Fault::Prices),
        (problem.prices.last().is_some_and(|lowest| *lowest >= 0), Fault::Prices),
        (reaches.iter().zip(reaches.iter().skip(1)).all(rising), Fault::Reaches),
        (units.is_empty() || reaches.last() == Some(&units.len()), Fault::Reaches),
        (units.is_empty() || reaches.first().is_some_and(|reach| *reach > 0), Fault::Reaches),
        (demand && sound(problem.elasticity) && problem.elasticity <= MOST_ELASTICITY, Fault::Demand),
        (problem.freezer.is_none_or(|freezer| freezer.first <= units.len()), Fault::Freezer),
    ];
    checks.into_iter().find(|(holds, _)| !holds).map(|(_, fault)| fault)
}

/// The best choice, and what it is compared with. A problem with a fault has an empty answer: nothing to be done, nothing expected.
pub fn solve(problem: &Problem) -> Solution {
    if fault(problem).is_some() || problem.units.is_empty() || problem.stages.is_empty() {
        return empty(problem);
    }
    let plans = plans(problem);
    let offers: Vec<Offer> = plans.iter().flat_map(|plan| offers(problem, plan)).collect();
    let rounding = plans.first().map_or(0.0, |plan| plan.rounding);
    let outlook = |choice: Choice, later: Later| {
        let plan = plans.iter().find(|plan| plan.count + choice.freeze == problem.units.len());
        plan.map_or_else(|| unknown(problem), |plan| follow(problem, plan, &choice, later))
    };
    let best = |of: &dyn Fn(&Choice) -> bool| {
        let choice = preferred(offers.iter().filter(|offer| of(&offer.choice)), rounding)?;
        Some(outlook(choice, Later::Best))
    };
    let leave = Choice::default();
    let cooked = offers.iter().map(|offer| offer.choice.kitchen).max().filter(|most| *most > 0);
    let frozen = offers.iter().map(|offer| offer.choice.freeze).max().filter(|most| *most > 0);
    Solution {
        best: best(&|_| true).unwrap_or_else(|| unknown(problem)),
        wait: outlook(leave, Later::Best),
        nothing: outlook(leave, Later::Nothing),
        prices: (0..problem.prices.len()).filter_map(|step| best(&|choice| choice.price == Some(step))).collect(),
        kitchen: cooked.map(|kitchen| outlook(Choice { kitchen, ..leave }, Later::Best)),
        freezer: frozen.map(|freeze| outlook(Choice { freeze, ..leave }, Later::Best)),
    }
}

/// What is expected of a choice that a person made, with the best at later reviews. More for the kitchen than it has room for, or for the
/// freezer than may be frozen, is taken as said, as far as there are units (the freezer's first); a step that the ladder does not have lowers
/// nothing. A reach between the ages of the trays is one more reach for all that follows.
pub fn outlook(problem: &Problem, choice: &Choice) -> Outlook {
    if fault(problem).is_some() || problem.units.is_empty() || problem.stages.is_empty() {
        return unknown(problem);
    }
    let (problem, kept) = with_choice(problem, choice);
    follow(&problem, &Plan::of(&problem, kept), choice, Later::Best)
}

/// A problem that knows the reach of a choice, and how many units are kept.
fn with_choice(problem: &Problem, choice: &Choice) -> (Problem, usize) {
    let kept = problem.units.len() - choice.freeze.min(problem.units.len());
    let mut problem = problem.clone();
    if choice.price.is_some() && choice.reach > 0 && choice.reach < problem.units.len() {
        problem.reaches.push(choice.reach);
        problem.reaches.sort_unstable();
        problem.reaches.dedup();
    }
    (problem, kept)
}

/// What is done at each later review, after a choice now.
pub struct Policy {
    plan: Plan,
}

/// What is in force from a review on: up to which unit the kitchen has taken, and which step of the ladder holds up to which unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Standing {
    pub next: usize,
    /// The step and its reach; none where each unit is at its own price.
    pub price: Option<(usize, usize)>,
}

impl Policy {
    /// None where the problem has a fault.
    pub fn of(problem: &Problem, choice: &Choice) -> Option<Policy> {
        let sound = fault(problem).is_none();
        sound.then(|| {
            let (problem, kept) = with_choice(problem, choice);
            Policy { plan: Plan::of(&problem, kept) }
        })
    }

    /// What follows at the beginning of a stage, once what has ended is gone, from what is in force.
    pub fn at(&self, stage: usize, before: Standing) -> Standing {
        let posted = before.price.map(|(step, reach)| Posted { step, reach });
        let state = posted.and_then(|posted| self.plan.states.find(posted)).unwrap_or(0);
        let act = self.plan.act(stage, state, before.next);
        let after = self.plan.states.all.get(act.state).and_then(|state| state.posted);
        Standing { next: act.next, price: after.map(|posted| (posted.step, posted.reach)) }
    }
}

/// A choice and what it is worth.
struct Offer {
    choice: Choice,
    value: f64,
}

/// For each number of units that may be kept, the best plan: all of them first, then those in which freezing could win.
fn plans(problem: &Problem) -> Vec<Plan> {
    let count = problem.units.len();
    let mut plans = vec![Plan::of(problem, count)];
    let Some(freezer) = problem.freezer.filter(|freezer| freezer.first < count) else { return plans };
    // All that may be frozen is always looked at, since it is shown.
    plans.push(Plan::of(problem, freezer.first));
    let mut best =
        plans.iter().flat_map(|plan| offers(problem, plan)).map(|offer| offer.value).fold(f64::MIN, f64::max);
    for kept in problem.reaches.iter().copied().filter(|reach| freezer.first < *reach && *reach < count) {
        if most(problem, kept) > best {
            let plan = Plan::of(problem, kept);
            best = offers(problem, &plan).iter().map(|offer| offer.value).fold(best, f64::max);
            plans.push(plan);
        }
    }
    plans
}

/// No plan that keeps so many units brings more: each unit for the most that can become of it.
fn most(problem: &Problem, kept: usize) -> f64 {
    let waste = -(problem.waste_cents_per_kg as f64);
    let otherwise = waste.max(problem.kitchen_cents_per_kg as f64).max(problem.left_cents_per_kg as f64);
    let of = |unit: &Unit| unit.grams as f64 * otherwise.max(unit.price as f64) / 1_000.0;
    frozen(problem, kept) + problem.units.iter().take(kept).map(of).sum::<f64>()
}

/// What freezing all but so many units is worth.
fn frozen(problem: &Problem, kept: usize) -> f64 {
    let grams: f64 = problem.units.iter().skip(kept).map(|unit| unit.grams as f64).sum();
    grams * problem.freezer.map_or(0.0, |freezer| freezer.cents_per_kg as f64) / 1_000.0
}

/// All that may be done now when so many units are kept.
fn offers(problem: &Problem, plan: &Plan) -> Vec<Offer> {
    let room = problem.stages.first().map_or(0.0, |stage| stage.kitchen_g as f64);
    let frozen = frozen(problem, plan.count);
    let freeze = problem.units.len() - plan.count;
    let mut offers = Vec::new();
    for kitchen in (0..=plan.count).take_while(|kitchen| plan.weight(0, *kitchen) <= room) {
        let cooked = plan.weight(0, kitchen) * problem.kitchen_cents_per_kg as f64 / 1_000.0;
        for (state, values) in plan.states.all.iter().zip(&plan.now) {
            let lowers = state.prices.iter().zip(&problem.units).skip(kitchen).any(|(price, unit)| *price < unit.price);
            let Some(value) = values.get(kitchen).filter(|_| lowers || state.posted.is_none()) else { continue };
            let (price, reach) = state.posted.map_or((None, 0), |posted| (Some(posted.step), posted.reach));
            offers.push(Offer { choice: Choice { price, reach, kitchen, freeze }, value: frozen + cooked + value });
        }
    }
    offers
}

/// Of those that are worth the most: the higher price, then the shorter reach, then less to the kitchen, then less to the freezer.
fn preferred<'a>(offers: impl Iterator<Item = &'a Offer> + Clone, rounding: f64) -> Option<Choice> {
    let most = offers.clone().map(|offer| offer.value).fold(f64::MIN, f64::max);
    let equal = offers.filter(|offer| offer.value >= most - rounding).map(|offer| offer.choice);
    equal.min_by_key(|choice| (choice.price, choice.reach, choice.kitchen, choice.freeze))
}

fn empty(problem: &Problem) -> Solution {
    let nothing = unknown(problem);
    Solution { best: nothing.clone(), wait: nothing.clone(), nothing, prices: Vec::new(), kitchen: None, freezer: None }
}

fn unknown(problem: &Problem) -> Outlook {
    Outlook {
        choice: Choice::default(),
        today: Flow::default(),
        whole: Flow::default(),
        total: 0.0,
        sells_out_today: 0.0,
        sold: vec![0.0; problem.units.len()],
    }
}

/// What the best choice would be if demand answered to the price less, or more.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Leaning {
    pub low: Choice,
    pub high: Choice,
}

impl Leaning {
    /// The best choices at both ends of the range.
    pub fn of(problem: &Problem, low: f64, high: f64) -> Leaning {
        let best = |elasticity: f64| solve(&Problem { elasticity, ..problem.clone() }).best.choice;
        Leaning { low: best(low), high: best(high) }
    }

    /// Whether a choice is the best one at both ends, too.
    pub fn stays(self, choice: &Choice) -> bool {
        self.low == *choice && self.high == *choice
    }
}
