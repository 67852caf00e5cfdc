//! The morning review: candidates by remaining life, and accepting what was advised.

use super::board::{Judged, in_stock};
use super::desk::Actor;
use super::failure::{Failure, refuse};
use super::judge::facts;
use super::mark_down::lower;
use super::resolve::tray_by_scan;
use crate::domain::life::clocks::Clock;
use crate::domain::refusal::{Code, Refusal};
use crate::domain::review::Advice;
use crate::domain::shop::Shop;
use crate::domain::tray::{Kind, Tray};
use crate::domain::verdict::{Facts, judge};
use crate::store::{Reading, Tx};
use crate::units::instant::Instant;

/// What stands on a markdown label as its reason.
pub const MARKDOWN_REASON: &str = "Best used soon";
pub const ACCEPT_LIMIT: usize = 200;

/// One candidate with the advice.
#[derive(Debug, Clone)]
pub struct Candidate {
    pub judged: Judged,
    pub advice: Advice,
    pub sell_until: Instant,
}

/// The advice for one tray, if any: nothing for bulk, frozen or held stock, nor for what exposure ends. What has ended is to be taken off.
fn advise(shop: &Shop, facts: &Facts, now: Instant) -> Option<(Advice, Instant)> {
    let tray = &facts.tray;
    if !tray.in_stock() || tray.kind == Kind::Bulk || facts.place_frozen || !facts.holds.is_empty() {
        return None;
    }
    // Exposure ends in a hold, not in a lower price.
    if facts.life.limiting == Some(Clock::Exposure) {
        return None;
    }
    let sell_until = facts.sell_until()?;
    shop.ladder.advise(tray.list_price, tray.price, sell_until, now).map(|advice| (advice, sell_until))
}

/// All candidates, the first to end first.
pub fn candidates(reading: &mut Reading<'_>, shop: &Shop, now: Instant) -> Result<Vec<Candidate>, Failure> {
    let mut found: Vec<Candidate> = in_stock(reading, shop, now)?
        .into_iter()
        .filter_map(|judged| {
            advise(shop, &judged.facts, now).map(|(advice, sell_until)| Candidate { judged, advice, sell_until })
        })
        .collect();
    found.sort_by_key(|c| (c.sell_until, c.judged.facts.tray.id));
    Ok(found)
}

/// Accepts the markdown advised now for each of these trays: all or none.
pub fn accept(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    codes: &[String],
) -> Result<Vec<Tray>, Failure> {
    if codes.is_empty() || codes.len() > ACCEPT_LIMIT {
        return refuse(Code::InvalidValue, "tray_codes", format!("must be 1 to {ACCEPT_LIMIT} trays"));
    }
    let mut lowered: Vec<Tray> = Vec::with_capacity(codes.len());
    for (index, code) in codes.iter().enumerate() {
        let field = format!("tray_codes/{index}");
        let tray = tray_by_scan(tx, shop, now, &field, code)?;
        if lowered.iter().any(|t| t.id == tray.id) {
            return refuse(Code::DuplicateLine, field, "stands on an earlier line");
        }
        let facts = facts(tx, shop, tray, now)?;
        judge(&facts, now).refuse(&field)?;
        match advise(shop, &facts, now) {
            Some((Advice::MarkDown(price), _)) => {
                lowered.push(lower(tx, actor, now, facts.tray, price, MARKDOWN_REASON)?)
            }
            _ => return Err(Refusal::new(Code::NotACandidate, field, "no markdown is advised for it now").into()),
        }
    }
    Ok(lowered)
}
