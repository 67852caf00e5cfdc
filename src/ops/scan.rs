//! A scan: any code a scanner can send, or typed by hand, to a verdict.

use super::failure::Failure;
use super::resolve::{Asked, judged};
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::domain::verdict::{Facts, Verdict};
use crate::store::sales::{self, Sale};
use crate::store::{Reading, lots};
use crate::units::instant::Instant;

/// What a scan found.
#[derive(Debug, Clone)]
pub struct Scanned {
    pub facts: Facts,
    pub verdict: Verdict,
    /// The sale the tray went out with, if it was sold.
    pub sold: Option<Sale>,
    pub lot_codes: Vec<String>,
}

/// Reads and judges. Changes nothing.
pub fn scan(reading: &mut Reading<'_>, shop: &Shop, now: Instant, text: &str) -> Result<Scanned, Failure> {
    let (facts, mut verdict) = judged(reading, shop, now, Asked { field: "text", text, absent: Code::NotFound })?;
    let sold = if facts.tray.in_stock() { None } else { sales::last_of_tray(reading, facts.tray.id)? };
    if let (Some(sale), Some(stop)) = (&sold, verdict.stops.iter_mut().find(|s| s.code == Code::AlreadySold)) {
        let at = Instant::from_micros(sale.at).map(|at| shop.zone.write(at)).unwrap_or_default();
        stop.reason = format!("sold {at} by {}", sale.sold_by);
    }
    let lot_codes = lots::codes_of_tray(reading, facts.tray.id)?;
    Ok(Scanned { facts, verdict, sold, lot_codes })
}
