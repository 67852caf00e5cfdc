//! What units are worth from each state on when all that follows is decided as well as can be: from the last stage back to now.

use super::customers::chances;
use super::states::{State, States};
use super::{Problem, Stage};
use std::collections::{BTreeSet, VecDeque};

/// What is done at the beginning of a stage, after what has ended is gone: up to which unit the kitchen takes, and which prices are in
/// force from there on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Act {
    pub next: usize,
    pub state: usize,
}

/// The first so many units of a problem, and the best plan for them.
pub(super) struct Plan {
    pub count: usize,
    pub states: States,
    /// Grams of the units before each, and of all.
    pub grams: Vec<f64>,
    /// By state and next unit: what the first stage and all after it bring, when nothing more is decided at its beginning.
    pub now: Vec<Vec<f64>>,
    /// By stage: the chances of so many customers.
    coming: Vec<Vec<f64>>,
    /// By stage, state and next unit.
    acts: Vec<Vec<Vec<Act>>>,
    /// Differences below this are nothing but rounding.
    pub rounding: f64,
}

impl Plan {
    /// Works back from the end.
    pub fn of(problem: &Problem, count: usize) -> Plan {
        let states = States::of(problem, count);
        let count = states.all.first().map_or(0, |state| state.until);
        let grams = grams_before(problem, count);
        let rounding = rounding(problem, count);
        let coming = |stage: &Stage| chances(problem.demand, stage.hours * states.rush);
        let coming = problem.stages.iter().map(coming).collect();
        let mut plan = Plan { count, states, grams, now: Vec::new(), coming, acts: Vec::new(), rounding };
        let mut then = plan.ends(problem);
        plan.now = then.clone();
        for (at, stage) in problem.stages.iter().enumerate().rev() {
            // Whoever comes in a stage finds none of the units that have ended by then.
            let from = ended(problem, at, count);
            plan.now = plan.sell(at, from, &then);
            let (decided, acts) = plan.decide(problem, stage, from);
            then = plan.throw_away(problem, from, &decided);
            plan.acts.push(acts);
        }
        plan.acts.reverse();
        plan
    }

    /// What is done at a stage; prices stay and nothing is cooked where it is none of the stages.
    pub fn act(&self, stage: usize, state: usize, next: usize) -> Act {
        let found = self.acts.get(stage).and_then(|acts| acts.get(state)).and_then(|acts| acts.get(next)).copied();
        found.unwrap_or(Act { next, state })
    }

    /// The chances of 0, 1, 2 … customers in a stage, at the highest rate that any price causes.
    pub fn coming(&self, stage: usize) -> &[f64] {
        self.coming.get(stage).map_or(&[], Vec::as_slice)
    }

    /// What the units from one on up to another weigh.
    pub fn weight(&self, from: usize, to: usize) -> f64 {
        let at = |index: usize| self.grams.get(index).copied().unwrap_or(0.0);
        (at(to) - at(from)).max(0.0)
    }

    /// After the last stage: what has ended is thrown away, what has not is worth what it is worth.
    fn ends(&self, problem: &Problem) -> Vec<Vec<f64>> {
        let ended = ended(problem, problem.stages.len(), self.count);
        let value = |next: usize| {
            let wasted = self.weight(next.min(ended), ended);
            let left = self.weight(next.max(ended), self.count);
            (left * problem.left_cents_per_kg as f64 - wasted * problem.waste_cents_per_kg as f64) / 1_000.0
        };
        self.states.all.iter().map(|state| (0..state.values()).map(value).collect()).collect()
    }

    /// A stage's customers, one at a time, before what comes `then`. Values of units before `from` are not reckoned.
    fn sell(&self, stage: usize, from: usize, then: &[Vec<f64>]) -> Vec<Vec<f64>> {
        let coming = self.coming(stage);
        if coming.len() < 2 {
            return then.to_vec();
        }
        let (Some(own), Some(after)) = (self.states.all.first(), then.first()) else { return Vec::new() };
        let reaches: BTreeSet<usize> = self.states.all.iter().skip(1).map(|state| state.until).collect();
        let mut beyond: Vec<(usize, Vec<f64>)> = reaches.into_iter().map(|reach| (reach, Vec::new())).collect();
        let emptied = after.last().copied().unwrap_or(0.0);
        let mut sold = served(own, from, after, coming, &[emptied], |values| {
            for (reach, seen) in &mut beyond {
                seen.extend(reach.checked_sub(from).and_then(|at| values.get(at)));
            }
        });
        sold.push(emptied);
        let mut all = vec![sold];
        for (state, then) in self.states.all.iter().zip(then).skip(1) {
            let edges = beyond.iter().find(|(reach, _)| *reach == state.until).map_or(&[][..], |(_, seen)| seen);
            all.push(served(state, from, then, coming, edges, |_| {}));
        }
        all
    }

    /// The best of what may be done at a stage's beginning, and what that is.
    fn decide(&self, problem: &Problem, stage: &Stage, from: usize) -> (Vec<Vec<f64>>, Vec<Vec<Act>>) {
        let priced = if stage.review { self.best_prices() } else { self.now.clone() };
        let own = priced.first().cloned().unwrap_or_default();
        let kitchen = problem.kitchen_cents_per_kg as f64 / 1_000.0;
        let mut decided = Vec::with_capacity(priced.len());
        let mut acts = Vec::with_capacity(priced.len());
        for (state, values) in priced.iter().enumerate() {
            // Beyond the reach no price is in force.
            let joined: Vec<f64> = values.iter().chain(own.iter().skip(values.len())).copied().collect();
            let best = if stage.kitchen_g > 0 { self.cook(&joined, kitchen, stage.kitchen_g) } else { joined.clone() };
            let choose = |next: usize| self.choose(stage, kitchen, (state, next), (&joined, &best));
            let stay = (0..from.min(values.len())).map(|next| Act { next, state });
            acts.push(stay.chain((from..values.len()).map(choose)).collect());
            decided.push(best);
        }
        (decided, acts)
    }

    /// For each state and next unit the best of it and of all that may follow it.
    fn best_prices(&self) -> Vec<Vec<f64>> {
        let mut best = self.now.clone();
        for (at, state) in self.states.all.iter().enumerate().skip(1).rev() {
            for other in state.deeper.into_iter().chain(state.wider) {
                raise(&mut best, at, other);
            }
        }
        // Where nothing is in force anything may follow.
        for (at, _) in self.states.all.iter().enumerate().skip(1) {
            raise(&mut best, 0, at);
        }
        best
    }

    /// The best of letting the kitchen take the first so many grams or less.
    fn cook(&self, values: &[f64], kitchen: f64, most_g: i64) -> Vec<f64> {
        let most = most_g as f64;
        // What the kitchen would have paid for all units before, so that only the sum must be compared.
        let whole: Vec<f64> = values.iter().zip(&self.grams).map(|(value, grams)| value + kitchen * grams).collect();
        let mut best = vec![0.0; values.len()];
        let mut rivals: VecDeque<(f64, f64)> = VecDeque::new();
        let mut further = whole.iter().zip(&self.grams).peekable();
        for (best, before) in best.iter_mut().zip(&self.grams) {
            while let Some((value, grams)) = further.next_if(|(_, grams)| **grams - before <= most) {
                while rivals.back().is_some_and(|(rival, _)| rival <= value) {
                    rivals.pop_back();
                }
                rivals.push_back((*value, *grams));
            }
            while rivals.front().is_some_and(|(_, grams)| grams < before) {
                rivals.pop_front();
            }
            *best = rivals.front().map_or(0.0, |(value, _)| value - kitchen * before);
        }
        best
    }

    /// The preferred one of the acts that are as good as the best.
    fn choose(
        &self,
        stage: &Stage,
        kitchen: f64,
        (state, next): (usize, usize),
        (joined, best): (&[f64], &[f64]),
    ) -> Act {
        let stay = Act { next, state };
        let Some(best) = best.get(next) else { return stay };
        let enough = best - self.rounding;
        let mut chosen: Option<Act> = None;
        for (to, value) in joined.iter().enumerate().skip(next) {
            let cooked = self.weight(next, to);
            if to > next && cooked > stage.kitchen_g as f64 {
                break;
            }
            if kitchen * cooked + value < enough {
                continue;
            }
            let state = if self.states.all.get(state).is_some_and(|state| to < state.until) { state } else { 0 };
            let state = if stage.review { self.price_at(state, to, value - self.rounding) } else { state };
            if chosen.is_none_or(|chosen| state < chosen.state) {
                chosen = Some(Act { next: to, state });
            }
        }
        chosen.unwrap_or(stay)
    }

    /// The preferred state after this one that is worth so much.
    fn price_at(&self, state: usize, next: usize, enough: f64) -> usize {
        let worth = |at: usize| self.now.get(at).and_then(|values| values.get(next)).copied();
        let mut able = self.states.after(state).filter(|(_, to)| to.posted.is_none() || next < to.until);
        able.find(|(at, _)| worth(*at).is_some_and(|value| value >= enough)).map_or(state, |(at, _)| at)
    }

    /// What has ended by a stage, so many of the first units, costs what it costs.
    fn throw_away(&self, problem: &Problem, ended: usize, decided: &[Vec<f64>]) -> Vec<Vec<f64>> {
        let waste = problem.waste_cents_per_kg as f64 / 1_000.0;
        let mut all = Vec::with_capacity(decided.len());
        for (values, state) in decided.iter().zip(&self.states.all) {
            let after = |next: usize| values.get(next.max(ended)).copied().unwrap_or(0.0);
            let value = |next: usize| after(next) - waste * self.weight(next, ended);
            all.push((0..state.values()).map(value).collect());
        }
        all
    }
}

/// How often it is asked whether further customers still change anything.
pub(super) const ASKED_EVERY: usize = 16;

/// The values by the next unit, counted from `from`, before a stage's customers: each of them buys the unit that is next or not. `edges` are
/// the values at the end of the state before 0, 1, 2 … customers, the last one for all further; `see` is shown the same of all units.
fn served(
    state: &State,
    from: usize,
    then: &[f64],
    coming: &[f64],
    edges: &[f64],
    mut see: impl FnMut(&[f64]),
) -> Vec<f64> {
    let mut sum = vec![0.0; state.until];
    let (Some(buys), Some(pays)) = (state.buys.get(from..), state.pays.get(from..)) else { return sum };
    let Some(counted) = sum.get_mut(from..).filter(|counted| !counted.is_empty()) else { return sum };
    let edge = |n: usize| edges.get(n).or(edges.last()).copied().unwrap_or(0.0);
    let mut old: Vec<f64> = then.iter().take(state.until).skip(from).copied().collect();
    old.push(edge(0));
    let mut new = old.clone();
    let mut to_come = 1.0;
    for (n, chance) in coming.iter().enumerate() {
        see(&old);
        if n % ASKED_EVERY == ASKED_EVERY - 1 && n >= edges.len() && old == new {
            break;
        }
        to_come -= chance;
        add_one_customer(&old, (buys, pays), (*chance, counted), &mut new);
        if let Some(last) = new.last_mut() {
            *last = edge(n + 1);
        }
        std::mem::swap(&mut old, &mut new);
    }
    // All who are left out found what the last one found.
    counted.iter_mut().zip(&old).for_each(|(sum, value)| *sum += to_come * value);
    sum
}

/// Adds to the sum, with its chance, what is known before so many customers, and finds what it is before one more.
fn add_one_customer(old: &[f64], (buys, pays): (&[f64], &[f64]), (chance, sum): (f64, &mut [f64]), new: &mut [f64]) {
    let following = old.get(1..).unwrap_or(&[]);
    let terms = old.iter().zip(following).zip(buys).zip(pays);
    for ((new, sum), (((old, following), buys), pays)) in new.iter_mut().zip(sum).zip(terms) {
        *sum += chance * old;
        *new = old + (pays + buys * (following - old));
    }
}

/// How many of the first units have ended when a stage begins.
pub(super) fn ended(problem: &Problem, stage: usize, count: usize) -> usize {
    problem.units.iter().take(count).take_while(|unit| unit.ends <= stage).count()
}

fn grams_before(problem: &Problem, count: usize) -> Vec<f64> {
    let sums = problem.units.iter().take(count).scan(0.0, |sum, unit| {
        *sum += unit.grams as f64;
        Some(*sum)
    });
    std::iter::once(0.0).chain(sums).collect()
}

fn rounding(problem: &Problem, count: usize) -> f64 {
    let dearest = [problem.kitchen_cents_per_kg, problem.waste_cents_per_kg, problem.left_cents_per_kg];
    let dearest = dearest.map(|value| value.unsigned_abs() as f64).into_iter().fold(0.0, f64::max);
    let of = |unit: &super::Unit| unit.grams as f64 * dearest.max(unit.price as f64) / 1_000.0;
    1e-12 * problem.units.iter().take(count).map(of).sum::<f64>()
}

/// Raises the values of one state to those of another, as far as both go.
fn raise(values: &mut [Vec<f64>], at: usize, other: usize) {
    let Some((low, high)) = values.split_at_mut_checked(other) else { return };
    let (Some(low), Some(high)) = (low.get_mut(at), high.first()) else { return };
    for (low, high) in low.iter_mut().zip(high.iter()) {
        *low = low.max(*high);
    }
}
