//! 64 tills and one last tray: one sells it, every other is told by whom and when. Blocks, where the winner takes all, and tubs, where
//! the last grams go to as many as they are enough for. Through the acts on an open desk, so that many races fit; two tills also over
//! HTTP.
//!
//! `SAKUDANA_RACES` is the number of blocks on SQLite, 1,000 when absent: 64 acts each, so that in an unoptimised build on two busy cores
//! some 12 races go by in a second. Many more: `SAKUDANA_RACES=100000 bash tests/run --config profile.dev.package.sakudana.opt-level=2
//! --test races blocks_on_sqlite`.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "model/ground.rs"]
mod ground;
#[path = "races/heard.rs"]
mod heard;
#[path = "killed/opening.rs"]
mod opening;
#[path = "races/over_http.rs"]
mod over_http;
mod support;
#[path = "races/track.rs"]
mod track;

use ground::Which;
use heard::{Heard, faults_of_a_block, faults_of_a_tub};
use sakudana::units::instant::Instant;
use support::server::Kind;
use track::{THREADS, Track, begins, seller};

fn races() -> usize {
    let told = std::env::var("SAKUDANA_RACES").ok();
    told.map_or(1_000, |text| text.parse().expect("SAKUDANA_RACES is a number of races"))
}

/// Most blocks of one fish, and of one batch of races.
const BATCH: usize = 250;

fn blocks(which: Which, races: usize) {
    let track = Track::open(which);
    let mut left = races;
    while left > 0 {
        let trays = track.cut("saku", left.min(BATCH), 200);
        for (tray, heard) in trays.iter().zip(track.race(&trays, None)) {
            let faults = faults_of_a_block(&heard);
            assert!(faults.is_empty(), "tray {tray}: {faults:?}");
        }
        left -= trays.len();
    }
    assert_eq!(track.count("sales"), races, "a sale for each tray, no more");
    assert_eq!(track.count("sale_lines"), races);
    assert_eq!(track.count("trays WHERE fate = 'sold'"), races);
    track.holds_together();
    println!("{races} races of {THREADS} for a block on {which:?}: one winner each");
}

/// The last grams of a tub: what it holds, what each asks, and so how many can win.
const LAST_GRAMS: [(i64, i64); 4] = [(150, 100), (200, 200), (199, 100), (350, 100)];

fn tubs(which: Which, races: usize) {
    let track = Track::open(which);
    for (held, asked) in LAST_GRAMS {
        let trays = track.cut("scrape", races / LAST_GRAMS.len(), held);
        for (tray, heard) in trays.iter().zip(track.race(&trays, Some(asked))) {
            let faults = faults_of_a_tub(&heard, held, asked);
            assert!(faults.is_empty(), "tub {tray} of {held} g, {asked} g asked: {faults:?}");
            assert_eq!(track.left_in(tray), held % asked, "tub {tray}");
        }
    }
    track.holds_together();
    println!("{races} races of {THREADS} for the last grams of a tub on {which:?}");
}

#[test]
fn blocks_on_sqlite() {
    blocks(Which::Sqlite, races());
}

#[test]
fn blocks_on_postgres() {
    blocks(Which::Postgres, 400);
}

#[test]
fn tubs_on_sqlite() {
    tubs(Which::Sqlite, 200);
}

#[test]
fn tubs_on_postgres() {
    tubs(Which::Postgres, 100);
}

#[test]
fn two_tills_over_http_on_sqlite() {
    over_http::two_tills(Kind::Sqlite, 60);
}

#[test]
fn two_tills_over_http_on_postgres() {
    over_http::two_tills(Kind::Postgres, 30);
}

/// What the judge must not let pass: two winners, none, a loser told the wrong name, the wrong time or the wrong reason.
#[test]
fn the_judge_sees_a_race_that_went_wrong() {
    let at = |number: usize| begins(number).to_string();
    let told = |code: &'static str, number: usize, at: Instant| Heard::Refused {
        code,
        reason: format!("sold at {at} by {} (sale 1)", seller(number)),
    };
    let good = vec![told("already_sold", 1, begins(1)), Heard::Sold, told("already_sold", 1, begins(1))];
    assert!(faults_of_a_block(&good).is_empty(), "{}", at(1));
    for (place, wrong) in [
        (0, Heard::Sold),
        (1, told("already_sold", 1, begins(1))),
        (0, told("already_sold", 2, begins(1))),
        (0, told("already_sold", 1, begins(2))),
        (2, told("tray_gone", 1, begins(1))),
    ] {
        let mut bad = good.clone();
        bad[place] = wrong;
        assert!(!faults_of_a_block(&bad).is_empty(), "{bad:?}");
    }
    let short = || Heard::Refused { code: "insufficient_stock", reason: "the tub holds 50 g".into() };
    assert!(faults_of_a_tub(&[Heard::Sold, short(), short()], 150, 100).is_empty());
    assert!(!faults_of_a_tub(&[Heard::Sold, Heard::Sold, short()], 150, 100).is_empty());
    assert!(!faults_of_a_tub(&[short(), short()], 150, 100).is_empty());
    assert!(!faults_of_a_tub(&[Heard::Sold, told("already_sold", 0, begins(0))], 150, 100).is_empty());
}
