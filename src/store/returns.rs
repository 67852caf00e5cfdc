//! What customers brought back of a sale.

use super::error::StoreError;
use super::read::Reading;
use super::schema::offline::return_lines;
use super::schema::trays;
use super::write::Tx;
use diesel::prelude::*;

#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct ReturnLine {
    pub act_id: i64,
    pub tray_id: i64,
    pub tray_code: String,
    pub grams: i64,
    pub refund_cents: i64,
    pub reason: String,
}

pub fn insert(tx: &mut Tx<'_>, sale_id: i64, line: &ReturnLine) -> Result<(), StoreError> {
    let row = (
        return_lines::act_id.eq(line.act_id),
        return_lines::sale_id.eq(sale_id),
        return_lines::tray_id.eq(line.tray_id),
        return_lines::grams.eq(line.grams),
        return_lines::refund_cents.eq(line.refund_cents),
        return_lines::reason.eq(&line.reason),
    );
    diesel::insert_into(return_lines::table).values(row).execute(tx.changing())?;
    Ok(())
}

/// Everything that came back of a sale, in the order it came.
pub fn of_sale(reading: &mut Reading<'_>, sale_id: i64) -> Result<Vec<ReturnLine>, StoreError> {
    Ok(return_lines::table
        .inner_join(trays::table.on(trays::id.eq(return_lines::tray_id)))
        .filter(return_lines::sale_id.eq(sale_id))
        .order(return_lines::id)
        .select((
            return_lines::act_id,
            return_lines::tray_id,
            trays::code,
            return_lines::grams,
            return_lines::refund_cents,
            return_lines::reason,
        ))
        .load(reading.conn)?)
}
