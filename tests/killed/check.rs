//! Holds what the tills were told against what the books say: every acknowledged act once, nothing else at all. Asks nobody, so that it can
//! be tried with books and logs that are wrong.

use std::collections::BTreeMap;

use serde_json::Value;

use crate::counter::{Books, Stock, Told};
use crate::program::{Act, BLOCK_G, Line, Slot};
use crate::replayed;
use crate::till::{Entry, Log};

/// Every contradiction between the logs of a round, all settled, and the books.
pub fn faults(stock: &Stock, logs: &[Log], books: &Books) -> Vec<String> {
    let mut faults = Vec::new();
    acts(logs, books, &mut faults);
    sales(logs, books, &mut faults);
    trays(stock, logs, books, &mut faults);
    replayed::contradictions(stock, &replayed::sales(logs), books, &mut faults);
    faults
}

fn done(logs: &[Log]) -> impl Iterator<Item = (&Log, &Entry)> {
    logs.iter().flat_map(|log| log.entries.iter().filter(|entry| entry.done().is_some()).map(move |entry| (log, entry)))
}

/// How the feed tells an act that was done, and how often: a queue is an act for each of its sales. A sale and a top-up carry no reason; they
/// are told apart by their lines and by the scales.
fn told(log: &Log, entry: &Entry) -> (Told, usize) {
    let times = if let Act::Replay { sales, .. } = &entry.act { sales.len() } else { 1 };
    let (kind, by_key) = match entry.act {
        Act::Sell(_) => ("sell", false),
        Act::Kitchen(_) => ("kitchen", true),
        Act::Waste(_) => ("waste", true),
        Act::Reverse(_) => ("reverse_sale", true),
        Act::TopUp { .. } => ("top_up", false),
        Act::Move { .. } => ("move", true),
        Act::Replay { .. } => ("replay_sale", false),
    };
    (Told { actor: log.actor.clone(), kind: kind.into(), reason: by_key.then(|| entry.key.clone()) }, times)
}

/// The feed has each act as often as it was acknowledged, and no act of a till besides.
fn acts(logs: &[Log], books: &Books, faults: &mut Vec<String>) {
    let mut balance: BTreeMap<Told, (usize, usize)> = BTreeMap::new();
    for (log, entry) in done(logs) {
        let (told, times) = told(log, entry);
        balance.entry(told).or_default().0 += times;
    }
    for act in books.acts.iter().filter(|act| logs.iter().any(|log| log.actor == act.actor)) {
        balance.entry(act.clone()).or_default().1 += 1;
    }
    let wrong = balance.iter().filter(|(_, (acknowledged, there))| acknowledged != there);
    faults.extend(
        wrong.map(|(act, (acknowledged, there))| format!("{act:?}: {acknowledged} acknowledged, {there} there")),
    );
}

/// Each acknowledged sale stands in the books once, with the till that made it and taken back or not as it was acknowledged; each sale of
/// the books was acknowledged to someone.
fn sales(logs: &[Log], books: &Books, faults: &mut Vec<String>) {
    let mut claimed: BTreeMap<i64, String> = BTreeMap::new();
    let reversed = reversals(logs);
    for (log, entry) in done(logs) {
        let Some(id) = entry.sale_id() else { continue };
        if let Some(other) = claimed.insert(id, entry.key.clone()) {
            faults.push(format!("sale {id} was the answer to {other} and to {}", entry.key));
        }
        match books.sales.get(&id) {
            None => faults.push(format!("sale {id} of {} is lost", entry.key)),
            Some(sale) if sale["sold_by"] != log.actor.as_str() => {
                faults.push(format!("sale {id} of {} was sold by {}", entry.key, sale["sold_by"]));
            }
            Some(sale) if sale["reversed"] != reversed.contains(&id) => {
                faults.push(format!("sale {id} of {}: reversed {}", entry.key, sale["reversed"]));
            }
            Some(_) => {}
        }
    }
    replayed::in_the_books(&replayed::sales(logs), books, &mut claimed, faults);
    let unknown = books.sales.keys().filter(|id| !claimed.contains_key(id));
    faults.extend(unknown.map(|id| format!("sale {id} was acknowledged to nobody")));
}

/// The sales that were taken back.
fn reversals(logs: &[Log]) -> Vec<i64> {
    let reversals = done(logs).filter(|(_, entry)| matches!(entry.act, Act::Reverse(_)));
    reversals.filter_map(|(_, entry)| entry.done()?["sale_id"].as_i64()).collect()
}

/// What is left on every tray, told from what was acknowledged alone, is what the books say.
fn trays(stock: &Stock, logs: &[Log], books: &Books, faults: &mut Vec<String>) {
    let mut left = stock.full();
    let reversed = reversals(logs);
    for (code, grams) in replayed::sales(logs).iter().flat_map(|sale| replayed::taken_from(books, stock, sale)) {
        *left.entry(code.to_owned()).or_default() -= grams;
    }
    let mut take = |slot: Slot, grams: i64| {
        *left.entry(stock.code(slot).to_owned()).or_default() -= grams;
    };
    let weight = |line: &Line| line.grams.unwrap_or(BLOCK_G);
    for (_, entry) in done(logs) {
        match &entry.act {
            Act::Sell(lines) if !entry.sale_id().is_some_and(|id| reversed.contains(&id)) => {
                lines.iter().for_each(|line| take(line.slot, weight(line)));
            }
            Act::Kitchen(line) | Act::Waste(line) => take(line.slot, weight(line)),
            Act::TopUp { tub, source, grams } => {
                take(Slot::Tub(*source), *grams);
                take(Slot::Tub(*tub), -grams);
            }
            Act::Sell(_) | Act::Reverse(_) | Act::Move { .. } | Act::Replay { .. } => {}
        }
    }
    for (code, left) in &left {
        let there = books.trays.get(code).copied().unwrap_or(0);
        if there != *left {
            faults.push(format!("tray {code}: {left} g by what was acknowledged, {there} g in the books"));
        }
    }
}

/// What is wrong with a sale read back: it must say what its answer said, but for being taken back since.
pub fn faults_of_a_sale(entry: &Entry, status: u16, now: &Value) -> Option<String> {
    let mut answered = entry.done()?;
    answered["reversed"] = now["reversed"].clone();
    (status != 200 || answered != *now).then(|| format!("{}: answered {answered}, {status} now {now}", entry.key))
}

/// What is wrong with an answer: it must sell what was asked, line by line.
pub fn faults_of_an_answer(stock: &Stock, entry: &Entry) -> Option<String> {
    let Act::Sell(lines) = &entry.act else { return None };
    let sold = entry.done()?;
    let told: Vec<(Option<&str>, Option<i64>)> =
        sold["lines"].as_array()?.iter().map(|l| (l["tray_code"].as_str(), l["grams"].as_i64())).collect();
    let asked: Vec<_> = lines.iter().map(|l| (Some(stock.code(l.slot)), Some(l.grams.unwrap_or(BLOCK_G)))).collect();
    (told != asked).then(|| format!("{}: asked {asked:?}, answered {told:?}", entry.key))
}
