//! The OpenAPI document: the one that is kept is the one that is served, it says of every operation what a client must know, and every
//! address in it is there. `UPDATE_OPENAPI=1` writes the kept files anew.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

mod support;

use std::collections::BTreeSet;
use std::fmt::Write;
use std::path::PathBuf;

use sakudana::domain::permissions::Permission;
use sakudana::web::pages::problems::all_codes;
use sakudana::web::server::openapi_json;
use serde_json::Value;
use support::server::{Kind, Server};

fn document() -> Value {
    serde_json::from_str(&openapi_json()).expect("a JSON document")
}

/// Method, path and operation of everything in the document.
fn operations(document: &Value) -> Vec<(&String, &String, &Value)> {
    let paths = document["paths"].as_object().expect("paths").iter();
    paths.flat_map(|(path, item)| item.as_object().unwrap().iter().map(move |(m, o)| (m, path, o))).collect()
}

/// The kept file says exactly this; or does, after an update.
fn is_kept(name: &str, text: &str) {
    let file = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("openapi").join(name);
    if std::env::var_os("UPDATE_OPENAPI").is_some() {
        std::fs::create_dir_all(file.parent().unwrap()).unwrap();
        std::fs::write(&file, text).unwrap();
    }
    let kept = std::fs::read_to_string(&file).unwrap_or_default();
    assert!(
        kept == text,
        "openapi/{name} is not what the program says; UPDATE_OPENAPI=1 writes it anew, its diff is the change"
    );
}

#[test]
fn the_document_is_kept() {
    is_kept("openapi.json", &openapi_json());
}

#[test]
fn the_refusal_codes_are_kept() {
    let mut table = "code\tstatus\ttitle\n".to_owned();
    let mut seen = BTreeSet::new();
    for (code, status, title) in all_codes() {
        assert!(seen.insert(code), "{code} stands twice");
        writeln!(table, "{code}\t{status}\t{title}").unwrap();
    }
    is_kept("refusal-codes.tsv", &table);
}

#[test]
fn every_operation_is_described() {
    let document = document();
    assert!(document["openapi"].as_str().unwrap().starts_with("3.1."));
    let tags: BTreeSet<&str> = document["tags"].as_array().unwrap().iter().filter_map(|t| t["name"].as_str()).collect();
    let mut ids = BTreeSet::new();
    for (method, path, operation) in operations(&document) {
        let at = format!("{method} {path}");
        let id = operation["operationId"].as_str().unwrap_or_else(|| panic!("{at}: no operationId"));
        assert!(ids.insert(id), "{id} stands twice");
        assert!(operation["tags"].as_array().is_some_and(|t| t.len() == 1), "{at}: one tag");
        assert!(tags.contains(operation["tags"][0].as_str().unwrap()), "{at}: a tag that is explained");
        assert!(operation["summary"].as_str().is_some_and(|s| s.len() > 10), "{at}: a summary");
        let permission = operation["x-permission"].as_str();
        let known = |p: &str| p == "signed_in" || Permission::ALL.iter().any(|known| known.as_str() == p);
        assert!(id == "sign_in" || permission.is_some_and(known), "{at}: {permission:?}");
        for placeholder in path.split('{').skip(1) {
            let name = placeholder.split('}').next().unwrap();
            let parameters = operation["parameters"].as_array().into_iter().flatten();
            let told = parameters.filter(|p| p["in"] == "path" && p["name"] == name && p["example"] != Value::Null);
            assert_eq!(told.count(), 1, "{at}: {name}");
        }
    }
}

/// Labels and sheets are files, whatever the language the bytes are kept in.
#[test]
fn files_are_strings() {
    let document = document();
    let mut found = BTreeSet::new();
    for (_, path, operation) in operations(&document) {
        let contents = operation["responses"]["200"]["content"].as_object().into_iter().flatten();
        for (kind, content) in contents.filter(|(kind, _)| kind.starts_with("image/") || *kind == "application/pdf") {
            assert_eq!(content["schema"]["type"], "string", "{path}");
            assert_eq!(content["schema"]["format"] == "binary", kind != "image/svg+xml", "{path}");
            found.insert(kind.clone());
        }
    }
    assert_eq!(found.iter().map(String::as_str).collect::<Vec<_>>(), ["application/pdf", "image/png", "image/svg+xml"]);
}

#[test]
fn every_answer_is_described() {
    let document = document();
    let codes: BTreeSet<(&str, u16)> = all_codes().into_iter().map(|(code, status, _)| (code, status)).collect();
    for (method, path, operation) in operations(&document) {
        let at = format!("{method} {path}");
        let responses = operation["responses"].as_object().unwrap();
        let has = |status: &str| assert!(responses.contains_key(status), "{at}: no {status}");
        ["400", "401", "404", "422", "503"].iter().for_each(|status| has(status));
        has(if operation["operationId"] == "sign_in" { "429" } else { "403" });
        if operation["requestBody"].is_object() {
            ["408", "413", "415"].iter().for_each(|status| has(status));
        }
        if method == "put" {
            ["412", "428"].iter().for_each(|status| has(status));
        }
        assert!(responses.keys().any(|status| status.starts_with('2')), "{at}: no success");
        for (status, response) in responses {
            let content = response["content"].as_object();
            if status.starts_with('2') {
                let one = content.is_some_and(|c| c.len() == 1 && c.values().all(|v| v["schema"].is_object()));
                assert!(one || status == "204", "{at} {status}: a body with a schema");
                continue;
            }
            if status == "304" {
                assert!(content.is_none(), "{at}: what has not changed is not sent");
                continue;
            }
            let problem = &response["content"]["application/problem+json"];
            assert_eq!(problem["schema"]["$ref"], "#/components/schemas/Problem", "{at} {status}");
            let example = &problem["example"];
            let code = (example["code"].as_str().unwrap(), u16::try_from(example["status"].as_u64().unwrap()).unwrap());
            assert!(codes.contains(&code), "{at} {status}: {code:?}");
            assert_eq!(code.1.to_string(), *status, "{at}");
        }
    }
}

#[test]
fn every_field_sent_has_an_example() {
    let document = document();
    let mut fields = 0;
    for (method, path, operation) in operations(&document) {
        let Some(content) = operation["requestBody"]["content"].as_object() else { continue };
        if operation["operationId"] == "replay_sales" {
            // A sale a line and nothing else: the schema is that of a line.
            assert!(content.keys().eq(["application/x-ndjson"]), "{method} {path}");
            fields += told(&document, &content["application/x-ndjson"]["schema"], &format!("{method} {path}"));
            continue;
        }
        // What is streamed is spoken in more than JSON, each with an example of its own.
        let streamed =
            if operation["operationId"] == "post_readings" { &["application/x-ndjson", "text/csv"][..] } else { &[] };
        let expected: BTreeSet<&str> = streamed.iter().copied().chain(["application/json"]).collect();
        assert_eq!(content.keys().map(String::as_str).collect::<BTreeSet<_>>(), expected, "{method} {path}");
        assert!(streamed.iter().all(|kind| content[*kind]["example"].is_string()), "{method} {path}: {streamed:?}");
        fields += told(&document, &content["application/json"]["schema"], &format!("{method} {path}"));
    }
    assert!(fields > 60, "{fields} fields were looked at");
}

/// Counts the fields of a schema, each with an example or default, or made of such.
fn told(document: &Value, schema: &Value, at: &str) -> usize {
    if let Some(reference) = schema["$ref"].as_str() {
        return told(document, document.pointer(&reference[1..]).unwrap_or_else(|| panic!("{at}: {reference}")), at);
    }
    if schema.get("example").is_some() || schema.get("default").is_some() {
        return 1;
    }
    if let Some(ways) = schema["oneOf"].as_array() {
        // A field that may be absent: null, or what it refers to.
        return ways.iter().filter(|way| way["type"] != "null").map(|way| told(document, way, at)).sum();
    }
    if schema["items"].is_object() {
        return told(document, &schema["items"], at);
    }
    let fields = schema["properties"].as_object().unwrap_or_else(|| panic!("{at} has no example"));
    assert_eq!(schema["additionalProperties"], false, "{at} must refuse what it does not know");
    fields.iter().map(|(name, inner)| told(document, inner, &format!("{at} {name}"))).sum()
}

#[test]
fn what_is_recorded_asks_for_a_key() {
    let document = document();
    let unrecorded = [
        "scan",
        "draw_label_sheets",
        "sign_in",
        "create_person",
        "create_key",
        "rotate_key",
        "post_readings",
        "replay_sales",
        "create_webhook",
        "test_webhook",
        "rotate_webhook",
        "replay_webhook",
    ];
    for (method, path, operation) in operations(&document) {
        let parameters = operation["parameters"].as_array().into_iter().flatten();
        let keys = parameters.filter(|p| p["name"] == "Idempotency-Key" && p["required"] == true).count();
        let expected = method == "post" && !unrecorded.contains(&operation["operationId"].as_str().unwrap());
        assert_eq!(keys, usize::from(expected), "{method} {path}");
    }
}

#[test]
fn every_address_is_there_and_no_other() {
    let server = Server::start(Kind::Sqlite);
    let client = server.client();
    let served = client.get("/v1/openapi.json").send().expect(200).json();
    assert_eq!(served, document());
    let owner = server.owner();
    let credentials = serde_json::json!({"name": owner.name, "password": owner.password});
    let token = client.post("/v1/sign-in").json(&credentials).send().expect(200).json()["token"].clone();
    let client = client.with_key(token.as_str().unwrap());
    for (method, path, _) in operations(&served) {
        if path == "/v1/sign-in" && method == "delete" {
            continue;
        }
        let address = path.replace("{id}", "1").replace(['{', '}'], "");
        // A stream of events has no end, its head has.
        let method = if path == "/v1/events" { "head" } else { method.as_str() };
        let answer = client.call(&method.to_uppercase(), &address).send();
        assert_ne!(answer.status, 405, "{method} {path}");
        assert!(answer.status < 300 || answer.json()["code"] != "no_such_address", "{method} {path}");
    }
    for path in [
        "/v1/fish",
        "/v1/lots/a/b",
        "/v1/trays/a/b/c",
        "/v1/trays/C4H7K9P/sales",
        "/v1/sale",
        "/v1/sales/1/lines",
        "/v1/holds/1",
        "/v1/cut/lean-saku",
        "/v1/reviews",
        "/v1/openapi.yaml",
        "/v1/keys/a/b",
        "/v3/trays",
        "/admin",
        "/v1/people/a/b",
    ] {
        for method in ["GET", "POST"] {
            let answer = client.call(method, path).send().expect(404);
            assert_eq!(answer.json()["code"], "no_such_address", "{method} {path}");
        }
    }
}
