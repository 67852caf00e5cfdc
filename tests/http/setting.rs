//! A shop made ready through HTTP alone: its people and keys, its catalogue, fish to cut. Judges nothing.

#![allow(dead_code, reason = "several test programs share this file and each uses part of it")]

use std::sync::atomic::{AtomicU32, Ordering};

use sakudana::units::instant::MICROS_PER_MINUTE;
use sakudana::units::zone::Zone;
use serde_json::{Value, json};
use tempfile::TempDir;

use crate::stub::Stub;
use crate::support::http::{Answer, Client};
use crate::support::postgres::{Database, fresh_database};
use crate::support::server::{Kind, Server};

/// Nine hours ahead of UTC all year: days and labels must follow it, not the machine.
const SETTINGS: &str = r#"
[shop]
name = "Harbour counter"
address = "Quay 4, Port Amal"
time_zone = "Asia/Tokyo"
web_address = "https://fish.example"

# Each test says whom it asks as.
[customer_page]
trusted_proxy_header = "x-forwarded-for"

# Asked faster than any shop asks.
[limits]
requests_a_second = 100000
requests_at_once = 100000
requests_a_second_of_strangers = 100000
requests_at_once_of_strangers = 100000

[shop.rules]
cold_limit_mc = { value = 5000, validated = "the test's own ground" }

[[printers]]
name = "counter"
stock = "62x40"
timeout_seconds = 2
"#;

/// What stands before each tray code in the QR of this shop.
pub const WEB_ADDRESS: &str = "https://fish.example";

pub const PHRASE: &str = "four tides and a lantern";

/// A served shop, and a client for each who works there.
pub struct Shop {
    pub server: Server,
    pub kind: Kind,
    /// What `--database` takes, also beside the server.
    pub database: String,
    pub settings: String,
    pub anonymous: Client,
    /// Signed in by password.
    pub owner: Client,
    /// By key, as all below.
    pub manager: Client,
    pub counter: Client,
    pub cutter: Client,
    pub till: Client,
    pub reader: Client,
    pub logger: Client,
    _printer: Stub,
    _directory: TempDir,
}

impl Shop {
    pub fn open(kind: Kind) -> Shop {
        Shop::served(kind, |settings, database, guard| Server::start_with(&["--settings", settings], database, guard))
    }

    /// A shop whose server is started in a way of its own, with these settings and, if it likes, on this database.
    pub fn served(kind: Kind, start: impl FnOnce(&str, &str, Option<Database>) -> Server) -> Shop {
        let directory = tempfile::tempdir().expect("a temporary directory");
        let settings = directory.path().join("shop.toml").display().to_string();
        // What is printed here ends in doubt: the stub takes a document and hangs up.
        let printer = Stub::that_hangs_up();
        // The day's review is just over, whatever time it is: nothing better comes by waiting.
        let review = sakudana::web::clock::now().plus_micros(-10 * MICROS_PER_MINUTE);
        let review = Zone::parse("Asia/Tokyo").expect("a zone").time_of(review).format("%H:%M");
        let text = format!("{SETTINGS}uri = \"{}\"\n[shop.terms]\nreview_times = [\"{review}\"]\n", printer.uri);
        std::fs::write(&settings, text).expect("room for settings");
        let (database, guard) = match kind {
            Kind::Sqlite => (directory.path().join("shop.db").display().to_string(), None),
            Kind::Postgres => {
                let fresh = fresh_database();
                (fresh.url().to_owned(), Some(fresh))
            }
        };
        let server = start(&settings, &database, guard);
        let anonymous = server.client();
        let owner = sign_in(&anonymous, &server.owner().name, &server.owner().password);
        let by_key = |role: &str| anonymous.with_key(&new_key(&owner, role, role).0);
        let shop = Shop {
            kind,
            database,
            settings,
            manager: by_key("manager"),
            counter: by_key("counter"),
            cutter: by_key("cutter"),
            till: by_key("till"),
            reader: by_key("reader"),
            logger: by_key("logger"),
            anonymous,
            owner,
            server,
            _printer: printer,
            _directory: directory,
        };
        shop.fill_catalogue();
        shop
    }

    /// The client with a key of this role.
    pub fn client_of(&self, role: &str) -> &Client {
        match role {
            "manager" => &self.manager,
            "counter" => &self.counter,
            "cutter" => &self.cutter,
            "till" => &self.till,
            "reader" => &self.reader,
            "logger" => &self.logger,
            other => panic!("no key of a {other}"),
        }
    }

    fn fill_catalogue(&self) {
        for (path, body) in catalogue() {
            let answer = self.manager.put(path).header("If-None-Match", "*").json(&body).send().expect(201);
            assert_eq!(answer.header("etag"), Some("\"1\""), "{path}");
        }
    }

    /// Receives a fish of this species and weight; gives the lot code and the code of its bulk tray.
    pub fn receive(&self, species: &str, grams: i64) -> (String, String) {
        let mut body = arrival();
        body["species_code"] = json!(species);
        body["received_g"] = json!(grams);
        let answer = act(&self.cutter, "/v1/lots", &body).expect(201).json();
        (text(&answer["lot"]["lot_code"]), text(&answer["tray_code"]))
    }

    /// Cuts a whole tray into these cuts, places and weights, the rest named; gives the codes in this order.
    pub fn cut(&self, input: &str, grams: i64, outputs: &[(&str, &str, i64)]) -> Vec<String> {
        let out: i64 = outputs.iter().map(|o| o.2).sum();
        let lines: Vec<Value> = outputs
            .iter()
            .map(|(cut, place, net)| json!({"cut_code": cut, "place_code": place, "net_weight_g": net}))
            .collect();
        let losses = if grams > out { json!([{"name": "head and frame", "grams": grams - out}]) } else { json!([]) };
        let body = json!({"inputs": [{"tray_code": input}], "outputs": lines, "losses": losses, "place_code": "bench"});
        codes(&act(&self.cutter, "/v1/breakdowns", &body).expect(201).json()["trays"])
    }

    /// Issues the labels of these trays.
    pub fn label(&self, trays: &[String]) {
        for tray in trays {
            act(&self.counter, &format!("/v1/trays/{tray}/labels"), &json!({})).expect(201);
        }
    }

    /// Prints a label and waits until nobody knows what became of it; gives the number of the print.
    pub fn print_in_doubt(&self, tray: &str, reason: Option<&str>) -> i64 {
        let body = json!({"tray_code": tray, "printer": "counter", "reason": reason});
        let id = act(&self.counter, "/v1/prints", &body).expect(201).json()["print_id"].as_i64().expect("a number");
        for _ in 0..600 {
            if self.counter.get(&format!("/v1/prints/{id}")).send().expect(200).json()["state"] == "unknown" {
                return id;
            }
            std::thread::sleep(std::time::Duration::from_millis(50));
        }
        panic!("print {id} never comes to its end");
    }

    pub fn tray(&self, code: &str) -> Value {
        self.reader.get(&format!("/v1/trays/{code}")).send().expect(200).json()
    }

    pub fn scan(&self, scanned: &str) -> Value {
        self.counter.post("/v1/scans").json(&json!({ "text": scanned })).send().expect(200).json()
    }
}

/// Signs a person in; gives a client with the token.
pub fn sign_in(client: &Client, name: &str, password: &str) -> Client {
    let body = json!({"name": name, "password": password});
    let answer = client.post("/v1/sign-in").json(&body).send().expect(200).json();
    client.with_key(answer["token"].as_str().expect("a token"))
}

/// A new key and its public number.
pub fn new_key(manager: &Client, name: &str, role: &str) -> (String, String) {
    let body = json!({"name": name, "role": role, "valid_days": 2});
    let made = manager.post("/v1/keys").json(&body).send().expect(201).json();
    (text(&made["key"]), text(&made["key_id"]))
}

/// An idempotency key nobody has used.
pub fn fresh_key() -> String {
    static COUNT: AtomicU32 = AtomicU32::new(0);
    format!("test-act-{:08}", COUNT.fetch_add(1, Ordering::Relaxed))
}

/// One recorded act under a fresh key.
pub fn act(client: &Client, path: &str, body: &Value) -> Answer {
    client.post(path).idempotency_key(&fresh_key()).json(body).send()
}

#[track_caller]
pub fn text(value: &Value) -> String {
    value.as_str().unwrap_or_else(|| panic!("{value} is no text")).to_owned()
}

/// The tray codes of a list of trays.
#[track_caller]
pub fn codes(trays: &Value) -> Vec<String> {
    trays.as_array().expect("a list of trays").iter().map(|tray| text(&tray["tray_code"])).collect()
}

/// A yellowfin of 31.4 kg for 486.70, caught last week.
pub fn arrival() -> Value {
    json!({
        "species_code": "YFT", "supplier_code": "harbour-hall", "supplier_lot_code": "HH-4711",
        "received_g": 31_400, "cost_cents": 48_670, "pieces": 1, "cut_code": "whole-fish", "place_code": "cold-room",
        "catch": {"production": "wild", "area": "71", "gear": "LLD", "country": "Fiji",
                  "caught_from": "2026-01-05", "caught_to": "2026-01-06"},
        "inspection": {"core_temperature_mc": 600, "grade": 2, "colour": 2, "fat": 3, "burn": "none",
                       "sample": "tail_cut", "note": "bright, firm"},
    })
}

fn catalogue() -> Vec<(&'static str, Value)> {
    let species = |scientific: &str, market: &str, group: &str, rule: &str| json!({"scientific_name": scientific, "market_name": market, "group": group, "parasite_rule": rule, "parasite_note": "letter of the authority"});
    let cut = |name: &str, kind: &str, form: &str, cents: i64, number: i64| json!({"name": name, "kind": kind, "form": form, "price_per_kg_cents": cents, "item_number": number});
    let place = |name: &str, method: &str, set: i64, limit: i64| json!({"name": name, "method": method, "set_point_mc": set, "upper_limit_mc": limit});
    let mut short = cut("Saku of the day", "block", "block", 7_450, 103);
    short["raw_budget_hours"] = json!(5);
    vec![
        ("/v1/species/YFT", species("Thunnus albacares", "Yellowfin tuna", "tuna", "exempt")),
        ("/v1/species/SAL", species("Salmo salar", "Atlantic salmon", "salmonid", "freeze_before_raw")),
        ("/v1/suppliers/harbour-hall", json!({"name": "Harbour Auction Hall", "address": "Quay 1, Port Amal"})),
        ("/v1/cuts/whole-fish", cut("Whole fish", "bulk", "whole", 0, 1)),
        ("/v1/cuts/loin", cut("Loin", "bulk", "loin", 3_000, 2)),
        ("/v1/cuts/collar", cut("Collar", "bulk", "for_cooking", 900, 3)),
        ("/v1/cuts/bones", cut("Bones", "bulk", "for_cooking", 0, 4)),
        ("/v1/cuts/lean-saku", cut("Lean saku", "block", "block", 7_450, 101)),
        ("/v1/cuts/scrape", cut("Scrape", "tub", "scrape", 3_000, 102)),
        ("/v1/cuts/day-saku", short),
        ("/v1/places/cold-room", place("Cold room", "chill", 0, 2_000)),
        ("/v1/places/front-case", place("Front case", "chill", 500, 2_000)),
        ("/v1/places/show-case", place("Show case", "chill", 2_000, 4_400)),
        ("/v1/places/bench", place("Bench", "ambient", 10_000, 15_000)),
        ("/v1/places/freezer", place("Freezer", "frozen", -60_000, -50_000)),
    ]
}
