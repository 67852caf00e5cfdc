//! A stock count: what lies there is weighed or seen missing, and the books follow with a reason.

use super::desk::Actor;
use super::failure::{Failure, refuse};
use super::judge::require_in_stock;
use super::resolve::tray_by_scan;
use super::tray_ledger::{Movement, leave, spread};
use crate::domain::ledger::Account;
use crate::domain::refusal::{Code, Refusal};
use crate::domain::shop::Shop;
use crate::domain::text;
use crate::domain::tray::{Fate, LabelReason, Tray};
use crate::store::acts::{self, NewAct};
use crate::store::{Tx, issued_labels, trays};
use crate::units::instant::Instant;
use crate::units::mass::Grams;

/// Most trays in one count.
pub const LINE_LIMIT: usize = 500;

#[derive(Debug, Clone)]
pub struct CountLine {
    pub tray: String,
    pub counted_g: i64,
}

/// Book and counted weight of one tray.
#[derive(Debug, Clone)]
pub struct Counted {
    pub tray: Tray,
    pub book_g: i64,
    pub counted_g: i64,
}

/// Books a count. Any difference needs a reason for the whole count.
pub fn count(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    lines: &[CountLine],
    reason: Option<&str>,
) -> Result<Vec<Counted>, Failure> {
    let reason = text::optional_note("reason", reason)?;
    if lines.is_empty() || lines.len() > LINE_LIMIT {
        return refuse(Code::InvalidValue, "lines", format!("must be 1 to {LINE_LIMIT} trays"));
    }
    let mut loaded: Vec<(Tray, Grams)> = Vec::with_capacity(lines.len());
    for (index, line) in lines.iter().enumerate() {
        let at = format!("lines/{index}");
        let tray = tray_by_scan(tx, shop, now, "tray_code", &line.tray).map_err(|f| f.under(&at))?;
        require_in_stock(&tray, "tray_code").map_err(|f| f.under(&at))?;
        let counted = Grams::new(line.counted_g)
            .map_err(|e| Refusal::new(Code::InvalidValue, format!("{at}/counted_g"), e.to_string()))?;
        if loaded.iter().any(|(earlier, _)| earlier.id == tray.id) {
            return refuse(Code::DuplicateLine, format!("{at}/tray_code"), "stands on an earlier line");
        }
        loaded.push((tray, counted));
    }
    if reason.is_none() && loaded.iter().any(|(tray, counted)| tray.net != *counted) {
        return refuse(Code::ReasonRequired, "reason", "the count differs from the books; say what you think happened");
    }
    let act = NewAct {
        kind: "count",
        at: now,
        recorded_at: now,
        actor: &actor.name,
        reason: reason.as_deref(),
        reverses: None,
    };
    let act_id = acts::append(tx, &act)?;
    let mut movement = Movement::default();
    let mut counted = Vec::with_capacity(loaded.len());
    for (tray, grams) in loaded {
        counted.push(book(tx, &mut movement, act_id, now, tray, grams)?);
    }
    movement.post(tx, act_id)?;
    Ok(counted)
}

fn book(
    tx: &mut Tx<'_>,
    movement: &mut Movement,
    act_id: i64,
    now: Instant,
    mut tray: Tray,
    counted: Grams,
) -> Result<Counted, Failure> {
    let book_g = tray.net.get();
    issued_labels::insert_count(tx, act_id, tray.id, book_g, counted.get())?;
    match tray.net.minus(counted) {
        Some(missing) if missing.is_zero() => {}
        Some(missing) => {
            let gone = movement.take(tx, &mut tray, missing, "counted_g")?;
            movement.outside(Account::CountDifference, &gone, 1);
        }
        None => {
            let pool = trays::holdings_of(tx, tray.id)?;
            let found = spread(counted.get() - book_g, pool.holdings());
            movement.outside(Account::CountDifference, &found, -1);
            movement.put(tx, &mut tray, &found)?;
        }
    }
    if tray.net.is_zero() {
        leave(tx, &mut tray, Fate::CountedAway, now)?;
    }
    if book_g != counted.get() {
        if tray.in_stock() && tray.kind.carries_label() {
            // Where no label says the old weight, none is wrong.
            let unlabelled = issued_labels::count_of_tray(tx, tray.id)? == 0;
            tray.want_label(if unlabelled { LabelReason::New } else { LabelReason::Weight });
        }
        trays::save(tx, &mut tray)?;
    }
    Ok(Counted { tray, book_g, counted_g: counted.get() })
}
