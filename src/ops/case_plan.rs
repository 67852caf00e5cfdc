//! What a case should hold: looked at, and changed under its version.

use super::desk::Actor;
use super::edit_catalogue::{Expected, next_version, record};
use super::failure::{Failure, refuse};
use super::judge::cut_by_code;
use super::look::one_place;
use crate::domain::picking::plan::{CasePlan, PlanLine, check};
use crate::domain::refusal::Code;
use crate::domain::tray::Kind;
use crate::store::{Reading, Tx, case_plans};
use crate::units::instant::Instant;

/// The plan of a place.
pub fn one(reading: &mut Reading<'_>, place: &str) -> Result<CasePlan, Failure> {
    one_place(reading, place)?;
    match case_plans::find(reading, place)? {
        Some(plan) => Ok(plan),
        None => refuse(Code::NotFound, "code", "the place has no plan"),
    }
}

/// All plans that want something, each with the name of its case.
pub fn all(reading: &mut Reading<'_>) -> Result<Vec<(String, CasePlan)>, Failure> {
    let mut all = Vec::new();
    for code in case_plans::places(reading)? {
        let name = one_place(reading, &code)?.name;
        all.extend(case_plans::find(reading, &code)?.map(|plan| (name, plan)));
    }
    Ok(all)
}

/// Makes or changes the plan of a place. Frozen trays are sold from no case, so a frozen place has no plan; bulk trays are not sold.
pub fn put(
    tx: &mut Tx<'_>,
    actor: &Actor,
    now: Instant,
    place: &str,
    lines: &[PlanLine],
    expected: Expected,
) -> Result<CasePlan, Failure> {
    let case = one_place(tx, place)?;
    if case.is_frozen() {
        return refuse(Code::InvalidValue, "code", "is a frozen place; what stands in a case is not frozen");
    }
    check(lines)?;
    for (at, line) in lines.iter().enumerate() {
        let field = format!("lines/{at}/cut_code");
        if cut_by_code(tx, &field, &line.cut)?.kind == Kind::Bulk {
            return refuse(Code::InvalidValue, &field, "is a bulk cut, which is not sold from a case");
        }
    }
    let version = next_version(case_plans::find(tx, place)?.map(|plan| plan.version), expected)?;
    record(tx, actor, now, "put_case_plan", place)?;
    let mut lines = lines.to_vec();
    lines.sort_by(|one, other| one.cut.cmp(&other.cut));
    let plan = CasePlan { place: place.to_owned(), lines, version };
    if !case_plans::replace(tx, &plan)? {
        return refuse(Code::VersionMismatch, "If-Match", "changed meanwhile");
    }
    Ok(plan)
}
