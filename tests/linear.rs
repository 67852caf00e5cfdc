//! Histories of tills that sell, scan, cook, mark down and take back on up to three trays at once, checked with an independent checker
//! for whether one order of calls explains every answer: that of stateright (the library's `LinearizabilityTester`), against a plain
//! description of a shelf (`linear/spec.rs`). Its search is too slow for long histories, so `linear/order.rs` proposes an order and the
//! library has the last word. Where every call is of one tray, each tray is checked by itself, which is enough (Herlihy & Wing 1990,
//! "Linearizability: a correctness condition for concurrent objects", locality; from memory). Sales of several trays at once are checked
//! on the whole shelf, in shorter histories.
//!
//! `SAKUDANA_HISTORIES` is the number of histories on SQLite (1,500 when absent; 100,000 by command), `SAKUDANA_HISTORY_SEED` where their
//! seeds begin. A seed gives the same programs; how the processor mixes them is its own, so a history that is not explained is printed
//! whole.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "linear/controls.rs"]
mod controls;
#[path = "model/dice.rs"]
mod dice;
#[path = "model/ground.rs"]
mod ground;
#[path = "linear/history.rs"]
mod history;
#[path = "killed/opening.rs"]
mod opening;
#[path = "linear/order.rs"]
mod order;
#[path = "linear/over_http.rs"]
mod over_http;
#[path = "linear/program.rs"]
mod program;
#[path = "linear/shop.rs"]
mod shop;
#[path = "linear/spec.rs"]
mod spec;
mod support;

use ground::Which;
use history::{overlapping, record, unexplained};
use program::{Plan, plan};
use shop::OpenDesk;
use spec::{Call, Said};
use std::ops::Range;
use support::server::Kind;

fn number(variable: &str, otherwise: u64) -> u64 {
    std::env::var(variable).map_or(otherwise, |text| text.parse().unwrap_or_else(|_| panic!("{variable} is a number")))
}

fn first_seed() -> u64 {
    number("SAKUDANA_HISTORY_SEED", 20_261_126)
}

/// Where calls are answered: an open desk, or a server over HTTP.
pub trait Shop: Sync {
    /// Fresh trays for a plan.
    fn trays(&self, plan: &Plan) -> Vec<String>;
    fn answer(&self, trays: &[String], caller: usize, call: &Call) -> Said;
    /// Whether the books are in order.
    fn holds_together(&self);
}

/// Records and checks histories of these seeds.
fn check(shop: &impl Shop, what: &str, seeds: Range<u64>) {
    let (mut calls, mut together) = (0, 0);
    for seed in seeds.clone() {
        let plan = plan(seed);
        let events = record(shop, &plan);
        calls += events.len();
        together += overlapping(&events);
        let found = unexplained(&plan, &events);
        assert!(found.is_empty(), "seed {seed} on {what}: no order of the calls explains\n{}", found.join("\n"));
    }
    shop.holds_together();
    let (count, last) = (seeds.end - seeds.start, seeds.end - 1);
    println!("{count} histories on {what}, seeds {} to {last}: {calls} calls, {together} beside another", seeds.start);
    assert!(together > calls / 4, "calls that never meet show nothing");
}

#[test]
fn histories_on_sqlite() {
    let (first, count) = (first_seed(), number("SAKUDANA_HISTORIES", 1_500));
    check(&OpenDesk::open(Which::Sqlite), "SQLite", first..first + count);
}

#[test]
fn histories_on_postgres() {
    let first = first_seed() + 1_000_000;
    check(&OpenDesk::open(Which::Postgres), "PostgreSQL", first..first + 400);
}

#[test]
fn histories_over_http_on_sqlite() {
    let first = first_seed() + 2_000_000;
    check(&over_http::Served::start(Kind::Sqlite), "SQLite over HTTP", first..first + 60);
}

#[test]
fn histories_over_http_on_postgres() {
    let first = first_seed() + 3_000_000;
    check(&over_http::Served::start(Kind::Postgres), "PostgreSQL over HTTP", first..first + 40);
}
