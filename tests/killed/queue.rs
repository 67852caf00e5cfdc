//! What a till sold while it was cut off: how it tells of it, and what the answer alone shows to be wrong. Asks nobody.

use std::collections::{BTreeMap, BTreeSet};

use sakudana::units::instant::{MICROS_PER_HOUR, MICROS_PER_SECOND};
use sakudana::web::clock;
use serde_json::{Value, json};

use crate::counter::Stock;
use crate::opening;
use crate::program::{Act, BLOCK_G, Clock, Line, Slot};
use crate::till::{Entry, Outcome, line_body};

pub const PATH: &str = "/v1/sales/replays";

/// Sales of one transaction: what had been taken before a death is whole hundreds, or all of them.
const BATCH: usize = 100;

/// What a sale here can contradict; anything else is the server's mistake.
const EXPECTED: [&str; 3] = ["already_sold", "gone_otherwise", "overdrawn"];

/// What a line says was sold.
pub fn asked(line: &Line) -> i64 {
    line.grams.unwrap_or(BLOCK_G)
}

/// What the shop charges for a line: half a cent goes up.
fn price(line: &Line) -> i64 {
    let per_kg = match line.slot {
        Slot::Block(_) => opening::BLOCK.1,
        Slot::Tub(_) => opening::TUB.1,
    };
    (per_kg * asked(line) + 500) / 1_000
}

pub fn total(sale: &[Line]) -> i64 {
    sale.iter().map(price).sum()
}

fn key_of_sale(key: &str, number: usize) -> String {
    format!("{key}-sale-{number:03}")
}

/// The queue as the till keeps it from now on: sent again, it says the same times.
pub fn kept(stock: &Stock, key: &str, sales: &[Vec<Line>], clock: Clock) -> Value {
    let wrong_by = match clock {
        Clock::Right => 0,
        Clock::Ahead => MICROS_PER_HOUR,
    };
    let now = clock::now().plus_micros(wrong_by - MICROS_PER_SECOND);
    let line = |line: &Line| {
        let mut body = line_body(stock, line);
        body["price_cents"] = json!(price(line));
        body
    };
    let sale = |(number, lines): (usize, &Vec<Line>)| {
        // One in a thousandth of a second, the last a second ago at most.
        let sold_at = now.plus_micros(i64::try_from(number).unwrap() * 1_000);
        json!({"key": key_of_sale(key, number), "sold_at": sold_at.to_string(), "sequence": number,
            "lines": lines.iter().map(line).collect::<Vec<_>>()})
    };
    (1..).zip(sales).map(sale).collect()
}

/// A sale a line, as it is sent.
pub fn as_sent(kept: &Value) -> String {
    kept.as_array().expect("a queue").iter().map(|sale| format!("{sale}\n")).collect()
}

/// A sale that the answer tells of by itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    pub outcome: String,
    pub key: String,
    pub sale_id: i64,
    pub clock: String,
    /// By line: what it contradicts.
    pub contradicts: BTreeMap<i64, BTreeSet<String>>,
}

/// What became of each sale.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    pub sales: usize,
    pub accepted: usize,
    pub accepted_with_exceptions: usize,
    pub replayed: usize,
    pub malformed: usize,
    /// By their place in the queue, from 1.
    pub listed: BTreeMap<usize, Listed>,
    /// How many there are in the list: no place may be told of twice.
    pub length: usize,
}

impl Taken {
    fn read(body: &str) -> Taken {
        let body: Value = serde_json::from_str(body).expect("an answer that is JSON");
        let count = |name: &str| usize::try_from(body[name].as_u64().expect("a count")).unwrap();
        let list = body["listed"].as_array().expect("a list");
        Taken {
            sales: count("sales"),
            accepted: count("accepted"),
            accepted_with_exceptions: count("accepted_with_exceptions"),
            replayed: count("replayed"),
            malformed: count("malformed"),
            listed: list.iter().map(listed).collect(),
            length: list.len(),
        }
    }

    fn listed_as(&self, outcome: &str) -> usize {
        self.listed.values().filter(|one| one.outcome == outcome).count()
    }
}

fn listed(one: &Value) -> (usize, Listed) {
    let text = |name: &str| one[name].as_str().unwrap_or_default().to_owned();
    let mut contradicts: BTreeMap<i64, BTreeSet<String>> = BTreeMap::new();
    for what in one["contradicts"].as_array().expect("a list") {
        let (line, code) = (what["line"].as_i64().unwrap(), what["code"].as_str().unwrap());
        contradicts.entry(line).or_default().insert(code.to_owned());
    }
    let (outcome, key, clock) = (text("outcome"), text("key"), text("clock"));
    let listed = Listed { outcome, key, clock, contradicts, sale_id: one["sale_id"].as_i64().unwrap_or(0) };
    (usize::try_from(one["number"].as_u64().unwrap()).unwrap(), listed)
}

/// What was answered, if the entry is a queue and was answered.
pub fn taken(entry: &Entry) -> Option<Taken> {
    match (&entry.act, &entry.outcome) {
        (Act::Replay { .. }, Outcome::Done(body)) => Some(Taken::read(body)),
        _ => None,
    }
}

/// What is wrong with the answer to a queue, whether it was sent once or again: each sale is taken or was there, those that were there came
/// first and by whole hundreds, and the list names what it should.
pub fn faults_of_a_queue(entry: &Entry) -> Vec<String> {
    let Act::Replay { sales, clock } = &entry.act else { return Vec::new() };
    if let Outcome::Refused(code) = &entry.outcome {
        return vec![format!("{}: what happened was refused: {code}", entry.key)];
    }
    let Some(taken) = taken(entry) else { return Vec::new() };
    let mut faults = Vec::new();
    let mut must = |holds: bool, what: &str| {
        if !holds {
            faults.push(format!("{}: {what}: {taken:?}", entry.key));
        }
    };
    must(taken.malformed == 0, "malformed");
    let sum = taken.accepted + taken.accepted_with_exceptions + taken.replayed + taken.malformed;
    must(taken.sales == sales.len() && sum == sales.len(), "the counts are not those of what was sent");
    must(taken.replayed == sales.len() || taken.replayed.is_multiple_of(BATCH), "no whole hundreds had been taken");
    must(taken.length == taken.listed.len(), "a sale is listed twice");
    must(taken.listed_as("accepted_with_exceptions") == taken.accepted_with_exceptions, "an exception is not listed");
    must(*clock == Clock::Right || taken.listed.len() == sales.len(), "the wrong clock was not seen everywhere");
    for (number, one) in &taken.listed {
        let had_been = *number <= taken.replayed;
        must(had_been == (one.outcome == "replayed"), "what had been taken was not the beginning");
        must(one.key == key_of_sale(&entry.key, *number), "listed under a key that is not its own");
        must((one.outcome == "accepted") <= one.contradicts.is_empty(), "accepted with a contradiction");
        must((one.outcome == "accepted_with_exceptions") <= !one.contradicts.is_empty(), "an exception without reason");
        let said = if *clock == Clock::Ahead { "ahead" } else { "plausible" };
        must(one.clock == said, "another clock");
        must(*clock == Clock::Ahead || !one.contradicts.is_empty(), "listed without a reason");
        let known = one.contradicts.values().flatten().all(|code| EXPECTED.contains(&code.as_str()));
        must(known, "a contradiction that nobody made");
    }
    faults
}

/// Whether a queue that was answered before is answered the same, but that all of it had been there.
pub fn is_the_same_again(before: &Outcome, again: &Outcome) -> bool {
    let (Outcome::Done(before), Outcome::Done(again)) = (before, again) else { return false };
    let (before, again) = (Taken::read(before), Taken::read(again));
    let as_replayed = |one: &Listed| Listed { outcome: "replayed".into(), ..one.clone() };
    let listed = before.listed.iter().map(|(number, one)| (*number, as_replayed(one))).collect();
    let sales = before.sales;
    again == Taken { accepted: 0, accepted_with_exceptions: 0, replayed: sales, malformed: 0, listed, ..before }
}
