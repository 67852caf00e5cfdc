//! From the trays of a cut to the question that is solved for them, and from the answer back to the trays.

use super::stages::{Days, Kitchen, Stages};
use super::{Choice, Demand, Freezer, Problem, Unit};
use crate::domain::demand::Forecast;
use crate::domain::terms::Terms;
use crate::domain::tray::Kind;
use crate::units::instant::{Instant, MICROS_PER_HOUR};
use crate::units::mass::Grams;
use crate::units::money::PricePerKg;

/// Nobody plans for more units of one cut. Portions grow until there are so few; where blocks alone are more, the oldest are asked about.
pub const MOST_UNITS: usize = 400;
/// Up to how many ages a price may reach; the youngest count as one.
const MOST_REACHES: usize = 4;

/// Whether clocks and the profile allow a tray to be frozen today.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Freezing {
    Allowed,
    Refused,
}

/// A tray that may be sold now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tray {
    pub id: i64,
    pub kind: Kind,
    pub net_g: i64,
    /// Its own, at which it is sold now.
    pub price: PricePerKg,
    /// The last moment of sale.
    pub ends: Instant,
    pub freezing: Freezing,
}

/// All that is asked about one cut.
#[derive(Debug, Clone, Copy)]
pub struct Cut<'a> {
    pub days: Days<'a>,
    pub terms: &'a Terms,
    pub forecast: &'a Forecast,
    /// What the kitchen took of the cut today.
    pub kitchen_taken_g: i64,
    pub trays: &'a [Tray],
}

/// The question, and which tray each of its units is of.
#[derive(Debug, Clone, PartialEq)]
pub struct Asked {
    /// Its units' `tray` counts in `trays`.
    pub problem: Problem,
    /// In the order of issue.
    pub trays: Vec<Tray>,
    /// When each stage begins.
    pub starts: Vec<Instant>,
    /// Trays nothing is asked about: ended, bulk, or the youngest of far too many.
    pub left_out: Vec<i64>,
}

/// What a choice means for trays, by their ids.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Moves {
    pub prices: Vec<(i64, PricePerKg)>,
    /// With grams, since of a tub only some may be taken.
    pub kitchen: Vec<(i64, i64)>,
    pub freeze: Vec<i64>,
}

/// Builds the question for a cut; none where nothing is there to be sold.
pub fn ask(cut: &Cut<'_>) -> Option<Asked> {
    let Asking { trays, left_out, youngest } = asked_about(cut);
    let gone: Vec<Instant> = trays.iter().map(|tray| cut.days.gone(tray.ends)).collect();
    let a_day = cut.terms.kitchen_g_per_day.max(0);
    let kitchen = Kitchen { now_g: a_day.saturating_sub(cut.kitchen_taken_g).clamp(0, a_day), other_days_g: a_day };
    let stages = Stages::until(&cut.days, &gone, kitchen);
    let portion_g = portion_g(&trays, cut.terms.portion_g);
    let mut units = Vec::new();
    for (at, (tray, gone)) in trays.iter().zip(&gone).enumerate() {
        let ends = stages.before(*gone);
        let unit = |grams| Unit { grams, price: tray.price.get(), ends, tray: at };
        units.extend(parts(tray, portion_g).map(unit));
    }
    if units.is_empty() {
        return None;
    }
    let problem = Problem {
        reaches: reaches(&units),
        freezer: freezer(cut, &trays, &units).filter(|_| youngest == Youngest::There),
        units,
        stages: stages.stages,
        today: stages.today,
        prices: cut.terms.prices.iter().map(|price| price.get()).collect(),
        demand: Demand::Believed(cut.forecast.belief).in_units_of(grown(&trays, cut.terms.portion_g, portion_g)),
        elasticity: cut.forecast.elasticity.at_list,
        kitchen_cents_per_kg: cut.terms.kitchen_cents_per_kg,
        waste_cents_per_kg: cut.terms.waste_cents_per_kg,
        left_cents_per_kg: cut.terms.kitchen_cents_per_kg,
    };
    Some(Asked { problem, trays, starts: stages.starts, left_out })
}

/// The trays in the order of issue, and the ids of those left out.
struct Asking {
    trays: Vec<Tray>,
    left_out: Vec<i64>,
    youngest: Youngest,
}

/// Whether the youngest are asked about; where not, nothing is said about freezing, since they would come first.
#[derive(PartialEq, Eq)]
enum Youngest {
    There,
    LeftOut,
}

fn asked_about(cut: &Cut<'_>) -> Asking {
    let now = cut.days.now;
    let sellable = |tray: &&Tray| tray.ends > now && tray.net_g > 0 && tray.kind != Kind::Bulk;
    let (mut trays, others): (Vec<Tray>, Vec<Tray>) = cut.trays.iter().partition(sellable);
    trays.sort_by_key(|tray| (tray.ends, tray.id));
    let youngest = trays.split_off(MOST_UNITS.min(trays.len()));
    let left_out = others.iter().chain(&youngest).map(|tray| tray.id).collect();
    Asking { trays, left_out, youngest: if youngest.is_empty() { Youngest::There } else { Youngest::LeftOut } }
}

/// The portion, made larger until there are no more units than are planned for. Trays are not more than that, so it comes to an end.
fn portion_g(trays: &[Tray], portion_g: i64) -> i64 {
    let mut portion = portion_g.clamp(1, Grams::MAXIMUM);
    while trays.iter().map(|tray| parts(tray, portion).len()).sum::<usize>() > MOST_UNITS {
        portion = portion.saturating_mul(2);
    }
    portion
}

/// How many times a customer's portion a unit is. Where blocks lie among tubs, customers stay what they are: a block is one.
fn grown(trays: &[Tray], said_g: i64, portion_g: i64) -> f64 {
    let all_tubs = trays.iter().all(|tray| tray.kind == Kind::Tub);
    if all_tubs { portion_g as f64 / said_g.clamp(1, Grams::MAXIMUM) as f64 } else { 1.0 }
}

/// A block whole; a tub in portions, what remains as the last one.
fn parts(tray: &Tray, portion_g: i64) -> impl ExactSizeIterator<Item = i64> {
    let portion = if tray.kind == Kind::Tub { portion_g } else { tray.net_g };
    let count = usize::try_from(tray.net_g.saturating_add(portion - 1) / portion).unwrap_or(1);
    let net_g = tray.net_g;
    (0..count).map(move |at| {
        let before = portion.saturating_mul(i64::try_from(at).unwrap_or(0));
        portion.min(net_g - before)
    })
}

/// Where one age ends and the next begins, and all units.
fn reaches(units: &[Unit]) -> Vec<usize> {
    let pairs = units.iter().zip(units.iter().skip(1)).enumerate();
    let borders = pairs.filter(|(_, (one, next))| one.ends != next.ends).map(|(at, _)| at + 1);
    borders.take(MOST_REACHES - 1).chain(std::iter::once(units.len())).collect()
}

/// From which unit on all may be frozen: as far back as each tray may, and has life enough left.
fn freezer(cut: &Cut<'_>, trays: &[Tray], units: &[Unit]) -> Option<Freezer> {
    let cents_per_kg = cut.terms.freezer_cents_per_kg?;
    let least = cut.terms.freezer_least_hours.saturating_mul(MICROS_PER_HOUR);
    let may = |tray: &Tray| tray.freezing == Freezing::Allowed && tray.ends.since(cut.days.now) >= least;
    let refused = trays.iter().rposition(|tray| !may(tray));
    let first = units.iter().position(|unit| refused.is_none_or(|refused| unit.tray > refused))?;
    Some(Freezer { cents_per_kg, first })
}

impl Asked {
    /// Which trays a choice is about, and what is done with each.
    pub fn moves(&self, choice: &Choice) -> Moves {
        let kept = self.problem.units.len().saturating_sub(choice.freeze);
        let kitchen = choice.kitchen.min(kept);
        let mut moves = Moves::default();
        for unit in self.problem.units.iter().take(kitchen) {
            let Some(id) = self.id(unit) else { continue };
            match moves.kitchen.last_mut() {
                Some((last, grams)) if *last == id => *grams += unit.grams,
                _ => moves.kitchen.push((id, unit.grams)),
            }
        }
        let price = choice.price.and_then(|step| self.problem.prices.get(step).copied());
        if let Some(price) = price.and_then(|price| PricePerKg::new(price).ok()) {
            let lowered = self.problem.units.iter().take(choice.reach.min(kept)).skip(kitchen);
            let ids = lowered.filter(|unit| price.get() < unit.price).filter_map(|unit| self.id(unit));
            moves.prices = ids.map(|id| (id, price)).collect();
            moves.prices.dedup();
        }
        moves.freeze = self.problem.units.iter().skip(kept).filter_map(|unit| self.id(unit)).collect();
        moves.freeze.dedup();
        moves
    }

    /// How much of each tray is expected to be sold, as a share of its grams, by its id, from what is expected of each unit.
    pub fn shares(&self, sold: &[f64]) -> Vec<(i64, f64)> {
        let mut grams = vec![0.0; self.trays.len()];
        for (unit, sold) in self.problem.units.iter().zip(sold) {
            if let Some(grams) = grams.get_mut(unit.tray) {
                *grams += unit.grams as f64 * sold;
            }
        }
        self.trays.iter().zip(grams).map(|(tray, grams)| (tray.id, grams / tray.net_g as f64)).collect()
    }

    fn id(&self, unit: &Unit) -> Option<i64> {
        self.trays.get(unit.tray).map(|tray| tray.id)
    }
}
