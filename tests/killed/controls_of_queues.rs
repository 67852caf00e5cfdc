//! The checker tried with queues: a sale of one that never was, one taken twice, one that nobody acknowledged, an answer that says too much.

use serde_json::Value;

use crate::controls::{Day, day, draw, sees};
use crate::program::{Act, Clock, Line, Slot};
use crate::queue::{PATH, as_sent, faults_of_a_queue, kept, taken};
use crate::till::{Entry, Outcome, faults_of_replays, settle};

/// Where the queues of the day stand: with a clock that is right, and with one that is ahead.
const RIGHT: usize = 7;
const AHEAD: usize = 8;

fn answer(entry: &Entry) -> Value {
    entry.done().expect("an acknowledged queue")
}

/// The queue with another answer.
fn answered(entry: &Entry, change: impl FnOnce(&mut Value)) -> Entry {
    let mut body = answer(entry);
    change(&mut body);
    Entry { outcome: Outcome::Done(body.to_string()), ..entry.clone() }
}

/// A queue that nobody has sent yet.
fn new_queue(day: &Day, key: &str, sales: Vec<Vec<Line>>) -> Entry {
    let body = kept(&day.stock, key, &sales, Clock::Right);
    let act = Act::Replay { sales, clock: Clock::Right };
    Entry { key: key.into(), act, path: PATH.into(), body, outcome: Outcome::Open(String::new()) }
}

fn send(day: &Day, sales: &Value) -> String {
    let call = day.counter.till(0).post(PATH).bytes("application/x-ndjson", as_sent(sales).as_bytes());
    call.send().expect(200).text()
}

#[test]
fn a_replayed_sale_that_never_was() {
    let day = day();
    let mut logs = day.logs.clone();
    let entry = &mut logs[0].entries[RIGHT];
    *entry = answered(entry, |body| {
        body["sales"] = 5.into();
        body["accepted"] = 3.into();
    });
    let Act::Replay { sales, .. } = &mut entry.act else { panic!("{entry:?}") };
    sales.push(vec![Line { slot: Slot::Block(9), grams: None }]);
    let found = day.faults(&logs);
    sees(&found, "1 replayed sales of key till 00 for 1590 are lost");
    sees(&found, "7 acknowledged, 6 there");
    sees(&found, &format!("tray {}: 0 g by what was acknowledged, 200 g", day.stock.blocks[9]));
    // One whose number was told is missed by it.
    let mut logs = day.logs.clone();
    let entry = &mut logs[0].entries[AHEAD];
    *entry = answered(entry, |body| body["listed"][1]["sale_id"] = 4_711.into());
    let found = day.faults(&logs);
    sees(&found, &format!("sale 4711 of {}-sale-002 is lost", logs[0].entries[AHEAD].key));
    sees(&found, "was acknowledged to nobody");
    // The number of another sale is not its own.
    let mut logs = day.logs.clone();
    let entry = &mut logs[0].entries[AHEAD];
    *entry = answered(entry, |body| body["listed"][1]["sale_id"] = body["listed"][0]["sale_id"].clone());
    sees(&day.faults(&logs), "was the answer to");
}

#[test]
fn a_replayed_sale_taken_twice() {
    let day = day();
    let sold_out = Line { slot: Slot::Block(0), grams: None };
    let first = new_queue(&day, "controls-first-queue", vec![vec![draw(5, 9)], vec![sold_out.clone()]]);
    let second = new_queue(&day, "controls-second-queue", vec![vec![draw(5, 9)], vec![sold_out]]);
    let outcome = Outcome::Done(send(&day, &first.body));
    send(&day, &second.body);
    let mut logs = day.logs.clone();
    logs[0].entries.push(Entry { outcome: outcome.clone(), ..first });
    let found = day.faults(&logs);
    sees(&found, "was acknowledged to nobody");
    sees(&found, "8 acknowledged, 10 there");
    sees(&found, &format!("tray {}: 3991 g by what was acknowledged, 3982 g", day.stock.tubs[5]));
    sees(&found, "line 1, was answered to nobody");
    // A server that forgot the keys but not the sales would take them again, as it takes these of a third queue.
    let third = new_queue(&day, "controls-third-queue", vec![vec![draw(5, 9)], vec![draw(5, 1)]]);
    let forgotten = Entry { outcome, ..third };
    sees(&faults_of_replays(&day.counter.till(0), &[forgotten], 1), "controls-third-queue: asked again");
    // The queues that were acknowledged are asked again even where other acts came after them.
    let entries = &day.logs[0].entries;
    assert_eq!(faults_of_replays(&day.counter.till(0), entries, 1), Vec::<String>::new());
    let wrong = answered(&entries[RIGHT], |body| body["listed"][0]["sale_id"] = 4_711.into());
    sees(&faults_of_replays(&day.counter.till(0), &[wrong, entries[0].clone()], 1), "asked again");
}

#[test]
fn a_replayed_sale_that_nobody_acknowledged() {
    let day = day();
    let mut logs = day.logs.clone();
    logs[0].entries.remove(RIGHT);
    let found = day.faults(&logs);
    sees(&found, "was acknowledged to nobody");
    sees(&found, "2 acknowledged, 6 there");
    sees(&found, "line 2, was answered to nobody");
    // What moved is the manager's to read, and has to fit what was sold.
    let mut books = day.books();
    let told = books.exceptions.values_mut().find(|told| told["missing_g"] == 1).expect("the tub that held less");
    told["missing_g"] = 2.into();
    sees(&crate::check::faults(&day.stock, &day.logs, &books), "overdrawn");
    let mut books = day.books();
    let sale = books.contradicted.values_mut().next().expect("a sale with an exception");
    sale["lines"][0]["grams"] = 5.into();
    sees(&crate::check::faults(&day.stock, &day.logs, &books), "moved");
}

#[test]
fn an_answer_that_is_not_to_what_was_sent() {
    let day = day();
    let (right, ahead) = (&day.logs[0].entries[RIGHT], &day.logs[0].entries[AHEAD]);
    assert_eq!([right, ahead].map(faults_of_a_queue), [const { Vec::<String>::new() }; 2]);
    let says = |entry: &Entry, what: &str, change: fn(&mut Value)| {
        sees(&faults_of_a_queue(&answered(entry, change)), what);
    };
    says(right, "malformed", |body| body["malformed"] = 1.into());
    says(right, "the counts", |body| body["sales"] = 3.into());
    says(right, "no whole hundreds", |body| body["replayed"] = 1.into());
    says(right, "a contradiction that nobody made", |body| {
        body["listed"][0]["contradicts"][0]["code"] = "key_reused".into();
    });
    says(right, "not its own", |body| body["listed"][0]["key"] = "controls-other-key".into());
    says(ahead, "another clock", |body| body["listed"][0]["clock"] = "plausible".into());
    says(ahead, "not seen everywhere", |body| drop(body["listed"].as_array_mut().unwrap().pop()));
    says(ahead, "listed twice", |body| body["listed"][1]["number"] = 1.into());
    let refused = Entry { outcome: Outcome::Refused("already_sold".into()), ..right.clone() };
    sees(&faults_of_a_queue(&refused), "what happened was refused");
}

#[test]
fn a_queue_that_was_cut_is_sent_again_whole() {
    let mut day = day();
    let sales = |tub: usize| vec![vec![draw(tub, 1)]; 130];
    let cut = new_queue(&day, "controls-cut-queue", sales(6));
    send(&day, &cut.body.as_array().unwrap()[..100].iter().cloned().collect());
    let mut entries = [cut];
    assert_eq!(settle(&day.counter.till(0), &mut entries), (1, 1), "a part of it had been taken");
    let [cut] = entries;
    let told = taken(&cut).unwrap();
    assert_eq!((told.replayed, told.accepted), (100, 30));
    assert_eq!(faults_of_a_queue(&cut), Vec::<String>::new());
    // No transaction ends there.
    let other = new_queue(&day, "controls-other-queue", sales(7));
    send(&day, &other.body.as_array().unwrap()[..40].iter().cloned().collect());
    let mut entries = [other];
    settle(&day.counter.till(0), &mut entries);
    let [other] = entries;
    sees(&faults_of_a_queue(&other), "no whole hundreds");
    day.logs[0].entries.extend([cut, other]);
    assert_eq!(day.faults(&day.logs), Vec::<String>::new());
    assert_eq!(faults_of_replays(&day.counter.till(0), &day.logs[0].entries, 2), Vec::<String>::new());
}
