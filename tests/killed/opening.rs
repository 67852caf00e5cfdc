//! A shop opened over HTTP alone: the owner's first sign-in, keys, a small catalogue, a fish cut into blocks and tubs. Used by every test
//! that lets tills loose on a server.
#![allow(dead_code, reason = "several test programs share this file and each uses part of it")]

use serde_json::{Value, json};

use crate::support::http::Client;
use crate::support::server::Server;

pub const PLACES: [&str; 2] = ["case", "other-case"];

/// Blocks and tubs, with their prices.
pub const BLOCK: (&str, i64) = ("saku", 7_950);
pub const TUB: (&str, i64) = ("scrape", 2_333);

#[track_caller]
pub fn text(value: &Value) -> String {
    value.as_str().unwrap_or_else(|| panic!("{value} is no text")).to_owned()
}

/// The owner, signed in on the first start.
pub fn owner(server: &Server) -> Client {
    let sign_in = json!({"name": server.owner().name, "password": server.owner().password});
    let signed_in = server.client().post("/v1/sign-in").json(&sign_in).send().expect(200).json();
    server.client().with_key(&text(&signed_in["token"]))
}

/// A new key of this name and role.
pub fn key(owner: &Client, name: &str, role: &str) -> String {
    let body = json!({"name": name, "role": role, "valid_days": 2});
    text(&owner.post("/v1/keys").json(&body).send().expect(201).json()["key"])
}

pub fn fill_catalogue(manager: &Client) {
    let cut = |name: &str, kind: &str, form: &str, cents: i64, item: i64| json!({"name": name, "kind": kind, "form": form, "price_per_kg_cents": cents, "item_number": item});
    let place = json!({"name": "Case", "method": "chill", "set_point_mc": 0, "upper_limit_mc": 2_000});
    let species = json!({"scientific_name": "Thunnus albacares", "market_name": "Yellowfin", "group": "tuna",
        "parasite_rule": "exempt", "parasite_note": "letter of the authority"});
    let things = [
        ("/v1/species/YFT".to_owned(), species),
        ("/v1/suppliers/hall".to_owned(), json!({"name": "Hall", "address": "Quay 1"})),
        ("/v1/cuts/whole-fish".to_owned(), cut("Whole fish", "bulk", "whole", 0, 1)),
        (format!("/v1/cuts/{}", BLOCK.0), cut("Saku", "block", "block", BLOCK.1, 2)),
        (format!("/v1/cuts/{}", TUB.0), cut("Scrape", "tub", "scrape", TUB.1, 3)),
    ];
    let places = PLACES.map(|code| (format!("/v1/places/{code}"), place.clone()));
    for (path, body) in things.into_iter().chain(places) {
        manager.put(&path).header("If-None-Match", "*").json(&body).send().expect(201);
    }
}

/// Receives a fish and cuts it into these cuts, weights and counts, under an idempotency key that begins with `name`.
pub fn cut_a_fish(manager: &Client, name: &str, parts: &[(&str, i64, usize)]) -> Vec<String> {
    let whole: i64 = parts.iter().map(|(_, grams, count)| grams * i64::try_from(*count).unwrap()).sum();
    let arrival = json!({
        "species_code": "YFT", "supplier_code": "hall", "received_g": whole, "cost_cents": 100_000, "pieces": 1,
        "cut_code": "whole-fish", "place_code": "case",
        "catch": {"production": "wild", "area": "71", "gear": "LLD", "country": "Fiji",
                  "caught_from": "2026-01-05", "caught_to": "2026-01-06"},
        "inspection": {"core_temperature_mc": 600, "grade": 2, "colour": 2, "fat": 3, "burn": "none", "sample": "tail_cut"},
    });
    let act = |what: &str, path: &str, body: &Value| {
        manager.post(path).idempotency_key(&format!("{name}-{what}")).json(body).send().expect(201).json()
    };
    let fish = text(&act("is-received", "/v1/lots", &arrival)["tray_code"]);
    let output = |(cut, grams, count): &(&str, i64, usize)| {
        vec![json!({"cut_code": cut, "place_code": "case", "net_weight_g": grams}); *count]
    };
    let outputs: Vec<Value> = parts.iter().flat_map(output).collect();
    let cutting = json!({"inputs": [{"tray_code": fish}], "outputs": outputs, "losses": [], "place_code": "case"});
    let made = act("is-cut-up", "/v1/breakdowns", &cutting);
    made["trays"].as_array().unwrap().iter().map(|tray| text(&tray["tray_code"])).collect()
}
