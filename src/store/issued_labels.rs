//! What was issued and marked down and counted: the records beside a tray that are written once.

use super::error::StoreError;
use super::read::Reading;
use super::schema::{count_lines, issued_labels, markdowns};
use super::trays::instant;
use super::write::Tx;
use crate::domain::tray::{LabelReason, Tray};
use crate::units::instant::Instant;
use crate::units::mass::Grams;
use crate::units::money::PricePerKg;
use diesel::prelude::*;

/// Records a label as printed now, with the life it was printed on.
pub fn insert(
    tx: &mut Tx<'_>,
    act_id: i64,
    tray: &Tray,
    at: Instant,
    reason: LabelReason,
    life_ends: Option<Instant>,
) -> Result<(), StoreError> {
    let row = (
        issued_labels::act_id.eq(act_id),
        issued_labels::tray_id.eq(tray.id),
        issued_labels::at.eq(at.micros()),
        issued_labels::reason.eq(reason.as_str()),
        issued_labels::use_by.eq(tray.use_by.map(Instant::micros)),
        issued_labels::life_ends_at.eq(life_ends.map(Instant::micros)),
        issued_labels::net_g.eq(tray.net.get()),
        issued_labels::price_per_kg_cents.eq(tray.price.get()),
    );
    diesel::insert_into(issued_labels::table).values(row).execute(tx.changing())?;
    Ok(())
}

/// A label as it was issued: what it promises, and by which act.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Issued {
    pub act_id: i64,
    pub use_by: Option<Instant>,
    pub net: Grams,
    pub price: PricePerKg,
}

/// The label a tray should carry: the last one issued.
pub fn newest_of_tray(reading: &mut Reading<'_>, tray_id: i64) -> Result<Option<Issued>, StoreError> {
    let columns =
        (issued_labels::act_id, issued_labels::use_by, issued_labels::net_g, issued_labels::price_per_kg_cents);
    let newest = issued_labels::table.filter(issued_labels::tray_id.eq(tray_id)).order(issued_labels::id.desc());
    let row: Option<(i64, Option<i64>, i64, i64)> = newest.select(columns).first(reading.conn).optional()?;
    let Some((act_id, use_by, net, price)) = row else { return Ok(None) };
    Ok(Some(Issued {
        act_id,
        use_by: use_by.map(instant).transpose()?,
        net: Grams::new(net).map_err(|e| StoreError::impossible("weight on label", e))?,
        price: PricePerKg::new(price).map_err(|e| StoreError::impossible("price on label", e))?,
    }))
}

/// How many labels a tray has had.
pub fn count_of_tray(reading: &mut Reading<'_>, tray_id: i64) -> Result<i64, StoreError> {
    Ok(issued_labels::table.filter(issued_labels::tray_id.eq(tray_id)).count().get_result(reading.conn)?)
}

pub fn insert_markdown(
    tx: &mut Tx<'_>,
    act_id: i64,
    tray_id: i64,
    at: Instant,
    old: PricePerKg,
    new: PricePerKg,
    reason: &str,
) -> Result<(), StoreError> {
    let row = (
        markdowns::act_id.eq(act_id),
        markdowns::tray_id.eq(tray_id),
        markdowns::at.eq(at.micros()),
        markdowns::old_price_per_kg_cents.eq(old.get()),
        markdowns::new_price_per_kg_cents.eq(new.get()),
        markdowns::reason.eq(reason),
    );
    diesel::insert_into(markdowns::table).values(row).execute(tx.changing())?;
    Ok(())
}

pub fn insert_count(tx: &mut Tx<'_>, act_id: i64, tray_id: i64, book_g: i64, counted_g: i64) -> Result<(), StoreError> {
    let row = (
        count_lines::act_id.eq(act_id),
        count_lines::tray_id.eq(tray_id),
        count_lines::book_g.eq(book_g),
        count_lines::counted_g.eq(counted_g),
    );
    diesel::insert_into(count_lines::table).values(row).execute(tx.changing())?;
    Ok(())
}
