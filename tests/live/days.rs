//! Random days of sixteen writers, on two desks where the database is a server's: whoever follows sees every change once and in one order,
//! from the database or from the memory of a process; every snapshot is the state at its cursor; the shelf is what a fresh judgement says.

use crate::PATIENCE;
use crate::dice::Dice;
use crate::ground::{Ground, Which, chill, shop, start};
use crate::replica::{Snapshot, apply, at, part, snapshot, sums};
use crate::writer::{Clock, PLACES, Tally, Writer};
use diesel::connection::SimpleConnection;
use sakudana::domain::place::PlaceDraft;
use sakudana::domain::tray::Kind;
use sakudana::domain::verdict::Outcome;
use sakudana::jobs::feed;
use sakudana::ops::board::in_stock;
use sakudana::ops::changes::{ChangeRow, FeedPosition, behind, newest};
use sakudana::ops::desk::Desk;
use sakudana::ops::feed::Behind;
use sakudana::ops::live_stock::Wanted;
use sakudana::ops::shelf::{catch_up, go_over};
use sakudana::ops::verify::verify;
use sakudana::store::StoreOptions;
use sakudana::units::instant::{Instant, MICROS_PER_MINUTE};
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::Duration;

const WRITERS: u64 = 16;

fn number(variable: &str, default: u64) -> u64 {
    std::env::var(variable).ok().map_or(default, |text| text.parse().expect("a number"))
}

pub fn are_followed(which: Which) {
    let (acts, seed) = (usize::try_from(number("SAKUDANA_LIVE_ACTS", 20)).unwrap(), number("SAKUDANA_LIVE_SEED", 1));
    let ground = Ground::open(which, 8);
    ground.place("case", chill(0, 2_000));
    ground.place("cabinet", chill(0, 3_000));
    let frozen = PlaceDraft { method: "frozen".into(), ..chill(-25_000, -20_000) };
    ground.place("freezer", frozen);
    let open = || Arc::new(Desk::open(&StoreOptions { database: ground.address(), readers: 8 }, shop()).unwrap());
    // A second one on the same database stands for another process; an embedded database has one.
    let desks = if which == Which::Postgres { vec![open(), open()] } else { vec![open()] };
    let feeding: Vec<feed::Feeding> = desks.iter().map(|desk| feed::start(desk).unwrap()).collect();
    let (clock, tally, done) = (Clock::from(start()), Tally::default(), AtomicBool::new(false));
    println!("seed {seed}, {WRITERS} writers, {acts} acts each");
    let (followed, snapshots) = thread::scope(|scope| {
        let (desks, clock, tally, done) = (&desks, &clock, &tally, &done);
        let desk_of = move |n: u64| &desks[usize::try_from(n).unwrap() % desks.len()];
        let followers: Vec<_> = (0..4)
            .map(|n| {
                scope.spawn(move || {
                    if n < 2 { by_pages(desk_of(n), seed + n, done) } else { by_memory(desk_of(n), seed + n, done) }
                })
            })
            .collect();
        let photographers: Vec<_> =
            (0..2).map(|n| scope.spawn(move || photograph(desk_of(n), clock, seed + n, done))).collect();
        let other = (which == Which::Postgres).then(|| scope.spawn(|| hold_things_back(&ground, done)));
        let writers: Vec<_> = (0..WRITERS)
            .map(|n| scope.spawn(move || Writer::new(desk_of(n), clock, tally, seed * 1_000 + n).work(acts)))
            .collect();
        writers.into_iter().for_each(|writer| writer.join().unwrap());
        done.store(true, Ordering::SeqCst);
        other.into_iter().for_each(|other| other.join().unwrap());
        let followed: Vec<Vec<ChangeRow>> = followers.into_iter().map(|one| one.join().unwrap()).collect();
        let snapshots: Vec<Snapshot> = photographers.into_iter().flat_map(|one| one.join().unwrap()).collect();
        (followed, snapshots)
    });
    drop(feeding);
    let tally = tally.into_inner().unwrap();
    println!("{} changes, {} snapshots, {tally:?}", followed[0].len(), snapshots.len());
    assert!(["receive", "break_down", "sell"].iter().all(|kind| tally.contains_key(kind)), "{tally:?}");
    all_saw_the_same(&followed, &desks[0]);
    snapshots_are_states(&followed[0], &snapshots);
    // As it is where a shop was open before there was a shelf.
    ground.witness().batch_execute("DELETE FROM shelf WHERE tray_id % 3 = 0").unwrap();
    the_shelf_is_judged_afresh(&desks[0], clock.now(), &followed[0]);
}

/// Whether everything that was committed has come: nothing is open any more, and this is the end.
fn is_end(desk: &Desk, position: FeedPosition, total: usize, seen: usize) -> bool {
    seen == total && desk.look(|reading, _| newest(reading)).unwrap() == position
}

fn total(desk: &Desk) -> usize {
    // Of changes that are settled and of those that are not.
    usize::try_from(desk.look(|reading, _| Ok(sakudana::store::changes::count(reading)?)).unwrap()).unwrap()
}

/// Reads pages of random size, stops now and then before it has kept its cursor, and is given the same again.
fn by_pages(desk: &Desk, seed: u64, done: &AtomicBool) -> Vec<ChangeRow> {
    let mut dice = Dice::new(seed);
    let (mut seen, mut position, begun) = (Vec::<ChangeRow>::new(), FeedPosition::START, std::time::Instant::now());
    loop {
        let over = done.load(Ordering::SeqCst);
        let limit = dice.between(1, 40);
        let found = desk.look(|reading, _| behind(reading, position, limit)).unwrap();
        if dice.one_in(5) {
            let again = desk.look(|reading, _| behind(reading, position, 400)).unwrap();
            assert_eq!(again[..found.len()], found, "something came to stand before what was shown");
            continue;
        }
        if found.is_empty() {
            if over && is_end(desk, position, total(desk), seen.len()) {
                return seen;
            }
            assert!(begun.elapsed() < PATIENCE, "{} of {} seen", seen.len(), total(desk));
            thread::sleep(Duration::from_millis(3));
        }
        position = found.last().map_or(position, |change| change.position);
        seen.extend(found);
    }
}

/// Listens to the memory of the process as a stream does; at random it sleeps for so long that it has to read on from the database.
fn by_memory(desk: &Desk, seed: u64, done: &AtomicBool) -> Vec<ChangeRow> {
    let mut dice = Dice::new(seed);
    let (mut seen, mut position, begun) = (Vec::<ChangeRow>::new(), FeedPosition::START, std::time::Instant::now());
    let mut from_memory = 0;
    loop {
        let over = done.load(Ordering::SeqCst);
        let found: Vec<ChangeRow> = match desk.feed().behind(position, dice.below(30) + 1) {
            Behind::News(news) => news.iter().map(|told| told.change.clone()).inspect(|_| from_memory += 1).collect(),
            Behind::Nothing => Vec::new(),
            Behind::More => desk.look(|reading, _| behind(reading, position, 20)).unwrap(),
        };
        if found.is_empty() {
            if over && is_end(desk, position, total(desk), seen.len()) {
                assert!(from_memory > 0, "nothing came from memory");
                return seen;
            }
            assert!(begun.elapsed() < PATIENCE, "{} of {} seen", seen.len(), total(desk));
            thread::sleep(Duration::from_millis(if dice.one_in(30) { 300 } else { 2 }));
        }
        position = found.last().map_or(position, |change| change.position);
        seen.extend(found);
    }
}

/// Takes snapshots at random moments.
fn photograph(desk: &Desk, clock: &Clock, seed: u64, done: &AtomicBool) -> Vec<Snapshot> {
    let (mut dice, mut taken) = (Dice::new(seed), Vec::new());
    while !done.load(Ordering::SeqCst) {
        taken.push(snapshot(desk, clock.now(), &Wanted::default()));
        thread::sleep(Duration::from_millis(u64::try_from(dice.between(0, 30)).unwrap()));
    }
    taken.push(snapshot(desk, clock.now(), &Wanted::default()));
    taken
}

/// Someone else on the same server: has written something, and does not come to an end for a while.
fn hold_things_back(ground: &Ground, done: &AtomicBool) {
    let (mut other, mut dice) = (ground.witness(), Dice::new(7));
    while !done.load(Ordering::SeqCst) {
        other.batch_execute("BEGIN; SELECT pg_current_xact_id()").unwrap();
        thread::sleep(Duration::from_millis(u64::try_from(dice.between(1, 60)).unwrap()));
        other.batch_execute("COMMIT").unwrap();
        thread::sleep(Duration::from_millis(u64::try_from(dice.between(0, 10)).unwrap()));
    }
}

fn all_saw_the_same(followed: &[Vec<ChangeRow>], desk: &Desk) {
    for changes in followed {
        assert!(changes == &followed[0], "all follow one order");
        let ids: BTreeSet<i64> = changes.iter().map(|change| change.position.id).collect();
        assert_eq!((ids.len(), changes.len()), (total(desk), total(desk)), "each once");
        assert!(changes.windows(2).all(|pair| pair[0].position < pair[1].position));
    }
}

fn snapshots_are_states(changes: &[ChangeRow], snapshots: &[Snapshot]) {
    assert!(snapshots.iter().any(|one| !one.replica.is_empty()), "every snapshot is empty");
    for taken in snapshots {
        assert_eq!(taken.replica, at(changes, taken.position), "{:?}", taken.position);
        assert_eq!(taken.order.len(), taken.replica.len(), "each tray once");
        let cuts = taken.cuts.iter().map(|cut| (cut.cut_code.clone(), (cut.trays, cut.sellable_g))).collect();
        assert_eq!(sums(&taken.replica), cuts);
        // Whoever goes on from it has what everybody has.
        let mut replica = taken.replica.clone();
        changes.iter().filter(|change| change.position > taken.position).for_each(|change| apply(&mut replica, change));
        assert_eq!(replica, at(changes, changes.last().unwrap().position));
    }
}

/// What a computed end is told as: a quarter of an hour, rounded down, but for the printed date.
fn told(until: Instant, printed: Option<Instant>) -> String {
    let step = 15 * MICROS_PER_MINUTE;
    let told = if printed == Some(until) { until } else { until.plus_micros(-until.micros().rem_euclid(step)) };
    told.to_string()
}

fn the_shelf_is_judged_afresh(desk: &Desk, now: Instant, changes: &[ChangeRow]) {
    // The followers have stopped; what comes now is told to nobody but the last snapshot.
    for place in PLACES {
        go_over(desk, now, place).unwrap();
    }
    catch_up(desk, now).unwrap();
    let told_of = changes.last().unwrap().position;
    let begun = std::time::Instant::now();
    let taken = loop {
        let taken = snapshot(desk, now, &Wanted::default());
        let rest = desk.look(|reading, _| behind(reading, told_of, 10_000)).unwrap();
        if changes.len() + rest.len() == total(desk) && rest.last().is_none_or(|last| last.position == taken.position) {
            break taken;
        }
        assert!(begun.elapsed() < PATIENCE, "the feed does not come to its end");
    };
    let judged = desk.look(|reading, shop| in_stock(reading, shop, now)).unwrap();
    let for_sale: Vec<_> = judged.iter().filter(|one| one.facts.tray.kind != Kind::Bulk).collect();
    assert_eq!(taken.replica.len(), for_sale.len());
    for one in for_sale {
        let (tray, offer) = (&one.facts.tray, &taken.replica[&one.facts.tray.code.to_string()]);
        let offer: Value = serde_json::from_str(offer).unwrap();
        let mut stops: Vec<&str> = one.verdict.stops.iter().map(|stop| stop.code.as_str()).collect();
        stops.dedup();
        let until = one.verdict.sell_until.map(|until| told(until, tray.use_by));
        let should = json!([tray.net.get(), tray.price.get(), tray.place, one.verdict.outcome.as_str(), stops, until]);
        let is = json!([
            offer["net_weight_g"],
            offer["price_per_kg_cents"],
            offer["place_code"],
            offer["verdict"],
            offer["stops"],
            offer["sell_until"]
        ]);
        assert_eq!(is, should, "{}", tray.code);
    }
    parts_are_parts(desk, now, &taken);
    for finding in desk.look(|reading, _| verify(reading)).unwrap() {
        assert_eq!(finding.wrong, Vec::<String>::new(), "{}", finding.name);
    }
}

fn parts_are_parts(desk: &Desk, now: Instant, whole: &Snapshot) {
    let cut = |cut: &str| Wanted { cut: Some(cut.into()), ..Wanted::default() };
    let mut parts = vec![cut("saku"), cut("scrape"), cut("none"), Wanted { place: Some("case".into()), ..cut("saku") }];
    for verdict in [Outcome::Sell, Outcome::SellAtMarkdown, Outcome::Stop] {
        parts.push(Wanted { verdict: Some(verdict), ..Wanted::default() });
    }
    for wanted in parts {
        assert_eq!(snapshot(desk, now, &wanted).replica, part(&whole.replica, &wanted), "{wanted:?}");
    }
    if let Some(tray) = whole.replica.keys().next() {
        let one = snapshot(desk, now, &Wanted { code: Some(tray.clone()), ..Wanted::default() });
        assert_eq!(one.order, std::slice::from_ref(tray));
    }
}
