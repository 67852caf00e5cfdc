//! Two tills scan one tray over HTTP: one has its sale, the other is told by whom and when.

use std::sync::Barrier;
use std::thread;

use serde_json::{Value, json};

use crate::support::http::{Answer, Client};
use crate::support::server::{Kind, Server};

fn text(value: &Value) -> String {
    value.as_str().unwrap_or_else(|| panic!("{value} is no text")).to_owned()
}

fn key(owner: &Client, name: &str, role: &str) -> Client {
    let made = owner.post("/v1/keys").json(&json!({"name": name, "role": role, "valid_days": 2})).send();
    owner.with_key(&text(&made.expect(201).json()["key"]))
}

fn act(client: &Client, number: &str, path: &str, body: &Value) -> Answer {
    client.post(path).idempotency_key(&format!("race-over-http-{number}")).json(body).send()
}

/// Blocks out of one fish, through HTTP alone.
fn blocks(manager: &Client, count: usize) -> Vec<String> {
    let cut = |name: &str, kind: &str, form: &str, item: i64| json!({"name": name, "kind": kind, "form": form, "price_per_kg_cents": 7_450, "item_number": item});
    let catalogue = [
        (
            "/v1/species/YFT",
            json!({"scientific_name": "Thunnus albacares", "market_name": "Yellowfin", "group": "tuna", "parasite_rule": "exempt", "parasite_note": "letter of the authority"}),
        ),
        ("/v1/suppliers/hall", json!({"name": "Hall", "address": "Quay 1"})),
        ("/v1/cuts/whole-fish", cut("Whole fish", "bulk", "whole", 1)),
        ("/v1/cuts/saku", cut("Saku", "block", "block", 2)),
        ("/v1/places/case", json!({"name": "Case", "method": "chill", "set_point_mc": 0, "upper_limit_mc": 2_000})),
    ];
    for (path, body) in catalogue {
        manager.put(path).header("If-None-Match", "*").json(&body).send().expect(201);
    }
    let arrival = json!({
        "species_code": "YFT", "supplier_code": "hall", "received_g": 200 * count, "cost_cents": 1_000, "pieces": 1,
        "cut_code": "whole-fish", "place_code": "case",
        "catch": {"production": "wild", "area": "71", "gear": "LLD", "country": "Fiji", "caught_from": "2026-01-05", "caught_to": "2026-01-06"},
        "inspection": {"core_temperature_mc": 600, "grade": 2, "colour": 2, "fat": 3, "burn": "none", "sample": "tail_cut"},
    });
    let fish = text(&act(manager, "fish", "/v1/lots", &arrival).expect(201).json()["tray_code"]);
    let block = json!({"cut_code": "saku", "place_code": "case", "net_weight_g": 200});
    let cutting =
        json!({"inputs": [{"tray_code": fish}], "outputs": vec![block; count], "losses": [], "place_code": "case"});
    let made = act(manager, "cutting", "/v1/breakdowns", &cutting).expect(201).json();
    made["trays"].as_array().unwrap().iter().map(|tray| text(&tray["tray_code"])).collect()
}

pub fn two_tills(kind: Kind, races: usize) {
    let server = Server::start(kind);
    let sign_in = json!({"name": server.owner().name, "password": server.owner().password});
    let signed_in = server.client().post("/v1/sign-in").json(&sign_in).send().expect(200).json();
    let owner = server.client().with_key(&text(&signed_in["token"]));
    let trays = blocks(&key(&owner, "manager", "manager"), races);
    let tills = [key(&owner, "left", "till"), key(&owner, "right", "till")];
    let line_up = Barrier::new(2);
    let run = |number: usize| {
        let one = |tray: &String| {
            line_up.wait();
            act(&tills[number], &format!("{number}-{tray}"), "/v1/sales", &json!({"lines": [{"tray_code": tray}]}))
        };
        trays.iter().map(one).collect::<Vec<Answer>>()
    };
    let run = &run;
    let (left, right) = thread::scope(|scope| {
        let left = scope.spawn(move || run(0));
        let right = run(1);
        (left.join().unwrap(), right)
    });
    let mut wins = [0, 0];
    for ((tray, left), right) in trays.iter().zip(left).zip(right) {
        let (winner, name, sold, told) = match (left.status, right.status) {
            (201, 409) => (0, "key left", left, right),
            (409, 201) => (1, "key right", right, left),
            other => panic!("tray {tray}: {other:?}"),
        };
        wins[winner] += 1;
        let (sold, told) = (sold.json(), told.json());
        assert_eq!(sold["sold_by"], name);
        assert_eq!((&told["code"], &told["errors"][0]["field"]), (&json!("already_sold"), &json!("lines/0/tray_code")));
        let detail = text(&told["detail"]);
        for said in [name, sold["at"].as_str().unwrap()] {
            assert!(detail.contains(said), "{said} is missing in: {detail}");
        }
    }
    println!("{races} races of two tills over HTTP on {kind:?}: {} to {}", wins[0], wins[1]);
}
