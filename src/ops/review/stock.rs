//! What of the stock a review is about: trays for sale, cut by cut and the oldest first; and beside them what must not be made cheaper: on
//! hold, near the end of its time in the warm, over, or laid aside for a customer.

use crate::domain::catalogue::Cut;
use crate::domain::life::clocks::Clock;
use crate::domain::picking::list::Purpose;
use crate::domain::refusal::Code;
use crate::domain::tray::{Kind, Tray};
use crate::domain::verdict::{Facts, Outcome};
use crate::ops::board::Judged;
use crate::store::errands::Errand;
use crate::store::picks::Standing;
use crate::units::instant::Instant;
use std::collections::BTreeMap;

/// What ends a tray.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Limit {
    Clock(Clock),
    /// The use-by on its label, which is before the end of every clock.
    Label,
}

impl Limit {
    pub const fn as_str(self) -> &'static str {
        match self {
            Limit::Clock(clock) => clock.as_str(),
            Limit::Label => "use_by",
        }
    }
}

/// A tray for sale with an end.
#[derive(Debug, Clone)]
pub struct OnCounter {
    pub tray: Tray,
    /// Of its weight, what is not promised to the kitchen.
    pub free_g: i64,
    pub end: Instant,
    pub limit: Limit,
    pub place_name: String,
}

/// The trays of one cut in the order in which they are issued: the first to end first.
#[derive(Debug, Clone)]
pub struct Lot {
    pub cut: Cut,
    pub trays: Vec<OnCounter>,
}

/// Why a tray is no matter of price.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Apart {
    /// Over: take it off the counter.
    Ended,
    /// A person stopped it.
    Held,
    /// Its time above the cold limit ends first: it ends in a hold, never in a lower price.
    Exposure,
    /// Something else stops its sale, such as a label that promises too much.
    Stopped,
    /// Laid aside for a customer's order.
    Reserved,
}

impl Apart {
    pub const fn as_str(self) -> &'static str {
        match self {
            Apart::Ended => "take_off",
            Apart::Held => "on_hold",
            Apart::Exposure => "exposure",
            Apart::Stopped => "stopped",
            Apart::Reserved => "reserved",
        }
    }
}

/// A tray beside the review, and why.
#[derive(Debug, Clone)]
pub struct Aside {
    pub judged: Judged,
    pub why: Apart,
    pub reason: String,
}

/// What is promised to the kitchen or the freezer already.
#[derive(Debug, Clone, Default)]
pub struct Promised {
    kitchen: BTreeMap<i64, Option<i64>>,
    freezer: Vec<i64>,
}

impl Promised {
    pub fn of(errands: &[Errand]) -> Promised {
        let mut promised = Promised::default();
        for errand in errands {
            if errand.kind == "freeze" {
                promised.freezer.push(errand.tray_id);
                continue;
            }
            let grams = promised.kitchen.entry(errand.tray_id).or_insert(Some(0));
            *grams = grams.zip(errand.grams).map(|(before, more)| before + more);
        }
        promised
    }

    /// What of a tray is still to be sold.
    fn free_g(&self, tray: &Tray) -> i64 {
        if self.freezer.contains(&tray.id) {
            return 0;
        }
        match self.kitchen.get(&tray.id) {
            None => tray.net.get(),
            Some(None) => 0,
            Some(Some(grams)) => (tray.net.get() - grams).max(0),
        }
    }

    /// What of these trays the kitchen is still to get.
    pub fn kitchen_g(&self, trays: &[&Tray]) -> i64 {
        trays
            .iter()
            .filter(|tray| self.kitchen.contains_key(&tray.id))
            .map(|tray| tray.net.get() - self.free_g(tray))
            .sum()
    }
}

/// The pick lists that keep trays for customers, by tray.
#[derive(Debug, Clone, Default)]
pub struct Reserved(BTreeMap<i64, i64>);

impl Reserved {
    /// What orders laid aside, or are about to, as long as they keep it.
    pub fn of(standing: &[Standing], now: Instant) -> Reserved {
        let keeps =
            |on: &&Standing| on.list.purpose == Purpose::Order && on.list.until().is_some_and(|until| until >= now);
        Reserved(standing.iter().filter(keeps).map(|on| (on.tray_id, on.list_id)).collect())
    }

    fn apart(&self, tray: i64) -> Option<(Apart, String)> {
        self.0.get(&tray).map(|list| (Apart::Reserved, format!("laid aside for an order, pick list {list}")))
    }
}

/// Parts the stock: what a review may speak of, and what it may not. Frozen and bulk trays are in neither.
pub fn part(stock: Vec<Judged>, promised: &Promised, reserved: &Reserved) -> (Vec<Lot>, Vec<Aside>) {
    let (mut lots, mut aside) = (BTreeMap::<String, Lot>::new(), Vec::new());
    for judged in stock {
        let facts = &judged.facts;
        if facts.tray.kind == Kind::Bulk || facts.place_frozen {
            continue;
        }
        match apart(&judged).or_else(|| reserved.apart(judged.facts.tray.id)) {
            Some((why, reason)) => aside.push(Aside { judged, why, reason }),
            None => {
                let free_g = promised.free_g(&facts.tray);
                let Some(end) = facts.sell_until().filter(|_| free_g > 0) else { continue };
                let limit = limit_of(facts, end);
                let lot = lots
                    .entry(facts.cut.code.clone())
                    .or_insert_with(|| Lot { cut: facts.cut.clone(), trays: Vec::new() });
                let Judged { facts, place_name, .. } = judged;
                lot.trays.push(OnCounter { tray: facts.tray, free_g, end, limit, place_name });
            }
        }
    }
    let mut lots: Vec<Lot> = lots.into_values().collect();
    for lot in &mut lots {
        lot.trays.sort_by_key(|t| (t.end, t.tray.cut_at, t.tray.id));
    }
    aside.sort_by_key(|a| (a.why, a.judged.facts.sell_until(), a.judged.facts.tray.id));
    (lots, aside)
}

/// What ends the life of a tray at its end; the label's date where no clock ends as early.
fn limit_of(facts: &Facts, end: Instant) -> Limit {
    match facts.life.limiting.filter(|_| facts.life.ends_at.is_some_and(|life| life <= end)) {
        Some(clock) => Limit::Clock(clock),
        None => Limit::Label,
    }
}

/// Why a tray is not to be made cheaper; none when it may be.
fn apart(judged: &Judged) -> Option<(Apart, String)> {
    let over = [Code::ExposureReached, Code::PastUseBy, Code::LifeEnded];
    let stops = &judged.verdict.stops;
    let said = |why, stop: Option<&crate::domain::verdict::Stop>| {
        Some((why, stop.map(|stop| stop.reason.clone()).unwrap_or_default()))
    };
    if let Some(stop) = stops.iter().find(|stop| over.contains(&stop.code)) {
        return said(Apart::Ended, Some(stop));
    }
    if let Some(stop) = stops.iter().find(|stop| stop.code == Code::OnHold) {
        return said(Apart::Held, Some(stop));
    }
    if judged.verdict.outcome == Outcome::Stop {
        return said(Apart::Stopped, stops.first());
    }
    if judged.facts.life.limiting == Some(Clock::Exposure) {
        return Some((Apart::Exposure, "its time above the cold limit ends before everything else".to_owned()));
    }
    None
}
