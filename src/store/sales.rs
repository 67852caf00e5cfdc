//! Sales and their lines. A reversal is an act of its own that the sale points to.

use super::error::StoreError;
use super::prepared::on_either;
use super::read::Reading;
use super::schema::{sale_lines, sales, trays};
use super::write::Tx;
use crate::units::instant::Instant;
use diesel::prelude::*;

#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Sale {
    pub id: i64,
    pub act_id: i64,
    pub at: i64,
    pub sold_by: String,
    pub total_cents: i64,
    pub reversed_by_act_id: Option<i64>,
}

#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct SaleLine {
    pub tray_id: i64,
    pub tray_code: String,
    pub grams: i64,
    pub price_per_kg_cents: i64,
    pub price_cents: i64,
}

pub fn insert(tx: &mut Tx<'_>, act_id: i64, at: Instant, sold_by: &str, total_cents: i64) -> Result<i64, StoreError> {
    let row = (
        sales::act_id.eq(act_id),
        sales::at.eq(at.micros()),
        sales::sold_by.eq(sold_by),
        sales::total_cents.eq(total_cents),
    );
    let insert = diesel::insert_into(sales::table).values(row).returning(sales::id);
    Ok(on_either!(tx.changing(), own => insert.get_result(own))?)
}

pub fn insert_line(tx: &mut Tx<'_>, sale_id: i64, number: i64, line: &SaleLine) -> Result<(), StoreError> {
    let row = (
        sale_lines::sale_id.eq(sale_id),
        sale_lines::line_number.eq(number),
        sale_lines::tray_id.eq(line.tray_id),
        sale_lines::grams.eq(line.grams),
        sale_lines::price_per_kg_cents.eq(line.price_per_kg_cents),
        sale_lines::price_cents.eq(line.price_cents),
    );
    let insert = diesel::insert_into(sale_lines::table).values(row);
    on_either!(tx.changing(), own => insert.execute(own))?;
    Ok(())
}

pub fn find(reading: &mut Reading<'_>, id: i64) -> Result<Option<Sale>, StoreError> {
    Ok(sales::table.filter(sales::id.eq(id)).get_result(reading.conn).optional()?)
}

pub fn lines_of(reading: &mut Reading<'_>, sale_id: i64) -> Result<Vec<SaleLine>, StoreError> {
    Ok(sale_lines::table
        .inner_join(trays::table.on(trays::id.eq(sale_lines::tray_id)))
        .filter(sale_lines::sale_id.eq(sale_id))
        .order(sale_lines::line_number)
        .select((
            sale_lines::tray_id,
            trays::code,
            sale_lines::grams,
            sale_lines::price_per_kg_cents,
            sale_lines::price_cents,
        ))
        .load(reading.conn)?)
}

/// Marks a sale as undone by an act.
pub fn mark_reversed(tx: &mut Tx<'_>, id: i64, act_id: i64) -> Result<(), StoreError> {
    let standing = sales::table.filter(sales::id.eq(id)).filter(sales::reversed_by_act_id.is_null());
    diesel::update(standing).set(sales::reversed_by_act_id.eq(act_id)).execute(tx.changing())?;
    Ok(())
}

/// The last standing sale of a tray: when and by whom.
pub fn last_of_tray(reading: &mut Reading<'_>, tray_id: i64) -> Result<Option<Sale>, StoreError> {
    Ok(sales::table
        .inner_join(sale_lines::table.on(sale_lines::sale_id.eq(sales::id)))
        .filter(sale_lines::tray_id.eq(tray_id))
        .filter(sales::reversed_by_act_id.is_null())
        .order(sales::id.desc())
        .select((sales::id, sales::act_id, sales::at, sales::sold_by, sales::total_cents, sales::reversed_by_act_id))
        .first(reading.conn)
        .optional()?)
}

/// Sales newest first, beginning below a number.
pub fn page(reading: &mut Reading<'_>, below: Option<i64>, limit: i64) -> Result<Vec<Sale>, StoreError> {
    Ok(sales::table
        .filter(sales::id.lt(below.unwrap_or(i64::MAX)))
        .order(sales::id.desc())
        .limit(limit)
        .load(reading.conn)?)
}
