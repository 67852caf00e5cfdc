//! Who asks too often is told so, with the time to wait, and nobody else pays for it.

use crate::shop::Shop;
use crate::support::http::{Answer, Client};
use crate::support::server::Kind;
use serde_json::json;

/// Few enough to be reached, and slow to come back, so that no machine is too slow to reach it.
const SETTINGS: &str = "[limits]\nrequests_a_second = 1\nrequests_at_once = 30\nrequests_a_second_of_strangers = 1\n\
                        requests_at_once_of_strangers = 40\n[customer_page]\ntrusted_proxy_header = \"x-forwarded-for\"\n";

/// Asks until it is refused; the server gives back one a second, so a hundred are enough.
fn until_refused(client: &Client, from: &str) -> Answer {
    let refused =
        (0..300).map(|_| client.get("/v1/cuts").header("x-forwarded-for", from).send()).find(|a| a.status == 429);
    refused.expect("a 429")
}

/// draft-ietf-httpapi-ratelimit-headers-10: names in quotes, q and w of the policy, r and t of what is left; the problem's type and its
/// violated-policies; RFC 6585, section 4: not to be kept by a cache.
fn is_over(answer: &Answer, policy: &str, burst: u32) {
    assert_eq!(answer.header("content-type"), Some("application/problem+json"));
    assert_eq!(answer.header("cache-control"), Some("no-store"));
    let problem = answer.json();
    assert_eq!(problem["type"], "https://iana.org/assignments/http-problem-types#quota-exceeded");
    assert_eq!((problem["code"].clone(), problem["status"].clone()), (json!("quota_exceeded"), json!(429)));
    assert_eq!(problem["violated-policies"], json!([policy]));
    assert_eq!(answer.header("ratelimit-policy"), Some(format!("\"{policy}\";q={burst};w={burst}").as_str()));
    let wait: u64 = answer.header("retry-after").unwrap().parse().unwrap();
    assert!(wait >= 1);
    assert_eq!(answer.header("ratelimit"), Some(format!("\"{policy}\";r=0;t={wait}").as_str()));
}

#[test]
fn a_key_over_its_rate_waits_alone() {
    let shop = Shop::open(Kind::Sqlite, SETTINGS);
    let ((id, till), (_, other)) = (shop.key("till", 10), shop.key("till", 10));
    let (till, other) = (shop.server.client().with_key(&till), shop.server.client().with_key(&other));
    let first = till.get("/v1/cuts").send().expect(200);
    assert_eq!(first.header("ratelimit"), None, "who it is was only found out");
    let second = till.get("/v1/cuts").send().expect(200);
    assert_eq!(second.header("ratelimit-policy"), Some("\"client\";q=30;w=30"));
    assert_eq!(second.header("ratelimit"), Some("\"client\";r=29;t=1"));
    let refused = until_refused(&till, "192.0.2.1");
    is_over(&refused, "client", 30);
    other.get("/v1/cuts").send().expect(200);
    // A new secret is no new key.
    let rotated = shop.rotate(&id, &json!({})).expect(201).json();
    let again = shop.server.client().with_key(rotated["key"].as_str().unwrap());
    again.get("/v1/cuts").send().expect(200);
    assert!((0..5).any(|_| again.get("/v1/cuts").send().status == 429), "the rate is the key's, not the secret's");
    // Who only knows a key's number uses up his own address.
    let guess = shop.server.client().with_key("sdk_not_a_key");
    is_over(&until_refused(&guess, "192.0.2.66"), "address", 40);
    other.get("/v1/cuts").header("x-forwarded-for", "192.0.2.66").send().expect(200);
}

/// A flood with the secret that was rotated away is counted by where it comes from, at whatever address of the shop it asks.
#[test]
fn a_dead_secret_spends_nothing_of_its_key() {
    let shop = Shop::open(Kind::Sqlite, SETTINGS);
    let (id, first) = shop.key("till", 10);
    let first = shop.server.client().with_key(&first);
    first.get("/v1/cuts").send().expect(200);
    let known = first.get("/v1/cuts").send().expect(200);
    assert_eq!(known.header("ratelimit-policy"), Some("\"client\";q=30;w=30"), "else nothing was remembered of it");
    let rotated = shop.rotate(&id, &json!({"overlap_days": 0})).expect(201).json();
    let second = shop.server.client().with_key(rotated["key"].as_str().unwrap());
    second.get("/v1/cuts").send().expect(200);
    let before = second.get("/v1/cuts").send().expect(200);
    let left = |answer: &Answer| answer.header("ratelimit").unwrap().to_owned();
    for _ in 0..10 {
        first.get("/livez").header("x-forwarded-for", "192.0.2.7").send().expect(200);
    }
    is_over(&until_refused(&first, "192.0.2.7"), "address", 40);
    let after = second.get("/v1/cuts").send().expect(200);
    assert!(left(&after) >= left(&before) || left(&after).contains("r=27"), "{} {}", left(&before), left(&after));
}

#[test]
fn strangers_wait_by_address() {
    let shop = Shop::open(Kind::Postgres, SETTINGS);
    let anonymous = shop.server.client();
    shop.owner.get("/v1/cuts").send().expect(200);
    is_over(&until_refused(&anonymous, "198.51.100.1"), "address", 40);
    anonymous.get("/v1/cuts").header("x-forwarded-for", "198.51.100.2").send().expect(401);
    shop.owner.get("/v1/cuts").header("x-forwarded-for", "198.51.100.1").send().expect(200);
}

/// With the limits as they come, nobody who works in a shop meets them.
#[test]
fn a_fast_till_is_never_stopped() {
    let shop = Shop::open(Kind::Sqlite, "");
    let (_, key) = shop.key("till", 10);
    let till = shop.server.client().with_key(&key);
    for _ in 0..300 {
        till.post("/v1/scans").json(&json!({"text": "no code of ours"})).send().expect(422);
    }
}

/// Nobody is locked out by a stranger who guesses at his name, and the stranger does not get on by it.
#[test]
fn a_stranger_who_guesses_locks_nobody_out() {
    let shop = Shop::open(Kind::Sqlite, SETTINGS);
    let owner = shop.server.owner();
    let sign_in = |password: &str, from: &str| {
        let body = json!({"name": owner.name, "password": password});
        shop.server.client().post("/v1/sign-in").header("x-forwarded-for", from).json(&body).send()
    };
    for _ in 0..9 {
        let answer = sign_in("not the password of anybody", "192.0.2.66");
        assert!([401, 429].contains(&answer.status), "{}", answer.text());
    }
    let refused = sign_in(&owner.password, "192.0.2.66").expect(429).json();
    assert_eq!(refused["code"], "too_many_attempts", "the control: he waits himself");
    sign_in(&owner.password, "192.0.2.1").expect(200);
}
