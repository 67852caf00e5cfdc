//! The shop in plain lists: what lies where, by lot, in whole grams. Applies acts that are allowed; whether one is
//! allowed is told in `naive_rules`.

use crate::acts::{Act, Output};
use crate::ground::{CUTS, CutLine};
use crate::naive_life::{NaiveLife, budget_hours, rate};
use std::collections::BTreeMap;

#[derive(Debug, Clone)]
pub struct NaivePlace {
    pub code: String,
    pub method: &'static str,
    pub limit: i64,
    pub version: i64,
}

impl NaivePlace {
    pub fn rate(&self) -> f64 {
        rate(self.method, self.limit)
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
    pub list_price: i64,
    pub life: NaiveLife,
    pub use_by: Option<i64>,
    /// What the printed date had left when the tray was frozen.
    pub date_left: Option<i64>,
    pub thawed: bool,
    pub labels: usize,
    /// Unknown when rounding decides.
    pub label_wanted: Option<bool>,
    pub gone_at: i64,
}

impl NaiveTray {
    pub fn in_stock(&self) -> bool {
        self.fate.is_none()
    }

    pub fn net(&self) -> i64 {
        self.by_lot.values().sum()
    }

    fn is_bulk(&self) -> bool {
        CUTS[self.cut].kind == "bulk"
    }

    /// A date that the life no longer reaches wants a new label; what is not sold carries none.
    fn check_date(&mut self, now: i64) {
        let (Some(printed), Some(end), false) = (self.use_by, self.life.end(now), self.is_bulk()) else { return };
        let printed = printed as f64;
        // A tray whose life is over ends where it stands.
        let end = end.max(now as f64).min(f64::MAX);
        if (end - printed).abs() < 2_000.0 {
            self.label_wanted = None;
        } else if end < printed {
            self.label_wanted = Some(true);
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
}

#[derive(Debug, Default)]
pub struct Naive {
    pub places: Vec<NaivePlace>,
    pub lots: Vec<NaiveLot>,
    pub trays: Vec<NaiveTray>,
    pub sales: Vec<NaiveSale>,
    pub holds: Vec<NaiveHold>,
    breakdowns: usize,
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
            tray.gone_at = now;
        }
    }

    /// Does an act that was accepted.
    pub fn apply(&mut self, act: &Act, now: i64, made: &Made) {
        match act {
            Act::Receive { species, place, grams, record, warm, thawed } => {
                self.receive(species, *place, *grams, *record, *thawed, now, made);
                if *warm {
                    self.holds.push(NaiveHold { id: made.id, scope: Scope::Lot(self.lots.len() - 1), open: true });
                }
            }
            Act::BreakDown { inputs, outputs, losses, .. } => self.break_down(inputs, outputs, losses, now, made),
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
            }
            Act::MarkDown { tray, price } => self.mark_down(*tray, *price),
            Act::Accept { trays } => {
                for tray in trays {
                    let price = self.advised(*tray, now).unwrap();
                    self.mark_down(*tray, price);
                }
            }
            Act::Sell { lines } => self.sell(lines, now, made),
            Act::Reverse { sale } => self.reverse(*sale, now),
            Act::PutPlace { place, method, limit, .. } => self.put_place(*place, method, *limit, now),
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
        let hours = budget_hours(species, CUTS[0].form, None);
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
            list_price: 0,
            life: NaiveLife::begin(hours, now, 0.0, self.places[place].rate()),
            use_by: None,
            date_left: None,
            thawed: thawed && !self.is_frozen(place),
            labels: 0,
            label_wanted: Some(false),
            gone_at: 0,
        });
    }

    fn break_down(
        &mut self,
        inputs: &[(usize, Option<i64>)],
        outputs: &[Output],
        losses: &[i64],
        now: i64,
        made: &Made,
    ) {
        let lives: Vec<NaiveLife> = inputs.iter().map(|(tray, _)| self.trays[*tray].life.clone()).collect();
        let species = self.trays[inputs[0].0].species;
        let use_by = inputs.iter().filter_map(|(tray, _)| self.trays[*tray].use_by).min();
        let thawed = inputs.iter().any(|(tray, _)| self.trays[*tray].thawed);
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
            let hours = budget_hours(species, cut.form, cut.own_hours);
            let used = NaiveLife::inherited(&lives, hours, now);
            let by_lot = draw(&mut pool, output.grams).into_iter().filter(|(_, grams)| *grams > 0).collect();
            self.trays.push(NaiveTray {
                code: made.codes[number].clone(),
                cut: output.cut,
                species,
                breakdown: Some(self.breakdowns),
                made_of: inputs.iter().map(|(tray, _)| *tray).collect(),
                place: output.place,
                fate: None,
                by_lot,
                price: cut.price,
                list_price: cut.price,
                life: NaiveLife::begin(hours, now, used, self.places[output.place].rate()),
                use_by,
                date_left: None,
                thawed,
                labels: 0,
                label_wanted: Some(cut.kind != "bulk"),
                gone_at: 0,
            });
        }
        self.book("shrink", &pool, 1);
        self.breakdowns += 1;
    }

    fn top_up(&mut self, tub: usize, source: usize, grams: Option<i64>, now: i64) {
        let lives = [self.trays[tub].life.clone(), self.trays[source].life.clone()];
        let hours = budget_hours(self.trays[tub].species, self.cut_of(tub).form, self.cut_of(tub).own_hours);
        let used = NaiveLife::inherited(&lives, hours, now);
        let grams = grams.unwrap_or_else(|| self.trays[source].net());
        let part = draw(&mut self.trays[source].by_lot, grams);
        let (use_by, thawed) = (self.trays[source].use_by, self.trays[source].thawed);
        let into = &mut self.trays[tub];
        add(&mut into.by_lot, &part, 1);
        into.made_of.push(source);
        into.life.set_used(now, used);
        into.use_by = [into.use_by, use_by].into_iter().flatten().min();
        into.thawed |= thawed;
        into.label_wanted = Some(true);
        self.leave(source, "topped_into", now);
    }

    fn carry(&mut self, tray: usize, place: usize, now: i64) {
        let rate = self.places[place].rate();
        let tray = &mut self.trays[tray];
        tray.place = place;
        tray.life.at_rate(now, rate);
        tray.check_date(now);
    }

    /// The printed date stops: it goes on at the thaw with what it had left, however warm the tray stood.
    fn freeze(&mut self, tray: usize, place: usize, now: i64) {
        let to = self.places[place].rate();
        let tray = &mut self.trays[tray];
        tray.date_left = tray.use_by.take().map(|printed| printed - now);
        tray.place = place;
        tray.life.at_rate(now, to);
        tray.label_wanted = Some(false);
    }

    fn thaw(&mut self, tray: usize, place: usize, now: i64) {
        self.carry(tray, place, now);
        let tray = &mut self.trays[tray];
        if let Some(left) = tray.date_left.take() {
            let date = now + left;
            tray.use_by = Some(date - date % 60_000_000);
        }
        tray.thawed = true;
        tray.label_wanted = Some(!tray.is_bulk());
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
        let tray = &mut self.trays[tray];
        if missing != 0 && tray.in_stock() && !tray.is_bulk() {
            tray.label_wanted = Some(true);
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

    fn reverse(&mut self, sale: usize, now: i64) {
        self.sales[sale].reversed = true;
        for (tray, part) in self.sales[sale].lines.clone() {
            self.book("customer", &part, -1);
            let now_rate = self.places[self.trays[tray].place].rate();
            let back = &mut self.trays[tray];
            if back.fate.take().is_some() {
                // Where its place was changed meanwhile, the time since the sale counts at the faster of both.
                let (before, gone_at) = (back.life.rate(now), back.gone_at);
                back.life.at_rate(gone_at, before.max(now_rate));
                back.life.at_rate(now, now_rate);
            }
            add(&mut back.by_lot, &part, 1);
        }
    }

    fn put_place(&mut self, place: usize, method: &'static str, limit: i64, now: i64) {
        let at = &mut self.places[place];
        (at.method, at.limit, at.version) = (method, limit, at.version + 1);
        let rate = at.rate();
        for tray in self.trays.iter_mut().filter(|t| t.place == place && t.in_stock()) {
            tray.life.at_rate(now, rate);
            tray.check_date(now);
        }
    }
}
