//! Holds: placed on a lot, a batch or a tray, open until released.

use super::error::StoreError;
use super::prepared::on_either;
use super::read::Reading;
use super::schema::{held_trays, holdings, holds};
use super::trays;
use super::write::Tx;
use crate::domain::tray::Tray;
use crate::units::instant::Instant;
use diesel::prelude::*;
use std::collections::BTreeSet;

#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Hold {
    pub id: i64,
    pub act_id: i64,
    pub scope: String,
    pub target_id: i64,
    pub placed_at: i64,
    pub placed_by: String,
    pub reason: String,
    pub released_at: Option<i64>,
    pub released_by: Option<String>,
    pub release_note: Option<String>,
    /// None too where it was released before this was kept.
    pub release_act_id: Option<i64>,
}

/// Places a hold; `scope` is `lot`, `batch` or `tray`.
pub fn place(
    tx: &mut Tx<'_>,
    act_id: i64,
    scope: &str,
    target_id: i64,
    at: Instant,
    by: &str,
    reason: &str,
) -> Result<i64, StoreError> {
    let row = (
        holds::act_id.eq(act_id),
        holds::scope.eq(scope),
        holds::target_id.eq(target_id),
        holds::placed_at.eq(at.micros()),
        holds::placed_by.eq(by),
        holds::reason.eq(reason),
    );
    let id = diesel::insert_into(holds::table).values(row).returning(holds::id).get_result(tx.changing())?;
    touch(tx, id)?;
    Ok(id)
}

/// A hold stops every tray it is on, and its release lets each of them go.
fn touch(tx: &mut Tx<'_>, id: i64) -> Result<(), StoreError> {
    let Some(hold) = find(tx, id)? else { return Ok(()) };
    match hold.scope.as_str() {
        "tray" => tx.touched.around(hold.target_id),
        "lot" => trays::touch_lot(tx, hold.target_id)?,
        _ => {
            let reached = held_trays::table.filter(held_trays::hold_id.eq(id)).select(held_trays::tray_id);
            for tray in reached.load(tx.conn)? {
                tx.touched.around(tray);
            }
        }
    }
    Ok(())
}

/// Writes down which trays a hold of a batch reaches.
pub fn reach(tx: &mut Tx<'_>, id: i64, trays: &BTreeSet<i64>) -> Result<(), StoreError> {
    for tray in trays {
        let row = (held_trays::hold_id.eq(id), held_trays::tray_id.eq(tray));
        diesel::insert_into(held_trays::table).values(row).execute(tx.changing())?;
        tx.touched.around(*tray);
    }
    Ok(())
}

pub fn find(reading: &mut Reading<'_>, id: i64) -> Result<Option<Hold>, StoreError> {
    Ok(holds::table.filter(holds::id.eq(id)).get_result(reading.conn).optional()?)
}

pub fn release(tx: &mut Tx<'_>, id: i64, act_id: i64, at: Instant, by: &str, note: &str) -> Result<(), StoreError> {
    let open = holds::table.filter(holds::id.eq(id)).filter(holds::released_at.is_null());
    let row = (
        holds::released_at.eq(at.micros()),
        holds::released_by.eq(by),
        holds::release_note.eq(note),
        holds::release_act_id.eq(act_id),
    );
    diesel::update(open).set(row).execute(tx.changing())?;
    touch(tx, id)
}

/// All open holds, oldest first.
pub fn open(reading: &mut Reading<'_>) -> Result<Vec<Hold>, StoreError> {
    Ok(holds::table.filter(holds::released_at.is_null()).order(holds::id).load(reading.conn)?)
}

/// Which open hold of a batch reaches which tray, of the trays numbered `first` to `last`: pairs of hold and tray.
pub fn reached(reading: &mut Reading<'_>, first: i64, last: i64) -> Result<Vec<(i64, i64)>, StoreError> {
    let open = holds::table.filter(holds::released_at.is_null()).select(holds::id);
    Ok(held_trays::table
        .filter(held_trays::tray_id.between(first, last))
        .filter(held_trays::hold_id.eq_any(open))
        .select((held_trays::hold_id, held_trays::tray_id))
        .load(reading.conn)?)
}

/// Whether a hold reaches a tray: its own, that of a batch it is of or was made from, that of a lot on it. A macro, since the type of the
/// condition cannot be written down.
macro_rules! reaching {
    ($tray:expr) => {{
        let lots = holdings::table.filter(holdings::tray_id.eq($tray.id)).select(holdings::lot_id);
        let reached = held_trays::table.filter(held_trays::tray_id.eq($tray.id)).select(held_trays::hold_id);
        let of_tray = holds::scope.eq("tray").and(holds::target_id.eq($tray.id));
        let of_batch = holds::scope.eq("batch").and(holds::id.eq_any(reached));
        let of_lot = holds::scope.eq("lot").and(holds::target_id.eq_any(lots));
        of_tray.or(of_batch).or(of_lot)
    }};
}

/// Reasons of the open holds that stop a tray: its own, those of a batch it is of or was made from, its lots'.
pub fn on_tray(reading: &mut Reading<'_>, tray: &Tray) -> Result<Vec<String>, StoreError> {
    let query = holds::table
        .filter(holds::released_at.is_null())
        .filter(reaching!(tray))
        .order(holds::id)
        .select(holds::reason);
    Ok(on_either!(reading.conn, own => query.load(own))?)
}

/// Reasons of the holds that stopped a tray at an instant, whether they are open still or not.
pub fn on_tray_at(reading: &mut Reading<'_>, tray: &Tray, at: Instant) -> Result<Vec<String>, StoreError> {
    let query = holds::table
        .filter(holds::placed_at.le(at.micros()))
        .filter(holds::released_at.is_null().or(holds::released_at.gt(at.micros())))
        .filter(reaching!(tray))
        .order(holds::id)
        .select(holds::reason);
    Ok(query.load(reading.conn)?)
}

/// Reasons of the open holds on a tray that were placed after an instant.
pub fn on_tray_since(reading: &mut Reading<'_>, tray: &Tray, at: Instant) -> Result<Vec<String>, StoreError> {
    let query = holds::table
        .filter(holds::placed_at.gt(at.micros()).and(holds::released_at.is_null()))
        .filter(reaching!(tray))
        .order(holds::id)
        .select(holds::reason);
    Ok(query.load(reading.conn)?)
}
