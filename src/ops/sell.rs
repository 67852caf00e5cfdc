//! A sale: blocks whole, tubs by weight, all lines or none; and its reversal within the shop's window, for a mis-scan. What a line must be is
//! `lines`'; many sales at once are `group`'s, which does exactly what this file does one after the other.

pub mod group;
mod lines;
mod stock;

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
use crate::domain::tray::{Fate, Tray};
use crate::store::acts::{self, NewAct};
use crate::store::error::StoreError;
use crate::store::sales::{self, Sale, SaleLine};
use crate::store::{Reading, Tx, trays};
use crate::units::instant::Instant;
use lines::Line;

/// Most lines of one sale.
pub const LINE_LIMIT: usize = 100;

#[derive(Debug, Clone)]
pub struct LineDraft {
    /// Anything a scanner may send.
    pub tray: String,
    /// For a tub, what is sold out of it; a block is sold whole.
    pub grams: Option<i64>,
}

/// What the till charged, where it says so: both are held against what the tray costs.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Charged {
    pub price_per_kg_cents: Option<i64>,
    pub price_cents: Option<i64>,
}

/// A line with what the till charged for it.
#[derive(Debug, Clone)]
pub struct ChargedLine {
    pub line: LineDraft,
    pub charged: Charged,
}

impl From<&LineDraft> for ChargedLine {
    fn from(line: &LineDraft) -> ChargedLine {
        ChargedLine { line: line.clone(), charged: Charged::default() }
    }
}

/// A sale with its lines.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sold {
    pub sale: Sale,
    pub lines: Vec<SaleLine>,
}

/// Sells all lines or none. Every line's reasons are in the refusal.
pub fn sell(tx: &mut Tx<'_>, shop: &Shop, actor: &Actor, now: Instant, drafts: &[LineDraft]) -> Result<Sold, Failure> {
    let drafts: Vec<ChargedLine> = drafts.iter().map(ChargedLine::from).collect();
    sell_charged(tx, shop, actor, now, &drafts)
}

/// The same where the till says what it charged.
pub fn sell_charged(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    drafts: &[ChargedLine],
) -> Result<Sold, Failure> {
    let lines = lines::every(drafts, |draft| load_line(tx, shop, now, draft), |(tray, _)| tray.id)?;
    let total = lines::total(lines.iter().map(|(_, line)| line.price))?;
    let act = NewAct { kind: "sell", at: now, recorded_at: now, actor: &actor.name, reason: None, reverses: None };
    let act_id = acts::append(tx, &act)?;
    let id = sales::insert(tx, act_id, now, &actor.name, total.get())?;
    let mut movement = Movement::default();
    let mut sold = Vec::with_capacity(lines.len());
    for (index, (mut tray, line)) in lines.into_iter().enumerate() {
        let taken = movement.take(tx, &mut tray, line.grams, &format!("lines/{index}/grams"))?;
        movement.outside(Account::Customer, &taken, 1);
        let record = SaleLine {
            tray_id: tray.id,
            tray_code: tray.code.to_string(),
            grams: line.grams.get(),
            price_per_kg_cents: tray.price.get(),
            price_cents: line.price.get(),
        };
        sales::insert_line(tx, id, i64::try_from(index).unwrap_or(0) + 1, &record)?;
        if tray.net.is_zero() {
            leave(tx, &mut tray, Fate::Sold, now)?;
        }
        trays::save(tx, &mut tray)?;
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

/// Loads and judges a line.
fn load_line(tx: &mut Tx<'_>, shop: &Shop, now: Instant, draft: &ChargedLine) -> Result<(Tray, Line), Failure> {
    let asked = Asked { field: "tray_code", text: &draft.line.tray, absent: Code::UnknownReference };
    let (facts, verdict) = judged(tx, shop, now, asked)?;
    let stopped_as_sold = verdict.stops.first().is_some_and(|stop| stop.code == Code::AlreadySold);
    let sold = if stopped_as_sold { sales::last_of_tray(tx, facts.tray.id)? } else { None };
    let explain = |refusal| match &sold {
        Some(sale) => told_by_whom(refusal, sale),
        None => refusal,
    };
    let line = lines::line(&facts.tray, &verdict, draft, explain)?;
    Ok((facts.tray, line))
}

/// A refusal of what was sold already, with the sale it went out with.
fn told_by_whom(mut refusal: Refusal, sale: &Sale) -> Refusal {
    if refusal.code == Code::AlreadySold
        && let (Some(finding), Ok(at)) = (refusal.findings.first_mut(), Instant::from_micros(sale.at))
    {
        finding.reason = format!("sold at {at} by {} (sale {})", sale.sold_by, sale.id);
    }
    refusal
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
