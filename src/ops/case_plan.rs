//! What a case should hold: looked at, also beside what lies there now, and changed under its version.

use super::board::{Judged, in_stock};
use super::desk::Actor;
use super::edit_catalogue::{Expected, next_version, record};
use super::failure::{Failure, refuse};
use super::judge::cut_by_code;
use super::look::{all_cuts, all_places, one_place};
use super::pick::no_stores;
use crate::domain::catalogue::Cut;
use crate::domain::picking::plan::{CasePlan, PlanLine, check};
use crate::domain::place::{Place, StorageMethod};
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
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

/// What a case should hold of a cut, and what could be sold of it now.
#[derive(Debug, Clone)]
pub struct Laid {
    pub cut: Cut,
    /// As planned; none where the plan wants none.
    pub trays: Option<i64>,
    pub there: usize,
    /// In the places that a refill may fetch from.
    pub in_stores: usize,
}

/// A place, the version of its plan if it ever had one, and every cut that is sold.
#[derive(Debug, Clone)]
pub struct LaidOut {
    pub place: Place,
    pub version: Option<i64>,
    pub lines: Vec<Laid>,
}

/// A plan to be looked at and changed, beside what a refill would count as lying there.
pub fn laid_out(reading: &mut Reading<'_>, shop: &Shop, now: Instant, place: &str) -> Result<LaidOut, Failure> {
    let case = one_place(reading, place)?;
    let plan = case_plans::find(reading, place)?;
    let no_stores = no_stores(reading, place)?;
    let stock = in_stock(reading, shop, now)?;
    let for_sale = |judged: &&Judged| judged.verdict.stops.is_empty() && judged.verdict.sell_until.is_some();
    let stock: Vec<&Judged> = stock.iter().filter(for_sale).collect();
    let laid = |cut: Cut| {
        let planned = plan.iter().flat_map(|plan| &plan.lines).find(|line| line.cut == cut.code);
        let of_cut = || stock.iter().map(|judged| &judged.facts.tray).filter(|tray| tray.cut == cut.code);
        Laid {
            trays: planned.map(|line| line.trays),
            there: of_cut().filter(|tray| tray.place == place).count(),
            in_stores: of_cut().filter(|tray| !no_stores.contains(&tray.place)).count(),
            cut,
        }
    };
    let mut cuts: Vec<Cut> = all_cuts(reading)?.into_iter().map(|(cut, _)| cut).collect();
    cuts.retain(|cut| cut.kind != Kind::Bulk);
    cuts.sort_by_key(|cut| cut.item_number);
    Ok(LaidOut {
        place: case,
        version: plan.as_ref().map(|plan| plan.version),
        lines: cuts.into_iter().map(laid).collect(),
    })
}

/// Cold places that are not frozen and have no plan that wants something.
pub fn without(reading: &mut Reading<'_>) -> Result<Vec<Place>, Failure> {
    let planned = case_plans::places(reading)?;
    let mut places = all_places(reading)?;
    places
        .retain(|place| !place.is_frozen() && place.method != StorageMethod::Ambient && !planned.contains(&place.code));
    Ok(places)
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
