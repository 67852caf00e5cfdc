//! The morning's whole review: 20,000 trays in 300 cuts, each cut asked about and solved on one core, beside the plain textbook's algorithm
//! (one price for all, Poisson demand, its table over review, next unit and step; nothing but the value of its best plan) over the same trays.
//! Prints rows of Markdown, the ratio to the textbook among them.
//!
//! `cargo bench --bench review`
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a benchmark that meets what it did not expect should stop right there"
)]

use sakudana::domain::advice::Demand;
use sakudana::domain::advice::program::{outlook, solve};
use sakudana::domain::advice::question::{Asked, Cut, Freezing, Tray, ask};
use sakudana::domain::advice::stages::Days;
use sakudana::domain::demand::{Basis, Belief, Elasticity, Forecast, Pattern, multiplier};
use sakudana::domain::hours::OpeningHours;
use sakudana::domain::terms::{CutTerms, ShopTerms, Terms};
use sakudana::domain::tray::Kind;
use sakudana::units::instant::{Instant, MICROS_PER_HOUR};
use sakudana::units::money::PricePerKg;
use sakudana::units::zone::Zone;
use std::hint::black_box;
use std::time::Duration;

const CUTS: usize = 300;
const TRAYS: usize = 20_000;
const ROUNDS: usize = 5;
const GOAL: Duration = Duration::from_secs(1);

/// Numbers that look like chance and are the same in every run.
struct Dice(u64);

impl Dice {
    fn below(&mut self, sides: i64) -> i64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        i64::try_from((self.0 >> 33) % u64::try_from(sides).expect("sides")).expect("small")
    }
}

struct Counter {
    terms: Terms,
    forecast: Forecast,
    trays: Vec<Tray>,
}

/// Sixty-six or sixty-seven trays of three or four ages over the next four days, a few marked down before.
fn counter(cut: usize, said: &ShopTerms, now: Instant, dice: &mut Dice) -> Counter {
    let list = PricePerKg::new(4_000 + dice.below(6_000)).expect("a price");
    let terms = said.of(&CutTerms::default(), list);
    let ages = 3 + dice.below(2);
    let count = TRAYS * (cut + 1) / CUTS - TRAYS * cut / CUTS;
    let tray = |id: usize| {
        let age = dice.below(ages);
        // Gone at closing of today or of one of the three days after.
        let ends = now.plus_micros((11 + 24 * (age + 4 - ages)) * MICROS_PER_HOUR);
        let price = if age == 0 && dice.below(3) == 0 { terms.prices[1] } else { list };
        let net_g = 120 + dice.below(300);
        Tray {
            id: i64::try_from(id).expect("small"),
            kind: Kind::Block,
            net_g,
            price,
            ends,
            freezing: Freezing::Refused,
        }
    };
    let trays = (0..count).map(tray).collect();
    // From half of what is there sold in the four days to all of it, known from a few days of sales.
    let mean = count as f64 / 40.0 * (0.5 + dice.below(60) as f64 / 100.0);
    let shape = 12.0;
    let forecast = Forecast {
        belief: Belief { shape, rate: shape / mean },
        basis: Basis::Own,
        elasticity: Elasticity { at_list: 2.0, low: 1.5, high: 3.0, basis: Basis::Stated },
        pattern: Pattern { factors: [[1.0; 24]; 7] },
        units_sold: 12,
        hours_in_stock: shape / mean,
    };
    Counter { terms, forecast, trays }
}

/// The quickest of several rounds after one that warms up: what disturbs a round only adds.
fn time(mut work: impl FnMut() -> f64) -> (Duration, f64) {
    let sum = work();
    let rounds = (0..ROUNDS).map(|_| {
        let begun = std::time::Instant::now();
        assert_eq!(black_box(work()).to_bits(), sum.to_bits(), "the same answer in every round");
        begun.elapsed()
    });
    (rounds.min().expect("a round"), sum)
}

/// The textbook's value: every unit at list now, prices fall for all or none, demand as if its mean were known.
fn textbook(asked: &Asked) -> f64 {
    let problem = &asked.problem;
    let Demand::Believed(belief) = problem.demand else { unreachable!("the demand is believed") };
    let (n, steps) = (problem.units.len(), problem.prices.len());
    let mut before = vec![0.0];
    for unit in &problem.units {
        before.push(before[before.len() - 1] + unit.grams as f64 / 1_000.0);
    }
    let waste = -(problem.waste_cents_per_kg as f64);
    let gone = |period: usize| problem.units.iter().filter(|unit| unit.ends <= period).count();
    let last = gone(problem.stages.len());
    let end = |i: usize| {
        waste * (before[i.max(last)] - before[i]) + problem.left_cents_per_kg as f64 * (before[n] - before[i.max(last)])
    };
    let mut value: Vec<Vec<f64>> = (0..steps).map(|_| (0..=n).map(end).collect()).collect();
    let list = problem.prices[0] as f64;
    for (k, stage) in problem.stages.iter().enumerate().rev() {
        let mut best: Vec<Vec<f64>> = vec![Vec::new(); steps];
        for j in (0..steps).rev() {
            let price = problem.prices[j] as f64;
            let mean = belief.mean() * stage.hours * multiplier(problem.elasticity, price, list);
            let mut chances = vec![(-mean).exp()];
            for d in 1..=n {
                chances.push(chances[d - 1] * mean / d as f64);
            }
            let mut all: Vec<f64> = Vec::with_capacity(n + 1);
            for i in 0..=n {
                let (mut sum, mut rest) = (0.0, 1.0);
                for d in 0..n - i {
                    sum += chances[d] * (price * (before[i + d] - before[i]) + value[j][i + d]);
                    rest -= chances[d];
                }
                all.push(sum + rest * (price * (before[n] - before[i]) + value[j][n]));
            }
            if let Some(lower) = best.get(j + 1).filter(|_| stage.review) {
                all.iter_mut().zip(lower).for_each(|(one, other)| *one = one.max(*other));
            }
            if stage.kitchen_g > 0 {
                let kitchen = problem.kitchen_cents_per_kg as f64;
                let without = all.clone();
                for i in 0..n {
                    let fits =
                        (i + 1..=n).take_while(|to| (before[*to] - before[i]) * 1_000.0 <= stage.kitchen_g as f64);
                    all[i] = fits.map(|to| kitchen * (before[to] - before[i]) + without[to]).fold(without[i], f64::max);
                }
            }
            best[j] = all;
        }
        let ended = gone(k);
        for row in &mut best {
            *row = (0..=n).map(|i| row[i.max(ended)] + waste * (before[i.max(ended)] - before[i])).collect();
        }
        value = best;
    }
    value[0][0]
}

fn main() {
    let said = ShopTerms::default();
    let hours = OpeningHours::default();
    let zone = Zone::parse("America/New_York").expect("a zone");
    let now = Instant::parse("2026-11-26T13:30:00Z").expect("an instant");
    let mut dice = Dice(6);
    let counters: Vec<Counter> = (0..CUTS).map(|cut| counter(cut, &said, now, &mut dice)).collect();
    assert_eq!(counters.iter().map(|counter| counter.trays.len()).sum::<usize>(), TRAYS);
    let question = |counter: &Counter| {
        let days =
            Days { now, zone, hours: &hours, review_times: &said.review_times, pattern: &counter.forecast.pattern };
        let Counter { terms, forecast, trays } = counter;
        ask(&Cut { days, terms, forecast, kitchen_taken_g: 0, trays }).expect("trays to ask about")
    };
    let asked: Vec<Asked> = counters.iter().map(question).collect();

    let (plain, plain_value) = time(|| asked.iter().map(textbook).sum());
    let (all, value) = time(|| counters.iter().map(|counter| solve(&question(counter).problem).best.total).sum());
    let (one, _) = time(|| asked.iter().map(|asked| outlook(&asked.problem, &Default::default()).total).sum());
    let (questions, _) = time(|| counters.iter().map(|counter| question(counter).problem.units.len() as f64).sum());

    println!("| 20,000 trays in 300 cuts, one core | time | a cut | of the textbook | goal |");
    println!("|---|---:|---:|---:|---|");
    row("the textbook's value, one price for all", plain, plain, "");
    row("trays to questions", questions, plain, "");
    row("one outlook each", one, plain, "");
    row("asked and solved, every outlook", all, plain, if all < GOAL { "met: under 1 s" } else { "MISSED: under 1 s" });
    let stages = asked[0].problem.stages.len();
    println!(
        "\n{stages} stages; expected of the best plans: {value:.0}, of the textbook's (which knows the demand): {plain_value:.0}."
    );
}

fn row(name: &str, took: Duration, plain: Duration, goal: &str) {
    let (seconds, plain) = (took.as_secs_f64(), plain.as_secs_f64());
    println!(
        "| {name} | {:.1} ms | {:.3} ms | {:.1} | {goal} |",
        seconds * 1e3,
        seconds * 1e3 / CUTS as f64,
        seconds / plain
    );
}
