//! What was printed and marked down and counted: the records beside a tray that are written once.

use super::error::StoreError;
use super::prepared::on_either;
use super::read::Reading;
use super::schema::{count_lines, issued_labels, markdowns, trays};
use super::trays::instant;
use super::write::Tx;
use crate::domain::tray::{Kind, LabelReason, Tray};
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

/// A label as it was issued.
#[derive(Debug, Clone, Copy)]
pub struct Issued {
    pub tray_id: i64,
    pub use_by: Option<Instant>,
    pub net: Grams,
    pub price: PricePerKg,
}

type Row = (i64, Option<i64>, i64, i64);

impl TryFrom<Row> for Issued {
    type Error = StoreError;

    fn try_from((tray_id, use_by, net_g, cents): Row) -> Result<Issued, StoreError> {
        Ok(Issued {
            tray_id,
            use_by: use_by.map(instant).transpose()?,
            net: Grams::new(net_g).map_err(|e| StoreError::impossible("mass", e))?,
            price: PricePerKg::new(cents).map_err(|e| StoreError::impossible("price", e))?,
        })
    }
}

/// The labels of a tray, the latest last.
pub fn of_tray(reading: &mut Reading<'_>, tray_id: i64) -> Result<Vec<Issued>, StoreError> {
    let query = issued_labels::table
        .filter(issued_labels::tray_id.eq(tray_id))
        .order((issued_labels::at, issued_labels::id))
        .select((
            issued_labels::tray_id,
            issued_labels::use_by,
            issued_labels::net_g,
            issued_labels::price_per_kg_cents,
        ));
    let rows: Vec<Row> = on_either!(reading.conn, own => query.load(own))?;
    rows.into_iter().map(TryInto::try_into).collect()
}

/// Every label of the blocks of a cut that are in stock, tray by tray, the latest of each last.
pub fn of_blocks_in_stock(reading: &mut Reading<'_>, cut: &str) -> Result<Vec<Issued>, StoreError> {
    let rows: Vec<Row> = issued_labels::table
        .inner_join(trays::table.on(trays::id.eq(issued_labels::tray_id)))
        .filter(trays::cut_code.eq(cut).and(trays::fate.is_null()).and(trays::kind.eq(Kind::Block.as_str())))
        .order((issued_labels::tray_id, issued_labels::at, issued_labels::id))
        .select((
            issued_labels::tray_id,
            issued_labels::use_by,
            issued_labels::net_g,
            issued_labels::price_per_kg_cents,
        ))
        .load(reading.conn)?;
    rows.into_iter().map(TryInto::try_into).collect()
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
