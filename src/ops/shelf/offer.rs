//! An offer: what may be known of one tray for sale, as JSON that is kept and handed out as it stands. The shape is documented with the
//! resource that hands it out, `web/api/live_stock.rs`.

use crate::domain::tray::Kind;
use crate::domain::verdict::{Facts, Outcome, judge};
use crate::ops::failure::Failure;
use crate::store::error::StoreError;
use crate::store::shelf::Shelved;
use crate::units::instant::{Instant, MICROS_PER_MINUTE};
use serde::Serialize;

#[derive(Debug, Serialize)]
struct Offer<'a> {
    tray_code: String,
    kind: &'static str,
    cut_code: &'a str,
    cut_name: &'a str,
    species_code: &'a str,
    place_code: &'a str,
    net_weight_g: i64,
    price_per_kg_cents: i64,
    list_price_per_kg_cents: i64,
    /// Of the whole block; a tub is sold by weight.
    #[serde(skip_serializing_if = "Option::is_none")]
    price_cents: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    markdown_reason: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    use_by: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    sell_until: Option<String>,
    verdict: &'static str,
    /// Codes of what stops it, the gravest first.
    stops: Vec<&'static str>,
}

/// A computed end moves a little with every reading: it is told in steps, rounded down, so that the shelf does not change every minute.
const STEP_MICROS: i64 = 15 * MICROS_PER_MINUTE;

fn told(until: Instant, printed: Option<Instant>) -> Instant {
    if printed == Some(until) { until } else { until.plus_micros(-until.micros().rem_euclid(STEP_MICROS)) }
}

/// What stands on the shelf of a tray that is for sale.
pub fn shelved(facts: &Facts, now: Instant) -> Result<Shelved, Failure> {
    let (verdict, tray) = (judge(facts, now), &facts.tray);
    let mut stops: Vec<&'static str> = verdict.stops.iter().map(|stop| stop.code.as_str()).collect();
    stops.dedup();
    let until = verdict.sell_until.map(|until| told(until, tray.use_by));
    let offer = Offer {
        tray_code: tray.code.to_string(),
        kind: tray.kind.as_str(),
        cut_code: &tray.cut,
        cut_name: &facts.cut.name,
        species_code: &tray.species,
        place_code: &tray.place,
        net_weight_g: tray.net.get(),
        price_per_kg_cents: tray.price.get(),
        list_price_per_kg_cents: tray.list_price.get(),
        price_cents: (tray.kind == Kind::Block).then(|| tray.price.for_weight(tray.net).get()),
        markdown_reason: tray.markdown_reason.as_deref(),
        use_by: tray.use_by.map(|at| at.to_string()),
        sell_until: until.map(|at| at.to_string()),
        verdict: verdict.outcome.as_str(),
        stops,
    };
    let text = serde_json::to_string(&offer).map_err(|error| StoreError::impossible("offer of a tray", error))?;
    Ok(Shelved {
        tray_id: tray.id,
        tray_code: offer.tray_code,
        cut_code: tray.cut.clone(),
        place_code: tray.place.clone(),
        sellable_g: if verdict.outcome == Outcome::Stop { 0 } else { tray.net.get() },
        offer: text,
        due_at: next_turn(facts, now).map(Instant::micros),
    })
}

/// The next moment at which time alone changes the judgement: just after the next end of a clock, or of the printed date.
fn next_turn(facts: &Facts, now: Instant) -> Option<Instant> {
    let ends = facts.life.clocks.iter().filter_map(|clock| clock.ends_at).chain(facts.tray.use_by);
    ends.filter(|end| *end >= now).min().map(|end| end.plus_micros(1))
}
