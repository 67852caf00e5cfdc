//! What is remembered of readings, on both databases: what each delivery changes, in whatever order it comes, and what never changes.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "model/dice.rs"]
mod dice;
#[path = "model/ground.rs"]
mod ground;
mod support;

use dice::Dice;
use diesel::connection::SimpleConnection;
use ground::{Ground, Which, actor, chill, start};
use sakudana::domain::life::curve::Reading;
use sakudana::domain::logger::{Line, Outcome};
use sakudana::ops::take_readings::{self, Delivery, Taken};
use sakudana::store::readings::{self, Changed};
use sakudana::units::instant::{Instant, MICROS_PER_MINUTE};
use sakudana::units::temperature::MilliCelsius;
use std::collections::BTreeMap;

/// Minutes before the start, and thousandths of a degree.
fn reading(minutes_ago: i64, milli: i64) -> Reading {
    Reading { at: ago(minutes_ago), temperature: MilliCelsius::new(milli).unwrap() }
}

fn ago(minutes: i64) -> Instant {
    start().plus_micros(-minutes * MICROS_PER_MINUTE)
}

fn ground(which: Which) -> Ground {
    let ground = Ground::open(which, 1);
    ground.place("case", chill(0, 2_000));
    ground.place("other", chill(0, 2_000));
    ground
}

fn lines(readings: &[Reading]) -> Vec<Line> {
    (1..).zip(readings).map(|(number, reading)| Line { number, found: Ok(*reading) }).collect()
}

fn begin(ground: &Ground) -> Delivery {
    ground.desk.look(|reading, _| take_readings::begin(reading, "case")).unwrap()
}

fn take(ground: &Ground, readings: &[Reading]) -> Taken {
    let (delivery, lines) = (begin(ground), lines(readings));
    ground.desk.act(move |tx, shop| take_readings::take(tx, shop, &actor(), start(), &delivery, &lines)).unwrap()
}

fn all(ground: &Ground, place: &str) -> Vec<Reading> {
    ground.desk.look(|reading, _| Ok(readings::all(reading, place)?)).unwrap()
}

fn counts(taken: &Taken) -> Vec<(&'static str, u64)> {
    let counted = Outcome::ALL.into_iter().map(|outcome| (outcome.as_str(), taken.tally.count(outcome)));
    counted.chain([("late", taken.tally.late)]).filter(|(_, count)| *count > 0).collect()
}

fn each_delivery_leaves_its_trace(which: Which) {
    let ground = ground(which);
    let changed = |first, last, generation| Some(Changed { first_at: ago(first), last_at: ago(last), generation });
    let first = take(&ground, &[reading(30, 1_000), reading(20, 1_100), reading(10, 1_200)]);
    assert_eq!((counts(&first), first.changed), (vec![("accepted", 3)], changed(30, 10, 1)));
    let again = take(&ground, &[reading(30, 1_000), reading(20, 1_100), reading(10, 1_200)]);
    assert_eq!((counts(&again), again.changed), (vec![("repeated", 3)], None));
    let late = take(&ground, &[reading(25, 1_000), reading(5, 1_300)]);
    assert_eq!((counts(&late), late.changed), (vec![("accepted", 2), ("late", 1)], changed(25, 5, 2)));
    let colder = take(&ground, &[reading(20, 900)]);
    assert_eq!((counts(&colder), colder.changed), (vec![("contradicting", 1)], None));
    let warmer = take(&ground, &[reading(20, 1_500), reading(10, 1_200)]);
    assert_eq!((counts(&warmer), warmer.changed), (vec![("repeated", 1), ("contradicting", 1)], changed(20, 20, 3)));
    // Whatever was said once is known, also what lost.
    let once_more = take(&ground, &[reading(20, 900), reading(20, 1_100), reading(20, 1_500)]);
    assert_eq!((counts(&once_more), once_more.changed), (vec![("repeated", 3)], None));
    let expected = [reading(30, 1_000), reading(25, 1_000), reading(20, 1_500), reading(10, 1_200), reading(5, 1_300)];
    assert_eq!(all(&ground, "case"), expected);
    assert_eq!(all(&ground, "other"), []);
    ground
        .desk
        .look(|reading, _| {
            assert_eq!(readings::between(reading, "case", ago(25), ago(10))?, expected[1..4]);
            assert_eq!(readings::page(reading, "case", ago(25), ago(5), 2)?, [expected[4], expected[3]]);
            assert_eq!(readings::last(reading, "case")?, Some(expected[4]));
            assert_eq!(readings::last(reading, "other")?, None);
            assert_eq!((readings::generation(reading, "case")?, readings::generation(reading, "other")?), (3, 0));
            assert_eq!(readings::changed_since(reading, "case", 0)?, changed(30, 5, 3));
            assert_eq!(readings::changed_since(reading, "case", 2)?, changed(20, 20, 3));
            assert_eq!(readings::changed_since(reading, "case", 3)?, None);
            Ok(())
        })
        .unwrap();
}

fn what_is_out_of_time_is_counted_and_not_kept(which: Which) {
    let ground = ground(which);
    let taken = take(&ground, &[reading(-3, 1_000), reading(-2, 1_000), reading(401 * 24 * 60, 1_000)]);
    assert_eq!(counts(&taken), [("accepted", 1), ("in_future", 1), ("too_old", 1)]);
    assert_eq!(all(&ground, "case"), [reading(-2, 1_000)]);
}

/// Random readings in random batches, against a map: the same in the end, whatever the order.
fn the_order_of_arrival_changes_nothing(which: Which) {
    for seed in 1..=4 {
        let mut dice = Dice::new(seed);
        let said: Vec<Reading> = (0..300).map(|_| reading(dice.between(0, 120), dice.between(-2, 2) * 500)).collect();
        let mut warmest: BTreeMap<Instant, MilliCelsius> = BTreeMap::new();
        for one in &said {
            let there = warmest.entry(one.at).or_insert(one.temperature);
            *there = one.temperature.max(*there);
        }
        let expected: Vec<Reading> = warmest.into_iter().map(|(at, temperature)| Reading { at, temperature }).collect();
        let ground = ground(which);
        let (mut rest, mut generation) = (said.as_slice(), 0);
        while !rest.is_empty() {
            let (batch, after) = rest.split_at(dice.below(60).min(rest.len()));
            let taken = take(&ground, batch);
            if let Some(changed) = taken.changed {
                generation += 1;
                assert_eq!(changed.generation, generation, "no gap");
            }
            rest = after;
        }
        assert_eq!(all(&ground, "case"), expected, "seed {seed}");
        let again = take(&ground, &said);
        assert_eq!((counts(&again), again.changed), (vec![("repeated", 300)], None), "seed {seed}");
    }
}

fn readings_are_kept(which: Which) {
    let ground = ground(which);
    take(&ground, &[reading(30, 1_000)]);
    take(&ground, &[reading(30, 900)]);
    let mut witness = ground.witness();
    for statement in [
        "UPDATE readings SET temperature_mc = temperature_mc - 1",
        "UPDATE readings SET temperature_mc = temperature_mc",
        "UPDATE readings SET at = at + 1, temperature_mc = temperature_mc + 1",
        "UPDATE readings SET place_code = 'other', temperature_mc = temperature_mc + 1",
        "DELETE FROM readings",
        "UPDATE reading_contradictions SET temperature_mc = temperature_mc + 1",
        "DELETE FROM reading_contradictions",
        "UPDATE reading_deliveries SET accepted = accepted + 1",
        "DELETE FROM reading_deliveries",
    ] {
        let said = witness.batch_execute(statement).expect_err(statement).to_string();
        assert!(said.contains("readings are kept"), "{statement}: {said}");
    }
    witness.batch_execute("UPDATE readings SET temperature_mc = temperature_mc + 1").unwrap();
}

/// A few lines that span a year find what is there at their own instants.
fn a_wide_batch_reads_only_its_own_instants(which: Which) {
    let ground = ground(which);
    let year: Vec<Reading> = (1..=20_000).rev().map(|n| reading(n * 20, 1_000)).collect();
    for batch in year.chunks(5_000) {
        take(&ground, batch);
    }
    for n in 0..3 {
        let taken = take(&ground, &[reading(20 * 20_000, 1_000), reading(19 - n, 1_000)]);
        assert_eq!(counts(&taken), [("accepted", 1), ("repeated", 1)]);
    }
}

macro_rules! on_both {
    ($($scenario:ident => $sqlite:ident, $postgres:ident;)*) => {
        $(
            #[test]
            fn $sqlite() {
                $scenario(Which::Sqlite);
            }

            #[test]
            fn $postgres() {
                $scenario(Which::Postgres);
            }
        )*
    };
}

on_both! {
    each_delivery_leaves_its_trace => traces_on_sqlite, traces_on_postgresql;
    what_is_out_of_time_is_counted_and_not_kept => out_of_time_on_sqlite, out_of_time_on_postgresql;
    the_order_of_arrival_changes_nothing => order_on_sqlite, order_on_postgresql;
    readings_are_kept => kept_on_sqlite, kept_on_postgresql;
    a_wide_batch_reads_only_its_own_instants => wide_on_sqlite, wide_on_postgresql;
}
