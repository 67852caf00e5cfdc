//! One stage and what is known of it in closed form: what to keep and what to send to the kitchen, ages, belief, elasticity, the table that
//! is shown (1.3 to 1.5 and 2 of the reference).

use crate::ground::{ladder, near};
use sakudana::domain::advice::program::{Leaning, outlook, solve};
use sakudana::domain::advice::{Choice, Demand, Problem, Stage, Unit};
use sakudana::domain::demand::Belief;

/// One review, one price of 20, so many units expected to be asked for, a kitchen that has room for all.
fn keeping(n: usize, price: i64, mean: f64, kitchen: i64, left: i64) -> Problem {
    let mut problem = ladder(n, 1, 0.0);
    problem.units.iter_mut().for_each(|unit| unit.price = price);
    problem.prices = vec![price];
    problem.demand = Demand::Known(mean);
    problem.stages[0].kitchen_g = 1_000_000;
    problem.kitchen_cents_per_kg = kitchen;
    problem.left_cents_per_kg = left;
    problem
}

/// KEEP-mean-k-s, exact, `computed` (newsvendor critical ratio).
#[test]
fn keep() {
    let columns = [(900, 0), (600, 0), (1_200, 0), (900, 600)];
    let rows = [(1, [1, 1, 1, 2]), (2, [2, 3, 1, 3]), (3, [3, 4, 2, 4]), (4, [4, 5, 3, 6]), (6, [6, 7, 5, 8])];
    for (mean, kept) in rows {
        for ((kitchen, left), kept) in columns.into_iter().zip(kept) {
            let best = solve(&keeping(20, 2_000, f64::from(mean), kitchen, left)).best;
            assert_eq!(20 - best.choice.kitchen, kept, "KEEP-{mean}-{kitchen}-{left}");
        }
    }
}

/// Gallego, IEOR 4601 Homework 1, problem 1, Columbia, Spring 2013 (inputs `source`, answers `computed`): 100 bagels at 0.90 now, or as
/// sandwiches at 1.50 later, Poisson(100). The kitchen stands for those who buy now, who are sure to come in the first two rows.
#[test]
fn littlewood() {
    let problem = keeping(100, 150, 100.0, 90, 0);
    let best = solve(&problem).best;
    assert_eq!(100 - best.choice.kitchen, 97, "LW-1");
    near("LW-2 at 97", best.total / 100.0, 144.232229, 1e-6);
    let at = |kitchen| outlook(&problem, &Choice { kitchen, ..Choice::default() }).total / 100.0;
    near("LW-2 at 98", at(2), 144.221163, 1e-6);
    // LW-2 at 0 is 90.000010: the hundredth part of a cent is the sandwich made of what Poisson(150) leaves over, whom the kitchen takes.
    near("LW-2 at 0", at(100), 90.0, 1e-6);
    // LW-3 is of normal demand, which the program does not know.
}

/// AGE-1, `computed`: one old tray ending tonight, one new ending tomorrow, one customer expected each day; issued oldest first. The row's
/// other figures are of customers who take the freshest, which the counter does not let them.
#[test]
fn age_1() {
    let mut problem = ladder(2, 2, 0.0);
    problem.prices.truncate(1);
    problem.units[0].ends = 1;
    problem.units[1].ends = 2;
    let nothing = solve(&problem).nothing;
    near("AGE-1", nothing.whole.wasted_g / 1_000.0, 0.638550, 1e-6);
}

fn believed(n: usize, shape: f64, rate: f64, hours: f64) -> Problem {
    let mut problem = ladder(n, 1, 0.0);
    problem.demand = Demand::Believed(Belief { shape, rate });
    problem.stages[0].hours = hours;
    problem
}

/// GP-6, `computed`: P(no sale) with a rate ~ Gamma(21,6) and half an hour; with the mean in its place it would be less.
#[test]
fn gp_6() {
    near("GP-6", 1.0 - solve(&believed(1, 21.0, 6.0, 0.5)).nothing.sold[0], 0.186207, 1e-6);
    near("(6/6.5)^21", 1.0 - solve(&believed(1, 21.0, 6.0, 0.5)).nothing.sold[0], (6.0_f64 / 6.5).powi(21), 1e-12);
    let mut known = ladder(1, 1, 0.0);
    known.demand = Demand::Known(3.5);
    known.stages[0].hours = 0.5;
    near("GP-6, mean", 1.0 - solve(&known).nothing.sold[0], 0.173774, 1e-6);
}

/// GP-7, exact and `computed`: E min(n, D) for Gamma(2,1) and one hour, and for Poisson(2).
#[test]
fn gp_7() {
    let rows = [(0.75, 0.864665), (1.25, 1.458659), (1.5625, 1.781982), (1.75, 1.924859)];
    for (n, (belief, known)) in (1..).zip(rows) {
        near("GP-7", solve(&believed(n, 2.0, 1.0, 1.0)).nothing.whole.sold_units, belief, 1e-12);
        let problem = Problem { demand: Demand::Known(2.0), ..ladder(n, 1, 0.0) };
        near("GP-7, mean", solve(&problem).nothing.whole.sold_units, known, 1e-6);
    }
}

/// GP-4 and GP-5, `computed` from the inputs of Albert, LearnBayes, chapter 3.3 (`source`): prior predictive chances of 0, 1, 2 …; and TRAP-10:
/// the posterior predictive ones are others. GP-1 to GP-3, GP-8 and GP-9 are about learning the belief, which is `demand`'s.
#[test]
fn gp_4_and_5() {
    let chance = |shape: f64, rate: f64, hours: f64, k: usize| {
        let sold = solve(&believed(8, shape, rate, hours)).nothing.sold;
        if k == 0 { 1.0 - sold[0] } else { sold[k - 1] - sold[k] }
    };
    for (k, expected) in [0.932914, 0.064643, 0.002380].into_iter().enumerate() {
        near("GP-4", chance(16.0, 15_174.0, 66.0, k), expected, 1e-6);
    }
    for (k, expected) in [0.171623, 0.286414, 0.253928, 0.158913, 0.078732, 0.032848].into_iter().enumerate() {
        near("GP-5", chance(16.0, 15_174.0, 1_767.0, k), expected, 1e-6);
    }
    near("TRAP-10, hospital A", chance(17.0, 15_240.0, 66.0, 0), 0.9292, 5e-5);
    near("TRAP-10, hospital B", chance(20.0, 16_941.0, 1_767.0, 0), 0.1375, 5e-5);
}

/// Five units, one review, list demand 1, what is left worth 6.
fn five(elasticity: f64) -> Problem {
    Problem { elasticity, ..ladder(5, 1, 6.0) }
}

/// EL-1 to EL-4, `computed`: elasticity; totals at 20, 16, 12; the best price.
#[test]
fn el() {
    let rows = [
        (1.0, [43.9904, 42.1944, 38.9183], 0),
        (2.0, [43.9904, 44.8639, 43.1323], 1),
        (3.0, [43.9904, 48.0765, 48.7048], 2),
        (4.0, [43.9904, 51.8871, 54.6107], 2),
    ];
    for (elasticity, totals, best) in rows {
        let solution = solve(&five(elasticity));
        let shown = [&solution.wait].into_iter().chain(&solution.prices).map(|outlook| outlook.total / 100.0);
        for (got, expected) in shown.zip(totals) {
            near(&format!("EL-{elasticity}"), got, expected, 1e-4);
        }
        assert_eq!(solution.best.choice.price.unwrap_or(0), best, "EL-{elasticity}");
    }
}

/// What hangs on the elasticity can be told: at 2 the best is the first step (EL-2), at 1 to leave alone (EL-1), at 3 the second (EL-3).
#[test]
fn the_choice_is_held_against_a_lower_and_a_higher_elasticity() {
    let best = solve(&five(2.0)).best.choice;
    let wide = Leaning::of(&five(2.0), 1.0, 3.0);
    assert_eq!((wide.low.price, wide.high.price), (None, Some(2)));
    assert!(!wide.stays(&best) && Leaning::of(&five(2.0), 1.9, 2.1).stays(&best));
}

/// EXP-1 to EXP-3, `computed`: price; sold, left, revenue, kitchen, total, P(sell-out); EXP-4: all to the kitchen.
#[test]
fn exp() {
    let solution = solve(&five(2.0));
    let rows = [
        ("EXP-1", &solution.wait, [0.9993, 4.0007, 19.9862, 24.0041, 43.9904, 0.0037]),
        ("EXP-2", &solution.prices[0], [1.4864, 3.5136, 23.7823, 21.0817, 44.8639, 0.0182]),
        ("EXP-3", &solution.prices[1], [2.1887, 2.8113, 26.2645, 16.8677, 43.1323, 0.0753]),
    ];
    for (id, outlook, expected) in rows {
        let left = outlook.today.left_units;
        let revenue = outlook.today.revenue / 100.0;
        let got = [outlook.today.sold_units, left, revenue, left * 6.0, outlook.total / 100.0, outlook.sells_out_today];
        for (got, expected) in got.into_iter().zip(expected) {
            near(id, got, expected, 1e-4);
        }
    }
    let mut problem = five(2.0);
    problem.kitchen_cents_per_kg = 600;
    let all = outlook(&problem, &Choice { kitchen: 5, ..Choice::default() });
    let got = [all.today.sold_units, all.today.left_units, all.today.kitchen / 100.0, all.total / 100.0];
    assert_eq!(got, [0.0, 0.0, 30.0, 30.0], "EXP-4");
    assert_eq!(solution.best.choice.price, Some(1), "EXP-2 is the best");
}

/// BE-20, BE-40, BE-50, `computed`: by how much units must rise for a discount to pay, with a kitchen worth none, 0.30 and 0.45 of the list
/// price, while stock is not binding. Demand that rises by a little less keeps its price, by a little more is marked down.
#[test]
fn be() {
    let rows = [(0.2, [1.25, 1.40, 1.5714]), (0.4, [1.6667, 2.3333, 3.6667]), (0.5, [2.0, 3.5, 11.0])];
    for (discount, factors) in rows {
        for (kitchen, factor) in [0.0, 6.0, 9.0].into_iter().zip(factors) {
            let chosen = |rise: f64| {
                let mut problem = ladder(60, 1, kitchen);
                problem.prices = vec![2_000, 2_000 - (2_000.0 * discount) as i64];
                problem.elasticity = (factor * rise).ln() / discount;
                solve(&problem).best.choice.price
            };
            assert_eq!((chosen(0.9995), chosen(1.0005)), (None, Some(1)), "BE at {discount}, kitchen {kitchen}");
        }
    }
}

/// SPF-1 to SPF-6 (OpenStax, Principles of Accounting Vol. 2, §10.5; inputs `source`, answers `computed` or printed, exact): sell as it is or
/// process further. As it is: what it sells for, to customers who are sure to come. Processed: what it sells for less what that costs. What it
/// has cost before appears nowhere.
#[test]
fn spf() {
    let rows = [
        ("SPF-1", 4_000 * 300, 4_000 * (650 - 280), 280_000),
        ("SPF-2", 6_000 * 250, 6_000 * (750 - 300), 1_200_000),
        ("SPF-3", 90_000_000, 100_000 * (1_500 - 285) - 8_500_000, 23_000_000),
        ("SPF-4", 200_000 * (110 - 30), 100_000 * (350 - 60) - 20_000_000, -7_000_000),
        ("SPF-5 yogurt", 800_000, 1_100_000 - 200_000, 100_000),
        ("SPF-5 ice cream", 1_200_000, 1_800_000 - 700_000, -100_000),
        ("SPF-6 cream", 900_000, 1_400_000 - 300_000, 200_000),
        ("SPF-6 milk", 1_400_000, 2_000_000 - 900_000, -300_000),
    ];
    for (id, as_it_is, processed, gain) in rows {
        // Ten units of 100 kg.
        let mut problem = keeping(10, as_it_is / 1_000, 500.0, processed / 1_000, 0);
        problem.units.iter_mut().for_each(|unit| unit.grams = 100_000);
        let solution = solve(&problem);
        assert_eq!(solution.best.choice.kitchen, if gain > 0 { 10 } else { 0 }, "{id}");
        near(id, solution.kitchen.map_or(0.0, |all| all.total) - solution.nothing.total, gain as f64, 1e-3);
    }
}

/// A tray whose price is lower already sells faster, and the next customer finds the next tray's own price: the chances of two trays in closed
/// form, P(both) = 1 - e^-a - (a/(a-b)) (e^-b - e^-a) for a the rate of the first and b that of the second (sum of two waits, `memory`).
#[test]
fn trays_of_two_prices() {
    let mut problem = ladder(2, 1, 0.0);
    problem.units[0] = Unit { price: 1_200, ..problem.units[0] };
    problem.stages[0] = Stage { hours: 1.3, ..problem.stages[0] };
    let (a, b) = (1.3 * 0.8_f64.exp(), 1.3_f64);
    let nothing = solve(&problem).nothing;
    near("the first", nothing.sold[0], 1.0 - (-a).exp(), 1e-12);
    near("both", nothing.sold[1], 1.0 - (-a).exp() - a / (a - b) * ((-b).exp() - (-a).exp()), 1e-12);
    near("revenue", nothing.whole.revenue, 1_200.0 * nothing.sold[0] + 2_000.0 * nothing.sold[1], 1e-9);
}
