//! Holds what was answered to queues against the books: each sale once, and what moved of it. Asks nobody.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::Value;

use crate::counter::{Books, Stock};
use crate::program::{Act, Line};
use crate::queue::{Listed, asked, taken, total};
use crate::till::{Entry, Log};

/// A replayed sale that was acknowledged.
pub struct Sale<'a> {
    pub actor: &'a str,
    /// The queue it was in.
    pub key: &'a str,
    pub lines: &'a [Line],
    /// None of a sale that was taken plainly: its number is then not told.
    pub listed: Option<Listed>,
}

/// The sales of all queues that were acknowledged.
pub fn sales(logs: &[Log]) -> Vec<Sale<'_>> {
    let entries = logs.iter().flat_map(|log| log.entries.iter().map(move |entry| (log, entry)));
    entries.flat_map(|(log, entry)| of_entry(&log.actor, entry)).collect()
}

fn of_entry<'a>(actor: &'a str, entry: &'a Entry) -> Vec<Sale<'a>> {
    let (Act::Replay { sales, .. }, Some(mut taken)) = (&entry.act, taken(entry)) else { return Vec::new() };
    let sale = |(number, lines): (usize, &'a Vec<Line>)| {
        let listed = taken.listed.remove(&number);
        Sale { actor, key: &entry.key, lines, listed }
    };
    (1..).zip(sales).map(sale).collect()
}

/// Each stands in the books once, for what was charged: under its number where that was told, and as one of the others of its till and sum
/// where it was not. `claimed` are the sales of the books that are somebody's, by whom.
pub fn in_the_books(sales: &[Sale<'_>], books: &Books, claimed: &mut BTreeMap<i64, String>, faults: &mut Vec<String>) {
    for sale in sales {
        let Some(Listed { sale_id: id, key, .. }) = &sale.listed else { continue };
        if let Some(other) = claimed.insert(*id, key.clone()) {
            faults.push(format!("sale {id} was the answer to {other} and to {key}"));
        }
        match books.sales.get(id) {
            None => faults.push(format!("sale {id} of {key} is lost")),
            Some(kept) => faults.extend(faults_of_a_kept_sale(sale, kept)),
        }
    }
    let mut unlisted: BTreeMap<(&str, i64), i64> = BTreeMap::new();
    for sale in sales.iter().filter(|sale| sale.listed.is_none()) {
        *unlisted.entry((sale.actor, total(sale.lines))).or_default() += 1;
    }
    for (id, kept) in &books.sales {
        let named = kept["sold_by"].as_str().zip(kept["total_cents"].as_i64());
        let left = named.and_then(|named| unlisted.get_mut(&named)).filter(|left| **left > 0);
        if let Some(left) = left.filter(|_| !claimed.contains_key(id) && kept["reversed"] == false) {
            *left -= 1;
            claimed.insert(*id, "a queue".into());
        }
    }
    let lost = unlisted.iter().filter(|(_, left)| **left > 0);
    faults.extend(lost.map(|((actor, cents), left)| format!("{left} replayed sales of {actor} for {cents} are lost")));
}

fn faults_of_a_kept_sale(sale: &Sale<'_>, kept: &Value) -> Option<String> {
    let is = kept["sold_by"] == sale.actor && kept["total_cents"] == total(sale.lines) && kept["reversed"] == false;
    (!is).then(|| format!("{}: {} charged by {}, in the books {kept}", sale.key, total(sale.lines), sale.actor))
}

/// What a line took from its tray: all of it where nothing contradicts, and otherwise what the manager is told.
fn moved(books: &Books, sale: &Sale<'_>, (number, line): (i64, &Line)) -> i64 {
    let exception = sale.listed.as_ref().and_then(|listed| books.exceptions.get(&(listed.sale_id, number)));
    exception.map_or_else(|| asked(line), |exception| exception["moved_g"].as_i64().unwrap_or(0))
}

/// What each tray gave to a sale.
pub fn taken_from<'a>(books: &Books, stock: &'a Stock, sale: &Sale<'_>) -> Vec<(&'a str, i64)> {
    (1..).zip(sale.lines).map(|line| (stock.code(line.1.slot), moved(books, sale, line))).collect()
}

/// The manager is told of each contradiction that was answered, once and with the same reasons, and of nothing else; what moved and what is
/// missing are together what was sold; and what moved stands on the sale.
pub fn contradictions(stock: &Stock, sales: &[Sale<'_>], books: &Books, faults: &mut Vec<String>) {
    let mut answered: BTreeSet<(i64, i64)> = BTreeSet::new();
    for (sale, listed) in sales.iter().filter_map(|sale| Some((sale, sale.listed.as_ref()?))) {
        for (number, codes) in &listed.contradicts {
            let named = (listed.sale_id, *number);
            answered.insert(named);
            let line = usize::try_from(number - 1).ok().and_then(|index| sale.lines.get(index));
            let told = books.exceptions.get(&named);
            let fits = line.zip(told).is_some_and(|(line, told)| fits(told, sale.actor, asked(line), codes));
            if !fits {
                faults
                    .push(format!("{}, line {number}: {codes:?} of {line:?}, the manager reads {told:?}", listed.key));
            }
        }
        let mut gave: BTreeMap<&str, i64> = BTreeMap::new();
        for (code, grams) in taken_from(books, stock, sale).into_iter().filter(|(_, grams)| *grams > 0) {
            *gave.entry(code).or_default() += grams;
        }
        let kept = books.contradicted.get(&listed.sale_id);
        faults.extend(
            kept.filter(|kept| lines_of(kept) != gave).map(|kept| format!("{}: {gave:?} moved, {kept}", listed.key)),
        );
    }
    let unknown = books.exceptions.keys().filter(|named| !answered.contains(named));
    faults.extend(unknown.map(|(id, line)| format!("an exception of sale {id}, line {line}, was answered to nobody")));
}

fn fits(told: &Value, actor: &str, asked: i64, codes: &BTreeSet<String>) -> bool {
    let grams = |name: &str| told[name].as_i64();
    let findings = told["findings"].as_array().into_iter().flatten();
    let said: BTreeSet<String> = findings.filter_map(|finding| Some(finding["code"].as_str()?.to_owned())).collect();
    let all = grams("moved_g").zip(grams("missing_g")).map(|(moved, missing)| moved + missing);
    told["till"] == actor && said == *codes && all == Some(asked)
}

fn lines_of(sale: &Value) -> BTreeMap<&str, i64> {
    let lines = sale["lines"].as_array().into_iter().flatten();
    lines.filter_map(|line| line["tray_code"].as_str().zip(line["grams"].as_i64())).collect()
}
