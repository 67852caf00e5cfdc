//! Every course of decisions and customers of small cases, tried one by one: a tree of histories without any table of values, so all policies,
//! also those that remember, are among them. Sales come from counting customers explicitly.

use crate::ground::Dice;
use sakudana::domain::advice::program::solve;
use sakudana::domain::advice::{Choice, Demand, Freezer, Problem, Stage, Unit};
use sakudana::domain::demand::Belief;

/// The price in force: a step and a reach.
type Posted = Option<(usize, usize)>;

struct Tree<'a> {
    problem: &'a Problem,
    kept: usize,
    /// By stage, price in force and next unit: the chances that so many are sold.
    sales: std::collections::HashMap<(usize, Posted, usize), Vec<f64>>,
}

fn price(problem: &Problem, posted: Posted, unit: usize) -> i64 {
    let own = problem.units[unit].price;
    posted.filter(|(_, reach)| unit < *reach).map_or(own, |(step, _)| own.min(problem.prices[step]))
}

fn times(problem: &Problem, price: i64) -> f64 {
    (problem.elasticity * (1.0 - price as f64 / problem.prices[0] as f64)).exp()
}

/// The chance of so many customers (GP-F of the reference for what is believed), written out.
fn customers(demand: Demand, hours: f64, n: usize) -> f64 {
    let product = |of: &dyn Fn(f64) -> f64| (1..=n).map(|k| of(k as f64)).product::<f64>();
    match demand {
        Demand::Known(rate) => (-rate * hours).exp() * product(&|k| rate * hours / k),
        Demand::Believed(Belief { shape, rate }) => {
            (rate / (rate + hours)).powf(shape) * product(&|k| (shape + k - 1.0) / k * hours / (rate + hours))
        }
    }
}

/// The chances that so many of the units from `next` on are sold in a stage: customers at the rate of the lowest price there is, each of whom
/// buys as often as the price of the unit in front says.
fn sold(problem: &Problem, kept: usize, stage: usize, posted: Posted, next: usize) -> Vec<f64> {
    let lowest = problem.prices.iter().copied().chain(problem.units.iter().map(|unit| unit.price)).min().unwrap();
    let rush = times(problem, lowest);
    let mut chances = vec![0.0; kept - next + 1];
    let mut after_n = chances.clone();
    after_n[0] = 1.0;
    for n in 0..140 {
        let coming = customers(problem.demand, problem.stages[stage].hours * rush, n);
        for (sum, chance) in chances.iter_mut().zip(&after_n) {
            *sum += coming * chance;
        }
        for d in (0..after_n.len() - 1).rev() {
            let buys = times(problem, price(problem, posted, next + d)) / rush;
            let moved = after_n[d] * buys;
            after_n[d] -= moved;
            after_n[d + 1] += moved;
        }
    }
    let missing = 1.0 - chances.iter().sum::<f64>();
    *chances.last_mut().unwrap() += missing;
    chances
}

impl Tree<'_> {
    fn grams(&self, from: usize, to: usize) -> f64 {
        self.problem.units[from..to].iter().map(|unit| unit.grams as f64).sum()
    }

    fn thrown_away(&self, stage: usize, next: usize) -> (usize, f64) {
        let mut to = next;
        while to < self.kept && self.problem.units[to].ends <= stage {
            to += 1;
        }
        (to, self.grams(next, to) * self.problem.waste_cents_per_kg as f64 / 1_000.0)
    }

    /// What may be in force after a review.
    fn prices(&self, posted: Posted, next: usize) -> Vec<Posted> {
        let mut all = vec![posted];
        for step in 0..self.problem.prices.len() {
            for reach in self.problem.reaches.iter().map(|reach| (*reach).min(self.kept)) {
                if next < reach && posted.is_none_or(|(before, as_far)| step >= before && reach >= as_far) {
                    all.push(Some((step, reach)));
                }
            }
        }
        all.dedup();
        all
    }

    /// From the beginning of a stage on.
    fn begin(&mut self, stage: usize, next: usize, posted: Posted) -> f64 {
        let (next, waste) = self.thrown_away(stage, next);
        let posted = posted.filter(|(_, reach)| next < *reach);
        if stage == self.problem.stages.len() {
            return self.grams(next, self.kept) * self.problem.left_cents_per_kg as f64 / 1_000.0 - waste;
        }
        if next == self.kept {
            return -waste;
        }
        let mut best = f64::MIN;
        for to in next..=self.kept {
            let cooked = self.grams(next, to);
            if cooked > self.problem.stages[stage].kitchen_g as f64 {
                break;
            }
            let cooked = cooked * self.problem.kitchen_cents_per_kg as f64 / 1_000.0;
            let posted = posted.filter(|(_, reach)| to < *reach);
            let may = if self.problem.stages[stage].review { self.prices(posted, to) } else { vec![posted] };
            for posted in may {
                best = best.max(cooked + self.sell(stage, to, posted));
            }
        }
        best - waste
    }

    fn sell(&mut self, stage: usize, next: usize, posted: Posted) -> f64 {
        let (problem, kept) = (self.problem, self.kept);
        let entry = self.sales.entry((stage, posted, next));
        let chances = entry.or_insert_with(|| sold(problem, kept, stage, posted, next)).clone();
        let (mut value, mut paid) = (0.0, 0.0);
        for (d, chance) in chances.iter().enumerate() {
            if d > 0 {
                let unit = next + d - 1;
                paid += price(problem, posted, unit) as f64 * problem.units[unit].grams as f64 / 1_000.0;
            }
            value += chance * (paid + self.begin(stage + 1, next + d, posted));
        }
        value
    }
}

/// Every choice now and what it is worth, in the order of preference.
fn choices(problem: &Problem) -> Vec<(Choice, f64)> {
    let n = problem.units.len();
    let mut kept: Vec<usize> = vec![n];
    if let Some(freezer) = problem.freezer {
        kept.extend(
            problem.reaches.iter().copied().chain([freezer.first]).filter(|at| *at >= freezer.first && *at < n),
        );
        kept.sort_unstable();
        kept.dedup();
    }
    let mut all = Vec::new();
    for kept in kept {
        let mut tree = Tree { problem, kept, sales: std::collections::HashMap::new() };
        let frozen: f64 = problem.units[kept..].iter().map(|unit| unit.grams as f64).sum();
        let frozen = frozen * problem.freezer.map_or(0.0, |freezer| freezer.cents_per_kg as f64) / 1_000.0;
        for kitchen in 0..=kept {
            let grams = tree.grams(0, kitchen);
            if grams > problem.stages[0].kitchen_g as f64 {
                break;
            }
            let cooked = grams * problem.kitchen_cents_per_kg as f64 / 1_000.0;
            for posted in tree.prices(None, kitchen) {
                let lowers = |unit: usize| price(problem, posted, unit) < problem.units[unit].price;
                if posted.is_some() && !(kitchen..kept).any(lowers) {
                    continue;
                }
                let (price, reach) = posted.map_or((None, 0), |(step, reach)| (Some(step), reach));
                let choice = Choice { price, reach, kitchen, freeze: n - kept };
                all.push((choice, frozen + cooked + tree.sell(0, kitchen, posted)));
            }
        }
    }
    all.sort_by_key(|(choice, _)| (choice.price, choice.reach, choice.kitchen, choice.freeze));
    all
}

/// A small case: blocks and portions of a tub, own prices, a kitchen with little room, sometimes a freezer.
fn case(dice: &mut Dice) -> Problem {
    let stages = 1 + dice.below(3);
    let n = 1 + dice.below(if stages == 3 { 3 } else { 5 });
    let prices = vec![2_000, 1_600, 1_100][..2 + dice.below(if stages == 3 { 1 } else { 2 })].to_vec();
    let mut ends: Vec<usize> = (0..n).map(|_| 1 + dice.below(stages + 1)).collect();
    ends.sort_unstable();
    let tub = dice.below(3) == 0;
    let units: Vec<Unit> = (0..n)
        .map(|at| Unit {
            grams: if tub { 150 } else { 100 + dice.below(300) as i64 },
            price: [2_000, 2_000, 1_800, 1_500, 1_000][dice.below(5)],
            ends: ends[at],
            tray: if tub { 0 } else { at },
        })
        .collect();
    let mut reaches = vec![n];
    if n > 1 && dice.below(3) > 0 {
        reaches.insert(0, 1 + dice.below(n - 1));
    }
    let stage = |dice: &mut Dice| Stage {
        hours: if dice.below(6) == 0 { 0.0 } else { dice.unit() * 3.0 },
        review: dice.below(4) > 0,
        kitchen_g: if dice.below(2) == 0 { 0 } else { 150 + dice.below(400) as i64 },
    };
    let mut stages: Vec<Stage> = (0..stages).map(|_| stage(dice)).collect();
    stages[0].review = true;
    let rate = 0.3 + 2.0 * dice.unit();
    let shape = 0.7 + 4.0 * dice.unit();
    Problem {
        today: dice.below(stages.len() + 1),
        freezer: (dice.below(3) == 0)
            .then(|| Freezer { cents_per_kg: 400 + dice.below(800) as i64, first: dice.below(n + 1) }),
        units,
        stages,
        prices,
        reaches,
        demand: if dice.below(2) == 0 {
            Demand::Known(rate)
        } else {
            Demand::Believed(Belief { shape, rate: shape / rate })
        },
        elasticity: dice.unit() * 4.0,
        kitchen_cents_per_kg: dice.below(1_300) as i64,
        waste_cents_per_kg: dice.below(3) as i64 * 150,
        left_cents_per_kg: dice.below(700) as i64,
    }
}

/// 500 small cases. The value is the best of all policies; the choice is the preferred one of the best; every outlook shown is the best that
/// its choice can come to.
#[test]
fn no_policy_is_better() {
    let mut dice = Dice::new(2026);
    let mut told = [0; 5];
    for round in 0..500 {
        let problem = case(&mut dice);
        let solution = solve(&problem);
        let choices = choices(&problem);
        let most = choices.iter().map(|(_, value)| *value).fold(f64::MIN, f64::max);
        let within = 1e-8 * (1.0 + most.abs());
        assert!(
            (solution.best.total - most).abs() < within,
            "round {round}: {} is not {most}: {problem:?}",
            solution.best.total
        );
        let (preferred, _) = choices.iter().find(|(_, value)| *value > most - within).unwrap();
        assert_eq!(solution.best.choice, *preferred, "round {round}: {problem:?}");
        let shown =
            [&solution.wait].into_iter().chain(&solution.prices).chain(&solution.kitchen).chain(&solution.freezer);
        for outlook in shown {
            let (_, value) = choices.iter().find(|(choice, _)| *choice == outlook.choice).unwrap();
            assert!((outlook.total - value).abs() < within, "round {round}: {outlook:?}, not {value}: {problem:?}");
        }
        for outlook in &solution.prices {
            let others = choices.iter().filter(|(choice, _)| choice.price == outlook.choice.price);
            let best = others.map(|(_, value)| *value).fold(f64::MIN, f64::max);
            assert!((outlook.total - best).abs() < within, "round {round}: the best with this price");
        }
        let Choice { price, reach, kitchen, freeze } = solution.best.choice;
        let of = [
            price.is_some(),
            reach > 0 && reach < problem.units.len(),
            kitchen > 0,
            freeze > 0,
            *preferred == Choice::default(),
        ];
        told.iter_mut().zip(of).for_each(|(count, is)| *count += i32::from(is));
    }
    assert!(told.iter().all(|count| *count >= 15), "each kind of choice is the best one now and then: {told:?}");
}
