//! The server as it is started, killed in the middle and started again: nothing is lost, nothing overtakes, and an unrelated library takes every
//! letter for ours. SAKUDANA_WEBHOOK_KILLS is how often it is killed, SAKUDANA_WEBHOOK_SEED when.

use crate::authority::Authority;
use crate::receiver::{Heard, Receiver, Say, until};
use crate::served::told;
use crate::support::http::Client;
use crate::support::postgres::{Database, fresh_database};
use crate::support::python::lines;
use crate::support::server::{Kind, Server};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

struct House {
    folder: tempfile::TempDir,
    database: String,
    _held: Option<Database>,
}

impl House {
    fn of(kind: Kind, receiver: &Receiver, authority: &Authority) -> House {
        let folder = tempfile::tempdir().unwrap();
        let path = |name: &str| folder.path().join(name).display().to_string();
        let settings = format!(
            "[webhooks]\nthis_machine = [\"{}\"]\ntimeout_seconds = 1\nkey_file = \"{}\"\nauthority_file = \"{}\"\n",
            receiver.at,
            path("webhook.key"),
            path("authority.pem"),
        );
        std::fs::write(folder.path().join("authority.pem"), &authority.pem).unwrap();
        std::fs::write(folder.path().join("shop.toml"), settings).unwrap();
        let (database, held) = match kind {
            Kind::Sqlite => (path("shop.db"), None),
            Kind::Postgres => {
                let fresh = fresh_database();
                (fresh.url().to_owned(), Some(fresh))
            }
        };
        House { folder, database, _held: held }
    }

    fn file(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn start(&self) -> Server {
        Server::start_with(&["--settings", self.file("shop.toml").to_str().unwrap()], &self.database, None)
    }
}

fn number(variable: &str, default: u64) -> u64 {
    std::env::var(variable).map_or(default, |text| text.parse().expect("a number"))
}

fn manager_key(server: &Server) -> String {
    let (client, owner) = (server.client(), server.owner());
    let body = json!({"name": owner.name, "password": owner.password});
    let token = client.post("/v1/sign-in").json(&body).send().expect(200).json()["token"].as_str().unwrap().to_owned();
    let key = json!({"name": "m", "role": "manager", "valid_days": 2});
    client.with_key(&token).post("/v1/keys").json(&key).send().expect(201).json()["key"].as_str().unwrap().to_owned()
}

/// A fish, cut into trays that are for sale.
fn a_fish_is_cut(client: &Client) {
    let put =
        |path: &str, body: Value| drop(client.put(path).header("If-None-Match", "*").json(&body).send().expect(201));
    let cut = |kind: &str, form: &str, number: i64| json!({"name": form, "kind": kind, "form": form, "price_per_kg_cents": 5_000, "item_number": number});
    put(
        "/v1/species/YFT",
        json!({"scientific_name": "Thunnus albacares", "market_name": "Yellowfin tuna", "group": "tuna", "parasite_rule": "exempt", "parasite_note": "letter"}),
    );
    put("/v1/suppliers/hall", json!({"name": "Hall", "address": "Quay 1"}));
    put("/v1/cuts/fish", cut("bulk", "whole", 1));
    put("/v1/cuts/saku", cut("block", "block", 2));
    put("/v1/places/case", json!({"name": "Case", "method": "chill", "set_point_mc": 0, "upper_limit_mc": 2_000}));
    let lot = json!({
        "species_code": "YFT", "supplier_code": "hall", "received_g": 1_000, "cost_cents": 1_000, "pieces": 1, "cut_code": "fish", "place_code": "case",
        "catch": {"production": "wild", "area": "71", "gear": "LLD", "country": "Fiji", "caught_from": "2026-01-05", "caught_to": "2026-01-06"},
        "inspection": {"core_temperature_mc": 600, "grade": 2, "colour": 2, "fat": 3, "burn": "none", "sample": "none"},
    });
    let tray = client.post("/v1/lots").idempotency_key("webhooks-test-lot-1").json(&lot).send().expect(201).json()["tray_code"].clone();
    let outputs: Vec<Value> = [300, 400]
        .iter()
        .map(|grams| json!({"cut_code": "saku", "place_code": "case", "net_weight_g": grams}))
        .collect();
    let cutting = json!({"inputs": [{"tray_code": tray}], "outputs": outputs, "losses": [{"name": "head", "grams": 300}], "place_code": "case"});
    client.post("/v1/breakdowns").idempotency_key("webhooks-test-cut-1").json(&cutting).send().expect(201);
}

/// Every change behind a cursor, by its own.
fn feed(client: &Client, after: &str) -> Vec<String> {
    let (mut all, mut cursor) = (Vec::new(), after.to_owned());
    loop {
        let page = client.get(&format!("/v1/changes?limit=200&after={cursor}")).send().expect(200).json();
        let found = page["changes"].as_array().unwrap();
        if found.is_empty() {
            return all;
        }
        all.extend(found.iter().map(|change| change["cursor"].as_str().unwrap().to_owned()));
        page["cursor"].as_str().unwrap().clone_into(&mut cursor);
    }
}

const VERIFY: &str = r#"
import sys, json
from standardwebhooks.webhooks import Webhook
for line in sys.stdin:
    secret, headers, body = json.loads(line)
    try:
        Webhook(secret).verify(body, headers)
        print("ours")
    except Exception as error:
        print("refused:", error)
"#;

fn asked(secret: &str, heard: &Heard, body: &str) -> String {
    serde_json::to_string(&(secret, &heard.headers, body)).unwrap()
}

fn an_unrelated_library_takes_them_for_ours(secret: &str, heard: &[Heard]) {
    let all: Vec<String> = heard.iter().map(|one| asked(secret, one, &one.body)).collect();
    assert_eq!(lines(VERIFY, &all), vec!["ours"; all.len()]);
    // The control: a changed body, and a secret of somebody else.
    let other = "whsec_AQIDBAUGBwgJCgsMDQ4PEBESExQVFhcYGRobHB0eHyA=";
    let changed = heard[0].body.replacen('{', "{ ", 1);
    let wrong = lines(VERIFY, &[asked(secret, &heard[0], &changed), asked(other, &heard[0], &heard[0].body)]);
    assert!(wrong.iter().all(|said| said.starts_with("refused: No matching signature")), "{wrong:?}");
}

/// Writes until it is told to stop; what was answered and what was not does not matter here: the feed says what was done.
fn write(client: &Client, round: u64, stop: &AtomicBool) {
    for n in 0_u64.. {
        if stop.load(Ordering::SeqCst) {
            return;
        }
        let body = json!({"name": "Hall", "address": format!("Quay {n}")});
        let call = client.put(&format!("/v1/suppliers/s-{round}-{n}")).header("If-None-Match", "*").json(&body);
        if call.try_send().is_err() {
            return;
        }
    }
}

fn killed_in_the_middle(kind: Kind) {
    let (kills, mut dice) = (number("SAKUDANA_WEBHOOK_KILLS", 3), number("SAKUDANA_WEBHOOK_SEED", 1));
    let authority = Authority::new();
    // Now and then it is slow, or fails: a kill then falls between a try and its outcome.
    let script = |n: usize, _: &Heard| match n % 7 {
        3 => Say::After(Duration::from_millis(30)),
        _ => Say::Status(200),
    };
    let receiver = Receiver::with_tls(Arc::new(script), authority.server("127.0.0.1"));
    let house = House::of(kind, &receiver, &authority);
    let mut server = house.start();
    let key = manager_key(&server);
    let mut client = server.client().with_key(&key);
    let made = client.post("/v1/webhooks").json(&json!({"url": receiver.url("/")})).send().expect(201).json();
    let (id, begin, secret) = (
        made["webhook_id"].clone(),
        made["cursor"].as_str().unwrap().to_owned(),
        made["secret"].as_str().unwrap().to_owned(),
    );
    a_fish_is_cut(&client);
    for round in 0..kills {
        let stop = AtomicBool::new(false);
        dice = dice.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let pause = Duration::from_millis(200 + (dice >> 33) % 800);
        let before = receiver.heard().len();
        std::thread::scope(|scope| {
            scope.spawn(|| write(&client, round, &stop));
            until("letters under way", || (receiver.heard().len() > before + 3).then_some(()));
            std::thread::sleep(pause);
            server.kill();
            stop.store(true, Ordering::SeqCst);
        });
        server = house.start();
        client = server.client().with_key(&key);
    }
    let expected = until("the end of the feed", || {
        let all = feed(&client, &begin);
        let hook = client.get(&format!("/v1/webhooks/{id}")).send().expect(200).json();
        (hook["cursor"].as_str() == all.last().map(String::as_str)).then_some(all)
    });
    let heard = receiver.heard();
    let mut in_order = told(&heard);
    // What was sent when the server died is sent again at once; nothing else comes twice, and nothing comes before its turn.
    in_order.dedup();
    assert_eq!(in_order, expected);
    let mut numbers: BTreeMap<String, &str> = BTreeMap::new();
    for one in &heard {
        let cursor = one.json()["data"]["cursor"].as_str().unwrap().to_owned();
        assert_eq!(*numbers.entry(cursor).or_insert(one.id()), one.id(), "its number stays");
    }
    let offers: Vec<Value> = heard.iter().map(|one| one.json()).filter(|body| body["type"] == "tray.changed").collect();
    assert!(offers.len() >= 2 && offers.iter().all(|body| body["data"]["offer"]["verdict"].is_string()), "{offers:?}");
    an_unrelated_library_takes_them_for_ours(&secret, &heard);
    let mode = std::os::unix::fs::MetadataExt::mode(&std::fs::metadata(house.file("webhook.key")).unwrap());
    assert_eq!(mode & 0o777, 0o600);
    assert!(!server.log().contains(&secret));
    let listed = client.get("/v1/webhooks").send().expect(200).text();
    assert!(!listed.contains("whsec_"), "a secret is shown once");
    println!("{} letters for {} changes over {kills} kills", heard.len(), expected.len());
}

#[test]
fn killed_in_the_middle_on_sqlite() {
    killed_in_the_middle(Kind::Sqlite);
}

#[test]
fn killed_in_the_middle_on_postgresql() {
    killed_in_the_middle(Kind::Postgres);
}
