//! Health as a monitor sees it, and the end of the program: what was begun is finished, what was acknowledged stands in the file.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "http/setting.rs"]
mod setting;
#[path = "prints/stub.rs"]
mod stub;
mod support;

use std::io::{Read, Write};
use std::net::TcpStream;
use std::process::Command;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use diesel::connection::SimpleConnection;
use diesel::{Connection, SqliteConnection};
use serde_json::{Value, json};
use setting::{Shop, arrival, fresh_key};
use support::http::{Answer, Client};
use support::server::Kind;

/// Longer than one look is kept.
const STALE: Duration = Duration::from_millis(1_200);

fn ready(client: &Client) -> Answer {
    let answer = client.get("/readyz").send();
    assert_eq!(answer.header("content-type"), Some("application/health+json"));
    assert_eq!(answer.header("cache-control"), Some("no-store"));
    // draft-inadarei-api-health-check-06, 3.1: pass and warn with 2xx, fail with 5xx.
    assert_eq!(answer.status, if answer.json()["status"] == "fail" { 503 } else { 200 }, "{}", answer.text());
    answer
}

/// One check as the manager sees it.
fn check(shop: &Shop, name: &str) -> Value {
    let body = ready(&shop.manager).json();
    let found = body["checks"][name][0].clone();
    assert!(found.is_object(), "{name} is not in {body}");
    found
}

fn reasons_are_for_the_manager(shop: &Shop) {
    let live = shop.anonymous.get("/livez").send().expect(200);
    assert_eq!(live.json()["status"], "pass");
    for client in
        [&shop.anonymous, &shop.till, &shop.counter, &shop.reader, &shop.anonymous.with_key("sdk_none_of_ours")]
    {
        let body = ready(client).json();
        assert_eq!(body["checks"], Value::Null, "{body}");
    }
    let body = ready(&shop.manager).json();
    for (name, entries) in body["checks"].as_object().unwrap() {
        let entry = &entries[0];
        assert!(!entry["observedValue"].is_null() && entry["time"].is_string(), "{name}: {entry}");
        // The draft leaves `output` out of what passes (section 4.8).
        assert_eq!(entry["output"].is_string(), entry["status"] != "pass", "{name}: {entry}");
    }
    assert_eq!(check(shop, "database:writable")["observedValue"], "yes");
    let durability = check(shop, "database:durability")["observedValue"].clone();
    assert_eq!(durability, if shop.kind == Kind::Sqlite { "synchronous=2" } else { "synchronous_commit=on" });
    assert_eq!(check(shop, "clock:behind_record")["status"], "pass");
    assert!(check(shop, "time_zones:release")["observedValue"].as_str().unwrap().starts_with("20"));
}

#[test]
fn a_shop_says_how_it_is_on_sqlite() {
    let shop = Shop::open(Kind::Sqlite);
    reasons_are_for_the_manager(&shop);
    assert!(check(&shop, "disk:free")["observedValue"].as_i64().unwrap() > 0);
    assert!(check(&shop, "log:size")["observedValue"].as_i64().unwrap() > 0);
    a_copy_is_seen(&shop);
    a_clock_put_back_is_seen(&shop);
}

#[test]
fn a_shop_says_how_it_is_on_postgres() {
    reasons_are_for_the_manager(&Shop::open(Kind::Postgres));
}

fn a_copy_is_seen(shop: &Shop) {
    let never = check(shop, "backup:age");
    assert_eq!((&never["status"], &never["observedValue"]), (&json!("warn"), &json!("never")));
    let copy = format!("{}.copy", shop.database);
    let copied = Command::new(env!("CARGO_BIN_EXE_sakudana"))
        .args(["backup", "--database", &shop.database, "--settings", &shop.settings, &copy])
        .output()
        .unwrap();
    assert!(copied.status.success(), "{}", String::from_utf8_lossy(&copied.stderr));
    std::thread::sleep(STALE);
    let now = check(shop, "backup:age");
    assert_eq!(now["status"], "pass", "{now}");
    assert!(now["observedValue"].as_i64().unwrap() < 60, "{now}");
}

/// The record says that it is later than the clock: as if the clock had been put back by a minute.
fn a_clock_put_back_is_seen(shop: &Shop) {
    let mut database = SqliteConnection::establish(&shop.database).unwrap();
    let later = sakudana::web::clock::now().micros() + 60_000_000;
    let row = format!("INSERT INTO acts (at, recorded_at, kind, actor) VALUES ({later}, {later}, 'test', 'a test')");
    database.batch_execute(&row).unwrap();
    std::thread::sleep(STALE);
    let clock = check(shop, "clock:behind_record");
    assert_eq!(clock["status"], "warn", "{clock}");
    assert!((50..=60).contains(&clock["observedValue"].as_i64().unwrap()), "{clock}");
}

/// Many ask at once; the shop looks at itself no more than once a second.
#[test]
fn asking_often_costs_nothing() {
    let shop = Shop::open(Kind::Sqlite);
    let times: std::collections::BTreeSet<String> = (0..20)
        .map(|_| ready(&shop.manager).json()["checks"]["database:answers"][0]["time"].as_str().unwrap().to_owned())
        .collect();
    std::thread::sleep(STALE);
    let later = ready(&shop.manager).json()["checks"]["database:answers"][0]["time"].as_str().unwrap().to_owned();
    assert!(times.len() < 20 && !times.contains(&later), "{times:?}");
}

/// A request whose body is still coming when the server is told to stop.
fn half_sent(shop: &Shop, key: &str) -> (TcpStream, Vec<u8>) {
    let body = arrival().to_string().into_bytes();
    let address = shop.server.url("");
    let mut stream = TcpStream::connect(address.trim_start_matches("http://")).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
    let secret = setting::new_key(&shop.owner, "slow", "cutter").0;
    let head = format!(
        "POST /v1/lots HTTP/1.1\r\nHost: shop\r\nAuthorization: Bearer {secret}\r\nIdempotency-Key: {key}\r\n\
         Content-Type: application/json\r\nContent-Length: {}\r\n\r\n",
        body.len()
    );
    stream.write_all(head.as_bytes()).unwrap();
    let (first, rest) = body.split_at(20);
    stream.write_all(first).unwrap();
    (stream, rest.to_vec())
}

fn ends_well(kind: Kind) {
    let mut shop = Shop::open(kind);
    let (mut stream, rest) = half_sent(&shop, &fresh_key());
    // Others work until they are turned away.
    let stopped = AtomicBool::new(false);
    let (counter, address) = (shop.counter.clone(), shop.server.url(""));
    let process = shop.server.process_id().to_string();
    let acknowledged = std::thread::scope(|scope| {
        let working = scope.spawn(|| {
            let mut acknowledged = 0;
            while !stopped.load(Ordering::Relaxed) {
                let call = counter.post("/v1/holds").idempotency_key(&fresh_key());
                match call.json(&json!({"scope": "lot", "code": "none", "reason": "x"})).try_send() {
                    Ok(answer) => acknowledged += usize::from(answer.status == 422),
                    Err(_) => break,
                }
            }
            acknowledged
        });
        std::thread::sleep(Duration::from_millis(300));
        assert!(Command::new("kill").args(["-TERM", &process]).status().unwrap().success());
        // Nobody new is let in, while the one under way is waited for.
        let shut = (0..200).any(|_| {
            std::thread::sleep(Duration::from_millis(20));
            TcpStream::connect(address.trim_start_matches("http://")).is_err()
        });
        assert!(shut, "connections are taken after SIGTERM");
        stream.write_all(&rest).unwrap();
        let mut answer = String::new();
        let _ = stream.read_to_string(&mut answer);
        assert!(answer.starts_with("HTTP/1.1 201"), "{answer}");
        stopped.store(true, Ordering::Relaxed);
        working.join().unwrap()
    });
    assert!(acknowledged > 0, "nobody worked");
    let begun = Instant::now();
    assert_eq!(shop.server.stop(), Some(0), "{}", shop.server.log());
    assert!(begun.elapsed() < Duration::from_secs(10));
    assert!(shop.server.log().contains("everything acknowledged is on disk"));
    if kind == Kind::Sqlite {
        // All is in the file: the log beside it is empty or gone.
        let log = std::fs::metadata(format!("{}-wal", shop.database)).map_or(0, |found| found.len());
        assert_eq!(log, 0);
    }
}

#[test]
fn it_ends_well_on_sqlite() {
    ends_well(Kind::Sqlite);
}

#[test]
fn it_ends_well_on_postgres() {
    ends_well(Kind::Postgres);
}
