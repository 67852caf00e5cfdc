//! A shop in a database of its own with some dozens of labelled trays, and what the codes on them say.

use crate::counter::{actor, arrival, catalogue, shop};
use sakudana::domain::claims::Printed;
use sakudana::domain::gs1::elements::{self, GS};
use sakudana::domain::gs1::link;
use sakudana::domain::gs1::own::{Codes, Linear};
use sakudana::domain::gs1::restricted::Layout;
use sakudana::domain::gs1::tray_link::TrayLink;
use sakudana::domain::refusal::{Code, Refusal};
use sakudana::domain::shop::Shop;
use sakudana::domain::tray::{Kind, Tray};
use sakudana::ops::break_down::{Cutting, InputDraft, LossDraft, OutputDraft, break_down};
use sakudana::ops::desk::Desk;
use sakudana::ops::failure::Failure;
use sakudana::ops::label::forms::{Form, hand_out};
use sakudana::ops::label::{self, Wanted};
use sakudana::ops::mark_down::mark_down;
use sakudana::ops::press::Press;
use sakudana::ops::receive::receive;
use sakudana::ops::scan::{Scanned, scan};
use sakudana::store::{StoreOptions, issued_labels};
use sakudana::units::instant::{Instant, MICROS_PER_MINUTE};

pub struct Shelf {
    pub desk: Desk,
    pub now: Instant,
    pub trays: Vec<OnShelf>,
    _folder: tempfile::TempDir,
}

/// A tray with its label.
pub struct OnShelf {
    pub tray: Tray,
    pub item_number: i64,
    pub lot: String,
    /// The texts of its codes.
    pub address: String,
    pub elements: String,
    pub linear: Option<String>,
}

pub fn shop_with(gs1_prefix: Option<&str>, layout: Option<(&str, u32)>) -> Shop {
    let linear =
        layout.map(|(text, decimals)| Linear { layout: Layout::parse(text).unwrap(), decimals, money_decimals: 2 });
    Shop { codes: Codes { gs1_prefix: gs1_prefix.map(Into::into), linear }, ..shop() }
}

impl Shelf {
    /// `lots` fish, each cut into blocks of these weights and a tub of 300 g, all labelled.
    pub fn stocked(shop: Shop, lots: usize, blocks: &[i64]) -> Shelf {
        let folder = tempfile::tempdir().unwrap();
        let database = folder.path().join("shop.db").to_str().unwrap().to_owned();
        let desk = Desk::open(&StoreOptions { database, readers: 2 }, shop).unwrap();
        let now = Instant::parse("2026-11-25T06:00:00Z").unwrap();
        catalogue(&desk, now);
        let mut shelf = Shelf { desk, now, trays: Vec::new(), _folder: folder };
        for _ in 0..lots {
            for (tray, lot) in shelf.cut(blocks) {
                let labelled = shelf.label(&tray, now).unwrap();
                shelf.trays.push(shelf.on_shelf(&labelled, &lot));
            }
        }
        shelf
    }

    /// One fish, cut; nothing labelled.
    pub fn cut(&self, blocks: &[i64]) -> Vec<(Tray, String)> {
        let now = self.now;
        let fish = arrival(Some(now));
        let received = self.desk.act(move |tx, shop| receive(tx, shop, &actor(), now, &fish)).unwrap();
        let output = |cut: &str, net_g| OutputDraft { cut: cut.into(), place: "case".into(), net_g };
        let mut outputs: Vec<OutputDraft> = blocks.iter().map(|net_g| output("lean-saku", *net_g)).collect();
        outputs.push(output("scrape", 300));
        let rest = 4_000 - 300 - blocks.iter().sum::<i64>();
        let cutting = Cutting {
            inputs: vec![InputDraft { tray: received.tray.code.to_string(), grams: None }],
            outputs,
            losses: vec![LossDraft { name: "head and bones".into(), grams: rest }],
            place: "case".into(),
            bench_minutes: None,
            reason: None,
        };
        let made = self.desk.act(move |tx, shop| break_down(tx, shop, &actor(), now, &cutting)).unwrap();
        made.trays.into_iter().map(|tray| (tray, received.lot.code.clone())).collect()
    }

    pub fn label(&self, tray: &Tray, now: Instant) -> Result<Tray, Failure> {
        let code = tray.code.to_string();
        self.desk.act(move |tx, shop| label::issue(tx, shop, &Press::default(), &actor(), now, &code, None))
    }

    /// The label of a tray as it is printed.
    pub fn picture(&self, tray: &Tray) -> Vec<u8> {
        let code = tray.code.to_string();
        let drawn =
            |form| self.desk.look(|reading, _| hand_out(reading, &Press::default(), &code, &Wanted::default(), form));
        drawn(Form::Png).unwrap()
    }

    pub fn mark_down(&self, tray: &Tray, price_per_kg_cents: i64) -> Tray {
        let (code, now) = (tray.code.to_string(), self.now);
        self.desk
            .act(move |tx, shop| mark_down(tx, shop, &actor(), now, &code, price_per_kg_cents, "last day"))
            .unwrap()
    }

    pub fn later(&self) -> Instant {
        self.now.plus_micros(MICROS_PER_MINUTE)
    }

    /// What stands on the label of a tray that was labelled just now.
    pub fn on_shelf(&self, tray: &Tray, lot: &str) -> OnShelf {
        let shop = self.desk.shop();
        let item_number = if tray.kind == Kind::Tub { 103 } else { 101 };
        let price = tray.price.for_weight(tray.net);
        let code = tray.code.to_string();
        let said = TrayLink {
            money_decimals: 2,
            base: &shop.web_address,
            article: shop.codes.article(item_number),
            lot_code: lot,
            tray_code: &code,
            weight_and_price: (tray.kind == Kind::Block).then_some((tray.net, price)),
            use_by: tray.use_by.map(|end| shop.zone.day_of(end)),
            use_by_time: tray.use_by.filter(|_| tray.kind == Kind::Tub).map(|end| shop.zone.time_of(end)),
        };
        let linear = (tray.kind == Kind::Block)
            .then(|| shop.codes.linear_number(item_number, price, tray.net).unwrap())
            .flatten();
        OnShelf {
            tray: tray.clone(),
            item_number,
            lot: lot.to_owned(),
            address: said.address().unwrap(),
            elements: said.element_string().unwrap(),
            linear,
        }
    }

    pub fn scan(&self, text: &str) -> Result<Scanned, Refusal> {
        self.scan_at(text, self.later())
    }

    pub fn scan_at(&self, text: &str, now: Instant) -> Result<Scanned, Refusal> {
        match self.desk.look(|reading, shop| scan(reading, shop, now, text)) {
            Ok(scanned) => Ok(scanned),
            Err(Failure::Refused(refusal)) => Err(refusal),
            Err(other) => panic!("{text:?}: {other}"),
        }
    }

    /// The reasons to stop a scan, or the code of its refusal alone.
    pub fn reasons(&self, text: &str) -> Vec<Code> {
        match self.scan(text) {
            Ok(scanned) => scanned.verdict.stops.iter().map(|stop| stop.code).collect(),
            Err(refusal) => vec![refusal.code],
        }
    }

    /// The labels of a tray as its codes say them, the latest last.
    pub fn labels(&self, tray: &Tray) -> Vec<Printed> {
        let issued = self.desk.look(|reading, _| Ok(issued_labels::of_tray(reading, tray.id)?)).unwrap();
        let zone = self.desk.shop().zone;
        issued
            .iter()
            .map(|label| Printed::of(tray.kind, label.use_by.map(|end| zone.local(end)), label.net, label.price))
            .collect()
    }
}

impl OnShelf {
    /// Every form in which its code can come.
    pub fn forms(&self) -> Vec<String> {
        let code = self.tray.code;
        let message = link::read(&self.address).unwrap().message;
        let mut forms = vec![
            self.address.clone(),
            format!("]Q1{}\r\n", self.address),
            self.address.to_uppercase(),
            self.address.to_lowercase(),
            elements::bracketed(&message),
            elements::scan_data(&message, "]Q3"),
            elements::data(&message, GS),
            elements::with_fnc1(&message),
            self.elements.clone(),
            format!("\u{2}{}\u{3}", self.elements.replace(GS, "<GS>")),
            code.to_string(),
            code.grouped().to_lowercase(),
        ];
        forms.extend(self.linear.iter().cloned());
        forms
    }
}
