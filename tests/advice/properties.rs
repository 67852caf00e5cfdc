//! What must hold of every problem (the safe properties of 1.2 of the reference), and that a problem with a fault is met with an empty answer.
//! That the value is concave in stock, or the price monotone, is not among them: see `ladder`.

use proptest::prelude::{ProptestConfig, Strategy, any, prop, prop_assert, prop_assert_eq, proptest};
use sakudana::domain::advice::program::{Fault, fault, outlook, solve};
use sakudana::domain::advice::{Choice, Demand, Flow, Freezer, Outlook, Problem, Solution, Stage, Unit, worth};
use sakudana::domain::demand::Belief;

fn demand() -> impl Strategy<Value = Demand> {
    (any::<bool>(), 0.05..3.0_f64, 0.3..20.0_f64).prop_map(|(known, rate, shape)| {
        if known { Demand::Known(rate) } else { Demand::Believed(Belief { shape, rate: shape / rate }) }
    })
}

fn stages() -> impl Strategy<Value = Vec<Stage>> {
    let stage = (0.0..3.0_f64, any::<bool>(), 0..2_i64, 100..1_500_i64)
        .prop_map(|(hours, review, takes, grams)| Stage { hours, review, kitchen_g: takes * grams });
    prop::collection::vec(stage, 1..6)
}

fn problem() -> impl Strategy<Value = Problem> {
    let unit = (80..600_i64, prop::sample::select(vec![2_000_i64, 1_800, 1_500, 900]), 1..8_usize);
    let units = prop::collection::vec(unit, 1..14);
    let money = (0..1_200_i64, 0..300_i64, 0..700_i64, 200..1_300_i64);
    (units, stages(), demand(), 0.0..5.0_f64, money, (0..4_usize, 0..14_usize, 0..14_usize)).prop_map(
        |(units, stages, demand, elasticity, (kitchen, waste, left, freezer), (frozen, cut, first))| {
            let mut ends: Vec<usize> = units.iter().map(|(_, _, ends)| (*ends).min(stages.len() + 1)).collect();
            ends.sort_unstable();
            let n = units.len();
            let units = units.into_iter().zip(ends).enumerate();
            let units = units.map(|(tray, ((grams, price, _), ends))| Unit { grams, price, ends, tray }).collect();
            Problem {
                units,
                today: cut.min(stages.len()),
                stages,
                prices: vec![2_000, 1_700, 1_400, 1_000],
                reaches: [cut, n]
                    .into_iter()
                    .filter(|reach| *reach > 0 && *reach <= n)
                    .collect::<std::collections::BTreeSet<_>>()
                    .into_iter()
                    .collect(),
                demand,
                elasticity,
                kitchen_cents_per_kg: kitchen,
                freezer: (frozen == 0).then(|| Freezer { cents_per_kg: freezer, first: first.min(n) }),
                waste_cents_per_kg: waste,
                left_cents_per_kg: left,
            }
        },
    )
}

fn shown(solution: &Solution) -> impl Iterator<Item = &Outlook> {
    let always = [&solution.best, &solution.wait, &solution.nothing];
    always.into_iter().chain(&solution.prices).chain(&solution.kitchen).chain(&solution.freezer)
}

fn close(one: f64, other: f64) -> bool {
    (one - other).abs() <= 1e-8 * (1.0 + one.abs().max(other.abs()))
}

fn grams(flow: &Flow) -> f64 {
    flow.sold_g + flow.kitchen_g + flow.frozen_g + flow.wasted_g + flow.left_g
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, failure_persistence: None, ..ProptestConfig::default() })]

    /// Mass: sold + left + kitchen + waste + frozen is all there is, today and in the whole; money is what each gram brings.
    #[test]
    fn nothing_is_lost(problem in problem()) {
        prop_assert_eq!(fault(&problem), None);
        let all: i64 = problem.units.iter().map(|unit| unit.grams).sum();
        let solution = solve(&problem);
        for outlook in shown(&solution) {
            prop_assert!(close(grams(&outlook.today), all as f64) && close(grams(&outlook.whole), all as f64));
            let whole = &outlook.whole;
            let sold: f64 = outlook.sold.iter().sum();
            prop_assert!(close(sold, whole.sold_units));
            let sold: f64 = outlook.sold.iter().zip(&problem.units).map(|(sold, unit)| sold * unit.grams as f64).sum();
            prop_assert!(close(sold, whole.sold_g));
            prop_assert!(outlook.sold.iter().chain([&outlook.sells_out_today]).all(|chance| (-1e-12..=1.0 + 1e-12).contains(chance)));
            prop_assert!(close(whole.kitchen, whole.kitchen_g * problem.kitchen_cents_per_kg as f64 / 1_000.0));
            prop_assert!(close(whole.waste, whole.wasted_g * problem.waste_cents_per_kg as f64 / 1_000.0));
            let left = whole.left_g * problem.left_cents_per_kg as f64 / 1_000.0;
            prop_assert!(close(outlook.total, whole.revenue + whole.kitchen + whole.frozen + left - whole.waste));
            let by_then = |of: fn(&Flow) -> f64| of(&outlook.today) <= of(whole) + 1e-9;
            prop_assert!(by_then(|flow| flow.sold_g) && by_then(|flow| flow.revenue) && by_then(|flow| flow.kitchen_g) && by_then(|flow| flow.wasted_g));
        }
    }

    /// The best is at least all others that are shown, and a choice taken from the table is expected to bring what the table says.
    #[test]
    fn the_best_is_the_best(problem in problem(), step in 0..4_usize, reach in 0..14_usize, kitchen in 0..14_usize) {
        let solution = solve(&problem);
        let least = solution.best.total + 1e-8 * (1.0 + solution.best.total.abs());
        for other in shown(&solution) {
            prop_assert!(other.total <= least);
            if *other != solution.nothing {
                prop_assert!(close(outlook(&problem, &other.choice).total, other.total));
            }
        }
        // What a person chooses within the rules is no better; a reach of their own is one more way, which a problem with that reach knows.
        let n = problem.units.len();
        let mut wider = problem.clone();
        wider.reaches = problem.reaches.iter().copied().chain([reach.clamp(1, n)]).collect::<std::collections::BTreeSet<_>>().into_iter().collect();
        let fits = (0..=n).take_while(|r| problem.units[..*r].iter().map(|unit| unit.grams).sum::<i64>() <= problem.stages[0].kitchen_g);
        let choice = Choice { price: Some(step), reach: reach.clamp(1, n), kitchen: kitchen.min(fits.last().unwrap()), freeze: 0 };
        prop_assert!(outlook(&problem, &choice).total <= solve(&wider).best.total + 1e-6);
    }

    /// One more unit behind the others, one more price, reach or review, or more room in the kitchen never lowers the value, where what is left
    /// or thrown away costs nothing.
    #[test]
    fn more_is_not_worth_less(problem in problem(), which in 0..5_usize, at in 0..6_usize) {
        let before = Problem { waste_cents_per_kg: 0, freezer: None, ..problem };
        let mut after = before.clone();
        let n = before.units.len();
        match which {
            0 => {
                let last = *before.units.last().unwrap();
                after.units.push(Unit { tray: n, ..last });
                // The reach to all is one more unit now; the old one stays.
                after.reaches.push(n + 1);
            }
            1 => after.prices.insert(1 + at % 3, [1_850, 1_550, 1_200][at % 3]),
            2 => after.reaches = before.reaches.iter().copied().chain([1 + at % n]).collect::<std::collections::BTreeSet<_>>().into_iter().collect(),
            3 => after.stages.iter_mut().for_each(|stage| stage.review = true),
            _ => after.stages.iter_mut().for_each(|stage| stage.kitchen_g += 200),
        }
        prop_assert_eq!(fault(&after), None);
        let (before, after) = (solve(&before).best.total, solve(&after).best.total);
        prop_assert!(after >= before - 1e-8 * (1.0 + before.abs()), "{} is less than {}", after, before);
    }

    /// Prices, values and costs times m: the value times m, the choice the same.
    #[test]
    fn money_scales(problem in problem(), times in 2..50_i64) {
        let mut dearer = problem.clone();
        dearer.units.iter_mut().for_each(|unit| unit.price *= times);
        dearer.prices.iter_mut().for_each(|price| *price *= times);
        dearer.kitchen_cents_per_kg *= times;
        dearer.waste_cents_per_kg *= times;
        dearer.left_cents_per_kg *= times;
        dearer.freezer = dearer.freezer.map(|freezer| Freezer { cents_per_kg: freezer.cents_per_kg * times, ..freezer });
        let (one, other) = (solve(&problem).best, solve(&dearer).best);
        prop_assert!(close(one.total * times as f64, other.total));
        prop_assert_eq!(one.choice, other.choice);
    }

    /// At least what the kitchen pays for all it has room for, what leaving alone brings, and any one price for all held to the end.
    #[test]
    fn no_simple_plan_is_better(problem in problem()) {
        let solution = solve(&problem);
        for price in &problem.prices {
            let mut held = problem.clone();
            held.units.iter_mut().for_each(|unit| unit.price = unit.price.min(*price));
            prop_assert!(solve(&held).nothing.total <= solution.best.total + 1e-8 * (1.0 + solution.best.total.abs()));
        }
        let mut roomy = Problem { freezer: None, ..problem };
        roomy.stages[0].kitchen_g = 1_000_000;
        let all: i64 = roomy.units.iter().map(|unit| unit.grams).sum();
        prop_assert!(solve(&roomy).best.total >= all as f64 * roomy.kitchen_cents_per_kg as f64 / 1_000.0 - 1e-8);
    }

    /// Whatever the numbers: no panic, and an answer that names no unit that is not there.
    #[test]
    fn no_problem_breaks_it(
        problem in problem(),
        (what, number, float) in (0..18_usize, any::<i64>(), prop::num::f64::ANY),
        choice in (any::<Option<usize>>(), any::<usize>(), any::<usize>(), any::<usize>()),
    ) {
        let mut odd = problem;
        let index = usize::try_from(number.unsigned_abs() % 20).unwrap();
        match what {
            0 => odd.units[0].grams = number,
            1 => odd.units[0].price = number,
            2 => odd.units[0].ends = index,
            3 => odd.stages[0].hours = float,
            4 => odd.stages[0].kitchen_g = number,
            5 => odd.prices[1] = number,
            6 => odd.reaches[0] = index,
            7 => odd.demand = Demand::Known(float),
            8 => odd.demand = Demand::Believed(Belief { shape: float.abs().min(1e9), rate: 0.5 }),
            9 => odd.elasticity = float,
            10 => odd.freezer = Some(Freezer { cents_per_kg: number, first: index }),
            11 => odd.today = index,
            12 => odd.stages.clear(),
            13 => odd.kitchen_cents_per_kg = number,
            14 => odd.waste_cents_per_kg = number,
            15 => odd.left_cents_per_kg = number,
            16 => odd.demand = Demand::Believed(Belief { shape: 0.5, rate: float.abs() }),
            _ => odd.units.clear(),
        }
        let solution = solve(&odd);
        for outlook in shown(&solution) {
            prop_assert_eq!(outlook.sold.len(), odd.units.len());
            prop_assert!(outlook.total.is_finite());
            prop_assert!(outlook.choice.kitchen + outlook.choice.freeze <= odd.units.len());
        }
        let (price, reach, kitchen, freeze) = choice;
        let chosen = outlook(&odd, &Choice { price, reach, kitchen, freeze });
        prop_assert!(chosen.total.is_finite());
    }
}

/// Each fault is told, and met with an answer that advises nothing.
#[test]
fn faults() {
    let sound = crate::ground::ladder(3, 2, 0.0);
    let broken = |change: fn(&mut Problem)| {
        let mut problem = sound.clone();
        change(&mut problem);
        let solution = solve(&problem);
        assert!(solution.best.choice == Choice::default() && solution.best.total == 0.0 && !worth(&solution, 0, 0));
        fault(&problem)
    };
    assert_eq!(broken(|problem| problem.units[1].grams = 0), Some(Fault::Unit));
    assert_eq!(broken(|problem| problem.units[1].ends = 0), Some(Fault::Unit));
    assert_eq!(broken(|problem| problem.units[0].ends = 9), Some(Fault::Order));
    assert_eq!(broken(|problem| problem.stages[0].hours = f64::NAN), Some(Fault::Stage));
    assert_eq!(broken(|problem| problem.today = 3), Some(Fault::Stage));
    assert_eq!(broken(|problem| problem.prices.clear()), Some(Fault::Prices));
    assert_eq!(broken(|problem| problem.prices[1] = 2_000), Some(Fault::Prices));
    assert_eq!(broken(|problem| problem.prices[0] = 0), Some(Fault::Prices));
    assert_eq!(broken(|problem| problem.reaches = vec![2]), Some(Fault::Reaches));
    assert_eq!(broken(|problem| problem.reaches = vec![0, 3]), Some(Fault::Reaches));
    assert_eq!(broken(|problem| problem.elasticity = -1.0), Some(Fault::Demand));
    assert_eq!(broken(|problem| problem.elasticity = 51.0), Some(Fault::Demand));
    assert_eq!(broken(|problem| problem.demand = Demand::Known(f64::INFINITY)), Some(Fault::Demand));
    assert_eq!(broken(|problem| problem.freezer = Some(Freezer { cents_per_kg: 1, first: 4 })), Some(Fault::Freezer));
    assert_eq!(broken(|problem| problem.units.clear()), None);
}

/// Advice is given from the threshold on: 100 cents, or 20 permille of what leaving alone brings, whichever is more.
#[test]
fn small_gains_are_not_worth_speaking() {
    let solution = solve(&crate::ground::ladder(8, 3, 0.0));
    let gain = solution.best.total - solution.nothing.total;
    assert!(gain > 50.0 && solution.best.choice.price == Some(1), "{gain}");
    assert!(solution.best.total > solution.wait.total && solution.wait.total > solution.nothing.total);
    let permille = gain / solution.nothing.total * 1_000.0;
    assert!(worth(&solution, gain.floor() as i64, 0) && !worth(&solution, gain.ceil() as i64, 0));
    assert!(worth(&solution, 0, permille.floor() as i64) && !worth(&solution, 0, permille.ceil() as i64));
    let alone = solve(&crate::ground::ladder(1, 3, 0.0));
    assert!(!worth(&alone, 0, 0), "leaving alone is never worth speaking of");
}

/// A shop in which far more come than there is to sell sells out: known, believed, or known so badly that anything may be.
#[test]
fn a_crowd_buys_all() {
    let crowds = [
        Demand::Known(1e9),
        Demand::Known(900.0),
        Demand::Believed(Belief { shape: 1e8, rate: 1.0 }),
        Demand::Believed(Belief { shape: 0.9, rate: 1e-40 }),
    ];
    for demand in crowds {
        let problem = Problem { demand, ..crate::ground::ladder(7, 2, 0.0) };
        let best = solve(&problem).best;
        assert!((best.whole.sold_units - 7.0).abs() < 1e-9 && best.choice == Choice::default(), "{demand:?}: {best:?}");
    }
}
