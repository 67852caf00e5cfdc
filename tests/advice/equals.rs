//! Where choices are worth the same, and where little decides: the order among equals, a kitchen that is filled to the gram, a sell-out that a
//! later kitchen breaks, a long way to what is worth something.

use crate::ground::{ladder, near};
use sakudana::domain::advice::program::{outlook, solve};
use sakudana::domain::advice::{Choice, Demand, Freezer, Problem, Unit};

/// Nobody comes, and what is left is worth what the kitchen pays, now or later: nothing is done, ever.
#[test]
fn among_equals_nothing_is_done() {
    let mut problem = Problem { demand: Demand::Known(0.0), kitchen_cents_per_kg: 600, ..ladder(4, 3, 6.0) };
    problem.stages.iter_mut().for_each(|stage| stage.kitchen_g = 2_000);
    let best = solve(&problem).best;
    assert_eq!(best.choice, Choice::default());
    assert_eq!((best.whole.kitchen_g, best.whole.left_g), (0.0, 4_000.0));
}

/// The freezer pays what the kitchen does: fewer to the kitchen is preferred to fewer to the freezer.
#[test]
fn among_equals_less_goes_to_the_kitchen() {
    let mut problem = Problem { demand: Demand::Known(0.0), kitchen_cents_per_kg: 600, ..ladder(2, 1, 0.0) };
    problem.stages[0].kitchen_g = 1_000;
    problem.reaches = vec![1, 2];
    problem.freezer = Some(Freezer { cents_per_kg: 600, first: 0 });
    assert_eq!(solve(&problem).best.choice, Choice { freeze: 2, ..Choice::default() });
}

/// A kitchen with room for exactly two units takes two, now and at the next review.
#[test]
fn the_kitchen_is_filled_to_the_gram() {
    let mut problem = Problem { demand: Demand::Known(0.0), kitchen_cents_per_kg: 600, ..ladder(5, 2, 0.0) };
    problem.stages.iter_mut().for_each(|stage| stage.kitchen_g = 2_000);
    let best = solve(&problem).best;
    assert_eq!((best.choice.kitchen, best.whole.kitchen_g, best.total), (2, 4_000.0, 2_400.0));
}

/// What the kitchen takes at three is not sold: all are sold out today only where both were before. Exact: 1 - 2/e for two units and one
/// customer expected.
#[test]
fn what_the_kitchen_takes_later_is_not_sold_out() {
    let mut problem = Problem { kitchen_cents_per_kg: 1_990, ..ladder(2, 2, 0.0) };
    problem.stages[1].kitchen_g = 2_000;
    let alone = outlook(&problem, &Choice::default());
    near("both before three", alone.sells_out_today, 1.0 - 2.0 * (-1.0_f64).exp(), 1e-12);
    near("the others to the kitchen", alone.today.kitchen_g + alone.today.sold_g, 2_000.0, 1e-9);
}

/// Thirty worthless units in front of a dear one. A lower price of the first changes nothing for the next thirty customers, and everything for
/// those after them.
#[test]
fn a_long_way_is_seen_to_its_end() {
    let unit = |tray| match tray {
        0 => Unit { grams: 1, price: 2_000, ends: 2, tray },
        30 => Unit { grams: 100_000, price: 2_000, ends: 2, tray },
        _ => Unit { grams: 1, price: 0, ends: 2, tray },
    };
    let mut problem = ladder(31, 1, 0.0);
    problem.units = (0..31).map(unit).collect();
    problem.prices = vec![2_000, 0];
    problem.reaches = vec![1, 31];
    problem.elasticity = 4.0;
    problem.demand = Demand::Known(1.5);
    let best = solve(&problem).best;
    assert_eq!((best.choice.price, best.choice.reach), (Some(1), 1));
}
