//! A counter with one of everything a sale can contradict, and tills that tell of what they sold. Judges nothing.

use crate::ground::{Ground, Which, actor, arrival, chill, shop, start};
use diesel::RunQueryDsl;
use sakudana::domain::gs1::own::{Article, Codes, Linear};
use sakudana::domain::gs1::restricted::Layout;
use sakudana::domain::permissions::Role;
use sakudana::domain::place::PlaceDraft;
use sakudana::domain::replay::Contradiction;
use sakudana::domain::shop::Shop;
use sakudana::domain::tray::Tray;
use sakudana::ops::break_down::{Cutting, InputDraft, LossDraft, OutputDraft, break_down};
use sakudana::ops::desk::Actor;
use sakudana::ops::failure::Failure;
use sakudana::ops::hold::{self, HoldDraft};
use sakudana::ops::judge::tray_by_code;
use sakudana::ops::label;
use sakudana::ops::once::Request;
use sakudana::ops::press::Press;
use sakudana::ops::receive::receive;
use sakudana::ops::replay::{Outcome, ROUTE, ReplayedDraft, ReplayedLineDraft, Sender, Speech, take};
use sakudana::ops::sell::{LineDraft, Sold, sell};
use sakudana::ops::settle::{Place, Shown, Which as List, page};
use sakudana::ops::verify::verify;
use sakudana::store::Tx;
use sakudana::store::acts;
use sakudana::store::sales::{self, SaleLine};
use sakudana::units::instant::{Instant, MICROS_PER_MINUTE};
use sakudana::units::mass::Grams;
use sakudana::units::money::Cents;
use std::sync::Arc;

/// Minutes after the shop opened.
pub fn at(minutes: i64) -> Instant {
    start().plus_micros(minutes * MICROS_PER_MINUTE)
}

pub struct Counter {
    pub ground: Ground,
    /// Blocks of 300 g at 79.50 a kilogram: 23.85 each.
    pub blocks: Vec<String>,
    /// 500 g each, at 23.33 a kilogram.
    pub tubs: Vec<String>,
    /// Two thousand grams of what is not sold as it is.
    pub loin: String,
    /// Its own life is two days at 0 °C.
    pub belly: String,
    /// Of a species that needs freezing, without its record.
    pub salmon: String,
}

pub const BLOCK_CENTS: i64 = 2_385;

impl Counter {
    pub fn open(which: Which, blocks: usize, tubs: usize) -> Counter {
        let linear = Linear { layout: Layout::parse("29IIIIVPPPPPC").unwrap(), decimals: 2, money_decimals: 2 };
        let codes = Codes { linear: Some(linear), ..Codes::default() };
        let ground = Ground::of(Shop { codes, ..shop() }, which, 2);
        ground.place("case", chill(0, 2_000));
        let freezer = PlaceDraft {
            name: "Freezer".into(),
            method: "frozen".into(),
            set_point_mc: -60_000,
            upper_limit_mc: -50_000,
            ..PlaceDraft::default()
        };
        ground.place("freezer", freezer);
        let mut outputs = vec![("loin", 2_000), ("belly", 200)];
        outputs.extend(std::iter::repeat_n(("saku", 300), blocks));
        outputs.extend(std::iter::repeat_n(("scrape", 500), tubs));
        let made = cut(&ground, "YFT", 40_000, &outputs);
        let mut counter = Counter {
            loin: made[0].clone(),
            belly: made[1].clone(),
            blocks: made[2..2 + blocks].to_vec(),
            tubs: made[2 + blocks..].to_vec(),
            salmon: String::new(),
            ground,
        };
        counter.salmon = cut(&counter.ground, "SAL", 4_000, &[("saku", 300)])[0].clone();
        counter
    }

    /// Does an act as the manager.
    pub fn act<T: Send + 'static>(&self, act: impl Fn(&mut Tx<'_>, &Shop) -> Result<T, Failure> + Send + 'static) -> T {
        self.ground.desk.act(act).unwrap()
    }

    pub fn tray(&self, code: &str) -> Tray {
        let code = code.to_owned();
        self.ground.desk.look(|reading, _| tray_by_code(reading, "", &code)).unwrap()
    }

    /// What is left on a tray, and where it went.
    pub fn left(&self, code: &str) -> (i64, &'static str) {
        let tray = self.tray(code);
        (tray.net.get(), tray.fate.map_or("here", |fate| fate.as_str()))
    }

    /// Issues the label of a tray.
    pub fn label(&self, code: &str) {
        let code = code.to_owned();
        self.act(move |tx, shop| label::issue(tx, shop, &Press::default(), &actor(), at(5), &code, None).map(drop));
    }

    pub fn hold(&self, code: &str, minutes: i64) -> i64 {
        let draft = HoldDraft { scope: "tray".into(), code: code.into(), reason: "smells odd".into() };
        self.act(move |tx, shop| Ok(hold::place(tx, shop, &actor(), at(minutes), &draft)?.id))
    }

    pub fn sell_live(&self, code: &str, grams: Option<i64>, minutes: i64) -> Sold {
        let lines = [LineDraft { tray: code.into(), grams }];
        self.act(move |tx, shop| sell(tx, shop, &actor(), at(minutes), &lines))
    }

    /// A till sells by itself, under the key of a sale as it would keep it; gives the number of the sale.
    pub fn sell_under(&self, till: &str, draft: &ReplayedDraft, minutes: i64) -> i64 {
        let lines: Vec<LineDraft> = draft
            .lines
            .iter()
            .map(|line| LineDraft { tray: line.tray.clone(), grams: line.grams.map(Grams::get) })
            .collect();
        let request = Request {
            client: till.into(),
            route: ROUTE.into(),
            key: draft.key.clone(),
            fingerprint: draft.fingerprint_unpriced.clone(),
        };
        let Speech { say, sale_of } = sender(till).speech;
        let answer = self
            .ground
            .desk
            .act_once(request, at(minutes), move |tx, shop| Ok(say(sell(tx, shop, &actor(), at(minutes), &lines)?)));
        sale_of(&answer.unwrap().body).unwrap()
    }

    /// A till sends these, received so many minutes after the opening.
    pub fn send(&self, till: &str, minutes: i64, drafts: Vec<ReplayedDraft>) -> Vec<Outcome> {
        take(&self.ground.desk, &sender(till), at(minutes), None, drafts).unwrap().0
    }

    pub fn exceptions(&self) -> Vec<Shown> {
        self.ground.desk.look(|reading, _| page(reading, List::All, Place::BEGINNING, 200)).unwrap().0
    }

    /// Everything that data can show holds.
    #[track_caller]
    pub fn sound(&self) {
        let found = self.ground.desk.look(|reading, _| verify(reading)).unwrap();
        let wrong: Vec<_> = found.into_iter().filter(|finding| !finding.wrong.is_empty()).collect();
        assert!(wrong.is_empty(), "{wrong:#?}");
    }

    /// The names of what does not hold.
    pub fn unsound(&self) -> Vec<&'static str> {
        let found = self.ground.desk.look(|reading, _| verify(reading)).unwrap();
        found.into_iter().filter(|finding| !finding.wrong.is_empty()).map(|finding| finding.name).collect()
    }

    /// Does damage, past the program.
    pub fn forget(&self, statement: &str) {
        let mut witness = self.ground.witness();
        diesel::sql_query(statement).execute(&mut witness).unwrap();
    }

    /// Grams of all lots on one account.
    pub fn account(&self, name: &str) -> i64 {
        let of_lot = |lot: i64| {
            let accounts = self.ground.desk.look(|reading, _| Ok::<_, Failure>(acts::balance_of_lot(reading, lot)?));
            accounts.unwrap().into_iter().filter(|a| a.account == name).map(|a| a.grams).sum::<i64>()
        };
        of_lot(1) + of_lot(2)
    }

    /// The code under the bars of a block of this price.
    pub fn linear(&self, cents: i64) -> String {
        let codes = &self.ground.desk.shop().codes;
        let grams = Grams::new(300).unwrap();
        codes.linear_number(4, Cents::new(cents).unwrap(), grams).unwrap().unwrap()
    }

    /// The line that a tray was sold by.
    pub fn sale_line(&self, code: &str) -> SaleLine {
        let id = self.tray(code).id;
        let line = self.ground.desk.look(|reading, _| {
            let sale = sales::last_of_tray(reading, id)?.unwrap();
            Ok::<_, Failure>(sales::lines_of(reading, sale.id)?.into_iter().find(|line| line.tray_id == id))
        });
        line.unwrap().unwrap()
    }

    pub fn link(&self, code: &str, lot: &str) -> String {
        let article = Article::Restricted { item_number: 4 }.number().unwrap();
        format!("https://fish.example/01/{article}/10/{lot}/21/{code}")
    }
}

fn cut(ground: &Ground, species: &str, grams: i64, outputs: &[(&str, i64)]) -> Vec<String> {
    let mut fish = arrival(species, "case", grams);
    if species == "SAL" {
        fish.parasite_letter = None;
    }
    let received = ground.desk.act(move |tx, shop| receive(tx, shop, &actor(), at(1), &fish)).unwrap();
    let out: i64 = outputs.iter().map(|output| output.1).sum();
    let output = |(cut, net_g): &(&str, i64)| OutputDraft { cut: (*cut).into(), place: "case".into(), net_g: *net_g };
    let cutting = Cutting {
        inputs: vec![InputDraft { tray: received.tray.code.to_string(), grams: None }],
        outputs: outputs.iter().map(output).collect(),
        losses: vec![LossDraft { name: "frame".into(), grams: grams - out }],
        place: "case".into(),
        bench_minutes: None,
        reason: None,
    };
    let made = ground.desk.act(move |tx, shop| break_down(tx, shop, &actor(), at(2), &cutting)).unwrap();
    made.trays.iter().map(|tray| tray.code.to_string()).collect()
}

pub fn sender(till: &str) -> Arc<Sender> {
    let speech = Speech {
        say: |sold| (201, format!("{{\"sale_id\":{}}}", sold.sale.id)),
        sale_of: |body| body.trim_start_matches("{\"sale_id\":").trim_end_matches('}').parse().ok(),
    };
    let actor = Actor { name: format!("key {till}"), role: Role::Till };
    Arc::new(Sender { client: till.into(), actor, speech })
}

/// A line: what was scanned, the grams, the money.
pub type Line<'a> = (&'a str, Option<i64>, i64);

/// A sale as a till kept it, sold so many minutes after the opening.
pub fn sale(key: &str, minutes: i64, lines: &[Line<'_>]) -> ReplayedDraft {
    let line = |(tray, grams, charged): &Line<'_>| ReplayedLineDraft {
        tray: (*tray).to_owned(),
        grams: grams.map(|grams| Grams::new(grams).unwrap()),
        charged: Cents::new(*charged).unwrap(),
    };
    ReplayedDraft {
        number: 1,
        key: format!("till-sale-{key:0>8}"),
        fingerprint: format!("{lines:?}"),
        fingerprint_as_sale: format!("priced {lines:?}"),
        fingerprint_unpriced: format!("{:?}", lines.iter().map(|line| (line.0, line.1)).collect::<Vec<_>>()),
        device_time: at(minutes),
        sequence: None,
        lines: lines.iter().map(line).collect(),
        total: Cents::new(lines.iter().map(|line| line.2).sum()).unwrap(),
    }
}

/// The codes found, each with its line.
pub fn found(outcome: &Outcome) -> Vec<(i64, &'static str)> {
    outcome.found.iter().map(|(line, what): &(i64, Contradiction)| (*line, what.as_str())).collect()
}
