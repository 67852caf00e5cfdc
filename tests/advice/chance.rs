//! Against chance itself: how many are sold in a stage by equations of another kind, and whole days played out many times with the same seeds.

use crate::ground::{Dice, ladder, near};
use sakudana::domain::advice::program::{Policy, Standing, outlook, solve};
use sakudana::domain::advice::{Choice, Demand, Outlook, Problem, Stage, Unit};
use sakudana::domain::demand::Belief;

/// The chances that each of the units is sold in a time, by Kolmogorov's forward equations in small steps (fourth order Runge-Kutta).
fn kolmogorov(rates: &[f64], time: f64) -> Vec<f64> {
    let steps = 400;
    let h = time / f64::from(steps);
    let slope = |p: &[f64]| -> Vec<f64> {
        let flow = |at: usize| if at < rates.len() { rates[at] * p[at] } else { 0.0 };
        (0..p.len()).map(|at| if at == 0 { -flow(0) } else { flow(at - 1) - flow(at) }).collect()
    };
    let plus = |p: &[f64], k: &[f64], by: f64| -> Vec<f64> { p.iter().zip(k).map(|(p, k)| p + by * k).collect() };
    let mut p = vec![0.0; rates.len() + 1];
    p[0] = 1.0;
    for _ in 0..steps {
        let one = slope(&p);
        let two = slope(&plus(&p, &one, h / 2.0));
        let three = slope(&plus(&p, &two, h / 2.0));
        let four = slope(&plus(&p, &three, h));
        for (at, p) in p.iter_mut().enumerate() {
            *p += h / 6.0 * (one[at] + 2.0 * two[at] + 2.0 * three[at] + four[at]);
        }
    }
    (0..rates.len()).map(|unit| p[unit + 1..].iter().sum()).collect()
}

/// Trays of four prices in one stage, at a known rate, and at a believed one mixed over its Gamma distribution by Simpson's rule.
#[test]
fn a_stage_is_a_birth_process_mixed_over_the_belief() {
    let mut problem = ladder(5, 1, 0.0);
    for (unit, price) in problem.units.iter_mut().zip([1_200, 2_000, 1_500, 900, 1_800]) {
        unit.price = price;
    }
    problem.stages[0].hours = 1.7;
    let times: Vec<f64> = problem.units.iter().map(|unit| (2.0 * (1.0 - unit.price as f64 / 2_000.0)).exp()).collect();
    let at_rate = |rate: f64| {
        let rates: Vec<f64> = times.iter().map(|times| times * rate).collect();
        kolmogorov(&rates, 1.7)
    };
    let nothing = solve(&Problem { demand: Demand::Known(1.3), ..problem.clone() }).nothing;
    for (got, expected) in nothing.sold.iter().zip(at_rate(1.3)) {
        near("known", *got, expected, 1e-9);
    }
    // Gamma(4, 3): density 3^4/3! r^3 e^(-3r).
    let (steps, most) = (400, 16.0);
    let h = most / f64::from(steps);
    let mut mixed = vec![0.0; 5];
    for step in 0..=steps {
        let rate = h * f64::from(step);
        let weight = if step == 0 || step == steps { 1.0 } else { 2.0 + 2.0 * f64::from(step % 2) };
        let density = 81.0 / 6.0 * rate.powi(3) * (-3.0 * rate).exp();
        for (sum, sold) in mixed.iter_mut().zip(at_rate(rate)) {
            *sum += h / 3.0 * weight * density * sold;
        }
    }
    let believed = Demand::Believed(Belief { shape: 4.0, rate: 3.0 });
    let nothing = solve(&Problem { demand: believed, ..problem }).nothing;
    for (got, expected) in nothing.sold.iter().zip(mixed) {
        near("believed", *got, expected, 1e-6);
    }
}

/// One course of a problem: what it brought, which units were sold, and whether today all were.
struct Course {
    money: f64,
    sold: Vec<f64>,
    wasted_g: f64,
    sold_out: f64,
}

fn grams(problem: &Problem, from: usize, to: usize) -> f64 {
    problem.units[from..to.max(from)].iter().map(|unit| unit.grams as f64).sum()
}

fn play(problem: &Problem, choice: &Choice, policy: &Policy, dice: &mut Dice) -> Course {
    let n = problem.units.len() - choice.freeze;
    let freezer = problem.freezer.map_or(0, |freezer| freezer.cents_per_kg) as f64;
    let mut course = Course {
        money: grams(problem, n, n + choice.freeze) * freezer / 1_000.0,
        sold: vec![0.0; problem.units.len()],
        wasted_g: 0.0,
        sold_out: 0.0,
    };
    let mut now = Standing { next: 0, price: None };
    let mut sold_today = 0;
    for (stage, Stage { hours, .. }) in problem.stages.iter().enumerate() {
        let mut next = now.next;
        while next < n && problem.units[next].ends <= stage {
            course.wasted_g += problem.units[next].grams as f64;
            next += 1;
        }
        let before = Standing { next, price: now.price.filter(|(_, reach)| next < *reach) };
        now = if stage == 0 {
            Standing { next: choice.kitchen, price: choice.price.map(|step| (step, choice.reach)) }
        } else {
            policy.at(stage, before)
        };
        course.money += grams(problem, next, now.next) * problem.kitchen_cents_per_kg as f64 / 1_000.0;
        let rate = match problem.demand {
            Demand::Known(rate) => rate,
            // The shape is a whole number here: a sum of waits.
            Demand::Believed(belief) => (0..belief.shape as usize).map(|_| dice.wait(belief.rate)).sum(),
        };
        let mut clock = 0.0;
        while now.next < n && *hours > 0.0 {
            let own = problem.units[now.next].price;
            let posted = now.price.filter(|(_, reach)| now.next < *reach);
            let price = posted.map_or(own, |(step, _)| own.min(problem.prices[step]));
            let times = (problem.elasticity * (1.0 - price as f64 / problem.prices[0] as f64)).exp();
            clock += dice.wait(rate * times);
            if clock > *hours {
                break;
            }
            course.sold[now.next] = 1.0;
            course.money += price as f64 * problem.units[now.next].grams as f64 / 1_000.0;
            now.next += 1;
            sold_today += usize::from(stage < problem.today);
        }
        now.price = now.price.filter(|(_, reach)| now.next < *reach);
    }
    let ended = problem.units[..n].iter().filter(|unit| unit.ends <= problem.stages.len()).count();
    course.wasted_g += grams(problem, now.next, ended);
    course.money -= course.wasted_g * problem.waste_cents_per_kg as f64 / 1_000.0;
    course.money += grams(problem, now.next.max(ended), n) * problem.left_cents_per_kg as f64 / 1_000.0;
    course.sold_out = if sold_today == n - choice.kitchen && sold_today > 0 { 1.0 } else { 0.0 };
    course
}

#[track_caller]
fn within_four_errors(what: &str, seen: impl Iterator<Item = f64> + Clone, expected: f64) {
    let n = seen.clone().count() as f64;
    let mean = seen.clone().sum::<f64>() / n;
    let error = (seen.map(|value| (value - mean).powi(2)).sum::<f64>() / n / (n - 1.0)).sqrt();
    assert!((mean - expected).abs() <= 4.0 * error + 1e-9, "{what}: {mean} seen, {expected} expected, error {error}");
}

/// Of a chance the error is known beforehand; a rare one may be seen a few times or never.
#[track_caller]
fn near_chance(what: &str, seen: f64, expected: f64, of: usize) {
    let of = of as f64;
    let error = (expected * (1.0 - expected).max(0.0) / of).sqrt();
    near(what, seen, expected, 4.0 * error + 4.0 / of);
}

/// Fifty trays of four ages, a tub of portions, three days of two reviews, own prices, a kitchen.
fn large(demand: Demand) -> Problem {
    let mut dice = Dice::new(8);
    let unit = |tray: usize, dice: &mut Dice| Unit {
        grams: match tray % 5 {
            0 => 150,
            _ => 120 + dice.below(300) as i64,
        },
        price: if tray < 9 { 1_600 } else { 2_000 },
        ends: 1 + tray / 13 * 2,
        tray,
    };
    Problem {
        units: (0..50).map(|tray| unit(tray, &mut dice)).collect(),
        stages: (0..6)
            .map(|stage| Stage { hours: 4.0, review: true, kitchen_g: if stage % 2 == 0 { 1_500 } else { 0 } })
            .collect(),
        today: 2,
        prices: vec![2_000, 1_800, 1_600, 1_400, 1_200, 1_000],
        reaches: vec![13, 26, 39, 50],
        demand,
        elasticity: 2.5,
        kitchen_cents_per_kg: 500,
        freezer: None,
        waste_cents_per_kg: 100,
        left_cents_per_kg: 500,
    }
}

/// The best policy and some other choices, played out: what comes of it is within four standard errors of what was expected.
#[test]
fn played_out_it_comes_as_expected() {
    let demands = [Demand::Known(2.2), Demand::Believed(Belief { shape: 6.0, rate: 3.0 })];
    for (seed, demand) in demands.into_iter().enumerate() {
        let problem = large(demand);
        let best = solve(&problem).best;
        assert!(best.choice.price.is_some() || best.choice.kitchen > 0, "something is to be done: {:?}", best.choice);
        let other = Choice { price: Some(2), reach: 26, kitchen: 3, freeze: 0 };
        // So few that they sell out at times, one of which ends within today.
        let mut few = problem.clone();
        few.units.truncate(14);
        few.reaches = vec![13, 14];
        let few_best = solve(&few).best;
        for (problem, expected) in [(&problem, best), (&problem, outlook(&problem, &other)), (&few, few_best)] {
            let policy = Policy::of(problem, &expected.choice).unwrap();
            let mut dice = Dice::new(100 + seed as u64);
            let courses: Vec<Course> =
                (0..10_000).map(|_| play(problem, &expected.choice, &policy, &mut dice)).collect();
            let Outlook { total, whole, sold, sells_out_today, .. } = expected;
            within_four_errors("money", courses.iter().map(|course| course.money), total);
            within_four_errors("waste", courses.iter().map(|course| course.wasted_g), whole.wasted_g);
            let often = |of: &dyn Fn(&Course) -> f64| courses.iter().map(of).sum::<f64>() / courses.len() as f64;
            near_chance("sold out", often(&|course| course.sold_out), sells_out_today, courses.len());
            for (unit, chance) in sold.into_iter().enumerate() {
                near_chance(&format!("unit {unit}"), often(&|course| course.sold[unit]), chance, courses.len());
            }
        }
    }
}
