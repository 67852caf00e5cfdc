//! What there was against selling a tray at a moment that is past: the same judgement as at the counter, with the holds, the clocks and the
//! price of then. The rule is `domain::replay`'s.

use crate::domain::replay::{Against, Finding, findings};
use crate::domain::tray::Tray;
use crate::domain::verdict::{Facts, Stop, judge};
use crate::ops::failure::Failure;
use crate::store::{Reading, holds, issued_labels, stays};
use crate::units::instant::Instant;
use crate::units::money::PricePerKg;

/// What there is against the sale of a tray at `at`; `now` are the reasons against it as of today.
pub fn against(
    reading: &mut Reading<'_>,
    facts: Facts,
    now: Vec<Stop>,
    at: Instant,
) -> Result<(Tray, Vec<Finding>), Failure> {
    let tray = &facts.tray;
    // What is gone has one reason against it, whenever that was.
    let (held, held_since, began) = if tray.in_stock() {
        let began = stays::of_tray(reading, tray.id)?.first().map_or(at, |stay| stay.from);
        (holds::on_tray_at(reading, tray, at)?, holds::on_tray_since(reading, tray, at)?, began)
    } else {
        (Vec::new(), Vec::new(), at)
    };
    let facts = Facts { holds: held, ..facts };
    let then = judge(&facts, at).stops;
    Ok((facts.tray, findings(Against { now, then, held_since }, at, began)))
}

/// What a tray cost a kilogram at a moment: prices change by markdowns alone.
pub fn price(reading: &mut Reading<'_>, tray: &Tray, at: Instant) -> Result<PricePerKg, Failure> {
    Ok(issued_labels::price_before_markdowns_since(reading, tray.id, at)?.unwrap_or(tray.price))
}
