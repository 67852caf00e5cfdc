//! What is still to be carried to the kitchen or the freezer because of a decision, and what the kitchen took.

use super::error::StoreError;
use super::read::Reading;
use super::schema::reviewing::{decisions, errands};
use super::schema::{acts, entries, trays};
use super::trays::instant;
use super::write::Tx;
use crate::units::instant::Instant;
use diesel::prelude::*;
use std::collections::BTreeMap;

/// An errand that is still to be done: its tray is in stock.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Errand {
    pub id: i64,
    pub decision_id: i64,
    pub tray_id: i64,
    pub cut: String,
    /// kitchen or freeze.
    pub kind: String,
    /// None for the tray as a whole.
    pub grams: Option<i64>,
    pub created_at: Instant,
    pub decided_by: String,
}

pub fn insert(
    tx: &mut Tx<'_>,
    decision_id: i64,
    tray_id: i64,
    kind: &str,
    grams: Option<i64>,
    at: Instant,
) -> Result<(), StoreError> {
    let row = (
        errands::decision_id.eq(decision_id),
        errands::tray_id.eq(tray_id),
        errands::kind.eq(kind),
        errands::grams.eq(grams),
        errands::created_at.eq(at.micros()),
    );
    diesel::insert_into(errands::table).values(row).execute(tx.changing())?;
    Ok(())
}

/// The open errands, the oldest first. One whose tray went elsewhere, or stands in the freezer already, is over without a word.
pub fn open(reading: &mut Reading<'_>) -> Result<Vec<Errand>, StoreError> {
    type Row = (i64, i64, i64, String, String, Option<i64>, i64, String);
    let rows: Vec<Row> = errands::table
        .inner_join(trays::table.on(trays::id.eq(errands::tray_id)))
        .inner_join(decisions::table.on(decisions::id.eq(errands::decision_id)))
        .filter(errands::done_at.is_null().and(errands::dropped_at.is_null()))
        .filter(trays::fate.is_null().and(trays::frozen_at.is_null()))
        .order(errands::id)
        .select((
            errands::id,
            errands::decision_id,
            errands::tray_id,
            trays::cut_code,
            errands::kind,
            errands::grams,
            errands::created_at,
            decisions::decided_by,
        ))
        .load(reading.conn)?;
    rows.into_iter()
        .map(|(id, decision_id, tray_id, cut, kind, grams, created_at, decided_by)| {
            let created_at = instant(created_at)?;
            Ok(Errand { id, decision_id, tray_id, cut, kind, grams, created_at, decided_by })
        })
        .collect()
}

/// Closes an errand in the act that did it.
pub fn complete(tx: &mut Tx<'_>, id: i64, at: Instant, by: &str, act_id: i64) -> Result<(), StoreError> {
    let changes =
        (errands::done_at.eq(Some(at.micros())), errands::done_by.eq(Some(by)), errands::done_act_id.eq(Some(act_id)));
    let open = errands::id.eq(id).and(errands::done_at.is_null()).and(errands::dropped_at.is_null());
    match diesel::update(errands::table.filter(open)).set(changes).execute(tx.changing())? {
        1 => Ok(()),
        _ => Err(StoreError::Collision(format!("errand {id} was done meanwhile"))),
    }
}

/// Drops what is open of a decision.
pub fn drop_of(tx: &mut Tx<'_>, decision_id: i64, at: Instant) -> Result<usize, StoreError> {
    let open = errands::decision_id.eq(decision_id).and(errands::done_at.is_null()).and(errands::dropped_at.is_null());
    let dropped = errands::dropped_at.eq(Some(at.micros()));
    Ok(diesel::update(errands::table.filter(open)).set(dropped).execute(tx.changing())?)
}

/// What the kitchen took since an instant, by cut, in grams.
pub fn kitchen_took(reading: &mut Reading<'_>, since: Instant) -> Result<BTreeMap<String, i64>, StoreError> {
    let rows: Vec<(String, i64)> = entries::table
        .inner_join(acts::table.on(acts::id.eq(entries::act_id)))
        .inner_join(trays::table.on(trays::id.nullable().eq(entries::tray_id)))
        // Written out, so that the index of just these acts is used.
        .filter(diesel::dsl::sql::<diesel::sql_types::Bool>("acts.kind = 'kitchen'"))
        .filter(acts::at.ge(since.micros()))
        .select((trays::cut_code, entries::grams))
        .load(reading.conn)?;
    let mut took = BTreeMap::new();
    for (cut, grams) in rows {
        *took.entry(cut).or_insert(0) -= grams;
    }
    Ok(took)
}
