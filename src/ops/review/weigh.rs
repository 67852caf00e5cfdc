//! One cut weighed: the question put to the model, its answer brought back to trays, and what it rests on.

use super::settled::basis;
use super::stock::{Lot, OnCounter};
use super::words;
use super::{Advised, Assumptions, Course, Proposal, Row, What};
use crate::domain::advice::program::{Leaning, solve};
use crate::domain::advice::question::{Asked, Cut, Freezing, Tray, ask};
use crate::domain::advice::stages::Days;
use crate::domain::advice::{Choice, Flow, Outlook, Problem, Solution, worth};
use crate::domain::demand::Forecast;
use crate::domain::shop::Shop;
use crate::domain::terms::{CutTerms, Terms};
use crate::store::decisions::Expected;
use crate::units::instant::{Instant, MICROS_PER_HOUR};
use crate::units::money::PricePerKg;

/// Advice, and whether it is worth a word.
pub struct Weighed {
    pub proposal: Proposal,
    pub worth: bool,
    pub lot: Lot,
    pub problem: Problem,
    pub solution: Solution,
}

/// Weighs one cut; none where there is nothing to weigh.
pub fn weigh(
    shop: &Shop,
    mut lot: Lot,
    terms: &Terms,
    forecast: &Forecast,
    kitchen_taken_g: i64,
    now: Instant,
) -> Option<Weighed> {
    let terms = &at_list_of(shop, &lot, terms);
    let asked = question(shop, &lot, terms, forecast, kitchen_taken_g, now)?;
    in_order_of(&mut lot, &asked);
    let problem = asked.problem;
    let solution = solve(&problem);
    let worth = worth(&solution, shop.terms.least_gain_cents, shop.terms.least_gain_permille);
    let trays = advised(&lot, &problem, &solution.best);
    let rows = table(&lot, &problem, &solution);
    let row = |what, outlook: &Outlook| row(&lot, &problem, what, outlook, outlook.choice == solution.best.choice);
    let price = solution.best.choice.price.and_then(|step| price_of(&problem, step));
    let best = row(what(&problem, solution.best.choice), &solution.best);
    let (wait, nothing) = (row(What::Wait, &solution.wait), row(What::Nothing, &solution.nothing));
    // Only what is spoken of needs to be looked at from both sides.
    let leaning = worth.then(|| Leaning::of(&problem, forecast.elasticity.low, forecast.elasticity.high));
    let same = |choice: fn(Leaning) -> Choice| leaning.is_none_or(|leaning| choice(leaning) == solution.best.choice);
    let first_end = lot.trays.first().map_or(now, |t| t.end);
    let assumptions = Assumptions {
        units_per_hour: forecast.belief.mean(),
        units_per_hour_low: forecast.belief.quantile(0.1),
        units_per_hour_high: forecast.belief.quantile(0.9),
        elasticity: forecast.elasticity.at_list,
        elasticity_low: forecast.elasticity.low,
        elasticity_high: forecast.elasticity.high,
        same_when_low: same(|leaning| leaning.low),
        same_when_high: same(|leaning| leaning.high),
        hours_left: opening_hours(shop, now, first_end),
        kitchen_left_g: (terms.kitchen_g_per_day - kitchen_taken_g).max(0),
        terms: terms.clone(),
        forecast: forecast.clone(),
    };
    let mut proposal = Proposal {
        basis: basis(&lot.cut.code, &trays),
        cut_code: lot.cut.code.clone(),
        cut_name: lot.cut.name.clone(),
        trays,
        price: price.filter(|_| best.lowered > 0),
        best,
        wait,
        nothing,
        rows,
        assumptions,
        sentence: String::new(),
        again: None,
    };
    proposal.sentence = words::sentence(shop, &proposal);
    Some(Weighed { proposal, worth, lot, problem, solution })
}

/// The terms with the ladder of the trays' own list price, that of the first to end. The catalogue's may have changed since they were made:
/// what demand is learned from is a price as a share of the tray's own, and so is what its label takes off.
fn at_list_of(shop: &Shop, lot: &Lot, terms: &Terms) -> Terms {
    let first = lot.trays.iter().min_by_key(|on| (on.end, on.tray.id));
    let list = first.map(|on| on.tray.list_price).filter(|list| list.get() > 0);
    let prices = list.map(|list| shop.terms.of(&CutTerms::default(), list).prices);
    Terms { prices: prices.unwrap_or_else(|| terms.prices.clone()), ..terms.clone() }
}

/// The question to the model; none without a price to begin from.
fn question(
    shop: &Shop,
    lot: &Lot,
    terms: &Terms,
    forecast: &Forecast,
    kitchen_taken_g: i64,
    now: Instant,
) -> Option<Asked> {
    if terms.prices.first().is_none_or(|list| list.get() == 0) {
        return None;
    }
    let tray = |on: &OnCounter| Tray {
        id: on.tray.id,
        kind: on.tray.kind,
        net_g: on.free_g,
        price: on.tray.price,
        ends: on.end,
        // Nor is a tray frozen of which the kitchen is still to get a part.
        freezing: match on.tray.was_frozen() || on.free_g < on.tray.net.get() {
            true => Freezing::Refused,
            false => Freezing::Allowed,
        },
    };
    let trays: Vec<Tray> = lot.trays.iter().map(tray).collect();
    let days = Days {
        now,
        zone: shop.zone,
        hours: &shop.hours,
        review_times: &shop.terms.review_times,
        pattern: &forecast.pattern,
    };
    ask(&Cut { days, terms, forecast, kitchen_taken_g, trays: &trays })
}

/// The trays as the question counts them; those it is not about are left out.
fn in_order_of(lot: &mut Lot, asked: &Asked) {
    let place = |on: &OnCounter| asked.trays.iter().position(|tray| tray.id == on.tray.id);
    lot.trays.retain(|on| place(on).is_some());
    lot.trays.sort_by_key(place);
}

/// The opening hours between two moments.
fn opening_hours(shop: &Shop, from: Instant, to: Instant) -> f64 {
    let micros: i64 = shop.hours.slices(shop.zone, from, to).iter().map(|slice| slice.to.since(slice.from)).sum();
    micros as f64 / MICROS_PER_HOUR as f64
}

fn price_of(problem: &Problem, step: usize) -> Option<PricePerKg> {
    problem.prices.get(step).and_then(|cents| PricePerKg::new(*cents).ok())
}

/// What a choice does to each tray, and how likely it is then sold.
pub fn advised(lot: &Lot, problem: &Problem, outlook: &Outlook) -> Vec<Advised> {
    let choice = outlook.choice;
    let first_frozen = problem.units.len().saturating_sub(choice.freeze);
    let price = choice.price.and_then(|step| price_of(problem, step));
    let mut all = Vec::with_capacity(lot.trays.len());
    for (index, on) in lot.trays.iter().enumerate() {
        let units = || problem.units.iter().enumerate().filter(move |(_, unit)| unit.tray == index);
        let grams: i64 = units().map(|(_, unit)| unit.grams).sum();
        let kitchen_g: i64 = units().filter(|(n, _)| *n < choice.kitchen).map(|(_, unit)| unit.grams).sum();
        let frozen = units().next().is_some_and(|(n, _)| n >= first_frozen);
        let reached = units().any(|(n, _)| n < choice.reach);
        let lowered = price.filter(|price| reached && *price < on.tray.price && !frozen && kitchen_g < grams);
        let likely: f64 =
            units().map(|(n, unit)| outlook.sold.get(n).copied().unwrap_or(0.0) * unit.grams as f64).sum();
        let course = match (lowered, frozen) {
            (_, true) => Course::Freeze,
            (Some(_), _) => Course::MarkDown,
            _ if kitchen_g > 0 && kitchen_g >= grams => Course::Kitchen,
            _ => Course::Keep,
        };
        all.push(Advised {
            on: on.clone(),
            course,
            price: lowered.unwrap_or(on.tray.price),
            kitchen_g,
            sold_permille: if grams > 0 { whole(likely / grams as f64 * 1_000.0).clamp(0, 1_000) } else { 0 },
        });
    }
    all
}

/// A planning estimate as a whole number.
pub fn whole(value: f64) -> i64 {
    // Saturates; what is not a number becomes zero.
    value.round() as i64
}

fn tenths(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

/// One line of the table.
pub fn row(lot: &Lot, problem: &Problem, what: What, outlook: &Outlook, is_advised: bool) -> Row {
    let trays = advised(lot, problem, outlook);
    let of = |course| trays.iter().filter(move |a| a.course == course);
    let kitchen = trays.iter().filter(|a| a.kitchen_g > 0);
    Row {
        what,
        advised: is_advised,
        lowered: of(Course::MarkDown).count(),
        kitchen: kitchen.map(|a| (a.on.tray.code.to_string(), a.kitchen_g)).collect(),
        freeze: of(Course::Freeze).map(|a| a.on.tray.code.to_string()).collect(),
        sold_today_units: tenths(outlook.today.sold_units),
        sold_today_g: whole(outlook.today.sold_g),
        left_tonight_units: tenths(outlook.today.left_units),
        left_tonight_g: whole(outlook.today.left_g),
        sells_out_today_permille: whole(outlook.sells_out_today * 1_000.0).clamp(0, 1_000),
        whole: expected(&outlook.whole, outlook.total),
    }
}

/// A flow in whole numbers.
pub fn expected(flow: &Flow, total: f64) -> Expected {
    Expected {
        sold_g: whole(flow.sold_g),
        revenue_cents: whole(flow.revenue),
        kitchen_g: whole(flow.kitchen_g),
        kitchen_cents: whole(flow.kitchen),
        frozen_g: whole(flow.frozen_g),
        frozen_cents: whole(flow.frozen),
        wasted_g: whole(flow.wasted_g),
        waste_cents: whole(flow.waste),
        total_cents: whole(total),
    }
}

/// What a choice is mostly about.
fn what(problem: &Problem, choice: Choice) -> What {
    match choice.price.and_then(|step| price_of(problem, step)) {
        Some(price) => What::Price(price),
        None if choice.kitchen > 0 => What::Kitchen,
        None if choice.freeze > 0 => What::Freezer,
        None => What::Wait,
    }
}

/// Every line, prices from the highest down.
fn table(lot: &Lot, problem: &Problem, solution: &Solution) -> Vec<Row> {
    let best = solution.best.choice;
    let line = |what, outlook: &Outlook| row(lot, problem, what, outlook, outlook.choice == best);
    let price = |outlook: &Outlook| outlook.choice.price.and_then(|step| price_of(problem, step));
    let prices = solution.prices.iter().filter_map(|o| price(o).map(|price| line(What::Price(price), o)));
    let mut rows: Vec<Row> = prices.collect();
    rows.extend(solution.kitchen.as_ref().map(|o| line(What::Kitchen, o)));
    rows.extend(solution.freezer.as_ref().map(|o| line(What::Freezer, o)));
    rows.push(line(What::Wait, &solution.wait));
    rows.push(line(What::Nothing, &solution.nothing));
    if !rows.iter().any(|row| row.advised) && best != Choice::default() {
        // Part of the trays go to the kitchen or the freezer, at the prices as they are.
        let at = rows.iter().position(|row| matches!(row.what, What::Wait)).unwrap_or(0);
        rows.insert(at, line(what(problem, best), &solution.best));
    }
    rows
}
