//! 16 tills sell, draw, top up, move, take back and tell of what they sold while they were cut off, while the server is killed with SIGKILL at a
//! moment that dice choose. After each start on the same database every act that was acknowledged is there once; every one that was not is
//! there at most once and can be asked again under its key, after which it is there once, or a rule of the shop refused it and it is not
//! there; `sakudana verify` finds nothing.
//!
//! A queue of offline sales (`POST /v1/sales/replays`) is never refused: after a death it is sent again whole, what had been taken of it are its
//! first hundreds, and each of its sales is there once, with what contradicts the stock before the manager. In one round of eight a till
//! comes back with a queue of two transactions, and the kill waits for the first of them.
//!
//! `SAKUDANA_KILLS` is the number of kills on SQLite, 200 when absent (10,000 by command), `SAKUDANA_KILL_SEED` the seed. A seed gives
//! each till the same program and each kill the same delay; what the processor makes of it is its own.
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
#[path = "killed/controls_of_queues.rs"]
mod controls_of_queues;
#[path = "killed/counter.rs"]
mod counter;
#[path = "model/dice.rs"]
mod dice;
#[path = "killed/opening.rs"]
mod opening;
#[path = "killed/program.rs"]
mod program;
#[path = "killed/queue.rs"]
mod queue;
#[path = "killed/replayed.rs"]
mod replayed;
#[path = "killed/round.rs"]
mod round;
mod support;
#[path = "killed/till.rs"]
mod till;

use cluster::Cluster;
use counter::Counter;
use round::{Day, Round, Tally};
use std::ops::Range;
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
    let Tally { rounds, done, refused, open, had_been_done, queued, cut } = tally;
    println!(
        "{rounds} kills of {what}, seed {}: {done} acts done, {refused} refused; {open} were open at a kill, {had_been_done} of them done; {queued} sales came in queues, of which {cut} were cut between two transactions",
        seed()
    );
    assert!(open > rounds, "a kill that meets no request shows nothing");
}

/// Kills that one stock lives through: a fish takes as long to cut as a round to play.
const KILLS_OF_A_STOCK: usize = 5;

/// Plays rounds in one shop; `death` strikes, and brings back what it struck.
fn play(database: &str, numbers: Range<usize>, tally: &mut Tally, death: impl Fn(&mut Counter)) {
    let mut counter = Counter::open(database);
    for first in numbers.clone().step_by(KILLS_OF_A_STOCK) {
        let mut day = Day::begin(&mut counter);
        let mut books = None;
        for number in first..numbers.end.min(first + KILLS_OF_A_STOCK) {
            let round = Round { seed: seed(), number };
            let logs = round.work(&mut counter, &day.stock, &death);
            books = Some(round.hold(&counter, &mut day, logs, tally));
        }
        counter.close(books.expect("a round at least"));
    }
}

fn kill_our_server(counter: &mut Counter) {
    counter.server.kill();
    counter.start_again();
}

#[test]
fn our_server_on_sqlite() {
    let kills = usize::try_from(number("SAKUDANA_KILLS", 200)).unwrap();
    let mut tally = Tally::default();
    for first in (0..kills).step_by(KILLS_OF_A_SHOP) {
        let folder = tempfile::tempdir().unwrap();
        let database = folder.path().join("shop.db").display().to_string();
        play(&database, first..kills.min(first + KILLS_OF_A_SHOP), &mut tally, kill_our_server);
    }
    assert!(tally.queued > 0, "nobody sent a queue");
    report("our server on SQLite", tally);
}

#[test]
fn our_server_on_postgres() {
    let (database, mut tally) = (fresh_database(), Tally::default());
    play(database.url(), 0..20, &mut tally, kill_our_server);
    report("our server on PostgreSQL", tally);
}

/// Our server stays; the database server under it dies with all its processes and is started again.
#[test]
fn the_database_server() {
    let (cluster, mut tally) = (Cluster::start(), Tally::default());
    play(&cluster.url(), 0..10, &mut tally, |_| {
        cluster.kill();
        cluster.start_again();
    });
    report("the PostgreSQL server", tally);
}

/// One of its processes dies, for which it cuts off all others too.
#[test]
fn one_process_of_the_database_server() {
    let (cluster, mut tally) = (Cluster::start(), Tally::default());
    play(&cluster.url(), 0..4, &mut tally, |_| cluster.kill_one());
    report("one process of the PostgreSQL server", tally);
}

/// It is not killed but told to stop, and started again.
#[test]
fn the_database_server_stopped() {
    let (cluster, mut tally) = (Cluster::start(), Tally::default());
    play(&cluster.url(), 0..3, &mut tally, |_| {
        cluster.stop();
        cluster.start_again();
    });
    report("the PostgreSQL server, told to stop", tally);
}
