//! A scan: any code a scanner can send, or typed by hand, to a verdict.

use super::failure::{Failure, refuse};
use super::judge::facts;
use crate::domain::refusal::Code;
use crate::domain::scan_text;
use crate::domain::shop::Shop;
use crate::domain::verdict::{Facts, Verdict, judge};
use crate::store::sales::{self, Sale};
use crate::store::{Reading, trays};
use crate::units::instant::Instant;

/// What a scan found.
#[derive(Debug, Clone)]
pub struct Scanned {
    pub facts: Facts,
    pub verdict: Verdict,
    /// The sale the tray went out with, if it was sold.
    pub sold: Option<Sale>,
}

/// Reads and judges. Changes nothing.
pub fn scan(reading: &mut Reading<'_>, shop: &Shop, now: Instant, text: &str) -> Result<Scanned, Failure> {
    let code = scan_text::read(text, &shop.web_address)?;
    let Some(tray) = trays::find(reading, &code)? else {
        return refuse(Code::NotFound, "text", format!("there is no tray {code}"));
    };
    let facts = facts(reading, shop, tray, now)?;
    let mut verdict = judge(&facts, now);
    let sold = if facts.tray.in_stock() { None } else { sales::last_of_tray(reading, facts.tray.id)? };
    if let (Some(sale), Some(stop)) = (&sold, verdict.stops.iter_mut().find(|s| s.code == Code::AlreadySold)) {
        let at = Instant::from_micros(sale.at).map(|at| shop.zone.write(at)).unwrap_or_default();
        stop.reason = format!("sold {at} by {}", sale.sold_by);
    }
    Ok(Scanned { facts, verdict, sold })
}
