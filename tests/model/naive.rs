//! The shop in plain lists: what lies where, by lot, in whole grams. Applies acts that are allowed; whether one is
//! allowed is told in `naive_rules`.

use crate::acts::{Act, Output};
use crate::ground::{BENCH_MINUTES, CUTS, CutLine};
use crate::naive_climate::{Climate, Toll};
use crate::naive_life::{Budget, Law, NaiveStay, Pouring, budget};
use std::cell::RefCell;
use std::collections::{BTreeMap, HashMap};

#[derive(Debug)]
pub struct NaivePlace {
    pub code: String,
    pub method: &'static str,
    pub gap_minutes: i64,
    pub version: i64,
    pub climate: Climate,
}

impl NaivePlace {
    pub fn new(code: String, method: &'static str, limit: i64, gap_minutes: i64) -> NaivePlace {
        NaivePlace { code, method, gap_minutes, version: 1, climate: Climate::new(method, limit, gap_minutes) }
    }
}

#[derive(Debug, Clone)]
pub struct NaiveLot {
    pub code: String,
    pub record: bool,
    pub received: i64,
    /// Where its grams are, outside the trays.
    pub accounts: BTreeMap<&'static str, i64>,
}

#[derive(Debug, Clone)]
pub struct NaiveTray {
    pub code: String,
    pub cut: usize,
    pub species: &'static str,
    /// The breakdown it came from; with the cut, its batch.
    pub breakdown: Option<usize>,
    /// The trays that fish was cut or poured into it from.
    pub made_of: Vec<usize>,
    pub place: usize,
    pub fate: Option<&'static str>,
    /// A lot that once lay here stays on the list at zero.
    pub by_lot: BTreeMap<usize, i64>,
    pub price: i64,
    pub budget: Budget,
    /// How fish came into it: the cutting it was made in, and what was poured into it since.
    pub came: Vec<Pouring>,
    pub stays: Vec<NaiveStay>,
    /// First day of its date mark, and the day it was frozen on.
    pub day_one: Option<i64>,
    pub frozen_day: Option<i64>,
    pub wholly_frozen: bool,
    pub supplier_until: Option<i64>,
    pub use_by: Option<i64>,
    /// What the printed date had left when the tray was frozen.
    pub date_left: Option<i64>,
    pub thawed: bool,
    pub labels: usize,
    /// Unknown when rounding decides.
    pub label_wanted: Option<bool>,
    /// It was thawed, and no label says so yet.
    pub untold_thaw: bool,
    /// A block was counted to another weight than its label says.
    pub untold_weight: bool,
    /// The watch told of its exposure once; its alarm about the label is open.
    pub told_exposed: bool,
    pub label_alarm: bool,
}

impl NaiveTray {
    pub fn in_stock(&self) -> bool {
        self.fate.is_none()
    }

    pub fn net(&self) -> i64 {
        self.by_lot.values().sum()
    }

    pub fn is_bulk(&self) -> bool {
        CUTS[self.cut].kind == "bulk"
    }

    /// Where its present stay began.
    pub fn anchor(&self) -> i64 {
        self.stays[self.stays.len() - 1].from
    }

    /// Goes to a place at an instant.
    fn stand(&mut self, place: usize, at: i64) {
        self.end_stay(at);
        self.stays.push(NaiveStay { place, from: at, to: None });
    }

    fn end_stay(&mut self, at: i64) {
        if let Some(stay) = self.stays.last_mut() {
            stay.to = Some(at);
        }
    }
}

#[derive(Debug, Clone)]
pub struct NaiveSale {
    pub id: i64,
    pub at: i64,
    pub lines: Vec<(usize, BTreeMap<usize, i64>)>,
    pub reversed: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scope {
    Lot(usize),
    Batch(usize, usize),
    Tray(usize),
}

#[derive(Debug, Clone)]
pub struct NaiveHold {
    pub id: i64,
    pub scope: Scope,
    pub open: bool,
}

/// What the program said it made: codes, numbers, a printed date.
#[derive(Debug, Clone, Default)]
pub struct Made {
    pub codes: Vec<String>,
    pub id: i64,
    pub use_by: Option<i64>,
    pub prices: Vec<i64>,
    /// The watch went round, and placed these holds on these trays.
    pub watched: bool,
    pub holds: Vec<(i64, String)>,
}

#[derive(Debug, Default)]
pub struct Naive {
    pub places: Vec<NaivePlace>,
    pub lots: Vec<NaiveLot>,
    pub trays: Vec<NaiveTray>,
    pub sales: Vec<NaiveSale>,
    pub holds: Vec<NaiveHold>,
    pub law: Law,
    pub breakdowns: usize,
    /// Lives told since anything last happened.
    pub told: RefCell<HashMap<(usize, i64, i64), Toll>>,
}

/// Whole grams in proportion to what is there: everyone the rounded-down share, the rest one by one to who lost most
/// by the rounding, the first of equals first.
pub fn share(total: i64, there: &BTreeMap<usize, i64>) -> BTreeMap<usize, i64> {
    let sum: i64 = there.values().sum();
    if sum == 0 {
        return BTreeMap::new();
    }
    let mut parts: BTreeMap<usize, i64> = there.iter().map(|(lot, grams)| (*lot, total * grams / sum)).collect();
    let mut lost: BTreeMap<usize, i64> = there.iter().map(|(lot, grams)| (*lot, total * grams % sum)).collect();
    while parts.values().sum::<i64>() < total {
        let most = *lost.values().max().unwrap();
        let lot = *lost.iter().find(|(_, grams)| **grams == most).unwrap().0;
        *parts.get_mut(&lot).unwrap() += 1;
        lost.insert(lot, -1);
    }
    parts
}

fn add(to: &mut BTreeMap<usize, i64>, what: &BTreeMap<usize, i64>, sign: i64) {
    for (lot, grams) in what {
        if *grams != 0 {
            *to.entry(*lot).or_default() += sign * grams;
        }
    }
}

fn draw(from: &mut BTreeMap<usize, i64>, grams: i64) -> BTreeMap<usize, i64> {
    let part = share(grams, from);
    add(from, &part, -1);
    part
}

impl Naive {
    pub fn cut_of(&self, tray: usize) -> CutLine {
        CUTS[self.trays[tray].cut]
    }

    /// Whether a tray is of a batch or holds fish that came through one that is: asked anew each time, back to the arrivals.
    pub fn comes_of(&self, tray: usize, breakdown: usize, cut: usize) -> bool {
        let mut back = vec![tray];
        let mut next = 0;
        // Two tubs may have been poured into each other.
        while next < back.len() {
            let it = &self.trays[back[next]];
            if it.breakdown == Some(breakdown) && it.cut == cut {
                return true;
            }
            for from in &it.made_of {
                if !back.contains(from) {
                    back.push(*from);
                }
            }
            next += 1;
        }
        false
    }

    pub fn is_frozen(&self, place: usize) -> bool {
        self.places[place].method == "frozen"
    }

    fn book(&mut self, account: &'static str, what: &BTreeMap<usize, i64>, sign: i64) {
        for (lot, grams) in what {
            *self.lots[*lot].accounts.entry(account).or_default() += sign * grams;
        }
    }

    fn leave(&mut self, tray: usize, fate: &'static str, now: i64) {
        let tray = &mut self.trays[tray];
        if tray.net() == 0 {
            tray.fate = Some(fate);
            tray.end_stay(now);
        }
    }

    /// Does an act that was accepted.
    pub fn apply(&mut self, act: &Act, now: i64, made: &Made) {
        self.told.borrow_mut().clear();
        match act {
            Act::Receive { species, place, grams, record, warm, thawed, supplier_days } => {
                self.receive(species, *place, *grams, *record, *thawed, now, made);
                let until = supplier_days.map(|days| self.law.end_of_day(self.law.day(now) + days));
                self.trays.last_mut().unwrap().supplier_until = until;
                if *warm {
                    self.holds.push(NaiveHold { id: made.id, scope: Scope::Lot(self.lots.len() - 1), open: true });
                }
            }
            Act::BreakDown { inputs, outputs, losses, bench, bench_minutes, .. } => {
                let minutes = bench_minutes.unwrap_or(BENCH_MINUTES);
                self.break_down(inputs, outputs, losses, (*bench, minutes), now, made);
            }
            Act::TopUp { tub, source, grams } => self.top_up(*tub, *source, *grams, now),
            Act::Move { tray, place } => self.carry(*tray, *place, now),
            Act::Freeze { tray, place } => self.freeze(*tray, *place, now),
            Act::Thaw { tray, place } => self.thaw(*tray, *place, now),
            Act::Kitchen { tray, grams } => self.take_out(*tray, *grams, "kitchen", now),
            Act::Waste { tray, grams, .. } => self.take_out(*tray, *grams, "waste", now),
            Act::Count { lines, .. } => lines.iter().for_each(|(tray, counted)| self.count(*tray, *counted, now)),
            Act::HoldLot { lot } => self.hold(made.id, Scope::Lot(*lot)),
            Act::HoldTray { tray } => self.hold(made.id, Scope::Tray(*tray)),
            Act::HoldBatch { tray } => {
                let NaiveTray { breakdown, cut, .. } = self.trays[*tray];
                self.hold(made.id, Scope::Batch(breakdown.unwrap(), cut));
            }
            Act::Release { hold } => self.holds[*hold].open = false,
            Act::Label { tray, .. } => {
                let tray = &mut self.trays[*tray];
                tray.use_by = made.use_by;
                tray.labels += 1;
                tray.label_wanted = Some(false);
                tray.untold_thaw = false;
                tray.untold_weight = false;
            }
            Act::MarkDown { tray, price } => self.mark_down(*tray, *price),
            Act::Review => {
                for (code, price) in made.codes.iter().zip(&made.prices) {
                    let tray = self.trays.iter().position(|tray| tray.code == *code).unwrap();
                    self.check_advice(tray, *price, now);
                    self.mark_down(tray, *price);
                }
            }
            Act::Sell { lines } => self.sell(lines, now, made),
            Act::Reverse { sale } => self.reverse(*sale),
            Act::PutPlace { place, method, limit, gap_minutes, .. } => {
                let at = &mut self.places[*place];
                (at.method, at.gap_minutes, at.version) = (method, *gap_minutes, at.version + 1);
                at.climate.set(now, method, *limit, *gap_minutes);
            }
            Act::Readings { place, readings } => {
                for (at, temperature) in readings {
                    self.places[*place].climate.read(*at, *temperature);
                }
                if made.watched {
                    self.watch(now, &made.holds);
                }
            }
            Act::Watch => self.watch(now, &made.holds),
        }
    }

    #[allow(clippy::too_many_arguments, reason = "what is said of an arrival")]
    fn receive(
        &mut self,
        species: &'static str,
        place: usize,
        grams: i64,
        record: bool,
        thawed: bool,
        now: i64,
        made: &Made,
    ) {
        let lot = self.lots.len();
        let accounts = BTreeMap::from([("supplier", -grams)]);
        self.lots.push(NaiveLot { code: made.codes[0].clone(), record, received: grams, accounts });
        self.trays.push(NaiveTray {
            code: made.codes[1].clone(),
            cut: 0,
            species,
            breakdown: None,
            made_of: Vec::new(),
            place,
            fate: None,
            by_lot: BTreeMap::from([(lot, grams)]),
            price: 0,
            budget: budget(species, CUTS[0].form, None, self.law),
            came: Vec::new(),
            stays: vec![NaiveStay { place, from: now, to: None }],
            day_one: None,
            frozen_day: self.is_frozen(place).then(|| self.law.day(now)),
            wholly_frozen: thawed || self.is_frozen(place),
            supplier_until: None,
            use_by: None,
            date_left: None,
            thawed: thawed && !self.is_frozen(place),
            labels: 0,
            label_wanted: Some(false),
            untold_thaw: false,
            untold_weight: false,
            told_exposed: false,
            label_alarm: false,
        });
    }

    fn break_down(
        &mut self,
        inputs: &[(usize, Option<i64>)],
        outputs: &[Output],
        losses: &[i64],
        (bench, minutes): (usize, i64),
        now: i64,
        made: &Made,
    ) {
        for (tray, _) in inputs {
            self.lie_on_bench(*tray, bench, minutes, now);
        }
        let species = self.trays[inputs[0].0].species;
        let use_by = inputs.iter().filter_map(|(tray, _)| self.trays[*tray].use_by).min();
        let thawed = inputs.iter().any(|(tray, _)| self.trays[*tray].thawed);
        let wholly_frozen = inputs.iter().all(|(tray, _)| self.trays[*tray].wholly_frozen);
        let supplier_until = inputs.iter().filter_map(|(tray, _)| self.trays[*tray].supplier_until).min();
        let day_one = inputs.iter().filter_map(|(tray, _)| self.trays[*tray].day_one).min();
        let sources: Vec<usize> = inputs.iter().map(|(tray, _)| *tray).collect();
        let mut pool = BTreeMap::new();
        for (tray, grams) in inputs {
            let grams = grams.unwrap_or_else(|| self.trays[*tray].net());
            let part = draw(&mut self.trays[*tray].by_lot, grams);
            add(&mut pool, &part, 1);
            self.leave(*tray, "broken_down", now);
        }
        let total: i64 = pool.values().sum();
        let out: i64 = outputs.iter().map(|o| o.grams).sum();
        let found = out + losses.iter().sum::<i64>() - total;
        if found > 0 {
            let found = share(found, &pool);
            add(&mut pool, &found, 1);
            self.book("shrink", &found, -1);
        }
        for (number, output) in outputs.iter().enumerate() {
            let cut = CUTS[output.cut];
            let by_lot = draw(&mut pool, output.grams).into_iter().filter(|(_, grams)| *grams > 0).collect();
            self.trays.push(NaiveTray {
                code: made.codes[number].clone(),
                cut: output.cut,
                species,
                breakdown: Some(self.breakdowns),
                made_of: sources.clone(),
                place: output.place,
                fate: None,
                by_lot,
                price: cut.price,
                budget: budget(species, cut.form, cut.own_hours, self.law),
                came: vec![Pouring { at: now, sources: sources.clone() }],
                stays: vec![NaiveStay { place: output.place, from: now, to: None }],
                day_one: Some(day_one.unwrap_or_else(|| self.law.day(now))),
                frozen_day: None,
                wholly_frozen,
                supplier_until,
                use_by,
                date_left: None,
                thawed,
                labels: 0,
                label_wanted: Some(cut.kind != "bulk"),
                untold_thaw: false,
                untold_weight: false,
                told_exposed: false,
                label_alarm: false,
            });
        }
        self.book("shrink", &pool, 1);
        self.breakdowns += 1;
    }

    /// Before it is cut a tray lies on the bench for some minutes, but never longer than it stood where it was. What is left of it goes
    /// back afterwards.
    fn lie_on_bench(&mut self, tray: usize, bench: usize, minutes: i64, now: i64) {
        let tray = &mut self.trays[tray];
        if minutes > 0 && tray.place != bench {
            let from = (now - minutes * 60_000_000).max(tray.anchor());
            tray.stand(bench, from);
            tray.stand(tray.place, now);
        }
    }

    fn top_up(&mut self, tub: usize, source: usize, grams: Option<i64>, now: i64) {
        let grams = grams.unwrap_or_else(|| self.trays[source].net());
        let part = draw(&mut self.trays[source].by_lot, grams);
        let NaiveTray { use_by, thawed, wholly_frozen, day_one, supplier_until, .. } = self.trays[source];
        let into = &mut self.trays[tub];
        into.untold_thaw |= into.labels > 0 && part.keys().any(|lot| !into.by_lot.contains_key(lot));
        add(&mut into.by_lot, &part, 1);
        into.made_of.push(source);
        into.came.push(Pouring { at: now, sources: vec![source] });
        into.stand(into.place, now);
        into.untold_thaw |= into.use_by.zip(use_by).is_some_and(|(own, poured)| poured < own);
        into.use_by = [into.use_by, use_by].into_iter().flatten().min();
        into.supplier_until = [into.supplier_until, supplier_until].into_iter().flatten().min();
        into.day_one = [into.day_one, day_one].into_iter().flatten().min();
        into.wholly_frozen &= wholly_frozen;
        into.untold_thaw |= thawed && !into.thawed;
        into.thawed |= thawed;
        into.label_wanted = Some(true);
        self.leave(source, "topped_into", now);
    }

    /// A date that the life does not reach where the tray goes wants a new label; what is not sold carries none.
    fn carry(&mut self, tray: usize, place: usize, now: i64) {
        let outdated = self.outdated(tray, place, now);
        let tray = &mut self.trays[tray];
        tray.place = place;
        tray.stand(place, now);
        match outdated {
            _ if tray.is_bulk() => {}
            None => tray.label_wanted = None,
            Some(true) => tray.label_wanted = Some(true),
            Some(false) => {}
        }
    }

    /// The printed date stops: it goes on at the thaw with what it had left, however warm the tray stood.
    fn freeze(&mut self, tray: usize, place: usize, now: i64) {
        let day = self.law.day(now);
        let tray = &mut self.trays[tray];
        tray.date_left = tray.use_by.take().map(|printed| (printed - now).max(0));
        tray.place = place;
        tray.stand(place, now);
        tray.frozen_day = Some(day);
        tray.label_wanted = Some(false);
        tray.untold_thaw = false;
        tray.untold_weight = false;
    }

    /// The days of the date mark go on where freezing stopped them: the day of thawing takes the next number.
    fn thaw(&mut self, tray: usize, place: usize, now: i64) {
        let day = self.law.day(now);
        let tray = &mut self.trays[tray];
        tray.place = place;
        tray.stand(place, now);
        if let Some(left) = tray.date_left.take() {
            let date = now + left;
            tray.use_by = Some(date - date.rem_euclid(60_000_000));
        }
        if let (Some(first), Some(frozen)) = (tray.day_one, tray.frozen_day) {
            tray.day_one = Some(first + day - frozen);
        }
        tray.frozen_day = None;
        tray.thawed = true;
        tray.label_wanted = Some(!tray.is_bulk());
        tray.untold_thaw = !tray.is_bulk();
    }

    fn take_out(&mut self, tray: usize, grams: Option<i64>, whither: &'static str, now: i64) {
        let grams = grams.unwrap_or_else(|| self.trays[tray].net());
        let part = draw(&mut self.trays[tray].by_lot, grams);
        self.book(whither, &part, 1);
        self.leave(tray, whither, now);
    }

    fn count(&mut self, tray: usize, counted: i64, now: i64) {
        let missing = self.trays[tray].net() - counted;
        if missing >= 0 {
            let part = draw(&mut self.trays[tray].by_lot, missing);
            self.book("count_difference", &part, 1);
        } else {
            let found = share(-missing, &self.trays[tray].by_lot);
            add(&mut self.trays[tray].by_lot, &found, 1);
            self.book("count_difference", &found, -1);
        }
        self.leave(tray, "counted_away", now);
        let block = self.cut_of(tray).kind == "block";
        let tray = &mut self.trays[tray];
        if missing != 0 && tray.in_stock() && !tray.is_bulk() {
            tray.label_wanted = Some(true);
            tray.untold_weight |= tray.labels > 0 && !tray.untold_thaw && block;
        }
    }

    /// The watch puts on hold, once for good, what was too warm too long, and asks for labels in place of those that promise too much.
    fn watch(&mut self, now: i64, holds: &[(i64, String)]) {
        for tray in 0..self.trays.len() {
            let place = self.trays[tray].place;
            if !self.trays[tray].in_stock() {
                self.trays[tray].label_alarm = false;
                continue;
            }
            let exposed = self.ends(tray, place, now).iter().any(|end| end.clock == "exposure" && end.at < now as f64);
            let outdated = self.outdated(tray, place, now);
            let hold = holds.iter().find(|(_, code)| *code == self.trays[tray].code);
            assert_eq!(hold.is_some(), exposed && !self.trays[tray].told_exposed, "{} held", self.trays[tray].code);
            if let Some((id, _)) = hold {
                self.trays[tray].told_exposed = true;
                self.hold(*id, Scope::Tray(tray));
            }
            let it = &mut self.trays[tray];
            match outdated {
                Some(true) if !it.label_alarm && !it.is_bulk() && it.label_wanted == Some(false) => {
                    it.label_wanted = Some(true);
                }
                None if !it.is_bulk() => it.label_wanted = None,
                _ => {}
            }
            it.label_alarm = outdated.unwrap_or(it.label_alarm);
        }
    }

    fn hold(&mut self, id: i64, scope: Scope) {
        self.holds.push(NaiveHold { id, scope, open: true });
    }

    fn mark_down(&mut self, tray: usize, price: i64) {
        self.trays[tray].price = price;
        self.trays[tray].label_wanted = Some(true);
    }

    fn sell(&mut self, lines: &[(usize, Option<i64>)], now: i64, made: &Made) {
        let mut sold = Vec::new();
        for (number, (tray, grams)) in lines.iter().enumerate() {
            let grams = grams.unwrap_or_else(|| self.trays[*tray].net());
            // To the cent, half up.
            let price = (self.trays[*tray].price * grams + 500) / 1_000;
            assert_eq!(made.prices[number], price, "price of {grams} g of tray {tray}");
            let part = draw(&mut self.trays[*tray].by_lot, grams);
            self.book("customer", &part, 1);
            self.leave(*tray, "sold", now);
            sold.push((*tray, part));
        }
        assert_eq!(made.prices.len(), lines.len() + 1, "the total stands last");
        assert_eq!(made.prices[lines.len()], made.prices[..lines.len()].iter().sum::<i64>(), "total of the sale");
        self.sales.push(NaiveSale { id: made.id, at: now, lines: sold, reversed: false });
    }

    fn reverse(&mut self, sale: usize) {
        self.sales[sale].reversed = true;
        for (tray, part) in self.sales[sale].lines.clone() {
            self.book("customer", &part, -1);
            let back = &mut self.trays[tray];
            if back.fate.take().is_some() {
                back.stays.last_mut().unwrap().to = None;
            }
            add(&mut back.by_lot, &part, 1);
        }
    }
}
