//! What a customer who scans a label may know: the fish, its origin and its dates. No purchase, no person, no stock.

use super::failure::{Failure, refuse};
use super::judge::{facts, tray_by_code};
use crate::domain::lot::Lot;
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::domain::verdict::judge;
use crate::store::catalogue::species_of;
use crate::store::error::StoreError;
use crate::store::{Reading, issued_labels, lots, trays};
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
    LifeEnded,
}

/// What the address on a label names.
#[derive(Debug, Clone)]
pub struct Address {
    pub article: String,
    /// The address may leave it out.
    pub lot: Option<String>,
    pub tray: String,
}

/// The card of a tray, sold or not. A tray without an issued label has none to scan, and an address that names another article or lot
/// is on no label of ours: neither is found.
pub fn card(reading: &mut Reading<'_>, shop: &Shop, now: Instant, address: &Address) -> Result<Card, Failure> {
    let tray = tray_by_code(reading, "tray_code", &address.tray)?;
    let labelled = issued_labels::count_of_tray(reading, tray.id)? > 0;
    let lot_ids: Vec<i64> = trays::holdings_of(reading, tray.id)?.holdings().iter().map(|h| h.lot_id).collect();
    let lots = lots::by_ids(reading, &lot_ids)?;
    let facts = facts(reading, shop, tray, now)?;
    let article = shop.codes.names(&address.article, facts.cut.item_number);
    let lot = address.lot.as_ref().is_none_or(|named| lots.iter().any(|lot| lot.code == *named));
    if !(labelled && article && lot) {
        return refuse(Code::NotFound, "tray_code", "there is no such label");
    }
    let stopped =
        judge(&facts, now).stops.iter().any(|stop| matches!(stop.code, Code::LifeEnded | Code::ExposureReached));
    let tray = facts.tray;
    let species =
        species_of::find(reading, &tray.species)?.ok_or_else(|| StoreError::impossible("species", &tray.species))?;
    let warnings = [
        (!facts.holds.is_empty(), Warning::Held),
        (tray.use_by.is_some_and(|end| now > end), Warning::PastUseBy),
        (stopped, Warning::LifeEnded),
    ];
    Ok(Card {
        cut_name: facts.cut.name,
        market_name: species.market_name,
        scientific_name: species.scientific_name,
        origins: lots.iter().map(origin).collect(),
        cut_on: write_day(shop.zone.day_of(tray.cut_at)),
        use_by: tray.use_by.map(|end| shop.zone.write(end)),
        was_frozen: tray.was_frozen(),
        warning: warnings.into_iter().find_map(|(applies, warning)| applies.then_some(warning)),
    })
}

fn origin(lot: &Lot) -> String {
    let (from, to) = (write_day(lot.catch.caught_from), write_day(lot.catch.caught_to));
    format!("{}, {}, caught or harvested {from} to {to}, lot {}", lot.catch.in_words(), lot.catch.country, lot.code)
}
