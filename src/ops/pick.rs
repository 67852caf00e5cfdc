//! The pick list: which trays to take for a refill or an order, oldest or soonest ending first.

use super::board::judged;
use super::failure::{Failure, refuse};
use super::judge::{cut_by_code, place_by_code};
use crate::domain::picking::{Candidate, Picked, Rule, pick};
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::store::Reading;
use crate::store::trays::Filter;
use crate::units::instant::{Instant, MICROS_PER_HOUR};

/// Most trays on one list.
pub const COUNT_LIMIT: i64 = 200;

#[derive(Debug, Clone)]
pub struct PickDraft {
    pub cut: String,
    pub count: i64,
    pub rule: String,
    pub place: Option<String>,
    /// Least hours each tray can still be sold for.
    pub least_hours: i64,
}

/// Picks among the trays of a cut that can be sold now.
pub fn pick_list(reading: &mut Reading<'_>, shop: &Shop, now: Instant, draft: &PickDraft) -> Result<Picked, Failure> {
    let cut = cut_by_code(reading, "cut", &draft.cut)?;
    if !(1..=COUNT_LIMIT).contains(&draft.count) {
        return refuse(Code::InvalidValue, "count", format!("must be from 1 to {COUNT_LIMIT}"));
    }
    if !(0..=1_000).contains(&draft.least_hours) {
        return refuse(Code::InvalidValue, "least_hours", "must be from 0 to 1000");
    }
    let Some(rule) = Rule::parse(&draft.rule) else {
        return refuse(Code::InvalidValue, "rule", "must be fifo or fefo");
    };
    // A misspelt place must not look like an empty one.
    if let Some(place) = &draft.place {
        place_by_code(reading, "place", place)?;
    }
    let filter = Filter { in_stock_only: true, cut: Some(cut.code), place: draft.place.clone(), ..Filter::default() };
    let stock = judged(reading, shop, now, &filter, 0, i64::MAX)?;
    let candidates = stock.into_iter().filter(|j| j.verdict.stops.is_empty()).filter_map(|judged| {
        Some(Candidate {
            tray_id: judged.facts.tray.id,
            code: judged.facts.tray.code,
            place: judged.facts.tray.place.clone(),
            net_g: judged.facts.tray.net.get(),
            cut_at: judged.facts.tray.cut_at,
            sell_until: judged.verdict.sell_until?,
        })
    });
    let count = usize::try_from(draft.count).unwrap_or(0);
    Ok(pick(candidates.collect(), count, rule, draft.least_hours * MICROS_PER_HOUR, now))
}
