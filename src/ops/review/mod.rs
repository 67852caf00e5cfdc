//! The morning review: for each cut the best that can be done with what lies there, where it is worth a word; what must not be made cheaper;
//! and what was decided already today. Deciding is in `decide`, taking it back in `undo`.

pub mod decide;
pub mod explanation;
mod otherwise;
pub mod settled;
pub mod stock;
pub mod undo;
pub mod weigh;
pub mod words;

use super::board::judged;
use super::carry::Since;
use super::failure::Failure;
use super::{demand, terms};
use crate::domain::demand::Forecast;
use crate::domain::shop::Shop;
use crate::domain::terms::Terms;
use crate::store::trays::Filter;
use crate::store::{Reading, decisions, errands, picks};
use crate::units::instant::Instant;
use crate::units::money::PricePerKg;
use settled::{Standing, settled};
use std::collections::{BTreeMap, BTreeSet};
use stock::{Aside, OnCounter, Promised, Reserved, part};
use weigh::Weighed;

/// What stands on a markdown label as its reason.
pub const MARKDOWN_REASON: &str = "Best used soon";

/// What is done with a tray.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Course {
    Keep,
    MarkDown,
    /// All of it.
    Kitchen,
    Freeze,
}

impl Course {
    pub const fn as_str(self) -> &'static str {
        match self {
            Course::Keep => "keep",
            Course::MarkDown => "mark_down",
            Course::Kitchen => "kitchen",
            Course::Freeze => "freeze",
        }
    }
}

/// One tray of the question and what becomes of it.
#[derive(Debug, Clone)]
pub struct Advised {
    pub on: OnCounter,
    pub course: Course,
    /// What it is to cost from now on.
    pub price: PricePerKg,
    /// What of it goes to the kitchen; of a tub it may be a part.
    pub kitchen_g: i64,
    /// How likely it is sold before its end; of a tub, the share that is.
    pub sold_permille: i64,
}

/// What a line of the table stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum What {
    Price(PricePerKg),
    Kitchen,
    Freezer,
    /// Nothing now, the best at later reviews.
    Wait,
    /// Nothing now and never.
    Nothing,
}

impl What {
    pub const fn as_str(self) -> &'static str {
        match self {
            What::Price(_) => "price",
            What::Kitchen => "kitchen",
            What::Freezer => "freezer",
            What::Wait => "wait",
            What::Nothing => "nothing",
        }
    }
}

/// What is expected of one choice: whole grams and minor units, units to a tenth.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    pub what: What,
    pub advised: bool,
    /// Trays whose price falls.
    pub lowered: usize,
    /// Tray codes with the grams that go to the kitchen.
    pub kitchen: Vec<(String, i64)>,
    pub freeze: Vec<String>,
    pub sold_today_units: f64,
    pub sold_today_g: i64,
    pub left_tonight_units: f64,
    pub left_tonight_g: i64,
    pub sells_out_today_permille: i64,
    /// Until the last of it has ended.
    pub whole: decisions::Expected,
}

/// What the advice rests on, to be shown beside it.
#[derive(Debug, Clone, PartialEq)]
pub struct Assumptions {
    /// Units an average opening hour at the list price: expected, and between which it lies in four of five cases.
    pub units_per_hour: f64,
    pub units_per_hour_low: f64,
    pub units_per_hour_high: f64,
    pub elasticity: f64,
    pub elasticity_low: f64,
    pub elasticity_high: f64,
    /// Whether the same is best where demand answers to the price so little, or so much.
    pub same_when_low: bool,
    pub same_when_high: bool,
    /// Opening hours until the first tray ends.
    pub hours_left: f64,
    pub kitchen_left_g: i64,
    pub terms: Terms,
    pub forecast: Forecast,
}

/// Advice for one cut.
#[derive(Debug, Clone)]
pub struct Proposal {
    pub cut_code: String,
    pub cut_name: String,
    /// All trays of the cut that are for sale, the first to end first.
    pub trays: Vec<Advised>,
    /// What the price falls to, for those whose course says so.
    pub price: Option<PricePerKg>,
    /// The line of the table that is advised.
    pub best: Row,
    pub wait: Row,
    pub nothing: Row,
    /// Every line, in the order of the table.
    pub rows: Vec<Row>,
    pub assumptions: Assumptions,
    pub sentence: String,
    pub basis: String,
    /// Why it is asked again although the cut was decided today.
    pub again: Option<String>,
}

impl Proposal {
    /// The tray that most hangs on: the first to end.
    pub fn cause(&self) -> Option<&OnCounter> {
        self.trays.first().map(|a| &a.on)
    }

    pub const fn gain_over_nothing_cents(&self) -> i64 {
        self.best.whole.total_cents - self.nothing.whole.total_cents
    }

    pub const fn gain_over_waiting_cents(&self) -> i64 {
        self.best.whole.total_cents - self.wait.whole.total_cents
    }
}

/// The whole review.
#[derive(Debug, Clone)]
pub struct Morning {
    /// The most money at stake first.
    pub proposals: Vec<Proposal>,
    pub aside: Vec<Aside>,
    /// Decisions of today, undone ones too, in the order they were taken.
    pub decided: Vec<decisions::Decision>,
    /// The day as a whole, over all cuts that were looked at.
    pub day: Day,
}

/// What the day comes to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Day {
    /// Cuts with something for sale.
    pub cuts: i64,
    pub trays: i64,
    /// Everything that is advised is done.
    pub done: decisions::Expected,
    /// Nothing is done, now or later.
    pub alone: decisions::Expected,
}

/// Everything there is to say this morning.
pub fn morning(reading: &mut Reading<'_>, shop: &Shop, now: Instant) -> Result<Morning, Failure> {
    let Looked { weighed, aside, decided, standing } = look(reading, shop, now, None)?;
    let mut morning = Morning { proposals: Vec::new(), aside, decided, day: Day::default() };
    for weighed in weighed {
        add(&mut morning, shop, weighed, &standing);
    }
    morning.proposals.sort_by_key(|p| (-p.gain_over_nothing_cents(), p.cut_code.clone()));
    Ok(morning)
}

/// The stock as a review looks at it.
pub(super) struct Looked {
    pub weighed: Vec<Weighed>,
    pub aside: Vec<Aside>,
    /// Decisions of today, undone ones too.
    pub decided: Vec<decisions::Decision>,
    /// The newest of each cut that was not taken back.
    pub standing: BTreeMap<String, Standing>,
}

/// Weighs all cuts, or some.
pub(super) fn look(
    reading: &mut Reading<'_>,
    shop: &Shop,
    now: Instant,
    wanted: Option<&BTreeSet<&str>>,
) -> Result<Looked, Failure> {
    let one = wanted.filter(|cuts| cuts.len() == 1).and_then(|cuts| cuts.first());
    let filter = Filter { in_stock_only: true, cut: one.map(|cut| (*cut).to_owned()), ..Filter::default() };
    let stock = judged(reading, shop, now, &filter, 0, i64::MAX)?;
    let mut promised = errands::open(reading)?;
    promised.retain(|errand| Since::of(shop, now, errand) == Since::Today);
    let promised = Promised::of(&promised);
    let used = kitchen_used(reading, shop, now, &stock, &promised)?;
    let reserved = Reserved::of(&picks::standing(reading)?, now);
    let (lots, aside) = part(stock, &promised, &reserved);
    let decided = decisions::of_day(reading, &shop.zone.day_of(now).to_string())?;
    let standing = standing(reading, &decided)?;
    let forecasts = demand::forecasts(reading, shop, now)?;
    let terms = terms::of_cuts(reading, shop)?;
    let mut weighed = Vec::new();
    for lot in lots.into_iter().filter(|lot| wanted.is_none_or(|cuts| cuts.contains(lot.cut.code.as_str()))) {
        let (Some(forecast), Some(terms)) = (forecasts.get(&lot.cut.code), terms.get(&lot.cut.code)) else { continue };
        let used_g = used.get(&lot.cut.code).copied().unwrap_or(0);
        weighed.extend(weigh::weigh(shop, lot, terms, forecast, used_g, now));
    }
    Ok(Looked { weighed, aside, decided, standing })
}

/// Counts a cut in, and takes its advice up where it is worth a word and was not decided already.
fn add(morning: &mut Morning, shop: &Shop, weighed: Weighed, standing: &BTreeMap<String, Standing>) {
    let Weighed { mut proposal, worth, .. } = weighed;
    let day = &mut morning.day;
    day.cuts += 1;
    day.trays += i64::try_from(proposal.trays.len()).unwrap_or(0);
    day.alone = sum(day.alone, proposal.nothing.whole);
    if !worth {
        day.done = sum(day.done, proposal.wait.whole);
        return;
    }
    match standing.get(&proposal.cut_code).map(|standing| settled(&proposal, standing, shop.zone)) {
        // What was decided is as it is now: waiting, for what is still advised was declined.
        Some(Ok(())) => day.done = sum(day.done, proposal.wait.whole),
        why => {
            day.done = sum(day.done, proposal.best.whole);
            proposal.again = why.and_then(Result::err);
            morning.proposals.push(proposal);
        }
    }
}

const fn sum(a: decisions::Expected, b: decisions::Expected) -> decisions::Expected {
    decisions::Expected {
        sold_g: a.sold_g + b.sold_g,
        revenue_cents: a.revenue_cents + b.revenue_cents,
        kitchen_g: a.kitchen_g + b.kitchen_g,
        kitchen_cents: a.kitchen_cents + b.kitchen_cents,
        frozen_g: a.frozen_g + b.frozen_g,
        frozen_cents: a.frozen_cents + b.frozen_cents,
        wasted_g: a.wasted_g + b.wasted_g,
        waste_cents: a.waste_cents + b.waste_cents,
        total_cents: a.total_cents + b.total_cents,
    }
}

/// The newest decision of each cut that was not taken back.
fn standing(reading: &mut Reading<'_>, decided: &[decisions::Decision]) -> Result<BTreeMap<String, Standing>, Failure> {
    let mut standing = BTreeMap::new();
    for decision in decided.iter().filter(|d| d.undone.is_none()) {
        let trays = decisions::trays_of(reading, decision.id)?;
        standing.insert(decision.cut.clone(), Standing { decision: decision.clone(), trays });
    }
    Ok(standing)
}

/// What the kitchen has taken of each cut since midnight, with what it is promised.
fn kitchen_used(
    reading: &mut Reading<'_>,
    shop: &Shop,
    now: Instant,
    stock: &[super::board::Judged],
    promised: &Promised,
) -> Result<BTreeMap<String, i64>, Failure> {
    let mut used = errands::kitchen_took(reading, shop.zone.start_of(shop.zone.day_of(now)))?;
    let mut of_cut: BTreeMap<&str, Vec<&crate::domain::tray::Tray>> = BTreeMap::new();
    for judged in stock {
        of_cut.entry(&judged.facts.tray.cut).or_default().push(&judged.facts.tray);
    }
    for (cut, trays) in of_cut {
        *used.entry(cut.to_owned()).or_insert(0) += promised.kitchen_g(&trays);
    }
    Ok(used)
}
