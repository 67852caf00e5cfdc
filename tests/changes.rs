//! The change feed on both databases: whoever follows by its cursor, stopping and going on as it likes, sees every committed act once, in
//! one order, however the writers overlap. How it travels over HTTP is asked in `http`.
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
use diesel::prelude::*;
use diesel::sql_types::BigInt;
use ground::{Ground, Which, Witness, actor, arrival, chill, on_both, shop, start};
use sakudana::domain::life::curve::Reading;
use sakudana::domain::logger::Line;
use sakudana::domain::place::PlaceDraft;
use sakudana::domain::refusal::{Code, Refusal};
use sakudana::ops::changes::{ChangeRow, FeedPosition, behind, newest};
use sakudana::ops::desk::Desk;
use sakudana::ops::failure::Failure;
use sakudana::ops::receive::receive;
use sakudana::ops::{alarm, take_readings, watch};
use sakudana::store::StoreOptions;
use sakudana::store::acts::{self, NewAct};
use sakudana::units::instant::MICROS_PER_HOUR;
use sakudana::units::temperature::MilliCelsius;
use std::collections::BTreeSet;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

on_both!(
    followers_see_every_act_once_and_in_one_order,
    what_the_watch_finds_is_in_the_feed,
    a_position_of_another_record_is_refused,
    a_new_follower_may_begin_now,
);

/// Longer than anything here takes; other tests on the same server hold the feed back while they write.
const PATIENCE: Duration = Duration::from_secs(60);

fn page(desk: &Desk, position: FeedPosition, limit: i64) -> Vec<ChangeRow> {
    desk.look(|reading, _| behind(reading, position, limit)).unwrap()
}

/// Everything behind a position, once it is at least so much.
fn at_least(desk: &Desk, position: FeedPosition, count: usize) -> Vec<ChangeRow> {
    let begun = Instant::now();
    loop {
        let found = page(desk, position, 10_000);
        if found.len() >= count {
            return found;
        }
        assert!(begun.elapsed() < PATIENCE, "only {} of {count} are in the feed", found.len());
        thread::sleep(Duration::from_millis(2));
    }
}

fn now_in(desk: &Desk) -> FeedPosition {
    desk.look(|reading, _| newest(reading)).unwrap()
}

/// Where the feed stands when all that was committed is in it.
fn settled(ground: &Ground) -> FeedPosition {
    let all = count(&mut ground.witness(), "changes");
    at_least(&ground.desk, FeedPosition::START, all).last().map_or(FeedPosition::START, |last| last.position)
}

fn note<'a>(who: &'a str, said: &'a str) -> NewAct<'a> {
    NewAct { kind: "note", at: start(), recorded_at: start(), actor: who, reason: Some(said), reverses: None }
}

/// One act of several rows, the transaction open for a while between them; or one that refuses after it has written.
fn write(desk: &Desk, who: &str, said: Vec<String>, pause: Duration, refuses: bool) {
    let who = who.to_owned();
    let answer = desk.act(move |tx, _| {
        for text in &said {
            acts::append(tx, &note(&who, text))?;
            thread::sleep(pause);
        }
        if refuses {
            return Err(Failure::from(Refusal::new(Code::NotACandidate, "", "thought better of it")));
        }
        Ok(())
    });
    assert_eq!(answer.is_err(), refuses, "{answer:?}");
}

fn said(change: &ChangeRow) -> &str {
    change.reason.as_deref().unwrap_or_default()
}

#[derive(QueryableByName)]
struct Number {
    #[diesel(sql_type = BigInt)]
    number: i64,
}

fn count(witness: &mut Witness, table: &str) -> usize {
    let query = format!("SELECT COUNT(*) AS number FROM {table}");
    usize::try_from(diesel::sql_query(query).get_result::<Number>(witness).unwrap().number).unwrap()
}

const WRITERS: usize = 8;
const ACTS_EACH: usize = 30;
const FOLLOWERS: u64 = 4;

/// Writes numbered rows, one to three an act, some acts slow; every tenth act or so refuses and must never be seen. Gives the rows written.
fn writer(desk: &Desk, number: usize) -> usize {
    let mut dice = Dice::new(u64::try_from(number).unwrap());
    let mut rows = 0;
    for _ in 0..ACTS_EACH {
        let refuses = dice.one_in(10);
        let more = usize::try_from(dice.between(1, 3)).unwrap();
        let text =
            if refuses { vec!["never".into(); more] } else { (rows..rows + more).map(|n| n.to_string()).collect() };
        let pause =
            Duration::from_micros(u64::try_from(if dice.one_in(3) { dice.between(0, 3_000) } else { 0 }).unwrap());
        write(desk, &format!("writer {number}"), text, pause, refuses);
        rows += if refuses { 0 } else { more };
    }
    rows
}

/// Follows until the writers are done and nothing is missing. At random it stops before it has kept its cursor, so that it must be given the
/// same again, and at random it goes on from another desk, as after a restart.
fn follower(ground: &Ground, seed: u64, done: &AtomicBool) -> Vec<ChangeRow> {
    let mut dice = Dice::new(seed);
    let mut restarted: Option<Desk> = None;
    let (mut seen, mut position) = (Vec::<ChangeRow>::new(), FeedPosition::START);
    let begun = Instant::now();
    loop {
        assert!(begun.elapsed() < PATIENCE, "{} seen", seen.len());
        if dice.one_in(40) {
            restarted = Some(Desk::open(&StoreOptions { database: ground.address(), readers: 1 }, shop()).unwrap());
        }
        let desk = restarted.as_ref().unwrap_or(&ground.desk);
        let no_more_to_come = done.load(Ordering::SeqCst);
        let found = page(desk, position, dice.between(1, 20));
        if dice.one_in(4) {
            let again = page(desk, position, 200);
            assert_eq!(again[..found.len()], found, "something came to stand before what was shown");
            continue;
        }
        position = found.last().map_or(position, |change| change.position);
        if found.is_empty() && no_more_to_come && count(&mut ground.witness(), "changes") == seen.len() {
            return seen;
        }
        seen.extend(found);
    }
}

fn followers_see_every_act_once_and_in_one_order(which: Which) {
    let ground = Ground::open(which, 8);
    let before = count(&mut ground.witness(), "changes");
    let done = AtomicBool::new(false);
    let (written, seen) = thread::scope(|scope| {
        let (ground, done) = (&ground, &done);
        let followers: Vec<_> = (0..FOLLOWERS).map(|n| scope.spawn(move || follower(ground, 100 + n, done))).collect();
        let writers: Vec<_> = (0..WRITERS).map(|n| scope.spawn(move || writer(&ground.desk, n))).collect();
        let written: Vec<usize> = writers.into_iter().map(|thread| thread.join().unwrap()).collect();
        done.store(true, Ordering::SeqCst);
        (written, followers.into_iter().map(|thread| thread.join().unwrap()).collect::<Vec<_>>())
    });
    assert_eq!(count(&mut ground.witness(), "changes"), before + written.iter().sum::<usize>());
    for changes in &seen {
        assert_eq!(changes, &seen[0], "all follow one order");
        let ids: BTreeSet<i64> = changes.iter().map(|change| change.position.id).collect();
        assert_eq!(ids.len(), changes.len(), "each once");
        for (number, rows) in written.iter().enumerate() {
            let name = format!("writer {number}");
            let own: Vec<&str> =
                changes.iter().filter(|change| change.actor.as_deref() == Some(name.as_str())).map(said).collect();
            assert_eq!(own, (0..*rows).map(|n| n.to_string()).collect::<Vec<_>>(), "{name}");
        }
    }
}

const INSERT: &str = "WITH act AS (INSERT INTO acts (at, recorded_at, kind, actor, reason) VALUES (1, 1, 'note', 'late', 'late') RETURNING id) \
                      INSERT INTO changes (act_id, kind, at) SELECT id, 'note', 1 FROM act";

/// Someone else's transaction holds a row back: begun before, or with a number before, what others commit meanwhile.
fn late(first: &str, then: &str, end: &str) -> (Vec<String>, bool) {
    let ground = Ground::open(Which::Postgres, 2);
    let from = settled(&ground);
    let mut other = ground.witness();
    other.batch_execute(&format!("BEGIN; {first}")).unwrap();
    for said in ["one", "two"] {
        write(&ground.desk, "quick", vec![said.into()], Duration::ZERO, false);
    }
    let committed = count(&mut ground.witness(), "changes");
    let meanwhile = page(&ground.desk, from, 100);
    assert_eq!(
        (meanwhile, now_in(&ground.desk)),
        (Vec::new(), from),
        "{committed} acts are committed and may not be passed"
    );
    other.batch_execute(&format!("{then}; {end}")).unwrap();
    let expected = if end == "COMMIT" { 3 } else { 2 };
    let found = at_least(&ground.desk, from, expected);
    let by_id = found.windows(2).all(|pair| pair[0].position.id < pair[1].position.id);
    (found.iter().map(|change| said(change).to_owned()).collect(), by_id)
}

#[test]
fn a_writer_that_commits_late_is_not_skipped() {
    assert_eq!(late(INSERT, "SELECT 1", "COMMIT"), (["late", "one", "two"].map(String::from).into(), true));
    // Its number was given out early and its act late: ids are not the order.
    let early_number = late("SELECT pg_current_xact_id()", INSERT, "COMMIT");
    assert_eq!(early_number, (["late", "one", "two"].map(String::from).into(), false));
    assert_eq!(late(INSERT, "SELECT 1", "ROLLBACK"), (["one", "two"].map(String::from).into(), true));
}

/// A dump taken from a server that had counted further: its numbers come along as they were.
#[test]
fn a_record_restored_on_another_server_goes_on() {
    let ground = Ground::open(Which::Postgres, 1);
    let restored = INSERT
        .replace("kind, at) SELECT id, 'note', 1", "kind, at, xact) SELECT id, 'note', 1, 5000000000")
        .replace("'late')", "'restored')");
    ground.witness().batch_execute(&restored).unwrap();
    for round in ["first", "second"] {
        let desk = Desk::open(&StoreOptions { database: ground.address(), readers: 1 }, shop()).unwrap();
        let from =
            at_least(&desk, FeedPosition::START, count(&mut ground.witness(), "changes")).last().unwrap().position;
        assert!(from.xact >= 5_000_000_000, "{from:?}");
        write(&desk, "after", vec![round.into()], Duration::ZERO, false);
        assert_eq!(at_least(&desk, from, 1).iter().map(said).collect::<Vec<_>>(), [round]);
    }
}

fn what_the_watch_finds_is_in_the_feed(which: Which) {
    let ground = Ground::open(which, 1);
    ground.place("case", PlaceDraft { expects_readings: Some(true), ..chill(0, 2_000) });
    let desk = &ground.desk;
    desk.act(|tx, shop| receive(tx, shop, &actor(), start(), &arrival("YFT", "case", 4_000)).map(drop)).unwrap();
    let from = settled(&ground);
    // Never measured, which is silence; then a day at 12 °C, which no fish stands.
    desk.act(|tx, shop| watch::go_round(tx, shop, start())).unwrap();
    let at = |hours: i64| start().plus_micros(hours * MICROS_PER_HOUR);
    let lines: Vec<Line> = (0..=24)
        .map(|hour| Line {
            number: u64::try_from(hour).unwrap() + 1,
            found: Ok(Reading { at: at(hour), temperature: MilliCelsius::new(12_000).unwrap() }),
        })
        .collect();
    desk.act(move |tx, shop| {
        let delivery = take_readings::begin(tx, "case")?;
        take_readings::take(tx, shop, &actor(), at(24), &delivery, &lines)?;
        watch::go_round(tx, shop, at(24))?;
        let first = alarm::open(tx)?.remove(0).alarm.id;
        alarm::acknowledge(tx, &actor(), at(24), first, Some("compressor"))
    })
    .unwrap();
    let all = count(&mut ground.witness(), "changes");
    let before = page(desk, FeedPosition::START, 10_000).iter().filter(|change| change.position <= from).count();
    let found = at_least(desk, from, all - before);
    let mut told: Vec<(&str, &str)> =
        found.iter().map(|change| (change.kind.as_str(), change.actor.as_deref().unwrap_or_default())).collect();
    assert_eq!((told[0].0, told.last().copied()), ("alarm", Some(("acknowledge", "mika"))), "{told:?}");
    told.sort_unstable();
    let by_the_watch = ["alarm", "alarm", "alarm", "alarm_over", "hold"].map(|kind| (kind, "the shop's watch"));
    assert_eq!(told, [&[("acknowledge", "mika")][..], &by_the_watch].concat());
}

fn a_position_of_another_record_is_refused(which: Which) {
    let ground = Ground::open(which, 1);
    let last = settled(&ground);
    let moved = |xact: i64, id: i64| FeedPosition { xact: last.xact + xact, id: last.id + id };
    for other in [moved(0, 1), moved(1, 0), moved(0, i64::MIN), moved(i64::MIN, 0)] {
        let refused = ground.desk.look(|reading, _| behind(reading, other, 5)).unwrap_err();
        assert!(matches!(&refused, Failure::Refused(r) if r.code == Code::InvalidValue), "{other:?}: {refused}");
    }
    assert_eq!(page(&ground.desk, last, 5), []);
}

fn a_new_follower_may_begin_now(which: Which) {
    let ground = Ground::open(which, 1);
    assert_eq!(settled(&ground), now_in(&ground.desk));
    let from = now_in(&ground.desk);
    write(&ground.desk, "later", vec!["a".into(), "b".into()], Duration::ZERO, false);
    assert_eq!(at_least(&ground.desk, from, 2).iter().map(said).collect::<Vec<_>>(), ["a", "b"]);
    assert_eq!(page(&ground.desk, from, 1).iter().map(said).collect::<Vec<_>>(), ["a"], "half an act is a page too");
}
