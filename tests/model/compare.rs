//! Reads the database past the program and holds it against the plain lists: every tray, every lot, and the mass.

use crate::ground::{Ground, Witness, start};
use crate::naive::{Naive, NaiveTray, Scope};
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Nullable, Text};
use sakudana::ops::board::{Judged, in_stock};
use std::collections::{BTreeMap, BTreeSet};

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
    as_of: i64,
    #[diesel(sql_type = BigInt)]
    raw_budget_micros: i64,
    #[diesel(sql_type = Nullable<BigInt>)]
    colour_budget_micros: Option<i64>,
    #[diesel(sql_type = BigInt)]
    frozen_budget_micros: i64,
    #[diesel(sql_type = BigInt)]
    raw_micros: i64,
    #[diesel(sql_type = BigInt)]
    colour_micros: i64,
    #[diesel(sql_type = BigInt)]
    frozen_micros: i64,
    #[diesel(sql_type = BigInt)]
    exposed_micros: i64,
    #[diesel(sql_type = BigInt)]
    hot_micros: i64,
    #[diesel(sql_type = BigInt)]
    measured_micros: i64,
    #[diesel(sql_type = BigInt)]
    assumed_micros: i64,
    #[diesel(sql_type = BigInt)]
    wholly_frozen_before: i64,
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

/// How far a computed sum may be below the plain arithmetic, which is what floating point and numerical integration lose, and how far above it, where
/// every stretch was rounded up: in microseconds, and as a share.
const BELOW: f64 = 5.0;
const ABOVE: f64 = 1_000.0;
const SHARE: f64 = 1e-7;

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
        "COUNT(*) FROM readings",
        "COALESCE(SUM(temperature_mc), 0) FROM readings",
        "COUNT(*) FROM reading_contradictions",
        "COUNT(*) FROM reading_deliveries",
        "COUNT(*) FROM place_eras",
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
        "SELECT id, code, place_code, fate, net_g, price_per_kg_cents, use_by, label_wanted, as_of, raw_budget_micros, \
         colour_budget_micros, frozen_budget_micros, raw_micros, colour_micros, frozen_micros, exposed_micros, hot_micros, \
         measured_micros, assumed_micros, wholly_frozen_before FROM trays JOIN lives ON tray_id = id WHERE id > {} ORDER BY id",
        since.tray
    ))
    .load(witness)
    .unwrap();
    assert_eq!(trays.len(), naive.trays.len(), "number of trays");
    let mut held = held(witness, since);
    for (index, row) in trays.iter().enumerate() {
        let place = naive.places[naive.trays[index].place].code.clone();
        compare_tray(row, &mut naive.trays[index], &place);
        compare_life(row, naive, index);
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
    let wanted = *tray.label_wanted.get_or_insert(row.label_wanted.is_some());
    assert_eq!(row.label_wanted.is_some(), wanted, "label of {code} wanted: {:?}", row.label_wanted);
}

/// The life of a tray in stock as it was written down, against its telling from the beginning. What is gone keeps what it had.
fn compare_life(row: &TrayRow, naive: &Naive, index: usize) {
    let tray = &naive.trays[index];
    if !tray.in_stock() {
        return;
    }
    let code = &tray.code;
    assert_eq!(row.as_of - start().micros(), tray.anchor(), "anchor of {code}");
    assert_eq!(row.raw_budget_micros as f64, tray.budget.raw, "raw budget of {code}");
    assert_eq!(row.colour_budget_micros.map(|micros| micros as f64), tray.budget.colour, "colour budget of {code}");
    assert_eq!(row.frozen_budget_micros as f64, tray.budget.frozen, "frozen budget of {code}");
    assert_eq!(row.wholly_frozen_before != 0, tray.wholly_frozen, "whether {code} was wholly frozen");
    let told = naive.toll(index, tray.anchor());
    for (what, kept, told) in [
        ("raw", row.raw_micros, told.raw),
        ("colour", row.colour_micros, told.colour),
        ("frozen", row.frozen_micros, told.frozen),
        ("exposed", row.exposed_micros, told.exposed),
        ("hot", row.hot_micros, told.hot),
    ] {
        agree(&format!("{what} of {code}"), kept as f64, told);
    }
    let both = (row.measured_micros + row.assumed_micros) as f64;
    if naive.trays[index].came.is_empty() {
        agree(&format!("measured of {code}"), row.measured_micros as f64, told.measured);
        agree(&format!("assumed of {code}"), row.assumed_micros as f64, told.assumed);
    } else {
        assert!((0.0..=tray.anchor() as f64 + 5.0).contains(&both), "{code} lived longer than the day: {both}");
    }
}

fn agree(what: &str, kept: f64, told: f64) {
    let ahead = kept - told;
    assert!(ahead >= -BELOW - told * SHARE, "{what} promises more than it has: {kept} used of {told}");
    assert!(ahead <= ABOVE + told * SHARE, "{what} is older than it is: {kept} used of {told}");
}

/// Every tray in stock as the board judges it now, against the plain rules: the same reasons to stop, and the same ends.
pub fn compare_verdicts(ground: &Ground, naive: &Naive, now: i64) {
    let at = start().plus_micros(now);
    let judged = ground.desk.look(|reading, shop| in_stock(reading, shop, at)).unwrap();
    let judged: BTreeMap<String, Judged> = judged.into_iter().map(|j| (j.facts.tray.code.to_string(), j)).collect();
    for index in (0..naive.trays.len()).filter(|index| naive.trays[*index].in_stock()) {
        let code = &naive.trays[index].code;
        let found = &judged[code];
        let stops = naive.stops(index, now);
        let said: BTreeSet<&str> = found.verdict.stops.iter().map(|stop| stop.code.as_str()).collect();
        let told: BTreeSet<&str> = stops.codes.iter().copied().collect();
        assert!(said == told || stops.unsure, "{code} stops for {said:?}, told {told:?}");
        let ends = naive.ends(index, naive.trays[index].place, now);
        for answer in found.facts.life.clocks.iter() {
            let told = ends.iter().find(|end| end.clock == answer.clock.as_str());
            let said = answer.ends_at.map(|end| end.since(start()) as f64);
            let what = format!("the end of the clock {} of {code}", answer.clock.as_str());
            match (said, told.map(|end| end.at)) {
                // When an end that has passed lay exactly is not asked of the plain telling.
                (Some(said), Some(told)) if told < now as f64 => {
                    assert!(said < now as f64, "{what}: {said}, told {told}")
                }
                (Some(said), Some(told)) => {
                    // What was used is rounded up to a microsecond, and the pace to a billionth of a millionth.
                    let slack = 20_000.0 + (told - now as f64) * 1e-8;
                    assert!((said - told).abs() < slack, "{what}: {said}, told {told}");
                }
                (said, told) => assert_eq!(said, told, "{what}"),
            }
        }
    }
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
