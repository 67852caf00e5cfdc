//! Records of freezing against parasites. Nothing of one changes but that readings which came late may refute it.

use super::error::StoreError;
use super::read::Reading;
use super::schema::{lots, parasite_freezings};
use super::trays;
use super::write::Tx;
use crate::units::instant::Instant;
use diesel::prelude::*;

/// A record as it is kept.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Record {
    pub id: i64,
    pub act_id: i64,
    pub scope: String,
    pub target_id: i64,
    pub evidence: String,
    pub rule: String,
    /// The freezer that was measured.
    pub place_code: Option<String>,
    pub from_at: Option<i64>,
    pub to_at: Option<i64>,
    pub temperature_mc: i64,
    pub hours: i64,
    pub note: Option<String>,
    pub recorded_at: i64,
    pub recorded_by: String,
    pub refuted_at: Option<i64>,
}

/// A record to be kept.
#[derive(Debug, Clone)]
pub struct NewRecord<'a> {
    pub act_id: i64,
    /// `lot` or `batch`, and its number.
    pub scope: &'static str,
    pub target_id: i64,
    /// `measured` or `supplier_letter`.
    pub evidence: &'static str,
    pub rule: &'a str,
    /// The freezer, and from when to when it was cold enough.
    pub place: Option<&'a str>,
    pub span: Option<(Instant, Instant)>,
    pub temperature_mc: i64,
    pub hours: i64,
    pub note: Option<&'a str>,
    pub recorded_at: Instant,
    pub recorded_by: &'a str,
}

pub fn insert(tx: &mut Tx<'_>, record: &NewRecord<'_>) -> Result<i64, StoreError> {
    let row = (
        parasite_freezings::act_id.eq(record.act_id),
        parasite_freezings::scope.eq(record.scope),
        parasite_freezings::target_id.eq(record.target_id),
        parasite_freezings::evidence.eq(record.evidence),
        parasite_freezings::rule.eq(record.rule),
        parasite_freezings::place_code.eq(record.place),
        parasite_freezings::from_at.eq(record.span.map(|(from, _)| from.micros())),
        parasite_freezings::to_at.eq(record.span.map(|(_, to)| to.micros())),
        parasite_freezings::temperature_mc.eq(record.temperature_mc),
        parasite_freezings::hours.eq(record.hours),
        parasite_freezings::note.eq(record.note),
        parasite_freezings::recorded_at.eq(record.recorded_at.micros()),
        parasite_freezings::recorded_by.eq(record.recorded_by),
    );
    let insert = diesel::insert_into(parasite_freezings::table).values(row);
    Ok(insert.returning(parasite_freezings::id).get_result(tx.changing())?)
}

pub fn find(reading: &mut Reading<'_>, id: i64) -> Result<Option<Record>, StoreError> {
    Ok(parasite_freezings::table.filter(parasite_freezings::id.eq(id)).get_result(reading.conn).optional()?)
}

/// The newest first, below a number.
pub fn page(reading: &mut Reading<'_>, below: Option<i64>, limit: i64) -> Result<Vec<Record>, StoreError> {
    let older = parasite_freezings::table.filter(parasite_freezings::id.lt(below.unwrap_or(i64::MAX)));
    Ok(older.order(parasite_freezings::id.desc()).limit(limit).load(reading.conn)?)
}

/// Measured records of a freezer whose time touches a stretch and that nothing has refuted.
pub fn measured_in(
    reading: &mut Reading<'_>,
    place: &str,
    from: Instant,
    to: Option<Instant>,
) -> Result<Vec<Record>, StoreError> {
    let of_place = parasite_freezings::table
        .filter(parasite_freezings::place_code.eq(place))
        .filter(parasite_freezings::refuted_at.is_null())
        .filter(parasite_freezings::to_at.ge(from.micros()))
        .filter(parasite_freezings::from_at.le(to.map_or(i64::MAX, Instant::micros)));
    Ok(of_place.order(parasite_freezings::id).load(reading.conn)?)
}

pub fn refute(tx: &mut Tx<'_>, id: i64, now: Instant) -> Result<(), StoreError> {
    let record = parasite_freezings::table.filter(parasite_freezings::id.eq(id));
    diesel::update(record).set(parasite_freezings::refuted_at.eq(now.micros())).execute(tx.changing())?;
    Ok(())
}

/// Writes on a lot that it was frozen against parasites before it came.
pub fn mark_lot(tx: &mut Tx<'_>, lot_id: i64, words: &str) -> Result<(), StoreError> {
    let lot = lots::table.filter(lots::id.eq(lot_id));
    diesel::update(lot).set(lots::parasite_freezing.eq(words)).execute(tx.changing())?;
    trays::touch_lot(tx, lot_id)
}
