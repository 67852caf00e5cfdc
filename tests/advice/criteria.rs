//! Which criterion for a review (2 of the reference): the program against a rule of thumb, one price, a schedule fixed in the morning, and
//! prices that may rise. CRIT-S1 and CRIT-S2 are findings of other shops, not about the program.

use crate::ground::{ladder, near};
use crate::textbook::{Prices, l1};
use sakudana::domain::advice::program::solve;
use sakudana::domain::advice::{Demand, Problem};

const FALLING: [[usize; 3]; 10] =
    [[0, 0, 0], [0, 0, 1], [0, 0, 2], [0, 1, 1], [0, 1, 2], [0, 2, 2], [1, 1, 1], [1, 1, 2], [1, 2, 2], [2, 2, 2]];

struct Cell {
    rule: f64,
    one_price: (f64, usize),
    schedule: (f64, [usize; 3]),
    program: f64,
    free: f64,
}

fn cell(demand: f64, n: usize, left: f64) -> Cell {
    let textbook = l1(n, demand, 3, left, Prices::Free);
    let better = |one: f64, other: f64| one > other + 1e-9;
    let (mut one_price, mut schedule) = ((f64::MIN, 0), (f64::MIN, [0; 3]));
    for steps in FALLING {
        let value = textbook.schedule(&steps);
        if better(value, schedule.0) {
            schedule = (value, steps);
        }
        if steps[0] == steps[2] && better(value, one_price.0) {
            one_price = (value, steps[0]);
        }
    }
    let problem = Problem { demand: Demand::Known(demand), ..ladder(n, 3, left) };
    let solution = solve(&problem);
    near(
        "leaving alone is the schedule of list prices",
        solution.nothing.total / 100.0,
        textbook.schedule(&[0; 3]),
        1e-9,
    );
    Cell {
        rule: textbook.schedule(&[0, 1, 2]),
        one_price,
        schedule,
        program: solution.best.total / 100.0,
        free: textbook.solve().value,
    }
}

/// CRIT-1 to CRIT-5, `computed`: worst and mean share of the program's value over 24 cells.
#[test]
fn crit_1_to_5() {
    let mut shares: [Vec<f64>; 4] = Default::default();
    for n in [2, 4, 6, 10] {
        for demand in [0.5, 1.0, 2.0] {
            for left in [0.0, 6.0] {
                let cell = cell(demand, n, left);
                assert!(cell.program >= cell.schedule.0 - 1e-9 && cell.schedule.0 >= cell.one_price.0 - 1e-9);
                assert!(cell.free >= cell.program - 1e-9);
                let of = [
                    cell.rule / cell.program,
                    cell.one_price.0 / cell.program,
                    cell.schedule.0 / cell.program,
                    cell.program / cell.free,
                ];
                shares.iter_mut().zip(of).for_each(|(all, share)| all.push(share));
            }
        }
    }
    let rows = [("CRIT-1", 0.881, 0.948), ("CRIT-2", 0.969, 0.994), ("CRIT-3", 0.985, 0.997), ("CRIT-5", 0.993, 0.999)];
    for ((id, worst, mean), shares) in rows.into_iter().zip(shares) {
        near(id, shares.iter().copied().fold(f64::MAX, f64::min), worst, 1e-3);
        near(id, shares.iter().sum::<f64>() / 24.0, mean, 1e-3);
    }
}

/// CRIT-6 to CRIT-9, `computed`: demand, n, s; rule, best single price, best schedule, program.
#[test]
fn crit_6_to_9() {
    let rows = [
        ("CRIT-6", (1.0, 4, 0.0), 55.0639, (54.4555, 1), (55.3653, [0, 1, 1]), 56.1972),
        ("CRIT-7", (1.0, 10, 0.0), 70.4010, (78.2998, 2), (78.2998, [2, 2, 2]), 78.2998),
        ("CRIT-8", (2.0, 4, 6.0), 69.8094, (76.7380, 0), (76.7380, [0, 0, 0]), 76.7380),
        ("CRIT-9", (0.5, 4, 0.0), 33.5788, (34.6419, 2), (34.9238, [1, 2, 2]), 35.1587),
    ];
    for (id, (demand, n, left), rule, one_price, schedule, program) in rows {
        let cell = cell(demand, n, left);
        near(id, cell.rule, rule, 1e-4);
        near(id, cell.one_price.0, one_price.0, 1e-4);
        near(id, cell.schedule.0, schedule.0, 1e-4);
        near(id, cell.program, program, 1e-4);
        assert_eq!(cell.one_price.1, one_price.1, "{id}");
        assert_eq!(cell.schedule.1, schedule.1, "{id}");
    }
}
