//! A hold stops a lot, a batch or a tray until a manager lifts it.

use super::desk::Actor;
use super::failure::{Failure, refuse};
use super::resolve::tray_by_scan;
use super::{alarm, watch};
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::domain::text;
use crate::store::acts::{self, NewAct};
use crate::store::error::StoreError;
use crate::store::holds::{self, Hold};
use crate::store::{Tx, lots};
use crate::units::instant::Instant;

/// What is stopped: a lot by its code, the batch of a tray with all that was made from it, or a tray.
#[derive(Debug, Clone)]
pub struct HoldDraft {
    pub scope: String,
    pub code: String,
    pub reason: String,
}

/// Places a hold.
pub fn place(tx: &mut Tx<'_>, shop: &Shop, actor: &Actor, now: Instant, draft: &HoldDraft) -> Result<Hold, Failure> {
    let reason = text::note("reason", &draft.reason)?;
    let target = match draft.scope.as_str() {
        "lot" => match lots::find(tx, &draft.code)? {
            Some(lot) => lot.id,
            None => return refuse(Code::UnknownReference, "code", "there is no such lot"),
        },
        "tray" => tray_by_scan(tx, shop, now, "code", &draft.code)?.id,
        "batch" => match tray_by_scan(tx, shop, now, "code", &draft.code)?.batch_id {
            Some(batch) => batch,
            None => return refuse(Code::UnknownReference, "code", "this tray came from no breakdown; hold its lot"),
        },
        _ => return refuse(Code::InvalidValue, "scope", "must be lot, batch or tray"),
    };
    let act =
        NewAct { kind: "hold", at: now, recorded_at: now, actor: &actor.name, reason: Some(&reason), reverses: None };
    let act_id = acts::append(tx, &act)?;
    let id = holds::place(tx, act_id, &draft.scope, target, now, &actor.name, &reason)?;
    if draft.scope == "batch" {
        // What is held can be neither cut nor poured, so nothing joins these while the hold is open.
        let reached = acts::trays_from_batch(tx, target)?;
        holds::reach(tx, id, &reached)?;
    }
    holds::find(tx, id)?.ok_or_else(|| StoreError::impossible("hold", id).into())
}

/// Releases a hold, with a note on why it is safe to.
pub fn release(tx: &mut Tx<'_>, actor: &Actor, now: Instant, id: i64, note: &str) -> Result<Hold, Failure> {
    let note = text::note("note", note)?;
    let Some(hold) = holds::find(tx, id)? else { return refuse(Code::NotFound, "id", "there is no such hold") };
    if hold.released_at.is_some() {
        return refuse(Code::NotReleased, "id", "was released already");
    }
    let act =
        NewAct { kind: "release", at: now, recorded_at: now, actor: &actor.name, reason: Some(&note), reverses: None };
    let act_id = acts::append(tx, &act)?;
    holds::release(tx, id, act_id, now, &actor.name, &note)?;
    // A hold that a person placed speaks of something else.
    if hold.scope == "tray" && hold.placed_by == watch::watchman().name {
        alarm::exposure_seen_to(tx, actor, hold.target_id, now)?;
    }
    holds::find(tx, id)?.ok_or_else(|| StoreError::impossible("hold", id).into())
}
