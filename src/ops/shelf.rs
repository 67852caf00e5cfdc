//! The shelf: what a till may know of every tray for sale without asking, kept so that a follower of the change sequence and the shelf
//! itself never disagree. Every act ends here (`Desk::act` sees to it): what it touched is judged anew and told. Time has its turn too:
//! an offer that time alone changes is looked at again at that moment.

mod offer;

use super::desk::Desk;
use super::failure::{Failure, Trouble};
use super::judge::{facts, facts_in, standings};
use crate::domain::life::date_mark::Calendar;
use crate::domain::shop::Shop;
use crate::domain::tray::{Kind, Tray};
use crate::domain::verdict::Facts;
use crate::store::changes::{self, NewChange};
use crate::store::shelf::{self, Shelved, Where};
use crate::store::touched::Touched;
use crate::store::trays::Filter;
use crate::store::{Reading, Tx, snapshot, trays};
use crate::units::instant::{Instant, MICROS_PER_MINUTE};
use std::collections::BTreeSet;

/// The kind of a change that nobody did.
pub const TIME_PASSED: &str = "time_passed";

/// Acts that are nobody's business but the manager's: they are in the record of acts, and are not told.
const UNTOLD: [&str; 12] = [
    "create_person",
    "disable_person",
    "create_key",
    "revoke_key",
    "create_webhook",
    "change_webhook",
    "delete_webhook",
    "rotate_webhook",
    "replay_webhook",
    "decide",
    "undo_decision",
    "drop_errand",
];

/// Most trays looked at in one transaction.
const BATCH: i64 = 500;

/// Tells what a transaction did: each tray it touched with its new offer, and acts that touched none.
pub fn publish(tx: &mut Tx<'_>, shop: &Shop) -> Result<Published, Failure> {
    let Touched { acts, trays } = tx.take_touched();
    if acts.is_empty() {
        // Nobody acted: something that trays are judged by was mended. They are looked at again at once, as after time passing.
        let concerned: Vec<i64> = trays.into_keys().collect();
        shelf::look_again(tx, &concerned)?;
        return Ok(if concerned.is_empty() { Published::Nothing } else { Published::Something });
    }
    let mut under: Vec<Vec<Told>> = acts.iter().map(|_| Vec::new()).collect();
    for (id, touched) in trays {
        let places: BTreeSet<usize> = touched.acts.iter().map(|act| act.unwrap_or(0)).collect();
        let last = places.last().and_then(|act| acts.get(*act)).map_or(Instant::EPOCH, |act| act.recorded_at);
        let told = shelve(tx, shop, last, id, touched.tray)?;
        // An act before another of the same transaction is told with what both left: nobody saw what was between.
        for act in places {
            if let Some(trays) = under.get_mut(act) {
                trays.push(told.clone());
            }
        }
    }
    // In the order of the acts, and under each in the order of the trays.
    for (act, trays) in acts.iter().zip(&under) {
        let of = |tray_code, offer| NewChange {
            act_id: Some(act.id),
            kind: act.kind,
            at: act.recorded_at,
            tray_code,
            offer,
        };
        if trays.is_empty() && !UNTOLD.contains(&act.kind) {
            changes::append(tx, &of(None, None))?;
        }
        for tray in trays {
            changes::append(tx, &of(Some(&tray.code), tray.offer.as_deref()))?;
        }
    }
    Ok(Published::Something)
}

/// What is told of a tray.
#[derive(Clone)]
struct Told {
    code: String,
    offer: Option<String>,
}

/// Whether there is something new for those who follow.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Published {
    Nothing,
    Something,
}

/// Brings the shelf up to date with a tray that was touched.
fn shelve(tx: &mut Tx<'_>, shop: &Shop, now: Instant, id: i64, written: Option<Tray>) -> Result<Told, Failure> {
    let tray = match written {
        Some(tray) => tray,
        None => trays::by_id(tx, id)?,
    };
    let code = tray.code.to_string();
    let shelved = shelved(tx, shop, tray, now)?;
    match &shelved {
        Some(shelved) => shelf::put(tx, shelved)?,
        None => shelf::remove(tx, id)?,
    }
    Ok(Told { code, offer: shelved.map(|shelved| shelved.offer) })
}

/// What stands on the shelf of a tray as of now; nothing of what is gone or is never sold as it is.
fn shelved(reading: &mut Reading<'_>, shop: &Shop, tray: Tray, now: Instant) -> Result<Option<Shelved>, Failure> {
    if !is_for_sale(&tray) {
        return Ok(None);
    }
    shelved_of(&facts(reading, shop, tray, now)?, now).map(Some)
}

/// The same of a tray that is for sale and whose facts are known: for whoever writes the change and the shelf of many trays at once.
pub(super) fn shelved_of(facts: &Facts, now: Instant) -> Result<Shelved, Failure> {
    offer::shelved(facts, now)
}

pub(super) fn is_for_sale(tray: &Tray) -> bool {
    tray.in_stock() && tray.kind != Kind::Bulk
}

/// Looks again at some trays as of now, and tells of those whose offers changed.
fn refresh(tx: &mut Tx<'_>, shop: &Shop, now: Instant, ids: &[i64]) -> Result<usize, Failure> {
    let mut changed = 0;
    for id in ids {
        // It may have left the shelf since it was found due; and one that was in stock before there was a shelf has yet to come to it.
        let (before, tray) = (shelf::find(tx, *id)?, trays::by_id(tx, *id)?);
        let code = tray.code.to_string();
        let after = shelved(tx, shop, tray, now)?;
        if after == before {
            continue;
        }
        let offer = after.as_ref().map(|after| after.offer.as_str());
        if offer != before.as_ref().map(|before| before.offer.as_str()) {
            let code = Some(code.as_str());
            changes::append(tx, &NewChange { act_id: None, kind: TIME_PASSED, at: now, tray_code: code, offer })?;
            changed += 1;
        }
        match &after {
            Some(after) => shelf::put(tx, after)?,
            None => shelf::remove(tx, *id)?,
        }
    }
    Ok(changed)
}

/// Looks again at all offers that are due by now. Gives how many changed, and when the next is due.
pub fn catch_up(desk: &Desk, now: Instant) -> Result<(usize, Option<Instant>), Failure> {
    let mut changed = 0;
    loop {
        let (due, next) = desk.look(|reading, _| Ok((shelf::due(reading, now, BATCH)?, shelf::next_due(reading)?)))?;
        if due.is_empty() {
            return Ok((changed, next));
        }
        changed += look_again(desk, now, due)?;
    }
}

/// What is wrong with one tray is tried again after so long.
const PUT_OFF_MICROS: i64 = MICROS_PER_MINUTE;

fn look_again(desk: &Desk, now: Instant, ids: Vec<i64>) -> Result<usize, Failure> {
    let refresh_all = |ids: Vec<i64>| desk.act(move |tx, shop| refresh(tx, shop, now, &ids));
    match refresh_all(ids.clone()) {
        Err(error) if error.trouble() == Trouble::Defect => {}
        outcome => return outcome,
    }
    // One of them cannot be read or judged: the others must not wait for it.
    let mut changed = 0;
    for id in ids {
        match refresh_all(vec![id]) {
            Ok(count) => changed += count,
            Err(error) if error.trouble() != Trouble::Defect => return Err(error),
            Err(error) => {
                tracing::error!(tray_id = id, %error, "the offer of a tray could not be looked at again");
                desk.act(move |tx, _| Ok(shelf::put_off(tx, id, now.plus_micros(PUT_OFF_MICROS))?))?;
            }
        }
    }
    Ok(changed)
}

/// Has everything in a place looked at again, tray by tray where one of them is in the way of the others.
pub fn mark(desk: &Desk, place: &str) -> Result<(), Failure> {
    let place = place.to_owned();
    desk.act(move |tx, _| Ok(shelf::look_again_at(tx, Where::Place(&place))?))
}

/// Looks at everything in a place, since what was measured there decides how long it is good: finds offers that changed, or are due sooner.
pub fn go_over(desk: &Desk, now: Instant, place: &str) -> Result<usize, Failure> {
    let filter = Filter { in_stock_only: true, place: Some(place.to_owned()), ..Filter::default() };
    let (mut above, mut changed) = (0, 0);
    loop {
        let (last, differing) = desk.look(|reading, shop| differing(reading, shop, now, &filter, above))?;
        if !differing.is_empty() {
            changed += look_again(desk, now, differing)?;
        }
        match last {
            Some(last) => above = last,
            None => return Ok(changed),
        }
    }
}

/// The last tray looked at, and those whose offers are not what they should be, or have to be looked at sooner than is written down.
fn differing(
    reading: &mut Reading<'_>,
    shop: &Shop,
    now: Instant,
    filter: &Filter,
    above: i64,
) -> Result<(Option<i64>, Vec<i64>), Failure> {
    let snapshot = snapshot::load(reading, filter, above, BATCH)?;
    let (Some(first), Some(last)) = (snapshot.trays.first(), snapshot.trays.last()) else {
        return Ok((None, Vec::new()));
    };
    let shelf = shelf::between(reading, first.id, last.id)?;
    let calendar = Calendar::new(shop.zone);
    let standings = standings(&snapshot, shop, &calendar, now);
    let mut differing = Vec::new();
    for tray in snapshot.trays.iter().filter(|tray| is_for_sale(tray)) {
        let facts: Facts = facts_in(&snapshot, shop, &standings, tray)?;
        let should = offer::shelved(&facts, now)?;
        let is = shelf.binary_search_by_key(&tray.id, |shelved| shelved.tray_id).ok().and_then(|n| shelf.get(n));
        let stands = is.is_some_and(|is| is.offer == should.offer && not_later(is.due_at, should.due_at));
        if !stands {
            differing.push(tray.id);
        }
    }
    Ok((Some(last.id), differing))
}

/// Whether an offer is looked at no later than it has to be.
fn not_later(is: Option<i64>, should: Option<i64>) -> bool {
    match (is, should) {
        (_, None) => true,
        (None, Some(_)) => false,
        (Some(is), Some(should)) => is <= should,
    }
}
