//! What a tray came of: the trays it was cut from, the trays poured into it, and the other way round.

use super::error::StoreError;
use super::read::Reading;
use super::schema::{breakdown_inputs, breakdown_outputs, breakdowns, stays, top_ups, trays};
use super::trays::instant;
use super::write::Tx;
use crate::domain::place::StorageMethod;
use crate::units::instant::Instant;
use diesel::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

/// One act by which a tray took over from others.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TakeOver {
    pub act_id: i64,
    pub at: Instant,
    pub sources: Vec<i64>,
}

/// The cutting a tray came of; none for what was received.
pub fn cutting(reading: &mut Reading<'_>, tray_id: i64) -> Result<Option<TakeOver>, StoreError> {
    let found: Option<(i64, i64, i64)> = breakdown_outputs::table
        .inner_join(breakdowns::table.on(breakdowns::id.eq(breakdown_outputs::breakdown_id)))
        .filter(breakdown_outputs::tray_id.eq(tray_id))
        .select((breakdowns::id, breakdowns::act_id, breakdowns::at))
        .get_result(reading.conn)
        .optional()?;
    let Some((id, act_id, at)) = found else { return Ok(None) };
    let sources = breakdown_inputs::table
        .filter(breakdown_inputs::breakdown_id.eq(id))
        .order(breakdown_inputs::id)
        .select(breakdown_inputs::tray_id)
        .load(reading.conn)?;
    Ok(Some(TakeOver { act_id, at: instant(at)?, sources }))
}

/// What was poured into a tub, in the order it was.
pub fn poured_into(reading: &mut Reading<'_>, tray_id: i64) -> Result<Vec<TakeOver>, StoreError> {
    let rows: Vec<(i64, i64, i64)> = top_ups::table
        .filter(top_ups::tub_id.eq(tray_id))
        .order(top_ups::id)
        .select((top_ups::act_id, top_ups::at, top_ups::source_id))
        .load(reading.conn)?;
    rows.into_iter()
        .map(|(act_id, at, source)| Ok(TakeOver { act_id, at: instant(at)?, sources: vec![source] }))
        .collect()
}

/// Remembers that a tub was topped up.
pub fn insert_top_up(
    tx: &mut Tx<'_>,
    act_id: i64,
    at: Instant,
    tub_id: i64,
    source_id: i64,
    grams: i64,
) -> Result<(), StoreError> {
    let row = (
        top_ups::act_id.eq(act_id),
        top_ups::at.eq(at.micros()),
        top_ups::tub_id.eq(tub_id),
        top_ups::source_id.eq(source_id),
        top_ups::grams.eq(grams),
    );
    diesel::insert_into(top_ups::table).values(row).execute(tx.changing())?;
    Ok(())
}

/// Trays named in one question at most: both databases limit how many values a statement may carry.
const TRAYS_A_QUESTION: usize = 500;

/// A tray and every tray it came of, however far back, each with the last instant at which what happened to it concerns the first one:
/// what is done to the rest of a loin after the cutting is not the piece's.
pub fn ancestry(reading: &mut Reading<'_>, tray_id: i64, until: Instant) -> Result<BTreeMap<i64, Instant>, StoreError> {
    let mut found = BTreeMap::from([(tray_id, until)]);
    let mut newest = vec![tray_id];
    while !newest.is_empty() {
        let mut next = BTreeSet::new();
        for (heir, source, at) in took_over(reading, &newest)? {
            let at = instant(at)?;
            let concerns = found.get(&heir).is_some_and(|until| at <= *until);
            if concerns && found.get(&source).is_none_or(|known| *known < at) {
                found.insert(source, at);
                next.insert(source);
            }
        }
        newest = next.into_iter().collect();
    }
    Ok(found)
}

/// Who took over from whom and when, by cutting or pouring, for these heirs: heir, source, instant.
fn took_over(reading: &mut Reading<'_>, heirs: &[i64]) -> Result<Vec<(i64, i64, i64)>, StoreError> {
    let mut all = Vec::new();
    for some in heirs.chunks(TRAYS_A_QUESTION) {
        let cut: Vec<(i64, i64, i64)> = breakdown_outputs::table
            .inner_join(breakdown_inputs::table.on(breakdown_inputs::breakdown_id.eq(breakdown_outputs::breakdown_id)))
            .inner_join(breakdowns::table.on(breakdowns::id.eq(breakdown_outputs::breakdown_id)))
            .filter(breakdown_outputs::tray_id.eq_any(some))
            .select((breakdown_outputs::tray_id, breakdown_inputs::tray_id, breakdowns::at))
            .load(reading.conn)?;
        let poured: Vec<(i64, i64, i64)> = top_ups::table
            .filter(top_ups::tub_id.eq_any(some))
            .select((top_ups::tub_id, top_ups::source_id, top_ups::at))
            .load(reading.conn)?;
        all.extend(cut.into_iter().chain(poured));
    }
    Ok(all)
}

/// The first time one of these trays came to a frozen place, of what counts for each: up to the instant beside it.
pub fn first_frozen(reading: &mut Reading<'_>, trays: &BTreeMap<i64, Instant>) -> Result<Option<Instant>, StoreError> {
    let ids: Vec<i64> = trays.keys().copied().collect();
    let mut first: Option<Instant> = None;
    for some in ids.chunks(TRAYS_A_QUESTION) {
        let frozen: Vec<(i64, i64)> = stays::table
            .filter(stays::tray_id.eq_any(some))
            .filter(stays::method.eq(StorageMethod::Frozen.as_str()))
            .select((stays::tray_id, stays::from_at))
            .load(reading.conn)?;
        for (tray, from) in frozen {
            let from = instant(from)?;
            if trays.get(&tray).is_some_and(|until| from <= *until) {
                first = Some(first.map_or(from, |known| known.min(from)));
            }
        }
    }
    Ok(first)
}

/// Every tray that took over from one of these after an instant, by cutting or pouring, however far on.
pub fn heirs_since(reading: &mut Reading<'_>, of: Vec<i64>, since: Instant) -> Result<BTreeSet<i64>, StoreError> {
    let mut found = BTreeSet::new();
    let mut newest = of;
    while !newest.is_empty() {
        let mut next = Vec::new();
        for some in newest.chunks(TRAYS_A_QUESTION) {
            let cut: Vec<i64> = breakdown_outputs::table
                .inner_join(
                    breakdown_inputs::table.on(breakdown_inputs::breakdown_id.eq(breakdown_outputs::breakdown_id)),
                )
                .inner_join(breakdowns::table.on(breakdowns::id.eq(breakdown_outputs::breakdown_id)))
                .filter(breakdown_inputs::tray_id.eq_any(some))
                .filter(breakdowns::at.gt(since.micros()))
                .select(breakdown_outputs::tray_id)
                .load(reading.conn)?;
            let poured: Vec<i64> = top_ups::table
                .filter(top_ups::source_id.eq_any(some))
                .filter(top_ups::at.gt(since.micros()))
                .select(top_ups::tub_id)
                .load(reading.conn)?;
            next.extend(cut.into_iter().chain(poured).filter(|tray| found.insert(*tray)));
        }
        newest = next;
    }
    Ok(found)
}

/// Which of these trays are in stock.
pub fn in_stock(reading: &mut Reading<'_>, of: &BTreeSet<i64>) -> Result<Vec<i64>, StoreError> {
    let mut found = Vec::new();
    let all: Vec<i64> = of.iter().copied().collect();
    for some in all.chunks(TRAYS_A_QUESTION) {
        let query = trays::table.filter(trays::id.eq_any(some)).filter(trays::fate.is_null());
        found.extend(query.select(trays::id).order(trays::id).load::<i64>(reading.conn)?);
    }
    Ok(found)
}

/// The trays of a batch, in stock or not; none when there is no such batch.
pub fn of_batch(reading: &mut Reading<'_>, batch_id: i64) -> Result<Vec<i64>, StoreError> {
    Ok(trays::table.filter(trays::batch_id.eq(batch_id)).select(trays::id).order(trays::id).load(reading.conn)?)
}
