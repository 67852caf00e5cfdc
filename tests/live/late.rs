//! PostgreSQL, where numbers are given out before the commit: someone else's open transaction holds changes back, and a snapshot does not run
//! ahead of its cursor. Each with its negative control.

use crate::PATIENCE;
use crate::ground::{Ground, Which, actor, arrival, chill, start};
use crate::replica::{Replica, Snapshot, at, snapshot};
use diesel::connection::SimpleConnection;
use sakudana::ops::break_down::{Cutting, InputDraft, OutputDraft, break_down};
use sakudana::ops::changes::{ChangeRow, FeedPosition, behind};
use sakudana::ops::desk::Desk;
use sakudana::ops::live_stock::Wanted;
use sakudana::ops::mark_down::mark_down;
use sakudana::ops::receive::receive;
use sakudana::ops::sell::{LineDraft, sell};
use sakudana::store::shelf;
use std::time::Instant;

/// Four blocks and a tub in a case; gives their codes.
fn stocked(ground: &Ground) -> Vec<String> {
    ground.place("case", chill(0, 2_000));
    let cutting = |fish: String| Cutting {
        inputs: vec![InputDraft { tray: fish, grams: None }],
        outputs: ["saku", "saku", "saku", "belly", "scrape"]
            .map(|cut| OutputDraft { cut: cut.into(), place: "case".into(), net_g: 800 })
            .into(),
        losses: Vec::new(),
        place: "case".into(),
        bench_minutes: Some(0),
        reason: None,
    };
    let made = ground.desk.act(move |tx, shop| {
        let fish = receive(tx, shop, &actor(), start(), &arrival("YFT", "case", 4_000))?;
        Ok(break_down(tx, shop, &actor(), start(), &cutting(fish.tray.code.to_string()))?.trays)
    });
    made.unwrap().iter().map(|tray| tray.code.to_string()).collect()
}

fn sell_one(desk: &Desk, tray: &str, grams: Option<i64>) {
    let line = LineDraft { tray: tray.into(), grams };
    desk.act(move |tx, shop| sell(tx, shop, &actor(), start(), std::slice::from_ref(&line))).unwrap();
}

fn whole(desk: &Desk) -> Snapshot {
    snapshot(desk, start(), &Wanted::default())
}

fn feed(desk: &Desk) -> Vec<ChangeRow> {
    desk.look(|reading, _| behind(reading, FeedPosition::START, 10_000)).unwrap()
}

/// The table as it can be seen, whatever is settled.
fn table(desk: &Desk) -> Replica {
    let rows = desk.look(|reading, _| Ok(shelf::page(reading, 0, 1_000)?)).unwrap();
    rows.into_iter().map(|row| (row.tray_code, row.offer)).collect()
}

fn until(what: &str, reached: impl Fn() -> bool) {
    let begun = Instant::now();
    while !reached() {
        assert!(begun.elapsed() < PATIENCE, "{what}");
        std::thread::sleep(std::time::Duration::from_millis(2));
    }
}

#[test]
fn a_snapshot_does_not_run_ahead_of_its_cursor() {
    let ground = Ground::open(Which::Postgres, 4);
    let (trays, desk) = (stocked(&ground), &ground.desk);
    until("the feed settles", || whole(desk).replica.len() == 5);
    let before = whole(desk);
    let mut other = ground.witness();
    other.batch_execute("BEGIN; SELECT pg_current_xact_id()").unwrap();
    sell_one(desk, &trays[0], None);
    sell_one(desk, &trays[4], Some(100));
    let (second, price) = (trays[1].clone(), 5_000);
    desk.act(move |tx, shop| mark_down(tx, shop, &actor(), start(), &second, price, "last day")).unwrap();
    stocked_again(desk);
    let held = whole(desk);
    assert_eq!(held.position, before.position, "the sequence is held back");
    assert_eq!((&held.replica, &held.order), (&before.replica, &before.order), "and so is the state");
    assert_eq!(held.replica, at(&feed(desk), held.position));
    let one = snapshot(desk, start(), &Wanted { code: Some(trays[0].clone()), ..Wanted::default() });
    assert_eq!(one.order, [trays[0].clone()], "it is not sold yet at that cursor");
    // The control: who read the table under this cursor would lack a tray, and be given it back by a change that comes before the sale.
    let ahead = table(desk);
    assert!(!ahead.contains_key(&trays[0]) && ahead.len() == 5 && ahead != held.replica);
    other.batch_execute("COMMIT").unwrap();
    until("the sales settle", || whole(desk).position > held.position);
    until("all settle", || whole(desk).replica == table(desk));
    assert_eq!(whole(desk).replica, at(&feed(desk), whole(desk).position));
}

/// Another fish, cut into one block, so that a tray is on the table which was not there at the cursor.
fn stocked_again(desk: &Desk) {
    desk.act(|tx, shop| {
        let fish = receive(tx, shop, &actor(), start(), &arrival("YFT", "case", 900))?;
        let cutting = Cutting {
            inputs: vec![InputDraft { tray: fish.tray.code.to_string(), grams: None }],
            outputs: vec![OutputDraft { cut: "saku".into(), place: "case".into(), net_g: 900 }],
            losses: Vec::new(),
            place: "case".into(),
            bench_minutes: Some(0),
            reason: None,
        };
        break_down(tx, shop, &actor(), start(), &cutting)
    })
    .unwrap();
}

/// The control of every test of the feed: who followed by plain numbers would pass over what commits late.
#[test]
fn a_follower_by_plain_numbers_would_skip() {
    let ground = Ground::open(Which::Postgres, 4);
    let (trays, desk) = (stocked(&ground), &ground.desk);
    until("the feed settles", || whole(desk).replica.len() == 5);
    let from = feed(desk).last().unwrap().position;
    let mut other = ground.witness();
    let late = "INSERT INTO changes (kind, at, tray_code) VALUES ('late', 1, 'LATE')";
    other.batch_execute(&format!("BEGIN; {late}")).unwrap();
    sell_one(desk, &trays[0], None);
    let plain = |above: i64| -> Vec<i64> {
        use diesel::prelude::*;
        #[derive(QueryableByName)]
        struct Number {
            #[diesel(sql_type = diesel::sql_types::BigInt)]
            id: i64,
        }
        let query = format!("SELECT id FROM changes WHERE id > {above} ORDER BY id");
        diesel::sql_query(query).load::<Number>(&mut ground.witness()).unwrap().iter().map(|row| row.id).collect()
    };
    let seen = plain(from.id);
    let keeps = *seen.last().unwrap();
    other.batch_execute("COMMIT").unwrap();
    let all = plain(from.id);
    assert!(all.len() > seen.len() && plain(keeps).is_empty(), "by plain numbers the late one is passed over: {all:?}");
    let follow = || desk.look(|reading, _| behind(reading, from, 100)).unwrap();
    until("both are told", || follow().len() == all.len());
    assert_eq!(follow()[0].kind, "late", "what was written first stands first");
}
