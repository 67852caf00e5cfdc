//! The stock as judged now: what the board, the stock list, picks and reviews all look at, so that they never disagree.

use super::failure::Failure;
use super::judge::{facts, facts_in, place_of, standings, tray_by_code};
use crate::domain::life::date_mark::Calendar;
use crate::domain::shop::Shop;
use crate::domain::verdict::{Facts, Verdict, judge};
use crate::store::trays::Filter;
use crate::store::{Reading, lots, snapshot};
use crate::units::instant::Instant;

/// One tray with its judgement and the codes of the lots in it.
#[derive(Debug, Clone)]
pub struct Judged {
    pub facts: Facts,
    pub verdict: Verdict,
    pub place_name: String,
    pub lot_codes: Vec<String>,
}

/// Trays of a filter, judged, in the order of their numbers from above one.
pub fn judged(
    reading: &mut Reading<'_>,
    shop: &Shop,
    now: Instant,
    filter: &Filter,
    above: i64,
    limit: i64,
) -> Result<Vec<Judged>, Failure> {
    let snapshot = snapshot::load(reading, filter, above, limit)?;
    let calendar = Calendar::new(shop.zone);
    let standings = standings(&snapshot, shop, &calendar, now);
    let mut all = Vec::with_capacity(snapshot.trays.len());
    for tray in &snapshot.trays {
        let facts = facts_in(&snapshot, shop, &standings, tray)?;
        let verdict = judge(&facts, now);
        let lots = snapshot.lots_on(tray).iter();
        let lot_codes = lots.filter_map(|lot| snapshot.lots.get(lot)).map(|(code, _)| code.clone()).collect();
        let place_name = snapshot.places.get(&tray.place).map(|p| p.name.clone()).unwrap_or_default();
        all.push(Judged { facts, verdict, place_name, lot_codes });
    }
    Ok(all)
}

/// Everything in stock, judged.
pub fn in_stock(reading: &mut Reading<'_>, shop: &Shop, now: Instant) -> Result<Vec<Judged>, Failure> {
    judged(reading, shop, now, &Filter { in_stock_only: true, ..Filter::default() }, 0, i64::MAX)
}

/// One tray by its code, judged, in stock or not.
pub fn one(reading: &mut Reading<'_>, shop: &Shop, now: Instant, code: &str) -> Result<Judged, Failure> {
    let tray = tray_by_code(reading, "tray_code", code)?;
    let place_name = place_of(reading, &tray)?.name;
    let lot_codes = lots::codes_of_tray(reading, tray.id)?;
    let facts = facts(reading, shop, tray, now)?;
    let verdict = judge(&facts, now);
    Ok(Judged { facts, verdict, place_name, lot_codes })
}
