//! What a till's key opens, in full: whoever adds an operation that a till may call says so here.

use serde_json::Value;
use std::collections::BTreeSet;

/// Live stock and what is needed to read it, scans, its sales with what was sold while it was cut off, their reversals and returns.
const OF_A_TILL: &[&str] = &[
    "follow_events",
    "get_cuts",
    "get_places",
    "get_sale",
    "get_species",
    "get_tray",
    "list_changes",
    "list_cuts",
    "list_places",
    "list_returns",
    "list_sales",
    "list_species",
    "list_trays",
    "live_stock",
    "replay_sales",
    "return_sale",
    "reverse_sale",
    "scan",
    "sell",
];
/// Of whoever asks: signing in and out.
const OF_ANYBODY: &[&str] = &["sign_in", "sign_out"];

#[test]
fn a_till_reads_live_stock_and_sells_and_nothing_else() {
    let document: Value = serde_json::from_str(include_str!("../../openapi/openapi.json")).unwrap();
    let allowed = ["read_stock", "scan", "sell"];
    let mut found = BTreeSet::new();
    for item in document["paths"].as_object().unwrap().values() {
        for operation in item.as_object().unwrap().values().filter(|o| o.is_object()) {
            let id = operation["operationId"].as_str().unwrap();
            match operation["x-permission"].as_str() {
                Some(permission) if allowed.contains(&permission) => assert!(found.insert(id), "{id} stands twice"),
                Some(_) => {}
                None => assert!(OF_ANYBODY.contains(&id), "{id} names no permission"),
            }
        }
    }
    assert_eq!(found, OF_A_TILL.iter().copied().collect());
}
