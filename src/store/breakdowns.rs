//! Breakdowns as they were weighed: inputs, outputs, named losses, the rest. Each line keeps the raw life it had, so that inheritance can be
//! checked later.

use super::error::StoreError;
use super::read::Reading;
use super::schema::{breakdown_inputs, breakdown_losses, breakdown_outputs, breakdowns};
use super::write::Tx;
use crate::domain::breakdown::Balance;
use crate::domain::life::lived::Lived;
use crate::units::instant::Instant;
use diesel::prelude::*;

#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Breakdown {
    pub id: i64,
    pub act_id: i64,
    pub at: i64,
    pub place_code: String,
    pub input_g: i64,
    pub output_g: i64,
    pub named_loss_g: i64,
    pub unexplained_g: i64,
    pub scale_g: i64,
    pub drip_g: i64,
    pub reason: Option<String>,
}

/// One tray that went in or came out, with the life it had at the cut, as it was known then.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Line {
    pub tray_id: i64,
    pub grams: i64,
    pub lived: Lived,
    pub cut_at: Instant,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    Input,
    Output,
}

pub fn insert(
    tx: &mut Tx<'_>,
    act_id: i64,
    at: Instant,
    place: &str,
    balance: &Balance,
    reason: Option<&str>,
) -> Result<i64, StoreError> {
    let row = (
        breakdowns::act_id.eq(act_id),
        breakdowns::at.eq(at.micros()),
        breakdowns::place_code.eq(place),
        breakdowns::input_g.eq(balance.input_g),
        breakdowns::output_g.eq(balance.output_g),
        breakdowns::named_loss_g.eq(balance.named_loss_g),
        breakdowns::unexplained_g.eq(balance.unexplained_g),
        breakdowns::scale_g.eq(balance.allowance.scale_g),
        breakdowns::drip_g.eq(balance.allowance.drip_g),
        breakdowns::reason.eq(reason),
    );
    Ok(diesel::insert_into(breakdowns::table).values(row).returning(breakdowns::id).get_result(tx.changing())?)
}

macro_rules! line_values {
    ($table:ident, $breakdown_id:expr, $line:expr) => {
        (
            $table::breakdown_id.eq($breakdown_id),
            $table::tray_id.eq($line.tray_id),
            $table::grams.eq($line.grams),
            $table::life_budget_micros.eq($line.lived.budgets.raw_micros),
            $table::life_used_micros.eq($line.lived.wear.raw_micros),
            $table::cut_at.eq($line.cut_at.micros()),
        )
    };
}

pub fn insert_line(tx: &mut Tx<'_>, breakdown_id: i64, side: Side, line: &Line) -> Result<(), StoreError> {
    match side {
        Side::Input => {
            let row = line_values!(breakdown_inputs, breakdown_id, line);
            diesel::insert_into(breakdown_inputs::table).values(row).execute(tx.changing())?
        }
        Side::Output => {
            let row = line_values!(breakdown_outputs, breakdown_id, line);
            diesel::insert_into(breakdown_outputs::table).values(row).execute(tx.changing())?
        }
    };
    Ok(())
}

pub fn insert_loss(tx: &mut Tx<'_>, breakdown_id: i64, name: &str, grams: i64) -> Result<(), StoreError> {
    let row = (
        breakdown_losses::breakdown_id.eq(breakdown_id),
        breakdown_losses::name.eq(name),
        breakdown_losses::grams.eq(grams),
    );
    diesel::insert_into(breakdown_losses::table).values(row).execute(tx.changing())?;
    Ok(())
}

pub fn find(reading: &mut Reading<'_>, id: i64) -> Result<Option<Breakdown>, StoreError> {
    Ok(breakdowns::table.filter(breakdowns::id.eq(id)).get_result(reading.conn).optional()?)
}

/// Tray number and grams of each line of one side, in the order weighed.
pub fn weights(reading: &mut Reading<'_>, id: i64, side: Side) -> Result<Vec<(i64, i64)>, StoreError> {
    Ok(match side {
        Side::Input => breakdown_inputs::table
            .filter(breakdown_inputs::breakdown_id.eq(id))
            .order(breakdown_inputs::id)
            .select((breakdown_inputs::tray_id, breakdown_inputs::grams))
            .load(reading.conn)?,
        Side::Output => breakdown_outputs::table
            .filter(breakdown_outputs::breakdown_id.eq(id))
            .order(breakdown_outputs::id)
            .select((breakdown_outputs::tray_id, breakdown_outputs::grams))
            .load(reading.conn)?,
    })
}

/// Named losses, in the order given.
pub fn losses(reading: &mut Reading<'_>, id: i64) -> Result<Vec<(String, i64)>, StoreError> {
    Ok(breakdown_losses::table
        .filter(breakdown_losses::breakdown_id.eq(id))
        .order(breakdown_losses::id)
        .select((breakdown_losses::name, breakdown_losses::grams))
        .load(reading.conn)?)
}
