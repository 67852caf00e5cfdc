//! A served shop with its owner signed in, and the few calls these tests share.

use crate::support::http::{Answer, Client};
use crate::support::postgres::fresh_database;
use crate::support::server::{Kind, Server};
use serde_json::{Value, json};
use tempfile::TempDir;

pub struct Shop {
    pub server: Server,
    pub owner: Client,
    _directory: TempDir,
}

impl Shop {
    pub fn open(kind: Kind, settings: &str) -> Shop {
        let directory = tempfile::tempdir().unwrap();
        let file = directory.path().join("shop.toml");
        std::fs::write(&file, settings).unwrap();
        let (database, guard) = match kind {
            Kind::Sqlite => (directory.path().join("shop.db").display().to_string(), None),
            Kind::Postgres => {
                let fresh = fresh_database();
                (fresh.url().to_owned(), Some(fresh))
            }
        };
        let server = Server::start_with(&["--settings", file.to_str().unwrap()], &database, guard);
        let owner = server.owner();
        let body = json!({"name": owner.name, "password": owner.password});
        let token = server.client().post("/v1/sign-in").json(&body).send().expect(200).json();
        let owner = server.client().with_key(token["token"].as_str().unwrap());
        Shop { server, owner, _directory: directory }
    }

    /// Creates a key; gives its number and its text.
    pub fn key(&self, role: &str, valid_days: i64) -> (String, String) {
        let body = json!({"name": format!("a {role}"), "role": role, "valid_days": valid_days});
        both(&self.owner.post("/v1/keys").json(&body).send().expect(201).json())
    }

    pub fn rotate(&self, key_id: &str, body: &Value) -> Answer {
        self.owner.post(&format!("/v1/keys/{key_id}/rotation")).json(body).send()
    }

    /// What one fish needs to be received.
    pub fn fill_catalogue(&self) {
        let species = json!({"scientific_name": "Thunnus albacares", "market_name": "Yellowfin tuna", "group": "tuna",
                             "parasite_rule": "exempt", "parasite_note": "letter of the authority"});
        let cut =
            json!({"name": "Whole fish", "kind": "bulk", "form": "whole", "price_per_kg_cents": 0, "item_number": 1});
        let place = json!({"name": "Cold room", "method": "chill", "set_point_mc": 0, "upper_limit_mc": 2_000});
        let supplier = json!({"name": "Harbour Auction Hall", "address": "Quay 1, Port Amal"});
        for (path, body) in [
            ("species/YFT", species),
            ("suppliers/harbour-hall", supplier),
            ("cuts/whole-fish", cut),
            ("places/cold-room", place),
        ] {
            self.owner.put(&format!("/v1/{path}")).header("If-None-Match", "*").json(&body).send().expect(201);
        }
    }

    /// What the list says of a key.
    pub fn listed(&self, key_id: &str) -> Value {
        let list = self.owner.get("/v1/keys").send().expect(200).json();
        list.as_array().unwrap().iter().find(|key| key["key_id"] == key_id).unwrap().clone()
    }

    pub fn status(&self, key: &str) -> u16 {
        self.server.client().with_key(key).get("/v1/trays").send().status
    }
}

pub fn both(key: &Value) -> (String, String) {
    (key["key_id"].as_str().unwrap().to_owned(), key["key"].as_str().unwrap().to_owned())
}

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
