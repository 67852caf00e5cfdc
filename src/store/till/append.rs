//! What a group of sales leaves, written: row by row on SQLite, where a prepared statement costs less than taking a list apart; as one
//! statement over arrays on PostgreSQL, where every trip to the server costs more than what is done there.

use super::fixed::{Fixed, PgValue, SqliteValue};
use crate::domain::ledger::Entry;
use crate::store::connection::AnyConnection;
use crate::store::error::StoreError;
use crate::store::idempotency::{Given, RequestKey};
use crate::store::prepared::update;
use crate::store::sales::SaleLine;
use crate::store::schema::following::{changes, shelf};
use crate::store::schema::{acts, entries, holdings, idempotency, sale_lines, sales, stays, trays};
use crate::store::shelf::Shelved;
use crate::units::instant::Instant;
use diesel::pg::PgConnection;
use diesel::prelude::*;
use diesel::sql_types::BigInt;
use diesel::sqlite::SqliteConnection;

/// Of every act here; the statement for PostgreSQL says it too.
const KIND: &str = "sell";

/// A sale and its act, under numbers taken before.
#[derive(Debug)]
pub struct SaleRow {
    pub act_id: i64,
    pub sale_id: i64,
    pub at: Instant,
    pub sold_by: String,
    pub total_cents: i64,
    pub lines: Vec<SaleLine>,
    pub entries: Vec<Entry>,
}

/// A tray as the group left it, over the version that was loaded.
#[derive(Debug)]
pub struct TrayAfter {
    pub id: i64,
    pub loaded_version: i64,
    pub version: i64,
    pub fate: Option<&'static str>,
    pub gone_at: Option<Instant>,
    pub net_g: i64,
    /// When its stay ended, if it left.
    pub left_at: Option<Instant>,
}

#[derive(Debug)]
pub struct HoldingAfter {
    pub tray_id: i64,
    pub lot_id: i64,
    pub grams: i64,
    pub cost_cents: i64,
}

/// A change, in the order in which it is told.
#[derive(Debug)]
pub struct ChangeRow {
    pub act_id: i64,
    pub at: Instant,
    pub tray_code: String,
    pub offer: Option<String>,
}

#[derive(Debug)]
pub struct KeyRow {
    pub key: RequestKey,
    pub given: Given,
    pub at: Instant,
}

/// Everything a group of sales leaves.
#[derive(Debug, Default)]
pub struct Books {
    pub sales: Vec<SaleRow>,
    /// By number.
    pub trays: Vec<TrayAfter>,
    pub holdings: Vec<HoldingAfter>,
    pub changes: Vec<ChangeRow>,
    /// What the shelf says from now on.
    pub shelved: Vec<Shelved>,
    pub off_the_shelf: Vec<i64>,
    pub keys: Vec<KeyRow>,
}

pub fn append_rows(connection: &mut AnyConnection, books: &Books) -> Result<(), StoreError> {
    match connection {
        AnyConnection::Sqlite(sqlite) => row_by_row(sqlite, books),
        AnyConnection::Postgres(postgres) => at_once(postgres, books),
    }
}

fn collided(what: &str) -> StoreError {
    StoreError::Collision(format!("{what} changed meanwhile"))
}

fn row_by_row(sqlite: &mut SqliteConnection, books: &Books) -> Result<(), StoreError> {
    for sale in &books.sales {
        append_sale(sqlite, sale)?;
    }
    for tray in &books.trays {
        save_tray(sqlite, tray)?;
    }
    for holding in &books.holdings {
        save_holding(sqlite, holding)?;
    }
    for change in &books.changes {
        let row = (
            changes::act_id.eq(change.act_id),
            changes::kind.eq(KIND),
            changes::at.eq(change.at.micros()),
            changes::tray_code.eq(&change.tray_code),
            changes::offer.eq(&change.offer),
        );
        diesel::insert_into(changes::table).values(row).execute(sqlite)?;
    }
    take_off_the_shelf(sqlite, &books.off_the_shelf)?;
    for shelved in &books.shelved {
        put_on_shelf(sqlite, shelved)?;
    }
    for KeyRow { key, given, at } in &books.keys {
        let row = (
            idempotency::client.eq(&key.client),
            idempotency::route.eq(&key.route),
            idempotency::request_key.eq(&key.key),
            idempotency::fingerprint.eq(&given.fingerprint),
            idempotency::status.eq(given.status),
            idempotency::body.eq(&given.body),
            idempotency::at.eq(at.micros()),
        );
        diesel::insert_into(idempotency::table).values(row).execute(sqlite)?;
    }
    Ok(())
}

fn append_sale(sqlite: &mut SqliteConnection, sale: &SaleRow) -> Result<(), StoreError> {
    let at = sale.at.micros();
    let act = (
        acts::id.eq(sale.act_id),
        acts::at.eq(at),
        acts::recorded_at.eq(at),
        acts::kind.eq(KIND),
        acts::actor.eq(&sale.sold_by),
    );
    diesel::insert_into(acts::table).values(act).execute(sqlite)?;
    let row = (
        sales::id.eq(sale.sale_id),
        sales::act_id.eq(sale.act_id),
        sales::at.eq(at),
        sales::sold_by.eq(&sale.sold_by),
        sales::total_cents.eq(sale.total_cents),
    );
    diesel::insert_into(sales::table).values(row).execute(sqlite)?;
    for (line, number) in sale.lines.iter().zip(1_i64..) {
        let row = (
            sale_lines::sale_id.eq(sale.sale_id),
            sale_lines::line_number.eq(number),
            sale_lines::tray_id.eq(line.tray_id),
            sale_lines::grams.eq(line.grams),
            sale_lines::price_per_kg_cents.eq(line.price_per_kg_cents),
            sale_lines::price_cents.eq(line.price_cents),
        );
        diesel::insert_into(sale_lines::table).values(row).execute(sqlite)?;
    }
    for entry in &sale.entries {
        let row = (
            entries::act_id.eq(sale.act_id),
            entries::lot_id.eq(entry.lot_id),
            entries::account.eq(entry.account.as_str()),
            entries::tray_id.eq(entry.account.tray_id()),
            entries::grams.eq(entry.grams),
            entries::cost_cents.eq(entry.cost_cents),
        );
        diesel::insert_into(entries::table).values(row).execute(sqlite)?;
    }
    Ok(())
}

struct SaveTray;
struct EndStay;
struct SaveHolding;
struct SaveShelf;

fn save_tray(sqlite: &mut SqliteConnection, tray: &TrayAfter) -> Result<(), StoreError> {
    let loaded = trays::id.eq(tray.id).and(trays::version.eq(tray.loaded_version));
    let after = (
        trays::fate.eq(tray.fate),
        trays::gone_at.eq(tray.gone_at.map(Instant::micros)),
        trays::net_g.eq(tray.net_g),
        trays::version.eq(tray.version),
    );
    if update(SaveTray, trays::table, loaded, after).execute(sqlite)? != 1 {
        return Err(collided("a tray"));
    }
    if let Some(left) = tray.left_at {
        let open = stays::tray_id.eq(tray.id).and(stays::to_at.is_null());
        let ended = update(EndStay, stays::table, open, stays::to_at.eq(left.micros())).execute(sqlite)?;
        if ended != 1 {
            return Err(StoreError::impossible("open stays of one tray", ended));
        }
    }
    Ok(())
}

fn save_holding(sqlite: &mut SqliteConnection, holding: &HoldingAfter) -> Result<(), StoreError> {
    let line = holdings::tray_id.eq(holding.tray_id).and(holdings::lot_id.eq(holding.lot_id));
    let after = (holdings::grams.eq(holding.grams), holdings::cost_cents.eq(holding.cost_cents));
    match update(SaveHolding, holdings::table, line, after).execute(sqlite)? {
        1 => Ok(()),
        other => Err(StoreError::impossible("holdings of one lot on a tray", other)),
    }
}

struct TakeOff;

fn take_off_the_shelf(sqlite: &mut SqliteConnection, trays: &[i64]) -> Result<(), StoreError> {
    if trays.is_empty() {
        return Ok(());
    }
    let list = SqliteValue::Text(serde_json::to_string(trays).unwrap_or_default());
    let text = "DELETE FROM shelf WHERE tray_id IN (SELECT value FROM json_each(?))";
    Fixed::<TakeOff, (), SqliteValue>::new(text, vec![list]).execute(sqlite)?;
    Ok(())
}

fn put_on_shelf(sqlite: &mut SqliteConnection, shelved: &Shelved) -> Result<(), StoreError> {
    let after = (
        shelf::cut_code.eq(&shelved.cut_code),
        shelf::place_code.eq(&shelved.place_code),
        shelf::sellable_g.eq(shelved.sellable_g),
        shelf::offer.eq(&shelved.offer),
        shelf::due_at.eq(shelved.due_at),
    );
    if update(SaveShelf, shelf::table, shelf::tray_id.eq(shelved.tray_id), after).execute(sqlite)? == 0 {
        diesel::insert_into(shelf::table).values(shelved).execute(sqlite)?;
    }
    Ok(())
}

/// Numbers run on in the order of the arrays. Keys are checked when all of it is done.
const AT_ONCE: &str = "\
WITH n AS MATERIALIZED (SELECT * FROM unnest(?, ?, ?, ?, ?) AS n (act_id, sale_id, at, sold_by, total_cents)), \
a AS (INSERT INTO acts (id, at, recorded_at, kind, actor) SELECT n.act_id, n.at, n.at, 'sell', n.sold_by FROM n), \
s AS (INSERT INTO sales (id, act_id, at, sold_by, total_cents) SELECT n.sale_id, n.act_id, n.at, n.sold_by, n.total_cents FROM n), \
l AS (INSERT INTO sale_lines (sale_id, line_number, tray_id, grams, price_per_kg_cents, price_cents) \
    SELECT * FROM unnest(?, ?, ?, ?, ?, ?)), \
e AS (INSERT INTO entries (act_id, lot_id, account, tray_id, grams, cost_cents) SELECT * FROM unnest(?, ?, ?, ?, ?, ?)), \
h AS (UPDATE holdings AS h SET grams = v.grams, cost_cents = v.cost_cents \
    FROM unnest(?, ?, ?, ?) AS v (tray_id, lot_id, grams, cost_cents) \
    WHERE h.tray_id = v.tray_id AND h.lot_id = v.lot_id RETURNING 1), \
t AS (UPDATE trays AS t SET fate = v.fate, gone_at = v.gone_at, net_g = v.net_g, version = v.version \
    FROM unnest(?, ?, ?, ?, ?, ?) AS v (id, loaded_version, version, fate, gone_at, net_g) \
    WHERE t.id = v.id AND t.version = v.loaded_version RETURNING 1), \
y AS (UPDATE stays AS y SET to_at = v.left_at FROM unnest(?, ?) AS v (tray_id, left_at) \
    WHERE y.tray_id = v.tray_id AND y.to_at IS NULL RETURNING 1), \
c AS (INSERT INTO changes (act_id, kind, at, tray_code, offer) \
    SELECT v.act_id, 'sell', v.at, v.tray_code, v.offer FROM unnest(?, ?, ?, ?) AS v (act_id, at, tray_code, offer)), \
d AS (DELETE FROM shelf WHERE tray_id = ANY(?)), \
p AS (INSERT INTO shelf (tray_id, tray_code, cut_code, place_code, sellable_g, offer, due_at) SELECT * FROM unnest(?, ?, ?, ?, ?, ?, ?) \
    ON CONFLICT (tray_id) DO UPDATE SET cut_code = excluded.cut_code, place_code = excluded.place_code, \
    sellable_g = excluded.sellable_g, offer = excluded.offer, due_at = excluded.due_at), \
k AS (INSERT INTO idempotency (client, route, request_key, fingerprint, status, body, at) SELECT * FROM unnest(?, ?, ?, ?, ?, ?, ?)) \
SELECT (SELECT COUNT(*) FROM t), (SELECT COUNT(*) FROM h), (SELECT COUNT(*) FROM y)";

struct AtOnce;

fn numbers<T>(of: &[T], number: impl Fn(&T) -> i64) -> PgValue {
    PgValue::Numbers(of.iter().map(number).collect())
}

fn maybe_numbers<T>(of: &[T], number: impl Fn(&T) -> Option<i64>) -> PgValue {
    PgValue::MaybeNumbers(of.iter().map(number).collect())
}

fn texts<T>(of: &[T], text: impl Fn(&T) -> &str) -> PgValue {
    PgValue::Texts(of.iter().map(|one| text(one).to_owned()).collect())
}

fn maybe_texts<T>(of: &[T], text: impl Fn(&T) -> Option<&str>) -> PgValue {
    PgValue::MaybeTexts(of.iter().map(|one| text(one).map(str::to_owned)).collect())
}

fn at_once(postgres: &mut PgConnection, books: &Books) -> Result<(), StoreError> {
    let mut values = values_of_sales(&books.sales);
    values.extend(values_of_stock(books));
    values.extend(values_of_tellings(books));
    let (trays, holdings, stays): (i64, i64, i64) =
        Fixed::<AtOnce, (BigInt, BigInt, BigInt), PgValue>::new(AT_ONCE, values).get_result(postgres)?;
    let is = |found: i64, wanted: usize| usize::try_from(found).is_ok_and(|found| found == wanted);
    if !is(trays, books.trays.len()) {
        return Err(collided("a tray"));
    }
    if !is(holdings, books.holdings.len()) {
        return Err(StoreError::impossible("holdings of the trays of a group", holdings));
    }
    if !is(stays, books.trays.iter().filter(|tray| tray.left_at.is_some()).count()) {
        return Err(StoreError::impossible("open stays of the trays of a group", stays));
    }
    Ok(())
}

fn values_of_sales(sales: &[SaleRow]) -> Vec<PgValue> {
    let lines: Vec<(i64, i64, &SaleLine)> = sales
        .iter()
        .flat_map(|sale| sale.lines.iter().zip(1_i64..).map(|(line, number)| (sale.sale_id, number, line)))
        .collect();
    let entries: Vec<(i64, &Entry)> =
        sales.iter().flat_map(|sale| sale.entries.iter().map(|entry| (sale.act_id, entry))).collect();
    vec![
        numbers(sales, |sale| sale.act_id),
        numbers(sales, |sale| sale.sale_id),
        numbers(sales, |sale| sale.at.micros()),
        texts(sales, |sale| &sale.sold_by),
        numbers(sales, |sale| sale.total_cents),
        numbers(&lines, |(sale, ..)| *sale),
        numbers(&lines, |(_, number, _)| *number),
        numbers(&lines, |(.., line)| line.tray_id),
        numbers(&lines, |(.., line)| line.grams),
        numbers(&lines, |(.., line)| line.price_per_kg_cents),
        numbers(&lines, |(.., line)| line.price_cents),
        numbers(&entries, |(act, _)| *act),
        numbers(&entries, |(_, entry)| entry.lot_id),
        texts(&entries, |(_, entry)| entry.account.as_str()),
        maybe_numbers(&entries, |(_, entry)| entry.account.tray_id()),
        numbers(&entries, |(_, entry)| entry.grams),
        numbers(&entries, |(_, entry)| entry.cost_cents),
    ]
}

fn values_of_stock(books: &Books) -> Vec<PgValue> {
    let (trays, holdings) = (&books.trays, &books.holdings);
    let left: Vec<(i64, i64)> =
        trays.iter().filter_map(|tray| tray.left_at.map(|left| (tray.id, left.micros()))).collect();
    vec![
        numbers(holdings, |holding| holding.tray_id),
        numbers(holdings, |holding| holding.lot_id),
        numbers(holdings, |holding| holding.grams),
        numbers(holdings, |holding| holding.cost_cents),
        numbers(trays, |tray| tray.id),
        numbers(trays, |tray| tray.loaded_version),
        numbers(trays, |tray| tray.version),
        maybe_texts(trays, |tray| tray.fate),
        maybe_numbers(trays, |tray| tray.gone_at.map(Instant::micros)),
        numbers(trays, |tray| tray.net_g),
        numbers(&left, |(tray, _)| *tray),
        numbers(&left, |(_, left)| *left),
    ]
}

fn values_of_tellings(books: &Books) -> Vec<PgValue> {
    let Books { changes, shelved, off_the_shelf, keys, .. } = books;
    vec![
        numbers(changes, |change| change.act_id),
        numbers(changes, |change| change.at.micros()),
        texts(changes, |change| &change.tray_code),
        maybe_texts(changes, |change| change.offer.as_deref()),
        PgValue::Numbers(off_the_shelf.clone()),
        numbers(shelved, |tray| tray.tray_id),
        texts(shelved, |tray| &tray.tray_code),
        texts(shelved, |tray| &tray.cut_code),
        texts(shelved, |tray| &tray.place_code),
        numbers(shelved, |tray| tray.sellable_g),
        texts(shelved, |tray| &tray.offer),
        maybe_numbers(shelved, |tray| tray.due_at),
        texts(keys, |row| &row.key.client),
        texts(keys, |row| &row.key.route),
        texts(keys, |row| &row.key.key),
        texts(keys, |row| &row.given.fingerprint),
        numbers(keys, |row| row.given.status),
        texts(keys, |row| &row.given.body),
        numbers(keys, |row| row.at.micros()),
    ]
}
