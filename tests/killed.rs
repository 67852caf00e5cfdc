//! 16 tills sell, draw, top up, move and take back while the server is killed with SIGKILL at a moment that dice choose. After each start on
//! the same database every act that was acknowledged is there once; every one that was not is there at most once and can be asked again under
//! its key, after which it is there once, or a rule of the shop refused it and it is not there; `sakudana verify` finds nothing.
//!
//! `SAKUDANA_KILLS` is the number of kills on SQLite, 200 when absent (10,000 by command), `SAKUDANA_KILL_SEED` the seed. A seed gives each till
//! the same program and each kill the same delay; what the processor makes of it is its own.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "killed/check.rs"]
mod check;
#[path = "killed/cluster.rs"]
mod cluster;
#[path = "killed/controls.rs"]
mod controls;
#[path = "killed/counter.rs"]
mod counter;
#[path = "model/dice.rs"]
mod dice;
#[path = "killed/program.rs"]
mod program;
#[path = "killed/round.rs"]
mod round;
mod support;
#[path = "killed/till.rs"]
mod till;

use cluster::Cluster;
use counter::Counter;
use round::{Round, Tally};
use support::postgres::fresh_database;

fn number(variable: &str, otherwise: u64) -> u64 {
    std::env::var(variable).map_or(otherwise, |text| text.parse().unwrap_or_else(|_| panic!("{variable} is a number")))
}

fn seed() -> u64 {
    number("SAKUDANA_KILL_SEED", 20_261_126)
}

/// Kills that one database lives through; then another begins, so that `verify` does not read an ever longer past.
const KILLS_OF_A_SHOP: usize = 40;

fn report(what: &str, tally: Tally) {
    let Tally { rounds, done, refused, open, had_been_done } = tally;
    println!(
        "{rounds} kills of {what}, seed {}: {done} acts done, {refused} refused; {open} were open at a kill, {had_been_done} of them done",
        seed()
    );
    assert!(open > rounds, "a kill that meets no request shows nothing");
}

/// Kills the server of a shop again and again.
fn kill_our_server(database: &str, numbers: std::ops::Range<usize>, tally: &mut Tally) {
    let mut counter = Counter::open(database);
    for number in numbers {
        let round = Round { seed: seed(), number };
        let (stock, mark) = counter.refill();
        let mut logs = round.work(&mut counter, &stock, |counter| counter.server.kill());
        counter.start_again();
        let books = round.hold(&counter, &stock, &mark, &mut logs, tally);
        counter.close(books);
    }
}

#[test]
fn our_server_on_sqlite() {
    let kills = usize::try_from(number("SAKUDANA_KILLS", 200)).unwrap();
    let mut tally = Tally::default();
    for first in (0..kills).step_by(KILLS_OF_A_SHOP) {
        let folder = tempfile::tempdir().unwrap();
        let database = folder.path().join("shop.db").display().to_string();
        kill_our_server(&database, first..kills.min(first + KILLS_OF_A_SHOP), &mut tally);
    }
    report("our server on SQLite", tally);
}

#[test]
fn our_server_on_postgres() {
    let (database, mut tally) = (fresh_database(), Tally::default());
    kill_our_server(database.url(), 0..20, &mut tally);
    report("our server on PostgreSQL", tally);
}

/// Our server stays; the database server under it dies with all its processes and is started again.
#[test]
fn the_database_server() {
    let cluster = Cluster::start();
    let (mut counter, mut tally) = (Counter::open(&cluster.url()), Tally::default());
    for number in 0..10 {
        let round = Round { seed: seed(), number };
        let (stock, mark) = counter.refill();
        let mut logs = round.work(&mut counter, &stock, |_| {
            cluster.kill();
            cluster.start_again();
        });
        let books = round.hold(&counter, &stock, &mark, &mut logs, &mut tally);
        counter.close(books);
    }
    report("the PostgreSQL server", tally);
}
