//! What a customer who scans a label may know: the fish, its origin and its dates. No purchase, no person, no stock.

use super::board;
use super::failure::Failure;
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::store::catalogue::species_of;
use crate::store::error::StoreError;
use crate::store::{Reading, lots, trays};
use crate::units::instant::Instant;
use crate::units::zone::write_day;

/// The facts of one tray for its buyer, in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Card {
    pub cut_name: String,
    pub market_name: String,
    pub scientific_name: String,
    /// One line a lot: where, how, when caught.
    pub origins: Vec<String>,
    pub cut_on: String,
    pub use_by: Option<String>,
    pub was_frozen: bool,
    pub warning: Option<Warning>,
}

/// What must be said before everything else.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Warning {
    Held,
    PastUseBy,
}

/// The card of a tray, sold or not. A tray without a label has none to scan, and is not found.
pub fn card(reading: &mut Reading<'_>, shop: &Shop, now: Instant, code: &str) -> Result<Card, Failure> {
    let judged = board::one(reading, now, code)?;
    let tray = judged.facts.tray;
    let species =
        species_of::find(reading, &tray.species)?.ok_or_else(|| StoreError::impossible("species", &tray.species))?;
    let lot_ids: Vec<i64> = trays::holdings_of(reading, tray.id)?.holdings().iter().map(|h| h.lot_id).collect();
    let caught = |lot: crate::domain::lot::Lot| {
        let (from, to) = (write_day(lot.catch.caught_from), write_day(lot.catch.caught_to));
        format!("{}, {}, caught or harvested {from} to {to}, lot {}", lot.catch.in_words(), lot.catch.country, lot.code)
    };
    let held = !judged.facts.holds.is_empty() || judged.verdict.stops.iter().any(|s| s.code == Code::OnHold);
    let past = tray.use_by.is_some_and(|end| now > end);
    Ok(Card {
        cut_name: judged.facts.cut.name,
        market_name: species.market_name,
        scientific_name: species.scientific_name,
        origins: lots::by_ids(reading, &lot_ids)?.into_iter().map(caught).collect(),
        cut_on: write_day(shop.zone.day_of(tray.cut_at)),
        use_by: tray.use_by.map(|end| shop.zone.write(end)),
        was_frozen: tray.was_frozen(),
        warning: if held { Some(Warning::Held) } else { past.then_some(Warning::PastUseBy) },
    })
}
