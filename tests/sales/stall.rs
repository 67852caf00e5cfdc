//! A stocked shop that is made the same way each time, so that two of them can be held against each other. Decides nothing.

use crate::ground::{Ground, Which, actor, arrival, chill, shop, start};
use diesel::prelude::*;
use diesel::sql_types::Text;
use sakudana::domain::gs1::own::{Codes, Linear};
use sakudana::domain::gs1::restricted::Layout;
use sakudana::domain::gs1::tray_link::TrayLink;
use sakudana::domain::place::PlaceDraft;
use sakudana::domain::shop::Shop;
use sakudana::domain::tray::{Kind, Tray};
use sakudana::ops::break_down::{Cutting, InputDraft, LossDraft, OutputDraft, break_down};
use sakudana::ops::hold::{self, HoldDraft};
use sakudana::ops::label;
use sakudana::ops::mark_down::mark_down;
use sakudana::ops::place_tray::{Way, take_to};
use sakudana::ops::press::Press;
use sakudana::ops::receive::receive;
use sakudana::ops::top_up::{TopUp, top_up};
use sakudana::ops::verify;

/// Cut and grams of what each fish gives.
const OUTPUTS: [(&str, i64); 9] = [
    ("saku", 310),
    ("saku", 244),
    ("saku", 268),
    ("saku", 301),
    ("saku", 299),
    ("belly", 280),
    ("collar", 410),
    ("scrape", 600),
    ("scrape", 200),
];
const WHOLE_G: i64 = 4_000;

pub struct Stall {
    pub ground: Ground,
    pub trays: Vec<Tray>,
    /// What scanners may send of them, tray by tray.
    pub texts: Vec<String>,
}

fn with_prices() -> Shop {
    let linear = Linear { layout: Layout::parse("29IIIIVPPPPPC").unwrap(), decimals: 2, money_decimals: 2 };
    Shop { codes: Codes { gs1_prefix: None, linear: Some(linear) }, ..shop() }
}

impl Stall {
    /// Three fish, cut and labelled; of one the letter about its parasites is missing. Some trays are stopped for one reason or another.
    pub fn open(which: Which) -> Stall {
        let ground = Ground::of(with_prices(), which, 2);
        ground.place("case", chill(0, 2_000));
        let freezer = PlaceDraft { method: "frozen".into(), ..chill(-60_000, -50_000) };
        ground.place("freezer", freezer);
        let mut stall = Stall { ground, trays: Vec::new(), texts: Vec::new() };
        let lots: Vec<String> = [("YFT", true), ("YFT", true), ("SAL", false)]
            .into_iter()
            .map(|(species, letter)| stall.cut(species, letter))
            .collect();
        stall.pour();
        stall.label();
        stall.say(&lots);
        stall.stop();
        stall
    }

    fn cut(&mut self, species: &str, letter: bool) -> String {
        let mut fish = arrival(species, "case", WHOLE_G);
        fish.parasite_letter = fish.parasite_letter.filter(|_| letter);
        let desk = &self.ground.desk;
        let received = desk.act(move |tx, shop| receive(tx, shop, &actor(), start(), &fish)).unwrap();
        let output = |(cut, net_g): (&str, i64)| OutputDraft { cut: cut.into(), place: "case".into(), net_g };
        let rest = WHOLE_G - OUTPUTS.iter().map(|(_, grams)| grams).sum::<i64>();
        let cutting = Cutting {
            inputs: vec![InputDraft { tray: received.tray.code.to_string(), grams: None }],
            outputs: OUTPUTS.into_iter().map(output).collect(),
            losses: vec![LossDraft { name: "head and bones".into(), grams: rest }],
            place: "case".into(),
            bench_minutes: None,
            reason: None,
        };
        let made = desk.act(move |tx, shop| break_down(tx, shop, &actor(), start(), &cutting)).unwrap();
        self.trays.extend(made.trays);
        received.lot.code
    }

    /// The first tub holds fish of two lots.
    fn pour(&mut self) {
        let (tub, source) = (self.trays[7].code.to_string(), self.trays[8 + OUTPUTS.len()].code.to_string());
        let pouring = TopUp { source, grams: Some(150) };
        let poured = self.ground.desk.act(move |tx, shop| top_up(tx, shop, &actor(), start(), &tub, &pouring)).unwrap();
        self.trays[7] = poured;
    }

    /// All but the last.
    fn label(&mut self) {
        let last = self.trays.len() - 1;
        for tray in &mut self.trays[..last] {
            let code = tray.code.to_string();
            *tray = self
                .ground
                .desk
                .act(move |tx, shop| label::issue(tx, shop, &Press::default(), &actor(), start(), &code, None))
                .unwrap();
        }
    }

    fn say(&mut self, lots: &[String]) {
        let shop = self.ground.desk.shop();
        for (tray, lot) in self.trays.iter().zip(lots.iter().flat_map(|lot| [lot; OUTPUTS.len()])) {
            let item_number = crate::ground::CUTS.iter().position(|cut| cut.code == tray.cut).unwrap() as i64 + 1;
            let (price, code) = (tray.price.for_weight(tray.net), tray.code.to_string());
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
            let address = said.address().unwrap();
            self.texts.extend([code, tray.code.grouped().to_lowercase(), address.clone(), address.replace("=0", "=1")]);
            self.texts.extend(shop.codes.linear_number(item_number, price, tray.net).unwrap_or_default());
        }
        self.texts
            .extend(["", "nothing of ours", "CCCCCCC", "https://other.example/01/02900000001015"].map(Into::into));
    }

    fn stop(&self) {
        let desk = &self.ground.desk;
        let code = |at: usize| self.trays[at].code.to_string();
        for (scope, at) in [("tray", 1), ("tray", 1), ("batch", 6), ("lot", 20)] {
            let code = match scope {
                "lot" => desk
                    .look(|reading, _| Ok(sakudana::store::lots::of_tray(reading, self.trays[at].id)?.remove(0).code))
                    .unwrap(),
                _ => code(at),
            };
            let draft = HoldDraft { scope: scope.into(), code, reason: format!("the {scope} smells") };
            desk.act(move |tx, shop| hold::place(tx, shop, &actor(), start(), &draft)).unwrap();
        }
        let (cheap, cold) = (code(2), code(10));
        desk.act(move |tx, shop| mark_down(tx, shop, &actor(), start(), &cheap, 6_000, "last day")).unwrap();
        desk.act(move |tx, shop| take_to(tx, shop, &actor(), start(), &cold, "freezer", Way::Freeze, None)).unwrap();
    }

    pub fn clean(&self) {
        let findings = self.ground.desk.look(|reading, _| verify::verify(reading)).unwrap();
        assert!(findings.iter().all(|finding| finding.wrong.is_empty()), "{findings:?}");
    }

    /// All that sales write, row by row, with numbers of acts and sales counted without gaps.
    pub fn books(&self) -> Vec<String> {
        let act = |column: &str| format!("(SELECT COUNT(*) FROM acts AS r WHERE r.id <= {column})");
        let sale = |column: &str| format!("(SELECT COUNT(*) FROM sales AS r WHERE r.id <= {column})");
        let of = |parts: &[&str]| {
            parts
                .iter()
                .map(|part| format!("COALESCE(CAST({part} AS TEXT), '-')"))
                .collect::<Vec<_>>()
                .join(" || ' ' || ")
        };
        let questions = [
            (of(&[&act("id"), "kind", "at", "recorded_at", "actor", "reason"]), "acts"),
            (of(&[&sale("id"), &act("act_id"), "at", "sold_by", "total_cents"]), "sales"),
            (
                of(&["id", &sale("sale_id"), "line_number", "tray_id", "grams", "price_per_kg_cents", "price_cents"]),
                "sale_lines",
            ),
            (of(&["id", &act("act_id"), "lot_id", "account", "tray_id", "grams", "cost_cents"]), "entries"),
            (of(&["tray_id", "lot_id", "grams", "cost_cents"]), "holdings"),
            (of(&["id", "code", "fate", "gone_at", "net_g", "label_wanted", "version"]), "trays"),
            (of(&["id", "tray_id", "place_code", "from_at", "to_at"]), "stays"),
            (of(&["id", &act("act_id"), "kind", "at", "tray_code", "offer"]), "changes"),
            (of(&["tray_id", "tray_code", "cut_code", "place_code", "sellable_g", "offer", "due_at"]), "shelf"),
            (of(&["client", "route", "request_key", "fingerprint", "status", "at"]), "idempotency"),
        ];
        let mut witness = self.ground.witness();
        let mut books = Vec::new();
        for (row, table) in questions {
            let order = match table {
                "holdings" => "tray_id, lot_id",
                "shelf" => "tray_id",
                "idempotency" => "request_key",
                _ => "id",
            };
            let question = format!("SELECT {row} AS text FROM {table} ORDER BY {order}");
            let rows: Vec<Row> = diesel::sql_query(question).load(&mut witness).unwrap();
            books.extend(rows.into_iter().map(|row| format!("{table}: {}", row.text)));
        }
        books
    }
}

#[derive(QueryableByName)]
struct Row {
    #[diesel(sql_type = Text)]
    text: String,
}
