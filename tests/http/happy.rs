//! One call of every operation that does what it is for, each answer held against the document. The table is compared with the document's
//! list both ways, so that a new operation needs its row here.

use std::collections::BTreeSet;

use sakudana::units::instant::MICROS_PER_MINUTE;
use sakudana::web::clock;
use serde_json::{Value, json};

use crate::schema::faults;
use crate::setting::{PHRASE, Shop, act, arrival, new_key, sign_in, text};
use crate::support::http::Answer;

/// Fish that the calls use up, a tray for each.
struct Stock {
    lot: String,
    loin: String,
    saku: Vec<String>,
    tubs: Vec<String>,
    near_its_end: String,
}

type Call = fn(&Shop, &Stock) -> Answer;

const TABLE: &[(&str, Call)] = &[
    ("sign_in", |shop, _| {
        let owner = shop.server.owner();
        shop.anonymous.post("/v1/sign-in").json(&json!({"name": owner.name, "password": owner.password})).send()
    }),
    ("create_person", |shop, _| {
        shop.manager.post("/v1/people").json(&json!({"name": "Rui", "role": "counter", "password": PHRASE})).send()
    }),
    ("sign_out", |shop, _| sign_in(&shop.anonymous, "Rui", PHRASE).delete("/v1/sign-in").send()),
    ("list_people", |shop, _| shop.manager.get("/v1/people").send()),
    ("disable_person", |shop, _| shop.manager.delete("/v1/people/Rui").send()),
    ("create_key", |shop, _| {
        shop.manager.post("/v1/keys").json(&json!({"name": "till 2", "role": "till", "valid_days": 400})).send()
    }),
    ("list_keys", |shop, _| shop.manager.get("/v1/keys").send()),
    ("rotate_key", |shop, _| {
        let (_, id) = new_key(&shop.manager, "till 4", "till");
        shop.manager.post(&format!("/v1/keys/{id}/rotation")).json(&json!({"overlap_days": 7, "valid_days": 90})).send()
    }),
    ("revoke_key", |shop, _| {
        let (_, id) = new_key(&shop.manager, "till 3", "till");
        shop.manager.delete(&format!("/v1/keys/{id}")).send()
    }),
    ("create_webhook", |shop, _| {
        let body = json!({"url": "https://receiver.example/fish", "kinds": ["tray.gone"]});
        shop.manager.post("/v1/webhooks").json(&body).send()
    }),
    ("list_webhooks", |shop, _| shop.manager.get("/v1/webhooks").send()),
    ("get_webhook", |shop, _| shop.manager.get("/v1/webhooks/1").send()),
    ("put_webhook", |shop, _| {
        let tag = shop.manager.get("/v1/webhooks/1").send().expect(200).header("etag").expect("a version").to_owned();
        let body = json!({"url": "https://receiver.example:8443/fish", "kinds": [], "state": "enabled"});
        let put = || shop.manager.put("/v1/webhooks/1").if_match(&tag).json(&body).send();
        let answer = put();
        assert_eq!(put().expect(412).json()["code"], "version_mismatch");
        answer
    }),
    ("test_webhook", |shop, _| shop.manager.post("/v1/webhooks/1/test").send()),
    ("rotate_webhook", |shop, _| shop.manager.post("/v1/webhooks/1/rotation").json(&json!({"keep_hours": 1})).send()),
    ("replay_webhook", |shop, _| {
        shop.manager.post("/v1/webhooks/1/replay").json(&json!({"what": "dead_letters"})).send()
    }),
    ("list_deliveries", |shop, _| shop.manager.get("/v1/webhooks/1/deliveries?limit=5").send()),
    ("delete_webhook", |shop, _| shop.manager.delete("/v1/webhooks/1").send()),
    ("list_species", |shop, _| shop.till.get("/v1/species").send()),
    ("get_species", |shop, _| shop.till.get("/v1/species/YFT").send()),
    ("put_species", |shop, _| changed(shop, "/v1/species/YFT", "market_name", "Yellowfin")),
    ("list_suppliers", |shop, _| shop.counter.get("/v1/suppliers").send()),
    ("get_suppliers", |shop, _| shop.counter.get("/v1/suppliers/harbour-hall").send()),
    ("put_suppliers", |shop, _| changed(shop, "/v1/suppliers/harbour-hall", "name", "Harbour Hall")),
    ("list_cuts", |shop, _| shop.till.get("/v1/cuts").send()),
    ("get_cuts", |shop, _| shop.till.get("/v1/cuts/lean-saku").send()),
    ("put_cuts", |shop, _| changed(shop, "/v1/cuts/lean-saku", "label_note", "For slicing")),
    ("get_cut_terms", |shop, _| {
        let none = shop.reader.get("/v1/cuts/lean-saku/terms").send();
        assert_eq!((none.header("etag"), &none.json()["said"]["portion_g"]), (Some("\"0\""), &Value::Null));
        none
    }),
    ("put_cut_terms", |shop, _| {
        let put =
            |tag: &str, body: Value| shop.manager.put("/v1/cuts/lean-saku/terms").if_match(tag).json(&body).send();
        let first = put("\"0\"", json!({"kitchen_cents_per_kg": 900, "elasticity_permille": 3_000})).expect(201);
        assert_eq!(first.json()["in_force"]["kitchen_cents_per_kg"], 900);
        assert_eq!(put("\"0\"", json!({})).expect(412).json()["code"], "version_mismatch");
        let wrong = put("\"1\"", json!({"portion_g": 0, "units_per_hour_permille": 0})).expect(422).json();
        assert_eq!(wrong["errors"].as_array().map(Vec::len), Some(2), "{wrong}");
        put("\"1\"", json!({"units_per_hour_permille": 700, "cost_cents_per_kg": 3_000}))
    }),
    ("list_demand", |shop, _| shop.reader.get("/v1/demand").send()),
    ("get_demand", |shop, _| {
        let demand = shop.manager.get("/v1/cuts/lean-saku/demand").send();
        let told = &demand.json()["demand"]["units_per_hour"];
        assert_eq!((&told["permille"], &told["basis"]), (&json!(700), &json!("told")));
        shop.manager.get("/v1/cuts/loin/demand").send().expect(404);
        demand
    }),
    ("list_places", |shop, _| shop.till.get("/v1/places").send()),
    ("get_places", |shop, _| shop.till.get("/v1/places/cold-room").send()),
    ("put_places", |shop, _| changed(shop, "/v1/places/cold-room", "name", "The cold room")),
    ("post_readings", |shop, _| {
        let readings = json!([{"at": "2026-11-20T08:00:00Z", "celsius": 1.2}, {"at": "2026-11-20T08:15:00Z", "fahrenheit": "ERR"}]);
        shop.logger.post("/v1/places/cold-room/readings").json(&json!({"readings": readings})).send()
    }),
    ("list_readings", |shop, _| shop.counter.get("/v1/places/cold-room/readings?limit=5").send()),
    ("receive_lot", |shop, _| act(&shop.cutter, "/v1/lots", &arrival())),
    ("record_parasite_freezing", |shop, _| {
        let (lot, _) = shop.receive("SAL", 5_000);
        let letter = json!({"reference": "letter 7 of Hall Ltd", "temperature_mc": -35_000, "hours": 20});
        act(&shop.cutter, "/v1/parasite-freezings", &json!({"scope": "lot", "code": lot, "letter": letter}))
    }),
    ("list_parasite_freezings", |shop, _| shop.counter.get("/v1/parasite-freezings").send()),
    ("list_lots", |shop, _| shop.counter.get("/v1/lots?limit=2").send()),
    ("get_lot", |shop, stock| shop.reader.get(&format!("/v1/lots/{}", stock.lot)).send()),
    ("break_down", |shop, stock| break_down(shop, stock)),
    ("get_breakdown", |shop, _| shop.counter.get("/v1/breakdowns/1").send()),
    ("list_trays", |shop, _| shop.till.get("/v1/trays?state=all&limit=200").send()),
    ("get_tray", |shop, stock| shop.till.get(&format!("/v1/trays/{}", stock.saku[0])).send()),
    ("get_tray_stays", |shop, stock| shop.counter.get(&format!("/v1/trays/{}/stays", stock.saku[0])).send()),
    ("get_tray_life", |shop, stock| shop.counter.get(&format!("/v1/trays/{}/life", stock.saku[0])).send()),
    ("get_tray_temperatures", |shop, stock| {
        shop.counter.get(&format!("/v1/trays/{}/temperatures", stock.saku[0])).send()
    }),
    ("get_lot_life", |shop, stock| shop.counter.get(&format!("/v1/lots/{}/life", stock.lot)).send()),
    ("get_place_life", |shop, _| shop.counter.get("/v1/places/cold-room/life").send()),
    ("get_profile", |shop, _| shop.counter.get("/v1/profile").send()),
    ("list_alarms", |shop, _| shop.counter.get("/v1/alarms?state=all").send()),
    ("acknowledge_alarm", |shop, _| acknowledge(shop)),
    ("top_up", |shop, stock| on_tray(shop, &stock.tubs[0], "top-ups", &json!({"source_tray_code": stock.tubs[1]}))),
    ("move_tray", |shop, stock| on_tray(shop, &stock.saku[0], "moves", &json!({"place_code": "front-case"}))),
    ("freeze_tray", |shop, stock| on_tray(shop, &stock.saku[1], "freezes", &json!({"place_code": "freezer"}))),
    ("thaw_tray", |shop, stock| on_tray(shop, &stock.saku[1], "thaws", &json!({"place_code": "cold-room"}))),
    ("send_to_kitchen", |shop, stock| on_tray(shop, &stock.saku[2], "kitchen-transfers", &json!({}))),
    ("waste_tray", |shop, stock| on_tray(shop, &stock.saku[3], "wastes", &json!({"reason": "fell"}))),
    ("mark_down", |shop, stock| {
        let body = json!({"price_per_kg_cents": 5_000, "reason": "end of day"});
        act(&shop.manager, &format!("/v1/trays/{}/markdowns", stock.saku[4]), &body)
    }),
    ("issue_label", |shop, stock| on_tray(shop, &stock.saku[4], "labels", &json!({}))),
    ("list_printers", |shop, _| shop.counter.get("/v1/printers").send()),
    ("print_label", |shop, stock| {
        act(&shop.counter, "/v1/prints", &json!({"tray_code": stock.saku[4], "reason": "the first got wet"}))
    }),
    ("list_prints", |shop, _| shop.cutter.get("/v1/prints?limit=1").send()),
    ("get_print", |shop, _| shop.cutter.get("/v1/prints/1").send()),
    ("cancel_print", |shop, _| act(&shop.counter, "/v1/prints/1/cancel", &json!({}))),
    ("resolve_print", |shop, stock| {
        let id = shop.print_in_doubt(&stock.saku[4], Some("once more"));
        act(&shop.counter, &format!("/v1/prints/{id}/resolve"), &json!({"printed": "yes"}))
    }),
    ("get_label", |shop, stock| shop.counter.get(&format!("/v1/trays/{}/label.png", stock.saku[4])).send()),
    ("get_label_page", |shop, stock| {
        shop.counter.get(&format!("/v1/trays/{}/label.pdf?dpi=300&stock=80x50", stock.saku[4])).send()
    }),
    ("get_label_drawing", |shop, stock| shop.counter.get(&format!("/v1/trays/{}/label.svg", stock.saku[4])).send()),
    ("draw_label_sheets", |shop, stock| {
        let body = json!({"tray_codes": [stock.saku[4]], "stock": "a4-62x40", "start_at": 21});
        shop.counter.post("/v1/label-sheets").json(&body).send()
    }),
    ("scan", |shop, stock| shop.till.post("/v1/scans").json(&json!({"text": stock.saku[4]})).send()),
    ("make_pick_list", |shop, _| {
        let body = json!({"purpose": "order", "cut_code": "lean-saku", "low_g": 500, "high_g": 700, "note": "Ana"});
        act(&shop.counter, "/v1/pick-lists", &body)
    }),
    ("list_pick_lists", |shop, _| shop.reader.get("/v1/pick-lists").send()),
    ("get_pick_list", |shop, _| shop.cutter.get("/v1/pick-lists/1").send()),
    ("scan_for_pick_list", |shop, _| {
        let list = shop.counter.get("/v1/pick-lists/1").send().expect(200).json();
        act(&shop.counter, "/v1/pick-lists/1/scans", &json!({"scanned": list["next_tray_code"]}))
    }),
    ("fill_up_pick_list", |shop, _| act(&shop.counter, "/v1/pick-lists/1/refills", &json!({}))),
    ("give_up_pick_list", |shop, _| act(&shop.counter, "/v1/pick-lists/1/give-ups", &json!({"reason": "called off"}))),
    ("put_case_plan", |shop, _| {
        let put = || shop.manager.put("/v1/places/front-case/case-plan");
        let body = |trays: i64| json!({"lines": [{"cut_code": "lean-saku", "trays": trays}]});
        put().header("If-None-Match", "*").json(&body(3)).send().expect(201);
        put().if_match("\"1\"").json(&body(4)).send()
    }),
    ("get_case_plan", |shop, _| shop.counter.get("/v1/places/front-case/case-plan").send()),
    ("place_hold", |shop, stock| {
        act(&shop.counter, "/v1/holds", &json!({"scope": "tray", "code": stock.saku[5], "reason": "smells odd"}))
    }),
    ("list_holds", |shop, _| shop.counter.get("/v1/holds").send()),
    ("release_hold", |shop, _| {
        let open = shop.counter.get("/v1/holds").send().expect(200).json();
        act(&shop.manager, &format!("/v1/holds/{}/release", open[0]["hold_id"]), &json!({"note": "it was the bin"}))
    }),
    ("list_alarms", |shop, _| {
        warm_spell(shop);
        shop.counter.get("/v1/alarms?state=all&limit=5").send()
    }),
    ("acknowledge_alarm", |shop, _| {
        let open = shop.counter.get("/v1/alarms").send().expect(200).json();
        let alarm =
            open.as_array().unwrap().iter().find(|alarm| alarm["kind"] == "place_too_warm").expect("a warm spell");
        let path = format!("/v1/alarms/{}/acknowledgement", alarm["alarm_id"]);
        act(&shop.counter, &path, &json!({"note": "door was open"}))
    }),
    ("count_stock", |shop, stock| {
        let lines = json!([{"tray_code": stock.tubs[0], "counted_g": 500}]);
        act(&shop.cutter, "/v1/counts", &json!({"lines": lines, "reason": "evening count"}))
    }),
    ("sell", |shop, stock| act(&shop.till, "/v1/sales", &json!({"lines": [{"tray_code": stock.saku[6]}]}))),
    ("list_sales", |shop, _| shop.till.get("/v1/sales").send()),
    ("get_sale", |shop, _| shop.till.get("/v1/sales/1").send()),
    ("reverse_sale", |shop, _| act(&shop.till, "/v1/sales/1/reversal", &json!({"reason": "mis-scan"}))),
    ("replay_sales", |shop, stock| {
        let lines = json!([{"tray_code": stock.tubs[0], "grams": 60_000, "price_cents": 180_000}]);
        let sale = json!({"key": "a-sale-while-cut-off", "sold_at": clock::now().to_string(), "lines": lines});
        let body = format!("{sale}\n");
        shop.till.post("/v1/sales/replays").bytes("application/x-ndjson", body.as_bytes()).send()
    }),
    ("list_exceptions", |shop, _| shop.manager.get("/v1/exceptions").send()),
    ("get_exception", |shop, _| shop.manager.get("/v1/exceptions/1").send()),
    ("resolve_exception", |shop, _| {
        let body = json!({"way": "count_difference", "note": "filled up without saying so"});
        act(&shop.manager, "/v1/exceptions/1/resolution", &body)
    }),
    ("return_sale", |shop, stock| {
        let sale = shop.manager.get("/v1/exceptions/1").send().expect(200).json()["sale_id"].clone();
        let lines = json!([{"tray_code": stock.tubs[0], "grams": 10, "refund_cents": 30, "reason": "smelled odd"}]);
        act(&shop.till, &format!("/v1/sales/{sale}/returns"), &json!({"lines": lines}))
    }),
    ("list_returns", |shop, _| {
        let sale = shop.manager.get("/v1/exceptions/1").send().expect(200).json()["sale_id"].clone();
        shop.reader.get(&format!("/v1/sales/{sale}/returns")).send()
    }),
    ("list_changes", |shop, _| shop.till.get("/v1/changes?limit=5").send()),
    ("live_stock", |shop, _| shop.till.get("/v1/live-stock").send()),
    // It has no end: `tests/live` listens to it.
    ("follow_events", |shop, _| shop.till.call("HEAD", "/v1/events").send()),
    ("review", |shop, _| shop.manager.get("/v1/review").send()),
    ("plan", |shop, _| shop.manager.get("/v1/plan").send()),
    ("report_advice", |shop, _| shop.reader.get("/v1/reports/advice?from=2026-01-01&to=2026-12-31").send()),
    ("report_waste", |shop, _| shop.reader.get("/v1/reports/waste").send()),
    ("decide", |shop, _| {
        let terms = json!({"units_per_hour_permille": 1, "kitchen_cents_per_kg": 4_000});
        shop.manager.put("/v1/cuts/day-saku/terms").if_match("\"0\"").json(&terms).send().expect(201);
        accept(shop, "day-saku")
    }),
    ("list_decisions", |shop, _| shop.manager.get("/v1/decisions").send()),
    ("undo_decision", |shop, _| {
        let newest = shop.manager.get("/v1/decisions").send().expect(200).json()[0]["decision_id"].clone();
        act(&shop.manager, &format!("/v1/decisions/{newest}/undo"), &json!({"note": "the wrong line"}))
    }),
    ("list_errands", |shop, stock| {
        accept(shop, "day-saku").expect(201);
        let errands = shop.reader.get("/v1/errands").send();
        assert_eq!(errands.json()[0]["tray_code"], stock.near_its_end.as_str(), "{}", errands.text());
        errands
    }),
    ("drop_errand", |shop, _| {
        let open = shop.reader.get("/v1/errands").send().json()[0]["errand_id"].clone();
        act(&shop.manager, &format!("/v1/errands/{open}/drops"), &json!({"note": "the kitchen is full"}))
    }),
    ("complete_errand", |shop, stock| {
        // What was dropped is asked again.
        accept(shop, "day-saku").expect(201);
        act(&shop.cutter, "/v1/errands/completions", &json!({"scanned": stock.near_its_end}))
    }),
];

/// Calls that a second form of the answer is expected of: creating, where the table changes.
const CREATING: &[(&str, &str)] = &[
    ("put_species", "/v1/species/BET"),
    ("put_suppliers", "/v1/suppliers/far-hall"),
    ("put_cuts", "/v1/cuts/belly-saku"),
    ("put_places", "/v1/places/back-case"),
];

pub fn every_operation_answers(shop: &Shop) {
    let document = shop.anonymous.get("/v1/openapi.json").send().expect(200).json();
    let in_document: BTreeSet<String> = operations(&document).map(|(.., o)| text(&o["operationId"])).collect();
    let in_table: BTreeSet<String> = TABLE.iter().map(|(id, _)| (*id).to_owned()).collect();
    assert_eq!(in_document, in_table);
    let stock = stock(shop);
    for (id, call) in TABLE {
        hold_against(&document, id, &call(shop, &stock));
    }
    for (id, path) in CREATING {
        hold_against(&document, id, &created(shop, path));
    }
    pages_follow(shop);
    changes_follow(shop);
}

/// Method, path and operation of everything in the document.
pub fn operations(document: &Value) -> impl Iterator<Item = (String, String, &Value)> {
    let paths = document["paths"].as_object().expect("paths");
    paths.iter().flat_map(|(path, item)| {
        let methods = item.as_object().expect("methods").iter();
        methods.map(move |(method, operation)| (method.to_uppercase(), path.clone(), operation))
    })
}

/// An hour and a half at 9 °C, half a day ago.
fn warm_spell(shop: &Shop) {
    let at = |minutes: i64| clock::now().plus_micros((minutes - 720) * MICROS_PER_MINUTE).to_string();
    let readings: Vec<Value> =
        (0..8).map(|n| json!({"at": at(n * 30), "celsius": if (2..6).contains(&n) { 9.0 } else { 1.0 }})).collect();
    let path = "/v1/places/show-case/readings";
    let taken = shop.manager.post(path).json(&json!({"readings": readings})).send().expect(200).json();
    assert_eq!((&taken["accepted"], &taken["alarms_changed"]), (&json!(8), &json!(1)), "{taken}");
}

fn stock(shop: &Shop) -> Stock {
    let (lot, whole) = shop.receive("YFT", 20_000);
    let mut parts: Vec<(&str, &str, i64)> = (0..7).map(|i| ("lean-saku", "cold-room", 300 + i)).collect();
    parts.extend([("scrape", "cold-room", 700), ("scrape", "cold-room", 300)]);
    parts.extend([("day-saku", "cold-room", 250), ("loin", "cold-room", 4_000)]);
    let mut saku = shop.cut(&whole, 20_000, &parts);
    let loin = saku.pop().unwrap();
    let near_its_end = saku.pop().unwrap();
    let tubs = saku.split_off(7);
    Stock { lot, loin, saku, tubs, near_its_end }
}

fn on_tray(shop: &Shop, tray: &str, name: &str, body: &Value) -> Answer {
    act(&shop.counter, &format!("/v1/trays/{tray}/{name}"), body)
}

fn break_down(shop: &Shop, stock: &Stock) -> Answer {
    let body = json!({"inputs": [{"tray_code": stock.loin, "grams": 1_000}], "place_code": "bench",
        "outputs": [{"cut_code": "lean-saku", "place_code": "cold-room", "net_weight_g": 900}],
        "losses": [{"name": "skin", "grams": 95}], "reason": "thin end"});
    act(&shop.cutter, "/v1/breakdowns", &body)
}

/// A case that reads too warm for an hour raises an alarm, which someone takes note of.
fn acknowledge(shop: &Shop) -> Answer {
    let at = |minutes: i64| clock::now().plus_micros(-minutes * MICROS_PER_MINUTE).to_string();
    let readings: Vec<Value> = [90, 60, 30].map(|ago| json!({"at": at(ago), "celsius": 7.5})).into();
    shop.logger.post("/v1/places/show-case/readings").json(&json!({"readings": readings})).send().expect(200);
    let open = shop.counter.get("/v1/alarms").send().expect(200).json();
    let warm = open.as_array().unwrap().iter().find(|alarm| alarm["place_code"] == "show-case").expect("an alarm");
    let path = format!("/v1/alarms/{}/acknowledgement", warm["alarm_id"]);
    act(&shop.counter, &path, &json!({"note": "door shut, core 1.4 °C"}))
}

/// Reads a thing, changes one field under the version read, and finds it changed.
fn changed(shop: &Shop, path: &str, field: &str, value: &str) -> Answer {
    let read = shop.manager.get(path).send().expect(200);
    let tag = read.header("etag").expect("a version").to_owned();
    let mut body = read.json();
    let object = body.as_object_mut().unwrap();
    object.retain(|name, _| name != "code" && name != "version");
    body[field] = json!(value);
    let answer = shop.manager.put(path).if_match(&tag).json(&body).send();
    assert_eq!(shop.manager.get(path).send().expect(200).json()[field], value);
    let stale = shop.manager.put(path).if_match(&tag).json(&body).send().expect(412).json();
    assert_eq!(stale["code"], "version_mismatch");
    answer
}

/// Creates a thing like the first of its list.
fn created(shop: &Shop, path: &str) -> Answer {
    let (list, _) = path.rsplit_once('/').unwrap();
    let mut body = shop.manager.get(list).send().expect(200).json()[0].clone();
    body.as_object_mut().unwrap().retain(|name, _| name != "code" && name != "version");
    if list == "/v1/cuts" {
        body["item_number"] = json!(99_999);
    }
    let answer = shop.manager.put(path).header("If-None-Match", "*").json(&body).send().expect(201);
    let again = shop.manager.put(path).header("If-None-Match", "*").json(&body).send().expect(409).json();
    assert_eq!(again["code"], "already_exists");
    answer
}

/// Does what the review advises for a cut.
pub fn accept(shop: &Shop, cut: &str) -> Answer {
    decide(shop, cut, &json!({"way": "accepted"}))
}

/// Decides on what the review advises for a cut.
pub fn decide(shop: &Shop, cut: &str, said: &Value) -> Answer {
    let review = shop.manager.get("/v1/review").send().expect(200).json();
    let found = review["proposals"].as_array().unwrap().iter().find(|proposal| proposal["cut_code"] == cut);
    let mut decision = said.clone();
    decision["cut_code"] = json!(cut);
    decision["basis"] = found.unwrap_or_else(|| panic!("nothing is advised for {cut}: {review}"))["basis"].clone();
    act(&shop.manager, "/v1/decisions", &json!({"decisions": [decision]}))
}

/// The status is one the document promises, the body is of its schema.
fn hold_against(document: &Value, id: &str, answer: &Answer) {
    let (.., operation) = operations(document).find(|(.., o)| o["operationId"] == id).expect("an operation");
    assert!((200..300).contains(&answer.status), "{id}: {} {}", answer.status, answer.text());
    let promised = &operation["responses"][answer.status.to_string()];
    assert!(promised.is_object(), "{id}: {} is not in the document", answer.status);
    let Some(content) = promised["content"].as_object() else {
        assert!(answer.body.is_empty(), "{id}: {}", answer.text());
        return;
    };
    let media_type = answer.header("content-type").expect("a content type");
    let schema =
        &content.get(media_type).unwrap_or_else(|| panic!("{id}: {media_type} is not in the document"))["schema"];
    if media_type == "application/json" {
        assert_eq!(faults(document, schema, &answer.json()), Vec::<String>::new(), "{id}: {}", answer.text());
    }
}

/// Following `Link` gives every entry once, in order.
fn pages_follow(shop: &Shop) {
    for (list, whole, name) in [
        ("/v1/trays?state=all", "/v1/trays?limit=200&state=all", "tray_code"),
        ("/v1/lots?", "/v1/lots?limit=200", "lot_code"),
    ] {
        let names = |answer: &Answer| -> Vec<String> {
            answer.json().as_array().unwrap().iter().map(|entry| text(&entry[name])).collect()
        };
        let all = names(&shop.reader.get(whole).send().expect(200));
        let mut next = Some(format!("{list}&limit=2").replace("?&", "?"));
        let mut found = Vec::new();
        while let Some(address) = next {
            let page = shop.reader.get(&address).send().expect(200);
            found.extend(names(&page));
            next = page.header("link").map(|link| {
                let (address, rest) = link.trim_start_matches('<').split_once('>').unwrap();
                assert_eq!(rest, "; rel=\"next\"");
                address.to_owned()
            });
        }
        assert!(found.len() >= 2);
        assert_eq!(found, all, "{list}");
    }
}

/// The feed once the last act of the table is in it: other tests on the same server hold it back while they write.
fn whole_feed(shop: &Shop) -> Value {
    for _ in 0..3_000 {
        let feed = shop.reader.get("/v1/changes?limit=200").send().expect(200).json();
        if feed["changes"].as_array().unwrap().iter().any(|change| change["reason"] == "back-case") {
            return feed;
        }
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    panic!("the feed does not come to its end");
}

/// Following the feed, by `Link` or by its cursor, gives every act once. The watch may add to it meanwhile.
fn changes_follow(shop: &Shop) {
    let all = whole_feed(shop);
    let acts = |feed: &Value| -> Vec<Value> { feed["changes"].as_array().unwrap().clone() };
    assert_eq!(acts(&all).last().unwrap()["cursor"], all["cursor"]);
    for kind in ["receive", "sell", "reverse_sale", "hold", "alarm", "acknowledge"] {
        assert!(acts(&all).iter().any(|change| change["kind"] == kind), "{kind}");
    }
    let mut by_link = Vec::new();
    let mut next = Some("/v1/changes?limit=7".to_owned());
    while let Some(address) = next {
        let page = shop.reader.get(&address).send().expect(200);
        next = page.header("link").map(|link| link[1..].split_once(">; rel=\"next\"").unwrap().0.to_owned());
        let found = acts(&page.json());
        assert_eq!(next.is_some(), found.len() == 7, "{address}");
        by_link.extend(found);
    }
    assert_eq!(by_link[..acts(&all).len()], acts(&all));
    let mut by_cursor = Vec::new();
    let mut address = "/v1/changes?limit=9".to_owned();
    while by_cursor.len() < acts(&all).len() {
        let page = shop.reader.get(&address).send().expect(200).json();
        assert_ne!(acts(&page), Vec::<Value>::new(), "{address}");
        by_cursor.extend(acts(&page));
        address = format!("/v1/changes?limit=9&after={}", text(&page["cursor"]));
    }
    assert_eq!(by_cursor[..acts(&all).len()], acts(&all));
    let now = shop.reader.get("/v1/changes?after=now").send().expect(200).json();
    assert_eq!(acts(&now), Vec::<Value>::new());
    let further = shop.reader.get(&format!("/v1/changes?after={}", text(&now["cursor"]))).send().expect(200).json();
    let by_itself = |change: &Value| change["actor"] == "the shop's watch" || change["kind"] == "time_passed";
    assert!(acts(&further).iter().all(by_itself), "{further}");
}
