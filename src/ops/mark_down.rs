//! A tray's price is lowered: never raised, never on what may not be sold; a new label is asked for in the same act.

use super::desk::Actor;
use super::failure::{Failure, refuse};
use super::judge::{facts, tray_by_code};
use crate::domain::refusal::{Code, Refusal};
use crate::domain::shop::Shop;
use crate::domain::text;
use crate::domain::tray::{LabelReason, Tray};
use crate::domain::verdict::judge;
use crate::store::acts::{self, NewAct};
use crate::store::{Tx, issued_labels, trays};
use crate::units::instant::Instant;
use crate::units::money::PricePerKg;

/// Lowers the price of a tray by hand.
pub fn mark_down(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    code: &str,
    price_per_kg_cents: i64,
    reason: &str,
) -> Result<Tray, Failure> {
    let reason = text::note("reason", reason)?;
    if reason.chars().count() > 40 {
        return refuse(Code::InvalidValue, "reason", "must be at most 40 characters: it stands on the label");
    }
    let price = PricePerKg::new(price_per_kg_cents);
    let price = price.map_err(|e| Refusal::new(Code::InvalidValue, "price_per_kg_cents", e.to_string()))?;
    let tray = tray_by_code(tx, "tray_code", code)?;
    let facts = facts(tx, shop, tray, now)?;
    judge(&facts, now).refuse("tray_code")?;
    lower(tx, actor, now, facts.tray, price, &reason)
}

/// Lowers the price of a tray that was judged to be for sale.
pub fn lower(
    tx: &mut Tx<'_>,
    actor: &Actor,
    now: Instant,
    mut tray: Tray,
    price: PricePerKg,
    reason: &str,
) -> Result<Tray, Failure> {
    if price >= tray.price {
        return refuse(Code::PriceWouldRise, "price_per_kg_cents", "the tray costs no more than that already");
    }
    let act = NewAct {
        kind: "mark_down",
        at: now,
        recorded_at: now,
        actor: &actor.name,
        reason: Some(reason),
        reverses: None,
    };
    let act_id = acts::append(tx, &act)?;
    issued_labels::insert_markdown(tx, act_id, tray.id, now, tray.price, price, reason)?;
    tray.price = price;
    tray.markdown_reason = Some(reason.to_owned());
    tray.want_label(LabelReason::Markdown);
    trays::save(tx, &mut tray)?;
    Ok(tray)
}
