//! The change feed: acts, each once, in an order that never changes behind a reader. What is appended stands in `acts`; here it is read.
//!
//! The order is that of transactions, and within one that of acts. An act that saw what another did stands behind it; two that did not
//! see each other stand in the order in which they began to write.

use super::dialect;
use super::error::StoreError;
use super::read::Reading;
use super::schema::acts;
use super::trays::instant;
use crate::units::instant::Instant;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Nullable, Text};

/// A place in the feed: transaction and act. The transaction is 0 on SQLite, where one writer needs no other order than that of acts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Position {
    pub xact: i64,
    pub act_id: i64,
}

impl Position {
    /// Before everything.
    pub const START: Position = Position { xact: 0, act_id: 0 };
}

/// An act, as it is told to those who follow.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    pub position: Position,
    pub kind: String,
    pub at: Instant,
    pub recorded_at: Instant,
    pub actor: String,
    pub reason: Option<String>,
    pub reverses_act_id: Option<i64>,
}

#[derive(QueryableByName)]
struct ChangeRow {
    #[diesel(sql_type = BigInt)]
    id: i64,
    #[diesel(sql_type = BigInt)]
    xact: i64,
    #[diesel(sql_type = Text)]
    kind: String,
    #[diesel(sql_type = BigInt)]
    at: i64,
    #[diesel(sql_type = BigInt)]
    recorded_at: i64,
    #[diesel(sql_type = Text)]
    actor: String,
    #[diesel(sql_type = Nullable<Text>)]
    reason: Option<String>,
    #[diesel(sql_type = Nullable<BigInt>)]
    reverses_act_id: Option<i64>,
}

impl TryFrom<ChangeRow> for Change {
    type Error = StoreError;

    fn try_from(row: ChangeRow) -> Result<Change, StoreError> {
        Ok(Change {
            position: Position { xact: row.xact, act_id: row.id },
            kind: row.kind,
            at: instant(row.at)?,
            recorded_at: instant(row.recorded_at)?,
            actor: row.actor,
            reason: row.reason,
            reverses_act_id: row.reverses_act_id,
        })
    }
}

fn load(reading: &mut Reading<'_>, which: &str, limit: i64) -> Result<Vec<Change>, StoreError> {
    let columns = "id, xact, kind, at, recorded_at, actor, reason, reverses_act_id";
    let rows: Vec<ChangeRow> =
        diesel::sql_query(format!("SELECT {columns} FROM acts WHERE {which} LIMIT {limit}")).load(reading.conn)?;
    rows.into_iter().map(TryInto::try_into).collect()
}

/// What comes behind a position, the oldest first: only what nothing can come to stand before any more.
pub fn behind(reading: &mut Reading<'_>, position: Position, limit: i64) -> Result<Vec<Change>, StoreError> {
    let which = dialect::acts_behind(reading.conn, (position.xact, position.act_id));
    load(reading, &which, limit)
}

/// The end of the feed as it is now.
pub fn newest(reading: &mut Reading<'_>) -> Result<Position, StoreError> {
    let which = dialect::newest_acts(reading.conn);
    Ok(load(reading, &which, 1)?.first().map_or(Position::START, |change| change.position))
}

/// Whether an act stands exactly there.
pub fn is_known(reading: &mut Reading<'_>, position: Position) -> Result<bool, StoreError> {
    let there = acts::table.filter(acts::id.eq(position.act_id)).filter(acts::xact.eq(position.xact));
    Ok(there.count().get_result::<i64>(reading.conn)? == 1)
}
