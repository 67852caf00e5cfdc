//! A tray's time in a place: from, to. With the temperatures of the places, what life is computed from.

use super::error::StoreError;
use super::prepared::{on_either, update};
use super::read::Reading;
use super::schema::stays;
use super::trays::instant;
use super::write::Tx;
use crate::domain::place::Place;
use crate::units::instant::Instant;
use diesel::prelude::*;

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stay {
    pub place_code: String,
    /// The storage method of the place then.
    pub method: String,
    pub from: Instant,
    /// None while it lasts.
    pub to: Option<Instant>,
}

pub fn begin(tx: &mut Tx<'_>, tray_id: i64, place: &Place, from: Instant) -> Result<(), StoreError> {
    let row = (
        stays::tray_id.eq(tray_id),
        stays::place_code.eq(&place.code),
        stays::method.eq(place.method.as_str()),
        stays::from_at.eq(from.micros()),
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

/// Opens the last stay again, for a mis-scanned tray that never left.
pub fn reopen(tx: &mut Tx<'_>, tray_id: i64) -> Result<(), StoreError> {
    let last: i64 = stays::table
        .filter(stays::tray_id.eq(tray_id))
        .order(stays::id.desc())
        .select(stays::id)
        .first(tx.changing())?;
    diesel::update(stays::table.filter(stays::id.eq(last))).set(stays::to_at.eq(None::<i64>)).execute(tx.changing())?;
    Ok(())
}

/// The stays of a tray, in order.
pub fn of_tray(reading: &mut Reading<'_>, tray_id: i64) -> Result<Vec<Stay>, StoreError> {
    let rows: Vec<(String, String, i64, Option<i64>)> = stays::table
        .filter(stays::tray_id.eq(tray_id))
        .order(stays::id)
        .select((stays::place_code, stays::method, stays::from_at, stays::to_at))
        .load(reading.conn)?;
    let read = |(place_code, method, from, to): (String, String, i64, Option<i64>)| {
        Ok(Stay { place_code, method, from: instant(from)?, to: to.map(instant).transpose()? })
    };
    rows.into_iter().map(read).collect()
}

/// Trays, gone ones too, that stood in a place at some time of a stretch, in the order of their numbers, each with whether it has left
/// that stay since.
pub fn stood_in(
    reading: &mut Reading<'_>,
    place: &str,
    from: Instant,
    to: Option<Instant>,
) -> Result<Vec<(i64, bool)>, StoreError> {
    let mut query = stays::table
        .filter(stays::place_code.eq(place))
        .filter(stays::to_at.is_null().or(stays::to_at.gt(from.micros())))
        .select((stays::tray_id, stays::to_at.is_not_null()))
        .order(stays::tray_id)
        .into_boxed();
    if let Some(to) = to {
        query = query.filter(stays::from_at.lt(to.micros()));
    }
    Ok(query.load(reading.conn)?)
}

/// Time that trays, gone ones too, spent in a place during a stretch: the tray, from, and to, if that is over.
pub fn in_place(
    reading: &mut Reading<'_>,
    place: &str,
    from: Instant,
    to: Instant,
) -> Result<Vec<(i64, Instant, Option<Instant>)>, StoreError> {
    let rows: Vec<(i64, i64, Option<i64>)> = stays::table
        .filter(stays::place_code.eq(place))
        .filter(stays::from_at.lt(to.micros()))
        .filter(stays::to_at.is_null().or(stays::to_at.gt(from.micros())))
        .order(stays::id)
        .select((stays::tray_id, stays::from_at, stays::to_at))
        .load(reading.conn)?;
    rows.into_iter().map(|(tray, from, to)| Ok((tray, instant(from)?, to.map(instant).transpose()?))).collect()
}
