//! A till: does its program, writes down what it was told, and after the server's death asks again under the same keys. Judges only what it
//! was told itself.

use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::counter::Stock;
use crate::program::{Act, Line, Slot};
use crate::queue;
use crate::support::http::{Answer, Client};

/// What became of a request, as far as the till knows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// 201, a queue 200, with this body: from now on it must be there.
    Done(String),
    /// A rule of the shop said no: it must not be there.
    Refused(String),
    /// No answer, or one that leaves it open.
    Open(String),
}

#[derive(Debug, Clone)]
pub struct Entry {
    pub key: String,
    pub act: Act,
    pub path: String,
    /// Of a queue, its sales, which are sent a line each.
    pub body: Value,
    pub outcome: Outcome,
}

/// Everything a till asked, in order.
#[derive(Debug, Clone)]
pub struct Log {
    /// As the server writes it behind what the till did.
    pub actor: String,
    pub entries: Vec<Entry>,
}

impl Entry {
    pub fn done(&self) -> Option<Value> {
        match &self.outcome {
            Outcome::Done(body) => Some(serde_json::from_str(body).expect("an answer that is JSON")),
            _ => None,
        }
    }

    /// The sale it made, if it made one.
    pub fn sale_id(&self) -> Option<i64> {
        let made = matches!(self.act, Act::Sell(_)).then(|| self.done())??;
        made["sale_id"].as_i64()
    }

    /// A server that can only be read for a while, or is not back yet, is asked again.
    fn ask_until_answered(&self, client: &Client) -> (Outcome, bool) {
        let end = Instant::now() + PATIENCE;
        loop {
            let (outcome, replayed) = self.ask(client);
            if !matches!(outcome, Outcome::Open(_)) {
                return (outcome, replayed);
            }
            assert!(Instant::now() < end, "{} {} stays open: {outcome:?}", self.path, self.key);
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// The outcome, and whether any of it had been done before.
    ///
    /// # Panics
    /// When the server admits a defect: nothing a kill may bring about.
    fn ask(&self, client: &Client) -> (Outcome, bool) {
        let (call, done) = (client.post(&self.path), self.status_when_done());
        let answer = match self.act {
            // Each sale of it has a key of its own.
            Act::Replay { .. } => call.bytes("application/x-ndjson", queue::as_sent(&self.body).as_bytes()),
            _ => call.idempotency_key(&self.key).json(&self.body),
        }
        .try_send();
        let outcome = match &answer {
            Err(error) => Outcome::Open(error.to_string()),
            Ok(answer) => match answer.status {
                status if status == done => Outcome::Done(answer.text()),
                503 => Outcome::Open(answer.text()),
                400..=499 => Outcome::Refused(answer.json()["code"].as_str().expect("a code").to_owned()),
                status => panic!("{} {}: {status} {}", self.path, self.body, answer.text()),
            },
        };
        let replayed = match self.act {
            Act::Replay { .. } => {
                queue::taken(&Entry { outcome: outcome.clone(), ..self.clone() }).map(|taken| taken.replayed > 0)
            }
            _ => answer.ok().map(|answer| answer.header("idempotent-replayed") == Some("true")),
        };
        (outcome, replayed.unwrap_or(false))
    }

    fn status_when_done(&self) -> u16 {
        if matches!(self.act, Act::Replay { .. }) { 200 } else { 201 }
    }

    /// Whether it says the same when it is asked again, and that it did nothing.
    fn is_the_same_again(&self, again: &Outcome, replayed: bool) -> bool {
        match self.act {
            Act::Replay { .. } => queue::is_the_same_again(&self.outcome, again),
            _ => replayed && *again == self.outcome,
        }
    }
}

pub fn line_body(stock: &Stock, line: &Line) -> Value {
    match line.grams {
        Some(grams) => json!({"tray_code": stock.code(line.slot), "grams": grams}),
        None => json!({"tray_code": stock.code(line.slot)}),
    }
}

/// Where an act is asked for, and with which body. Its key stands in every reason, so that the feed says which request an act came from.
fn request(act: &Act, stock: &Stock, key: &str, before: &[Option<Entry>]) -> Option<(String, Value)> {
    let tray = |slot: Slot, what: &str| format!("/v1/trays/{}/{what}", stock.code(slot));
    Some(match act {
        Act::Sell(lines) => {
            let lines: Vec<Value> = lines.iter().map(|line| line_body(stock, line)).collect();
            ("/v1/sales".to_owned(), json!({ "lines": lines }))
        }
        Act::Kitchen(line) => (tray(line.slot, "kitchen-transfers"), json!({"grams": line.grams, "reason": key})),
        Act::Waste(line) => (tray(line.slot, "wastes"), json!({"grams": line.grams, "reason": key})),
        Act::Reverse(number) => {
            let sale = before[*number].as_ref()?.sale_id()?;
            (format!("/v1/sales/{sale}/reversal"), json!({ "reason": key }))
        }
        Act::TopUp { tub, source, grams } => {
            let body = json!({"source_tray_code": stock.code(Slot::Tub(*source)), "grams": grams});
            (tray(Slot::Tub(*tub), "top-ups"), body)
        }
        Act::Replay { sales, clock } => (queue::PATH.to_owned(), queue::kept(stock, key, sales, *clock)),
        Act::Move { slot, place } => (tray(*slot, "moves"), json!({"place_code": place, "reason": key})),
    })
}

/// Works until the program ends, the till is told to close, or an answer does not come.
pub fn work(client: &Client, program: &[Act], stock: &Stock, name: &str, closing: &AtomicBool) -> Vec<Entry> {
    let mut asked: Vec<Option<Entry>> = Vec::new();
    for (number, act) in program.iter().enumerate() {
        if closing.load(Ordering::Relaxed) {
            break;
        }
        let key = format!("{name}-act-{number:04}");
        let Some((path, body)) = request(act, stock, &key, &asked) else {
            asked.push(None);
            continue;
        };
        let mut entry = Entry { key, act: act.clone(), path, body, outcome: Outcome::Open(String::new()) };
        entry.outcome = entry.ask(client).0;
        let open = matches!(entry.outcome, Outcome::Open(_));
        asked.push(Some(entry));
        if open {
            break;
        }
    }
    asked.into_iter().flatten().collect()
}

/// A database that was killed may need a while before it takes anything; then the same key is asked again.
const PATIENCE: Duration = Duration::from_secs(60);

/// Asks again for what stayed open, until there is an answer. Says how many of them had been done already.
pub fn settle(client: &Client, entries: &mut [Entry]) -> (usize, usize) {
    let (mut open, mut had_been_done) = (0, 0);
    for entry in entries.iter_mut().filter(|entry| matches!(entry.outcome, Outcome::Open(_))) {
        open += 1;
        let (outcome, replayed) = entry.ask_until_answered(client);
        had_been_done += usize::from(replayed);
        entry.outcome = outcome;
    }
    (open, had_been_done)
}

/// What is wrong with the answers to the last requests, and to the last queue, asked again under their keys: the same status, the same body,
/// and said to be no new act.
pub fn faults_of_replays(client: &Client, entries: &[Entry], last: usize) -> Vec<String> {
    let done: Vec<&Entry> = entries.iter().filter(|entry| matches!(entry.outcome, Outcome::Done(_))).collect();
    let wrong = |entry: &&Entry| {
        let (again, replayed) = entry.ask_until_answered(client);
        (!entry.is_the_same_again(&again, replayed))
            .then(|| format!("{}: asked again, replayed {replayed}: {again:?}, before {:?}", entry.key, entry.outcome))
    };
    let (earlier, latest) = done.split_at(done.len().saturating_sub(last));
    let queue = earlier.iter().rev().find(|entry| matches!(entry.act, Act::Replay { .. }));
    queue.into_iter().chain(latest).filter_map(wrong).collect()
}

/// The acknowledged sales as the server tells them now.
pub fn sales_now(client: &Client, entries: &[Entry]) -> Vec<(i64, Answer)> {
    let sales = entries.iter().filter_map(Entry::sale_id);
    sales.map(|id| (id, client.get(&format!("/v1/sales/{id}")).send())).collect()
}
