//! What reports are made of: what was decided and what became of the trays since, and all that left the stock in a stretch of time. Rows as they
//! stand in the record; what they come to is reckoned in `ops`.

use super::decisions::Expected;
use super::error::StoreError;
use super::read::Reading;
use super::schema::offline::return_lines;
use super::schema::reviewing::{decision_trays, decisions};
use super::schema::{acts, cuts, entries, sale_lines, sales, trays};
use super::trays::instant;
use crate::units::instant::Instant;
use chrono::NaiveDate;
use diesel::prelude::*;
use std::collections::BTreeMap;

/// Things named in one question at most: both databases limit how many values a statement may carry.
const A_QUESTION: usize = 500;

/// What was expected of a decision had nothing been done, as far as it was kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Queryable)]
pub struct Alone {
    pub sold_g: i64,
    pub revenue_cents: i64,
    pub wasted_g: i64,
    pub total_cents: i64,
}

/// A decision that stands.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Decided {
    pub id: i64,
    pub act_id: i64,
    pub at: i64,
    pub day: String,
    pub cut: String,
    pub way: String,
    pub decided_by: String,
    pub expected: Expected,
    pub alone: Alone,
}

/// Decisions of a range of business days that were not taken back, in the order they were taken.
pub fn decided(reading: &mut Reading<'_>, from: NaiveDate, to: NaiveDate) -> Result<Vec<Decided>, StoreError> {
    Ok(decisions::table
        .filter(decisions::day.between(from.to_string(), to.to_string()))
        .filter(decisions::undone_at.is_null())
        .order(decisions::id)
        .select((
            decisions::id,
            decisions::act_id,
            decisions::at,
            decisions::day,
            decisions::cut_code,
            decisions::way,
            decisions::decided_by,
            (
                decisions::sold_g,
                decisions::revenue_cents,
                decisions::kitchen_g,
                decisions::kitchen_cents,
                decisions::frozen_g,
                decisions::frozen_cents,
                decisions::wasted_g,
                decisions::waste_cents,
                decisions::total_cents,
            ),
            (
                decisions::alone_sold_g,
                decisions::alone_revenue_cents,
                decisions::alone_wasted_g,
                decisions::alone_total_cents,
            ),
        ))
        .load(reading.conn)?)
}

/// A tray a decision looked at: as it was then, and how it stands now.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Watched {
    pub decision_id: i64,
    pub tray_id: i64,
    pub tray_code: String,
    /// What of it was free, and what was promised to the kitchen before.
    pub then_g: i64,
    pub promised_g: i64,
    pub ends_at: i64,
    /// keep, mark_down, kitchen or freeze.
    pub course: String,
    pub sold_permille: i64,
    pub kind: String,
    /// What lies on it now; how it went, if it has.
    pub now_g: i64,
    pub fate: Option<String>,
    pub frozen_at: Option<i64>,
    pub thawed_at: Option<i64>,
}

/// The trays of decisions, by decision.
pub fn watched(reading: &mut Reading<'_>, decision_ids: &[i64]) -> Result<Vec<Watched>, StoreError> {
    let mut found = Vec::new();
    for some in decision_ids.chunks(A_QUESTION) {
        let rows: Vec<Watched> = decision_trays::table
            .inner_join(trays::table.on(trays::id.eq(decision_trays::tray_id)))
            .filter(decision_trays::decision_id.eq_any(some))
            .order((decision_trays::decision_id, decision_trays::tray_id))
            .select((
                decision_trays::decision_id,
                decision_trays::tray_id,
                trays::code,
                decision_trays::net_g,
                decision_trays::promised_g,
                decision_trays::ends_at,
                decision_trays::course,
                decision_trays::sold_permille,
                trays::kind,
                trays::net_g,
                trays::fate,
                trays::frozen_at,
                trays::thawed_at,
            ))
            .load(reading.conn)?;
        found.extend(rows);
    }
    Ok(found)
}

/// Grams and cost that came to a tray, or left it when negative, by one act.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Moved {
    pub act_id: i64,
    pub at: i64,
    pub kind: String,
    pub reason: Option<String>,
    pub tray_id: Option<i64>,
    pub grams: i64,
    pub cost_cents: i64,
}

/// All that moved on these trays after an act, in the order it was written.
pub fn moved_since(reading: &mut Reading<'_>, act_id: i64, tray_ids: &[i64]) -> Result<Vec<Moved>, StoreError> {
    let mut found = Vec::new();
    for some in tray_ids.chunks(A_QUESTION) {
        let rows: Vec<Moved> = acts::table
            .inner_join(entries::table.on(entries::act_id.eq(acts::id)))
            .filter(entries::tray_id.eq_any(some))
            .filter(entries::act_id.gt(act_id))
            .order(entries::id)
            .select((
                acts::id,
                acts::at,
                acts::kind,
                acts::reason,
                entries::tray_id,
                entries::grams,
                entries::cost_cents,
            ))
            .load(reading.conn)?;
        found.extend(rows);
    }
    Ok(found)
}

/// A line of a sale that was not reversed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Queryable)]
pub struct Sold {
    pub act_id: i64,
    pub sale_id: i64,
    pub tray_id: i64,
    pub grams: i64,
    pub price_cents: i64,
}

/// What was sold of these trays after an act.
pub fn sold_since(reading: &mut Reading<'_>, act_id: i64, tray_ids: &[i64]) -> Result<Vec<Sold>, StoreError> {
    let mut found = Vec::new();
    for some in tray_ids.chunks(A_QUESTION) {
        let rows: Vec<Sold> = sales::table
            .inner_join(sale_lines::table.on(sale_lines::sale_id.eq(sales::id)))
            .filter(sale_lines::tray_id.eq_any(some))
            .filter(sales::act_id.gt(act_id))
            .filter(sales::reversed_by_act_id.is_null())
            .order(sale_lines::id)
            .select((sales::act_id, sales::id, sale_lines::tray_id, sale_lines::grams, sale_lines::price_cents))
            .load(reading.conn)?;
        found.extend(rows);
    }
    Ok(found)
}

/// What came back of a sale.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Back {
    pub act_id: i64,
    pub sale_id: i64,
    pub tray_id: i64,
    pub grams: i64,
    pub refund_cents: i64,
    pub reason: String,
}

type BackColumns = (
    return_lines::act_id,
    return_lines::sale_id,
    return_lines::tray_id,
    return_lines::grams,
    return_lines::refund_cents,
    return_lines::reason,
);

const BACK: BackColumns = (
    return_lines::act_id,
    return_lines::sale_id,
    return_lines::tray_id,
    return_lines::grams,
    return_lines::refund_cents,
    return_lines::reason,
);

/// What came back of these trays.
pub fn back_of(reading: &mut Reading<'_>, tray_ids: &[i64]) -> Result<Vec<Back>, StoreError> {
    let mut found = Vec::new();
    for some in tray_ids.chunks(A_QUESTION) {
        let of_trays = return_lines::table.filter(return_lines::tray_id.eq_any(some));
        found.extend(of_trays.order(return_lines::id).select(BACK).load::<Back>(reading.conn)?);
    }
    Ok(found)
}

/// What came back by these acts, in the order it was written.
pub fn back_by(reading: &mut Reading<'_>, act_ids: &[i64]) -> Result<Vec<Back>, StoreError> {
    let mut found = Vec::new();
    for some in act_ids.chunks(A_QUESTION) {
        let by_acts = return_lines::table.filter(return_lines::act_id.eq_any(some));
        found.extend(by_acts.order(return_lines::id).select(BACK).load::<Back>(reading.conn)?);
    }
    Ok(found)
}

/// One line of the ledger beside its act.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Line {
    pub act_id: i64,
    pub at: i64,
    pub kind: String,
    pub reason: Option<String>,
    pub account: String,
    pub tray_id: Option<i64>,
    pub grams: i64,
    pub cost_cents: i64,
}

/// By which fish leaves the stock, or comes back into it.
const LEAVING: [&str; 8] =
    ["sell", "replay_sale", "reverse_sale", "settle_exception", "kitchen", "waste", "count", "return"];

/// The ledger of all that left the stock from an instant until before another, in the order it was written.
pub fn left(reading: &mut Reading<'_>, from: Instant, to: Instant) -> Result<Vec<Line>, StoreError> {
    Ok(acts::table
        .inner_join(entries::table.on(entries::act_id.eq(acts::id)))
        .filter(acts::kind.eq_any(LEAVING))
        .filter(acts::at.ge(from.micros()))
        .filter(acts::at.lt(to.micros()))
        .order(entries::id)
        .select((
            acts::id,
            acts::at,
            acts::kind,
            acts::reason,
            entries::account,
            entries::tray_id,
            entries::grams,
            entries::cost_cents,
        ))
        .load(reading.conn)?)
}

/// The cut of each of these trays.
pub fn cuts_of(reading: &mut Reading<'_>, tray_ids: &[i64]) -> Result<BTreeMap<i64, String>, StoreError> {
    let mut found = BTreeMap::new();
    for some in tray_ids.chunks(A_QUESTION) {
        let of_trays = trays::table.filter(trays::id.eq_any(some));
        found.extend(of_trays.select((trays::id, trays::cut_code)).load::<(i64, String)>(reading.conn)?);
    }
    Ok(found)
}

/// The names of all cuts.
pub fn cut_names(reading: &mut Reading<'_>) -> Result<BTreeMap<String, String>, StoreError> {
    let rows: Vec<(String, String)> = cuts::table.select((cuts::code, cuts::name)).load(reading.conn)?;
    Ok(rows.into_iter().collect())
}

/// What is known of a tray that was made: when it was cut and until when it is good, its weight, and what it cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Made {
    pub tray_id: i64,
    pub cut_at: Instant,
    pub use_by: Option<Instant>,
    pub initial_g: i64,
    /// Of what was put on the tray first; none where the ledger does not say.
    pub cost_cents: Option<i64>,
}

/// The last so many trays of each cut that were cut since an instant, by cut, the newest first.
pub fn made_since(
    reading: &mut Reading<'_>,
    since: Instant,
    most: usize,
) -> Result<BTreeMap<String, Vec<Made>>, StoreError> {
    let rows: Vec<(i64, String, i64, Option<i64>, i64)> = trays::table
        .filter(trays::cut_at.ge(since.micros()))
        .order(trays::id.desc())
        .select((trays::id, trays::cut_code, trays::cut_at, trays::use_by, trays::initial_g))
        .load(reading.conn)?;
    let mut found: BTreeMap<String, Vec<Made>> = BTreeMap::new();
    for (tray_id, cut, cut_at, use_by, initial_g) in rows {
        let of_cut = found.entry(cut).or_default();
        if of_cut.len() < most {
            let use_by = use_by.map(instant).transpose()?;
            of_cut.push(Made { tray_id, cut_at: instant(cut_at)?, use_by, initial_g, cost_cents: None });
        }
    }
    let ids: Vec<i64> = found.values().flatten().map(|made| made.tray_id).collect();
    let costs = first_costs(reading, &ids)?;
    found.values_mut().flatten().for_each(|made| made.cost_cents = costs.get(&made.tray_id).copied());
    Ok(found)
}

/// What the first act that put something on each of these trays put there, in cost. Later ones pour onto it.
fn first_costs(reading: &mut Reading<'_>, tray_ids: &[i64]) -> Result<BTreeMap<i64, i64>, StoreError> {
    let mut first: BTreeMap<i64, (i64, i64)> = BTreeMap::new();
    for some in tray_ids.chunks(A_QUESTION) {
        let put = entries::table.filter(entries::tray_id.eq_any(some)).filter(entries::grams.gt(0));
        let of_trays = put.order(entries::id).select((entries::tray_id, entries::act_id, entries::cost_cents));
        for (tray, act, cost) in of_trays.load::<(Option<i64>, i64, i64)>(reading.conn)? {
            let Some(tray) = tray else { continue };
            let (by, sum) = first.entry(tray).or_insert((act, 0));
            if *by == act {
                *sum += cost;
            }
        }
    }
    Ok(first.into_iter().map(|(tray, (_, cost))| (tray, cost)).collect())
}
