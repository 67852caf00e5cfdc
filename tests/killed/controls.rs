//! The checker tried with what it has to see: an acknowledgement of nothing, an act done twice, an answer of another act. Without these a
//! clean run would say little.

use std::sync::atomic::AtomicBool;

use serde_json::json;

use crate::check::{faults, faults_of_a_sale, faults_of_an_answer};
use crate::counter::{Books, Counter, Mark, Stock, actor};
use crate::program::{Act, Clock, Line, Slot};
use crate::till::{Log, Outcome, faults_of_replays, line_body, sales_now, settle, work};

pub struct Day {
    pub counter: Counter,
    pub stock: Stock,
    mark: Mark,
    pub logs: Vec<Log>,
    _folder: tempfile::TempDir,
}

fn lines() -> Vec<Line> {
    vec![Line { slot: Slot::Block(0), grams: None }, Line { slot: Slot::Tub(0), grams: Some(50) }]
}

pub fn draw(tub: usize, grams: i64) -> Line {
    Line { slot: Slot::Tub(tub), grams: Some(grams) }
}

/// A quiet day with one of each act, which the checker finds nothing wrong with.
pub fn day() -> Day {
    let folder = tempfile::tempdir().unwrap();
    let mut counter = Counter::open(&folder.path().join("shop.db").display().to_string());
    let (stock, mark) = counter.refill();
    let program = [
        Act::Sell(lines()),
        Act::Sell(vec![Line { slot: Slot::Block(1), grams: None }]),
        Act::Reverse(1),
        Act::Kitchen(Line { slot: Slot::Block(2), grams: None }),
        Act::Waste(Line { slot: Slot::Tub(1), grams: Some(30) }),
        Act::TopUp { tub: 0, source: 1, grams: 20 },
        Act::Move { slot: Slot::Block(3), place: "other-case" },
        // The first block is sold already; the tub holds less than the last sale says.
        Act::Replay {
            sales: vec![vec![draw(3, 7)], vec![draw(3, 6), lines().remove(0)], vec![draw(3, 7)], vec![draw(4, 4_001)]],
            clock: Clock::Right,
        },
        Act::Replay {
            sales: vec![vec![draw(3, 2)], vec![Line { slot: Slot::Block(4), grams: None }]],
            clock: Clock::Ahead,
        },
    ];
    let entries = work(&counter.till(0), &program, &stock, "controls-till-00", &AtomicBool::new(false));
    assert!(entries.iter().all(|entry| entry.done().is_some()), "{entries:?}");
    let logs = vec![Log { actor: actor(0), entries }];
    let day = Day { counter, stock, mark, logs, _folder: folder };
    assert_eq!(day.faults(&day.logs), Vec::<String>::new());
    day
}

impl Day {
    pub fn books(&self) -> Books {
        self.counter.books(&self.mark)
    }

    pub fn faults(&self, logs: &[Log]) -> Vec<String> {
        faults(&self.stock, logs, &self.books())
    }
}

/// Whether one of the faults says this.
#[track_caller]
pub fn sees(faults: &[String], what: &str) {
    assert!(faults.iter().any(|fault| fault.contains(what)), "nobody saw {what:?}: {faults:#?}");
}

#[test]
fn the_checker_sees_a_sale_that_never_was() {
    let day = day();
    let mut logs = day.logs.clone();
    let mut entry = logs[0].entries[0].clone();
    entry.key = "controls-never-sent".into();
    entry.act = Act::Sell(vec![Line { slot: Slot::Block(9), grams: None }]);
    entry.outcome = Outcome::Done(json!({"sale_id": 4_711, "lines": []}).to_string());
    logs[0].entries.push(entry);
    let found = day.faults(&logs);
    sees(&found, "sale 4711 of controls-never-sent is lost");
    sees(&found, &format!("tray {}: 0 g by what was acknowledged, 200 g", day.stock.blocks[9]));
    sees(&found, "3 acknowledged, 2 there");
    // And its own till sees it when it asks.
    let entries = &logs[0].entries;
    let (_, answer) = sales_now(&day.counter.till(0), entries).pop().unwrap();
    assert!(faults_of_a_sale(entries.last().unwrap(), answer.status, &answer.json()).is_some());
    sees(&faults_of_replays(&day.counter.till(0), entries, 1), "controls-never-sent");
}

#[test]
fn the_checker_sees_an_act_done_twice() {
    let day = day();
    let twice = day.counter.till(0);
    let line = Line { slot: Slot::Tub(2), grams: Some(40) };
    let body = json!({"lines": [line_body(&day.stock, &line)]});
    let sell = |key: &str| twice.post("/v1/sales").idempotency_key(key).json(&body).send().expect(201);
    let (first, _) = (sell("controls-first-key"), sell("controls-second-key"));
    let mut logs = day.logs.clone();
    let mut entry = logs[0].entries[0].clone();
    (entry.key, entry.act) = ("controls-first-key".into(), Act::Sell(vec![line]));
    (entry.body, entry.outcome) = (body, Outcome::Done(first.text()));
    logs[0].entries.push(entry);
    let found = day.faults(&logs);
    sees(&found, "was acknowledged to nobody");
    sees(&found, "3 acknowledged, 4 there");
    sees(&found, &format!("tray {}: 3960 g by what was acknowledged, 3920 g", day.stock.tubs[2]));
    // A server that forgot the key but not the act would answer a second time as if it were the first.
    let mut forgotten = logs[0].entries.last().unwrap().clone();
    forgotten.key = "controls-second-key".into();
    sees(&faults_of_replays(&twice, &[forgotten], 1), "controls-second-key: asked again");
}

#[test]
fn the_checker_sees_what_was_done_and_never_acknowledged() {
    let day = day();
    for (number, told) in
        [(0, "sell"), (2, "reverse_sale"), (3, "kitchen"), (4, "waste"), (5, "top_up"), (6, "move"), (7, "replay_sale")]
    {
        let mut logs = day.logs.clone();
        logs[0].entries[number].outcome = Outcome::Refused("already_sold".into());
        let found = day.faults(&logs);
        sees(&found, &format!("kind: \"{told}\""));
    }
}

#[test]
fn the_checker_sees_the_answer_of_another_act() {
    let day = day();
    let mut logs = day.logs.clone();
    let other = logs[0].entries[1].outcome.clone();
    logs[0].entries[0].outcome = other;
    sees(&day.faults(&logs), "was the answer to");
    assert!(faults_of_an_answer(&day.stock, &logs[0].entries[0]).is_some());
    assert!(faults_of_an_answer(&day.stock, &day.logs[0].entries[0]).is_none());
}

#[test]
fn what_stays_open_is_settled_by_its_key() {
    let mut day = day();
    let till = day.counter.till(0);
    let done = day.logs[0].entries[0].outcome.clone();
    day.logs[0].entries[0].outcome = Outcome::Open("the cable was pulled".into());
    assert_eq!(settle(&till, &mut day.logs[0].entries), (1, 1), "it had been done");
    assert_eq!(day.logs[0].entries[0].outcome, done);
    let mut never = day.logs[0].entries[0].clone();
    (never.key, never.outcome) = ("controls-not-sent-yet".into(), Outcome::Open(String::new()));
    never.act = Act::Sell(vec![Line { slot: Slot::Tub(5), grams: Some(5) }]);
    never.body = json!({"lines": [{"tray_code": day.stock.tubs[5], "grams": 5}]});
    let mut entries = [never];
    assert_eq!(settle(&till, &mut entries), (1, 0), "it is done now");
    let [never] = entries;
    day.logs[0].entries.push(never);
    assert_eq!(day.faults(&day.logs), Vec::<String>::new());
}
