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

/// What may be sold now: the cut and the place of each tray.
struct ForSale(Vec<(String, String)>);

impl ForSale {
    fn now(reading: &mut Reading<'_>, shop: &Shop, now: Instant) -> Result<ForSale, Failure> {
        let for_sale = |judged: &Judged| judged.verdict.stops.is_empty() && judged.verdict.sell_until.is_some();
        let stock = in_stock(reading, shop, now)?.into_iter().filter(for_sale);
        Ok(ForSale(stock.map(|judged| (judged.facts.tray.cut, judged.facts.tray.place)).collect()))
    }

    fn count(&self, cut: &str, stands: impl Fn(&String) -> bool) -> usize {
        self.0.iter().filter(|(of, place)| of == cut && stands(place)).count()
    }
}

/// A plan that wants something, and how far the case is from it.
#[derive(Debug, Clone)]
pub struct Filling {
    pub name: String,
    pub plan: CasePlan,
    pub missing: usize,
    /// So many of the missing ones stand where a refill may fetch from, on another list or not.
    pub in_stores: usize,
}

/// All plans that want something; first the cases that can be filled most.
pub fn all(reading: &mut Reading<'_>, shop: &Shop, now: Instant) -> Result<Vec<Filling>, Failure> {
    let (mut all, codes) = (Vec::new(), case_plans::places(reading)?);
    if codes.is_empty() {
        return Ok(all);
    }
    let stock = ForSale::now(reading, shop, now)?;
    for code in codes {
        let name = one_place(reading, &code)?.name;
        let no_stores = no_stores(reading, &code)?;
        let Some(plan) = case_plans::find(reading, &code)? else { continue };
        let (mut missing, mut in_stores) = (0, 0);
        for line in &plan.lines {
            let there = stock.count(&line.cut, |place| *place == code);
            let missing_here = usize::try_from(line.trays).unwrap_or(0).saturating_sub(there);
            missing += missing_here;
            in_stores += missing_here.min(stock.count(&line.cut, |place| !no_stores.contains(place)));
        }
        all.push(Filling { name, plan, missing, in_stores });
    }
    all.sort_by_key(|filling| std::cmp::Reverse(filling.in_stores));
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
    let stock = ForSale::now(reading, shop, now)?;
    let laid = |cut: Cut| {
        let planned = plan.iter().flat_map(|plan| &plan.lines).find(|line| line.cut == cut.code);
        Laid {
            trays: planned.map(|line| line.trays),
            there: stock.count(&cut.code, |at| at == place),
            in_stores: stock.count(&cut.code, |at| !no_stores.contains(at)),
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
