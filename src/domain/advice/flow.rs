//! What becomes of the units under a plan, in expectation: how likely each is next in line, from now to the last stage.

use super::states::{Posted, State};
use super::values::{ASKED_EVERY, Act, Plan, ended};
use super::{Choice, Flow, Outlook, Problem};

/// What is done after now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Later {
    /// The best at each review.
    Best,
    /// Nothing, ever.
    Nothing,
}

/// Which courses of events are followed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Courses {
    All,
    /// Those in which after now nothing leaves the counter but by a sale.
    OnlySold,
}

/// What is expected of a choice now. The plan is of the units that are not frozen.
pub(super) fn outlook(problem: &Problem, plan: &Plan, choice: &Choice, later: Later) -> Outlook {
    let first = first(plan, choice);
    let mut line = Line::new(problem, plan, Courses::All);
    let mut today = None;
    for stage in 0..problem.stages.len() {
        if stage == problem.today {
            today = Some((line.until(stage), line.emptied()));
        }
        line.pass(stage, first, later);
    }
    let whole = line.until(problem.stages.len());
    let (today, sold_out) = today.unwrap_or((whole, line.emptied()));
    let sold_out = if leaves_otherwise(problem) { only_sold(problem, plan, first, later) } else { sold_out };
    let frozen = problem.units.iter().skip(plan.count).map(|unit| unit.grams as f64).sum::<f64>();
    let cents = problem.freezer.map_or(0.0, |freezer| freezer.cents_per_kg as f64);
    let freeze = |flow: Flow| Flow { frozen_g: frozen, frozen: frozen * cents / 1_000.0, ..flow };
    let (today, whole) = (freeze(today), freeze(whole));
    let left = whole.left_g * problem.left_cents_per_kg as f64 / 1_000.0;
    let mut sold = line.sold;
    sold.resize(problem.units.len(), 0.0);
    Outlook {
        choice: *choice,
        today,
        whole,
        total: whole.revenue + whole.kitchen + whole.frozen + left - whole.waste,
        sells_out_today: if first.next < plan.count { sold_out.min(1.0) } else { 0.0 },
        sold,
    }
}

/// What a choice comes to at the first stage.
fn first(plan: &Plan, choice: &Choice) -> Act {
    let next = choice.kitchen.min(plan.count);
    let posted = choice.price.map(|step| Posted { step, reach: choice.reach.min(plan.count) });
    let state = posted.filter(|posted| next < posted.reach).and_then(|posted| plan.states.find(posted));
    Act { next, state: state.unwrap_or(0) }
}

/// Whether today, after now, something may leave the counter other than by a sale.
fn leaves_otherwise(problem: &Problem) -> bool {
    let cooked = problem.stages.iter().take(problem.today).skip(1).any(|stage| stage.kitchen_g > 0);
    cooked || problem.units.iter().any(|unit| unit.ends < problem.today)
}

/// How likely all are sold today.
fn only_sold(problem: &Problem, plan: &Plan, first: Act, later: Later) -> f64 {
    let mut line = Line::new(problem, plan, Courses::OnlySold);
    for stage in 0..problem.today.min(problem.stages.len()) {
        line.pass(stage, first, later);
    }
    line.emptied()
}

/// How likely each unit is next, and what has become of those before.
struct Line<'a> {
    problem: &'a Problem,
    plan: &'a Plan,
    courses: Courses,
    /// By state and next unit; empty for a state that cannot be.
    chances: Vec<Vec<f64>>,
    flow: Flow,
    sold: Vec<f64>,
}

impl<'a> Line<'a> {
    fn new(problem: &'a Problem, plan: &'a Plan, courses: Courses) -> Line<'a> {
        let chances = vec![Vec::new(); plan.states.all.len()];
        let mut line = Line { problem, plan, courses, chances, flow: Flow::default(), sold: vec![0.0; plan.count] };
        line.put(0, 0, 1.0);
        line
    }

    fn pass(&mut self, stage: usize, first: Act, later: Later) {
        if stage == 0 {
            self.take();
            self.put(first.state, first.next, 1.0);
            self.flow.kitchen_g = self.plan.weight(0, first.next);
        } else {
            self.throw_away(stage);
            if later == Later::Best {
                self.act(stage);
            }
        }
        self.sell(stage);
    }

    /// The chances and what they are of, taken out.
    fn take(&mut self) -> Vec<(usize, usize, f64)> {
        let taken = std::mem::replace(&mut self.chances, vec![Vec::new(); self.plan.states.all.len()]);
        let of = |(state, chances): (usize, Vec<f64>)| {
            chances
                .into_iter()
                .enumerate()
                .filter(|(_, chance)| *chance > 0.0)
                .map(move |(next, chance)| (state, next, chance))
        };
        taken.into_iter().enumerate().flat_map(of).collect()
    }

    fn put(&mut self, state: usize, next: usize, chance: f64) {
        let within = self.plan.states.all.get(state).is_some_and(|state| next < state.until);
        let Some(chances) = self.chances.get_mut(if within { state } else { 0 }) else { return };
        chances.resize(self.plan.count + 1, 0.0);
        if let Some(held) = chances.get_mut(next) {
            *held += chance;
        }
    }

    fn throw_away(&mut self, stage: usize) {
        let ended = ended(self.problem, stage, self.plan.count);
        if ended == 0 {
            return;
        }
        for (state, next, chance) in self.take() {
            if next < ended {
                self.flow.wasted_g += chance * self.plan.weight(next, ended);
            }
            if next >= ended || self.courses == Courses::All {
                self.put(state, next.max(ended), chance);
            }
        }
    }

    fn act(&mut self, stage: usize) {
        for (state, next, chance) in self.take() {
            let act = self.plan.act(stage, state, next);
            self.flow.kitchen_g += chance * self.plan.weight(next, act.next);
            if act.next == next || self.courses == Courses::All {
                self.put(act.state, act.next, chance);
            }
        }
    }

    fn sell(&mut self, stage: usize) {
        let coming = self.plan.coming(stage);
        if coming.len() < 2 {
            return;
        }
        let before = std::mem::replace(&mut self.chances, vec![Vec::new(); self.plan.states.all.len()]);
        for (at, before) in before.into_iter().enumerate().filter(|(_, chances)| !chances.is_empty()) {
            let Some(state) = self.plan.states.all.get(at) else { continue };
            let after = moved_on(state, &before, coming);
            self.count(state, &before, &after);
            for (next, chance) in after.into_iter().enumerate().filter(|(_, chance)| *chance > 0.0) {
                self.put(at, next, chance);
            }
        }
    }

    /// A unit was sold where the line was at it or before, and now is past it.
    fn count(&mut self, state: &State, before: &[f64], after: &[f64]) {
        let mut past = 0.0;
        let units = self.problem.units.iter().zip(&state.prices).zip(&mut self.sold);
        for ((before, after), ((unit, price), sold)) in before.iter().zip(after).zip(units) {
            past += before - after;
            let (chance, grams) = (past.max(0.0), unit.grams as f64);
            *sold += chance;
            self.flow.sold_units += chance;
            self.flow.sold_g += chance * grams;
            self.flow.revenue += chance * grams * *price as f64 / 1_000.0;
        }
    }

    /// What has become of the units when a stage is about to begin.
    fn until(&self, stage: usize) -> Flow {
        let ended = ended(self.problem, stage, self.plan.count);
        let mut flow = self.flow;
        for chances in &self.chances {
            for (next, chance) in chances.iter().enumerate() {
                flow.wasted_g += chance * self.plan.weight(next.min(ended), ended);
                flow.left_g += chance * self.plan.weight(next.max(ended), self.plan.count);
                flow.left_units += chance * (self.plan.count - next.max(ended)) as f64;
            }
        }
        flow.kitchen = flow.kitchen_g * self.problem.kitchen_cents_per_kg as f64 / 1_000.0;
        flow.waste = flow.wasted_g * self.problem.waste_cents_per_kg as f64 / 1_000.0;
        flow
    }

    /// How likely nothing is left on the counter.
    fn emptied(&self) -> f64 {
        self.chances.iter().filter_map(|chances| chances.get(self.plan.count)).sum()
    }
}

/// How likely each unit is next after a stage's customers. Reckoned only from the first unit that can be next to the last that can be.
fn moved_on(state: &State, before: &[f64], coming: &[f64]) -> Vec<f64> {
    let possible = |chance: &f64| *chance > 0.0;
    let first = before.iter().position(possible).unwrap_or(0);
    let mut width = before.iter().rposition(possible).unwrap_or(0) + 1 - first;
    let buys = state.buys.get(first..).unwrap_or(&[]);
    // Nobody leaves the last, which is the end.
    let stays: Vec<f64> = buys.iter().map(|buys| 1.0 - buys).chain([1.0]).collect();
    let mut old: Vec<f64> = before.iter().skip(first).copied().collect();
    let mut new = old.clone();
    let mut sum = vec![0.0; before.len()];
    let counted = sum.get_mut(first..).unwrap_or(&mut []);
    let mut to_come = 1.0;
    for (n, chance) in coming.iter().enumerate() {
        if n % ASKED_EVERY == ASKED_EVERY - 1 && old == new {
            break;
        }
        to_come -= chance;
        counted.iter_mut().zip(&old).take(width).for_each(|(sum, old)| *sum += chance * old);
        width += 1;
        add_one_customer(&old, (buys, &stays), width, &mut new);
        std::mem::swap(&mut old, &mut new);
    }
    counted.iter_mut().zip(&old).for_each(|(sum, old)| *sum += to_come * old);
    sum
}

/// How likely each of the first `width` is next after one more customer.
fn add_one_customer(old: &[f64], (buys, stays): (&[f64], &[f64]), width: usize, new: &mut [f64]) {
    if let (Some(first), Some(new)) = (old.iter().zip(stays).next(), new.first_mut()) {
        *new = first.0 * first.1;
    }
    let Some(following) = old.get(1..).zip(stays.get(1..)).zip(new.get_mut(1..)) else { return };
    let ((here, stays), new) = following;
    let terms = here.iter().zip(stays).zip(old.iter().zip(buys));
    for (new, ((here, stays), (before, buys))) in new.iter_mut().zip(terms).take(width) {
        *new = here * stays + before * buys;
    }
}
