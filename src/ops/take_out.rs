//! Fish leaves the counter unsold: to the kitchen, or thrown away with a reason.

use super::desk::Actor;
use super::failure::{Failure, refuse};
use super::judge::{facts, require_in_stock, tray_by_code};
use super::tray_ledger::{Movement, leave};
use crate::domain::ledger::Account;
use crate::domain::refusal::{Code, Refusal};
use crate::domain::shop::Shop;
use crate::domain::text;
use crate::domain::tray::{Fate, Kind, Tray};
use crate::domain::verdict::judge;
use crate::store::acts::{self, NewAct};
use crate::store::{Tx, errands, trays};
use crate::units::instant::Instant;
use crate::units::mass::Grams;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Whither {
    Kitchen,
    Waste,
}

impl Whither {
    const fn parts(self) -> (&'static str, Account, Fate) {
        match self {
            Whither::Kitchen => ("kitchen", Account::Kitchen, Fate::Kitchen),
            Whither::Waste => ("waste", Account::Waste, Fate::Waste),
        }
    }
}

/// Takes a tray, or some grams of a tub or bulk tray, out of the stock. Waste needs a reason. Nothing on hold, past its use-by or at the end
/// of its life goes to the kitchen: after a use-by food is not an ingredient either (Finnish Food Authority on Reg. (EU) 1169/2011 art. 24).
#[allow(clippy::too_many_arguments, reason = "the parts of one act, each of its own type")]
pub fn take_out(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    code: &str,
    whither: Whither,
    grams: Option<i64>,
    reason: Option<&str>,
) -> Result<Tray, Failure> {
    carry_out(tx, shop, actor, now, code, whither, grams, reason, None)
}

/// The same, for an errand: of what the kitchen is to get of the tray, that one is done first.
#[allow(clippy::too_many_arguments, reason = "the parts of one act, each of its own type")]
pub(super) fn carry_out(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    code: &str,
    whither: Whither,
    grams: Option<i64>,
    reason: Option<&str>,
    errand: Option<i64>,
) -> Result<Tray, Failure> {
    let reason = text::optional_note("reason", reason)?;
    let tray = tray_by_code(tx, "tray_code", code)?;
    require_in_stock(&tray, "tray_code")?;
    if whither == Whither::Waste && reason.is_none() {
        return refuse(Code::ReasonRequired, "reason", "say why it is thrown away");
    }
    let facts = facts(tx, shop, tray, now)?;
    if whither == Whither::Kitchen {
        let verdict = judge(&facts, now);
        let stops = [Code::OnHold, Code::ExposureReached, Code::PastUseBy, Code::LifeEnded];
        if let Some(stop) = verdict.stops.iter().find(|s| stops.contains(&s.code)) {
            return refuse(stop.code, "tray_code", stop.reason.clone());
        }
    }
    let mut tray = facts.tray;
    let grams = match grams {
        None => tray.net,
        Some(grams) if tray.kind == Kind::Block && grams != tray.net.get() => {
            return refuse(Code::WrongKind, "grams", "a block leaves whole");
        }
        Some(grams) => Grams::new(grams).map_err(|e| Refusal::new(Code::InvalidValue, "grams", e.to_string()))?,
    };
    if grams.is_zero() {
        return refuse(Code::InvalidValue, "grams", "must be above zero");
    }
    let (kind, account, fate) = whither.parts();
    let act = NewAct { kind, at: now, recorded_at: now, actor: &actor.name, reason: reason.as_deref(), reverses: None };
    let act_id = acts::append(tx, &act)?;
    let mut movement = Movement::default();
    let taken = movement.take(tx, &mut tray, grams, "grams")?;
    movement.outside(account, &taken, 1);
    movement.post(tx, act_id)?;
    if whither == Whither::Kitchen {
        errands::kitchen_got(tx, &tray, grams.get(), errand, (act_id, now, &actor.name))?;
    }
    if tray.net.is_zero() {
        leave(tx, &mut tray, fate, now)?;
    }
    trays::save(tx, &mut tray)?;
    Ok(tray)
}
