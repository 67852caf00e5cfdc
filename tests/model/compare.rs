//! Reads the database past the program and holds it against the plain lists: every tray, every lot, and the mass.

use crate::ground::{Witness, start};
use crate::naive::{Naive, NaiveTray, Scope};
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Nullable, Text};
use std::collections::BTreeMap;

#[derive(Debug, PartialEq, Eq, QueryableByName)]
struct TrayRow {
    #[diesel(sql_type = BigInt)]
    id: i64,
    #[diesel(sql_type = Text)]
    code: String,
    #[diesel(sql_type = Text)]
    place_code: String,
    #[diesel(sql_type = Nullable<Text>)]
    fate: Option<String>,
    #[diesel(sql_type = BigInt)]
    net_g: i64,
    #[diesel(sql_type = BigInt)]
    price_per_kg_cents: i64,
    #[diesel(sql_type = BigInt)]
    life_budget_micros: i64,
    #[diesel(sql_type = BigInt)]
    life_used_micros: i64,
    #[diesel(sql_type = BigInt)]
    life_as_of: i64,
    #[diesel(sql_type = Nullable<BigInt>)]
    use_by: Option<i64>,
    #[diesel(sql_type = Nullable<Text>)]
    label_wanted: Option<String>,
}

#[derive(Debug, QueryableByName)]
struct HeldRow {
    #[diesel(sql_type = BigInt)]
    tray_id: i64,
    #[diesel(sql_type = Text)]
    lot_code: String,
    #[diesel(sql_type = BigInt)]
    grams: i64,
}

#[derive(Debug, QueryableByName)]
struct AccountRow {
    #[diesel(sql_type = Text)]
    lot_code: String,
    #[diesel(sql_type = Text)]
    account: String,
    #[diesel(sql_type = BigInt)]
    grams: i64,
}

#[derive(Debug, QueryableByName)]
struct CodeRow {
    #[diesel(sql_type = Text)]
    code: String,
}

#[derive(Debug, QueryableByName)]
struct Number {
    #[diesel(sql_type = BigInt)]
    number: i64,
}

#[derive(Debug, QueryableByName)]
struct Digest {
    #[diesel(sql_type = Text)]
    text: String,
}

/// How far back and how far ahead of the plain arithmetic a computed life may be, in microseconds at 0 °C. Behind is
/// only what floating point itself loses.
const LATER: f64 = 5.0;
const SOONER: f64 = 2_000.0;

/// Where a sequence begins in the database, which others have used before.
pub struct Since {
    tray: i64,
    lot: i64,
}

fn number(witness: &mut Witness, query: &str) -> i64 {
    diesel::sql_query(query).get_result::<Number>(witness).unwrap().number
}

impl Since {
    pub fn now(witness: &mut Witness) -> Since {
        Since {
            tray: number(witness, "SELECT COALESCE(MAX(id), 0) AS number FROM trays"),
            lot: number(witness, "SELECT COALESCE(MAX(id), 0) AS number FROM lots"),
        }
    }
}

/// Changes with every change: a refused act must leave it as it was.
pub fn digest(witness: &mut Witness) -> String {
    let parts = [
        "COUNT(*) FROM acts",
        "COUNT(*) FROM entries",
        "COUNT(*) + COUNT(to_at) FROM stays",
        "COUNT(*) + COUNT(released_at) FROM holds",
        "COUNT(*) + COUNT(reversed_by_act_id) FROM sales",
        "COUNT(*) FROM held_trays",
        "COUNT(*) FROM sale_lines",
        "COUNT(*) FROM issued_labels",
        "COUNT(*) FROM batches",
        "COALESCE(SUM(version), 0) FROM trays",
        "COALESCE(SUM(version), 0) FROM places",
        "COALESCE(SUM(value), 0) FROM counters",
    ];
    let parts: Vec<String> = parts.iter().map(|part| format!("CAST((SELECT {part}) AS TEXT)")).collect();
    let query = format!("SELECT {} AS text", parts.join(" || ' ' || "));
    diesel::sql_query(query).get_result::<Digest>(witness).unwrap().text
}

/// Panics at the first difference.
pub fn compare(witness: &mut Witness, since: &Since, naive: &mut Naive) {
    let trays: Vec<TrayRow> = diesel::sql_query(format!(
        "SELECT id, code, place_code, fate, net_g, price_per_kg_cents, life_budget_micros, life_used_micros, life_as_of, \
         use_by, label_wanted FROM trays WHERE id > {} ORDER BY id",
        since.tray
    ))
    .load(witness)
    .unwrap();
    assert_eq!(trays.len(), naive.trays.len(), "number of trays");
    let mut held = held(witness, since);
    for (index, row) in trays.iter().enumerate() {
        let place = naive.places[naive.trays[index].place].code.clone();
        compare_tray(row, &mut naive.trays[index], &place);
        let lots = &naive.lots;
        let expected: BTreeMap<String, i64> =
            naive.trays[index].by_lot.iter().map(|(lot, grams)| (lots[*lot].code.clone(), *grams)).collect();
        assert_eq!(held.remove(&row.id).unwrap_or_default(), expected, "tray {index} by lot");
    }
    compare_lots(witness, since, naive);
    compare_reach(witness, naive);
}

/// What an open hold of a batch reaches was written down when it was placed, and nothing may have joined it since.
fn compare_reach(witness: &mut Witness, naive: &Naive) {
    for hold in naive.holds.iter().filter(|hold| hold.open) {
        let Scope::Batch(breakdown, cut) = hold.scope else { continue };
        let query = "SELECT t.code FROM held_trays h JOIN trays t ON t.id = h.tray_id WHERE h.hold_id =";
        let rows: Vec<CodeRow> = diesel::sql_query(format!("{query} {} ORDER BY t.id", hold.id)).load(witness).unwrap();
        let reached: Vec<String> = rows.into_iter().map(|row| row.code).collect();
        let all = 0..naive.trays.len();
        let expected: Vec<String> = all
            .filter(|tray| naive.comes_of(*tray, breakdown, cut))
            .map(|tray| naive.trays[tray].code.clone())
            .collect();
        assert_eq!(reached, expected, "trays that hold {} reaches", hold.id);
    }
}

fn compare_tray(row: &TrayRow, tray: &mut NaiveTray, place: &str) {
    let code = &tray.code;
    assert_eq!(&row.code, code);
    assert_eq!(row.place_code, place, "place of {code}");
    assert_eq!(row.fate.as_deref(), tray.fate, "fate of {code}");
    assert_eq!(row.net_g, tray.net(), "grams of {code}");
    assert_eq!(row.price_per_kg_cents, tray.price, "price of {code}");
    assert_eq!(row.use_by.map(|at| at - start().micros()), tray.use_by, "use-by of {code}");
    assert_eq!(row.life_budget_micros as f64, tray.life.budget, "budget of {code}");
    let used = tray.life.used(row.life_as_of - start().micros());
    let ahead = row.life_used_micros as f64 - used;
    assert!(ahead >= -LATER, "{code} promises more than it has: {} used of {used}", row.life_used_micros);
    assert!(ahead <= SOONER, "{code} is older than it is: {} used of {used}", row.life_used_micros);
    let wanted = *tray.label_wanted.get_or_insert(row.label_wanted.is_some());
    assert_eq!(row.label_wanted.is_some(), wanted, "label of {code} wanted: {:?}", row.label_wanted);
}

fn held(witness: &mut Witness, since: &Since) -> BTreeMap<i64, BTreeMap<String, i64>> {
    let rows: Vec<HeldRow> = diesel::sql_query(format!(
        "SELECT h.tray_id, l.code AS lot_code, h.grams FROM holdings h JOIN lots l ON l.id = h.lot_id WHERE h.tray_id > {}",
        since.tray
    ))
    .load(witness)
    .unwrap();
    let mut held: BTreeMap<i64, BTreeMap<String, i64>> = BTreeMap::new();
    for row in rows {
        held.entry(row.tray_id).or_default().insert(row.lot_code, row.grams);
    }
    held
}

fn compare_lots(witness: &mut Witness, since: &Since, naive: &Naive) {
    let rows: Vec<AccountRow> = diesel::sql_query(format!(
        "SELECT l.code AS lot_code, e.account, CAST(SUM(e.grams) AS BIGINT) AS grams FROM entries e \
         JOIN lots l ON l.id = e.lot_id WHERE e.lot_id > {} GROUP BY l.code, e.account",
        since.lot
    ))
    .load(witness)
    .unwrap();
    for (index, lot) in naive.lots.iter().enumerate() {
        let mut there: BTreeMap<&str, i64> = rows
            .iter()
            .filter(|row| row.lot_code == lot.code && row.grams != 0)
            .map(|row| (row.account.as_str(), row.grams))
            .collect();
        assert_eq!(there.values().sum::<i64>(), 0, "{} does not sum to nothing: {there:?}", lot.code);
        assert_eq!(there.get("supplier"), Some(&-lot.received), "what came of {}", lot.code);
        let on_trays: i64 = naive.trays.iter().filter_map(|tray| tray.by_lot.get(&index)).sum();
        assert_eq!(there.remove("tray").unwrap_or(0), on_trays, "{} on trays", lot.code);
        let expected: BTreeMap<&str, i64> =
            lot.accounts.iter().filter(|(_, grams)| **grams != 0).map(|(a, g)| (*a, *g)).collect();
        assert_eq!(there, expected, "accounts of {}", lot.code);
    }
}
