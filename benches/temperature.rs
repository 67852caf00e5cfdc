//! What a question about the temperature of a place costs: ten million readings of a hundred places, a million random questions, held in
//! one run against two random reads of the same readings (the floor) and against walking through the readings concerned. Prints rows of
//! Markdown.
//!
//! `cargo bench --bench temperature [-- [--rounds N] [--readings N] [--questions N]]`
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a benchmark that meets what it did not expect should stop right there"
)]

#[path = "temperature/ground.rs"]
mod ground;
#[path = "temperature/ways.rs"]
mod ways;

use ground::{Question, Shop};
use std::time::{Duration, Instant};

struct Options {
    rounds: usize,
    readings: usize,
    questions: usize,
}

fn options() -> Options {
    let mut options = Options { rounds: 5, readings: 10_000_000, questions: 1_000_000 };
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let mut number = || words.next().and_then(|text| text.parse().ok()).expect("a number");
        match word.as_str() {
            "--rounds" => options.rounds = number(),
            "--readings" => options.readings = number(),
            "--questions" => options.questions = number(),
            // Cargo's own.
            "--bench" => {}
            other => panic!("unknown: {other}; known: --rounds N, --readings N, --questions N"),
        }
    }
    options
}

fn main() {
    let options = options();
    println!("load before: {}", load());
    let readings = ground::readings(options.readings);
    let before = resident();
    let began = Instant::now();
    let shop = Shop::new(readings);
    let built = began.elapsed();
    let curves = resident() - before;
    println!(
        "{} readings of {} places: laid in {:.2} s, {curves} MB",
        options.readings,
        ground::PLACES,
        built.as_secs_f64()
    );
    let any = shop.questions(options.questions, i64::MAX);
    let days = shop.questions(options.questions, 5 * 24 * 3_600_000_000);
    let mut table = Table::default();
    for _ in 0..options.rounds {
        one_round(&mut table, &shop, ["any span", "of 5 days"], [&any, &days]);
    }
    table.print();
    late(&shop);
    println!("load after: {}", load());
}

fn one_round(table: &mut Table, shop: &Shop, names: [&'static str; 2], asked: [&[Question]; 2]) {
    table.time("floor", "", asked[0], |questions| ways::floor(shop, questions));
    for (name, questions) in names.into_iter().zip(asked) {
        table.time("one sum", name, questions, |questions| ways::raw(shop, questions));
        table.time("all sums", name, questions, |questions| ways::wear(shop, questions));
        table.time("when the raw clock ends", name, questions, |questions| ways::when(shop, questions));
        let few = &questions[..questions.len().div_ceil(500)];
        table.time("walk, square root only", name, few, |questions| ways::walk(shop, questions));
        table.time("walk, the rules of each place", name, few, |questions| ways::walk_by_rules(shop, questions));
    }
}

/// Nanoseconds a question, by way and kind of question, in the order first measured; one figure a round.
#[derive(Default)]
struct Table(Vec<(&'static str, &'static str, Vec<f64>)>);

impl Table {
    fn time(
        &mut self,
        way: &'static str,
        kind: &'static str,
        asked: &[Question],
        answer: impl FnOnce(&[Question]) -> i64,
    ) {
        let began = on_processor();
        std::hint::black_box(answer(asked));
        let nanos = (on_processor() - began) as f64 / asked.len() as f64;
        match self.0.iter_mut().find(|row| (row.0, row.1) == (way, kind)) {
            Some((_, _, rounds)) => rounds.push(nanos),
            None => self.0.push((way, kind, vec![nanos])),
        }
    }

    fn rounds(&self, way: &str, kind: &str) -> Option<&[f64]> {
        self.0.iter().find(|row| (row.0, row.1) == (way, kind)).map(|row| row.2.as_slice())
    }

    /// How many times one is the other: the middle of the rounds, so that what disturbs one round disturbs both sides.
    fn ratio(&self, rounds: &[f64], base: Option<&[f64]>) -> String {
        let of = |base: &[f64]| middle(rounds.iter().zip(base).map(|(one, other)| one / other).collect());
        base.map_or(String::new(), |base| format!("{:.2}", of(base)))
    }

    fn print(&self) {
        println!("\n| way | questions | ns each | of the floor | the walk is times it |");
        println!("|---|---|---:|---:|---:|");
        for (way, kind, rounds) in &self.0 {
            let floor = self.ratio(rounds, self.rounds("floor", ""));
            let walk = self
                .rounds("walk, square root only", kind)
                .map_or(String::new(), |walk| self.ratio(walk, Some(rounds)));
            println!("| {way} | {kind} | {:.0} | {floor} | {walk} |", middle(rounds.clone()));
        }
        println!();
    }
}

fn middle(mut of: Vec<f64>) -> f64 {
    of.sort_by(f64::total_cmp);
    of[of.len() / 2]
}

/// Late readings, each into a place as it was, and new ones at the end.
fn late(shop: &Shop) {
    println!("| one reading into a place of {} | median µs | 99th of 100 | goal |", shop.curves[0].len());
    println!("|---|---:|---:|---:|");
    for (name, readings) in [("late, anywhere", shop.late(2_000)), ("the newest", shop.newest(2_000))] {
        let mut waits: Vec<Duration> = Vec::new();
        let mut curve = shop.curves[0].clone();
        for reading in readings {
            let began = Instant::now();
            curve.insert(&[reading]);
            waits.push(began.elapsed());
        }
        waits.sort();
        let micros = |share: usize| waits[waits.len() * share / 100].as_secs_f64() * 1e6;
        let met = if micros(50) < 200.0 { "met" } else { "MISSED" };
        println!("| {name} | {:.1} | {:.1} | {met}: under 200 |", micros(50), micros(99));
    }
    let began = Instant::now();
    let clones: Vec<_> = (0..1_000).map(|_| shop.curves[0].clone()).collect();
    println!("| a clone | {:.1} | | |\n", began.elapsed().as_secs_f64() * 1e6 / clones.len() as f64);
}

/// Nanoseconds this thread has spent on a processor: the machine is shared, and waiting for a turn is nobody's cost.
fn on_processor() -> u64 {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").expect("the scheduler's account of this thread");
    text.split_whitespace().next().and_then(|nanos| nanos.parse().ok()).expect("nanoseconds")
}

fn load() -> String {
    std::fs::read_to_string("/proc/loadavg").map_or_else(|_| "unknown".into(), |line| line.trim().to_owned())
}

/// Megabytes this program holds.
fn resident() -> i64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).unwrap_or("0 kB");
    line.split_whitespace().next().and_then(|kib| kib.parse::<i64>().ok()).unwrap_or(0) / 1_000
}
