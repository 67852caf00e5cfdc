//! The lines of a sale: what the till says of each, weighed against the tray as it was judged. Loads and writes nothing: one sale by itself
//! and a group of sales go through here, so that they never disagree.

use super::{Charged, ChargedLine, LINE_LIMIT};
use crate::domain::refusal::{Code, Refusal};
use crate::domain::tray::{Kind, Tray};
use crate::domain::verdict::Verdict;
use crate::ops::failure::{Failure, refuse};
use crate::units::mass::Grams;
use crate::units::money::Cents;

/// A line that may be sold.
#[derive(Debug)]
pub struct Line {
    pub grams: Grams,
    pub price: Cents,
}

/// Weighs every line with `weigh` before anything is written. All lines' reasons are in the refusal.
pub fn every<D, L, F>(drafts: &[D], mut weigh: F, tray_id: impl Fn(&L) -> i64) -> Result<Vec<L>, Failure>
where
    F: FnMut(&D) -> Result<L, Failure>,
{
    if drafts.is_empty() || drafts.len() > LINE_LIMIT {
        return refuse(Code::InvalidValue, "lines", format!("must be 1 to {LINE_LIMIT}"));
    }
    let mut lines: Vec<L> = Vec::with_capacity(drafts.len());
    let mut refusals = Vec::new();
    for (index, draft) in drafts.iter().enumerate() {
        let at = format!("lines/{index}");
        match weigh(draft) {
            Ok(line) if lines.iter().any(|earlier| tray_id(earlier) == tray_id(&line)) => {
                let field = format!("{at}/tray_code");
                refusals.push(Refusal::new(Code::DuplicateLine, field, "stands on an earlier line"));
            }
            Ok(line) => lines.push(line),
            Err(Failure::Refused(refusal)) => refusals.push(refusal.under(&at)),
            Err(other) => return Err(other),
        }
    }
    match Refusal::join(refusals) {
        Some(refusal) => Err(refusal.into()),
        None => Ok(lines),
    }
}

/// One line of a tray as judged: how much goes, and what it costs. `explain` says more of a refusal by the verdict.
pub fn line(
    tray: &Tray,
    verdict: &Verdict,
    draft: &ChargedLine,
    explain: impl FnOnce(Refusal) -> Refusal,
) -> Result<Line, Refusal> {
    verdict.refuse("tray_code").map_err(explain)?;
    let grams = grams_of(tray, draft.line.grams)?;
    let price = tray.price.for_weight(grams);
    check_price(tray, price, draft.charged)?;
    Ok(Line { grams, price })
}

fn grams_of(tray: &Tray, asked: Option<i64>) -> Result<Grams, Refusal> {
    let no = |code, reason: String| Err(Refusal::new(code, "grams", reason));
    let grams = match (tray.kind, asked) {
        (Kind::Tub, None) => return no(Code::InvalidValue, "a tub is sold by weight: say how much".into()),
        (Kind::Tub, Some(grams)) => {
            Grams::new(grams).map_err(|e| Refusal::new(Code::InvalidValue, "grams", e.to_string()))?
        }
        (_, Some(grams)) if grams != tray.net.get() => {
            return no(Code::WrongKind, format!("a block is sold whole: {} g", tray.net.get()));
        }
        _ => tray.net,
    };
    if grams.is_zero() {
        return no(Code::InvalidValue, "must be above zero".into());
    }
    if grams > tray.net {
        return no(Code::InsufficientStock, format!("the tub holds {} g", tray.net.get()));
    }
    Ok(grams)
}

/// The till must not have charged anything else than the tray costs at this moment.
fn check_price(tray: &Tray, price: Cents, charged: Charged) -> Result<(), Refusal> {
    let differs = |field: &str, charged: Option<i64>, costs: i64| {
        charged.filter(|charged| *charged != costs).map(|charged| {
            Refusal::new(Code::PriceDiffers, field, format!("the till charged {charged} minor units, it costs {costs}"))
        })
    };
    let found = [
        differs("price_per_kg_cents", charged.price_per_kg_cents, tray.price.get()),
        differs("price_cents", charged.price_cents, price.get()),
    ];
    Refusal::join(found.into_iter().flatten().collect()).map_or(Ok(()), Err)
}

/// What all lines cost together.
pub fn total(prices: impl Iterator<Item = Cents>) -> Result<Cents, Refusal> {
    let total: i64 = prices.map(Cents::get).sum();
    Cents::new(total).map_err(|e| Refusal::new(Code::InvalidValue, "lines", e.to_string()))
}
