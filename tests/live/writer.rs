//! Someone at work: rolls one act after another on what is in stock at the moment, and does not mind being refused.

use crate::dice::Dice;
use crate::ground::{actor, arrival, chill};
use sakudana::domain::life::curve::Reading;
use sakudana::domain::logger::Line;
use sakudana::domain::shop::Shop;
use sakudana::domain::tray::{Kind, Tray};
use sakudana::ops::break_down::{Cutting, InputDraft, OutputDraft, break_down};
use sakudana::ops::count::{CountLine, count};
use sakudana::ops::desk::Desk;
use sakudana::ops::edit_catalogue::{Expected, put_place};
use sakudana::ops::failure::{Failure, Trouble};
use sakudana::ops::hold::{self, HoldDraft};
use sakudana::ops::label;
use sakudana::ops::look;
use sakudana::ops::mark_down::mark_down;
use sakudana::ops::place_tray::{Way, take_to};
use sakudana::ops::press::Press;
use sakudana::ops::receive::receive;
use sakudana::ops::sell::{LineDraft, reverse, sell};
use sakudana::ops::shelf::{catch_up, go_over};
use sakudana::ops::take_out::{Whither, take_out};
use sakudana::ops::take_readings;
use sakudana::ops::top_up::{TopUp, top_up};
use sakudana::ops::watch::go_round;
use sakudana::store::trays::{self, Filter};
use sakudana::store::{Tx, holds};
use sakudana::units::instant::{Instant, MICROS_PER_MINUTE};
use sakudana::units::temperature::MilliCelsius;
use std::collections::BTreeMap;
use std::sync::Mutex;
use std::sync::atomic::{AtomicI64, Ordering};

/// The clock of a test: every act is a little later than the one before, and now and then hours.
pub struct Clock(AtomicI64);

impl Clock {
    pub fn from(start: Instant) -> Clock {
        Clock(AtomicI64::new(start.micros()))
    }

    pub fn now(&self) -> Instant {
        Instant::from_micros(self.0.load(Ordering::SeqCst)).unwrap()
    }

    pub fn tick(&self, dice: &mut Dice) -> Instant {
        let seconds = if dice.one_in(40) { dice.between(3_600, 12_000) } else { dice.between(1, 120) };
        let before = self.0.fetch_add(seconds * 1_000_000, Ordering::SeqCst);
        Instant::from_micros(before + seconds * 1_000_000).unwrap()
    }
}

pub const PLACES: [&str; 3] = ["case", "cabinet", "freezer"];

/// What was done, by kind, and how often: a test says what it rests on.
pub type Tally = Mutex<BTreeMap<&'static str, usize>>;

pub struct Writer<'a> {
    pub desk: &'a Desk,
    pub clock: &'a Clock,
    pub tally: &'a Tally,
    pub dice: Dice,
    sales: Vec<i64>,
}

impl<'a> Writer<'a> {
    pub fn new(desk: &'a Desk, clock: &'a Clock, tally: &'a Tally, seed: u64) -> Writer<'a> {
        Writer { desk, clock, tally, dice: Dice::new(seed), sales: Vec::new() }
    }

    pub fn work(&mut self, acts: usize) {
        for _ in 0..acts {
            self.one();
        }
    }

    fn stock(&self) -> Vec<Tray> {
        let filter = Filter { in_stock_only: true, ..Filter::default() };
        self.desk.look(|reading, _| Ok(trays::page(reading, &filter, 0, 2_000)?)).unwrap()
    }

    /// Does an act; a refusal and a collision are no act, anything else is a defect.
    fn act<T: Send + 'static>(
        &self,
        kind: &'static str,
        act: impl Fn(&mut Tx<'_>, &Shop) -> Result<T, Failure> + Send + 'static,
    ) -> Option<T> {
        match self.desk.act(act) {
            Ok(done) => {
                *self.tally.lock().unwrap().entry(kind).or_default() += 1;
                Some(done)
            }
            Err(Failure::Refused(_)) => None,
            Err(failure) if failure.trouble() == Trouble::Passing => None,
            Err(failure) => panic!("{kind}: {failure}"),
        }
    }

    fn one(&mut self) {
        let now = self.clock.tick(&mut self.dice);
        let stock = self.stock();
        let bulk: Vec<&Tray> = stock.iter().filter(|tray| tray.kind == Kind::Bulk).collect();
        let sold: Vec<&Tray> = stock.iter().filter(|tray| tray.kind != Kind::Bulk).collect();
        if bulk.is_empty() && self.dice.one_in(2) || stock.is_empty() {
            return self.receive(now);
        }
        if sold.len() < 6 && !bulk.is_empty() {
            let fish = (*self.dice.pick(&bulk)).clone();
            return self.break_down(now, &fish);
        }
        let any = self.dice.pick(&stock).clone();
        let for_sale = if sold.is_empty() { any.clone() } else { (*self.dice.pick(&sold)).clone() };
        match self.dice.between(0, 99) {
            0..4 => self.receive(now),
            4..16 if !bulk.is_empty() => {
                let fish = (*self.dice.pick(&bulk)).clone();
                self.break_down(now, &fish);
            }
            16..44 => self.sell(now, &for_sale),
            44..50 => self.reverse(now),
            50..56 => self.carry(now, &any),
            56..61 => self.top_up(now, &sold),
            61..66 => self.mark_down(now, &for_sale),
            66..71 => self.hold(now, &any),
            71..75 => self.release(now),
            75..79 => self.count(now, &any),
            79..83 => self.take_out(now, &any),
            83..87 => self.readings(now),
            87..92 => self.label(now, &for_sale),
            92..94 => self.put_place(now),
            94..96 => drop(self.act("watch", move |tx, shop| go_round(tx, shop, now))),
            96..98 => {
                let place: &&str = self.dice.pick(&PLACES);
                let _ = go_over(self.desk, now, place).map_err(only_passing);
            }
            _ => drop(catch_up(self.desk, now).map_err(only_passing)),
        }
    }

    fn receive(&mut self, now: Instant) {
        let place = if self.dice.one_in(4) { "cabinet" } else { "case" };
        let mut arrival =
            arrival(if self.dice.one_in(4) { "SAL" } else { "YFT" }, place, self.dice.between(2_000, 9_000));
        arrival.inspection.core_temperature_mc = if self.dice.one_in(8) { 6_000 } else { 1_000 };
        self.act("receive", move |tx, shop| receive(tx, shop, &actor(), now, &arrival));
    }

    fn break_down(&mut self, now: Instant, fish: &Tray) {
        let total = fish.net.get();
        let number = self.dice.between(1, 4);
        let mut outputs: Vec<OutputDraft> = Vec::new();
        for _ in 0..number {
            let cut = (*self.dice.pick(&["saku", "saku", "belly", "slices", "scrape", "scrape", "collar", "loin"]))
                .to_owned();
            let place = (*self.dice.pick(&["case", "case", "cabinet"])).to_owned();
            outputs.push(OutputDraft { cut, place, net_g: total / number });
        }
        let cutting = Cutting {
            inputs: vec![InputDraft { tray: fish.code.to_string(), grams: None }],
            outputs,
            losses: Vec::new(),
            place: "case".into(),
            bench_minutes: Some(5),
            reason: Some("the scale of the fish".into()),
        };
        self.act("break_down", move |tx, shop| break_down(tx, shop, &actor(), now, &cutting));
    }

    fn sell(&mut self, now: Instant, tray: &Tray) {
        let grams = match tray.kind {
            Kind::Tub if !self.dice.one_in(8) => Some(self.dice.between(1, tray.net.get().clamp(1, 300))),
            _ => None,
        };
        let line = LineDraft { tray: tray.code.to_string(), grams };
        let sold = self.act("sell", move |tx, shop| sell(tx, shop, &actor(), now, std::slice::from_ref(&line)));
        self.sales.extend(sold.map(|sold| sold.sale.id));
    }

    fn reverse(&mut self, now: Instant) {
        if let Some(id) = self.sales.pop() {
            self.act("reverse", move |tx, shop| reverse(tx, shop, &actor(), now, id, "scanned twice"));
        }
    }

    fn carry(&mut self, now: Instant, tray: &Tray) {
        let (code, place) = (tray.code.to_string(), (*self.dice.pick(&PLACES)).to_owned());
        let way = match (place.as_str(), tray.place.as_str()) {
            ("freezer", _) => Way::Freeze,
            (_, "freezer") => Way::Thaw,
            _ => Way::Move,
        };
        self.act("carry", move |tx, shop| take_to(tx, shop, &actor(), now, &code, &place, way, None));
    }

    fn top_up(&mut self, now: Instant, sold: &[&Tray]) {
        let tubs: Vec<&&Tray> = sold.iter().filter(|tray| tray.kind == Kind::Tub).collect();
        let [first, .., last] = tubs.as_slice() else { return };
        let (tub, source) = if self.dice.one_in(2) { (first, last) } else { (last, first) };
        let grams = self.dice.one_in(2).then(|| self.dice.between(1, source.net.get().max(1)));
        let (tub, draft) = (tub.code.to_string(), TopUp { source: source.code.to_string(), grams });
        self.act("top_up", move |tx, shop| top_up(tx, shop, &actor(), now, &tub, &draft));
    }

    fn mark_down(&mut self, now: Instant, tray: &Tray) {
        let (code, price) = (tray.code.to_string(), tray.price.get() * self.dice.between(60, 95) / 100);
        self.act("mark_down", move |tx, shop| mark_down(tx, shop, &actor(), now, &code, price, "last \"day\"\n"));
    }

    fn hold(&mut self, now: Instant, tray: &Tray) {
        let scope = (*self.dice.pick(&["tray", "tray", "batch"])).to_owned();
        let draft = HoldDraft { scope, code: tray.code.to_string(), reason: "smells odd".into() };
        self.act("hold", move |tx, shop| hold::place(tx, shop, &actor(), now, &draft));
    }

    fn release(&mut self, now: Instant) {
        let open = self.desk.look(|reading, _| Ok(holds::open(reading)?)).unwrap();
        if !open.is_empty() {
            let id = self.dice.pick(&open).id;
            self.act("release", move |tx, _| hold::release(tx, &actor(), now, id, "looked at it"));
        }
    }

    fn count(&mut self, now: Instant, tray: &Tray) {
        let counted_g =
            if self.dice.one_in(4) { 0 } else { tray.net.get() - self.dice.between(0, 40).min(tray.net.get()) };
        let line = CountLine { tray: tray.code.to_string(), counted_g };
        self.act("count", move |tx, shop| count(tx, shop, &actor(), now, std::slice::from_ref(&line), Some("evening")));
    }

    fn take_out(&mut self, now: Instant, tray: &Tray) {
        let whither = if self.dice.one_in(2) { Whither::Kitchen } else { Whither::Waste };
        let code = tray.code.to_string();
        self.act("take_out", move |tx, shop| take_out(tx, shop, &actor(), now, &code, whither, None, Some("too old")));
    }

    fn readings(&mut self, now: Instant) {
        let place = (*self.dice.pick(&["case", "cabinet"])).to_owned();
        let warm = self.dice.one_in(5);
        let line = |number: i64| Line {
            number: u64::try_from(number).unwrap(),
            found: Ok(Reading {
                at: now.plus_micros(-number * 10 * MICROS_PER_MINUTE),
                temperature: MilliCelsius::new(if warm { 9_000 } else { 700 + 50 * number }).unwrap(),
            }),
        };
        let lines: Vec<Line> = (0..6).map(line).collect();
        self.act("readings", move |tx, shop| {
            let delivery = take_readings::begin(tx, &place)?;
            take_readings::take(tx, shop, &actor(), now, &delivery, &lines)
        });
    }

    fn label(&mut self, now: Instant, tray: &Tray) {
        let code = tray.code.to_string();
        self.act("label", move |tx, shop| {
            label::issue(tx, shop, &Press::default(), &actor(), now, &code, Some("torn"))
        });
    }

    fn put_place(&mut self, now: Instant) {
        let places = self.desk.look(|reading, _| look::all_places(reading)).unwrap();
        let place = places.into_iter().find(|place| place.code == "cabinet").unwrap();
        let draft = chill(0, self.dice.between(500, 4_000));
        self.act("put_place", move |tx, shop| {
            put_place(tx, shop, &actor(), now, "cabinet", &draft, Expected::Version(place.version))
        });
    }
}

fn only_passing(failure: Failure) {
    assert_eq!(failure.trouble(), Trouble::Passing, "{failure}");
}
