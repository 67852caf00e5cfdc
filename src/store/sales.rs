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

/// The number of a line to come.
pub fn next_line_number(reading: &mut Reading<'_>, sale_id: i64) -> Result<i64, StoreError> {
    let of_sale = sale_lines::table.filter(sale_lines::sale_id.eq(sale_id));
    let last: Option<i64> = of_sale.select(diesel::dsl::max(sale_lines::line_number)).get_result(reading.conn)?;
    Ok(last.unwrap_or(0) + 1)
}

/// Takes grams of a tray off a sale, because it was another tray that went; gives the money that goes with them: all of the line, or as much
/// as is said. What the till sent, and which exception changed it, is kept beside the sale.
pub fn take_off(tx: &mut Tx<'_>, sale_id: i64, tray_id: i64, grams: i64, cents: i64) -> Result<i64, StoreError> {
    let (id, there, price): (i64, i64, i64) = sale_lines::table
        .filter(sale_lines::sale_id.eq(sale_id).and(sale_lines::tray_id.eq(tray_id)).and(sale_lines::grams.ge(grams)))
        .order(sale_lines::line_number)
        .select((sale_lines::id, sale_lines::grams, sale_lines::price_cents))
        .first(tx.changing())?;
    let line = sale_lines::table.filter(sale_lines::id.eq(id));
    if there == grams {
        diesel::delete(line).execute(tx.changing())?;
        return Ok(price);
    }
    let off = cents.min(price);
    let set = (sale_lines::grams.eq(there - grams), sale_lines::price_cents.eq(price - off));
    diesel::update(line).set(set).execute(tx.changing())?;
    Ok(off)
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
