//! Bad requests that are no single wrong value: states, trays that do not fit together, JSON that is none, headers, queries, addresses.

use serde_json::{Value, json};

use crate::bad_input::{Body, Case, Things};

type Made = Vec<Case>;

fn case(method: &'static str, path: &str, body: Body, status: u16, code: &'static str, field: Option<&str>) -> Case {
    let said = match &body {
        Body::None => String::new(),
        Body::Json(text) => text.chars().take(80).collect(),
        Body::Raw(kind, bytes) => {
            format!("{kind} {}", String::from_utf8_lossy(bytes).chars().take(60).collect::<String>())
        }
    };
    Case {
        name: format!("{method} {path} {said}"),
        method,
        path: path.to_owned(),
        headers: Vec::new(),
        body,
        status,
        code,
        field: field.map(str::to_owned),
    }
}

fn post(path: &str, body: &Value, status: u16, code: &'static str, field: &str) -> Case {
    case("POST", path, Body::Json(body.to_string()), status, code, Some(field))
}

pub fn cases(t: &Things) -> Made {
    [
        sales(t),
        cutting(t),
        trays(t),
        label_sheets(t),
        numbered(t),
        json_that_is_none(t),
        keys(t),
        preconditions(),
        catalogue(),
        queries(t),
        addresses(),
    ]
    .concat()
}

/// The code with its first two characters swapped, and with one other character: both fail the check.
fn slips(code: &str) -> (String, String) {
    let mut swapped: Vec<char> = code.chars().collect();
    let differing = (0..6).find(|i| swapped[*i] != swapped[i + 1]).expect("two different neighbours");
    swapped.swap(differing, differing + 1);
    let other = if code.ends_with('7') { '9' } else { '7' };
    (swapped.into_iter().collect(), format!("{}{other}", &code[..6]))
}

/// A well-formed code that no tray of a small shop has: ISO/IEC 7064 MOD 37-2 over C3C3C3 and the like.
fn nobodys() -> String {
    const ALL: &str = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*";
    let value = |c: char| ALL.find(c).expect("a character of the alphabet");
    let bodies = ["YYYYYY", "YYYYYX", "YYYYYW", "YYYYYV", "YYYYYT", "YYYYYR", "YYYYYP"];
    let codes = bodies.iter().map(|body| {
        let product = body.chars().fold(0, |product, c| (product + value(c)) * 2 % 37);
        format!("{body}{}", ALL.chars().nth((38 - product) % 37).expect("a check character"))
    });
    codes.into_iter().find(|code| code.chars().all(|c| "23456789CFHJKMNPRTVWXY".contains(c))).expect("a legal code")
}

fn sales(t: &Things) -> Made {
    let sale = |trays: &[&str]| json!({"lines": trays.iter().map(|c| json!({ "tray_code": c })).collect::<Vec<_>>()});
    let (swapped, wrong) = slips(&t.saku);
    let address = |host: &str| format!("{host}/01/02900000001011/10/YFT-261125-01/21/{}", t.saku);
    let first = "lines/0/tray_code";
    let rows: Vec<(Value, u16, &'static str, &str)> = vec![
        (sale(&[&swapped]), 422, "wrong_check_character", first),
        (sale(&[&wrong]), 422, "wrong_check_character", first),
        (sale(&[&nobodys()]), 422, "unknown_reference", first),
        (sale(&[&address("https://fish.example:444")]), 422, "other_shop", first),
        (sale(&[&address("https://fish.example.evil")]), 422, "other_shop", first),
        (sale(&[&address("mailto://fish.example")]), 422, "not_a_code", first),
        (sale(&[&t.sold]), 409, "already_sold", first),
        (sale(&[&t.wasted]), 409, "tray_gone", first),
        (sale(&[&t.loin]), 409, "wrong_kind", first),
        (sale(&[&t.frozen]), 409, "frozen", first),
        (sale(&[&t.held]), 409, "on_hold", first),
        (sale(&[&t.salmon]), 409, "parasite_freezing_missing", first),
        (sale(&[&t.tub]), 422, "invalid_value", "lines/0/grams"),
        (sale(&[&t.saku, &t.saku]), 422, "duplicate_line", "lines/1/tray_code"),
        (sale(&[&t.saku, &t.sold]), 409, "already_sold", "lines/1/tray_code"),
        (sale(&[&t.sold, &nobodys()]), 422, "unknown_reference", first),
        (sale(&vec![t.saku.as_str(); 101]), 422, "invalid_value", "lines"),
        (json!({"lines": [{"tray_code": t.saku, "grams": 399}]}), 409, "wrong_kind", "lines/0/grams"),
    ];
    rows.iter().map(|(body, status, code, field)| post("/v1/sales", body, *status, code, field)).collect()
}

fn cutting(t: &Things) -> Made {
    let input = |tray: &str| json!({ "tray_code": tray });
    let output = json!({"cut_code": "lean-saku", "place_code": "cold-room", "net_weight_g": 10});
    let whole = |inputs: Value, outputs: Value, losses: Value| json!({"inputs": inputs, "outputs": outputs, "losses": losses, "place_code": "bench", "reason": "a test"});
    let from = |inputs: Value| whole(inputs, json!([output]), json!([]));
    let (swapped, _) = slips(&t.loin);
    let first = "inputs/0/tray_code";
    let loss = json!({"name": "skin", "grams": 1});
    let rows: Vec<(Value, u16, &'static str, &str)> = vec![
        (from(json!([input(&swapped)])), 422, "wrong_check_character", first),
        (from(json!([input(&nobodys())])), 422, "unknown_reference", first),
        (from(json!([input(&t.sold)])), 409, "tray_gone", first),
        (from(json!([input(&t.frozen)])), 409, "frozen", first),
        (from(json!([input(&t.held)])), 409, "on_hold", first),
        (from(json!([input(&t.loin), input(&t.loin)])), 422, "duplicate_line", "inputs/1/tray_code"),
        (from(json!([input(&t.loin), input(&t.salmon_loin)])), 409, "not_the_same", "inputs/1/tray_code"),
        (from(json!([{"tray_code": t.saku, "grams": 10}])), 409, "wrong_kind", "inputs/0/grams"),
        (from(json!(vec![input(&t.loin); 51])), 422, "invalid_value", "inputs"),
        (whole(json!([input(&t.loin)]), json!(vec![output.clone(); 501]), json!([])), 422, "invalid_value", "outputs"),
        (whole(json!([input(&t.loin)]), json!([output]), json!(vec![loss; 21])), 422, "invalid_value", "losses"),
    ];
    rows.iter().map(|(body, status, code, field)| post("/v1/breakdowns", body, *status, code, field)).collect()
}

fn trays(t: &Things) -> Made {
    let (swapped, _) = slips(&t.saku);
    let nobody = nobodys();
    let reason = json!({"reason": "a test"});
    let to = |place: &str| json!({ "place_code": place });
    let pour = |source: &str| json!({ "source_tray_code": source });
    let lower = json!({"price_per_kg_cents": 1, "reason": "end of day"});
    let code = "tray_code";
    let rows: Vec<(&str, &str, Value, u16, &'static str, &str)> = vec![
        (&swapped, "wastes", reason.clone(), 422, "wrong_check_character", code),
        ("x", "wastes", reason.clone(), 422, "not_a_code", code),
        (&nobody, "wastes", reason.clone(), 404, "not_found", code),
        (&t.sold, "wastes", reason.clone(), 409, "tray_gone", code),
        (&t.saku, "wastes", json!({"grams": 399, "reason": "a test"}), 409, "wrong_kind", "grams"),
        (&t.held, "kitchen-transfers", json!({}), 409, "on_hold", code),
        (&t.wasted, "kitchen-transfers", json!({}), 409, "tray_gone", code),
        (&t.loin, "kitchen-transfers", json!({"grams": 9_001}), 409, "insufficient_stock", "grams"),
        (&t.sold, "moves", to("front-case"), 409, "tray_gone", code),
        (&nobody, "moves", to("front-case"), 404, "not_found", code),
        (&t.frozen, "moves", to("cold-room"), 409, "use_freeze_or_thaw", "place_code"),
        (&t.saku, "freezes", to("front-case"), 422, "invalid_value", "place_code"),
        (&t.frozen, "freezes", to("freezer"), 409, "frozen", code),
        (&t.thawed, "freezes", to("freezer"), 409, "refreeze", code),
        (&t.saku, "thaws", to("front-case"), 409, "not_frozen", code),
        (&t.frozen, "thaws", to("freezer"), 422, "invalid_value", "place_code"),
        (&t.tub, "top-ups", pour(&t.tub), 409, "not_the_same", "source_tray_code"),
        (&t.tub, "top-ups", pour(&t.saku), 409, "not_the_same", "source_tray_code"),
        (&t.saku, "top-ups", pour(&t.tub), 409, "wrong_kind", code),
        (&t.tub, "top-ups", pour(&nobody), 422, "unknown_reference", "source_tray_code"),
        (&t.tub, "top-ups", pour(&swapped), 422, "wrong_check_character", "source_tray_code"),
        (&t.loin, "markdowns", lower.clone(), 409, "wrong_kind", code),
        (&t.sold, "markdowns", lower, 409, "already_sold", code),
        (&t.saku, "labels", json!({}), 422, "reason_required", "reason"),
        (&t.frozen, "labels", json!({}), 409, "frozen", code),
        (&t.sold, "labels", reason, 409, "tray_gone", code),
    ];
    let act = |row: &(&str, &str, Value, u16, &'static str, &str)| {
        post(&format!("/v1/trays/{}/{}", row.0, row.1), &row.2, row.3, row.4, row.5)
    };
    rows.iter().map(act).collect()
}

fn label_sheets(t: &Things) -> Made {
    let sheet =
        |codes: &[&str], stock: &str, start_at: i64| json!({"tray_codes": codes, "stock": stock, "start_at": start_at});
    let a4 = |codes: &[&str]| sheet(codes, "a4-62x40", 1);
    let (swapped, _) = slips(&t.saku);
    let (nobody, saku) = (nobodys(), t.saku.as_str());
    let rows: Vec<(Value, u16, &'static str, &str)> = vec![
        (a4(&[]), 422, "invalid_value", "tray_codes"),
        (a4(&vec![saku; 201]), 422, "invalid_value", "tray_codes"),
        (a4(&[saku, &saku.to_lowercase()]), 422, "duplicate_line", "tray_codes/1"),
        (a4(&[saku, &swapped]), 422, "wrong_check_character", "tray_codes/1"),
        (a4(&[saku, &nobody]), 422, "unknown_reference", "tray_codes/1"),
        (a4(&[&t.unlabelled, saku]), 409, "label_refused", "tray_codes/0"),
        (sheet(&[saku], "62x40", 1), 422, "invalid_value", "stock"),
        (sheet(&[saku], "a4", 1), 422, "invalid_value", "stock"),
        (sheet(&[saku], "a4-62x40", 0), 422, "invalid_value", "start_at"),
        (sheet(&[saku], "a4-62x40", 22), 422, "invalid_value", "start_at"),
    ];
    rows.iter().map(|(body, status, code, field)| post("/v1/label-sheets", body, *status, code, field)).collect()
}

fn numbered(t: &Things) -> Made {
    let note = json!({"note": "core measured"});
    let reason = json!({"reason": "mis-scan"});
    let line = |tray: &str| json!({"tray_code": tray, "counted_g": 1});
    let count = |lines: Value| json!({"lines": lines, "reason": "count"});
    let decision = |cut: &str, way: &str| json!({"cut_code": cut, "way": way, "basis": "0123456789abcdef"});
    let decide = |decisions: Value| json!({ "decisions": decisions });
    let many = vec![decision("loin", "declined"); 101];
    let batch = json!({"scope": "batch", "code": t.whole, "reason": "smells odd"});
    let gone = |path: &str| case("POST", path, Body::Json(reason.to_string()), 404, "no_such_address", None);
    vec![
        post("/v1/sales/999999/reversal", &reason, 404, "not_found", "id"),
        post(&format!("/v1/sales/{}/reversal", t.sale_reversed), &reason, 409, "already_reversed", "id"),
        gone("/v1/sales/-1/reversal"),
        gone("/v1/sales/9223372036854775808/reversal"),
        gone("/v1/sales/one/reversal"),
        post("/v1/holds/999999/release", &note, 404, "not_found", "id"),
        post(&format!("/v1/holds/{}/release", t.hold_released), &note, 409, "not_on_hold", "id"),
        post(&format!("/v1/holds/{}/release", t.hold_open), &json!({"note": ""}), 422, "invalid_value", "note"),
        post(&format!("/v1/holds/{}/release", t.hold_open), &json!({}), 422, "invalid_value", "note"),
        post("/v1/holds", &batch, 422, "unknown_reference", "code"),
        post("/v1/counts", &count(json!([line(&t.tub), line(&t.tub)])), 422, "duplicate_line", "lines/1/tray_code"),
        post("/v1/counts", &count(json!([line(&t.sold)])), 409, "tray_gone", "lines/0/tray_code"),
        post("/v1/counts", &count(json!(vec![line(&t.tub); 501])), 422, "invalid_value", "lines"),
        post("/v1/decisions", &decide(json!([])), 422, "invalid_value", "decisions"),
        post("/v1/decisions", &decide(json!(many)), 422, "invalid_value", "decisions"),
        post("/v1/decisions", &decide(json!([5])), 422, "invalid_value", "decisions/0"),
        post("/v1/decisions", &decide(json!([decision("loin", "maybe")])), 422, "invalid_value", "decisions/0/way"),
        post(
            "/v1/decisions",
            &decide(json!([decision("no-such-cut", "accepted")])),
            422,
            "unknown_reference",
            "decisions/0/cut_code",
        ),
        post(
            "/v1/decisions",
            &decide(json!([decision("loin", "accepted"), decision("loin", "declined")])),
            422,
            "duplicate_line",
            "decisions/1/cut_code",
        ),
        post(
            "/v1/decisions",
            &decide(json!([decision("loin", "accepted")])),
            409,
            "not_a_candidate",
            "decisions/0/cut_code",
        ),
        post("/v1/decisions/999999/undo", &json!({}), 404, "not_found", "id"),
        post("/v1/errands/999999/drops", &json!({}), 404, "not_found", "id"),
        post("/v1/errands/completions", &json!({"scanned": nobodys()}), 422, "unknown_reference", "scanned"),
        post("/v1/errands/completions", &json!({"scanned": t.saku}), 409, "no_errand", "scanned"),
        post("/v1/scans", &json!({"text": nobodys()}), 404, "not_found", "text"),
        post("/v1/scans", &json!({"text": slips(&t.saku).0}), 422, "wrong_check_character", "text"),
    ]
}

/// Text that is no JSON, JSON that is no sale, and what is no text at all. The trays in it could be sold: whatever is read too kindly
/// shows in the database.
fn json_that_is_none(t: &Things) -> Made {
    let good = json!({"lines": [{"tray_code": t.saku}]}).to_string();
    let malformed: Vec<Vec<u8>> = vec![
        Vec::new(),
        good[..good.len() - 1].into(),
        format!("{good}}}").into(),
        format!("{good}{good}").into(),
        format!("\u{feff}{good}").into(),
        format!("/* a sale */ {good}").into(),
        good.replace('"', "'").into(),
        good.replace("}]", "},]").into(),
        good.replace('}', ",\"grams\":NaN}").into(),
        good.replace("\"}", "\",\"grams\":0400}").into(),
        good.replace("\"}", "\",\"grams\":+400}").into(),
        good.replace("\"}", "\",\"grams\":.5}").into(),
        good.replace("\"}", "\",\"grams\":Infinity}").into(),
        good.replace(&t.saku, "\\ud800").into(),
        good.replace(&t.saku, "\\x43").into(),
        good.replace(&t.saku, "tab\tinside").into(),
        good.replace(&t.saku, "")
            .into_bytes()
            .into_iter()
            .flat_map(|b| if b == b'[' { vec![b, 0xff] } else { vec![b] })
            .collect(),
        [b"{\"lines\":\"".as_slice(), &[0xc0, 0x80], b"\"}"].concat(),
        format!("{}{}", "[".repeat(20_000), "]".repeat(20_000)).into(),
        format!("{{\"lines\":{}{}}}", "[".repeat(200), "]".repeat(200)).into(),
    ];
    let raw = |bytes: &Vec<u8>| {
        case("POST", "/v1/sales", Body::Raw("application/json", bytes.clone()), 400, "malformed_json", Some(""))
    };
    let mut made: Made = malformed.iter().map(raw).collect();
    let shape = |text: String, field| case("POST", "/v1/sales", Body::Json(text), 422, "invalid_value", Some(field));
    made.push(shape("null".into(), ""));
    made.push(shape("\"lines\"".into(), ""));
    made.push(shape("[]".into(), ""));
    made.push(shape(format!("[[[\"{}\",null]]]", t.saku), ""));
    made.push(shape(format!("{{\"lines\":[[\"{}\",null]]}}", t.saku), "lines/0"));
    made.push(shape(good.replace("{\"lines\"", "{\"lines\":[],\"lines\""), "lines"));
    made.push(shape(good.replace("\"}", &format!("\",\"tray_code\":\"{}\"}}", t.saku)), "lines/0/tray_code"));
    made.push(shape(good.replace("\"lines\"", "\"Lines\""), "Lines"));
    for kind in [
        "text/plain",
        "application/x-www-form-urlencoded",
        "application/jsonp",
        "text/json",
        "multipart/form-data",
        "json",
        "",
    ] {
        made.push(case("POST", "/v1/sales", Body::Raw(kind, good.clone().into()), 415, "unsupported_media_type", None));
    }
    made.push(case("POST", "/v1/sales", Body::None, 415, "unsupported_media_type", None));
    let padded = format!("{good}{}", " ".repeat(128 * 1024));
    made.push(case("POST", "/v1/sales", Body::Raw("application/json", padded.into()), 413, "payload_too_large", None));
    made
}

fn with(mut case: Case, name: &'static str, value: &str) -> Case {
    case.name = format!("{} with {name}: {}", case.name, value.chars().take(40).collect::<String>());
    case.headers.push((name, value.to_owned()));
    case
}

fn keys(t: &Things) -> Made {
    let header = "Idempotency-Key";
    let sale = |code| {
        let body = Body::Json(json!({"lines": [{"tray_code": t.saku}]}).to_string());
        case("POST", "/v1/sales", body, 400, code, Some(header))
    };
    let mut made = vec![with(sale("idempotency_key_missing"), header, "(none)")];
    for bad in ["", "\"\"", "fifteen-letters", "sixteen letters!", "a-key-of-16-with/slash", "\"unclosed-key-of-16"] {
        made.push(with(sale("malformed_request"), header, bad));
    }
    made.push(with(sale("malformed_request"), header, &"k".repeat(256)));
    let twice = with(sale("malformed_request"), header, "the-first-of-two-keys");
    made.push(with(twice, header, "the-second-of-two-keys"));
    made
}

fn preconditions() -> Made {
    let body = json!({"name": "Front case", "method": "chill", "set_point_mc": 500, "upper_limit_mc": 2_000});
    let put =
        |path: &str, status, code, field| case("PUT", path, Body::Json(body.to_string()), status, code, Some(field));
    let there = "/v1/places/front-case";
    let mut made = vec![
        put(there, 428, "precondition_required", "If-Match"),
        with(put(there, 409, "already_exists", "code"), "If-None-Match", "*"),
        with(put(there, 412, "version_mismatch", "If-Match"), "If-Match", "\"99\""),
        with(put("/v1/places/no-such", 404, "not_found", "code"), "If-Match", "\"1\""),
        with(with(put(there, 400, "malformed_request", "If-Match"), "If-Match", "\"1\""), "If-None-Match", "*"),
        with(put(there, 400, "malformed_request", "If-Match"), "If-None-Match", "\"1\""),
    ];
    for bad in
        ["1", "W/\"1\"", "\"one\"", "\"1", "\"\"", "*", "\"1\", \"2\"", "\"9223372036854775808\"", "\"+1\"", "\"01\""]
    {
        made.push(with(put(there, 400, "malformed_request", "If-Match"), "If-Match", bad));
    }
    made
}

fn catalogue() -> Made {
    let species = json!({"scientific_name": "Thunnus obesus", "market_name": "Bigeye", "group": "tuna", "parasite_rule": "exempt"});
    let supplier = json!({"name": "Far Hall", "address": "Quay 9"});
    let cut = json!({"name": "Belly saku", "kind": "block", "form": "block", "price_per_kg_cents": 9_000, "item_number": 900});
    let place = json!({"name": "Back case", "method": "chill", "set_point_mc": 500, "upper_limit_mc": 2_000});
    #[allow(
        clippy::type_complexity,
        reason = "a row of the table: address, good body, field, wrong value, code, field named"
    )]
    let rows: Vec<(&str, &Value, &str, Value, &'static str, Option<&str>)> = vec![
        ("species/BET", &species, "group", json!("shark"), "invalid_value", None),
        ("species/BET", &species, "parasite_rule", json!(true), "invalid_value", None),
        ("species/BET", &species, "market_name", json!("x\u{200e}y"), "invalid_value", None),
        ("species/bet", &species, "group", json!("tuna"), "invalid_value", Some("code")),
        ("species/BETA", &species, "group", json!("tuna"), "invalid_value", Some("code")),
        ("suppliers/far-hall", &supplier, "address", json!("a".repeat(501)), "invalid_value", None),
        ("suppliers/far-hall", &supplier, "name", json!(""), "invalid_value", None),
        ("suppliers/Far", &supplier, "name", json!("Far"), "invalid_value", Some("code")),
        ("cuts/belly-saku", &cut, "kind", json!("box"), "invalid_value", None),
        ("cuts/belly-saku", &cut, "form", json!("cube"), "invalid_value", None),
        ("cuts/belly-saku", &cut, "price_per_kg_cents", json!(-1), "invalid_value", None),
        ("cuts/belly-saku", &cut, "price_per_kg_cents", json!(10_000_001), "invalid_value", None),
        ("cuts/belly-saku", &cut, "item_number", json!(0), "invalid_value", None),
        ("cuts/belly-saku", &cut, "item_number", json!(100_000), "invalid_value", None),
        ("cuts/belly-saku", &cut, "raw_budget_hours", json!(0), "invalid_value", None),
        ("cuts/belly-saku", &cut, "raw_budget_hours", json!(1_000), "invalid_value", None),
        ("cuts/belly-saku", &cut, "label_note", json!("a\nb"), "invalid_value", None),
        ("cuts/a%20b", &cut, "kind", json!("block"), "invalid_value", Some("code")),
        ("places/back-case", &place, "method", json!("warm"), "invalid_value", None),
        ("places/back-case", &place, "set_point_mc", json!(2_001), "invalid_value", None),
        ("places/back-case", &place, "upper_limit_mc", json!(5_001), "invalid_value", None),
        ("places/back-case", &place, "upper_limit_mc", json!(2.5), "invalid_value", None),
    ];
    let put = |(path, base, name, value, code, field): &(&str, &Value, &str, Value, &'static str, Option<&str>)| {
        let mut body = (*base).clone();
        body[*name] = value.clone();
        let made =
            case("PUT", &format!("/v1/{path}"), Body::Json(body.to_string()), 422, code, Some(field.unwrap_or(name)));
        with(made, "If-None-Match", "*")
    };
    let mut made: Made = rows.iter().map(put).collect();
    let mut taken = cut.clone();
    taken["item_number"] = json!(101);
    let taken =
        case("PUT", "/v1/cuts/belly-saku", Body::Json(taken.to_string()), 409, "already_exists", Some("item_number"));
    made.push(with(taken, "If-None-Match", "*"));
    let mut turned = cut;
    turned["kind"] = json!("tub");
    turned["item_number"] = json!(101);
    let turned = case("PUT", "/v1/cuts/lean-saku", Body::Json(turned.to_string()), 422, "invalid_value", Some("kind"));
    made.push(with(turned, "If-Match", "\"1\""));
    let frozen = json!({"name": "Cold room", "method": "frozen", "set_point_mc": -60_000, "upper_limit_mc": -50_000});
    let frozen =
        case("PUT", "/v1/places/cold-room", Body::Json(frozen.to_string()), 409, "place_in_use", Some("method"));
    made.push(with(frozen, "If-Match", "\"1\""));
    made
}

fn queries(t: &Things) -> Made {
    let get = |path: &str, status, code, field| case("GET", path, Body::None, status, code, Some(field));
    let mut made = Vec::new();
    for list in ["trays", "lots", "sales"] {
        for bad in ["0", "201", "-1", "abc", "%2B5", "1.5", "", "9223372036854775808"] {
            made.push(get(&format!("/v1/{list}?limit={bad}"), 422, "invalid_value", "limit"));
        }
        for bad in ["zzz", "1-00000000", "", "-", "5"] {
            made.push(get(&format!("/v1/{list}?cursor={bad}"), 400, "malformed_request", "cursor"));
        }
        made.push(get(&format!("/v1/{list}?limit=5&limit=6"), 400, "malformed_request", "query"));
        made.push(get(&format!("/v1/{list}?page=2"), 400, "malformed_request", "query"));
    }
    // The two kinds of cursor, each rightly sealed: lists have one number, the feed has two.
    made.push(get("/v1/trays?cursor=0.0-f6f40502", 400, "malformed_request", "cursor"));
    for bad in ["1-83dcefb7", "zzz", "", "0.0-00000000", "NOW"] {
        made.push(get(&format!("/v1/changes?after={bad}"), 400, "malformed_request", "after"));
    }
    made.push(get("/v1/changes?after=fffff.1-b51bde50", 422, "invalid_value", "after"));
    made.push(get("/v1/changes?limit=201", 422, "invalid_value", "limit"));
    made.push(get("/v1/changes?cursor=1-83dcefb7", 400, "malformed_request", "query"));
    for report in ["advice", "waste"] {
        let at = |query: &str| format!("/v1/reports/{report}?{query}");
        made.push(get(&at("from=2026-02-30"), 400, "malformed_request", "from"));
        made.push(get(&at("to=yesterday"), 400, "malformed_request", "to"));
        made.push(get(&at("from=2026-02-02&to=2026-02-01"), 422, "invalid_value", "from"));
        made.push(get(&at("from=2025-01-01&to=2026-02-01"), 422, "invalid_value", "from"));
        made.push(get(&at("since=2026-02-01"), 400, "malformed_request", "query"));
    }
    made.push(get("/v1/trays?state=gone", 422, "invalid_value", "state"));
    made.push(get("/v1/trays?cut=%00", 400, "malformed_request", ""));
    let label = |tray: &str, query: &str, status, code, field| {
        get(&format!("/v1/trays/{tray}/label.png{query}"), status, code, field)
    };
    made.extend([
        label(&t.saku, "?dpi=250", 422, "invalid_value", "dpi"),
        label(&t.saku, "?stock=62x41", 422, "invalid_value", "stock"),
        label(&t.saku, "?dpi=203.0", 422, "invalid_value", "dpi"),
        label(&t.saku, "?dpi=", 422, "invalid_value", "dpi"),
        label(&t.saku, "?dpi=203&dpi=300", 400, "malformed_request", "query"),
        label(&t.saku, "?stock=nobody", 422, "invalid_value", "stock"),
        label(&t.saku, "?stock=62x40&dpi=250", 422, "invalid_value", "dpi"),
        label(&t.unlabelled, "", 409, "label_refused", "tray_code"),
        label(&nobodys(), "", 404, "not_found", "tray_code"),
    ]);
    made
}

fn addresses() -> Made {
    let mut made = Vec::new();
    for path in [
        "/v1",
        "/v1/",
        "/v2/lots",
        "/v1/lot",
        "/v1/lots/",
        "/v1/lots//",
        "//v1/lots",
        "/v1/%6cots/x/y",
        "/v1/trays/C4H7K9P/price",
        "/v1/sales/one",
        "/v1/sales/-1",
        "/v1/breakdowns/1.0",
        "/v1/breakdowns/9223372036854775808",
        "/v1/../v1/lots",
        "/.env",
    ] {
        made.push(case("GET", path, Body::None, 404, "no_such_address", None));
    }
    for (path, field) in [
        ("lots/NOPE", "lot_code"),
        ("sales/999999", "id"),
        ("breakdowns/0", "id"),
        ("cuts/no-such", "code"),
        ("places/no-such", "code"),
        ("species/NOP", "code"),
        ("suppliers/%27%20OR%201", "code"),
        ("suppliers/%F0%9F%90%9F", "code"),
    ] {
        made.push(case("GET", &format!("/v1/{path}"), Body::None, 404, "not_found", Some(field)));
    }
    for path in ["lots/%00", "cuts/a%00b", "species/%00", "trays/%00", "places/%00", "suppliers/%00"] {
        made.push(case("GET", &format!("/v1/{path}"), Body::None, 400, "malformed_request", Some("")));
    }
    made.push(case("GET", "/v1/trays/%FF", Body::None, 422, "not_a_code", Some("tray_code")));
    made.push(case("GET", "/v1/cuts/%FF", Body::None, 404, "not_found", Some("code")));
    made.push(case("DELETE", "/v1/people/%00", Body::None, 400, "malformed_request", Some("")));
    made.push(case("DELETE", "/v1/people/nobody", Body::None, 404, "not_found", Some("name")));
    made.push(case("DELETE", "/v1/keys/nothing", Body::None, 404, "not_found", Some("key_id")));
    made
}
