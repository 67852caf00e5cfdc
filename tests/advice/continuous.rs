//! Continuous time (1.1 of the reference): n identical units, customers of rate a e^(-p/alpha), prices free. The program comes to it with
//! a fine ladder, many reviews, and a price for each unit alone, so that the next one may be dearer again.

use crate::ground::{ladder, near};
use sakudana::domain::advice::program::solve;
use sakudana::domain::advice::{Choice, Demand, Outlook, Problem, Stage};

/// Minor units that stand for alpha.
const ALPHA: f64 = 1_000.0;
const N: [usize; 4] = [1, 2, 3, 5];

/// S_n(x) of the reference.
fn s(n: usize, x: f64) -> f64 {
    (0..=n).map(|i| (1..=i).map(|k| x / k as f64).product::<f64>()).sum()
}

/// GVR-F2 and F5: the value, at a kitchen value v, in alphas.
fn value(n: usize, x: f64, v: f64) -> f64 {
    n as f64 * v + s(n, x * (-v).exp()).ln()
}

/// GVR-F3 and F5: the price.
fn price(n: usize, x: f64, v: f64) -> f64 {
    let y = x * (-v).exp();
    v + 1.0 + (s(n, y) / s(n - 1, y)).ln()
}

/// GVR-F7: expected sold.
fn sold(n: usize, x: f64, v: f64) -> f64 {
    let y = x * (-v).exp();
    y * s(n - 1, y) / s(n, y)
}

/// GVR-F8: the chance to sell out, Erlang's B.
fn sells_out(n: usize, x: f64) -> f64 {
    (1..=n).map(|k| x / k as f64).product::<f64>() / s(n, x)
}

/// So many reviews, a ladder from `top` alphas down in steps of `step`.
fn fine(n: usize, x: f64, v: f64, reviews: usize, (top, bottom, step): (f64, f64, f64)) -> Problem {
    let steps = ((top - bottom) / step).round() as i64;
    let prices: Vec<i64> = (0..=steps).map(|at| ((top - step * at as f64) * ALPHA).round() as i64).collect();
    let mut problem = ladder(n, reviews, 0.0);
    problem.units.iter_mut().for_each(|unit| unit.price = prices[0]);
    problem.prices = prices;
    problem.reaches = (1..=n).collect();
    // x is (a/e) t, and at list customers come at a e^-top.
    problem.demand = Demand::Known(x * (1.0 - top).exp());
    problem.elasticity = top;
    problem.stages = vec![Stage { hours: 1.0 / reviews as f64, review: true, kitchen_g: 0 }; reviews];
    problem.left_cents_per_kg = (v * ALPHA).round() as i64;
    problem
}

/// Tables 1a, 1b and 1c, `computed`: GVR-J-n-x, GVR-P-n-x, GVR-S-n-x for x = 0.5, 1, 2, 8.
const X: [f64; 4] = [0.5, 1.0, 2.0, 8.0];
const TABLE_J: [[f64; 4]; 4] = [
    [0.405465, 0.693147, 1.098612, 2.197225],
    [0.485508, 0.916291, 1.609438, 3.713572],
    [0.498247, 0.980829, 1.845827, 4.838924],
    [0.499986, 0.999406, 1.983298, 6.345753],
];
const TABLE_P: [[f64; 4]; 4] = [
    [1.405465, 1.693147, 2.098612, 3.197225],
    [1.080043, 1.223144, 1.510826, 2.516347],
    [1.012739, 1.064539, 1.236389, 2.125352],
    [1.000158, 1.003072, 1.037388, 1.652021],
];
const TABLE_S: [[f64; 4]; 4] = [
    [0.333333, 0.500000, 0.666667, 0.888889],
    [0.461538, 0.800000, 1.200000, 1.756098],
    [0.493671, 0.937500, 1.578947, 2.596306],
    [0.499921, 0.996933, 1.926606, 4.167934],
];
/// Table 1d, `computed`: GVR-V-n-x at v = 0.5 for x = 1, 4, 8: value, price, sold.
const TABLE_V: [[(f64, f64, f64); 3]; 4] = [
    [(0.974077, 1.974077, 0.377541), (1.731429, 2.731429, 0.708125), (2.266825, 3.266825, 0.829125)],
    [(1.582478, 1.608401, 0.544220), (2.851467, 2.120038, 1.305069), (3.869284, 2.602458, 1.611207)],
    [(2.103036, 1.520557, 0.594189), (3.668964, 1.817496, 1.766143), (5.101818, 2.232534, 2.332422)],
    [(3.106489, 1.500373, 0.606304), (4.888143, 1.566463, 2.270118), (6.908872, 1.818501, 3.528738)],
];

/// Every cell of a table: n, x, v, value, price, sold.
fn cells() -> Vec<(usize, f64, f64, f64, f64, f64)> {
    let mut all = Vec::new();
    for (row, n) in N.into_iter().enumerate() {
        for (column, x) in X.into_iter().enumerate() {
            all.push((n, x, 0.0, TABLE_J[row][column], TABLE_P[row][column], TABLE_S[row][column]));
        }
        for (column, x) in [1.0, 4.0, 8.0].into_iter().enumerate() {
            let (value, price, sold) = TABLE_V[row][column];
            all.push((n, x, 0.5, value, price, sold));
        }
    }
    all
}

#[test]
fn the_closed_form_gives_the_tables() {
    for (n, x, v, j, p, sells) in cells() {
        near(&format!("GVR-J or V, {n}, {x}"), value(n, x, v), j, 1e-6);
        near(&format!("GVR-P or V, {n}, {x}"), price(n, x, v), p, 1e-6);
        near(&format!("GVR-S or V, {n}, {x}"), sold(n, x, v), sells, 1e-6);
    }
    // GVR-C2, exact: n = 2, x = 1: waste 1.2, chance to sell out 0.2.
    near("GVR-C2", 2.0 - sold(2, 1.0, 0.0), 1.2, 1e-12);
    near("GVR-C2", sells_out(2, 1.0), 0.2, 1e-12);
}

fn limit(n: usize, x: f64, v: f64, reviews: usize) -> (Problem, Outlook) {
    // Around the best prices there are, which lie between v + 1 and the best price of a single unit now.
    let problem = fine(n, x, v, reviews, (price(1, x, v) + 0.2, v + 0.9, 0.1));
    let best = solve(&problem).best;
    (problem, best)
}

/// All cells with the program: always below, and with twice the reviews nearer, by about a half of what was missing.
#[test]
fn the_program_comes_to_the_closed_form() {
    for (n, x, v, j, p, sells) in cells() {
        let id = format!("GVR at n {n}, x {x}, v {v}");
        let [few, many] = [12, 24].map(|reviews| limit(n, x, v, reviews).1.total / ALPHA);
        let (problem, best) = limit(n, x, v, 24);
        assert!(few < many + 1e-9 && many < j, "{id}: {few}, {many}, not above {j}");
        near(&id, many, j, 0.02 * j);
        // What is missing falls with 1/reviews, but for the steps of the ladder: half a step off costs (0.05)^2/2 of the revenue.
        near(&id, 2.0 * many - few, j, 0.004 * j);
        let first = problem.prices[best.choice.price.unwrap_or(0)] as f64 / ALPHA;
        near(&id, first, p, 0.16);
        near(&id, best.whole.sold_units, sells, 0.06 * sells + 0.02);
    }
}

/// GVR-F6, F8 and GVR-C2 in the limit: how likely so many are sold, as a truncated Poisson distribution.
#[test]
fn the_number_sold_is_a_truncated_poisson() {
    let (n, x) = (3, 2.0);
    let best = limit(n, x, 0.0, 48).1;
    for k in 0..n {
        let at_least: f64 = (k + 1..=n).map(|k| (1..=k).map(|i| x / i as f64).product::<f64>() / s(n, x)).sum();
        near(&format!("at least {}", k + 1), best.sold[k], at_least, 0.015);
    }
    near("Erlang's B", best.sells_out_today, sells_out(n, x), 0.015);
}

/// GVR-C1, `computed`: at most one sale in each of M steps, free price, n = 3, x = 2; the error falls with 1/M. It is another way to the
/// same limit, written out here: the best price of a step is alpha + the difference of values.
#[test]
fn gvr_c1() {
    for (steps, expected) in [(10, 1.887554), (100, 1.849850), (1_000, 1.846228), (10_000, 1.845867)] {
        let mut values = [0.0_f64; 4];
        for _ in 0..steps {
            let before = values;
            for n in 1..4 {
                values[n] += 2.0 / f64::from(steps) * (before[n - 1] - before[n]).exp();
            }
        }
        near(&format!("GVR-C1 with {steps}"), values[3], expected, 1e-6);
    }
}

/// The best single price, by the program with a ladder of one price each.
fn single(n: usize, x: f64) -> (f64, f64) {
    let at = |price: i64| {
        let mut problem = fine(n, x, 0.0, 1, (price as f64 / ALPHA, price as f64 / ALPHA, 1.0));
        problem.reaches = vec![n];
        (solve(&problem).nothing.total / ALPHA, price as f64 / ALPHA)
    };
    let coarse = (20..80)
        .map(|tenth| at(tenth * 50))
        .fold((0.0, 0.0), |best: (f64, f64), other| if other.0 > best.0 { other } else { best });
    let around = (coarse.1 * ALPHA) as i64;
    (around - 50..around + 50)
        .map(at)
        .fold((0.0, 0.0), |best: (f64, f64), other| if other.0 > best.0 { other } else { best })
}

/// GVR-C3 to C5, `computed`: the best single price against the optimum; GVR-F14 (`memory`): its bound.
#[test]
fn a_single_price() {
    let (value_1, price_1) = single(1, 8.0);
    near("GVR-C3", value_1, 2.0835, 5e-5);
    near("GVR-C3", price_1, 2.571, 1.5e-3);
    near("GVR-C3", value_1 / value(1, 8.0, 0.0), 0.948, 5e-4);
    near("GVR-C4", single(5, 8.0).0, 6.1129, 5e-5);
    near("GVR-C4", single(5, 8.0).0 / value(5, 8.0, 0.0), 0.963, 5e-4);
    for n in N {
        assert!(single(n, 0.5).0 / value(n, 0.5, 0.0) >= 0.994, "GVR-C5 with {n}");
        for x in [1.0, 8.0] {
            let bound = 1.0 - 0.5 / (n as f64).min(x).sqrt();
            assert!(single(n, x).0 / value(n, x, 0.0) >= bound, "GVR-F14 with {n}, {x}");
        }
    }
}

/// GVR-F9, `computed`: demand without chance is never worse.
#[test]
fn the_program_is_below_the_bound_without_chance() {
    for n in N {
        for x in X {
            let a_t = x * std::f64::consts::E;
            let price = 1.0_f64.max((a_t / n as f64).ln());
            let bound = price * (n as f64).min(a_t * (-price).exp());
            assert!(limit(n, x, 0.0, 12).1.total / ALPHA <= bound, "GVR-F9 at {n}, {x}");
        }
    }
}

/// GVR-F10, `computed`: all money three times as much: the value is, what is sold and what is chosen stays.
#[test]
fn money_scales() {
    let problem = fine(3, 2.0, 0.5, 6, (3.0, 1.2, 0.2));
    let mut dearer = problem.clone();
    dearer.units.iter_mut().for_each(|unit| unit.price *= 3);
    dearer.prices.iter_mut().for_each(|price| *price *= 3);
    dearer.left_cents_per_kg *= 3;
    let (one, other) = (solve(&problem).best, solve(&dearer).best);
    near("value", other.total, 3.0 * one.total, 1e-8);
    near("sold", other.whole.sold_units, one.whole.sold_units, 1e-12);
    assert_eq!(one.choice, other.choice);
    assert_ne!(one.choice, Choice::default());
}
