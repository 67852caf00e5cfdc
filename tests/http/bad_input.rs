//! Bad requests by the table: each is refused with its status, its code and its field, says nothing of the server's inside, and leaves
//! the database as it was, to the byte. Here are values and states; how a request is spoken stands in `bad_speech`.

use serde_json::{Value, json};

use crate::bad_speech;
use crate::contents::Contents;
use crate::setting::{PHRASE, Shop, act, arrival, fresh_key, new_key, text};
use crate::support::http::Answer;

/// What a case sends as its body.
#[derive(Clone)]
pub enum Body {
    None,
    Json(String),
    Raw(&'static str, Vec<u8>),
}

/// One bad request and what it earns.
#[derive(Clone)]
pub struct Case {
    pub name: String,
    pub method: &'static str,
    pub path: String,
    /// A POST without a key of its own gets a fresh one, unless this holds a key with an empty value.
    pub headers: Vec<(&'static str, String)>,
    pub body: Body,
    pub status: u16,
    pub code: &'static str,
    /// The first field named; none when nothing is.
    pub field: Option<String>,
}

/// Things in every state that a request can run into.
pub struct Things {
    pub saku: String,
    pub other_saku: String,
    pub unlabelled: String,
    pub tub: String,
    pub loin: String,
    pub whole: String,
    pub frozen: String,
    pub thawed: String,
    pub held: String,
    pub sold: String,
    pub wasted: String,
    pub salmon: String,
    pub salmon_loin: String,
    pub hold_open: i64,
    pub hold_released: i64,
    pub sale: i64,
    pub sale_reversed: i64,
    pub print_settled: i64,
}

pub fn is_refused(shop: &Shop) {
    let things = things(shop);
    let mut cases = Vec::new();
    for (path, base, rows) in tables(&things) {
        cases.extend(rows.iter().map(|row| changed(&path, &base, row)));
    }
    cases.extend(bad_speech::cases(&things));
    assert!(cases.len() >= 160, "{} cases", cases.len());
    let mut contents = Contents::open(&shop.database);
    let before = contents.read();
    let mut wrong = Vec::new();
    for case in &cases {
        let answer = send(shop, case);
        wrong.extend(
            judge(case, &answer).map(|what| format!("{}: {what}: {} {}", case.name, answer.status, answer.text())),
        );
        let after = contents.read();
        // When an offer is to be looked at next is moved by time; what is on offer never changes without a change.
        let by_time = |table: &String| table == "shelf" && after.get("changes") == before.get("changes");
        let differs = |table: &&String| after.get(*table) != before.get(*table) && !by_time(table);
        let touched: Vec<&String> = after.keys().filter(differs).collect();
        assert!(touched.is_empty(), "{} wrote to {touched:?}", case.name);
    }
    assert!(wrong.is_empty(), "{} of {} cases:\n{}", wrong.len(), cases.len(), wrong.join("\n"));
    // A reading that saw nothing would pass every case: a good request must show.
    act(&shop.till, "/v1/sales", &json!({"lines": [{"tray_code": things.saku}]})).expect(201);
    let after = contents.read();
    let touched: Vec<&String> = after.keys().filter(|table| after.get(*table) != before.get(*table)).collect();
    let by_a_sale = ["acts", "entries", "holdings", "idempotency", "sale_lines", "sales", "stays", "trays"];
    assert!(by_a_sale.iter().all(|table| touched.iter().any(|t| t == table)), "a sale touches {touched:?}");
    println!("{} bad requests on {:?}", cases.len(), shop.kind);
}

fn send(shop: &Shop, case: &Case) -> Answer {
    let call = shop.manager.call(case.method, &case.path);
    let own_key = case.headers.iter().any(|(name, _)| *name == "Idempotency-Key");
    let call = if case.method == "POST" && !own_key { call.idempotency_key(&fresh_key()) } else { call };
    let given = case.headers.iter().filter(|(_, value)| value != "(none)");
    let call = given.fold(call, |call, (name, value)| call.header(name, value));
    match &case.body {
        Body::None => call.send(),
        Body::Json(text) => call.bytes("application/json", text.as_bytes()).send(),
        Body::Raw(content_type, bytes) => call.bytes(content_type, bytes).send(),
    }
}

/// Words that only the inside of a server says.
const INSIDE: [&str; 10] =
    ["SELECT", "INSERT", "UPDATE ", "diesel", "sqlite", "postgres", "panicked", ".rs", "/src", "/tmp"];

fn judge(case: &Case, answer: &Answer) -> Option<String> {
    if (answer.status, answer.header("content-type")) != (case.status, Some("application/problem+json")) {
        return Some(format!("is not a problem with status {}", case.status));
    }
    let problem = answer.json();
    let field = problem["errors"][0]["field"].as_str().map(str::to_owned);
    if problem["code"] != case.code || field != case.field {
        return Some(format!("is not {} at {:?}", case.code, case.field));
    }
    if problem["status"] != case.status || problem["type"] != format!("/problems#{}", case.code) {
        return Some("does not agree with itself".to_owned());
    }
    INSIDE.iter().find(|word| answer.text().contains(**word)).map(|word| format!("says {word}"))
}

/// One value of a good body changed: where, to what (as JSON text; `-` takes it out), and what that earns at which field (the same place
/// when none is given).
type Row = (&'static str, &'static str, u16, &'static str, Option<&'static str>);

fn changed(path: &str, base: &Value, (pointer, raw, status, code, field): &Row) -> Case {
    let mut body = base.clone();
    let (parent, name) = pointer.rsplit_once('/').expect("a pointer");
    match body.pointer_mut(parent).unwrap_or_else(|| panic!("no {parent} in {base}")) {
        Value::Object(object) if *raw == "-" => drop(object.remove(name)),
        Value::Object(object) => drop(object.insert(name.to_owned(), json!("@@"))),
        Value::Array(list) => list[name.parse::<usize>().expect("an index")] = json!("@@"),
        other => panic!("{other} has no fields"),
    }
    Case {
        name: format!("{path} {pointer} {}", raw.chars().take(60).collect::<String>()),
        method: "POST",
        path: path.to_owned(),
        headers: Vec::new(),
        body: Body::Json(body.to_string().replace("\"@@\"", raw)),
        status: *status,
        code,
        field: Some(field.map_or_else(|| pointer[1..].to_owned(), str::to_owned)),
    }
}

fn things(shop: &Shop) -> Things {
    let (_, whole) = shop.receive("YFT", 25_000);
    let mut parts = vec![("lean-saku", "cold-room", 400); 8];
    parts.extend([("scrape", "cold-room", 500), ("loin", "cold-room", 9_000)]);
    let made = shop.cut(&whole, 25_000, &parts);
    shop.label(&made[..2]);
    let (_, salmon) = shop.receive("SAL", 5_000);
    let salmon = shop.cut(&salmon, 5_000, &[("lean-saku", "cold-room", 300), ("loin", "cold-room", 2_000)]);
    let go = |tray: &str, act_name: &str, body: Value| {
        act(&shop.manager, &format!("/v1/trays/{tray}/{act_name}"), &body).expect(201);
    };
    go(&made[2], "freezes", json!({"place_code": "freezer"}));
    go(&made[3], "freezes", json!({"place_code": "freezer"}));
    go(&made[3], "thaws", json!({"place_code": "cold-room"}));
    go(&made[6], "wastes", json!({"reason": "fell"}));
    let hold = |tray: &str| {
        let body = json!({"scope": "tray", "code": tray, "reason": "smells odd"});
        act(&shop.manager, "/v1/holds", &body).expect(201).json()["hold_id"].as_i64().unwrap()
    };
    let (hold_open, hold_released) = (hold(&made[4]), hold(&made[0]));
    act(&shop.manager, &format!("/v1/holds/{hold_released}/release"), &json!({"note": "the bin"})).expect(201);
    let sell = |tray: &str| {
        let body = json!({"lines": [{"tray_code": tray}]});
        act(&shop.till, "/v1/sales", &body).expect(201).json()["sale_id"].as_i64().unwrap()
    };
    let sale_reversed = sell(&made[1]);
    act(&shop.till, &format!("/v1/sales/{sale_reversed}/reversal"), &json!({"reason": "mis-scan"})).expect(201);
    let sale = sell(&made[5]);
    shop.manager
        .post("/v1/people")
        .json(&json!({"name": "Ines", "role": "cutter", "password": PHRASE}))
        .send()
        .expect(201);
    new_key(&shop.manager, "one more", "reader");
    let print_settled = shop.print_in_doubt(&made[1], None);
    act(&shop.counter, &format!("/v1/prints/{print_settled}/resolve"), &json!({"printed": "yes"})).expect(201);
    let (_, untouched) = shop.receive("YFT", 8_000);
    Things {
        saku: made[0].clone(),
        other_saku: made[1].clone(),
        unlabelled: made[7].clone(),
        tub: made[8].clone(),
        loin: made[9].clone(),
        whole: untouched,
        frozen: made[2].clone(),
        thawed: made[3].clone(),
        held: made[4].clone(),
        sold: made[5].clone(),
        wasted: made[6].clone(),
        salmon: salmon[0].clone(),
        salmon_loin: salmon[1].clone(),
        hold_open,
        hold_released,
        sale,
        sale_reversed,
        print_settled,
    }
}

const LONG: &str = concat!(
    "\"nnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnn",
    "nnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnn",
    "nnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnn",
    "nnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnn",
    "nnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnn",
    "nnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnnn\""
);

const V: &str = "invalid_value";
const U: &str = "unknown_reference";

#[rustfmt::skip]
const LOT: &[Row] = &[
    ("/received_g", "\"250\"", 422, V, None),
    ("/received_g", "1.5", 422, V, None),
    ("/received_g", "1e-3", 422, V, None),
    ("/received_g", "-1", 422, V, None),
    ("/received_g", "0", 422, V, None),
    ("/received_g", "10000001", 422, V, None),
    ("/received_g", "9007199254740993", 422, V, None),
    ("/received_g", "9223372036854775808", 422, V, None),
    ("/received_g", "-9223372036854775809", 422, V, None),
    ("/received_g", "null", 422, V, None),
    ("/received_g", "true", 422, V, None),
    ("/received_g", "[31400]", 422, V, None),
    ("/received_g", "{\"kg\":31.4}", 422, V, None),
    ("/received_g", "-", 422, V, None),
    ("/received_kg", "31.4", 422, V, None),
    ("/cost_cents", "-1", 422, V, None),
    ("/cost_cents", "1000000001", 422, V, None),
    ("/cost_cents", "486.70", 422, V, None),
    ("/cost_cents", "-", 422, V, None),
    ("/pieces", "0", 422, V, None),
    ("/pieces", "10001", 422, V, None),
    ("/species_code", "\"XXX\"", 422, U, None),
    ("/species_code", "\"yft\"", 422, U, None),
    ("/species_code", "\"\"", 422, U, None),
    ("/species_code", "5", 422, V, None),
    ("/species_code", "\"Y\\u0000T\"", 422, V, None),
    ("/supplier_code", "\"far-hall\"", 422, U, None),
    ("/supplier_code", "\"' OR 1=1 --\"", 422, U, None),
    ("/cut_code", "\"no-such\"", 422, U, None),
    ("/cut_code", "\"lean-saku\"", 409, "wrong_kind", None),
    ("/place_code", "\"no-such\"", 422, U, None),
    ("/place_code", "\"\\u0000\"", 422, V, None),
    ("/supplier_lot_code", "\"\"", 422, V, None),
    ("/supplier_lot_code", "\"HH\\t4711\"", 422, V, None),
    ("/supplier_lot_code", LONG, 422, V, None),
    ("/supplier_use_by", "\"2027-02-29\"", 422, V, None),
    ("/supplier_use_by", "\"10000-01-01\"", 422, V, None),
    ("/supplier_use_by", "\"2026-13-01\"", 422, V, None),
    ("/supplier_use_by", "\"04/12/2026\"", 422, V, None),
    ("/supplier_use_by", "\"2026-12-4\"", 422, V, None),
    ("/supplier_use_by", "\"2026-12-04T00:00:00Z\"", 422, V, None),
    ("/received_at", "\"2099-01-01T00:00:00Z\"", 422, "time_in_future", None),
    ("/received_at", "\"2026-01-07T06:30:00\"", 422, V, None),
    ("/received_at", "\"2026-01-07\"", 422, V, None),
    ("/received_at", "\"yesterday\"", 422, V, None),
    ("/received_at", "1767767400", 422, V, None),
    ("/received_at", "\"2027-02-29T00:00:00Z\"", 422, V, None),
    ("/received_at", "\"10000-01-01T00:00:00Z\"", 422, V, None),
    ("/received_at", "\"1969-12-31T23:59:59Z\"", 422, V, None),
    ("/received_at", "\"2025-01-07T06:30:00Z\"", 422, "time_too_early", None),
    ("/catch", "null", 422, V, None),
    ("/catch", "-", 422, V, None),
    ("/catch/production", "\"ocean\"", 422, V, None),
    ("/catch/area", "\"99\"", 422, V, None),
    ("/catch/area", "71", 422, V, None),
    ("/catch/gear", "-", 422, V, None),
    ("/catch/gear", "\"NET\"", 422, V, None),
    ("/catch/country", "\"  \"", 422, V, None),
    ("/catch/country", LONG, 422, V, None),
    ("/catch/country", "\"Fi\\u202eji\"", 422, V, None),
    ("/catch/country", "\"Fi\\u0007ji\"", 422, V, None),
    ("/catch/caught_from", "\"2027-02-29\"", 422, V, None),
    ("/catch/caught_to", "\"2026-01-04\"", 422, V, None),
    ("/catch/caught_to", "\"2099-01-01\"", 422, "time_in_future", None),
    ("/catch/vessel", "\"Marlin\"", 422, V, None),
    ("/inspection/grade", "0", 422, V, None),
    ("/inspection/grade", "6", 422, V, None),
    ("/inspection/colour", "\"2\"", 422, V, None),
    ("/inspection/fat", "-", 422, V, None),
    ("/inspection/burn", "\"badly\"", 422, V, None),
    ("/inspection/sample", "\"loin\"", 422, V, None),
    ("/inspection/core_temperature_mc", "0.6", 422, V, None),
    ("/inspection/core_temperature_mc", "40001", 422, V, None),
    ("/inspection/core_temperature_mc", "-70001", 422, V, None),
    ("/inspection/note", LONG, 422, V, None),
    ("/parasite_letter", r#""a letter""#, 422, V, None),
    ("/parasite_letter", r#"{"reference":"","temperature_mc":-35000,"hours":20}"#, 422, V, Some("parasite_letter/reference")),
    ("/parasite_letter", r#"{"reference":"a","temperature_mc":-19999,"hours":9999}"#, 422, V, Some("parasite_letter/hours")),
    ("/parasite_letter", r#"{"reference":"a","temperature_mc":-20000,"hours":23}"#, 422, V, Some("parasite_letter/hours")),
    ("/parasite_letter", r#"{"reference":"a","temperature_mc":-200000,"hours":24}"#, 422, V, Some("parasite_letter/temperature_mc")),
    ("/previously_frozen", "\"yes\"", 422, V, None),
];

#[rustfmt::skip]
const BREAKDOWN: &[Row] = &[
    ("/inputs", "[]", 422, V, None),
    ("/inputs", "{}", 422, V, None),
    ("/inputs", "-", 422, V, None),
    ("/inputs/0/grams", "0", 422, V, None),
    ("/inputs/0/grams", "-5", 422, V, None),
    ("/inputs/0/grams", "9001", 409, "insufficient_stock", None),
    ("/inputs/0/weight_g", "9001", 422, V, None),
    ("/outputs", "[]", 422, V, None),
    ("/outputs/0/net_weight_g", "0", 422, V, None),
    ("/outputs/0/net_weight_g", "-1", 422, V, None),
    ("/outputs/0/net_weight_g", "250.5", 422, V, None),
    ("/outputs/0/net_weight_g", "10000001", 422, V, None),
    ("/outputs/0/net_weight_g", "-", 422, V, None),
    ("/outputs/0/net_weight_g", "1100", 422, "mass_exceeds_input", Some("outputs")),
    ("/outputs/0/net_weight_g", "500", 422, "loss_unexplained", Some("losses")),
    ("/outputs/0/cut_code", "\"no-such\"", 422, U, None),
    ("/outputs/0/place_code", "\"no-such\"", 422, U, None),
    ("/outputs/0/place_code", "\"freezer\"", 409, "use_freeze_or_thaw", None),
    ("/losses/0/name", "\"\"", 422, V, None),
    ("/losses/0/name", LONG, 422, V, None),
    ("/losses/0/grams", "0", 422, V, None),
    ("/losses/0/grams", "-3", 422, V, None),
    ("/losses/0/grams", "10000001", 422, V, None),
    ("/losses/0/grams", "9223372036854775807", 422, V, None),
    ("/losses/0/grams", "200", 422, "mass_exceeds_input", Some("outputs")),
    ("/place_code", "\"no-such\"", 422, U, None),
    ("/place_code", "-", 422, V, None),
    ("/reason", "\"\"", 422, V, None),
    ("/reason", LONG, 422, V, None),
];

#[rustfmt::skip]
const TUB_SALE: &[Row] = &[
    ("/lines", "[]", 422, V, None),
    ("/lines", "null", 422, V, None),
    ("/lines", "-", 422, V, None),
    ("/lines/0", "5", 422, V, None),
    ("/lines/0/grams", "0", 422, V, None),
    ("/lines/0/grams", "-1", 422, V, None),
    ("/lines/0/grams", "1.5", 422, V, None),
    ("/lines/0/grams", "\"150\"", 422, V, None),
    ("/lines/0/grams", "501", 409, "insufficient_stock", None),
    ("/lines/0/grams", "9007199254740993", 422, V, None),
    ("/lines/0/grams", "-", 422, V, None),
    ("/lines/0/price_cents", "1", 409, "price_differs", None),
    ("/lines/0/price_cents", "\"1\"", 422, V, None),
    ("/lines/0/price_per_kg_cents", "-1", 409, "price_differs", None),
    ("/lines/0/price_per_kg_cents", "74.5", 422, V, None),
    ("/lines/0/discount_cents", "1", 422, V, None),
    ("/lines/0/tray_code", "\"4006381333931\"", 422, "not_a_code", None),
    ("/lines/0/tray_code", "\"\"", 422, "not_a_code", None),
    ("/lines/0/tray_code", LONG, 422, "not_a_code", None),
    ("/lines/0/tray_code", "\"https://other.example/01/02900000001011/21/C4H7K9P\"", 422, "other_shop", None),
    ("/lines/0/tray_code", "\"https://fish.example/01/02900000001011\"", 422, "wrong_check_digit", None),
    ("/lines/0/tray_code", "\"https://fish.example/01/02900000001015\"", 422, "not_a_code", None),
    ("/lines/0/tray_code", "\"\\u0000\"", 422, V, None),
    ("/sold_at", "\"2026-01-07T06:30:00Z\"", 422, V, None),
];

#[rustfmt::skip]
const REASON: &[Row] = &[
    ("/reason", "-", 422, V, None),
    ("/reason", "\"\"", 422, V, None),
    ("/reason", "\" \\n \"", 422, V, None),
    ("/reason", LONG, 422, V, None),
    ("/reason", "\"a\\u0000b\"", 422, V, None),
    ("/reason", "\"a\\u2066b\"", 422, V, None),
    ("/reason", "7", 422, V, None),
];

#[rustfmt::skip]
const WASTE: &[Row] = &[
    ("/grams", "0", 422, V, None),
    ("/grams", "-1", 422, V, None),
    ("/grams", "\"450\"", 422, V, None),
    ("/grams", "501", 409, "insufficient_stock", None),
    ("/grams", "9223372036854775808", 422, V, None),
    ("/reason", "-", 422, "reason_required", None),
    ("/reason", "null", 422, "reason_required", None),
    ("/reason", "\"\"", 422, V, None),
    ("/weight_g", "5", 422, V, None),
];

#[rustfmt::skip]
const MOVE: &[Row] = &[
    ("/place_code", "\"no-such\"", 422, U, None),
    ("/place_code", "\"cold-room\"", 409, "already_there", None),
    ("/place_code", "\"freezer\"", 409, "use_freeze_or_thaw", None),
    ("/place_code", "-", 422, V, None),
    ("/place_code", "null", 422, V, None),
    ("/place_code", "[\"front-case\"]", 422, V, None),
];

#[rustfmt::skip]
const MARKDOWN: &[Row] = &[
    ("/price_per_kg_cents", "7450", 409, "price_would_rise", None),
    ("/price_per_kg_cents", "7451", 409, "price_would_rise", None),
    ("/price_per_kg_cents", "-1", 422, V, None),
    ("/price_per_kg_cents", "10000001", 422, V, None),
    ("/price_per_kg_cents", "59.60", 422, V, None),
    ("/price_per_kg_cents", "-", 422, V, None),
    ("/reason", "\"a reason of more than forty characters ...\"", 422, V, None),
    ("/reason", "-", 422, V, None),
];

#[rustfmt::skip]
const HOLD: &[Row] = &[
    ("/scope", "\"case\"", 422, V, None),
    ("/scope", "\"lot\"", 422, U, Some("code")),
    ("/code", "\"no tray\"", 422, "not_a_code", None),
    ("/code", "-", 422, V, None),
    ("/reason", "\"\"", 422, V, None),
    ("/reason", "-", 422, V, None),
];

#[rustfmt::skip]
const PICK: &[Row] = &[
    ("/purpose", "\"gift\"", 422, V, None),
    ("/cut_code", "\"no-such\"", 422, U, None),
    ("/cut_code", "\"bones\"", 409, "nothing_to_pick", None),
    ("/cut_code", "-", 422, V, None),
    ("/place_code", "\"nowhere\"", 422, U, None),
    ("/place_code", "\"bench\"", 409, "nothing_to_pick", Some("cut_code")),
    ("/rule", "\"lifo\"", 422, V, None),
    ("/choice", "\"best\"", 422, V, None),
    ("/count", "0", 422, V, None),
    ("/count", "201", 422, V, None),
    ("/count", "1.5", 422, V, None),
    ("/count", "-", 422, V, None),
    ("/low_g", "500", 422, V, Some("count")),
    ("/least_hours", "1001", 422, V, None),
    ("/least_hours", "-1", 422, V, None),
    ("/highest_price_per_kg_cents", "-1", 422, V, None),
    ("/highest_price_per_kg_cents", "1", 409, "nothing_to_pick", Some("cut_code")),
    ("/needed_at", "\"noon\"", 422, V, None),
    ("/needed_at", "\"2020-01-01T00:00:00Z\"", 422, V, None),
    ("/note", "\"\"", 422, V, None),
];

#[rustfmt::skip]
const PICK_WEIGHT: &[Row] = &[
    ("/low_g", "0", 422, V, None),
    ("/low_g", "6000000", 422, V, None),
    ("/low_g", "-", 422, V, None),
    ("/high_g", "10000001", 422, V, None),
    ("/high_g", "-", 422, V, None),
    ("/high_g", "1", 409, "window_unreachable", Some("low_g")),
    ("/high_g", "9000000", 422, "pick_too_large", None),
];

#[rustfmt::skip]
const COUNT: &[Row] = &[
    ("/lines", "[]", 422, V, None),
    ("/lines/0/counted_g", "-1", 422, V, None),
    ("/lines/0/counted_g", "10000001", 422, V, None),
    ("/lines/0/counted_g", "0.5", 422, V, None),
    ("/lines/0/counted_g", "-", 422, V, None),
    ("/reason", "-", 422, "reason_required", None),
    ("/reason", LONG, 422, V, None),
];

#[rustfmt::skip]
const SCAN: &[Row] = &[
    ("/text", "\"\"", 422, "not_a_code", None),
    ("/text", "\"]Q1\"", 422, "not_a_code", None),
    ("/text", LONG, 422, "not_a_code", None),
    ("/text", "\"ftp://fish.example/01/1/21/C4H7K9P\"", 422, "not_a_code", None),
    ("/text", "\"https://fish.example.evil/01/02900000001011/21/C4H7K9P\"", 422, "other_shop", None),
    ("/text", "7", 422, V, None),
    ("/text", "-", 422, V, None),
    ("/text", "\"\\u0000\"", 422, V, None),
];

#[rustfmt::skip]
const PERSON: &[Row] = &[
    ("/name", "\"\"", 422, V, None),
    ("/name", "\"Ines\"", 409, "already_exists", None),
    ("/name", "\"Ru\\u0000i\"", 422, V, None),
    ("/role", "\"till\"", 422, V, None),
    ("/role", "\"Manager\"", 422, V, None),
    ("/password", "\"elevenchars\"", 422, V, None),
    ("/password", "\"passwordpassword\"", 422, V, None),
    ("/password", "\"aaaaaaaaaaaaaaaa\"", 422, V, None),
    ("/password", LONG, 422, V, None),
    ("/password", "-", 422, V, None),
];

#[rustfmt::skip]
const KEY: &[Row] = &[
    ("/valid_days", "0", 422, V, None),
    ("/valid_days", "401", 422, V, None),
    ("/valid_days", "1.5", 422, V, None),
    ("/role", "\"boss\"", 422, V, None),
    ("/name", "\"a\\u001bb\"", 422, V, None),
    ("/name", LONG, 422, V, None),
];

#[rustfmt::skip]
const PRINT: &[Row] = &[
    ("/copies", "0", 422, V, None),
    ("/copies", "-1", 422, V, None),
    ("/copies", "21", 422, V, None),
    ("/copies", "1.5", 422, V, None),
    ("/copies", "\"1\"", 422, V, None),
    ("/copies", "9223372036854775808", 422, V, None),
    ("/printer", "\"no-such\"", 422, U, None),
    ("/printer", "7", 422, V, None),
    ("/tray_code", "\"4006381333931\"", 422, "not_a_code", None),
    ("/tray_code", "\"\"", 422, "not_a_code", None),
    ("/tray_code", "-", 422, V, None),
    ("/tray_code", "\"https://other.example/01/02900000001011/21/C4H7K9P\"", 422, "other_shop", None),
    ("/reason", "-", 422, "reason_required", None),
    ("/reason", "\"\"", 422, V, None),
    ("/reason", LONG, 422, V, None),
    ("/dpi", "300", 422, V, None),
];

#[rustfmt::skip]
const CANCEL: &[Row] = &[
    ("/reason", "\"too late\"", 409, "print_over", Some("id")),
    ("/reason", "\"\"", 422, V, None),
    ("/reason", LONG, 422, V, None),
    ("/why", "\"x\"", 422, V, None),
];

#[rustfmt::skip]
const RESOLUTION: &[Row] = &[
    ("/printed", "\"no\"", 409, "not_in_doubt", Some("id")),
    ("/printed", "\"maybe\"", 422, V, None),
    ("/printed", "true", 422, V, None),
    ("/printed", "-", 422, V, None),
];

fn tables(t: &Things) -> Vec<(String, Value, &'static [Row])> {
    let tray = |tray: &str, name: &str| format!("/v1/trays/{tray}/{name}");
    let breakdown = json!({"inputs": [{"tray_code": t.loin, "grams": 1_000}], "place_code": "bench",
        "outputs": [{"cut_code": "lean-saku", "place_code": "cold-room", "net_weight_g": 900}],
        "losses": [{"name": "skin", "grams": 95}]});
    let mut lot = arrival();
    assert_eq!(text(&lot["catch"]["caught_to"]), "2026-01-06");
    lot["received_at"] = json!("2026-01-07T06:30:00Z");
    vec![
        ("/v1/lots".into(), lot, LOT),
        ("/v1/breakdowns".into(), breakdown, BREAKDOWN),
        ("/v1/sales".into(), json!({"lines": [{"tray_code": t.tub, "grams": 100}]}), TUB_SALE),
        (format!("/v1/sales/{}/reversal", t.sale), json!({"reason": "mis-scan"}), REASON),
        (tray(&t.tub, "wastes"), json!({"grams": 100, "reason": "fell"}), WASTE),
        (tray(&t.saku, "moves"), json!({"place_code": "front-case"}), MOVE),
        (tray(&t.saku, "markdowns"), json!({"price_per_kg_cents": 6_000, "reason": "end of day"}), MARKDOWN),
        ("/v1/holds".into(), json!({"scope": "tray", "code": t.saku, "reason": "smells odd"}), HOLD),
        ("/v1/pick-lists".into(), json!({"purpose": "order", "cut_code": "lean-saku", "count": 1}), PICK),
        (
            "/v1/pick-lists".into(),
            json!({"purpose": "order", "cut_code": "lean-saku", "low_g": 1, "high_g": 5_000_000}),
            PICK_WEIGHT,
        ),
        (
            "/v1/pick-lists".into(),
            json!({"purpose": "refill", "place_code": "front-case"}),
            &[
                ("/place_code", "-", 422, V, None),
                ("/place_code", "\"freezer\"", 422, V, None),
                ("/count", "1", 422, V, None),
                ("/place_code", "\"show-case\"", 409, "no_case_plan", None),
            ],
        ),
        (
            "/v1/pick-lists/999/scans".into(),
            json!({"scanned": t.saku}),
            &[("/substitute", "\"no\"", 422, V, None), ("/substitute", "\"yes\"", 404, "not_found", Some("id"))],
        ),
        ("/v1/pick-lists/999/refills".into(), json!({}), &[("/reason", "\"x\"", 404, "not_found", Some("id"))]),
        ("/v1/pick-lists/999/give-ups".into(), json!({}), &[("/reason", "\"\"", 422, V, None)]),
        ("/v1/counts".into(), json!({"lines": [{"tray_code": t.tub, "counted_g": 480}], "reason": "count"}), COUNT),
        ("/v1/scans".into(), json!({"text": t.saku}), SCAN),
        ("/v1/prints".into(), json!({"tray_code": t.other_saku, "reason": "torn"}), PRINT),
        (
            "/v1/prints".into(),
            json!({"tray_code": t.sold}),
            &[("/reason", "\"torn\"", 409, "tray_gone", Some("tray_code"))],
        ),
        (
            "/v1/prints".into(),
            json!({"tray_code": t.frozen}),
            &[("/reason", "\"torn\"", 409, "frozen", Some("tray_code"))],
        ),
        (format!("/v1/prints/{}/resolve", t.print_settled), json!({"printed": "yes"}), RESOLUTION),
        (format!("/v1/prints/{}/cancel", t.print_settled), json!({}), CANCEL),
        ("/v1/people".into(), json!({"name": "Rui", "role": "counter", "password": PHRASE}), PERSON),
        ("/v1/keys".into(), json!({"name": "till 9", "role": "till", "valid_days": 30}), KEY),
    ]
}
