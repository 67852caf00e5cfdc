//! Periodic review with a ladder (1.2 of the reference), by the program and by the textbook's algorithm.

use crate::ground::{ladder, near};
use crate::textbook::{Prices, Textbook, l1};
use sakudana::domain::advice::program::{outlook, solve};
use sakudana::domain::advice::{Choice, Problem, Stage, Unit};

/// Table 2, rows LAD-L1-n, `computed`: n; V, first price, E sold, free V at s = 0; V, first price, E sold at s = 6.
const LAD_L1: [(usize, (f64, i64, f64), f64, (f64, i64, f64)); 5] = [
    (1, (19.004259, 20, 0.950213), 19.004259, (19.302981, 20, 0.950213)),
    (2, (35.224882, 20, 1.794116), 35.224882, (36.514905, 20, 1.751065)),
    (4, (56.197199, 20, 3.266177), 56.208272, (61.727646, 20, 2.860148)),
    (6, (67.809806, 16, 4.696123), 68.004723, (78.204947, 20, 3.687398)),
    (8, (73.980579, 16, 5.557924), 74.777480, (92.099924, 16, 4.409992)),
];

#[test]
fn lad_l1() {
    for (n, without, free, with) in LAD_L1 {
        for (left, (value, price, sold)) in [(0.0, without), (6.0, with)] {
            let problem = ladder(n, 3, left);
            let best = solve(&problem).best;
            near(&format!("LAD-L1-{n} at {left}: V"), best.total / 100.0, value, 1e-6);
            near(&format!("LAD-L1-{n} at {left}: sold"), best.whole.sold_units, sold, 1e-6);
            assert_eq!(problem.prices[best.choice.price.unwrap_or(0)], price * 100, "LAD-L1-{n} at {left}");
            let textbook = l1(n, 1.0, 3, left, Prices::NeverRaised).solve();
            near("the textbook's V", textbook.value, value, 1e-6);
            near("the textbook's sold", textbook.sold_units, sold, 1e-6);
        }
        let textbook = l1(n, 1.0, 3, 0.0, Prices::Free).solve();
        near(&format!("LAD-L1-{n}: free V"), textbook.value, free, 1e-6);
        assert!(
            solve(&ladder(n, 3, 0.0)).best.total / 100.0 <= textbook.value + 1e-9,
            "never raised is never more than free"
        );
    }
}

/// A higher value in the kitchen delays the markdown: LAD-L1-6, `computed`.
#[test]
fn a_better_kitchen_delays_the_markdown() {
    assert_eq!(solve(&ladder(6, 3, 0.0)).best.choice.price, Some(1));
    assert_eq!(solve(&ladder(6, 3, 6.0)).best.choice.price, None);
}

/// Table 3, rows LAD-BF-s-n, `computed`: s, n, V, first price, step at review 2 by stock left 1..n, free V.
#[test]
fn lad_bf() {
    let rows: [(f64, usize, f64, usize, &[i64], f64); 4] = [
        (0.0, 1, 17.293294, 0, &[20], 17.293294),
        (0.0, 2, 29.726590, 0, &[20, 16], 29.726590),
        (0.0, 4, 43.367856, 1, &[16, 16, 12, 12], 43.397956),
        (6.0, 3, 43.081105, 0, &[20, 20, 16], 43.081105),
    ];
    for (left, n, value, first, second, free) in rows {
        let best = solve(&ladder(n, 2, left)).best;
        near(&format!("LAD-BF-{left}-{n}"), best.total / 100.0, value, 1e-6);
        assert_eq!(best.choice.price.unwrap_or(0), first, "LAD-BF-{left}-{n}");
        near("free", l1(n, 1.0, 2, left, Prices::Free).solve().value, free, 1e-6);
        // What is left at review 2 is a problem of one stage, whose prices have fallen to the first.
        for (left_over, price) in (1..=n).zip(second) {
            let mut later = ladder(left_over, 1, left);
            later.units.iter_mut().for_each(|unit| unit.price = later.prices[first]);
            let step = solve(&later).best.choice.price.unwrap_or(first);
            assert_eq!(later.prices[step], price * 100, "LAD-BF-{left}-{n} with {left_over} left");
        }
    }
}

/// LAD-RD-2, `computed`: the kitchen pays 9/7/6 at reviews 0/1/2. In the program the kitchen's value does not change from day to day, so the
/// row is the textbook's, which agrees with the program elsewhere.
#[test]
fn lad_rd() {
    let rd = |n: usize| {
        let redirect = [9.0, 7.0, 6.0].map(Some).to_vec();
        Textbook { redirect, ..l1(n, 1.0, 3, 0.0, Prices::NeverRaised) }.solve()
    };
    let row = rd(2);
    near("LAD-RD-2: V", row.value, 35.224882, 1e-6);
    near("LAD-RD-2: sold", row.sold_units, 1.794116, 1e-6);
    near("LAD-RD-2: left", 2.0 - row.sold_units - row.redirected_units, 0.205884, 1e-6);
    assert_eq!((row.step, row.redirected), (0, 0));
    // LAD-RD-S: beyond what is worth keeping, each further unit is worth what the kitchen pays now.
    for n in 8..12 {
        near("LAD-RD-S", rd(n + 1).value - rd(n).value, 9.0, 1e-9);
        assert_eq!(rd(n + 1).redirected, rd(n).redirected + 1, "LAD-RD-S at {n}");
    }
}

/// LAD-RD-S with the program: a kitchen that pays 9 today and has room for all.
#[test]
fn beyond_what_is_worth_keeping_each_unit_goes_to_the_kitchen() {
    let asked = |n: usize| {
        let mut problem = ladder(n, 3, 0.0);
        problem.stages[0].kitchen_g = 1_000_000;
        problem.kitchen_cents_per_kg = 900;
        solve(&problem).best
    };
    for n in 8..12 {
        near("one more", asked(n + 1).total - asked(n).total, 900.0, 1e-9);
        assert_eq!(asked(n + 1).choice.kitchen, asked(n).choice.kitchen + 1, "with {n}");
    }
}

/// The instance of table 5.
fn pointer(residual: i64) -> Problem {
    let units = [(310, 1), (180, 1), (275, 2), (420, 2), (260, 3)].into_iter().enumerate();
    Problem {
        units: units.map(|(tray, (grams, ends))| Unit { grams, price: 6_000, ends, tray }).collect(),
        prices: vec![6_000, 4_800, 3_600],
        reaches: vec![5],
        waste_cents_per_kg: -residual * 100,
        ..ladder(5, 3, 0.0)
    }
}

fn textbook_pointer(residual: f64, redirect: Vec<Option<f64>>) -> Textbook {
    Textbook {
        weights: vec![0.310, 0.180, 0.275, 0.420, 0.260],
        ends: vec![1, 1, 2, 2, 3],
        prices: vec![60.0, 48.0, 36.0],
        residual,
        redirect,
        ..l1(5, 1.0, 3, 0.0, Prices::NeverRaised)
    }
}

/// Table 5, rows PTR-1 to PTR-3, `computed`: residual, V, first price, grams sold and expired.
#[test]
fn ptr() {
    let rows = [
        ("PTR-1", 18, 56.503763, 6_000, 726.0420, 718.9580),
        ("PTR-2", 0, 46.961507, 4_800, 978.3647, 466.6353),
        ("PTR-3", -2, 46.028236, 4_800, 978.3647, 466.6353),
    ];
    for (id, residual, value, price, sold, expired) in rows {
        let problem = pointer(residual);
        let best = solve(&problem).best;
        near(id, best.total / 100.0, value, 1e-6);
        near(id, best.whole.sold_g, sold, 1e-4);
        near(id, best.whole.wasted_g, expired, 1e-4);
        assert_eq!(problem.prices[best.choice.price.unwrap_or(0)], price, "{id}");
        let textbook = textbook_pointer(residual as f64, vec![None; 3]).solve();
        near(id, textbook.value, value, 1e-6);
        near(id, textbook.expired_kg * 1_000.0, expired, 1e-4);
    }
}

/// PTR-4, `computed`: the kitchen pays 27/22/18 by review: the textbook's row, as LAD-RD.
#[test]
fn ptr_4() {
    let answer = textbook_pointer(0.0, [27.0, 22.0, 18.0].map(Some).to_vec()).solve();
    near("PTR-4", answer.value, 56.369709, 1e-6);
    near("PTR-4 sold", answer.sold_kg * 1_000.0, 681.9006, 1e-4);
    near("PTR-4 expired", answer.expired_kg * 1_000.0, 171.9325, 1e-4);
    near("PTR-4 redirected", answer.redirected_kg * 1_000.0, 591.1668, 1e-4);
    assert_eq!((answer.step, answer.redirected), (0, 2));
}

/// PTR-5, `computed`: what each first price of PTR-1 is worth.
#[test]
fn ptr_5() {
    let solution = solve(&pointer(18));
    near("PTR-5 at 60", outlook(&pointer(18), &Choice::default()).total / 100.0, 56.503763, 1e-6);
    let others: Vec<f64> = solution.prices.iter().map(|outlook| outlook.total / 100.0).collect();
    near("PTR-5 at 48", others[0], 55.360942, 1e-6);
    near("PTR-5 at 36", others[1], 47.942436, 1e-6);
    let textbook = textbook_pointer(18.0, vec![None; 3]).solve().by_price;
    for (got, expected) in textbook.into_iter().zip([56.503763, 55.360942, 47.942436]) {
        near("PTR-5", got, expected, 1e-6);
    }
}

/// LAD-CX, `computed`: one review, prices 20 (demand 1) and 7 (demand 20). The value is not concave in stock: nothing here may rest on that.
#[test]
fn lad_cx() {
    let values = [0.0, 12.642411, 17.927234, 20.999996, 27.999974, 34.999855, 41.999352];
    let asked = |n: usize| {
        let mut problem = ladder(n, 1, 0.0);
        problem.prices = vec![2_000, 700];
        problem.elasticity = 20.0_f64.ln() / (1.0 - 0.35);
        solve(&problem).best.total / 100.0
    };
    for (n, value) in values.into_iter().enumerate() {
        near(&format!("LAD-CX with {n}"), asked(n), value, 1e-6);
    }
    let gain = |n: usize| asked(n) - asked(n - 1);
    assert!(gain(4) > gain(3) + 3.0, "the fourth unit brings more than the third");
}

/// The program and the textbook's algorithm where both apply: one price for all, Poisson, a kitchen with room for all at every review.
#[test]
fn the_textbook_agrees() {
    let mut dice = crate::ground::Dice::new(11);
    for round in 0..60 {
        let n = 1 + dice.below(14);
        let stages = 1 + dice.below(5);
        let mut ends: Vec<usize> = (0..n).map(|_| 1 + dice.below(stages + 1)).collect();
        ends.sort_unstable();
        let weights: Vec<usize> = (0..n).map(|_| 100 + dice.below(900)).collect();
        let kitchen = dice.below(3) * 400;
        let waste = dice.below(3) * 100;
        let rate = 0.2 + dice.unit() * 4.0;
        let hours: Vec<f64> = (0..stages).map(|_| dice.unit() * 2.0).collect();
        let problem = Problem {
            units: (0..n)
                .map(|at| Unit { grams: weights[at] as i64, price: 2_000, ends: ends[at], tray: at })
                .collect(),
            stages: hours
                .iter()
                .map(|hours| Stage { hours: *hours, review: true, kitchen_g: kitchen as i64 * 1_000 })
                .collect(),
            demand: sakudana::domain::advice::Demand::Known(rate),
            kitchen_cents_per_kg: kitchen as i64,
            waste_cents_per_kg: waste as i64,
            left_cents_per_kg: 300,
            ..ladder(n, stages, 0.0)
        };
        let mean = |hours: &f64| [1.0, 0.4_f64.exp(), 0.8_f64.exp()].map(|times| times * rate * hours).to_vec();
        let textbook = Textbook {
            weights: weights.iter().map(|grams| *grams as f64 / 1_000.0).collect(),
            ends,
            prices: vec![2_000.0, 1_600.0, 1_200.0],
            means: hours.iter().map(mean).collect(),
            residual: -(waste as f64),
            left: 300.0,
            redirect: vec![(kitchen > 0).then_some(kitchen as f64); stages],
            rule: Prices::NeverRaised,
        };
        let (best, answer) = (solve(&problem).best, textbook.solve());
        let within = 1e-9 * (1.0 + answer.value.abs());
        near(&format!("round {round}"), best.total, answer.value, within);
        assert_eq!(
            (best.choice.price.unwrap_or(0), best.choice.kitchen),
            (answer.step, answer.redirected),
            "round {round}"
        );
        near("sold", best.whole.sold_g, answer.sold_kg * 1_000.0, 1e-6);
        near("expired", best.whole.wasted_g, answer.expired_kg * 1_000.0, 1e-6);
        near("kitchen", best.whole.kitchen_g, answer.redirected_kg * 1_000.0, 1e-6);
    }
}

/// The price is not monotone in stock either (LAD-S3: Bitran and Wadhwa 1996, `source`): as LAD-CX with a short stage before it and a price for
/// the first tray alone. With three trays the first is marked down at once, with four it is not.
#[test]
fn more_stock_may_ask_for_a_higher_price() {
    let asked = |n: usize| {
        let mut problem = ladder(n, 2, 0.0);
        problem.stages[0].hours = 0.1;
        problem.prices = vec![2_000, 700];
        problem.elasticity = 20.0_f64.ln() / (1.0 - 0.35);
        problem.reaches = vec![1, n];
        let solution = solve(&problem);
        (solution.best.choice.price, solution.best.total - solution.wait.total)
    };
    let (three, gain) = asked(3);
    assert!(three == Some(1) && gain > 9.0, "three: {three:?} gains {gain}");
    assert_eq!(asked(4).0, None);
}
