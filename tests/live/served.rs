//! Live stock, changes and events from outside, through a served shop.

use crate::PATIENCE;
use crate::listener::Listener;
use crate::setting::{PHRASE, Shop, act, fresh_key, new_key, sign_in, text};
use crate::support::http::{Answer, Client};
use crate::support::postgres::fresh_database;
use crate::support::server::{Kind, Server};
use sakudana::units::instant::{Instant, MICROS_PER_MINUTE, MICROS_PER_SECOND};
use sakudana::web::clock;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::io::Read;

fn live(client: &Client, query: &str) -> Answer {
    client.get(&format!("/v1/live-stock{query}")).send()
}

fn trays(answer: &Answer) -> Vec<String> {
    answer.json()["trays"].as_array().unwrap().iter().map(|tray| text(&tray["tray_code"])).collect()
}

/// Waits until the snapshot is as it should be: other tests on the same server hold the sequence back while they write.
fn settled(client: &Client, query: &str, fits: impl Fn(&Answer) -> bool) -> Answer {
    let begun = std::time::Instant::now();
    loop {
        let answer = live(client, query).expect(200);
        if fits(&answer) {
            return answer;
        }
        assert!(begun.elapsed() < PATIENCE, "{}", answer.text());
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
}

fn sell(client: &Client, tray: &str) {
    act(client, "/v1/sales", &json!({"lines": [{"tray_code": tray}]})).expect(201);
}

/// Two blocks of one cut in the cold room, one in the front case, and a tub.
fn stocked(shop: &Shop) -> Vec<String> {
    let (_, fish) = shop.receive("YFT", 2_000);
    let parts = [
        ("lean-saku", "cold-room", 301),
        ("lean-saku", "cold-room", 299),
        ("lean-saku", "front-case", 400),
        ("scrape", "cold-room", 700),
    ];
    shop.cut(&fish, 2_000, &parts)
}

pub fn a_snapshot_is_told(kind: Kind) {
    let shop = Shop::open(kind);
    let empty = live(&shop.till, "").expect(200);
    assert_eq!((&empty.json()["trays"], &empty.json()["cuts"]), (&json!([]), &json!([])));
    let made = stocked(&shop);
    let whole = settled(&shop.till, "", |answer| trays(answer).len() == 4);
    assert_eq!(trays(&whole), made);
    let body = whole.json();
    assert_eq!(
        body["cuts"][0],
        json!({"cut_code": "lean-saku", "cut_name": "Lean saku", "trays": 3, "sellable_g": 1_000})
    );
    assert_eq!(body["cuts"][1], json!({"cut_code": "scrape", "cut_name": "Scrape", "trays": 1, "sellable_g": 700}));
    assert_eq!(
        (&body["trays"][0]["price_cents"], &body["trays"][0]["verdict"]),
        (&json!(2_242), &json!("sell")),
        "{body}"
    );
    assert_eq!(body["trays"][3].get("price_cents"), None, "a tub is sold by weight");
    parts(&shop, &made);
    tags(&shop, &made, &whole);
    compressed(&shop);
    a_replica_follows(&shop, &made);
}

fn parts(shop: &Shop, made: &[String]) {
    let rows: [(&str, &[usize]); 8] = [
        ("?cut=lean-saku", &[0, 1, 2]),
        ("?cut=lean-saku&place=front-case", &[2]),
        ("?place=cold-room", &[0, 1, 3]),
        ("?verdict=sell", &[0, 1, 2, 3]),
        ("?verdict=sell_at_markdown", &[]),
        ("?verdict=stop", &[]),
        ("?cut=no-such-cut", &[]),
        ("", &[0, 1, 2, 3]),
    ];
    for (query, expected) in rows {
        let expected: Vec<String> = expected.iter().map(|n| made[*n].clone()).collect();
        assert_eq!(trays(&live(&shop.till, query).expect(200)), expected, "{query}");
    }
    let by_code = |code: &str| live(&shop.till, &format!("?code={code}"));
    assert_eq!(trays(&by_code(&made[1]).expect(200)), [made[1].clone()]);
    // As a scanner sends it: what stands behind the lot and the article of a digital link, and a code with a line end.
    let article = "02900000001015";
    let link =
        format!("{}/01/{article}/21/{}", crate::setting::WEB_ADDRESS, made[1]).replace(':', "%3A").replace('/', "%2F");
    for scanned in [link, format!("%20{}%0D%0A", made[1].to_lowercase())] {
        assert_eq!(trays(&by_code(&scanned).expect(200)), [made[1].clone()], "{scanned}");
    }
    let bad = [
        ("?verdict=maybe", 422, "invalid_value"),
        ("?code=NOSUCH1", 422, ""),
        ("?colour=red", 400, "malformed_request"),
        ("?cut=a&cut=b", 400, "malformed_request"),
    ];
    for (query, status, code) in bad {
        let problem = live(&shop.till, query).expect(status).json();
        assert!(code.is_empty() || problem["code"] == code, "{query}: {problem}");
    }
}

/// RFC 9110, 13.1.2 and 8.8.3: an unchanged state is not sent again; another filter, coding or state has another tag.
fn tags(shop: &Shop, made: &[String], whole: &Answer) {
    let tag_of = |answer: &Answer| answer.header("etag").expect("a tag").to_owned();
    let tag = tag_of(whole);
    assert!(tag.starts_with('"') && tag.ends_with('"'), "strong: {tag}");
    let ask = |tag: &str| shop.till.get("/v1/live-stock").header("If-None-Match", tag).send();
    let same = settled_tag(shop, &tag);
    for known in [tag.clone(), format!("W/{tag}"), format!("\"x\", {tag}"), "*".to_owned()] {
        let answer = ask(&known).expect(304);
        assert_eq!((answer.body.len(), answer.header("etag")), (0, Some(same.as_str())), "{known}");
    }
    let head = shop.till.call("HEAD", "/v1/live-stock").send().expect(200);
    assert_eq!((head.body.len(), head.header("etag")), (0, Some(tag.as_str())));
    let narrowed = tag_of(&live(&shop.till, "?cut=lean-saku").expect(200));
    let packed = shop.till.get("/v1/live-stock").header("Accept-Encoding", "gzip").send().expect(200);
    assert_ne!(narrowed, tag);
    assert_ne!(tag_of(&packed), tag);
    ask(&narrowed).expect(200);
    // Another state.
    shop.counter
        .post("/v1/holds")
        .idempotency_key(&fresh_key())
        .json(&json!({"scope": "tray", "code": made[0], "reason": "smells"}))
        .send()
        .expect(201);
    let begun = std::time::Instant::now();
    let changed = loop {
        let answer = ask(&tag);
        if answer.status == 200 {
            break answer;
        }
        assert!(begun.elapsed() < PATIENCE, "the hold does not settle");
    };
    assert_ne!(tag_of(&changed), tag);
    assert_eq!(changed.json()["cuts"][0]["sellable_g"], 699, "what is stopped cannot be sold");
    assert_eq!(trays(&live(&shop.till, "?verdict=stop").expect(200)), [made[0].clone()]);
}

/// The tag, once nothing moves any more.
fn settled_tag(shop: &Shop, tag: &str) -> String {
    assert_eq!(live(&shop.till, "").expect(200).header("etag"), Some(tag), "the shop is quiet");
    tag.to_owned()
}

fn compressed(shop: &Shop) {
    let plain = live(&shop.till, "").expect(200);
    let packed = shop.till.get("/v1/live-stock").header("Accept-Encoding", "br, gzip;q=0.5").send().expect(200);
    assert_eq!((packed.header("content-encoding"), packed.header("vary")), (Some("gzip"), Some("Accept-Encoding")));
    let mut text = String::new();
    flate2::read::GzDecoder::new(packed.body.as_slice()).read_to_string(&mut text).unwrap();
    assert_eq!(text, plain.text());
    assert_eq!(plain.header("content-encoding"), None);
}

/// A till that took a snapshot and follows from its cursor has what a new snapshot says.
fn a_replica_follows(shop: &Shop, made: &[String]) {
    let first = live(&shop.till, "").expect(200).json();
    let by_code = |body: &Value| -> BTreeMap<String, Value> {
        body["trays"].as_array().unwrap().iter().map(|tray| (text(&tray["tray_code"]), tray.clone())).collect()
    };
    let mut replica = by_code(&first);
    let mut cursor = text(&first["cursor"]);
    sell(&shop.till, &made[1]);
    act(&shop.till, "/v1/sales", &json!({"lines": [{"tray_code": made[3], "grams": 250}]})).expect(201);
    stocked(shop);
    let last = settled(&shop.till, "", |answer| trays(answer).len() == 7).json();
    while cursor != last["cursor"] {
        let page = shop.till.get(&format!("/v1/changes?limit=3&after={cursor}")).send().expect(200).json();
        for change in page["changes"].as_array().unwrap() {
            let tray = change["tray_code"].as_str().unwrap_or_default().to_owned();
            if change["offer"].is_null() {
                replica.remove(&tray)
            } else {
                replica.insert(tray, change["offer"].clone())
            };
            cursor = text(&change["cursor"]);
        }
        assert!(!page["changes"].as_array().unwrap().is_empty(), "the cursor of a snapshot is reached");
    }
    assert_eq!(replica, by_code(&last));
}

fn key_of(shop: &Shop, role: &str) -> String {
    new_key(&shop.owner, role, role).0
}

pub fn events_come(kind: Kind) {
    let shop = Shop::open(kind);
    let (key, url) = (key_of(&shop, "till"), shop.server.url("/v1/events"));
    let made = stocked(&shop);
    let whole = settled(&shop.till, "", |answer| trays(answer).len() == 4).json();
    let from = format!("{url}?after={}", text(&whole["cursor"]));
    let mut early = Listener::open(&from, &key, &[]).unwrap();
    // Server-sent events, WHATWG HTML: the type of the answer, the time to wait before coming again.
    assert_eq!(
        (early.header("content-type"), early.header("cache-control")),
        (Some("text/event-stream"), Some("no-store"))
    );
    let opening = early.block().unwrap();
    assert_eq!((opening.retry.as_deref(), opening.id), (Some("2000"), Some(text(&whole["cursor"]))));
    let mut now = Listener::open(&url, &key, &[]).unwrap();
    now.block().unwrap();
    sell(&shop.till, &made[0]);
    let sold = early.change(|change| change["kind"] == "sell");
    assert_eq!((&sold["tray_code"], &sold["offer"]), (&json!(made[0]), &Value::Null));
    assert_eq!(now.change(|change| change["kind"] == "sell"), sold);
    let told = shop.till.get(&format!("/v1/changes?after={}", text(&whole["cursor"]))).send().expect(200).json();
    assert!(told["changes"].as_array().unwrap().contains(&sold), "the same as in the changes");
    // A break: what came meanwhile is told once the listener is back, and nothing twice.
    let last = early.last_id.clone();
    drop(early);
    sell(&shop.till, &made[1]);
    sell(&shop.till, &made[2]);
    let mut again = Listener::open(&from, &key, &[("Last-Event-ID", &last)]).unwrap();
    let both: Vec<Value> =
        (0..2).map(|_| again.change(|change| change["kind"] == "sell")["tray_code"].clone()).collect();
    assert_eq!(both, [json!(made[1]), json!(made[2])], "Last-Event-ID counts before the address");
    drop(again);
    cursors_that_are_none(&shop, &url, &key);
}

fn cursors_that_are_none(shop: &Shop, url: &str, key: &str) {
    // Of another record: rightly sealed, and nothing stands there.
    let other = "fffff.1-b51bde50";
    for more in [&[("Last-Event-ID", other)][..], &[("Last-Event-ID", "17")], &[("Last-Event-ID", "\u{e9}")]] {
        let mut reset = Listener::open(url, key, more).unwrap();
        let event = reset.event().unwrap();
        assert_eq!((event.name.as_str(), event.id.as_deref()), ("reset", Some("")), "{more:?}");
        assert_eq!(reset.event(), None, "the stream ends");
    }
    let mut reset = Listener::open(&format!("{url}?after={other}"), key, &[]).unwrap();
    assert_eq!(reset.event().unwrap().name, "reset");
    for (query, status) in [("?after=1", 400), ("?after=", 400), ("?key=x", 400)] {
        assert_eq!(Listener::open(&format!("{url}{query}"), key, &[]).err(), Some(status), "{query}");
    }
    assert_eq!(Listener::open(url, &key_of(shop, "logger"), &[]).err(), Some(403));
    assert_eq!(Listener::open(url, "nobody", &[]).err(), Some(401));
}

/// A tray whose life ends in a few seconds: the end is in the changes and in the stream, and nobody did anything.
pub fn time_is_a_change(kind: Kind) {
    let shop = Shop::open(kind);
    let (key, url) = (key_of(&shop, "reader"), shop.server.url("/v1/events"));
    let block = |received: Instant| {
        let mut body = crate::setting::arrival();
        body["received_at"] = json!(received.to_string());
        (body["received_g"], body["place_code"]) = (json!(1_000), json!("show-case"));
        let answer = act(&shop.cutter, "/v1/lots", &body).expect(201).json();
        shop.cut(&text(&answer["tray_code"]), 1_000, &[("lean-saku", "show-case", 1_000)]).remove(0)
    };
    let ends = |tray: &str| Instant::parse(&text(&shop.tray(tray)["life"]["sell_until"])).unwrap();
    // Received so long ago that it ends soon: found by receiving one after the other, each by as much earlier as the last one lasts too long.
    let mut listener = Listener::open(&url, &key, &[]).unwrap();
    let begun = clock::now();
    let mut received = begun.plus_micros(-60 * MICROS_PER_MINUTE);
    let soon = loop {
        let tray = block(received);
        let left = ends(&tray).since(clock::now());
        if (MICROS_PER_SECOND..8 * MICROS_PER_SECOND).contains(&left) {
            break tray;
        }
        assert!(clock::now().since(begun) < 60 * MICROS_PER_SECOND, "no such tray is found");
        received = received.plus_micros(-left + 6 * MICROS_PER_SECOND);
    };
    let end = ends(&soon);
    let passed = |change: &Value| change["kind"] == "time_passed" && change["tray_code"] == json!(soon);
    let change = listener.change(passed);
    assert_eq!(
        (&change["offer"]["verdict"], &change["act_id"], &change["actor"]),
        (&json!("stop"), &Value::Null, &Value::Null),
        "{change}"
    );
    let recorded = Instant::parse(&text(&change["recorded_at"])).unwrap();
    assert!(recorded > end, "not before it ended: {recorded}, {end}");
    let told = shop.reader.get("/v1/changes?limit=200").send().expect(200).json();
    assert!(told["changes"].as_array().unwrap().contains(&change), "{told}");
    assert!(trays(&live(&shop.reader, "?verdict=stop").expect(200)).contains(&soon));
    // The till would be told the same at the counter.
    let refused = act(&shop.till, "/v1/sales", &json!({"lines": [{"tray_code": soon}]}));
    assert_eq!(refused.status, 409, "{}", refused.text());
}

/// What people write for each other may name a customer: a till is told that something happened, and neither why nor by whom.
pub fn a_till_is_told_no_words(kind: Kind) {
    let shop = Shop::open(kind);
    let made = stocked(&shop);
    let url = shop.server.url("/v1/events?after=");
    let begin = text(&shop.till.get("/v1/changes?after=now").send().expect(200).json()["cursor"]);
    let open = |client: &Client| Listener::open(&format!("{url}{begin}"), client.key().unwrap(), &[]).unwrap();
    let (mut till, mut counter) = (open(&shop.till), open(&shop.counter));
    act(&shop.counter, "/v1/holds", &json!({"scope": "tray", "code": made[0], "reason": "Mrs Example rang"}))
        .expect(201);
    let is_hold = |change: &Value| change["kind"] == "hold";
    let heard = [till.change(is_hold), counter.change(is_hold)];
    let listed = [&shop.till, &shop.counter].map(|client| {
        let all = client.get("/v1/changes?limit=200").send().expect(200).json();
        all["changes"].as_array().unwrap().iter().find(|change| is_hold(change)).unwrap().clone()
    });
    for [till, counter] in [heard, listed] {
        assert_eq!((till.get("actor"), till.get("reason")), (None, None), "{till}");
        assert_eq!(till["tray_code"], json!(made[0]));
        assert!(
            text(&counter["reason"]).contains("Mrs Example") && counter["actor"].is_string(),
            "the control: {counter}"
        );
    }
    // Who sold: a till knows of itself.
    sell(&shop.counter, &made[1]);
    sell(&shop.till, &made[2]);
    let sellers = |client: &Client| -> Vec<Value> {
        let sales = client.get("/v1/sales").send().expect(200).json();
        sales.as_array().unwrap().iter().map(|sale| sale["sold_by"].clone()).collect()
    };
    let (all, own) = (sellers(&shop.counter), sellers(&shop.till));
    assert!(all.iter().all(Value::is_string) && all.len() == 2, "{all:?}");
    assert_eq!(own, [all[0].clone(), Value::Null]);
}

pub fn streams_are_counted_and_end(kind: Kind) {
    let directory = tempfile::tempdir().unwrap();
    let settings = directory.path().join("shop.toml");
    std::fs::write(&settings, "[following]\nstreams = 3\nstreams_per_client = 2\n").unwrap();
    let database = match kind {
        Kind::Sqlite => None,
        Kind::Postgres => Some(fresh_database()),
    };
    let file = directory.path().join("shop.db").display().to_string();
    let address = database.as_ref().map_or(file, |database| database.url().to_owned());
    let mut server = Server::start_with(&["--settings", settings.to_str().unwrap()], &address, database);
    let owner = sign_in(&server.client(), &server.owner().name, &server.owner().password);
    let (one, two) = (new_key(&owner, "one", "till"), new_key(&owner, "two", "till").0);
    let url = server.url("/v1/events");
    let mut first = Listener::open(&url, &one.0, &[]).unwrap();
    let second = Listener::open(&url, &one.0, &[]).unwrap();
    assert_eq!(Listener::open(&url, &one.0, &[]).err(), Some(429), "a third of one key");
    let mut third = Listener::open(&url, &two, &[]).unwrap();
    assert_eq!(Listener::open(&url, &two, &[]).err(), Some(429), "a fourth of all");
    let refused = server.client().with_key(&two).get("/v1/events").send().expect(429);
    assert_eq!((&refused.json()["code"], refused.header("retry-after")), (&json!("too_many_streams"), Some("5")));
    // Whoever goes gives the place back.
    drop(second);
    let mut fourth = until_let_in(&url, &two);
    // A key that ends takes its streams along, the next time they are asked.
    owner.delete(&format!("/v1/keys/{}", one.1)).send().expect(200);
    assert_eq!(first.event(), None, "the stream of a revoked key ends without a word");
    let body = json!({"name": "Ines", "role": "reader", "password": PHRASE});
    owner.post("/v1/people").json(&body).send().expect(201);
    third.block().unwrap();
    assert_eq!(server.stop(), Some(0), "open streams do not hold the end up: {}", server.log());
    for mut listener in [third, fourth.take().unwrap()] {
        assert_eq!(listener.event().map(|event| event.name), Some("bye".to_owned()));
        assert_eq!(listener.event(), None);
    }
}

fn until_let_in(url: &str, key: &str) -> Option<Listener> {
    let begun = std::time::Instant::now();
    loop {
        match Listener::open(url, key, &[]) {
            Ok(listener) => return Some(listener),
            Err(status) => assert!(status == 429 && begun.elapsed() < PATIENCE, "{status}"),
        }
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
}

/// Two servers on one database: who listens at one sees what is sold through the other, and each takes the same snapshot.
#[test]
fn a_stream_sees_sales_made_through_another_process() {
    let shop = Shop::open(Kind::Postgres);
    let beside = Server::start_with(&["--settings", &shop.settings], &shop.database, None);
    let key = key_of(&shop, "till");
    let made = stocked(&shop);
    settled(&shop.till, "", |answer| trays(answer).len() == 4);
    let other = beside.client().with_key(&key);
    let mut here = Listener::open(&shop.server.url("/v1/events"), &key, &[]).unwrap();
    let mut there = Listener::open(&beside.url("/v1/events"), &key, &[]).unwrap();
    sell(&other, &made[0]);
    sell(&shop.till, &made[1]);
    for listener in [&mut here, &mut there] {
        let sold: Vec<Value> =
            (0..2).map(|_| listener.change(|change| change["kind"] == "sell")["tray_code"].clone()).collect();
        assert_eq!(sold, [json!(made[0]), json!(made[1])]);
    }
    let whole = settled(&other, "", |answer| trays(answer).len() == 2);
    assert_eq!(live(&shop.till, "").expect(200).json(), whole.json());
}
