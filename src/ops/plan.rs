//! The plan of the next days: how much of each cut to cut or order, behind what is there. What it rests on is told with it; where something is
//! not known there is no plan, and it is said what is missing.

use super::board::{Judged, in_stock};
use super::failure::Failure;
use super::{demand, terms};
use crate::domain::advice::Demand;
use crate::domain::catalogue::Cut;
use crate::domain::demand::{Forecast, Pattern};
use crate::domain::hours::Slice;
use crate::domain::plan::{
    Cutting, Day, Money, Piece, Stock, chances, group_size, grouped, plan, project, wanted_before,
};
use crate::domain::shop::Shop;
use crate::domain::terms::Terms;
use crate::domain::tray::Kind;
use crate::domain::verdict::Outcome;
use crate::store::Reading;
use crate::store::catalogue::cut;
use crate::store::reports::{Made, made_since};
use crate::units::instant::{Instant, MICROS_PER_HOUR};
use chrono::{Days, NaiveDate};
use std::collections::BTreeMap;

/// Today and the days after it.
pub const DAYS: u64 = 3;
/// Weight, life and cost of a piece are those of the last so many trays of the cut, made within so many days.
const LAST_TRAYS: usize = 20;
const LAST_DAYS: i64 = 56;
/// Nothing is planned further ahead than this, however long a piece keeps.
const LONGEST_HOURS: i64 = 14 * 24;

/// Where the cost of a kilogram is from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CostBasis {
    /// A person said so of the cut.
    Said,
    /// What the ledger says the last trays of the cut cost.
    Ledger,
}

impl CostBasis {
    pub const fn as_str(self) -> &'static str {
        match self {
            CostBasis::Said => "said",
            CostBasis::Ledger => "ledger",
        }
    }
}

/// What becomes of a piece that is not sold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Leftover {
    Kitchen,
    Waste,
    /// The kitchen would pay more than the piece costs: the plan does not cut for the kitchen, and counts what is left as waste.
    KitchenNotCounted,
}

impl Leftover {
    pub const fn as_str(self) -> &'static str {
        match self {
            Leftover::Kitchen => "kitchen",
            Leftover::Waste => "waste",
            Leftover::KitchenNotCounted => "kitchen_not_counted",
        }
    }
}

/// What a plan cannot do without.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Missing {
    Cost,
    Life,
    Weight,
    Price,
    /// Closed on all the days.
    Hours,
}

impl Missing {
    pub const fn as_str(self) -> &'static str {
        match self {
            Missing::Cost => "cost",
            Missing::Life => "life",
            Missing::Weight => "weight",
            Missing::Price => "price",
            Missing::Hours => "hours",
        }
    }

    pub const fn in_words(self) -> &'static str {
        match self {
            Missing::Cost => "nobody said what a kilogram costs, and the ledger has no recent tray with a cost",
            Missing::Life => "no recent tray of it had a use-by, so that nobody knows how long a piece keeps",
            Missing::Weight => "no recent tray of it says what a piece weighs",
            Missing::Price => "it has no price",
            Missing::Hours => "the shop is closed on these days, or a piece would not keep until it opens",
        }
    }
}

/// What a piece is, and what it brings.
#[derive(Debug, Clone, PartialEq)]
pub struct NewPiece {
    pub grams: i64,
    /// From its cutting, in hours by the clock: the median of the last trays.
    pub life_hours: i64,
    pub price_per_kg_cents: i64,
    pub cost_per_kg_cents: i64,
    pub cost_basis: CostBasis,
    pub leftover: Leftover,
    pub money: Money,
    /// Trays that these are from.
    pub trays_seen: usize,
}

/// What to do on one day.
#[derive(Debug, Clone, PartialEq)]
pub struct OfDay {
    pub day: NaiveDate,
    /// Cut in one go for the whole life of a piece. None where the shop is closed, or nothing can be sold any more that day.
    pub cutting: Option<Cutting>,
    /// Where something is cut every day: enough until the next.
    pub day_by_day: usize,
    /// Asked for on that day, in pieces, as expected from now on.
    pub asked: f64,
    /// What becomes of the stock as it is, in whole grams, when as much is asked for as is expected.
    pub shelf: Day,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Planned {
    pub piece: NewPiece,
    pub days: Vec<OfDay>,
    /// Money that the cuttings of all days are expected to bring.
    pub profit: f64,
}

/// One cut: what is there, and what to do.
#[derive(Debug, Clone, PartialEq)]
pub struct CutPlan {
    pub cut: Cut,
    pub forecast: Forecast,
    /// For sale now.
    pub shelf_g: i64,
    pub shelf_pieces: usize,
    /// How many of these pieces are expected to sell before they end.
    pub shelf_sells: f64,
    pub planned: Result<Planned, Vec<Missing>>,
}

/// The plan for every cut that is sold over the counter, the most money at stake first.
pub fn plans(reading: &mut Reading<'_>, shop: &Shop, now: Instant) -> Result<Vec<CutPlan>, Failure> {
    let mut forecasts = demand::forecasts(reading, shop, now)?;
    let terms = terms::of_cuts(reading, shop)?;
    let made = made_since(reading, now.plus_micros(-LAST_DAYS * 24 * MICROS_PER_HOUR), LAST_TRAYS)?;
    let mut shelf: BTreeMap<String, Vec<Judged>> = BTreeMap::new();
    for judged in in_stock(reading, shop, now)?.into_iter().filter(|judged| judged.verdict.outcome != Outcome::Stop) {
        shelf.entry(judged.facts.cut.code.clone()).or_default().push(judged);
    }
    let ahead = Ahead::new(shop, now);
    let mut plans = Vec::new();
    for cut in cut::list(reading)?.into_iter().filter(|cut| cut.kind != Kind::Bulk) {
        let (Some(forecast), Some(terms)) = (forecasts.remove(&cut.code), terms.get(&cut.code)) else { continue };
        let made = made.get(&cut.code).map_or(&[][..], Vec::as_slice);
        let shelf = shelf.get(&cut.code).map_or(&[][..], Vec::as_slice);
        plans.push(of_cut(cut, forecast, terms, made, shelf, &ahead));
    }
    let stake = |plan: &CutPlan| plan.planned.as_ref().map_or(f64::NEG_INFINITY, |planned| planned.profit);
    plans.sort_by(|a, b| stake(b).total_cmp(&stake(a)).then_with(|| a.cut.code.cmp(&b.cut.code)));
    Ok(plans)
}

fn of_cut(cut: Cut, forecast: Forecast, terms: &Terms, made: &[Made], shelf: &[Judged], ahead: &Ahead) -> CutPlan {
    let asked = Demand::Believed(forecast.belief);
    let time = ahead.of(&forecast.pattern);
    let piece = piece(&cut, terms, made, shelf);
    let grams = piece.as_ref().map_or(terms.portion_g, |piece| piece.grams);
    let pieces = pieces(shelf, terms, &time);
    let shelf_pieces = pieces.iter().map(|(_, count)| count).sum();
    let open = |piece: &NewPiece| ahead.days.iter().map(|day| time.cutting(day, piece.life_hours)).collect();
    let cuttings: Vec<Option<Piece>> = piece.as_ref().map(open).unwrap_or_default();
    let last = pieces.last().map_or(0.0, |(until, _)| *until);
    let hours = cuttings.iter().flatten().map(|cutting| cutting.until).fold(last, f64::max);
    // Many small portions are planned in groups.
    let size = group_size(asked, shelf_pieces, hours);
    let (demand, stock) = (asked.in_units_of(size as f64), grouped(&pieces, size));
    let sells: f64 = chances(demand, &stock).iter().sum();
    let shelf_sells = (sells * size as f64).min(shelf_pieces as f64);
    let shelf_g = shelf.iter().map(|judged| judged.facts.tray.net.get()).sum();
    let planned = piece.and_then(|piece| {
        let open: Vec<Piece> = cuttings.iter().flatten().copied().collect();
        let Some(first) = open.first() else { return Err(vec![Missing::Hours]) };
        // What is there goes first even where it would keep longer than what is cut now.
        let stock: Vec<Piece> =
            stock.iter().map(|piece| Piece { until: piece.until.min(first.until), ..*piece }).collect();
        let money = of_group(piece.money, size);
        let mut found = plan(demand, &stock, &open, money).into_iter().map(|cutting| cutting.of_groups(size));
        let mut each = day_by_day(demand, stock, &open, &time, money).into_iter();
        let shelf_days = projected(shelf, ahead, &time, asked, grams);
        let of_day = |((day, cutting), (asked, shelf)): ((&AheadDay, &Option<Piece>), (f64, Day))| OfDay {
            day: day.day,
            cutting: cutting.and_then(|_| found.next()),
            day_by_day: cutting.and_then(|_| each.next()).unwrap_or(0).saturating_mul(size),
            asked,
            shelf,
        };
        let days: Vec<OfDay> = ahead.days.iter().zip(&cuttings).zip(shelf_days).map(of_day).collect();
        let profit = days.iter().filter_map(|day| day.cutting).map(|cutting| cutting.best.profit).sum();
        Ok(Planned { piece, days, profit })
    });
    CutPlan { cut, forecast, shelf_g, shelf_pieces, shelf_sells, planned }
}

fn of_group(money: Money, size: usize) -> Money {
    let of = |value: f64| value * size as f64;
    Money { price: of(money.price), cost: of(money.cost), left: of(money.left) }
}

/// How many to cut on each open day where something is cut on all of them, each behind what was cut before; on the last, enough for that day.
fn day_by_day(demand: Demand, stock: Vec<Piece>, open: &[Piece], time: &Time<'_>, money: Money) -> Vec<usize> {
    let end = time.ahead.days.last().map_or(0.0, |day| time.until(day.end));
    let next = open.iter().skip(1).map(|piece| piece.from).chain([end]);
    let mut queue = stock;
    let mut numbers = Vec::with_capacity(open.len());
    for (piece, before) in open.iter().zip(next) {
        let number = wanted_before(demand, &queue, *piece, before, money);
        queue.extend(std::iter::repeat_n(*piece, number));
        numbers.push(number);
    }
    numbers
}

/// What a new piece would be, or what is not known of it.
fn piece(cut: &Cut, terms: &Terms, made: &[Made], shelf: &[Judged]) -> Result<NewPiece, Vec<Missing>> {
    let mut missing = Vec::new();
    let grams = match cut.kind {
        Kind::Tub => Some(terms.portion_g),
        _ => mean(made.iter().map(|made| made.initial_g))
            .or_else(|| mean(shelf.iter().map(|judged| judged.facts.tray.net.get()))),
    };
    let lives = made.iter().filter_map(|made| Some(made.use_by?.since(made.cut_at) / MICROS_PER_HOUR));
    let life_hours = median(lives.filter(|hours| *hours > 0).collect());
    let from_ledger = || {
        let known = made.iter().filter_map(|made| Some((made.cost_cents?, made.initial_g)));
        let (cost, grams) = known.fold((0, 0), |(cost, grams), (c, g)| (cost + c, grams + g));
        (cost.saturating_mul(1_000)).checked_div(grams).filter(|cost| *cost > 0)
    };
    let said = terms.cost_cents_per_kg.map(|cost| (cost, CostBasis::Said));
    let cost = said.or_else(|| from_ledger().map(|cost| (cost, CostBasis::Ledger)));
    if grams.is_none_or(|grams| grams <= 0) {
        missing.push(Missing::Weight);
    }
    if life_hours.is_none() {
        missing.push(Missing::Life);
    }
    if cost.is_none() {
        missing.push(Missing::Cost);
    }
    if cut.price.get() == 0 {
        missing.push(Missing::Price);
    }
    let (Some(grams), Some(life_hours), Some((cost, cost_basis)), true) = (grams, life_hours, cost, missing.is_empty())
    else {
        return Err(missing);
    };
    let of = |per_kg: i64| per_kg as f64 * grams as f64 / 1_000.0;
    let (leftover, left) = leftover(terms, cost);
    Ok(NewPiece {
        grams,
        life_hours: life_hours.min(LONGEST_HOURS),
        price_per_kg_cents: cut.price.get(),
        cost_per_kg_cents: cost,
        cost_basis,
        leftover,
        money: Money { price: of(cut.price.get()), cost: of(cost), left: of(left) },
        trays_seen: made.len(),
    })
}

/// What a kilogram that is not sold is worth.
fn leftover(terms: &Terms, cost: i64) -> (Leftover, i64) {
    match terms.kitchen_cents_per_kg {
        _ if terms.kitchen_g_per_day == 0 => (Leftover::Waste, -terms.waste_cents_per_kg),
        kitchen if kitchen < cost => (Leftover::Kitchen, kitchen),
        _ => (Leftover::KitchenNotCounted, -terms.waste_cents_per_kg),
    }
}

fn mean(values: impl Iterator<Item = i64>) -> Option<i64> {
    let (sum, count) = values.fold((0_i64, 0), |(sum, count), value| (sum + value, count + 1));
    (sum + count / 2).checked_div(count)
}

/// The lower one of two in the middle.
fn median(mut values: Vec<i64>) -> Option<i64> {
    values.sort_unstable();
    values.get(values.len().checked_sub(1)? / 2).copied()
}

/// How many pieces of the stock end when, in the order in which they end. A tub is as many portions as it holds.
fn pieces(shelf: &[Judged], terms: &Terms, time: &Time<'_>) -> Vec<(f64, usize)> {
    let of = |judged: &Judged| {
        let tray = &judged.facts.tray;
        let count = match tray.kind {
            Kind::Tub => tray.net.get() / terms.portion_g.max(1),
            _ => 1,
        };
        Some((time.until(judged.verdict.sell_until?), usize::try_from(count).unwrap_or(0)))
    };
    let mut stock: Vec<(f64, usize)> = shelf.iter().filter_map(of).filter(|(until, _)| *until > 0.0).collect();
    stock.sort_by(|a, b| a.0.total_cmp(&b.0));
    stock
}

/// For each day: how many pieces are asked for, and what becomes of the stock in whole grams.
fn projected(shelf: &[Judged], ahead: &Ahead, time: &Time<'_>, demand: Demand, grams: i64) -> Vec<(f64, Day)> {
    let rate = match demand {
        Demand::Known(rate) => rate,
        Demand::Believed(belief) => belief.mean(),
    };
    let pieces: Vec<f64> = ahead.days.iter().map(|day| rate * (time.until(day.end) - time.until(day.start))).collect();
    // A day's grams to the nearest gram.
    let asked: Vec<i64> = pieces.iter().map(|pieces| (pieces * grams as f64).round() as i64).collect();
    let last = ahead.days.last().map(|day| day.end);
    let part = |judged: &Judged| {
        let end = judged.verdict.sell_until?;
        let before_end = ahead.days.iter().take_while(|day| day.open.is_none_or(|open| open < end)).count();
        let last_day = if last.is_some_and(|last| end <= last) { before_end.max(1) } else { usize::MAX };
        Some(Stock { grams: judged.facts.tray.net.get(), last_day })
    };
    let stock: Vec<Stock> = shelf.iter().filter_map(part).collect();
    pieces.into_iter().zip(project(&stock, &asked)).collect()
}

/// The days ahead and their opening time.
struct Ahead {
    slices: Vec<Slice>,
    days: Vec<AheadDay>,
}

struct AheadDay {
    day: NaiveDate,
    start: Instant,
    end: Instant,
    /// From when pieces cut that day can be sold: none where the shop is closed, or has closed already.
    open: Option<Instant>,
}

impl Ahead {
    fn new(shop: &Shop, now: Instant) -> Ahead {
        let longest = i64::try_from(DAYS).unwrap_or(0) * 24 + LONGEST_HOURS;
        let slices = shop.hours.slices(shop.zone, now, now.plus_micros(longest * MICROS_PER_HOUR));
        let today = shop.zone.day_of(now);
        let days = (0..DAYS).filter_map(|later| today.checked_add_days(Days::new(later)));
        let of = |day: NaiveDate| {
            let span = shop.hours.open_on(shop.zone, day).filter(|(_, close)| *close > now);
            AheadDay {
                day,
                start: shop.zone.start_of(day).max(now),
                end: shop.zone.end_of(day),
                open: span.map(|(open, _)| open.max(now)),
            }
        };
        Ahead { slices, days: days.map(of).collect() }
    }

    /// The same with a pattern of the week.
    fn of(&self, pattern: &Pattern) -> Time<'_> {
        let mut standard = 0.0;
        let mut ends = Vec::with_capacity(self.slices.len());
        for slice in &self.slices {
            standard += pattern.at(slice.weekday, slice.hour) * hours(slice.from, slice.to);
            ends.push(standard);
        }
        Time { ahead: self, ends }
    }
}

fn hours(from: Instant, to: Instant) -> f64 {
    to.since(from) as f64 / MICROS_PER_HOUR as f64
}

/// Opening time in standard hours from now.
struct Time<'a> {
    ahead: &'a Ahead,
    /// At the end of each slice.
    ends: Vec<f64>,
}

impl Time<'_> {
    fn until(&self, at: Instant) -> f64 {
        let over = self.ahead.slices.partition_point(|slice| slice.to <= at);
        let before = over.checked_sub(1).and_then(|last| self.ends.get(last)).copied().unwrap_or(0.0);
        let (Some(slice), Some(end)) = (self.ahead.slices.get(over), self.ends.get(over)) else { return before };
        if at <= slice.from {
            return before;
        }
        before + (end - before) * hours(slice.from, at) / hours(slice.from, slice.to)
    }

    /// When a piece cut at the opening of a day can be sold.
    fn cutting(&self, day: &AheadDay, life_hours: i64) -> Option<Piece> {
        let open = day.open?;
        let piece = Piece { from: self.until(open), until: self.until(open.plus_micros(life_hours * MICROS_PER_HOUR)) };
        (piece.until > piece.from).then_some(piece)
    }
}
