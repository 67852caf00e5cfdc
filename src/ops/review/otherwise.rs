//! A decision that is not the advice: another price, other trays for the kitchen or the freezer. It is weighed by the same model, so that what
//! is expected of it can be held against what comes of it.

use super::decide::{CarryDraft, Draft, Plan};
use super::stock::{Lot, OnCounter};
use super::weigh::{Weighed, advised, expected, whole};
use super::{Advised, Course};
use crate::domain::advice::program::outlook;
use crate::domain::advice::{Choice, Problem, Stage};
use crate::domain::refusal::{Code, Refusal};
use crate::domain::tray::Kind;
use crate::domain::tray_code::TrayCode;
use crate::store::decisions::Expected;
use crate::units::money::PricePerKg;

/// What leaves the counter by hand.
struct Away {
    /// By tray of the lot: grams to the kitchen.
    kitchen: Vec<i64>,
    freeze: Vec<bool>,
}

/// What a changed decision comes to.
pub(super) fn plan(weighed: &Weighed, draft: &Draft) -> Result<Plan, Refusal> {
    let lot = &weighed.lot;
    let away = away(lot, draft)?;
    let price = draft.price_per_kg_cents.map(price).transpose()?;
    let reached = price.map_or(0, |price| reached(weighed, price));
    let leaves = |index: usize| away.leaves(lot, index);
    let lowers = |(index, on): (usize, &OnCounter)| {
        price.is_some_and(|p| p < on.tray.price) && index < reached && !leaves(index)
    };
    if price.is_some() && !lot.trays.iter().enumerate().any(lowers) {
        let reason = "no tray that stays costs more than that";
        return Err(Refusal::new(Code::PriceWouldRise, "price_per_kg_cents", reason));
    }
    if price.is_none() && draft.kitchen.is_empty() && draft.freeze.is_empty() {
        return Err(Refusal::new(Code::InvalidValue, "way", "say what is done instead, or decline"));
    }
    Ok(weigh(weighed, &away, price, reached))
}

fn price(cents: i64) -> Result<PricePerKg, Refusal> {
    PricePerKg::new(cents).map_err(|e| Refusal::new(Code::InvalidValue, "price_per_kg_cents", e.to_string()))
}

impl Away {
    fn kitchen_of(&self, index: usize) -> i64 {
        self.kitchen.get(index).copied().unwrap_or(0)
    }

    fn frozen(&self, index: usize) -> bool {
        self.freeze.get(index).copied().unwrap_or(false)
    }

    /// Whether nothing of a tray stays at the counter.
    fn leaves(&self, lot: &Lot, index: usize) -> bool {
        self.frozen(index) || lot.trays.get(index).is_some_and(|on| self.kitchen_of(index) >= on.free_g)
    }
}

/// Reads which trays go away.
fn away(lot: &Lot, draft: &Draft) -> Result<Away, Refusal> {
    let mut away = Away { kitchen: vec![0; lot.trays.len()], freeze: vec![false; lot.trays.len()] };
    for (line, carry) in draft.kitchen.iter().enumerate() {
        let field = format!("kitchen/{line}");
        let index = index_of(lot, &format!("{field}/tray_code"), &carry.tray)?;
        let grams = grams_of(lot, index, carry, &field)?;
        match away.kitchen.get_mut(index) {
            Some(before) if *before == 0 => *before = grams,
            _ => return Err(Refusal::new(Code::DuplicateLine, field, "stands on an earlier line")),
        }
    }
    for (line, code) in draft.freeze.iter().enumerate() {
        let field = format!("freeze_tray_codes/{line}");
        let index = index_of(lot, &field, code)?;
        let on = lot.trays.get(index);
        if on.is_some_and(|on| on.tray.was_frozen()) {
            return Err(Refusal::new(Code::Refreeze, field, "it was frozen before"));
        }
        if away.kitchen_of(index) > 0 || away.frozen(index) {
            return Err(Refusal::new(Code::DuplicateLine, field, "stands on an earlier line"));
        }
        if let Some(frozen) = away.freeze.get_mut(index) {
            *frozen = true;
        }
    }
    Ok(away)
}

fn index_of(lot: &Lot, field: &str, code: &str) -> Result<usize, Refusal> {
    let code = TrayCode::parse(field, code)?;
    let found = lot.trays.iter().position(|on| on.tray.code == code);
    found.ok_or_else(|| Refusal::new(Code::NotACandidate, field, "is none of the trays that this is about"))
}

fn grams_of(lot: &Lot, index: usize, carry: &CarryDraft, field: &str) -> Result<i64, Refusal> {
    let Some(on) = lot.trays.get(index) else { return Ok(0) };
    let field = format!("{field}/grams");
    match carry.grams {
        None => Ok(on.free_g),
        Some(grams) if on.tray.kind == Kind::Block && grams != on.free_g => {
            Err(Refusal::new(Code::WrongKind, field, "a block leaves whole"))
        }
        Some(grams) if grams > on.free_g => {
            Err(Refusal::new(Code::InsufficientStock, field, format!("there are {} g of it", on.free_g)))
        }
        Some(grams) if grams < 1 => Err(Refusal::new(Code::InvalidValue, field, "must be above zero")),
        Some(grams) => Ok(grams),
    }
}

/// How many of the oldest trays a price is for: of a step of the ladder as many as the table says, of any other all.
fn reached(weighed: &Weighed, price: PricePerKg) -> usize {
    let (problem, all) = (&weighed.problem, weighed.lot.trays.len());
    let step = problem.prices.iter().position(|cents| *cents == price.get());
    let of_step = weighed.solution.prices.iter().find(|o| step.is_some() && o.choice.price == step);
    let Some(last) = of_step.and_then(|o| o.choice.reach.checked_sub(1)) else { return all };
    problem.units.get(last).map_or(all, |unit| unit.tray + 1)
}

/// Weighs what stays at the counter, and adds what leaves it.
fn weigh(weighed: &Weighed, away: &Away, price: Option<PricePerKg>, reached: usize) -> Plan {
    let lot = &weighed.lot;
    let kitchen_g: i64 = away.kitchen.iter().sum();
    let (problem, reach) = what_stays(&weighed.problem, away, price, reached);
    let step = price.and_then(|price| problem.prices.iter().position(|cents| *cents == price.get()));
    let outlook = outlook(&problem, &Choice { price: step, reach, kitchen: 0, freeze: 0 });
    let stays = expected(&outlook.whole, outlook.total);
    let frozen = |(index, _): &(usize, &OnCounter)| away.frozen(*index);
    let frozen_g: i64 = lot.trays.iter().enumerate().filter(frozen).map(|(_, on)| on.free_g).sum();
    let terms = &weighed.proposal.assumptions.terms;
    let value = |grams: i64, cents_per_kg: i64| whole(grams as f64 * cents_per_kg as f64 / 1_000.0);
    let kitchen_cents = value(kitchen_g, terms.kitchen_cents_per_kg);
    let frozen_cents = value(frozen_g, terms.freezer_cents_per_kg.unwrap_or(0));
    let trays = advised(lot, &problem, &outlook);
    let trays = trays.into_iter().enumerate().map(|(index, advised)| away.of(lot, index, advised, price, reached));
    Plan {
        trays: trays.collect(),
        expected: Expected {
            kitchen_g: stays.kitchen_g + kitchen_g,
            kitchen_cents: stays.kitchen_cents + kitchen_cents,
            frozen_g: stays.frozen_g + frozen_g,
            frozen_cents: stays.frozen_cents + frozen_cents,
            total_cents: stays.total_cents + kitchen_cents + frozen_cents,
            ..stays
        },
    }
}

/// The question about what stays, with the price on its ladder, and how many units the price reaches.
fn what_stays(problem: &Problem, away: &Away, price: Option<PricePerKg>, reached: usize) -> (Problem, usize) {
    let mut taken = away.kitchen.clone();
    let mut units = Vec::with_capacity(problem.units.len());
    let mut kept = Vec::with_capacity(problem.units.len());
    for (index, unit) in problem.units.iter().enumerate() {
        let left = taken.get_mut(unit.tray);
        if away.frozen(unit.tray) {
            continue;
        }
        match left {
            // What the kitchen takes of a tub is taken portion by portion; what is left of the last one stays.
            Some(left) if *left >= unit.grams => *left -= unit.grams,
            Some(left) if *left > 0 => {
                units.push(crate::domain::advice::Unit { grams: unit.grams - *left, ..*unit });
                kept.push(index);
                *left = 0;
            }
            _ => {
                units.push(*unit);
                kept.push(index);
            }
        }
    }
    let reach = units.iter().filter(|unit| unit.tray < reached).count();
    // The ages of what stays, no more of them: each reach costs, and the reach of this choice is looked at in any case.
    let of_kept = |reach: &usize| kept.iter().filter(|index| **index < *reach).count();
    let mut reaches: Vec<usize> = problem.reaches.iter().map(of_kept).filter(|reach| *reach > 0).collect();
    reaches.dedup();
    let mut prices = problem.prices.clone();
    if let Some(price) = price
        && !prices.contains(&price.get())
    {
        prices.push(price.get());
        prices.sort_unstable_by(|a, b| b.cmp(a));
    }
    let kitchen_g: i64 = away.kitchen.iter().sum();
    let mut stages = problem.stages.clone();
    if let Some(first) = stages.first_mut() {
        *first = Stage { kitchen_g: (first.kitchen_g - kitchen_g).max(0), ..*first };
    }
    (Problem { units, stages, reaches, prices, freezer: None, ..problem.clone() }, reach)
}

impl Away {
    /// One tray as it is decided.
    fn of(&self, lot: &Lot, index: usize, advised: Advised, price: Option<PricePerKg>, reached: usize) -> Advised {
        let kitchen_g = self.kitchen_of(index);
        let leaves = self.leaves(lot, index);
        let now = advised.on.tray.price;
        let lowered = price.filter(|price| index < reached && *price < now && !leaves);
        let course = match lowered {
            _ if self.frozen(index) => Course::Freeze,
            Some(_) => Course::MarkDown,
            None if leaves => Course::Kitchen,
            None => Course::Keep,
        };
        let sold_permille = if leaves { 0 } else { advised.sold_permille };
        Advised { course, price: lowered.unwrap_or(now), kitchen_g, sold_permille, ..advised }
    }
}
