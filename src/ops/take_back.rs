//! A customer brings something back: it goes to waste, never into stock, and no more of it than was sold.

use super::desk::Actor;
use super::failure::{Failure, refuse};
use super::resolve::tray_by_scan;
use super::sell::{self, LINE_LIMIT, Sold};
use super::tray_ledger::Movement;
use crate::domain::holding::{Holding, Pool};
use crate::domain::ledger::Account;
use crate::domain::refusal::Code;
use crate::domain::replay::Way;
use crate::domain::shop::Shop;
use crate::domain::text;
use crate::store::acts::{self, NewAct};
use crate::store::error::StoreError;
use crate::store::exceptions::Exception;
use crate::store::returns::{self, ReturnLine};
use crate::store::{Reading, Tx, exceptions};
use crate::units::instant::Instant;

/// One line of what came back, as it is kept.
pub type ReturnRow = ReturnLine;

#[derive(Debug, Clone)]
pub struct ReturnDraft {
    /// Anything a scanner may send.
    pub tray: String,
    pub grams: i64,
    /// Money given back.
    pub refund_cents: i64,
    pub reason: String,
}

/// Takes back what a customer brings of a sale: all lines or none.
pub fn take_back(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    sale_id: i64,
    drafts: &[ReturnDraft],
) -> Result<Vec<ReturnRow>, Failure> {
    let sold = sell::find(tx, sale_id)?;
    if sold.sale.reversed_by_act_id.is_some() {
        return refuse(Code::AlreadyReversed, "id", "the sale was reversed: nothing of it is with a customer");
    }
    if drafts.is_empty() || drafts.len() > LINE_LIMIT {
        return refuse(Code::InvalidValue, "lines", format!("must be 1 to {LINE_LIMIT}"));
    }
    let before = returns::of_sale(tx, sale_id)?;
    let mut back: Vec<(ReturnLine, Vec<Holding>)> = Vec::with_capacity(drafts.len());
    for (index, draft) in drafts.iter().enumerate() {
        let earlier: Vec<&ReturnLine> = before.iter().chain(back.iter().map(|(line, _)| line)).collect();
        let line = line(tx, shop, now, &sold, &earlier, draft).map_err(|f| f.under(&format!("lines/{index}")))?;
        back.push(line);
    }
    let act = NewAct { kind: "return", at: now, recorded_at: now, actor: &actor.name, reason: None, reverses: None };
    let act_id = acts::append(tx, &act)?;
    let mut movement = Movement::default();
    let mut kept = Vec::with_capacity(back.len());
    for (mut line, parts) in back {
        line.act_id = act_id;
        movement.outside(Account::Customer, &parts, -1);
        movement.outside(Account::Waste, &parts, 1);
        returns::insert(tx, sale_id, &line)?;
        kept.push(line);
    }
    movement.post(tx, act_id)?;
    Ok(kept)
}

/// Checks one line against what is still with the customer; gives it with its grams by lot.
fn line(
    reading: &mut Reading<'_>,
    shop: &Shop,
    now: Instant,
    sold: &Sold,
    earlier: &[&ReturnLine],
    draft: &ReturnDraft,
) -> Result<(ReturnLine, Vec<Holding>), Failure> {
    let reason = text::note("reason", &draft.reason)?;
    let tray = tray_by_scan(reading, shop, now, "tray_code", &draft.tray)?;
    let of_tray: i64 = sold.lines.iter().filter(|line| line.tray_id == tray.id).map(|line| line.grams).sum();
    // Of goods that were settled as a count difference nobody knows which tray they were.
    let unplaced = settled_without_tray(reading, sold.sale.id, tray.id)?;
    let unplaced =
        if unplaced { "; what was booked as a count difference cannot be taken back as of a tray" } else { "" };
    if of_tray == 0 {
        return refuse(
            Code::UnknownReference,
            "tray_code",
            format!("nothing of tray {} stands on this sale{unplaced}", tray.code),
        );
    }
    if draft.grams <= 0 {
        return refuse(Code::InvalidValue, "grams", "must be above zero");
    }
    let given_back: i64 = earlier.iter().map(|line| line.refund_cents).sum();
    if draft.refund_cents < 0 {
        return refuse(Code::InvalidValue, "refund_cents", "must not be negative");
    }
    if draft.refund_cents > sold.sale.total_cents - given_back {
        let left = sold.sale.total_cents - given_back;
        return refuse(
            Code::ReturnExceedsSale,
            "refund_cents",
            format!("{left} minor units of this sale are left to give back"),
        );
    }
    let mut pool = with_customer(reading, sold, tray.id)?;
    // Earlier returns drew in the same way from the same pool, so that each lot is back to what is with the customer.
    for line in earlier.iter().filter(|line| line.tray_id == tray.id) {
        pool.draw(line.grams).ok_or_else(|| StoreError::impossible("return of sale", sold.sale.id))?;
    }
    let left = pool.grams();
    let Some(parts) = pool.draw(draft.grams) else {
        return refuse(Code::ReturnExceedsSale, "grams", format!("{left} g of it are with the customer{unplaced}"));
    };
    let line = ReturnLine {
        act_id: 0,
        tray_id: tray.id,
        tray_code: tray.code.to_string(),
        grams: draft.grams,
        refund_cents: draft.refund_cents,
        reason,
    };
    Ok((line, parts))
}

/// Whether something of a sale that its till sold by this tray was booked as a count difference.
fn settled_without_tray(reading: &mut Reading<'_>, sale_id: i64, tray_id: i64) -> Result<bool, Failure> {
    let counted = |e: &Exception| e.resolution.as_ref().is_some_and(|settled| settled.way == Way::CountDifference);
    let found = exceptions::of_sale(reading, sale_id)?;
    Ok(found.iter().any(|exception| exception.tray_id == Some(tray_id) && counted(exception)))
}

/// What went from a tray to the customer of a sale, by lot: with it, and when its exceptions were settled, less what that put back.
pub(super) fn with_customer(reading: &mut Reading<'_>, sold: &Sold, tray_id: i64) -> Result<Pool, Failure> {
    let settled = exceptions::of_sale(reading, sold.sale.id)?.into_iter().filter_map(|e| e.resolution);
    let settled: Vec<i64> = settled.map(|resolution| resolution.act_id).collect();
    let mut pool = Pool::default();
    for act in std::iter::once(sold.sale.act_id).chain(settled) {
        for entry in acts::entries_of(reading, act)?.into_iter().filter(|e| e.account == Account::Tray(tray_id)) {
            pool.add(Holding { lot_id: entry.lot_id, grams: -entry.grams, cost_cents: -entry.cost_cents });
        }
    }
    Ok(pool)
}

/// What came back of a sale.
pub fn of_sale(reading: &mut Reading<'_>, sale_id: i64) -> Result<Vec<ReturnRow>, Failure> {
    sell::find(reading, sale_id)?;
    Ok(returns::of_sale(reading, sale_id)?)
}

/// A sale that was settled in part already is not undone as a whole.
pub(super) fn require_reversible(reading: &mut Reading<'_>, sale_id: i64) -> Result<(), Failure> {
    if !returns::of_sale(reading, sale_id)?.is_empty() {
        return refuse(Code::NotReversible, "id", "something of it came back already and was thrown away");
    }
    if !exceptions::of_sale(reading, sale_id)?.is_empty() {
        return refuse(Code::NotReversible, "id", "it contradicts the stock: a manager settles its exceptions");
    }
    Ok(())
}
