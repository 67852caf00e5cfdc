//! Did it pay: what earlier decisions expected, and what came of the trays they looked at. What was wasted is `waste`'s.
//!
//! A decision is followed from its act on, by the ledger: what then lay on its trays, and came to them since, is what was sold, cooked, frozen,
//! thrown away, counted away, cut or poured on, and what is still there. Expectations reach until the last of the trays ends, so that a decision
//! is compared once every tray has ended or gone. It is no experiment: what was declined differs in more than the decision.

pub mod waste;

use super::failure::{Failure, refuse};
use super::terms;
use crate::domain::calibration::{Calibration, Outcome, calibrate};
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::domain::terms::Terms;
use crate::domain::tray::Kind;
use crate::store::Reading;
pub use crate::store::decisions::Expected;
use crate::store::reports::{self, Back, Moved, Sold, Watched};
pub use crate::store::reports::{Alone, Decided};
use crate::units::instant::Instant;
use chrono::{Datelike, Days, NaiveDate};
use std::collections::{BTreeMap, BTreeSet};

/// A report covers at most so many days.
pub const DAYS_LIMIT: u64 = 371;
/// Where nobody says which: the last so many days.
const USUAL_DAYS: u64 = 28;
const BINS: usize = 10;

/// Business days, both included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Range {
    pub from: NaiveDate,
    pub to: NaiveDate,
}

impl Range {
    /// Four weeks up to today.
    pub fn usual(shop: &Shop, now: Instant) -> Range {
        Range::until(shop.zone.day_of(now))
    }

    fn until(to: NaiveDate) -> Range {
        Range { from: to.checked_sub_days(Days::new(USUAL_DAYS - 1)).unwrap_or(to), to }
    }

    /// The days asked for, as far as somebody says.
    pub fn asked(shop: &Shop, now: Instant, from: Option<NaiveDate>, to: Option<NaiveDate>) -> Result<Range, Failure> {
        let usual = to.map_or_else(|| Range::usual(shop, now), Range::until);
        let Range { from, to } = Range { from: from.unwrap_or(usual.from), ..usual };
        if from > to {
            return refuse(Code::InvalidValue, "from", "must not be after `to`");
        }
        if from.checked_add_days(Days::new(DAYS_LIMIT)).is_some_and(|end| to >= end) {
            return refuse(Code::InvalidValue, "from", format!("a report covers at most {DAYS_LIMIT} days"));
        }
        Ok(Range { from, to })
    }
}

/// A week as ISO 8601 counts them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Week {
    pub year: i32,
    pub week: u32,
}

impl Week {
    pub fn of(day: NaiveDate) -> Week {
        let week = day.iso_week();
        Week { year: week.year(), week: week.week() }
    }
}

impl std::fmt::Display for Week {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}-W{:02}", self.year, self.week)
    }
}

/// What came of trays. Money in minor units; kitchen and waste at what they are worth and cost now, frozen as it was expected.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Came {
    /// Reversed sales are none.
    pub sold_g: i64,
    pub revenue_cents: i64,
    /// Of these sales, brought back by customers and thrown away.
    pub returned_g: i64,
    pub refund_cents: i64,
    pub kitchen_g: i64,
    pub kitchen_cents: i64,
    pub frozen_g: i64,
    pub frozen_cents: i64,
    pub wasted_g: i64,
    /// A cost, not negative.
    pub waste_cents: i64,
    /// Missing when it was counted; negative where more was found.
    pub counted_g: i64,
    /// Cut, or poured into another tub.
    pub passed_on_g: i64,
    /// Poured in since, or put back.
    pub came_in_g: i64,
    pub still_g: i64,
    /// Revenue less refunds, kitchen, freezer, less what waste cost.
    pub total_cents: i64,
}

/// Decisions together: those that are over are compared, the others only counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sum {
    pub over: usize,
    pub pending: usize,
    /// Of those that are over.
    pub expected: Expected,
    pub alone: Alone,
    pub came: Came,
}

/// One decision followed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Followed {
    pub decided: Decided,
    pub cut_name: String,
    pub week: Week,
    pub trays: usize,
    /// What then lay free on its trays: not promised to the kitchen by an earlier one.
    pub then_g: i64,
    pub over: bool,
    pub came: Came,
}

/// How a decision was taken, in the order in which it is told.
pub const WAYS: [&str; 3] = ["accepted", "changed", "declined"];

/// Decisions of one cut that were taken the same way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OfCut {
    pub cut: String,
    pub cut_name: String,
    pub way: String,
    pub sum: Sum,
}

/// A week's decisions: those followed as advised or changed, and those declined.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OfWeek {
    pub week: Week,
    pub taken: Sum,
    pub declined: Sum,
}

#[derive(Debug, Clone, PartialEq)]
pub struct AdviceReport {
    pub range: Range,
    /// One for each of [`WAYS`], in that order.
    pub ways: Vec<Sum>,
    pub cuts: Vec<OfCut>,
    pub weeks: Vec<OfWeek>,
    pub decisions: Vec<Followed>,
    /// Of the trays that were to be sold, of decisions that are over; of declined ones, as they were left alone.
    pub calibration: Calibration,
}

/// The report on the decisions of a range of days, as of now.
pub fn advice(reading: &mut Reading<'_>, shop: &Shop, now: Instant, range: Range) -> Result<AdviceReport, Failure> {
    let decided = reports::decided(reading, range.from, range.to)?;
    let record = Record::load(reading, &decided)?;
    let worth = terms::of_cuts(reading, shop)?;
    let names = reports::cut_names(reading)?;
    let mut decisions = Vec::with_capacity(decided.len());
    let mut forecasts = Vec::new();
    for decided in decided {
        let trays = record.trays_of(decided.id);
        let worth = Worth::of(worth.get(&decided.cut), &decided.expected);
        let mut came = Came::default();
        for tray in trays {
            came.add(&record.came_of(tray, &decided, &worth));
        }
        let over = trays.iter().all(|tray| is_over(tray, &decided, now));
        if over {
            forecasts.extend(trays.iter().filter_map(|tray| forecast(tray, &record.came_of(tray, &decided, &worth))));
        }
        let cut_name = names.get(&decided.cut).cloned().unwrap_or_default();
        let day = day(&decided.day).unwrap_or(range.from);
        let then_g = trays.iter().map(|tray| tray.then_g).sum();
        decisions.push(Followed { cut_name, week: Week::of(day), trays: trays.len(), then_g, over, came, decided });
    }
    let calibration = calibrate(&each_tray_once(forecasts), BINS);
    Ok(AdviceReport {
        range,
        ways: WAYS.iter().map(|way| Sum::of(decisions.iter().filter(|d| d.decided.way == *way))).collect(),
        cuts: by_cut(&decisions),
        weeks: by_week(&decisions),
        decisions,
        calibration,
    })
}

fn day(text: &str) -> Option<NaiveDate> {
    crate::units::zone::parse_day(text).ok()
}

/// Everything that happened to the trays of the decisions.
struct Record {
    watched: BTreeMap<i64, Vec<Watched>>,
    moved: BTreeMap<i64, Vec<Moved>>,
    sold: BTreeMap<i64, Vec<Sold>>,
    back: BTreeMap<i64, Vec<Back>>,
}

fn grouped<T>(rows: Vec<T>, key: impl Fn(&T) -> i64) -> BTreeMap<i64, Vec<T>> {
    let mut groups: BTreeMap<i64, Vec<T>> = BTreeMap::new();
    for row in rows {
        groups.entry(key(&row)).or_default().push(row);
    }
    groups
}

impl Record {
    fn load(reading: &mut Reading<'_>, decided: &[Decided]) -> Result<Record, Failure> {
        let ids: Vec<i64> = decided.iter().map(|d| d.id).collect();
        let watched = reports::watched(reading, &ids)?;
        let trays: BTreeSet<i64> = watched.iter().map(|tray| tray.tray_id).collect();
        let trays: Vec<i64> = trays.into_iter().collect();
        let first = decided.iter().map(|d| d.act_id).min().unwrap_or(0);
        Ok(Record {
            watched: grouped(watched, |tray| tray.decision_id),
            moved: grouped(reports::moved_since(reading, first, &trays)?, |line| line.tray_id.unwrap_or(0)),
            sold: grouped(reports::sold_since(reading, first, &trays)?, |line| line.tray_id),
            back: grouped(reports::back_of(reading, &trays)?, |line| line.tray_id),
        })
    }

    fn trays_of(&self, decision: i64) -> &[Watched] {
        self.watched.get(&decision).map_or(&[], Vec::as_slice)
    }

    /// What came of a tray after a decision.
    fn came_of(&self, tray: &Watched, decided: &Decided, worth: &Worth) -> Came {
        let mut came = Came::default();
        let moved = self.moved.get(&tray.tray_id).into_iter().flatten();
        for line in moved.filter(|line| line.act_id > decided.act_id) {
            came.moved(&line.kind, -line.grams);
        }
        // What was promised to the kitchen before came of that decision.
        let mut others = tray.promised_g;
        came.kitchen_g -= take(&mut others, came.kitchen_g);
        if came.sold_g < 0 {
            // A sale before the decision was put back after it.
            came.came_in_g -= came.sold_g;
            came.sold_g = 0;
        }
        let mut sales = BTreeSet::new();
        let sold = self.sold.get(&tray.tray_id).into_iter().flatten();
        for line in sold.filter(|line| line.act_id > decided.act_id) {
            came.revenue_cents += line.price_cents;
            sales.insert(line.sale_id);
        }
        for line in self.back.get(&tray.tray_id).into_iter().flatten().filter(|line| sales.contains(&line.sale_id)) {
            came.returned_g += line.grams;
            came.refund_cents += line.refund_cents;
        }
        let now_g = tray.now_g - take(&mut others, tray.now_g);
        if is_frozen(tray, decided) {
            came.frozen_g = now_g;
        } else {
            came.still_g = now_g;
        }
        came.valued(worth)
    }
}

/// As much of what is left as there is.
fn take(left: &mut i64, there: i64) -> i64 {
    let taken = (*left).min(there.max(0));
    *left -= taken;
    taken
}

impl Came {
    /// Grams that left a tray by an act of a kind, or came to it when negative.
    fn moved(&mut self, kind: &str, grams: i64) {
        match kind {
            "sell" | "replay_sale" | "reverse_sale" | "settle_exception" => self.sold_g += grams,
            "kitchen" => self.kitchen_g += grams,
            "waste" => self.wasted_g += grams,
            "count" => self.counted_g += grams,
            _ if grams > 0 => self.passed_on_g += grams,
            _ => self.came_in_g -= grams,
        }
    }

    fn valued(self, worth: &Worth) -> Came {
        let of = |grams: i64, cents_per_kg: i64| grams.saturating_mul(cents_per_kg) / 1_000;
        let kitchen_cents = of(self.kitchen_g, worth.kitchen);
        let frozen_cents = of(self.frozen_g, worth.freezer);
        let waste_cents = of(self.wasted_g, worth.waste);
        let total_cents = self.revenue_cents - self.refund_cents + kitchen_cents + frozen_cents - waste_cents;
        Came { kitchen_cents, frozen_cents, waste_cents, total_cents, ..self }
    }

    fn add(&mut self, other: &Came) {
        let Came { sold_g, revenue_cents, returned_g, refund_cents, kitchen_g, kitchen_cents, frozen_g, .. } = other;
        let Came { frozen_cents, wasted_g, waste_cents, counted_g, passed_on_g, came_in_g, still_g, .. } = other;
        self.sold_g += sold_g;
        self.revenue_cents += revenue_cents;
        self.returned_g += returned_g;
        self.refund_cents += refund_cents;
        self.kitchen_g += kitchen_g;
        self.kitchen_cents += kitchen_cents;
        self.frozen_g += frozen_g;
        self.frozen_cents += frozen_cents;
        self.wasted_g += wasted_g;
        self.waste_cents += waste_cents;
        self.counted_g += counted_g;
        self.passed_on_g += passed_on_g;
        self.came_in_g += came_in_g;
        self.still_g += still_g;
        self.total_cents += other.total_cents;
    }
}

/// What a kilogram is worth where it is not sold, in minor units.
struct Worth {
    kitchen: i64,
    freezer: i64,
    waste: i64,
}

impl Worth {
    fn of(terms: Option<&Terms>, expected: &Expected) -> Worth {
        // A freezer's worth is what the decision put on it; the terms may have changed since.
        let then = expected.frozen_cents.saturating_mul(1_000).checked_div(expected.frozen_g);
        let now = terms.and_then(|terms| terms.freezer_cents_per_kg).unwrap_or(0);
        Worth {
            kitchen: terms.map_or(0, |terms| terms.kitchen_cents_per_kg),
            freezer: then.unwrap_or(now),
            waste: terms.map_or(0, |terms| terms.waste_cents_per_kg),
        }
    }
}

/// In stock, frozen since the decision and not thawed again.
fn is_frozen(tray: &Watched, decided: &Decided) -> bool {
    let since = |at: Option<i64>| at.filter(|at| *at >= decided.at);
    tray.fate.is_none() && since(tray.frozen_at).is_some_and(|frozen| tray.thawed_at.is_none_or(|at| at < frozen))
}

fn is_over(tray: &Watched, decided: &Decided, now: Instant) -> bool {
    tray.fate.is_some() || is_frozen(tray, decided) || tray.ends_at <= now.micros()
}

/// A tray that was to be sold: how likely that was said to be, and what happened. A block is sold or not; of a tub a share is.
fn forecast(tray: &Watched, came: &Came) -> Option<(i64, Outcome)> {
    let to_be_sold = matches!(tray.course.as_str(), "keep" | "mark_down") && tray.then_g > 0;
    let share = came.sold_g as f64 / tray.then_g.max(1) as f64;
    let happened = match Kind::parse(&tray.kind) {
        Some(Kind::Block) => f64::from(u8::from(share >= 1.0)),
        _ => share.clamp(0.0, 1.0),
    };
    let outcome = Outcome { forecast: tray.sold_permille as f64 / 1_000.0, happened, weight: 1.0 };
    to_be_sold.then_some((tray.tray_id, outcome))
}

/// A tray that several decisions looked at tells one thing, not several.
fn each_tray_once(forecasts: Vec<(i64, Outcome)>) -> Vec<Outcome> {
    let mut times: BTreeMap<i64, f64> = BTreeMap::new();
    for (tray, _) in &forecasts {
        *times.entry(*tray).or_default() += 1.0;
    }
    let weighed =
        |(tray, outcome): (i64, Outcome)| Outcome { weight: 1.0 / times.get(&tray).unwrap_or(&1.0), ..outcome };
    forecasts.into_iter().map(weighed).collect()
}

impl Sum {
    fn of<'a>(decisions: impl Iterator<Item = &'a Followed>) -> Sum {
        let alone = Alone { sold_g: 0, revenue_cents: 0, wasted_g: 0, total_cents: 0 };
        let mut sum = Sum { over: 0, pending: 0, expected: Expected::default(), alone, came: Came::default() };
        for decision in decisions {
            if decision.over {
                sum.add(decision);
            } else {
                sum.pending += 1;
            }
        }
        sum
    }

    fn add(&mut self, decision: &Followed) {
        let (expected, alone) = (&decision.decided.expected, &decision.decided.alone);
        self.over += 1;
        self.came.add(&decision.came);
        self.expected.sold_g += expected.sold_g;
        self.expected.revenue_cents += expected.revenue_cents;
        self.expected.kitchen_g += expected.kitchen_g;
        self.expected.kitchen_cents += expected.kitchen_cents;
        self.expected.frozen_g += expected.frozen_g;
        self.expected.frozen_cents += expected.frozen_cents;
        self.expected.wasted_g += expected.wasted_g;
        self.expected.waste_cents += expected.waste_cents;
        self.expected.total_cents += expected.total_cents;
        self.alone.sold_g += alone.sold_g;
        self.alone.revenue_cents += alone.revenue_cents;
        self.alone.wasted_g += alone.wasted_g;
        self.alone.total_cents += alone.total_cents;
    }
}

fn by_cut(decisions: &[Followed]) -> Vec<OfCut> {
    let place = |way: &str| WAYS.iter().position(|known| *known == way).unwrap_or(WAYS.len());
    let keys: BTreeSet<(&str, usize)> =
        decisions.iter().map(|d| (d.decided.cut.as_str(), place(&d.decided.way))).collect();
    let of = |(cut, way): (&str, usize)| {
        let way = WAYS.get(way).copied().unwrap_or_default();
        let own = || decisions.iter().filter(|d| d.decided.cut == cut && d.decided.way == way);
        let cut_name = own().next().map(|d| d.cut_name.clone()).unwrap_or_default();
        OfCut { cut: cut.to_owned(), cut_name, way: way.to_owned(), sum: Sum::of(own()) }
    };
    keys.into_iter().map(of).collect()
}

fn by_week(decisions: &[Followed]) -> Vec<OfWeek> {
    let weeks: BTreeSet<Week> = decisions.iter().map(|d| d.week).collect();
    let of = |week: Week| {
        let (declined, taken): (Vec<&Followed>, Vec<&Followed>) =
            decisions.iter().filter(|d| d.week == week).partition(|d| d.decided.way == "declined");
        OfWeek { week, taken: Sum::of(taken.into_iter()), declined: Sum::of(declined.into_iter()) }
    };
    weeks.into_iter().map(of).collect()
}
