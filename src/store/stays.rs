//! A tray's time in a place: from, to, and the pace its clock ran at. What life is computed from.

use super::error::StoreError;
use super::prepared::{on_either, update};
use super::read::Reading;
use super::schema::stays;
use super::write::Tx;
use crate::domain::place::Place;
use crate::units::instant::Instant;
use diesel::prelude::*;

#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Stay {
    pub tray_id: i64,
    pub place_code: String,
    pub method: String,
    pub assumed_mc: i64,
    pub pace_millionths: i64,
    pub from_at: i64,
    pub to_at: Option<i64>,
    /// Ice time the tray had used when the stay began.
    pub used_before_micros: i64,
}

pub fn begin(
    tx: &mut Tx<'_>,
    tray_id: i64,
    place: &Place,
    from: Instant,
    used_before_micros: i64,
) -> Result<(), StoreError> {
    let row = (
        stays::tray_id.eq(tray_id),
        stays::place_code.eq(&place.code),
        stays::method.eq(place.method.as_str()),
        stays::assumed_mc.eq(place.upper_limit.get()),
        stays::pace_millionths.eq(place.pace().millionths()),
        stays::from_at.eq(from.micros()),
        stays::used_before_micros.eq(used_before_micros),
    );
    diesel::insert_into(stays::table).values(row).execute(tx.changing())?;
    Ok(())
}

struct End;

/// Ends the open stay of a tray.
pub fn end(tx: &mut Tx<'_>, tray_id: i64, to: Instant) -> Result<(), StoreError> {
    let open = stays::tray_id.eq(tray_id).and(stays::to_at.is_null());
    let update = update(End, stays::table, open, stays::to_at.eq(to.micros()));
    let ended = on_either!(tx.changing(), own => update.execute(own))?;
    if ended == 1 { Ok(()) } else { Err(StoreError::impossible("open stays of one tray", ended)) }
}

/// Opens the last stay again, for a mis-scanned tray that never left; gives the method and the pace it was kept at.
pub fn reopen(tx: &mut Tx<'_>, tray_id: i64) -> Result<(String, i64), StoreError> {
    let (last, method, pace): (i64, String, i64) = stays::table
        .filter(stays::tray_id.eq(tray_id))
        .order(stays::id.desc())
        .select((stays::id, stays::method, stays::pace_millionths))
        .first(tx.changing())?;
    diesel::update(stays::table.filter(stays::id.eq(last))).set(stays::to_at.eq(None::<i64>)).execute(tx.changing())?;
    Ok((method, pace))
}

/// The stays of a tray, in order.
pub fn of_tray(reading: &mut Reading<'_>, tray_id: i64) -> Result<Vec<Stay>, StoreError> {
    Ok(stays::table
        .filter(stays::tray_id.eq(tray_id))
        .order((stays::from_at, stays::id))
        .select((
            stays::tray_id,
            stays::place_code,
            stays::method,
            stays::assumed_mc,
            stays::pace_millionths,
            stays::from_at,
            stays::to_at,
            stays::used_before_micros,
        ))
        .load(reading.conn)?)
}
