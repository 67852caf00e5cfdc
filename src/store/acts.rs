//! Acts and the ledger entries under them: appended, never changed.

use super::error::StoreError;
use super::prepared::on_either;
use super::read::Reading;
use super::schema::{acts, entries, trays};
use super::touched::ToldAct;
use super::write::Tx;
use crate::domain::ledger::{Account, Entry, Transaction};
use crate::units::instant::Instant;
use diesel::prelude::*;
use std::collections::BTreeSet;

/// One act of the shop, as it goes into the record.
#[derive(Debug, Clone)]
pub struct NewAct<'a> {
    pub kind: &'static str,
    /// When it happened, and when we were told.
    pub at: Instant,
    pub recorded_at: Instant,
    pub actor: &'a str,
    pub reason: Option<&'a str>,
    pub reverses: Option<i64>,
}

/// Appends an act and gives its number.
pub fn append(tx: &mut Tx<'_>, act: &NewAct<'_>) -> Result<i64, StoreError> {
    let row = (
        acts::at.eq(act.at.micros()),
        acts::recorded_at.eq(act.recorded_at.micros()),
        acts::kind.eq(act.kind),
        acts::actor.eq(act.actor),
        acts::reason.eq(act.reason),
        acts::reverses_act_id.eq(act.reverses),
    );
    let insert = diesel::insert_into(acts::table).values(row).returning(acts::id);
    let id = on_either!(tx.changing(), own => insert.get_result(own))?;
    tx.touched.act(ToldAct { id, kind: act.kind, recorded_at: act.recorded_at });
    Ok(id)
}

/// Appends a balanced transaction under an act.
pub fn post(tx: &mut Tx<'_>, act_id: i64, transaction: &Transaction) -> Result<(), StoreError> {
    for entry in transaction.entries() {
        let row = (
            entries::act_id.eq(act_id),
            entries::lot_id.eq(entry.lot_id),
            entries::account.eq(entry.account.as_str()),
            entries::tray_id.eq(entry.account.tray_id()),
            entries::grams.eq(entry.grams),
            entries::cost_cents.eq(entry.cost_cents),
        );
        let insert = diesel::insert_into(entries::table).values(row);
        on_either!(tx.changing(), own => insert.execute(own))?;
    }
    Ok(())
}

#[derive(Queryable)]
struct EntryRow {
    lot_id: i64,
    account: String,
    tray_id: Option<i64>,
    grams: i64,
    cost_cents: i64,
}

impl TryFrom<EntryRow> for Entry {
    type Error = StoreError;

    fn try_from(row: EntryRow) -> Result<Entry, StoreError> {
        let account =
            Account::read(&row.account, row.tray_id).ok_or_else(|| StoreError::impossible("account", &row.account))?;
        Ok(Entry { lot_id: row.lot_id, account, grams: row.grams, cost_cents: row.cost_cents })
    }
}

/// The entries of an act, in the order they were written.
pub fn entries_of(reading: &mut Reading<'_>, act_id: i64) -> Result<Vec<Entry>, StoreError> {
    let rows: Vec<EntryRow> = entries::table
        .filter(entries::act_id.eq(act_id))
        .order(entries::id)
        .select((entries::lot_id, entries::account, entries::tray_id, entries::grams, entries::cost_cents))
        .load(reading.conn)?;
    rows.into_iter().map(TryInto::try_into).collect()
}

/// What stands on one account of a lot: grams and cost.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AccountBalance {
    pub account: String,
    pub grams: i64,
    pub cost_cents: i64,
}

/// The balance of a lot, account by account. Summed here: SUM of a BIGINT is NUMERIC on PostgreSQL and an integer on SQLite.
pub fn balance_of_lot(reading: &mut Reading<'_>, lot_id: i64) -> Result<Vec<AccountBalance>, StoreError> {
    let mut balances = Vec::new();
    for account in Account::NAMES {
        let of_account = entries::table.filter(entries::lot_id.eq(lot_id)).filter(entries::account.eq(account));
        let rows: Vec<(i64, i64)> = of_account.select((entries::grams, entries::cost_cents)).load(reading.conn)?;
        let (grams, cost_cents) = rows.into_iter().fold((0, 0), |(g, c), (grams, cost)| (g + grams, c + cost));
        balances.push(AccountBalance { account: account.to_owned(), grams, cost_cents });
    }
    Ok(balances)
}

/// Trays named in one question at most: both databases limit how many values a statement may carry.
const TRAYS_A_QUESTION: usize = 500;

/// The trays of a batch and every tray that fish came to from one of them, by cutting or pouring; gone ones too. A tray that passed fish on
/// before it got any of the batch passes the hold on as well: between two acts close together the order written down proves nothing.
pub fn trays_from_batch(reading: &mut Reading<'_>, batch_id: i64) -> Result<BTreeSet<i64>, StoreError> {
    let of_batch = trays::table.filter(trays::batch_id.eq(batch_id)).select(trays::id);
    let mut newest: Vec<i64> = of_batch.load(reading.conn)?;
    let mut found: BTreeSet<i64> = newest.iter().copied().collect();
    while !newest.is_empty() {
        let mut next = Vec::new();
        for some in newest.chunks(TRAYS_A_QUESTION) {
            next.extend(trays_made_from(reading, some)?.into_iter().filter(|tray| found.insert(*tray)));
        }
        newest = next;
    }
    Ok(found)
}

/// Where fish of these trays went in one step.
fn trays_made_from(reading: &mut Reading<'_>, sources: &[i64]) -> Result<Vec<i64>, StoreError> {
    let passed_on = entries::table
        .filter(entries::tray_id.eq_any(sources))
        .filter(entries::grams.lt(0))
        .select(entries::act_id)
        .distinct();
    let act_ids: Vec<i64> = acts::table
        .filter(acts::id.eq_any(passed_on))
        .filter(acts::kind.eq_any(["break_down", "top_up"]))
        .select(acts::id)
        .load(reading.conn)?;
    let mut made = Vec::new();
    for some in act_ids.chunks(TRAYS_A_QUESTION) {
        let put = entries::table.filter(entries::act_id.eq_any(some)).filter(entries::grams.gt(0));
        let rows: Vec<Option<i64>> =
            put.filter(entries::tray_id.is_not_null()).select(entries::tray_id).distinct().load(reading.conn)?;
        made.extend(rows.into_iter().flatten());
    }
    Ok(made)
}

/// Number of acts in the record.
pub fn count(reading: &mut Reading<'_>) -> Result<i64, StoreError> {
    Ok(acts::table.count().get_result(reading.conn)?)
}
