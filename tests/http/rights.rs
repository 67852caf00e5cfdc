//! Who may do what: every operation of the document without a sign-in and in every role, and the ways a sign-in or a key ends.
//! Reads the table of permissions of the crate.

use sakudana::domain::permissions::{Permission, Role};
use serde_json::{Value, json};

use crate::happy::operations;
use crate::setting::{PHRASE, Shop, arrival, fresh_key, new_key, sign_in, text};
use crate::support::http::{Answer, Client};

pub fn hold(shop: &Shop) {
    every_operation_asks(shop);
    keys_of_one_name_are_two_clients(shop);
    keys_and_people_end(shop);
    wrong_credentials_look_alike(shop);
    guessing_is_slowed(shop);
    cookies_stay_at_home(shop);
    other_methods_are_named(shop);
    heads_are_answered(shop);
}

#[track_caller]
fn is(answer: Answer, status: u16, code: &str) -> Value {
    let problem = answer.expect(status).json();
    assert_eq!(problem["code"], code, "{problem}");
    problem
}

/// A call of an operation that names things which are not there: enough to be asked who one is, too little to do anything.
fn call(client: &Client, method: &str, path: &str, operation: &Value) -> Answer {
    let mut address = path.to_owned();
    for parameter in operation["parameters"].as_array().into_iter().flatten().filter(|p| p["in"] == "path") {
        let example = parameter["example"].to_string().replace('"', "");
        address = address.replace(&format!("{{{}}}", text(&parameter["name"])), &example);
    }
    let call = client.call(method, &address).idempotency_key(&fresh_key());
    if operation["requestBody"].is_object() { call.json(&json!({"no such field": 1})).send() } else { call.send() }
}

fn every_operation_asks(shop: &Shop) {
    let document = shop.anonymous.get("/v1/openapi.json").send().expect(200).json();
    let mut refusals = 0;
    for (method, path, operation) in operations(&document) {
        let id = text(&operation["operationId"]);
        if id == "sign_in" {
            assert_eq!(operation["security"], json!([{}]), "sign_in is open");
            continue;
        }
        let problem = is(call(&shop.anonymous, &method, &path, operation), 401, "unauthenticated");
        assert_eq!(problem["type"], "/problems#unauthenticated");
        is(call(&shop.anonymous.with_key("sdt_nobody"), &method, &path, operation), 401, "unauthenticated");
        let named = text(&operation["x-permission"]);
        if named == "signed_in" {
            continue;
        }
        let permission = Permission::ALL.iter().find(|p| p.as_str() == named);
        let permission = permission.unwrap_or_else(|| panic!("{id}: no permission {named}"));
        // A stream of events has no end, its head has.
        let stream = operation["responses"]["200"]["content"]["text/event-stream"].is_object();
        for (role, name) in Role::ALL {
            let method = if stream && permission.allows(role) { "HEAD" } else { method.as_str() };
            let answer = call(shop.client_of(name), method, &path, operation);
            if permission.allows(role) {
                assert!(![401, 403].contains(&answer.status), "{id} as {name}: {}", answer.text());
            } else {
                let problem = is(answer, 403, "forbidden");
                assert_eq!(problem["detail"], format!("needs {named}; you are {name}"), "{id}");
                refusals += 1;
            }
        }
    }
    assert!(refusals > 50, "only {refusals} roles were refused");
}

fn keys_and_people_end(shop: &Shop) {
    let (key, id) = new_key(&shop.owner, "short-lived", "reader");
    let client = shop.anonymous.with_key(&key);
    client.get("/v1/trays").send().expect(200);
    let listed = shop.owner.get("/v1/keys").send().expect(200);
    assert!(!listed.text().contains(&key), "a key is shown once");
    shop.owner.delete(&format!("/v1/keys/{id}")).send().expect(200);
    is(client.get("/v1/trays").send(), 401, "unauthenticated");

    for role in ["counter", "cutter", "reader", "manager"] {
        let body = json!({"name": format!("Ines {role}"), "role": role, "password": PHRASE});
        shop.owner.post("/v1/people").json(&body).send().expect(201);
    }
    let ines = sign_in(&shop.anonymous, "Ines counter", PHRASE);
    let twin = sign_in(&shop.anonymous, "Ines counter", PHRASE);
    ines.delete("/v1/sign-in").send().expect(204);
    is(ines.get("/v1/trays").send(), 401, "unauthenticated");
    twin.get("/v1/trays").send().expect(200);
    shop.owner.delete("/v1/people/Ines%20counter").send().expect(200);
    is(twin.get("/v1/trays").send(), 401, "unauthenticated");
    let body = json!({"name": "Ines counter", "password": PHRASE});
    is(shop.anonymous.post("/v1/sign-in").json(&body).send(), 401, "wrong_credentials");

    shop.owner.delete("/v1/people/Ines%20manager").send().expect(200);
    let last = format!("/v1/people/{}", shop.server.owner().name);
    is(shop.manager.delete(&last).send(), 409, "last_manager");
    is(
        shop.manager
            .post("/v1/people")
            .json(&json!({"name": "Ines reader", "role": "reader", "password": PHRASE}))
            .send(),
        409,
        "already_exists",
    );
}

fn wrong_credentials_look_alike(shop: &Shop) {
    let owner = &shop.server.owner().name;
    let wrong = |name: &str| {
        let answer =
            shop.anonymous.post("/v1/sign-in").json(&json!({"name": name, "password": "not the password"})).send();
        assert_eq!(answer.header("www-authenticate"), Some("Bearer realm=\"sakudana\""));
        let mut headers: Vec<_> = answer.headers.iter().filter(|(name, _)| name != "date").cloned().collect();
        headers.sort();
        (answer.status, answer.text(), headers)
    };
    let known = wrong(owner);
    assert_eq!(known.0, 401);
    assert_eq!(known, wrong("nobody of this name"));
}

fn guessing_is_slowed(shop: &Shop) {
    // What nobody can have is wrong, and nothing of it is kept.
    for (name, password) in [("n".repeat(81), PHRASE.to_owned()), ("Ines cutter".to_owned(), "p".repeat(129))] {
        for _ in 0..7 {
            let body = json!({"name": name, "password": password});
            is(shop.anonymous.post("/v1/sign-in").json(&body).send(), 401, "wrong_credentials");
        }
    }
    let body = json!({"name": "Ines cutter", "password": "a guess, and another"});
    let guess = || shop.anonymous.post("/v1/sign-in").json(&body).send();
    for _ in 0..5 {
        is(guess(), 401, "wrong_credentials");
    }
    let slowed = guess();
    assert_eq!(slowed.header("retry-after"), Some("5"));
    is(slowed, 429, "too_many_attempts");
    // The right password waits as long: it would tell a guesser that it is right.
    let right = json!({"name": "Ines cutter", "password": PHRASE});
    is(shop.anonymous.post("/v1/sign-in").json(&right).send(), 429, "too_many_attempts");
}

fn cookies_stay_at_home(shop: &Shop) {
    let body = json!({"name": "Ines reader", "password": PHRASE});
    let token = text(&shop.anonymous.post("/v1/sign-in").json(&body).send().expect(200).json()["token"]);
    let cookie = format!("sakudana={token}");
    let name = if shop.anonymous.get("/v1/trays").header("Cookie", &cookie).send().status == 200 {
        "sakudana"
    } else {
        "__Host-sakudana"
    };
    let cookie = format!("{name}={token}");
    shop.anonymous.get("/v1/trays").header("Cookie", &cookie).send().expect(200);
    let sign_out = |more: &[(&str, &str)]| {
        let call = shop.anonymous.delete("/v1/sign-in").header("Cookie", &cookie);
        more.iter().fold(call, |call, (name, value)| call.header(name, value)).send()
    };
    is(sign_out(&[]), 403, "cross_site");
    is(sign_out(&[("Sec-Fetch-Site", "cross-site")]), 403, "cross_site");
    is(sign_out(&[("Sec-Fetch-Site", "same-site")]), 403, "cross_site");
    is(sign_out(&[("Origin", "https://evil.example")]), 403, "cross_site");
    is(sign_out(&[("Origin", "null")]), 403, "cross_site");
    is(sign_out(&[("Referer", "https://evil.example/v1")]), 403, "cross_site");
    shop.anonymous.get("/v1/trays").header("Cookie", &cookie).send().expect(200);
    sign_out(&[("Sec-Fetch-Site", "same-origin")]).expect(204);
    is(shop.anonymous.get("/v1/trays").header("Cookie", &cookie).send(), 401, "unauthenticated");
}

/// An idempotency key belongs to who sends it, and a name is not who one is.
fn keys_of_one_name_are_two_clients(shop: &Shop) {
    let twin = || shop.anonymous.with_key(&new_key(&shop.owner, "twin", "cutter").0);
    let (one, two, key) = (twin(), twin(), fresh_key());
    let receive = |client: &Client| client.post("/v1/lots").idempotency_key(&key).json(&arrival()).send().expect(201);
    let (first, second, again) = (receive(&one), receive(&two), receive(&one));
    assert_ne!(first.json()["tray_code"], second.json()["tray_code"], "two acts");
    assert_eq!((second.header("idempotent-replayed"), again.header("idempotent-replayed")), (None, Some("true")));
    assert_eq!(first.body, again.body);
}

/// RFC 9110, 9.3.2: HEAD is GET without the body.
fn heads_are_answered(shop: &Shop) {
    for path in
        ["/v1/lots", "/v1/cuts/lean-saku", "/v1/cuts/none", "/livez", "/assets/scan.js", "/sign-in", "/problems"]
    {
        let (head, get) = (shop.manager.call("HEAD", path).send(), shop.manager.get(path).send());
        assert_eq!((head.status, head.body.len()), (get.status, 0), "{path}");
        for name in ["content-type", "content-length", "etag", "cache-control"] {
            assert_eq!(head.header(name), get.header(name), "{path}: {name}");
        }
    }
    shop.anonymous.call("HEAD", "/v1/lots").send().expect(401);
}

fn other_methods_are_named(shop: &Shop) {
    let rows = [
        ("PATCH", "/v1/lots", "GET, HEAD, POST"),
        ("DELETE", "/v1/sales", "GET, HEAD, POST"),
        ("GET", "/v1/scans", "POST"),
        ("GET", "/v1/sign-in", "POST, DELETE"),
        ("POST", "/v1/trays", "GET, HEAD"),
        ("DELETE", "/v1/trays/C4H7K9P", "GET, HEAD"),
        ("GET", "/v1/trays/C4H7K9P/moves", "POST"),
        ("PUT", "/v1/trays/C4H7K9P/label.png", "GET, HEAD"),
        ("POST", "/v1/trays/C4H7K9P/label.pdf", "GET, HEAD"),
        ("GET", "/v1/label-sheets", "POST"),
        ("DELETE", "/v1/cuts/lean-saku", "GET, HEAD, PUT"),
        ("PUT", "/v1/people/Ines", "DELETE"),
        ("PUT", "/v1/places/cold-room/readings", "GET, HEAD, POST"),
        ("GET", "/v1/holds/1/release", "POST"),
        ("PUT", "/v1/pick-lists", "GET, HEAD, POST"),
        ("GET", "/v1/pick-lists/1/scans", "POST"),
        ("POST", "/v1/places/cold-room/case-plan", "GET, HEAD, PUT"),
        ("BREW", "/v1/lots", "GET, HEAD, POST"),
    ];
    for (method, path, allow) in rows {
        let answer = shop.manager.call(method, path).send();
        assert_eq!(answer.header("allow"), Some(allow), "{method} {path}: {}", answer.text());
        is(answer, 405, "method_not_allowed");
    }
}
