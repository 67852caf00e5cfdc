//! A tray goes to another place: moved, frozen or thawed. Its life is anchored at that moment, and what was printed never grows.

use super::desk::Actor;
use super::failure::{Failure, refuse};
use super::judge::{life, lived_to, place_by_code, place_of, require_in_stock, tray_by_code};
use crate::domain::life::clocks::Clock;
use crate::domain::life::date_mark::day_one_after_thaw;
use crate::domain::place::Place;
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::domain::text;
use crate::domain::tray::{LabelReason, Tray};
use crate::domain::verdict::outdated;
use crate::store::acts::{self, NewAct};
use crate::store::{Tx, errands, stays, trays};
use crate::units::instant::Instant;

/// Which way a tray changes its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    Move,
    Freeze,
    Thaw,
}

impl Way {
    const fn kind(self) -> &'static str {
        match self {
            Way::Move => "move",
            Way::Freeze => "freeze",
            Way::Thaw => "thaw",
        }
    }

    fn check(self, tray: &Tray, from: &Place, to: &Place) -> Result<(), Failure> {
        match (self, from.is_frozen(), to.is_frozen()) {
            (Way::Move, false, true) | (Way::Move, true, false) => {
                refuse(Code::UseFreezeOrThaw, "place_code", "this would freeze or thaw the tray; say so")
            }
            (Way::Freeze, true, _) => refuse(Code::Frozen, "tray_code", "the tray is frozen already"),
            (Way::Freeze, _, false) => refuse(Code::InvalidValue, "place_code", "is not a frozen place"),
            (Way::Freeze, _, _) if tray.was_frozen() => {
                refuse(Code::Refreeze, "tray_code", "it was frozen before; cook it, or sell it before its use-by")
            }
            (Way::Thaw, false, _) => refuse(Code::NotFrozen, "tray_code", "the tray is not in a frozen place"),
            (Way::Thaw, _, true) => refuse(Code::InvalidValue, "place_code", "is a frozen place"),
            _ if from.code == to.code => refuse(Code::AlreadyThere, "place_code", "the tray stands there already"),
            _ => Ok(()),
        }
    }
}

/// Takes a tray to a place.
#[allow(clippy::too_many_arguments, reason = "the parts of one act, each of its own type")]
pub fn take_to(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    code: &str,
    place: &str,
    way: Way,
    reason: Option<&str>,
) -> Result<Tray, Failure> {
    let reason = text::optional_note("reason", reason)?;
    let mut tray = tray_by_code(tx, "tray_code", code)?;
    require_in_stock(&tray, "tray_code")?;
    let to = place_by_code(tx, "place_code", place)?;
    let from = place_of(tx, &tray)?;
    way.check(&tray, &from, &to)?;
    if way == Way::Freeze {
        require_life(tx, shop, &tray, &from, now)?;
    }
    tray.lived = lived_to(tx, &tray, &from, now)?;
    // A clock that was set back must not leave more of a paused date than it had.
    let anchor = tray.lived.as_of;
    match way {
        Way::Move => {
            let there = life(tx, shop, &tray, &to, anchor)?;
            if outdated(tray.use_by, &there) && tray.kind.carries_label() {
                tray.want_label(LabelReason::ShorterLife);
            }
        }
        Way::Freeze => freeze(&mut tray, anchor),
        Way::Thaw => thaw(shop, &mut tray, anchor),
    }
    tray.place.clone_from(&to.code);
    let act = NewAct {
        kind: way.kind(),
        at: now,
        recorded_at: now,
        actor: &actor.name,
        reason: reason.as_deref(),
        reverses: None,
    };
    let act_id = acts::append(tx, &act)?;
    if way == Way::Freeze {
        errands::frozen(tx, tray.id, (act_id, now, &actor.name))?;
    }
    stays::end(tx, tray.id, anchor)?;
    stays::begin(tx, tray.id, &to, anchor)?;
    trays::save_with_life(tx, &mut tray)?;
    Ok(tray)
}

/// What has ended is not frozen: a freeze would only hide it.
fn require_life(tx: &mut Tx<'_>, shop: &Shop, tray: &Tray, place: &Place, now: Instant) -> Result<(), Failure> {
    let life = life(tx, shop, tray, place, now)?;
    let ended = |clock| life.end_of(clock).is_some_and(|end| now > end);
    if ended(Clock::Exposure) {
        return refuse(Code::ExposureReached, "tray_code", "its time above the cold limit is used up");
    }
    if ended(Clock::Supplier) || tray.use_by.is_some_and(|end| now > end) {
        return refuse(Code::PastUseBy, "tray_code", "its date has passed; take it off");
    }
    match life.ended(now) {
        Some(clock) => {
            refuse(Code::LifeEnded, "tray_code", format!("its clock {} has run out; take it off", clock.as_str()))
        }
        None => Ok(()),
    }
}

/// A freeze voids the printed date and keeps what it had left: freezing pauses a date, it never makes a later one of it.
fn freeze(tray: &mut Tray, now: Instant) {
    tray.paused_left_micros = tray.use_by.take().map(|printed| printed.since(now).max(0));
    tray.frozen_at = Some(now);
    tray.label_wanted = None;
}

/// A thaw lets the paused date go on from where it stood, and the date mark on the day it had come to. The limit of its exposure stays what
/// it was: what was warm before the shop froze it was warm as fish that was never frozen, and readings of that time may still come.
fn thaw(shop: &Shop, tray: &mut Tray, now: Instant) {
    let (frozen, thawed) = (tray.frozen_at.take().map(|at| shop.zone.day_of(at)), shop.zone.day_of(now));
    tray.lived.date_day_one = match (tray.lived.date_day_one, frozen) {
        (Some(day_one), Some(frozen)) => Some(day_one_after_thaw(day_one, frozen, thawed, shop.rules.date_mark.across)),
        (none, _) => none,
    };
    tray.use_by = tray.paused_left_micros.take().map(|left| now.plus_micros(left).floor_minute());
    tray.thawed_at = Some(now);
    tray.label_wanted = tray.kind.carries_label().then_some(LabelReason::Thawed);
}
