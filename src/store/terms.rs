//! On which terms a cut is sold, where they are not the shop's.

use super::error::StoreError;
use super::read::Reading;
use super::schema::terms::cut_terms;
use super::trays::instant;
use super::write::Tx;
use crate::domain::terms::{CutTerms, Said};
use diesel::prelude::*;
use std::collections::BTreeMap;

#[derive(Queryable, Insertable, AsChangeset)]
#[diesel(table_name = cut_terms, treat_none_as_null = true)]
struct Row {
    cut_code: String,
    kitchen_cents_per_kg: Option<i64>,
    kitchen_g_per_day: Option<i64>,
    freezer_cents_per_kg: Option<i64>,
    waste_cents_per_kg: Option<i64>,
    elasticity_permille: Option<i64>,
    units_per_hour_permille: Option<i64>,
    portion_g: Option<i64>,
    cost_cents_per_kg: Option<i64>,
    set_by: String,
    set_at: i64,
    version: i64,
}

impl Row {
    fn of(cut_code: &str, said: &Said) -> Row {
        let terms = &said.terms;
        Row {
            cut_code: cut_code.to_owned(),
            kitchen_cents_per_kg: terms.kitchen_cents_per_kg,
            kitchen_g_per_day: terms.kitchen_g_per_day,
            freezer_cents_per_kg: terms.freezer_cents_per_kg,
            waste_cents_per_kg: terms.waste_cents_per_kg,
            elasticity_permille: terms.elasticity_permille,
            units_per_hour_permille: terms.units_per_hour_permille,
            portion_g: terms.portion_g,
            cost_cents_per_kg: terms.cost_cents_per_kg,
            set_by: said.set_by.clone(),
            set_at: said.set_at.micros(),
            version: said.version,
        }
    }

    fn said(self) -> Result<(String, Said), StoreError> {
        let terms = CutTerms {
            kitchen_cents_per_kg: self.kitchen_cents_per_kg,
            kitchen_g_per_day: self.kitchen_g_per_day,
            freezer_cents_per_kg: self.freezer_cents_per_kg,
            waste_cents_per_kg: self.waste_cents_per_kg,
            elasticity_permille: self.elasticity_permille,
            units_per_hour_permille: self.units_per_hour_permille,
            portion_g: self.portion_g,
            cost_cents_per_kg: self.cost_cents_per_kg,
        };
        let said = Said { terms, set_by: self.set_by, set_at: instant(self.set_at)?, version: self.version };
        Ok((self.cut_code, said))
    }
}

/// None where the shop's terms hold in everything.
pub fn find(reading: &mut Reading<'_>, cut: &str) -> Result<Option<Said>, StoreError> {
    let row: Option<Row> = cut_terms::table.filter(cut_terms::cut_code.eq(cut)).get_result(reading.conn).optional()?;
    Ok(row.map(Row::said).transpose()?.map(|(_, said)| said))
}

/// Of all cuts that have terms of their own, by cut.
pub fn all(reading: &mut Reading<'_>) -> Result<BTreeMap<String, Said>, StoreError> {
    let rows: Vec<Row> = cut_terms::table.load(reading.conn)?;
    rows.into_iter().map(Row::said).collect()
}

pub fn insert(tx: &mut Tx<'_>, cut: &str, said: &Said) -> Result<(), StoreError> {
    diesel::insert_into(cut_terms::table).values(Row::of(cut, said)).execute(tx.changing())?;
    Ok(())
}

/// Writes the new state, whose version is one above the one it replaces; false when that is no longer the version.
pub fn replace(tx: &mut Tx<'_>, cut: &str, said: &Said) -> Result<bool, StoreError> {
    let old = cut_terms::table.filter(cut_terms::cut_code.eq(cut)).filter(cut_terms::version.eq(said.version - 1));
    Ok(diesel::update(old).set(Row::of(cut, said)).execute(tx.changing())? == 1)
}
