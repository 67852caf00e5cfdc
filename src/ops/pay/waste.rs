//! What was wasted, by reason, week and cut, from the ledger, with what was sold and cooked beside it. Trim and drip of cutting are not waste
//! here: they are told with the story of a fish.

use super::{Range, Week};
use crate::domain::ledger::Account;
use crate::domain::shop::Shop;
use crate::ops::failure::Failure;
use crate::store::Reading;
use crate::store::reports::{self, Back, Line};
use crate::units::instant::Instant;
use std::collections::{BTreeMap, BTreeSet, VecDeque};

/// Grams with their cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Portion {
    pub grams: i64,
    pub cost_cents: i64,
}

impl Portion {
    fn add(&mut self, grams: i64, cost_cents: i64) {
        self.grams += grams;
        self.cost_cents += cost_cents;
    }
}

/// What was wasted for one reason.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reason {
    /// As it was written, in small letters.
    pub text: String,
    /// Brought back by a customer.
    pub returned: bool,
    pub portion: Portion,
}

/// Where fish went. What a customer brought back stands under `sold` and again under its reason of waste.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Out {
    pub sold: Portion,
    pub kitchen: Portion,
    pub wasted: Portion,
    pub returned: Portion,
    /// Missing when it was counted; negative where more was found. Nobody knows where it went.
    pub counted: Portion,
    reasons: BTreeMap<(bool, String), Portion>,
}

impl Out {
    /// The dearest first.
    pub fn reasons(&self) -> Vec<Reason> {
        let told = |((returned, text), portion): (&(bool, String), &Portion)| Reason {
            text: text.clone(),
            returned: *returned,
            portion: *portion,
        };
        let mut reasons: Vec<Reason> = self.reasons.iter().map(told).collect();
        reasons.sort_by_key(|reason| (-reason.portion.cost_cents, -reason.portion.grams));
        reasons
    }

    /// All that left the stock for the counter, the kitchen or the bin.
    pub fn left_g(&self) -> i64 {
        self.sold.grams - self.returned.grams + self.kitchen.grams + self.wasted.grams
    }

    /// The share that was wasted, in permille; none where nothing left.
    pub fn wasted_permille(&self) -> Option<i64> {
        (self.wasted.grams * 1_000).checked_div(self.left_g())
    }

    fn waste(&mut self, returned: bool, reason: &str, grams: i64, cost_cents: i64) {
        let text = reason.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase();
        self.wasted.add(grams, cost_cents);
        self.reasons.entry((returned, text)).or_default().add(grams, cost_cents);
        if returned {
            self.returned.add(grams, cost_cents);
        }
    }

    fn add(&mut self, other: &Out) {
        let add = |sum: &mut Portion, part: &Portion| sum.add(part.grams, part.cost_cents);
        add(&mut self.sold, &other.sold);
        add(&mut self.kitchen, &other.kitchen);
        add(&mut self.wasted, &other.wasted);
        add(&mut self.returned, &other.returned);
        add(&mut self.counted, &other.counted);
        for (key, part) in &other.reasons {
            add(self.reasons.entry(key.clone()).or_default(), part);
        }
    }
}

/// One cut's week. Goods that were settled without a tray are of no known cut.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CutWeek {
    pub week: Week,
    pub cut: Option<String>,
    pub cut_name: String,
    pub out: Out,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WasteReport {
    pub range: Range,
    pub total: Out,
    pub weeks: Vec<(Week, Out)>,
    /// By cut, over all weeks: code, name.
    pub cuts: Vec<(Option<String>, String, Out)>,
    pub rows: Vec<CutWeek>,
}

type Key = (Week, Option<String>);

/// The report on a range of business days.
pub fn waste(reading: &mut Reading<'_>, shop: &Shop, range: Range) -> Result<WasteReport, Failure> {
    let (from, to) = (shop.zone.start_of(range.from), shop.zone.end_of(range.to));
    let lines = reports::left(reading, from, to)?;
    let returns: BTreeSet<i64> = lines.iter().filter(|line| line.kind == "return").map(|line| line.act_id).collect();
    let back = reports::back_by(reading, &returns.into_iter().collect::<Vec<_>>())?;
    let trays: BTreeSet<i64> =
        lines.iter().filter_map(|line| line.tray_id).chain(back.iter().map(|line| line.tray_id)).collect();
    let cuts = reports::cuts_of(reading, &trays.into_iter().collect::<Vec<_>>())?;
    let names = reports::cut_names(reading)?;
    let name = |cut: &Option<String>| match cut {
        Some(code) => names.get(code).cloned().unwrap_or_else(|| code.clone()),
        None => "no known cut".to_owned(),
    };
    let buckets = sort(shop, &lines, &back, &cuts);
    let (mut weeks, mut by_cut) = (BTreeMap::<Week, Out>::new(), BTreeMap::<Option<String>, Out>::new());
    let mut total = Out::default();
    for ((week, cut), out) in &buckets {
        total.add(out);
        weeks.entry(*week).or_default().add(out);
        by_cut.entry(cut.clone()).or_default().add(out);
    }
    let mut cuts: Vec<(Option<String>, String, Out)> =
        by_cut.into_iter().map(|(cut, out)| (cut.clone(), name(&cut), out)).collect();
    cuts.sort_by_key(|(_, _, out)| (-out.wasted.cost_cents, -out.wasted.grams));
    let row = |((week, cut), out): (Key, Out)| CutWeek { week, cut_name: name(&cut), cut, out };
    let rows = buckets.into_iter().map(row).collect();
    Ok(WasteReport { range, total, weeks: weeks.into_iter().collect(), cuts, rows })
}

/// Each act's lines into the week and the cut they belong to.
fn sort(shop: &Shop, lines: &[Line], back: &[Back], cuts: &BTreeMap<i64, String>) -> BTreeMap<Key, Out> {
    let mut buckets: BTreeMap<Key, Out> = BTreeMap::new();
    let mut back_by_act: BTreeMap<i64, VecDeque<Back>> = BTreeMap::new();
    for line in back {
        back_by_act.entry(line.act_id).or_default().push_back(line.clone());
    }
    let with_tray: BTreeSet<i64> = lines.iter().filter(|line| line.tray_id.is_some()).map(|line| line.act_id).collect();
    for line in lines {
        let week = week_of(shop, line.at);
        let cut_of = |tray: i64| cuts.get(&tray).cloned();
        if line.kind == "return" {
            if line.account == Account::Waste.as_str() {
                let queue = back_by_act.entry(line.act_id).or_default();
                let Some((tray, reason)) = next_back(queue, line.grams) else { continue };
                buckets.entry((week, cut_of(tray))).or_default().waste(true, &reason, line.grams, line.cost_cents);
            }
            continue;
        }
        match line.tray_id {
            Some(tray) => tray_line(buckets.entry((week, cut_of(tray))).or_default(), line),
            None if !with_tray.contains(&line.act_id) => {
                outside_line(buckets.entry((week, None)).or_default(), line);
            }
            // The other side of a line on a tray.
            None => {}
        }
    }
    buckets
}

fn week_of(shop: &Shop, micros: i64) -> Week {
    Week::of(shop.zone.day_of(Instant::from_micros(micros).unwrap_or(Instant::EPOCH)))
}

/// A return is written line by line, each line lot by lot: what comes next in the ledger is of the first line that is not yet full.
fn next_back(queue: &mut VecDeque<Back>, grams: i64) -> Option<(i64, String)> {
    let line = queue.front_mut()?;
    line.grams -= grams;
    let of = (line.tray_id, line.reason.clone());
    if line.grams <= 0 {
        queue.pop_front();
    }
    Some(of)
}

fn tray_line(out: &mut Out, line: &Line) {
    let (grams, cost) = (-line.grams, -line.cost_cents);
    match line.kind.as_str() {
        "kitchen" => out.kitchen.add(grams, cost),
        "waste" => out.waste(false, line.reason.as_deref().unwrap_or(""), grams, cost),
        "count" => out.counted.add(grams, cost),
        _ => out.sold.add(grams, cost),
    }
}

/// Of an act without trays: a difference of an earlier count turned out to be a sale.
fn outside_line(out: &mut Out, line: &Line) {
    match line.account.as_str() {
        "customer" => out.sold.add(line.grams, line.cost_cents),
        "count_difference" => out.counted.add(line.grams, line.cost_cents),
        _ => {}
    }
}
