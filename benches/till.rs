//! How many sales a second the shop records on PostgreSQL, held against `pgbench` with a transaction of four statements on the same server
//! in the same run. Starts a server of its own, set up as it comes. Prints rows of Markdown.
//!
//! `cargo bench --bench till [-- [--rounds N] [--sales N] [--callers N]]`
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a benchmark that meets what it did not expect should stop right there"
)]

#[path = "../tests/counter/mod.rs"]
mod counter;
#[path = "till/pgbench.rs"]
mod pgbench;
#[path = "till/server.rs"]
mod server;
#[path = "sales/shop.rs"]
mod shop;
#[path = "sales/through_the_shop.rs"]
mod through_the_shop;

use sakudana::web::clock;
use server::Server;
use std::path::Path;
use std::time::Duration;

/// What one way of selling took.
pub struct Measured {
    /// Things done in a second.
    pub rate: f64,
    /// How long each took, where that was asked.
    pub waits: Vec<Duration>,
}

struct Options {
    rounds: usize,
    sales: usize,
    callers: usize,
}

fn options() -> Options {
    let mut options = Options { rounds: 3, sales: 8_000, callers: 32 };
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let mut value = || words.next().and_then(|n| n.parse().ok()).unwrap_or_else(|| panic!("{word} wants a number"));
        match word.as_str() {
            "--rounds" => options.rounds = value(),
            "--sales" => options.sales = value(),
            "--callers" => options.callers = value(),
            // Cargo's own.
            "--bench" => {}
            other => panic!("unknown: {other}; known: --rounds N, --sales N, --callers N"),
        }
    }
    options
}

fn main() {
    let Options { rounds, sales, callers } = options();
    let (server, now) = (Server::start(), clock::now());
    let stock = server.database("stock");
    let codes = shop::make(Path::new(&stock), sales, now);
    pgbench::set_up(&server, sales);
    println!("{sales} sales a round, {rounds} rounds, {callers} callers; load before: {}", load());
    let mut ratios = Vec::new();
    println!("| way | a second | p50 | p99 |\n|---|---:|---:|---:|");
    for _ in 0..rounds {
        let bare = pgbench::run(&server, callers, sales);
        println!("| pgbench, four statements, {callers} clients | {bare:.0} | | |");
        let copy = server.copy_of("stock");
        let ours = through_the_shop::together(Path::new(&copy), &codes, now, callers);
        server.drop_copy();
        let Measured { rate, mut waits } = ours;
        waits.sort();
        let at = |percent: usize| waits[waits.len() * percent / 100].as_secs_f64() * 1e3;
        println!("| sales, {callers} callers | {rate:.0} | {:.2} ms | {:.2} ms |", at(50), at(99));
        ratios.push(rate / bare);
    }
    ratios.sort_by(f64::total_cmp);
    let reached = ratios[ratios.len() / 2];
    println!("load after: {}", load());
    let verdict = if reached >= 3.0 { "met" } else { "MISSED" };
    println!("goal {verdict}: sales of {callers} callers, of pgbench with as many clients: {reached:.2} (at least 3)");
}

fn load() -> String {
    std::fs::read_to_string("/proc/loadavg").map_or_else(|_| "unknown".into(), |line| line.trim().to_owned())
}
