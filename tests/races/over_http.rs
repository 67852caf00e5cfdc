//! Two tills scan one tray over HTTP: one has its sale, the other is told by whom and when.

use std::sync::Barrier;
use std::thread;

use serde_json::json;

use crate::opening::{BLOCK, cut_a_fish, fill_catalogue, key, owner, text};
use crate::support::http::Answer;
use crate::support::server::{Kind, Server};

pub fn two_tills(kind: Kind, races: usize) {
    let server = Server::start(kind);
    let (owner, anonymous) = (owner(&server), server.client());
    let manager = anonymous.with_key(&key(&owner, "manager", "manager"));
    fill_catalogue(&manager);
    let trays = cut_a_fish(&manager, "fish-for-races", &[(BLOCK.0, 200, races)]);
    let tills = [key(&owner, "left", "till"), key(&owner, "right", "till")].map(|key| anonymous.with_key(&key));
    let line_up = Barrier::new(2);
    let run = |number: usize| {
        let one = |tray: &String| {
            line_up.wait();
            let body = json!({"lines": [{"tray_code": tray}]});
            tills[number].post("/v1/sales").idempotency_key(&format!("race-of-{tray}-{number}")).json(&body).send()
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
