//! How many trays of each cut a case should hold. A place with a plan, even an empty one that once held lines, is changed under a version.

use super::error::StoreError;
use super::read::Reading;
use super::schema::picking::{case_plan_lines, case_plans};
use super::write::Tx;
use crate::domain::picking::plan::{CasePlan, PlanLine};
use diesel::prelude::*;

pub fn find(reading: &mut Reading<'_>, place: &str) -> Result<Option<CasePlan>, StoreError> {
    let plan = case_plans::table.filter(case_plans::place_code.eq(place)).select(case_plans::version);
    let version: Option<i64> = plan.get_result(reading.conn).optional()?;
    let Some(version) = version else { return Ok(None) };
    let rows: Vec<(String, i64)> = case_plan_lines::table
        .filter(case_plan_lines::place_code.eq(place))
        .order(case_plan_lines::cut_code)
        .select((case_plan_lines::cut_code, case_plan_lines::trays))
        .load(reading.conn)?;
    let lines = rows.into_iter().map(|(cut, trays)| PlanLine { cut, trays }).collect();
    Ok(Some(CasePlan { place: place.to_owned(), lines, version }))
}

/// The places whose plan wants something.
pub fn places(reading: &mut Reading<'_>) -> Result<Vec<String>, StoreError> {
    let places = case_plan_lines::table.select(case_plan_lines::place_code).distinct();
    Ok(places.order(case_plan_lines::place_code).load(reading.conn)?)
}

/// Writes a plan over the version below its own; false when that is no longer the version.
pub fn replace(tx: &mut Tx<'_>, plan: &CasePlan) -> Result<bool, StoreError> {
    let old = case_plans::table
        .filter(case_plans::place_code.eq(&plan.place))
        .filter(case_plans::version.eq(plan.version - 1));
    let changed = if plan.version == 1 {
        let row = (case_plans::place_code.eq(&plan.place), case_plans::version.eq(1_i64));
        diesel::insert_into(case_plans::table).values(row).execute(tx.changing())?
    } else {
        diesel::update(old).set(case_plans::version.eq(plan.version)).execute(tx.changing())?
    };
    if changed != 1 {
        return Ok(false);
    }
    diesel::delete(case_plan_lines::table.filter(case_plan_lines::place_code.eq(&plan.place)))
        .execute(tx.changing())?;
    for line in &plan.lines {
        let row = (
            case_plan_lines::place_code.eq(&plan.place),
            case_plan_lines::cut_code.eq(&line.cut),
            case_plan_lines::trays.eq(line.trays),
        );
        diesel::insert_into(case_plan_lines::table).values(row).execute(tx.changing())?;
    }
    Ok(true)
}
