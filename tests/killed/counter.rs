//! The shop that is killed: its server process, one key for each till, fish when it is wanted, and everything its books say. Decides nothing.

use std::collections::BTreeMap;
use std::process::{Command, Output};

use serde_json::{Value, json};

use crate::program::{BLOCK_G, BLOCKS, PLACES, Slot, TILLS, TUB_G, TUBS};
use crate::support::http::{Answer, Client};
use crate::support::server::Server;

/// The trays of a few rounds.
#[derive(Debug, Clone, Default)]
pub struct Stock {
    pub blocks: Vec<String>,
    pub tubs: Vec<String>,
}

impl Stock {
    pub fn code(&self, slot: Slot) -> &str {
        match slot {
            Slot::Block(number) => &self.blocks[number],
            Slot::Tub(number) => &self.tubs[number],
        }
    }

    /// Every tray with its weight at the beginning.
    pub fn full(&self) -> BTreeMap<String, i64> {
        let blocks = self.blocks.iter().map(|code| (code.clone(), BLOCK_G));
        blocks.chain(self.tubs.iter().map(|code| (code.clone(), TUB_G))).collect()
    }
}

/// An act as the feed tells it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Told {
    pub actor: String,
    pub kind: String,
    pub reason: Option<String>,
}

/// What the books say of the time since a mark.
#[derive(Debug, Clone, Default)]
pub struct Books {
    pub acts: Vec<Told>,
    /// Without their lines.
    pub sales: BTreeMap<i64, Value>,
    /// What is in stock, and how much.
    pub trays: BTreeMap<String, i64>,
    /// Where the feed was read to.
    pub cursor: String,
}

/// Where a stock begins in the books. The feed goes on where it was last read, so that an act that shows late is not passed over.
#[derive(Debug, Clone)]
pub struct Mark {
    cursor: String,
    last_sale: i64,
}

pub struct Counter {
    pub server: Server,
    /// What `--database` takes.
    pub database: String,
    manager: String,
    tills: Vec<String>,
    acts: usize,
    cursor: String,
}

fn text(value: &Value) -> String {
    value.as_str().unwrap_or_else(|| panic!("{value} is no text")).to_owned()
}

/// `sakudana verify`, beside the server.
pub fn verify(database: &str) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_sakudana"));
    command.args(["verify", "--database", database]).output().expect("the program runs")
}

/// The name in the books of a till.
pub fn actor(till: usize) -> String {
    format!("key till {till:02}")
}

impl Counter {
    /// Opens a shop on an empty database.
    pub fn open(database: &str) -> Counter {
        let server = Server::start_on(database);
        let sign_in = json!({"name": server.owner().name, "password": server.owner().password});
        let signed_in = server.client().post("/v1/sign-in").json(&sign_in).send().expect(200).json();
        let owner = server.client().with_key(&text(&signed_in["token"]));
        let key = |name: &str, role: &str| {
            let body = json!({"name": name, "role": role, "valid_days": 2});
            text(&owner.post("/v1/keys").json(&body).send().expect(201).json()["key"])
        };
        let tills = (0..TILLS).map(|till| key(&format!("till {till:02}"), "counter")).collect();
        let newest = owner.get("/v1/changes?after=now").send().expect(200).json();
        let (manager, cursor) = (key("manager", "manager"), text(&newest["cursor"]));
        let counter = Counter { manager, cursor, tills, server, database: database.to_owned(), acts: 0 };
        counter.fill_catalogue();
        counter
    }

    pub fn manager(&self) -> Client {
        self.server.client().with_key(&self.manager)
    }

    pub fn till(&self, number: usize) -> Client {
        self.server.client().with_key(&self.tills[number])
    }

    /// The server on the same database again.
    pub fn start_again(&mut self) {
        self.server = Server::start_on(&self.database);
    }

    fn fill_catalogue(&self) {
        let cut = |name: &str, kind: &str, form: &str, item: i64| json!({"name": name, "kind": kind, "form": form, "price_per_kg_cents": 7_450, "item_number": item});
        let place = json!({"name": "Case", "method": "chill", "set_point_mc": 0, "upper_limit_mc": 2_000});
        let species = json!({"scientific_name": "Thunnus albacares", "market_name": "Yellowfin", "group": "tuna",
            "parasite_rule": "exempt", "parasite_note": "letter of the authority"});
        let things = [
            ("/v1/species/YFT".to_owned(), species),
            ("/v1/suppliers/hall".to_owned(), json!({"name": "Hall", "address": "Quay 1"})),
            ("/v1/cuts/whole-fish".to_owned(), cut("Whole fish", "bulk", "whole", 1)),
            ("/v1/cuts/saku".to_owned(), cut("Saku", "block", "block", 2)),
            ("/v1/cuts/scrape".to_owned(), cut("Scrape", "tub", "scrape", 3)),
        ];
        let places = PLACES.map(|code| (format!("/v1/places/{code}"), place.clone()));
        for (path, body) in things.into_iter().chain(places) {
            self.manager().put(&path).header("If-None-Match", "*").json(&body).send().expect(201);
        }
    }

    fn act(&mut self, path: &str, body: &Value) -> Answer {
        self.acts += 1;
        let key = format!("manager-act-{:06}", self.acts);
        self.manager().post(path).idempotency_key(&key).json(body).send().expect(201)
    }

    /// Clears the counter of what is left and cuts a fish for the next rounds.
    pub fn refill(&mut self) -> (Stock, Mark) {
        let left: Vec<Value> = self.in_stock().keys().map(|code| json!({"tray_code": code, "counted_g": 0})).collect();
        if !left.is_empty() {
            self.act("/v1/counts", &json!({"lines": left, "reason": "end of the day"}));
        }
        let whole = BLOCK_G * i64::try_from(BLOCKS).unwrap() + TUB_G * i64::try_from(TUBS).unwrap();
        let arrival = json!({
            "species_code": "YFT", "supplier_code": "hall", "received_g": whole, "cost_cents": 100_000, "pieces": 1,
            "cut_code": "whole-fish", "place_code": "case",
            "catch": {"production": "wild", "area": "71", "gear": "LLD", "country": "Fiji",
                      "caught_from": "2026-01-05", "caught_to": "2026-01-06"},
            "inspection": {"core_temperature_mc": 600, "grade": 2, "colour": 2, "fat": 3, "burn": "none", "sample": "tail_cut"},
        });
        let fish = text(&self.act("/v1/lots", &arrival).json()["tray_code"]);
        let output = |cut: &str, grams: i64| json!({"cut_code": cut, "place_code": "case", "net_weight_g": grams});
        let mut outputs = vec![output("saku", BLOCK_G); BLOCKS];
        outputs.extend(vec![output("scrape", TUB_G); TUBS]);
        let cutting = json!({"inputs": [{"tray_code": fish}], "outputs": outputs, "losses": [], "place_code": "case"});
        let made = self.act("/v1/breakdowns", &cutting).json();
        let mut blocks: Vec<String> =
            made["trays"].as_array().unwrap().iter().map(|tray| text(&tray["tray_code"])).collect();
        let tubs = blocks.split_off(BLOCKS);
        (Stock { blocks, tubs }, self.mark())
    }

    fn mark(&self) -> Mark {
        let newest = self.manager().get("/v1/sales?limit=1").send().expect(200).json();
        Mark { cursor: self.cursor.clone(), last_sale: newest[0]["sale_id"].as_i64().unwrap_or(0) }
    }

    /// Everything in the books since `mark`, and what is in stock now.
    pub fn books(&self, mark: &Mark) -> Books {
        let (acts, cursor) = self.acts_since(mark);
        Books { acts, cursor, sales: self.sales_since(mark), trays: self.in_stock() }
    }

    /// What was read is done with: the next stock begins behind it.
    pub fn close(&mut self, books: Books) {
        self.cursor = books.cursor;
    }

    fn acts_since(&self, mark: &Mark) -> (Vec<Told>, String) {
        let (manager, mut cursor, mut acts) = (self.manager(), mark.cursor.clone(), Vec::new());
        loop {
            let page = manager.get(&format!("/v1/changes?after={cursor}&limit=200")).send().expect(200).json();
            let changes = page["changes"].as_array().unwrap();
            acts.extend(changes.iter().map(|change| Told {
                actor: text(&change["actor"]),
                kind: text(&change["kind"]),
                reason: change["reason"].as_str().map(Into::into),
            }));
            if changes.is_empty() {
                return (acts, cursor);
            }
            cursor = text(&page["cursor"]);
        }
    }

    fn sales_since(&self, mark: &Mark) -> BTreeMap<i64, Value> {
        let sales = self.all_pages("/v1/sales?limit=200", |sale| sale["sale_id"].as_i64() > Some(mark.last_sale));
        sales.into_iter().map(|sale| (sale["sale_id"].as_i64().unwrap(), sale)).collect()
    }

    fn in_stock(&self) -> BTreeMap<String, i64> {
        let trays = self.all_pages("/v1/trays?limit=200", |_| true);
        trays.iter().map(|tray| (text(&tray["tray_code"]), tray["net_weight_g"].as_i64().unwrap())).collect()
    }

    /// The things of a list, page after page, while `wanted`.
    fn all_pages(&self, first: &str, wanted: impl Fn(&Value) -> bool) -> Vec<Value> {
        let (manager, mut path, mut found) = (self.manager(), first.to_owned(), Vec::new());
        loop {
            let page = manager.get(&path).send().expect(200);
            let things = page.json().as_array().unwrap().clone();
            let more = things.iter().all(&wanted);
            found.extend(things.into_iter().take_while(|thing| wanted(thing)));
            // `Link: </v1/sales?cursor=...>; rel="next"`
            match page.header("link").and_then(|link| link.split(['<', '>']).nth(1)) {
                Some(next) if more => next.clone_into(&mut path),
                _ => return found,
            }
        }
    }
}
