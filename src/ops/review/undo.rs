//! Taking a decision back within minutes: prices return to what they were and errands are dropped. It corrects a touch that was none; a price
//! that a customer has read on a label stays.

use super::decide::Taken;
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::domain::text;
use crate::domain::tray::{Fate, LabelReason, Tray};
use crate::domain::verdict::outdated;
use crate::ops::desk::Actor;
use crate::ops::failure::{Failure, refuse};
use crate::ops::judge::{life, place_of};
use crate::store::acts::{self, NewAct};
use crate::store::decisions::{self, DecidedTray, Decision, Undone};
use crate::store::issued_labels::{self, Markdown};
use crate::store::{Tx, errands, trays};
use crate::units::instant::Instant;

/// Takes a decision back: all of it, or none.
pub fn undo(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    id: i64,
    note: Option<&str>,
) -> Result<Taken, Failure> {
    let note = text::optional_note("note", note)?;
    let Some(decision) = decisions::find(tx, id)? else {
        return refuse(Code::NotFound, "id", "there is no such decision");
    };
    if let Some(undone) = &decision.undone {
        return refuse(Code::AlreadyUndone, "id", format!("{} took it back", undone.by));
    }
    if now.since(decision.at) > shop.reversal_micros() {
        let reason = format!("only within {} minutes", shop.reversal_minutes);
        return refuse(Code::WindowPassed, "id", reason);
    }
    let of = decisions::trays_of(tx, id)?;
    let mut back = Vec::new();
    for decided in of.iter().filter(|decided| decided.new_price < decided.old_price) {
        back.extend(lowered(tx, &decision, decided)?);
    }
    let act = NewAct {
        kind: "undo_decision",
        at: now,
        recorded_at: now,
        actor: &actor.name,
        reason: note.as_deref(),
        reverses: None,
    };
    let act_id = acts::append(tx, &act)?;
    for (tray, markdown) in back {
        put_back(tx, shop, now, tray, &markdown, (act_id, id))?;
    }
    errands::drop_of(tx, id, now)?;
    errands::open_again(tx, decision.act_id)?;
    let undone = Undone { at: now, by: actor.name.clone(), act_id };
    decisions::mark_undone(tx, id, &undone)?;
    Ok(Taken { decision: Decision { undone: Some(undone), ..decision }, trays: of })
}

/// A tray whose price the decision lowered, with that markdown; none when it has left the stock for good. One that was sold comes back when
/// its sale is reversed, and then costs what it cost before.
fn lowered(tx: &mut Tx<'_>, decision: &Decision, decided: &DecidedTray) -> Result<Option<(Tray, Markdown)>, Failure> {
    let tray = trays::by_id(tx, decided.tray_id)?;
    if tray.fate.is_some_and(|fate| fate != Fate::Sold) {
        return Ok(None);
    }
    let labelled = issued_labels::newest(tx, tray.id)?.is_some_and(|label| label.act_id > decision.act_id);
    if labelled {
        let reason = format!("tray {} has a label with the new price already; a price is never raised", tray.code);
        return refuse(Code::ActedUpon, "id", reason);
    }
    // The newest markdown is the one of the decision, or somebody went on from there.
    match issued_labels::markdowns_of(tx, tray.id)?.pop() {
        Some(markdown)
            if markdown.act_id > decision.act_id
                && markdown.new.get() == decided.new_price
                && markdown.old.get() == decided.old_price =>
        {
            Ok(Some((tray, markdown)))
        }
        _ => refuse(Code::ActedUpon, "id", format!("the price of tray {} was changed again since", tray.code)),
    }
}

/// The price as before, and the wish for a label as its newest label and its life want it.
fn put_back(
    tx: &mut Tx<'_>,
    shop: &Shop,
    now: Instant,
    mut tray: Tray,
    markdown: &Markdown,
    (act_id, decision_id): (i64, i64),
) -> Result<(), Failure> {
    issued_labels::undo_markdown(tx, markdown.id, act_id, decision_id, now)?;
    tray.price = markdown.old;
    tray.markdown_reason = issued_labels::markdowns_of(tx, tray.id)?.pop().map(|before| before.reason);
    if tray.label_wanted == Some(LabelReason::Markdown) {
        tray.label_wanted = wanted(tx, shop, now, &tray)?;
    }
    trays::save(tx, &mut tray)?;
    Ok(())
}

/// Which label a tray wants whose newest one was not reprinted since: one with its price, or with less life.
fn wanted(tx: &mut Tx<'_>, shop: &Shop, now: Instant, tray: &Tray) -> Result<Option<LabelReason>, Failure> {
    let Some(label) = issued_labels::newest(tx, tray.id)? else { return Ok(Some(LabelReason::New)) };
    if label.price != tray.price {
        return Ok(Some(LabelReason::Markdown));
    }
    let place = place_of(tx, tray)?;
    let life = life(tx, shop, tray, &place, now)?;
    Ok(outdated(tray.use_by, &life).then_some(LabelReason::ShorterLife))
}
