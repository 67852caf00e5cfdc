//! The interface held against its own document by schemathesis, as everyone who may ask: no answer is a defect, and each is as documented in
//! status, content type, headers and schema.
//!
//! Bounded here; `SAKUDANA_API_FUZZ=600` asks for 600 seconds a role on SQLite, and a third of it on PostgreSQL, and
//! `SAKUDANA_API_FUZZ_SEED` for other requests.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "fuzz_api/proxy.rs"]
mod proxy;
#[path = "fuzz_api/schemathesis.rs"]
mod schemathesis;
#[path = "http/setting.rs"]
mod setting;
#[path = "prints/stub.rs"]
mod stub;
mod support;

use std::process::Command;

use proxy::{Fault, Proxy};
use schemathesis::{Asking, Schemathesis};
use serde_json::json;
use setting::{Shop, act};
use support::server::Kind;

/// Operations that take away what the others ask with: asked by themselves, at the end.
const ENDING: [&str; 3] = ["sign_out", "revoke_key", "disable_person"];

/// Seconds a role when nothing else is asked for; and whether it was asked for.
fn seconds(usual: u64, share: u64) -> u64 {
    let asked = std::env::var("SAKUDANA_API_FUZZ").ok();
    asked.map_or(usual, |text| text.parse::<u64>().expect("a number of seconds") / share)
}

/// Fish in every state, and the codes of it.
fn filled(kind: Kind) -> (Shop, Schemathesis) {
    let shop = Shop::open(kind);
    let (lot, whole) = shop.receive("YFT", 30_000);
    let mut parts: Vec<(&str, &str, i64)> = (0..24).map(|i| ("lean-saku", "cold-room", 200 + i)).collect();
    parts.extend((0..6).map(|i| ("scrape", "cold-room", 600 + i)));
    let trays = shop.cut(&whole, 30_000, &parts);
    shop.label(&trays[..20]);
    act(&shop.till, "/v1/sales", &json!({"lines": [{"tray_code": trays[0]}, {"tray_code": trays[24], "grams": 100}]}))
        .expect(201);
    act(&shop.counter, "/v1/holds", &json!({"scope": "tray", "code": trays[1], "reason": "smells odd"})).expect(201);
    act(&shop.counter, &format!("/v1/trays/{}/freezes", trays[2]), &json!({"place_code": "freezer"})).expect(201);
    shop.print_in_doubt(&trays[3], Some("the first got wet"));
    let tool = Schemathesis::new(&[
        ("trays", &["tray_code", "source_tray_code"], trays.clone()),
        ("lots", &["lot_code"], vec![lot.clone()]),
        (
            "codes",
            &["code"],
            ["lean-saku", "cold-room", "YFT", "harbour-hall", &trays[4], &lot].map(str::to_owned).to_vec(),
        ),
        ("cuts", &["cut_code", "cut"], ["lean-saku", "scrape", "loin"].map(str::to_owned).to_vec()),
        ("places", &["place_code", "place"], ["cold-room", "front-case", "freezer"].map(str::to_owned).to_vec()),
        ("species", &["species_code", "species"], ["YFT", "SAL"].map(str::to_owned).to_vec()),
        ("suppliers", &["supplier_code"], vec!["harbour-hall".to_owned()]),
        ("ids", &["id"], (1..=4).map(|n: u8| n.to_string()).collect()),
    ]);
    (shop, tool)
}

/// Asks as one role; whoever asks must still be who they were when it is over, or it was the empty hand that was tested.
fn ask(shop: &Shop, tool: &Schemathesis, role: &str, asking: &Asking<'_>) -> usize {
    let key = (role != "anonymous").then(|| setting::new_key(&shop.owner, "fuzz", role).0);
    let found = tool.run(&shop.server.url(""), key.as_deref(), asking);
    if let Some(key) = &key {
        let permitted = shop.anonymous.with_key(key).get("/v1/trays").send().status;
        assert_eq!(permitted, if role == "logger" { 403 } else { 200 }, "{role} was locked out on the way");
    }
    assert!(found.passed(), "as {role}:\n{}", found.report);
    println!("{role}: {} requests", found.requests);
    assert!(found.requests >= 50, "{role}: the document has more examples than that");
    found.requests
}

/// Everything that can be seen after all of it: no defect in the log, the books in order.
fn nothing_broke(shop: &mut Shop) {
    let log = shop.server.log();
    for sign in ["a defect", "panicked", " 500", "status=500"] {
        assert!(!log.contains(sign), "{sign} is in the log");
    }
    let metrics = shop.reader.get("/metrics").send().expect(200).text();
    let counted: Vec<&str> =
        metrics.lines().filter(|line| line.starts_with("http_server_request_duration_seconds_count")).collect();
    let with = |status: &str| {
        let status = format!("http_response_status_code=\"{status}");
        counted.iter().filter(|line| line.contains(&status) && line.contains("http_route=\"/v1/")).count()
    };
    assert_eq!(with("500"), 0);
    println!("{} operations answered with a yes", with("2"));
    assert!(with("2") >= 35, "of {} operations few were reached: {}", counted.len(), with("2"));
    let verify = Command::new(env!("CARGO_BIN_EXE_sakudana"))
        .args(["verify", "--database", &shop.database, "--settings", &shop.settings])
        .output()
        .expect("verify runs");
    assert!(verify.status.success(), "{}", String::from_utf8_lossy(&verify.stdout));
}

#[test]
fn everyone_is_answered_as_documented_on_sqlite() {
    let (mut shop, tool) = filled(Kind::Sqlite);
    let mut requests = 0;
    for role in ["anonymous", "logger", "reader", "till", "counter", "cutter"] {
        let asking = Asking { seconds: seconds(6, 1), without: &ENDING, ..Asking::default() };
        requests += ask(&shop, &tool, role, &asking);
    }
    let manager =
        ask(&shop, &tool, "manager", &Asking { seconds: seconds(30, 1), without: &ENDING, ..Asking::default() });
    // Last, with a key that nothing else is asked with, and without looking whether it lives on.
    let key = setting::new_key(&shop.owner, "ending", "manager").0;
    let found = tool.run(&shop.server.url(""), Some(&key), &Asking { seconds: 5, only: &ENDING, ..Asking::default() });
    assert!(found.passed(), "{}", found.report);
    println!("{} requests in all", requests + manager);
    nothing_broke(&mut shop);
}

#[test]
fn everyone_is_answered_as_documented_on_postgres() {
    let (mut shop, tool) = filled(Kind::Postgres);
    for (role, usual) in [("till", 5), ("manager", 15)] {
        ask(&shop, &tool, role, &Asking { seconds: seconds(usual, 3), without: &ENDING, ..Asking::default() });
    }
    nothing_broke(&mut shop);
}

/// What is broken, in the answers of which address and operation, and by which of its codes schemathesis has to tell.
const BROKEN: [(&str, &str, Fault, &str); 8] = [
    ("/v1/lots", "list_lots", Fault::Defect, "ST101"),
    ("/v1/sales", "list_sales", Fault::OtherStatus, "ST103"),
    ("/v1/holds", "list_holds", Fault::OtherSchema, "ST108"),
    ("/v1/places", "list_places", Fault::OtherType, "ST105"),
    ("/v1/cuts/", "get_cuts", Fault::NoVersion, "ST107"),
    ("/v1/keys", "list_keys", Fault::NoAllow, "ST204"),
    ("/v1/scans", "scan", Fault::TakesAll, "ST201"),
    ("/v1/profile", "get_profile", Fault::HangsUp, "Network Error"),
];

/// A run through a proxy that breaks one promise an operation: each is found, and nothing where the proxy is faithful.
#[test]
fn a_broken_promise_is_found() {
    let (shop, tool) = filled(Kind::Sqlite);
    let (key, _) = setting::new_key(&shop.owner, "control", "manager");
    let operations: Vec<&str> = BROKEN.iter().map(|row| row.1).collect();
    let look = |faults: Vec<(&'static str, Fault)>| {
        let proxy = Proxy::before(&shop.server.url(""), faults);
        tool.run(&proxy.base, Some(&key), &Asking { seconds: 12, only: &operations, ..Asking::default() })
    };
    let whole = look(Vec::new());
    assert!(whole.passed(), "through a faithful proxy:\n{}", whole.report);
    let broken = look(BROKEN.iter().map(|(path, _, fault, _)| (*path, *fault)).collect());
    assert!(!broken.passed());
    for (path, _, fault, code) in BROKEN {
        assert!(broken.report_of(path).contains(code), "{fault:?} was not seen:\n{}", broken.report);
    }
}
