//! A tub is topped up from another tray of the same cut and species: it takes over the older dates and the more consumed life.

use super::desk::Actor;
use super::failure::{Failure, refuse};
use super::judge::{lived_to, place_of, require_in_stock, require_no_hold, tray_by_code};
use super::resolve::tray_by_scan;
use super::tray_ledger::{Movement, leave};
use crate::domain::life::lived::{Lived, oldest_if_all};
use crate::domain::life::wear::inherit;
use crate::domain::refusal::{Code, Refusal};
use crate::domain::shop::Shop;
use crate::domain::tray::{Fate, Kind, LabelReason, Tray};
use crate::store::acts::{self, NewAct};
use crate::store::{Tx, lineage, stays, trays};
use crate::units::instant::Instant;
use crate::units::mass::Grams;

/// From which tray, and how much of it (all when absent).
#[derive(Debug, Clone)]
pub struct TopUp {
    pub source: String,
    pub grams: Option<i64>,
}

/// Puts grams of a source tray into a tub.
pub fn top_up(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    code: &str,
    draft: &TopUp,
) -> Result<Tray, Failure> {
    let mut tub = tray_by_code(tx, "tray_code", code)?;
    let mut source = tray_by_scan(tx, shop, now, "source_tray_code", &draft.source)?;
    check(tx, &tub, &source)?;
    let grams = match draft.grams {
        None => source.net,
        Some(grams) => Grams::new(grams).map_err(|e| Refusal::new(Code::InvalidValue, "grams", e.to_string()))?,
    };
    if grams.is_zero() {
        return refuse(Code::InvalidValue, "grams", "must be above zero");
    }
    let tub_place = place_of(tx, &tub)?;
    // Of two requests that came together the later may be done first: no life goes back.
    let anchor = now.max(tub.lived.as_of).max(source.lived.as_of);
    let source_place = place_of(tx, &source)?;
    let lives = [lived_to(tx, &tub, &tub_place, anchor)?, lived_to(tx, &source, &source_place, anchor)?];
    let act = NewAct { kind: "top_up", at: now, recorded_at: now, actor: &actor.name, reason: None, reverses: None };
    let act_id = acts::append(tx, &act)?;
    let mut movement = Movement::default();
    let named: Vec<i64> = trays::holdings_of(tx, tub.id)?.holdings().iter().map(|holding| holding.lot_id).collect();
    let poured = movement.take(tx, &mut source, grams, "grams")?;
    let change = match poured.iter().all(|holding| named.contains(&holding.lot_id)) {
        true => LabelReason::Weight,
        false => LabelReason::OtherFish,
    };
    movement.put(tx, &mut tub, &poured)?;
    movement.post(tx, act_id)?;
    mix(&mut tub, &source, &lives, change);
    stays::end(tx, tub.id, anchor)?;
    stays::begin(tx, tub.id, &tub_place, anchor)?;
    lineage::insert_top_up(tx, act_id, anchor, tub.id, source.id, grams.get())?;
    if source.net.is_zero() {
        leave(tx, &mut source, Fate::ToppedInto, anchor)?;
    }
    trays::save(tx, &mut source)?;
    trays::save_with_life(tx, &mut tub)?;
    Ok(tub)
}

fn check(tx: &mut Tx<'_>, tub: &Tray, source: &Tray) -> Result<(), Failure> {
    if tub.kind != Kind::Tub {
        return refuse(Code::WrongKind, "tray_code", "only a tub is topped up");
    }
    if tub.id == source.id {
        return refuse(Code::NotTheSame, "source_tray_code", "a tub is not topped up from itself");
    }
    if tub.species != source.species || tub.cut != source.cut {
        return refuse(Code::NotTheSame, "source_tray_code", "must be the same cut of the same species");
    }
    for (tray, field) in [(tub, "tray_code"), (source, "source_tray_code")] {
        require_in_stock(tray, field)?;
        require_no_hold(tx, tray, field)?;
        if place_of(tx, tray)?.is_frozen() {
            return refuse(Code::Frozen, field, format!("tray {} is frozen", tray.code));
        }
    }
    Ok(())
}

/// The tub takes over the most consumed and the oldest of both.
fn mix(tub: &mut Tray, source: &Tray, lives: &[Lived; 2], change: LabelReason) {
    let [own, poured] = lives;
    tub.lived = Lived {
        as_of: own.as_of,
        wear: inherit(&[(own.wear, own.budgets), (poured.wear, poured.budgets)], &own.budgets),
        budgets: own.budgets,
        raw_budget_validated: own.raw_budget_validated,
        date_day_one: [own.date_day_one, poured.date_day_one].into_iter().flatten().min(),
        wholly_frozen_before: own.wholly_frozen_before && poured.wholly_frozen_before,
        parasites_frozen_at: oldest_if_all([own, poured].into_iter().map(|lived| lived.parasites_frozen_at)),
    };
    let older = tub.use_by.zip(source.use_by).is_some_and(|(own, poured)| poured < own);
    tub.cut_at = tub.cut_at.min(source.cut_at);
    tub.use_by = [tub.use_by, source.use_by].into_iter().flatten().min();
    tub.supplier_until = [tub.supplier_until, source.supplier_until].into_iter().flatten().min();
    let newly_thawed = source.was_frozen() && !tub.was_frozen();
    tub.thawed_at = [tub.thawed_at, source.thawed_at].into_iter().flatten().min();
    tub.want_label(match (newly_thawed, older) {
        (true, _) => LabelReason::Thawed,
        (false, true) => LabelReason::OlderFish,
        (false, false) => change,
    });
}
