//! A weight put together out of 200 blocks of 150 to 450 g, about 5 kg, by each way of choosing; and where no selection exists, the search for
//! the nearest ones. Prints rows of Markdown, each with its ratio to the plain textbook way in the same run: a table with a `bool` for each
//! tray and gram, filled row by row, and one walk back over it.
//!
//! `cargo bench --bench picks`
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a benchmark that meets what it did not expect should stop right there"
)]

use sakudana::domain::picking::weight::choose;
use sakudana::domain::picking::{Ask, Candidate, Choice, Places, Rule, Window, Wish, pick};
use sakudana::domain::tray::Kind;
use sakudana::domain::tray_code::TrayCode;
use sakudana::units::instant::{Instant, MICROS_PER_HOUR};
use sakudana::units::money::PricePerKg;
use std::hint::black_box;
use std::time::{Duration, Instant as Clock};

const TRAYS: usize = 200;
const ROUNDS: usize = 31;
const GOAL: Duration = Duration::from_millis(5);
const WINDOW: Window = Window { low: 4_990, high: 5_010 };
/// All weights below are even: no selection comes to it.
const OUT_OF_REACH: Window = Window { low: 5_001, high: 5_001 };

/// Numbers that look like chance and are the same in every run.
struct Dice(u64);

impl Dice {
    fn below(&mut self, sides: i64) -> i64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        i64::try_from((self.0 >> 33) % u64::try_from(sides).unwrap()).unwrap()
    }
}

/// The textbook: can the trays from each one on make each sum? Then take each tray, oldest first, if the rest can still be made.
fn textbook(weights: &[i64], window: Window) -> Option<Vec<usize>> {
    let grams: Vec<usize> = weights.iter().map(|grams| usize::try_from(*grams).unwrap()).collect();
    let (low, high) = (usize::try_from(window.low).unwrap(), usize::try_from(window.high).unwrap());
    let mut can = vec![vec![false; high + 1]; grams.len() + 1];
    can[grams.len()][0] = true;
    for at in (0..grams.len()).rev() {
        for sum in 0..=high {
            can[at][sum] = can[at + 1][sum] || sum >= grams[at] && can[at + 1][sum - grams[at]];
        }
    }
    let reaches =
        |at: usize, sum: usize| sum <= high && (low.saturating_sub(sum)..=high - sum).any(|rest| can[at][rest]);
    if !reaches(0, 0) {
        return None;
    }
    let (mut sum, mut taken) = (0, Vec::new());
    for (at, weight) in grams.iter().enumerate() {
        if reaches(at + 1, sum + weight) {
            sum += weight;
            taken.push(at);
        }
    }
    Some(taken)
}

/// The median of so many rounds.
fn median(mut work: impl FnMut()) -> Duration {
    let mut times: Vec<Duration> = (0..ROUNDS)
        .map(|_| {
            let begun = Clock::now();
            work();
            begun.elapsed()
        })
        .collect();
    times.sort_unstable();
    times[ROUNDS / 2]
}

/// A stock of the same weights, with everything around it that the shop looks at.
fn stock(weights: &[i64]) -> Vec<Candidate> {
    let codes = (1..).filter_map(TrayCode::from_number);
    let tray = |((at, grams), code): ((usize, &i64), TrayCode)| Candidate {
        tray_id: i64::try_from(at).unwrap(),
        code,
        kind: Kind::Block,
        place: "cold-room".into(),
        net_g: *grams,
        cut_at: Instant::EPOCH,
        sell_until: Instant::EPOCH.plus_micros((i64::try_from(at).unwrap() + 1) * MICROS_PER_HOUR),
        price: PricePerKg::new(7_450).unwrap(),
        reserved_for: None,
        promised: false,
    };
    weights.iter().enumerate().zip(codes).map(tray).collect()
}

fn main() {
    let mut dice = Dice(5);
    let weights: Vec<i64> = (0..TRAYS).map(|_| 150 + dice.below(301)).collect();
    let even: Vec<i64> = weights.iter().map(|grams| grams / 2 * 2).collect();
    assert_eq!(textbook(&weights, WINDOW), choose(&weights, WINDOW, Choice::OldestFirst).ok(), "the same trays");
    assert_eq!(textbook(&even, OUT_OF_REACH), choose(&even, OUT_OF_REACH, Choice::OldestFirst).ok(), "none");
    let plain = median(|| drop(black_box(textbook(black_box(&weights), WINDOW))));
    println!(
        "{TRAYS} blocks of 150 to 450 g, {} to {} g, medians of {ROUNDS} rounds; goal {GOAL:?}\n",
        WINDOW.low, WINDOW.high
    );
    println!("| way | time | textbook / this | goal |\n|---|---:|---:|---|");
    let row = |name: &str, time: Duration| {
        let goal = if time < GOAL { "met: under 5 ms" } else { "MISSED: under 5 ms" };
        println!(
            "| {name} | {:.3} ms | {:.1} | {goal} |",
            time.as_secs_f64() * 1e3,
            plain.as_secs_f64() / time.as_secs_f64()
        );
    };
    row("textbook table, one bool a tray and gram", plain);
    for choice in Choice::ALL {
        row(choice.as_str(), median(|| drop(black_box(choose(black_box(&weights), WINDOW, choice)))));
    }
    row(
        "out of reach, the nearest named",
        median(|| drop(black_box(choose(black_box(&even), OUT_OF_REACH, Choice::OldestFirst)))),
    );
    let wish = Wish {
        rule: Rule::Fefo,
        choice: Choice::OldestFirst,
        ask: Ask::Weight(WINDOW),
        needed_at: Instant::EPOCH,
        least_life_micros: 0,
        places: Places::Anywhere,
        highest_price: None,
    };
    let stock = stock(&weights);
    row(
        "the whole pick, filtered, sorted and explained",
        median(|| drop(black_box(pick(black_box(stock.clone()), &wish)))),
    );
}
