//! The life of each tray beside it: where it is anchored, what it had used there, and its budgets.

use super::error::StoreError;
use super::prepared::{on_either, update};
use super::read::Reading;
use super::schema::{lives, trays};
use super::trays::instant;
use super::write::Tx;
use crate::domain::life::lived::Lived;
use crate::domain::life::wear::{Budgets, Wear};
use crate::units::instant::Instant;
use crate::units::zone::parse_day;
use chrono::NaiveDate;
use diesel::prelude::*;

#[derive(Queryable, Insertable, AsChangeset)]
#[diesel(table_name = lives, treat_none_as_null = true)]
pub(super) struct LifeRow {
    tray_id: i64,
    as_of: i64,
    raw_budget_micros: i64,
    colour_budget_micros: Option<i64>,
    frozen_budget_micros: i64,
    raw_micros: i64,
    colour_micros: i64,
    frozen_micros: i64,
    exposed_micros: i64,
    hot_micros: i64,
    measured_micros: i64,
    assumed_micros: i64,
    raw_budget_validated: i64,
    date_day_one: Option<String>,
    wholly_frozen_before: i64,
    parasites_frozen_at: Option<i64>,
}

impl LifeRow {
    fn of(tray_id: i64, lived: &Lived) -> LifeRow {
        let Lived { wear, budgets, .. } = *lived;
        LifeRow {
            tray_id,
            as_of: lived.as_of.micros(),
            raw_budget_micros: budgets.raw_micros,
            colour_budget_micros: budgets.colour_micros,
            frozen_budget_micros: budgets.frozen_micros,
            raw_micros: wear.raw_micros,
            colour_micros: wear.colour_micros,
            frozen_micros: wear.frozen_micros,
            exposed_micros: wear.exposed_micros,
            hot_micros: wear.hot_micros,
            measured_micros: wear.measured_micros,
            assumed_micros: wear.assumed_micros,
            raw_budget_validated: i64::from(lived.raw_budget_validated),
            date_day_one: lived.date_day_one.map(|day: NaiveDate| day.format("%Y-%m-%d").to_string()),
            wholly_frozen_before: i64::from(lived.wholly_frozen_before),
            parasites_frozen_at: lived.parasites_frozen_at.map(Instant::micros),
        }
    }
}

impl TryFrom<LifeRow> for Lived {
    type Error = StoreError;

    fn try_from(row: LifeRow) -> Result<Lived, StoreError> {
        let day_one = row.date_day_one.as_deref().map(parse_day).transpose();
        Ok(Lived {
            as_of: instant(row.as_of)?,
            wear: Wear {
                raw_micros: row.raw_micros,
                colour_micros: row.colour_micros,
                frozen_micros: row.frozen_micros,
                exposed_micros: row.exposed_micros,
                hot_micros: row.hot_micros,
                measured_micros: row.measured_micros,
                assumed_micros: row.assumed_micros,
            },
            budgets: Budgets {
                raw_micros: row.raw_budget_micros,
                colour_micros: row.colour_budget_micros,
                frozen_micros: row.frozen_budget_micros,
            },
            raw_budget_validated: row.raw_budget_validated != 0,
            date_day_one: day_one.map_err(|e| StoreError::impossible("day one of a date mark", e))?,
            wholly_frozen_before: row.wholly_frozen_before != 0,
            parasites_frozen_at: row.parasites_frozen_at.map(instant).transpose()?,
        })
    }
}

pub fn insert(tx: &mut Tx<'_>, tray_id: i64, lived: &Lived) -> Result<(), StoreError> {
    diesel::insert_into(lives::table).values(LifeRow::of(tray_id, lived)).execute(tx.changing())?;
    Ok(())
}

struct Replace;

/// Writes the life of a tray anew. Callers save the tray with it, whose version guards both.
pub fn replace(tx: &mut Tx<'_>, tray_id: i64, lived: &Lived) -> Result<(), StoreError> {
    let update = update(Replace, lives::table, lives::tray_id.eq(tray_id), LifeRow::of(tray_id, lived));
    let changed = on_either!(tx.changing(), own => update.execute(own))?;
    if changed == 1 { Ok(()) } else { Err(StoreError::impossible("lives of one tray", changed)) }
}

/// The life of a tray, in stock or not.
pub fn of_tray(reading: &mut Reading<'_>, tray_id: i64) -> Result<Lived, StoreError> {
    let row: LifeRow = lives::table.filter(lives::tray_id.eq(tray_id)).get_result(reading.conn)?;
    row.try_into()
}

/// The lives of all trays in stock, with their numbers and codes, and nothing else of the trays: it may be wrong.
pub fn in_stock(reading: &mut Reading<'_>) -> Result<Vec<(String, i64, Lived)>, StoreError> {
    let rows: Vec<(String, LifeRow)> = lives::table
        .inner_join(trays::table.on(trays::id.eq(lives::tray_id)))
        .filter(trays::fate.is_null())
        .order(trays::id)
        .select((trays::code, lives::all_columns))
        .load(reading.conn)?;
    rows.into_iter().map(|(code, row)| Ok((code, row.tray_id, row.try_into()?))).collect()
}
