//! Two secrets of one key live side by side, never three; the key stays the same client.

use crate::shop::{Shop, arrival, both};
use crate::support::server::Kind;
use serde_json::{Value, json};

/// Every act of one key under one idempotency key is one act, whichever secret it came with.
fn same_client(shop: &Shop, old: &str, new: &str) {
    shop.fill_catalogue();
    let receive = |key: &str| {
        let client = shop.server.client().with_key(key);
        client.post("/v1/lots").idempotency_key("rotation-of-a-key-1").json(&arrival()).send().expect(201)
    };
    let (first, again) = (receive(old), receive(new));
    assert_eq!((first.header("idempotent-replayed"), again.header("idempotent-replayed")), (None, Some("true")));
    assert_eq!(first.body, again.body);
}

fn two_live_and_never_three(kind: Kind) {
    let shop = Shop::open(kind, "");
    let (id, first) = shop.key("cutter", 90);
    assert_eq!(shop.listed(&id)["last_used_at"], Value::Null);
    assert_eq!(shop.status(&first), 200);
    let used = shop.listed(&id)["last_used_at"].as_str().unwrap().to_owned();
    assert!(used.ends_with(":00:00.000000Z"), "{used} is no whole hour");

    let rotated = shop.rotate(&id, &json!({})).expect(201);
    assert_eq!(rotated.header("cache-control"), Some("no-store"));
    let (same, second) = both(&rotated.json());
    assert_eq!((same == id, rotated.json()["secrets_live"].as_u64()), (true, Some(2)));
    assert!(!shop.owner.get("/v1/keys").send().text().contains(&second), "a key is shown once");

    // Nobody has used the second yet: its answer may be lost, and it gives way.
    let (_, third) = both(&shop.rotate(&id, &json!({"overlap_days": 1})).expect(201).json());
    assert_eq!([&first, &second, &third].map(|key| shop.status(key)), [200, 401, 200]);
    same_client(&shop, &first, &third);

    // Now both are in use.
    let refused = shop.rotate(&id, &json!({"overlap_days": 7}));
    assert_eq!((refused.status, refused.json()["code"].as_str()), (409, Some("two_secrets_live")));
    assert_eq!([&first, &third].map(|key| shop.status(key)), [200, 200]);
    let (_, fourth) = both(&shop.rotate(&id, &json!({"overlap_days": 0, "valid_days": 5})).expect(201).json());
    assert_eq!([&first, &third, &fourth].map(|key| shop.status(key)), [401, 401, 200]);
    let listed = shop.listed(&id);
    assert_eq!((listed["secrets_live"].as_u64(), listed["previous_until"].clone()), (Some(1), Value::Null));
    let warning = listed["warning"].as_str().unwrap();
    assert!(warning == "ends in 4 days: rotate it", "{warning}");
    let page = shop.owner.get("/review").send().expect(200).text();
    assert!(page.contains(warning), "the morning review says it too");

    shop.owner.delete(&format!("/v1/keys/{id}")).send().expect(200);
    assert_eq!(shop.status(&fourth), 401);
    let refused = shop.rotate(&id, &json!({"overlap_days": 0}));
    assert_eq!((refused.status, refused.json()["code"].as_str()), (409, Some("key_revoked")));
    assert!(shop.listed(&id).get("warning").is_none());
}

#[test]
fn two_live_and_never_three_on_sqlite() {
    two_live_and_never_three(Kind::Sqlite);
}

#[test]
fn two_live_and_never_three_on_postgresql() {
    two_live_and_never_three(Kind::Postgres);
}

#[test]
fn what_a_rotation_may_not_be() {
    let shop = Shop::open(Kind::Sqlite, "");
    let (id, key) = shop.key("till", 400);
    assert!(shop.listed(&id).get("warning").is_none());
    let rows = [
        (json!({"overlap_days": 31}), "overlap_days"),
        (json!({"overlap_days": -1}), "overlap_days"),
        (json!({"overlap_days": "7"}), "overlap_days"),
        (json!({"valid_days": 0}), "valid_days"),
        (json!({"valid_days": 401}), "valid_days"),
        (json!({"secret": "mine"}), "secret"),
    ];
    for (body, field) in rows {
        let problem = shop.rotate(&id, &body).expect(422).json();
        assert_eq!(
            (problem["code"].as_str(), problem["errors"][0]["field"].as_str()),
            (Some("invalid_value"), Some(field))
        );
    }
    shop.rotate("Nobody00", &json!({})).expect(404);
    let own = shop.server.client().with_key(&key);
    own.post(&format!("/v1/keys/{id}/rotation")).json(&json!({})).send().expect(403);
    shop.server.client().post(&format!("/v1/keys/{id}/rotation")).json(&json!({})).send().expect(401);
    assert_eq!(shop.status(&key), 200, "nothing of it was done");
}

/// A slip of the hand is found by the check in the key: no letter can be changed, left out or swapped.
#[test]
fn a_mistyped_key_opens_nothing() {
    let shop = Shop::open(Kind::Sqlite, "");
    let (_, key) = shop.key("till", 1);
    for at in (4..key.len()).step_by(7) {
        let mut typed: Vec<char> = key.chars().collect();
        typed[at] = if typed[at] == '0' { '1' } else { '0' };
        assert_eq!(shop.status(&typed.iter().collect::<String>()), 401);
        let mut short = key.clone();
        short.remove(at);
        assert_eq!(shop.status(&short), 401);
    }
    assert_eq!(shop.status(&key), 200);
}
