//! Many callers at once: who wins, who is told so, and what stays when something goes wrong. On both databases, since
//! each has its own way to write. What an act may do is not asked here; see `model`.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "model/ground.rs"]
mod ground;
mod support;

use diesel::prelude::*;
use diesel::sql_types::BigInt;
use ground::{Ground, Which, Witness, actor, chill, on_both, shop, start};
use sakudana::domain::refusal::{Code, Refusal};
use sakudana::ops::count::{CountLine, count};
use sakudana::ops::desk::Desk;
use sakudana::ops::failure::Failure;
use sakudana::ops::look;
use sakudana::ops::once::{Answer, Request};
use sakudana::ops::sell::{LineDraft, sell};
use sakudana::ops::top_up::{TopUp, top_up};
use sakudana::ops::verify::verify;
use sakudana::store::error::StoreError;
use sakudana::store::{Reading, StoreOptions, acts};
use sakudana::units::instant::{Instant, MICROS_PER_SECOND};
use std::sync::mpsc::channel;
use std::sync::{Barrier, Mutex};
use std::thread;
use std::time::Duration;

on_both!(
    one_tray_is_sold_once_however_many_ask,
    different_trays_are_all_sold,
    a_refusal_does_not_disturb_its_neighbours,
    a_panicking_act_is_answered_and_leaves_nothing,
    what_was_answered_is_there_for_another_connection,
    a_reader_does_not_wait_for_a_writer,
    one_key_is_one_act,
    an_act_told_late_does_not_fail,
);

fn now() -> Instant {
    start().plus_micros(3_600 * MICROS_PER_SECOND)
}

fn open(which: Which) -> Ground {
    let ground = Ground::open(which, 8);
    ground.place("case", chill(0, 2_000));
    ground
}

fn sell_one(desk: &Desk, code: &str) -> Result<i64, Failure> {
    let line = LineDraft { tray: code.to_owned(), grams: None };
    desk.act(move |tx, shop| sell(tx, shop, &actor(), now(), std::slice::from_ref(&line)).map(|sold| sold.sale.id))
}

fn code_of(failure: &Failure) -> &'static str {
    match failure {
        Failure::Refused(refusal) => refusal.code.as_str(),
        Failure::Store(error) => panic!("the store failed: {error}"),
    }
}

/// Runs `work` in so many threads that begin together; the answers in the order of the threads.
fn together<T: Send>(threads: usize, work: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let begin = Barrier::new(threads);
    let (begin, work) = (&begin, &work);
    thread::scope(|scope| {
        let running: Vec<_> = (0..threads)
            .map(|number| {
                scope.spawn(move || {
                    begin.wait();
                    work(number)
                })
            })
            .collect();
        running.into_iter().map(|thread| thread.join().unwrap()).collect()
    })
}

#[derive(QueryableByName)]
struct Number {
    #[diesel(sql_type = BigInt)]
    number: i64,
}

fn number(witness: &mut Witness, query: &str) -> i64 {
    diesel::sql_query(format!("SELECT COUNT(*) AS number FROM {query}")).get_result::<Number>(witness).unwrap().number
}

fn hold_together(ground: &Ground) {
    let findings = ground.desk.look(|reading, _| verify(reading)).unwrap();
    let broken: Vec<_> = findings.into_iter().filter(|finding| !finding.wrong.is_empty()).collect();
    assert!(broken.is_empty(), "{broken:?}");
}

fn one_tray_is_sold_once_however_many_ask(which: Which) {
    const ROUNDS: usize = 20;
    let ground = open(which);
    let trays = ground.trays("saku", ROUNDS, 200);
    for code in &trays {
        let answers = together(64, |_| sell_one(&ground.desk, code));
        let winners = answers.iter().filter(|answer| answer.is_ok()).count();
        assert_eq!(winners, 1, "of {code}");
        let refused = answers.iter().filter_map(|answer| answer.as_ref().err());
        assert!(refused.clone().all(|failure| code_of(failure) == "already_sold"));
    }
    let mut witness = ground.witness();
    assert_eq!(number(&mut witness, "sales"), 20);
    assert_eq!(number(&mut witness, "sale_lines"), 20);
    assert_eq!(number(&mut witness, "trays WHERE fate = 'sold'"), 20);
    hold_together(&ground);
}

fn different_trays_are_all_sold(which: Which) {
    let ground = open(which);
    let trays = ground.trays("saku", 32, 200);
    let mut sales: Vec<i64> =
        together(32, |number| sell_one(&ground.desk, &trays[number])).into_iter().map(Result::unwrap).collect();
    sales.sort_unstable();
    sales.dedup();
    assert_eq!(sales.len(), 32, "each has a sale of its own");
    assert_eq!(number(&mut ground.witness(), "trays WHERE fate = 'sold'"), 32);
    hold_together(&ground);
}

/// Counts a tray away, which writes, and then refuses.
fn count_and_refuse(desk: &Desk, code: &str) -> Result<(), Failure> {
    let line = CountLine { tray: code.to_owned(), counted_g: 0 };
    desk.act(move |tx, shop| {
        count(tx, shop, &actor(), now(), std::slice::from_ref(&line), Some("thought better of it"))?;
        Err(Refusal::new(Code::NotACandidate, "", "changed our mind").into())
    })
}

fn a_refusal_does_not_disturb_its_neighbours(which: Which) {
    let ground = open(which);
    let trays = ground.trays("saku", 48, 200);
    let mut witness = ground.witness();
    let acts_before = number(&mut witness, "acts");
    // A third sells, a third writes and then refuses, a third is refused before it writes.
    let answers = together(48, |number| match number % 3 {
        0 => sell_one(&ground.desk, &trays[number]).map(drop),
        1 => count_and_refuse(&ground.desk, &trays[number]),
        _ => sell_one(&ground.desk, "CCCCCCC").map(drop),
    });
    for (index, answer) in answers.iter().enumerate() {
        match index % 3 {
            0 => assert_eq!(answer, &Ok(()), "{index}"),
            1 => assert_eq!(code_of(answer.as_ref().unwrap_err()), "not_a_candidate"),
            _ => assert!(matches!(code_of(answer.as_ref().unwrap_err()), "not_a_code" | "wrong_check_character")),
        }
    }
    assert_eq!(number(&mut witness, "acts") - acts_before, 16, "one act for each sale, none for what was refused");
    assert_eq!(number(&mut witness, "count_lines"), 0);
    assert_eq!(number(&mut witness, "trays WHERE fate = 'sold'"), 16);
    assert_eq!(number(&mut witness, "trays WHERE fate = 'counted_away'"), 0);
    hold_together(&ground);
}

fn a_panicking_act_is_answered_and_leaves_nothing(which: Which) {
    let ground = open(which);
    let trays = ground.trays("saku", 24, 200);
    let panicking = |code: &str| -> Result<(), Failure> {
        let line = CountLine { tray: code.to_owned(), counted_g: 0 };
        ground.desk.act(move |tx, shop| {
            count(tx, shop, &actor(), now(), std::slice::from_ref(&line), Some("going to panic"))?;
            panic!("an act with a defect, on purpose");
        })
    };
    assert_eq!(panicking(&trays[0]), Err(Failure::Store(StoreError::Panicked)), "alone");
    let answers = together(24, |number| {
        if number % 4 == 0 { panicking(&trays[number]) } else { sell_one(&ground.desk, &trays[number]).map(drop) }
    });
    for (index, answer) in answers.into_iter().enumerate() {
        let expected = if index % 4 == 0 { Err(Failure::Store(StoreError::Panicked)) } else { Ok(()) };
        assert_eq!(answer, expected, "{index} in company");
    }
    assert_eq!(number(&mut ground.witness(), "count_lines"), 0);
    assert!(sell_one(&ground.desk, &trays[0]).is_ok(), "the writer goes on");
    hold_together(&ground);
}

fn what_was_answered_is_there_for_another_connection(which: Which) {
    let ground = open(which);
    let trays = ground.trays("saku", 20, 200);
    let mut witness = ground.witness();
    for (index, code) in trays.iter().enumerate() {
        sell_one(&ground.desk, code).unwrap();
        assert_eq!(number(&mut witness, "sales"), i64::try_from(index).unwrap() + 1);
    }
    // A second desk on the same database, as after a start, and beside the first.
    let options = StoreOptions { database: ground.address(), readers: 1 };
    let other = Desk::open(&options, shop()).unwrap();
    assert_eq!(code_of(&sell_one(&other, &trays[0]).unwrap_err()), "already_sold");
    let seen = other.look(|reading, _| look::sales_page(reading, None, 100)).unwrap();
    assert_eq!(seen.len(), 20);
}

fn count_acts(reading: &mut Reading<'_>) -> Result<i64, Failure> {
    Ok(acts::count(reading)?)
}

fn a_reader_does_not_wait_for_a_writer(which: Which) {
    const AT_LEAST: Duration = Duration::from_millis(300);
    const AT_MOST: Duration = Duration::from_secs(4);
    let ground = open(which);
    let trays = ground.trays("saku", 1, 200);
    let before = ground.desk.look(|reading, _| count_acts(reading)).unwrap();
    let (wrote, has_written) = channel();
    let (looked, has_looked) = channel();
    let (wrote, has_looked) = (Mutex::new(wrote), Mutex::new(has_looked));
    let code = trays[0].clone();
    thread::scope(|scope| {
        let writer = scope.spawn(|| {
            ground.desk.act(move |tx, shop| {
                let line = LineDraft { tray: code.clone(), grams: None };
                sell(tx, shop, &actor(), now(), &[line])?;
                // The test may have stopped listening; the act goes on all the same.
                let _ = wrote.lock().unwrap().send(());
                thread::sleep(AT_LEAST);
                Ok(has_looked.lock().unwrap().recv_timeout(AT_MOST).is_ok())
            })
        });
        has_written.recv().unwrap();
        let seen = ground.desk.look(|reading, _| count_acts(reading)).unwrap();
        looked.send(()).unwrap();
        assert_eq!(seen, before, "nothing of an act is seen before it is committed");
        // A snapshot taken now stays what it is, whatever is committed beside it.
        let still = ground.desk.look(|reading, _| {
            let first = count_acts(reading)?;
            assert!(writer.join().unwrap()?, "the look waited for the act to end");
            Ok((first, count_acts(reading)?))
        });
        let (first, again) = still.unwrap();
        assert_eq!(first, again, "one look sees one state");
    });
    assert_eq!(ground.desk.look(|reading, _| count_acts(reading)).unwrap(), before + 1);
}

fn request(fingerprint: &str) -> Request {
    Request {
        client: "till 1".into(),
        route: "POST /v1/sales".into(),
        key: "0f8e-41".into(),
        fingerprint: fingerprint.into(),
    }
}

fn sell_under(desk: &Desk, request: Request, code: &str) -> Result<Answer, Failure> {
    let line = LineDraft { tray: code.to_owned(), grams: None };
    desk.act_once(request, now(), move |tx, shop| {
        let sold = sell(tx, shop, &actor(), now(), std::slice::from_ref(&line))?;
        Ok((201, format!("sale {}", sold.sale.id)))
    })
}

fn one_key_is_one_act(which: Which) {
    let ground = open(which);
    let trays = ground.trays("saku", 3, 200);
    let answers: Vec<Answer> =
        together(16, |_| sell_under(&ground.desk, request("a"), &trays[0])).into_iter().map(Result::unwrap).collect();
    assert_eq!(answers.iter().filter(|answer| !answer.replayed).count(), 1, "one did it");
    assert!(answers.iter().all(|answer| answer.status == 201 && answer.body == answers[0].body), "{answers:?}");
    assert_eq!(number(&mut ground.witness(), "sales"), 1);

    let later = sell_under(&ground.desk, request("a"), &trays[0]).unwrap();
    assert_eq!(later, Answer { replayed: true, ..answers[0].clone() });
    let other = sell_under(&ground.desk, request("b"), &trays[1]).unwrap_err();
    assert_eq!(code_of(&other), "key_reused");
    assert_eq!(number(&mut ground.witness(), "trays WHERE fate = 'sold'"), 1, "the other content did nothing");

    // Another client's key of the same name is another key; a refusal is not kept.
    let another = Request { client: "till 2".into(), ..request("a") };
    assert_eq!(code_of(&sell_under(&ground.desk, another.clone(), &trays[0]).unwrap_err()), "already_sold");
    assert!(!sell_under(&ground.desk, Request { fingerprint: "c".into(), ..another }, &trays[1]).unwrap().replayed);
}

/// Two requests that come in together are done one after the other, perhaps the later first: its moment then lies
/// behind what the trays have seen.
fn an_act_told_late_does_not_fail(which: Which) {
    let ground = open(which);
    let tubs = ground.trays("scrape", 3, 200);
    for (source, seconds) in [(1, 60), (2, 58)] {
        let (tub, draft) = (tubs[0].clone(), TopUp { source: tubs[source].clone(), grams: None });
        let at = start().plus_micros(seconds * MICROS_PER_SECOND);
        let filled = ground.desk.act(move |tx, shop| top_up(tx, shop, &actor(), at, &tub, &draft)).unwrap();
        assert_eq!(filled.net.get(), 200 + 200 * i64::try_from(source).unwrap());
    }
    hold_together(&ground);
}
