//! A sale: blocks whole, tubs by weight, all lines or none; and its reversal within the shop's window, for a mis-scan.

use super::desk::Actor;
use super::failure::{Failure, refuse};
use super::judge::place_of;
use super::resolve::{Asked, judged};
use super::take_back::require_reversible;
use super::tray_ledger::{Movement, come_back, leave};
use crate::domain::holding::Holding;
use crate::domain::ledger::Account;
use crate::domain::refusal::{Code, Refusal};
use crate::domain::shop::Shop;
use crate::domain::tray::{Fate, Kind, Tray};
use crate::store::acts::{self, NewAct};
use crate::store::error::StoreError;
use crate::store::sales::{self, Sale, SaleLine};
use crate::store::{Reading, Tx, trays};
use crate::units::instant::Instant;
use crate::units::mass::Grams;
use crate::units::money::Cents;

/// Most lines of one sale.
pub const LINE_LIMIT: usize = 100;

#[derive(Debug, Clone)]
pub struct LineDraft {
    /// Anything a scanner may send.
    pub tray: String,
    /// For a tub, what is sold out of it; a block is sold whole.
    pub grams: Option<i64>,
}

/// A sale with its lines.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sold {
    pub sale: Sale,
    pub lines: Vec<SaleLine>,
}

struct Line {
    tray: Tray,
    grams: Grams,
    price: Cents,
}

/// Sells all lines or none. Every line's reasons are in the refusal.
pub fn sell(tx: &mut Tx<'_>, shop: &Shop, actor: &Actor, now: Instant, drafts: &[LineDraft]) -> Result<Sold, Failure> {
    let lines = load(tx, shop, now, drafts)?;
    let total: i64 = lines.iter().map(|l| l.price.get()).sum();
    let total = Cents::new(total).map_err(|e| Refusal::new(Code::InvalidValue, "lines", e.to_string()))?;
    let act = NewAct { kind: "sell", at: now, recorded_at: now, actor: &actor.name, reason: None, reverses: None };
    let act_id = acts::append(tx, &act)?;
    let id = sales::insert(tx, act_id, now, &actor.name, total.get())?;
    let mut movement = Movement::default();
    let mut sold = Vec::with_capacity(lines.len());
    for (index, mut line) in lines.into_iter().enumerate() {
        let taken = movement.take(tx, &mut line.tray, line.grams, &format!("lines/{index}/grams"))?;
        movement.outside(Account::Customer, &taken, 1);
        let record = SaleLine {
            tray_id: line.tray.id,
            tray_code: line.tray.code.to_string(),
            grams: line.grams.get(),
            price_per_kg_cents: line.tray.price.get(),
            price_cents: line.price.get(),
        };
        sales::insert_line(tx, id, i64::try_from(index).unwrap_or(0) + 1, &record)?;
        if line.tray.net.is_zero() {
            leave(tx, &mut line.tray, Fate::Sold, now)?;
        }
        trays::save(tx, &mut line.tray)?;
        sold.push(record);
    }
    movement.post(tx, act_id)?;
    let sale = Sale {
        id,
        act_id,
        at: now.micros(),
        sold_by: actor.name.clone(),
        total_cents: total.get(),
        reversed_by_act_id: None,
    };
    Ok(Sold { sale, lines: sold })
}

/// Loads and judges every line before anything is written.
fn load(tx: &mut Tx<'_>, shop: &Shop, now: Instant, drafts: &[LineDraft]) -> Result<Vec<Line>, Failure> {
    if drafts.is_empty() || drafts.len() > LINE_LIMIT {
        return refuse(Code::InvalidValue, "lines", format!("must be 1 to {LINE_LIMIT}"));
    }
    let mut lines: Vec<Line> = Vec::with_capacity(drafts.len());
    let mut refusals = Vec::new();
    for (index, draft) in drafts.iter().enumerate() {
        let at = format!("lines/{index}");
        match load_line(tx, shop, now, draft) {
            Ok(line) if lines.iter().any(|l| l.tray.id == line.tray.id) => {
                refusals.push(Refusal::new(
                    Code::DuplicateLine,
                    format!("{at}/tray_code"),
                    "stands on an earlier line",
                ));
            }
            Ok(line) => lines.push(line),
            Err(Failure::Refused(refusal)) => refusals.push(refusal.under(&at)),
            Err(other) => return Err(other),
        }
    }
    match Refusal::join(refusals) {
        Some(refusal) => Err(refusal.into()),
        None => Ok(lines),
    }
}

fn load_line(tx: &mut Tx<'_>, shop: &Shop, now: Instant, draft: &LineDraft) -> Result<Line, Failure> {
    let asked = Asked { field: "tray_code", text: &draft.tray, absent: Code::UnknownReference };
    let (facts, verdict) = judged(tx, shop, now, asked)?;
    if let Err(refusal) = verdict.refuse("tray_code") {
        return Err(explain(tx, &facts.tray, refusal)?.into());
    }
    let tray = facts.tray;
    let grams = match (tray.kind, draft.grams) {
        (Kind::Tub, None) => return refuse(Code::InvalidValue, "grams", "a tub is sold by weight: say how much"),
        (Kind::Tub, Some(grams)) => {
            Grams::new(grams).map_err(|e| Refusal::new(Code::InvalidValue, "grams", e.to_string()))?
        }
        (_, Some(grams)) if grams != tray.net.get() => {
            return refuse(Code::WrongKind, "grams", format!("a block is sold whole: {} g", tray.net.get()));
        }
        _ => tray.net,
    };
    if grams.is_zero() {
        return refuse(Code::InvalidValue, "grams", "must be above zero");
    }
    if grams > tray.net {
        return refuse(Code::InsufficientStock, "grams", format!("the tub holds {} g", tray.net.get()));
    }
    let price = tray.price.for_weight(grams);
    Ok(Line { tray, grams, price })
}

/// Says by whom and when a tray was sold. A failing database is no answer: the act is tried again, or ends in its error.
fn explain(reading: &mut Reading<'_>, tray: &Tray, mut refusal: Refusal) -> Result<Refusal, Failure> {
    if refusal.code == Code::AlreadySold
        && let Some(sale) = sales::last_of_tray(reading, tray.id)?
        && let (Some(finding), Ok(at)) = (refusal.findings.first_mut(), Instant::from_micros(sale.at))
    {
        finding.reason = format!("sold at {at} by {} (sale {})", sale.sold_by, sale.id);
    }
    Ok(refusal)
}

/// A sale by its number.
pub fn find(reading: &mut Reading<'_>, id: i64) -> Result<Sold, Failure> {
    match sales::find(reading, id)? {
        Some(sale) => Ok(Sold { sale, lines: sales::lines_of(reading, id)? }),
        None => refuse(Code::NotFound, "id", "there is no such sale"),
    }
}

/// Puts a mis-scan back: within the window, all of it, by a reversing entry.
pub fn reverse(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    id: i64,
    reason: &str,
) -> Result<Sold, Failure> {
    let reason = crate::domain::text::note("reason", reason)?;
    let mut sold = find(tx, id)?;
    if sold.sale.reversed_by_act_id.is_some() {
        return refuse(Code::AlreadyReversed, "id", "was reversed already");
    }
    require_reversible(tx, id)?;
    if now.micros() - sold.sale.at > shop.reversal_micros() {
        let text = format!(
            "only within {} minutes; what went out of the shop does not come back into stock",
            shop.reversal_minutes
        );
        return refuse(Code::WindowPassed, "id", text);
    }
    let taken = acts::entries_of(tx, sold.sale.act_id)?;
    let act = NewAct {
        kind: "reverse_sale",
        at: now,
        recorded_at: now,
        actor: &actor.name,
        reason: Some(&reason),
        reverses: Some(sold.sale.act_id),
    };
    let act_id = acts::append(tx, &act)?;
    let mut movement = Movement::default();
    for line in &sold.lines {
        let mut tray = trays::by_id(tx, line.tray_id)?;
        if tray.fate.is_some_and(|fate| fate != Fate::Sold) {
            return refuse(Code::TrayGone, "id", format!("tray {} has left the stock another way since", tray.code));
        }
        if tray.fate.is_some() {
            let place = place_of(tx, &tray)?;
            come_back(tx, &mut tray, &place)?;
        }
        let back: Vec<Holding> = taken
            .iter()
            .filter(|e| e.account == Account::Tray(tray.id))
            .map(|e| Holding { lot_id: e.lot_id, grams: -e.grams, cost_cents: -e.cost_cents })
            .collect();
        movement.outside(Account::Customer, &back, -1);
        movement.put(tx, &mut tray, &back)?;
        trays::save_with_life(tx, &mut tray)?;
    }
    if movement_is_empty(&taken) {
        return Err(StoreError::impossible("entries of sale", id).into());
    }
    movement.post(tx, act_id)?;
    sales::mark_reversed(tx, id, act_id)?;
    sold.sale.reversed_by_act_id = Some(act_id);
    Ok(sold)
}

fn movement_is_empty(taken: &[crate::domain::ledger::Entry]) -> bool {
    !taken.iter().any(|e| e.account.tray_id().is_some())
}
