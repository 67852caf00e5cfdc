//! The change sequence: what was done and what time brought, each once, in an order that never changes behind a reader. Every act stands in
//! it, once for each tray it touched, with what is on the shelf of that tray from then on.
//!
//! The order is that of transactions, and within one that of writing. An act that saw what another did stands behind it; two that did not
//! see each other stand in the order in which they began to write.

use super::dialect::sequence;
use super::error::StoreError;
use super::prepared::on_either;
use super::read::Reading;
use super::schema::following::changes;
use super::trays::instant;
use super::write::Tx;
use crate::units::instant::Instant;
use diesel::prelude::*;

/// A place in the sequence: transaction and number. The transaction is 0 on SQLite, where one writer needs no other order than that of
/// numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Position {
    pub xact: i64,
    pub id: i64,
}

impl Position {
    /// Before everything.
    pub const START: Position = Position { xact: 0, id: 0 };
}

/// What is to be told of one tray, or of an act that touched none.
#[derive(Debug, Clone, Copy)]
pub struct NewChange<'a> {
    /// None when time passed and nobody did anything.
    pub act_id: Option<i64>,
    pub kind: &'a str,
    /// When it was recorded.
    pub at: Instant,
    pub tray_code: Option<&'a str>,
    /// What is on the shelf of the tray from now on, as JSON; none when it is not for sale.
    pub offer: Option<&'a str>,
}

pub fn append(tx: &mut Tx<'_>, change: &NewChange<'_>) -> Result<(), StoreError> {
    let row = (
        changes::act_id.eq(change.act_id),
        changes::kind.eq(change.kind),
        changes::at.eq(change.at.micros()),
        changes::tray_code.eq(change.tray_code),
        changes::offer.eq(change.offer),
    );
    let insert = diesel::insert_into(changes::table).values(row);
    on_either!(tx.changing(), own => insert.execute(own))?;
    Ok(())
}

/// A change, as it is told to those who follow.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    pub position: Position,
    pub act_id: Option<i64>,
    pub kind: String,
    /// When it happened, and when it was recorded.
    pub at: Instant,
    pub recorded_at: Instant,
    pub actor: Option<String>,
    pub reason: Option<String>,
    pub reverses_act_id: Option<i64>,
    pub tray_code: Option<String>,
    /// JSON.
    pub offer: Option<String>,
}

type ChangeRow = (
    i64,
    i64,
    Option<i64>,
    String,
    Option<i64>,
    i64,
    Option<String>,
    Option<String>,
    Option<i64>,
    Option<String>,
    Option<String>,
);

fn change(row: ChangeRow) -> Result<Change, StoreError> {
    let (id, xact, act_id, kind, happened_at, at, actor, reason, reverses_act_id, tray_code, offer) = row;
    Ok(Change {
        position: Position { xact, id },
        act_id,
        kind,
        at: instant(happened_at.unwrap_or(at))?,
        recorded_at: instant(at)?,
        actor,
        reason,
        reverses_act_id,
        tray_code,
        offer,
    })
}

/// What comes behind a position, the oldest first: only what nothing can come to stand before any more.
pub fn behind(reading: &mut Reading<'_>, position: Position, limit: i64) -> Result<Vec<Change>, StoreError> {
    let query = sequence::Behind { xact: position.xact, id: position.id, limit };
    let rows: Vec<ChangeRow> = on_either!(reading.conn, own => query.load(own))?;
    rows.into_iter().map(change).collect()
}

/// The end of the sequence in this state, and when what stands there was recorded. Nothing stands at the end of an empty one.
pub fn end(reading: &mut Reading<'_>) -> Result<Option<(Position, Instant)>, StoreError> {
    let row: Option<(i64, i64, i64)> = on_either!(reading.conn, own => sequence::Newest.get_result(own)).optional()?;
    row.map(|(xact, id, at)| Ok((Position { xact, id }, instant(at)?))).transpose()
}

/// Trays whose last changes can be seen in this state and stand behind the end of the sequence, by number, each with what stood on its
/// shelf at the end. The state at the end of the sequence is the shelf, these trays put back.
pub fn unsettled(reading: &mut Reading<'_>) -> Result<Vec<(i64, Option<String>)>, StoreError> {
    Ok(on_either!(reading.conn, own => sequence::Unsettled.load(own))?)
}

/// Whether a change stands exactly there.
pub fn is_known(reading: &mut Reading<'_>, position: Position) -> Result<bool, StoreError> {
    let there = changes::table.filter(changes::id.eq(position.id)).filter(changes::xact.eq(position.xact));
    let found = there.select(changes::id);
    Ok(on_either!(reading.conn, own => found.get_result::<i64>(own)).optional()?.is_some())
}

/// How many changes there are, settled or not.
pub fn count(reading: &mut Reading<'_>) -> Result<i64, StoreError> {
    Ok(changes::table.count().get_result(reading.conn)?)
}

/// The change that stands exactly there.
pub fn at(reading: &mut Reading<'_>, position: Position) -> Result<Option<Change>, StoreError> {
    let before = Position { id: position.id - 1, ..position };
    Ok(behind(reading, before, 1)?.pop().filter(|change| change.position == position))
}
