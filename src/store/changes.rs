//! The change sequence: what was done and what time brought, each once, in an order that never changes behind a reader. Every act stands in
//! it, once for each tray it touched, with what is on the shelf of that tray from then on.
//!
//! The order is that of transactions, and within one that of writing. An act that saw what another did stands behind it; two that did not
//! see each other stand in the order in which they began to write.

use super::dialect;
use super::error::StoreError;
use super::prepared::on_either;
use super::read::Reading;
use super::schema::changes;
use super::trays::instant;
use super::write::Tx;
use crate::units::instant::Instant;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Nullable, Text};

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

#[derive(QueryableByName)]
struct ChangeRow {
    #[diesel(sql_type = BigInt)]
    id: i64,
    #[diesel(sql_type = BigInt)]
    xact: i64,
    #[diesel(sql_type = Nullable<BigInt>)]
    act_id: Option<i64>,
    #[diesel(sql_type = Text)]
    kind: String,
    #[diesel(sql_type = Nullable<BigInt>)]
    happened_at: Option<i64>,
    #[diesel(sql_type = BigInt)]
    at: i64,
    #[diesel(sql_type = Nullable<Text>)]
    actor: Option<String>,
    #[diesel(sql_type = Nullable<Text>)]
    reason: Option<String>,
    #[diesel(sql_type = Nullable<BigInt>)]
    reverses_act_id: Option<i64>,
    #[diesel(sql_type = Nullable<Text>)]
    tray_code: Option<String>,
    #[diesel(sql_type = Nullable<Text>)]
    offer: Option<String>,
}

impl TryFrom<ChangeRow> for Change {
    type Error = StoreError;

    fn try_from(row: ChangeRow) -> Result<Change, StoreError> {
        Ok(Change {
            position: Position { xact: row.xact, id: row.id },
            act_id: row.act_id,
            kind: row.kind,
            at: instant(row.happened_at.unwrap_or(row.at))?,
            recorded_at: instant(row.at)?,
            actor: row.actor,
            reason: row.reason,
            reverses_act_id: row.reverses_act_id,
            tray_code: row.tray_code,
            offer: row.offer,
        })
    }
}

fn load(reading: &mut Reading<'_>, which: &str, limit: i64) -> Result<Vec<Change>, StoreError> {
    let columns = "c.id, c.xact, c.act_id, c.kind, a.at AS happened_at, c.at, a.actor, a.reason, a.reverses_act_id, c.tray_code, c.offer";
    let from = "changes AS c LEFT JOIN acts AS a ON a.id = c.act_id";
    let rows: Vec<ChangeRow> =
        diesel::sql_query(format!("SELECT {columns} FROM {from} WHERE {which} LIMIT {limit}")).load(reading.conn)?;
    rows.into_iter().map(TryInto::try_into).collect()
}

/// What comes behind a position, the oldest first: only what nothing can come to stand before any more.
pub fn behind(reading: &mut Reading<'_>, position: Position, limit: i64) -> Result<Vec<Change>, StoreError> {
    let which = dialect::changes_behind(reading.conn, (position.xact, position.id));
    load(reading, &which, limit)
}

/// The end of the sequence as it is now.
pub fn newest(reading: &mut Reading<'_>) -> Result<Position, StoreError> {
    let which = dialect::newest_changes(reading.conn);
    Ok(load(reading, &which, 1)?.first().map_or(Position::START, |change| change.position))
}

/// Whether a change stands exactly there.
pub fn is_known(reading: &mut Reading<'_>, position: Position) -> Result<bool, StoreError> {
    let there = changes::table.filter(changes::id.eq(position.id)).filter(changes::xact.eq(position.xact));
    Ok(there.count().get_result::<i64>(reading.conn)? == 1)
}
