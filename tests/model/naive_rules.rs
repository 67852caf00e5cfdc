//! What the plain lists allow: every reason against an act, as the code a client would see. An act without a reason
//! against it must be accepted; a refusal must give one of the reasons.

use crate::acts::{Act, Output};
use crate::ground::{BENCH_SCALE_G, CUTS, DRIP_PERMILLE, RECEIVING_SCALE_G, REVERSAL_MINUTES};
use crate::naive::{Naive, Scope};

const MINUTE: i64 = 60_000_000;

/// Which comes first when a sale earns several, of those that a line of a sale can earn: the documented precedence.
const PRECEDENCE: [&str; 14] = [
    "invalid_value",
    "duplicate_line",
    "already_sold",
    "tray_gone",
    "wrong_kind",
    "on_hold",
    "exposure_reached",
    "past_use_by",
    "life_ended",
    "weight_differs",
    "label_outdated",
    "parasite_freezing_missing",
    "frozen",
    "insufficient_stock",
];

fn precedence(code: &str) -> usize {
    PRECEDENCE.iter().position(|known| *known == code).unwrap()
}

/// Reasons against, and whether the first of them is the one to be named.
#[derive(Debug, Default)]
pub struct Against {
    pub codes: Vec<&'static str>,
    pub exact: bool,
    /// Rounding decides about a further reason, so that either outcome is right.
    pub unsure: bool,
}

impl Against {
    fn add(&mut self, stands: bool, code: &'static str) {
        if stands {
            self.codes.push(code);
        }
    }
}

/// Most that a scale of interval `e` may be wrong in service at this load.
fn scale_error(grams: i64, e: i64) -> i64 {
    match grams {
        g if g <= 500 * e => e,
        g if g <= 2_000 * e => 2 * e,
        _ => 3 * e,
    }
}

fn error_of(cut: usize, grams: i64) -> i64 {
    scale_error(grams, if CUTS[cut].form == "whole" { RECEIVING_SCALE_G } else { BENCH_SCALE_G })
}

impl Naive {
    pub fn against(&self, act: &Act, now: i64) -> Against {
        let mut against = Against::default();
        match act {
            Act::Receive { .. } | Act::Readings { .. } | Act::Watch => {}
            Act::BreakDown { inputs, outputs, losses, reason, bench_minutes, .. } => {
                against.add(bench_minutes.is_some_and(|minutes| !(0..=480).contains(&minutes)), "invalid_value");
                self.against_breakdown(&mut against, inputs, outputs, losses, *reason);
            }
            Act::TopUp { tub, source, grams } => self.against_top_up(&mut against, *tub, *source, *grams),
            Act::Move { tray, place } => {
                self.gone(&mut against, *tray);
                let (from, to) = (self.trays[*tray].place, *place);
                against.add(self.is_frozen(from) != self.is_frozen(to), "use_freeze_or_thaw");
                against.add(from == to, "already_there");
            }
            Act::Freeze { tray, place } => {
                self.gone(&mut against, *tray);
                against.add(self.is_frozen(self.trays[*tray].place), "frozen");
                against.add(!self.is_frozen(*place), "invalid_value");
                against.add(self.trays[*tray].thawed, "refreeze");
                self.over(&mut against, *tray, now);
            }
            Act::Thaw { tray, place } => {
                self.gone(&mut against, *tray);
                against.add(!self.is_frozen(self.trays[*tray].place), "not_frozen");
                against.add(self.is_frozen(*place), "invalid_value");
            }
            Act::Kitchen { tray, grams } => {
                self.against_taking_out(&mut against, *tray, *grams);
                against.add(self.is_held(*tray), "on_hold");
                self.over(&mut against, *tray, now);
            }
            Act::Waste { tray, grams, reason } => {
                self.against_taking_out(&mut against, *tray, *grams);
                against.add(!*reason, "reason_required");
            }
            Act::Count { lines, reason } => self.against_count(&mut against, lines, *reason),
            Act::HoldLot { .. } | Act::HoldTray { .. } | Act::Review => {}
            Act::HoldBatch { tray } => against.add(self.trays[*tray].breakdown.is_none(), "unknown_reference"),
            Act::Release { hold } => against.add(!self.holds[*hold].open, "not_on_hold"),
            Act::Label { tray, reason } => self.against_label(&mut against, *tray, *reason, now),
            Act::MarkDown { tray, price } => {
                against = self.stops(*tray, now);
                against.add(*price >= self.trays[*tray].price, "price_would_rise");
                against.exact = true;
            }
            Act::Sell { lines } => self.against_sale(&mut against, lines, now),
            Act::Reverse { sale } => self.against_reversal(&mut against, *sale, now),
            Act::PutPlace { place, method, limit, stale, .. } => {
                against.add(*method == "chill" && *limit > self.law.cold_limit, "invalid_value");
                let occupied = self.trays.iter().any(|t| t.in_stock() && t.place == *place);
                against.add(*stale, "version_mismatch");
                against.add(occupied && (*method == "frozen") != self.is_frozen(*place), "place_in_use");
            }
        }
        against
    }

    fn gone(&self, against: &mut Against, tray: usize) {
        against.add(!self.trays[tray].in_stock(), "tray_gone");
    }

    fn over(&self, against: &mut Against, tray: usize, now: i64) {
        against.add(self.trays[tray].use_by.is_some_and(|end| now > end), "past_use_by");
        for end in self.ends(tray, self.trays[tray].place, now).iter().filter(|end| end.at < now as f64) {
            against.codes.push(match end.clock {
                "supplier" => "past_use_by",
                "exposure" => "exposure_reached",
                _ => "life_ended",
            });
        }
    }

    fn is_held(&self, tray: usize) -> bool {
        let it = &self.trays[tray];
        self.holds.iter().filter(|hold| hold.open).any(|hold| match hold.scope {
            Scope::Lot(lot) => it.by_lot.contains_key(&lot),
            Scope::Batch(breakdown, cut) => self.comes_of(tray, breakdown, cut),
            Scope::Tray(other) => other == tray,
        })
    }

    /// Why a tray may not be sold, the gravest first.
    pub fn stops(&self, tray: usize, now: i64) -> Against {
        let (it, cut) = (&self.trays[tray], self.cut_of(tray));
        let mut stops = Against::default();
        stops.add(it.fate == Some("sold"), "already_sold");
        stops.add(it.fate.is_some_and(|fate| fate != "sold"), "tray_gone");
        if it.fate.is_some() {
            return stops;
        }
        let raw_without_record =
            it.species == "SAL" && cut.form != "for_cooking" && it.by_lot.keys().any(|lot| !self.lots[*lot].record);
        stops.add(cut.kind == "bulk", "wrong_kind");
        stops.add(self.is_held(tray), "on_hold");
        self.over(&mut stops, tray, now);
        stops.add(it.untold_weight, "weight_differs");
        if it.untold_thaw {
            stops.add(true, "label_outdated");
        } else if self.end(tray, now).is_some_and(|end| end >= now as f64) {
            let outdated = self.outdated(tray, it.place, now);
            stops.add(outdated == Some(true), "label_outdated");
            stops.unsure = outdated.is_none();
        }
        stops.add(raw_without_record, "parasite_freezing_missing");
        stops.add(self.is_frozen(it.place), "frozen");
        stops.codes.sort_by_key(|code| precedence(code));
        stops
    }

    fn against_breakdown(
        &self,
        against: &mut Against,
        inputs: &[(usize, Option<i64>)],
        outputs: &[Output],
        losses: &[i64],
        reason: bool,
    ) {
        let (mut weighed, mut error) = (0, 0);
        for (number, (tray, grams)) in inputs.iter().enumerate() {
            let it = &self.trays[*tray];
            let mass = grams.unwrap_or_else(|| it.net());
            self.gone(against, *tray);
            against.add(self.is_held(*tray), "on_hold");
            against.add(self.is_frozen(it.place), "frozen");
            against.add(grams.is_some() && self.cut_of(*tray).kind != "bulk", "wrong_kind");
            against.add(mass == 0, "invalid_value");
            against.add(mass > it.net(), "insufficient_stock");
            against.add(inputs[..number].iter().any(|(other, _)| other == tray), "duplicate_line");
            against.add(it.species != self.trays[inputs[0].0].species, "not_the_same");
            weighed += mass;
            error += error_of(it.cut, mass);
        }
        for output in outputs {
            against.add(self.is_frozen(output.place), "use_freeze_or_thaw");
            against.add(output.grams == 0, "invalid_value");
            error += error_of(output.cut, output.grams);
        }
        against.add(losses.contains(&0), "invalid_value");
        let missing = weighed - outputs.iter().map(|o| o.grams).sum::<i64>() - losses.iter().sum::<i64>();
        against.add(missing < -error, "mass_exceeds_input");
        against.add(missing > error + weighed * DRIP_PERMILLE / 1_000 && !reason, "loss_unexplained");
    }

    fn against_top_up(&self, against: &mut Against, tub: usize, source: usize, grams: Option<i64>) {
        let (into, from) = (&self.trays[tub], &self.trays[source]);
        against.add(self.cut_of(tub).kind != "tub", "wrong_kind");
        against.add(tub == source || into.species != from.species || into.cut != from.cut, "not_the_same");
        for tray in [tub, source] {
            self.gone(against, tray);
            against.add(self.is_held(tray), "on_hold");
            against.add(self.is_frozen(self.trays[tray].place), "frozen");
        }
        let grams = grams.unwrap_or_else(|| from.net());
        against.add(grams == 0, "invalid_value");
        against.add(grams > from.net(), "insufficient_stock");
    }

    fn against_taking_out(&self, against: &mut Against, tray: usize, grams: Option<i64>) {
        let net = self.trays[tray].net();
        let mass = grams.unwrap_or(net);
        self.gone(against, tray);
        against.add(self.cut_of(tray).kind == "block" && mass != net, "wrong_kind");
        against.add(mass == 0, "invalid_value");
        against.add(mass > net, "insufficient_stock");
    }

    fn against_count(&self, against: &mut Against, lines: &[(usize, i64)], reason: bool) {
        for (number, (tray, counted)) in lines.iter().enumerate() {
            self.gone(against, *tray);
            against.add(lines[..number].iter().any(|(other, _)| other == tray), "duplicate_line");
            against.add(!reason && self.trays[*tray].net() != *counted, "reason_required");
        }
    }

    fn against_label(&self, against: &mut Against, tray: usize, reason: bool, now: i64) {
        let it = &self.trays[tray];
        self.gone(against, tray);
        let has_label = it.label_wanted == Some(false) && it.labels > 0;
        against.add(has_label && !reason, "reason_required");
        // What stays in the house has a label whatever became of its life.
        if self.cut_of(tray).kind == "bulk" {
            return;
        }
        against.add(self.is_frozen(it.place), "frozen");
        let whole_minute = |end: f64| (end / MINUTE as f64).floor() * MINUTE as f64;
        let end = self.promise(tray, now).map(|end| whole_minute(end).min(it.use_by.map_or(f64::MAX, |u| u as f64)));
        against.add(end.is_none_or(|end| end < now as f64), "life_ended");
    }

    /// Advice lowers, and speaks of nothing that is stopped, nor of what exposure ends.
    pub fn check_advice(&self, tray: usize, price: i64, now: i64) {
        let (it, stops) = (&self.trays[tray], self.stops(tray, now));
        assert!(price < it.price, "advice to raise {} to {price}", it.code);
        assert!(stops.unsure || stops.codes.is_empty(), "advice on {}, stopped by {:?}", it.code, stops.codes);
        let first = self.ends(tray, it.place, now).into_iter().min_by(|a, b| a.at.total_cmp(&b.at)).unwrap();
        assert_ne!(first.clock, "exposure", "advice on {}, which exposure ends", it.code);
    }

    fn against_sale(&self, against: &mut Against, lines: &[(usize, Option<i64>)], now: i64) {
        // Only a line that could stand alone makes a later one its duplicate.
        let mut accepted: Vec<usize> = Vec::new();
        for (tray, grams) in lines {
            let net = self.trays[*tray].net();
            let stops = self.stops(*tray, now);
            against.unsure |= stops.unsure;
            let problem = match (self.cut_of(*tray).kind, grams) {
                _ if !stops.codes.is_empty() => Some(stops.codes[0]),
                ("tub", None | Some(0)) => Some("invalid_value"),
                ("tub", Some(grams)) if *grams > net => Some("insufficient_stock"),
                ("block", Some(grams)) if *grams != net => Some("wrong_kind"),
                _ if accepted.contains(tray) => Some("duplicate_line"),
                _ => None,
            };
            match problem {
                Some(code) => against.codes.push(code),
                None => accepted.push(*tray),
            }
        }
        against.codes.sort_by_key(|code| precedence(code));
        against.exact = true;
    }

    fn against_reversal(&self, against: &mut Against, sale: usize, now: i64) {
        let sale = &self.sales[sale];
        against.add(sale.reversed, "already_reversed");
        against.add(now - sale.at > REVERSAL_MINUTES * MINUTE, "window_passed");
        for (tray, _) in &sale.lines {
            let it = &self.trays[*tray];
            against.add(it.fate.is_some_and(|fate| fate != "sold"), "tray_gone");
            against.add(it.fate == Some("sold") && self.is_frozen(it.place), "frozen");
        }
    }
}
