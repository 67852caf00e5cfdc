//! `was_other_tray`: the sale is put on the tray that really went. What it took off a wrong one goes back there, as a mis-scan does, and what
//! stood against selling the right one is written down: someone has it.

use super::{Decision, amount, unfit};
use crate::domain::holding::Holding;
use crate::domain::ledger::Account;
use crate::domain::refusal::{Code, Refusal};
use crate::domain::replay::Finding;
use crate::domain::shop::Shop;
use crate::domain::tray::{Fate, Kind, Tray};
use crate::domain::verdict::judge;
use crate::ops::failure::{Failure, refuse};
use crate::ops::judge::{facts, place_of, require_in_stock};
use crate::ops::replay::weigh;
use crate::ops::resolve::tray_by_scan;
use crate::ops::sell;
use crate::ops::take_back::with_customer;
use crate::ops::tray_ledger::{Movement, come_back, leave};
use crate::store::error::StoreError;
use crate::store::exceptions::{self, Exception};
use crate::store::sales::{self, SaleLine};
use crate::store::{Tx, lineage, returns, trays};
use crate::units::instant::Instant;
use crate::units::mass::Grams;

/// What is to be sold instead, and what goes back.
pub(super) struct Exchange {
    pub tray: Tray,
    pub grams: Grams,
    /// What there is against the sale of it, as of when it happened.
    found: Vec<Finding>,
    back: Option<(Tray, Vec<Holding>)>,
}

/// Whether a line took all that it sold off its tray: then, if it was another tray, that goes back.
const fn moved_all(exception: &Exception) -> bool {
    matches!(exception.missing_g, Some(0)) && exception.moved_g > 0
}

pub(super) fn plan(
    tx: &mut Tx<'_>,
    shop: &Shop,
    now: Instant,
    exception: &Exception,
    decision: &Decision,
    text: &str,
) -> Result<Exchange, Failure> {
    let tray = tray_by_scan(tx, shop, now, "tray_code", text)?;
    if moved_all(exception) && exception.tray_id == Some(tray.id) {
        return unfit("the sale is on that tray already");
    }
    require_in_stock(&tray, "tray_code")?;
    let grams = match (tray.kind, decision.grams) {
        (Kind::Bulk, _) => {
            return refuse(Code::WrongKind, "tray_code", "a bulk tray is not sold; what left it was cut");
        }
        (Kind::Block, Some(_)) => return refuse(Code::InvalidValue, "grams", "a block leaves whole"),
        (Kind::Block, None) => tray.net,
        (Kind::Tub, said) if moved_all(exception) => of_line(exception, said)?,
        (Kind::Tub, _) => amount(exception, decision)?,
    };
    if grams > tray.net {
        return refuse(Code::InsufficientStock, "tray_code", format!("tray {} holds {}", tray.code, tray.net));
    }
    let back = if moved_all(exception) { Some(plan_back(tx, exception)?) } else { None };
    let facts = facts(tx, shop, tray, now)?;
    let stops = judge(&facts, now).stops;
    let (tray, mut found) = weigh::against(tx, facts, stops, exception.happened_at)?;
    for finding in &mut found {
        // So that it is told apart from what was found of the tray that was scanned.
        finding.reason = format!("tray {}: {}", tray.code, finding.reason);
    }
    Ok(Exchange { tray, grams, found, back })
}

/// How much of a tub was sold by a line that took all of it off another tray.
fn of_line(exception: &Exception, said: Option<i64>) -> Result<Grams, Failure> {
    let invalid = |reason: String| Refusal::new(Code::InvalidValue, "grams", reason);
    let sold = exception.claimed_g.unwrap_or(exception.moved_g);
    match Grams::new(said.unwrap_or(sold)) {
        Ok(grams) if grams.get() > sold => Err(invalid(format!("only {sold} g were sold")).into()),
        Ok(grams) if grams.is_zero() => Err(invalid("must be above zero".into()).into()),
        Ok(grams) => Ok(grams),
        Err(error) => Err(invalid(error.to_string()).into()),
    }
}

/// What a line took off its tray, by lot, if the tray can have it back.
fn plan_back(tx: &mut Tx<'_>, exception: &Exception) -> Result<(Tray, Vec<Holding>), Failure> {
    let Some(id) = exception.tray_id else { return unfit("nothing of this sale left a tray") };
    let sold = sell::find(tx, exception.sale_id)?;
    if sold.sale.reversed_by_act_id.is_some() {
        return refuse(Code::AlreadyReversed, "id", "the sale was reversed: nothing of it is with a customer");
    }
    let tray = trays::by_id(tx, id)?;
    if returns::of_sale(tx, sold.sale.id)?.iter().any(|line| line.tray_id == id) {
        let reason = format!("something of tray {} came back already and was thrown away", tray.code);
        return refuse(Code::NotReversible, "id", reason);
    }
    if let Some(fate) = tray.fate.filter(|fate| *fate != Fate::Sold) {
        let reason = format!("tray {} has left the stock another way since: {}", tray.code, fate.as_str());
        return refuse(Code::TrayGone, "id", reason);
    }
    if lineage::poured_into(tx, id)?.iter().any(|pouring| pouring.act_id > sold.sale.act_id) {
        let reason = format!("tray {} was topped up since: weigh it and book a count", tray.code);
        return refuse(Code::NotReversible, "id", reason);
    }
    let parts = with_customer(tx, &sold, id)?.draw(exception.moved_g);
    Ok((tray, parts.ok_or_else(|| StoreError::impossible("grams with the customer of sale", sold.sale.id))?))
}

/// Puts the sale on the tray that really went. The money goes with the goods; of a line that moved in part it stays with what was sold first.
pub(super) fn exchange(
    tx: &mut Tx<'_>,
    act_id: i64,
    now: Instant,
    exception: &Exception,
    planned: Exchange,
) -> Result<(), Failure> {
    let Exchange { mut tray, grams, found, back } = planned;
    let mut movement = Movement::default();
    let number = sales::next_line_number(tx, exception.sale_id)?;
    let price_cents = match back {
        Some((wrong, parts)) => {
            let wrong_id = wrong.id;
            put_back(tx, &mut movement, wrong, &parts)?;
            sales::take_off(tx, exception.sale_id, wrong_id, exception.moved_g, exception.price_cents)?
        }
        None if exception.moved_g == 0 => exception.price_cents,
        None => 0,
    };
    let taken = movement.take(tx, &mut tray, grams, "grams")?;
    movement.outside(Account::Customer, &taken, 1);
    movement.post(tx, act_id)?;
    if tray.net.is_zero() {
        leave(tx, &mut tray, Fate::Sold, now)?;
    }
    trays::save(tx, &mut tray)?;
    let line = SaleLine {
        tray_id: tray.id,
        tray_code: tray.code.to_string(),
        grams: grams.get(),
        price_per_kg_cents: tray.price.get(),
        price_cents,
    };
    sales::insert_line(tx, exception.sale_id, number, &line)?;
    Ok(exceptions::add_findings(tx, exception, &found)?)
}

fn put_back(tx: &mut Tx<'_>, movement: &mut Movement, mut tray: Tray, parts: &[Holding]) -> Result<(), Failure> {
    if tray.fate.is_some() {
        let place = place_of(tx, &tray)?;
        come_back(tx, &mut tray, &place)?;
    }
    movement.outside(Account::Customer, parts, -1);
    movement.put(tx, &mut tray, parts)?;
    Ok(trays::save_with_life(tx, &mut tray)?)
}
