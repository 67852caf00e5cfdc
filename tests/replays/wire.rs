//! Replays over HTTP: ten thousand in little memory, cut after any byte, lines that are none, and who may.

use crate::ground::Which;
use crate::setting::{Shop, act, text};
use crate::support::http::{Answer, Client};
use crate::support::server::Kind;
use sakudana::units::instant::{Instant, MICROS_PER_MINUTE};
use sakudana::web::clock;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::io::{Read, Write};
use std::net::{Shutdown, TcpStream};
use std::time::Duration;

const PATH: &str = "/v1/sales/replays";

fn open(which: Which) -> Shop {
    Shop::open(if which == Which::Sqlite { Kind::Sqlite } else { Kind::Postgres })
}

/// Sales that are made again say another time, and are the same sales.
fn a_minute_ago() -> Instant {
    clock::now().plus_micros(-MICROS_PER_MINUTE)
}

fn sale(key: &str, lines: &Value) -> Value {
    json!({"key": format!("queue-of-till-{key:0>6}"), "sold_at": a_minute_ago().to_string(), "sequence": 7, "lines": lines})
}

fn line(tray: &str, grams: Option<i64>, price_cents: i64) -> Value {
    json!({"tray_code": tray, "grams": grams, "price_cents": price_cents})
}

fn queue(sales: &[Value]) -> String {
    sales.iter().map(|sale| format!("{sale}\n")).collect()
}

fn replay(client: &Client, body: &str) -> Answer {
    client.post(PATH).bytes("application/x-ndjson", body.as_bytes()).send()
}

/// accepted, with exceptions, replayed, malformed.
fn counts(taken: &Value) -> [i64; 4] {
    let counts =
        ["accepted", "accepted_with_exceptions", "replayed", "malformed"].map(|name| taken[name].as_i64().unwrap());
    assert_eq!(taken["sales"].as_i64(), Some(counts.iter().sum()), "{taken}");
    counts
}

/// Kibibytes of the server's memory.
fn memory(shop: &Shop, field: &str) -> u64 {
    let status =
        std::fs::read_to_string(format!("/proc/{}/status", shop.server.process_id())).expect("a process of ours");
    let line = status.lines().find_map(|line| line.strip_prefix(field)).expect("the field is there");
    line.trim().trim_end_matches("kB").trim().parse().expect("a number of KiB")
}

fn number(name: &str, default: usize) -> usize {
    std::env::var(name).map_or(default, |text| text.parse().unwrap_or_else(|_| panic!("{name} is no number: {text}")))
}

/// All that a sale leaves behind, counted: sales and grams that are left on the trays.
fn sales_and_left(shop: &Shop, trays: &[String]) -> (usize, i64) {
    let mut sales = BTreeSet::new();
    let mut next = Some("/v1/sales?limit=200".to_owned());
    while let Some(address) = next {
        let page = shop.reader.get(&address).send().expect(200);
        sales.extend(page.json().as_array().unwrap().iter().map(|sale| sale["sale_id"].as_i64().unwrap()));
        next = page.header("link").map(|link| link[1..].split_once(">;").unwrap().0.to_owned());
    }
    (sales.len(), trays.iter().map(|tray| shop.tray(tray)["net_weight_g"].as_i64().unwrap()).sum())
}

pub fn ten_thousand_sales_in_little_memory(which: Which) {
    let shop = open(which);
    let sales = number("SAKUDANA_REPLAY_SALES", 10_000);
    let (_, whole) = shop.receive("YFT", 90_000);
    let tubs = shop.cut(&whole, 90_000, &[("scrape", "cold-room", 9_000); 9]);
    // Every fiftieth is of a tray that nobody has; the longest text a scanner may send makes some of them large.
    let one = |n: usize| match n % 50 {
        49 => sale(&n.to_string(), &json!([line(&"9".repeat(400), Some(1), 3), line(&"8".repeat(400), Some(1), 3)])),
        _ => sale(&n.to_string(), &json!([line(&tubs[n % tubs.len()], Some(1), 3)])),
    };
    let body = queue(&(0..sales).map(one).collect::<Vec<_>>());
    // Warm, and the peak of what was done before forgotten (proc(5), clear_refs).
    replay(&shop.till, &queue(&[one(0)])).expect(200);
    std::fs::write(format!("/proc/{}/clear_refs", shop.server.process_id()), "5").expect("a process of ours");
    let before = memory(&shop, "VmRSS:");
    let taken = patient(&shop, &body);
    let grown = memory(&shop, "VmHWM:").saturating_sub(before);
    let odd = i64::try_from(sales / 50).unwrap();
    let all = i64::try_from(sales).unwrap();
    assert_eq!(counts(&taken), [all - odd - 1, odd, 1, 0]);
    assert_eq!(taken["listed"].as_array().unwrap().len(), sales / 50);
    println!("{sales} sales, {} bytes: the server's memory grew by {grown} KiB", body.len());
    assert!(grown < 32 * 1024, "{grown} KiB");
    let left = sales_and_left(&shop, &tubs);
    assert_eq!(left, (sales, 81_000 - (all - odd)));
    // Once more, all of it: nothing is done.
    assert_eq!(counts(&patient(&shop, &body)), [0, 0, all, 0]);
    assert_eq!(sales_and_left(&shop, &tubs), left);
    // One more than that is too many for one request; what it took stays, and says so.
    let over =
        format!("{body}{}", queue(&(0..10_001 - sales.min(10_000)).map(|n| one(n + 20_000)).collect::<Vec<_>>()));
    let refused = replay(&shop.till, &over).expect(413).json();
    assert_eq!(refused["code"], "payload_too_large");
    assert!(text(&refused["detail"]).contains("sales are recorded and stay"), "{refused}");
}

/// A request that may take longer than others do in a test build.
fn patient(shop: &Shop, body: &str) -> Value {
    let mut stream = connect(shop, Duration::from_secs(600));
    stream.write_all(head(shop, body.len()).as_bytes()).unwrap();
    stream.write_all(body.as_bytes()).unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    let (head, body) = answer.split_once("\r\n\r\n").unwrap();
    assert!(head.starts_with("HTTP/1.1 200 "), "{answer}");
    let body = if head.contains("chunked") { body.split_once("\r\n").unwrap().1 } else { body };
    serde_json::from_str(body).unwrap_or_else(|error| panic!("{error}: {answer}"))
}

fn connect(shop: &Shop, patience: Duration) -> TcpStream {
    let address = shop.server.url("");
    let stream = TcpStream::connect(address.trim_start_matches("http://")).expect("the server listens");
    stream.set_read_timeout(Some(patience)).unwrap();
    stream
}

fn head(shop: &Shop, length: usize) -> String {
    let key = shop.till.key().expect("a key");
    format!(
        "POST {PATH} HTTP/1.1\r\nHost: shop\r\nConnection: close\r\nAuthorization: Bearer {key}\r\nContent-Type: application/x-ndjson\r\nContent-Length: {length}\r\n\r\n"
    )
}

pub fn cut_anywhere_and_sent_again(which: Which) {
    let shop = open(which);
    let (_, whole) = shop.receive("YFT", 10_000);
    let trays = shop.cut(
        &whole,
        10_000,
        &[("scrape", "cold-room", 2_000), ("lean-saku", "cold-room", 300), ("scrape", "cold-room", 900)],
    );
    // More than one batch, so that the cut falls before, between and after what is done.
    let mut sales: Vec<Value> = (0..130).map(|n| sale(&n.to_string(), &json!([line(&trays[0], Some(1), 3)]))).collect();
    sales.push(sale("block", &json!([line(&trays[1], None, 2_235), line(&trays[2], Some(950), 2_850)])));
    let body = queue(&sales);
    let request = format!("{}{body}", head(&shop, body.len()));
    let step = number("SAKUDANA_REPLAY_CUT_STEP", 211);
    let mut done = 0;
    for at in (0..request.len()).step_by(step).chain(request.len() - 3..request.len()) {
        let mut stream = connect(&shop, Duration::from_secs(20));
        stream.write_all(&request.as_bytes()[..at]).unwrap();
        stream.shutdown(Shutdown::Write).unwrap();
        let mut heard = Vec::new();
        // Whatever it says: the till hears nothing of it.
        let _ = stream.read_to_end(&mut heard);
        assert!(
            !String::from_utf8_lossy(&heard).starts_with("HTTP/1.1 5"),
            "cut after {at}: {}",
            String::from_utf8_lossy(&heard)
        );
        let now = sales_and_left(&shop, &trays).0;
        assert!(now >= done && now <= sales.len(), "cut after {at}: {now} sales after {done}");
        done = now;
    }
    assert!((100..sales.len()).contains(&done), "{done}: no cut fell between two batches");
    let rest = i64::try_from(sales.len() - done).unwrap();
    let taken = replay(&shop.till, &body).expect(200).json();
    assert_eq!(counts(&taken), [rest - 1, 1, i64::try_from(done).unwrap(), 0]);
    assert_eq!(taken["listed"][0]["contradicts"], json!([{"line": 2, "code": "overdrawn"}]));
    assert_eq!(sales_and_left(&shop, &trays), (sales.len(), 1_870));
    // Out of order and each twice: nothing more.
    sales.reverse();
    sales.extend(sales.clone());
    assert_eq!(counts(&replay(&shop.till, &queue(&sales)).expect(200).json()), [0, 0, 262, 0]);
    assert_eq!(sales_and_left(&shop, &trays), (131, 1_870));
    assert_sound(&shop);
}

fn assert_sound(shop: &Shop) {
    let verified = std::process::Command::new(env!("CARGO_BIN_EXE_sakudana"))
        .args(["verify", "--database", &shop.database, "--settings", &shop.settings])
        .output()
        .unwrap();
    assert!(verified.status.success(), "{}", String::from_utf8_lossy(&verified.stdout));
}

pub fn lines_that_are_no_sales(which: Which) {
    let shop = open(which);
    let (_, whole) = shop.receive("YFT", 10_000);
    let tub = shop.cut(&whole, 10_000, &[("scrape", "cold-room", 2_000)]).remove(0);
    let good = |key: &str| sale(key, &json!([line(&tub, Some(1), 3)]));
    let with = |pointer: &str, value: Value| {
        let mut bad = good("bad");
        let (parent, name) = pointer.rsplit_once('/').unwrap();
        bad.pointer_mut(parent).unwrap()[name] = value;
        bad.to_string()
    };
    let without = |name: &str| {
        let mut bad = good("bad");
        bad.as_object_mut().unwrap().remove(name);
        bad.to_string()
    };
    let many: Vec<Value> = (0..101).map(|_| line(&tub, Some(1), 3)).collect();
    let rows: Vec<(String, Option<&str>)> = vec![
        ("{".into(), None),
        ("null".into(), None),
        ("[]".into(), None),
        ("\u{0}".into(), None),
        ("x".repeat(70_000), None),
        (without("key"), Some("key")),
        (without("sold_at"), Some("sold_at")),
        (without("lines"), Some("lines")),
        (with("/key", json!("short")), Some("key")),
        (with("/key", json!("sixteen letters!")), Some("key")),
        (with("/sold_at", json!("yesterday")), Some("sold_at")),
        (with("/sold_at", json!("2026-11-25T08:00:00")), Some("sold_at")),
        (with("/sequence", json!("7")), Some("sequence")),
        (with("/till", json!("3")), Some("till")),
        (with("/lines", json!([])), Some("lines")),
        (with("/lines", json!(many)), Some("lines")),
        (with("/lines/0/grams", json!(0)), Some("lines/0/grams")),
        (with("/lines/0/grams", json!(-1)), Some("lines/0/grams")),
        (with("/lines/0/grams", json!(1.5)), Some("lines/0/grams")),
        (with("/lines/0/price_cents", json!(-1)), Some("lines/0/price_cents")),
        (with("/lines/0/price_cents", json!(1_000_000_001)), Some("lines/0/price_cents")),
        (with("/lines/0/tray_code", json!(7)), Some("lines/0/tray_code")),
        (with("/lines/0/tray_code", json!("a\u{0}b")), Some("lines/0/tray_code")),
    ];
    let before = sales_and_left(&shop, &[]).0;
    for (number, (bad, field)) in rows.iter().enumerate() {
        // Beside it the good ones are taken, also without an end of the last line, after blank ones and a byte order mark.
        let (one, other) = (good(&format!("{number}-a")), good(&format!("{number}-b")));
        let taken = replay(&shop.till, &format!("\u{feff}{one}\r\n\n  \n{bad}\n{other}")).expect(200).json();
        assert_eq!(counts(&taken), [2, 0, 0, 1], "{bad}: {taken}");
        let listed = &taken["listed"][0];
        assert_eq!((listed["number"].as_i64(), listed["field"].as_str()), (Some(4), *field), "{bad}: {listed}");
        assert!(!text(&listed["reason"]).is_empty());
    }
    assert_eq!(sales_and_left(&shop, &[]).0, before + 2 * rows.len());
    // A strange code is a sale all the same: it happened.
    let taken =
        replay(&shop.till, &queue(&[sale("scribble", &json!([line("", None, 3), line(&"x".repeat(5_000), None, 0)]))]))
            .expect(200)
            .json();
    assert_eq!(
        taken["listed"][0]["contradicts"],
        json!([{"line": 1, "code": "unknown_code"}, {"line": 2, "code": "unknown_code"}])
    );
    // Clocks of every kind are sales too, and noted.
    for (number, (sold_at, clock)) in
        [("1970-01-01T00:00:00Z", "long_ago"), ("9999-12-31T23:59:59Z", "ahead")].into_iter().enumerate()
    {
        let mut odd = good(&format!("clock-{number}"));
        odd["sold_at"] = json!(sold_at);
        let taken = replay(&shop.till, &queue(&[odd])).expect(200).json();
        assert_eq!((counts(&taken), &taken["listed"][0]["clock"]), ([1, 0, 0, 0], &json!(clock)));
    }
    assert_eq!(counts(&replay(&shop.till, "").expect(200).json()), [0, 0, 0, 0]);
    for kind in ["application/json", "text/plain", ""] {
        let problem = shop.till.post(PATH).bytes(kind, b"{}").send().expect(415).json();
        assert_eq!(problem["code"], "unsupported_media_type", "{kind}");
    }
    let found = shop.manager.get("/v1/exceptions").send().expect(200).json();
    assert_eq!(found.as_array().unwrap().len(), 2);
    assert_sound(&shop);
}

pub fn who_may(which: Which) {
    let shop = open(which);
    let (_, whole) = shop.receive("YFT", 10_000);
    let saku = shop.cut(
        &whole,
        10_000,
        &[("lean-saku", "cold-room", 300), ("lean-saku", "cold-room", 310), ("scrape", "cold-room", 500)],
    );
    let twice = |key: &str| sale(key, &json!([line(&saku[0], None, 2_235)]));
    for client in [&shop.reader, &shop.cutter, &shop.logger] {
        assert_eq!(replay(client, &queue(&[twice("x")])).expect(403).json()["code"], "forbidden");
    }
    assert_eq!(replay(&shop.anonymous, &queue(&[twice("x")])).status, 401);
    for client in [&shop.till, &shop.counter, &shop.manager] {
        replay(client, &queue(&[twice("x")])).expect(200);
    }
    // Three who sold the same block: two exceptions, for the manager alone.
    for client in [&shop.till, &shop.counter, &shop.reader] {
        for path in ["/v1/exceptions", "/v1/exceptions/1"] {
            assert_eq!(client.get(path).send().expect(403).json()["code"], "forbidden");
        }
        let refused = act(client, "/v1/exceptions/1/resolution", &json!({"way": "noted"})).expect(403).json();
        assert_eq!(refused["code"], "forbidden");
    }
    replay(&shop.till, &queue(&[sale("over", &json!([line(&saku[2], Some(550), 1_650)]))])).expect(200);
    let all = shop.manager.get("/v1/exceptions").send().expect(200).json();
    let numbers = |list: &Value| -> Vec<i64> {
        list.as_array().unwrap().iter().map(|e| e["exception_id"].as_i64().unwrap()).collect()
    };
    assert_eq!(all.as_array().unwrap().len(), 3, "{all}");
    let second = all[1]["exception_id"].as_i64().unwrap();
    let path = format!("/v1/exceptions/{second}/resolution");
    let settled = act(&shop.manager, &path, &json!({"way": "was_other_tray", "tray_code": saku[1]})).expect(201).json();
    assert_eq!(
        (&settled["resolution"]["settled_g"], &settled["resolution"]["tray_code"]),
        (&json!(310), &json!(saku[1]))
    );
    assert_eq!(act(&shop.manager, &path, &json!({"way": "noted"})).expect(409).json()["code"], "already_resolved");
    assert_eq!(act(&shop.manager, &path, &json!({"way": "forgotten"})).expect(422).json()["errors"][0]["field"], "way");
    assert_eq!(shop.manager.get(&format!("/v1/exceptions/{second}")).send().expect(200).json(), settled);
    assert_eq!(shop.manager.get("/v1/exceptions/999").send().expect(404).json()["code"], "not_found");
    // The open ones first, page by page, each once.
    let mut next = Some("/v1/exceptions?limit=1".to_owned());
    let mut found = Vec::new();
    while let Some(address) = next {
        let page = shop.manager.get(&address).send().expect(200);
        found.extend(numbers(&page.json()));
        next = page.header("link").map(|link| link[1..].split_once(">;").unwrap().0.to_owned());
    }
    let order = numbers(&all);
    assert_eq!(found, [order[0], order[2], order[1]]);
    assert_eq!(numbers(&shop.manager.get("/v1/exceptions?state=open").send().expect(200).json()), [order[0], order[2]]);
    for query in ["state=closed", "limit=0", "limit=201"] {
        assert_eq!(shop.manager.get(&format!("/v1/exceptions?{query}")).send().status, 422, "{query}");
    }
    assert_eq!(shop.manager.get("/v1/exceptions?cursor=1-0").send().status, 400);
    // A sale that got through just before the line was cut, and one that is sent as if it had never been cut.
    let fresh = shop.cut(
        &shop.receive("YFT", 1_000).1,
        1_000,
        &[("lean-saku", "cold-room", 300), ("lean-saku", "cold-room", 310)],
    );
    let by_key = |key: &str, lines: &Value| {
        let call = shop.till.post("/v1/sales").idempotency_key(&format!("queue-of-till-{key:0>6}"));
        call.json(&json!({"lines": lines})).send().expect(201).json()
    };
    let (one, other) = (json!([line(&fresh[0], None, 2_235)]), json!([line(&fresh[1], Some(310), 2_310)]));
    let sold = by_key("through", &one);
    let taken = replay(&shop.till, &queue(&[sale("through", &one), sale("after", &other)])).expect(200).json();
    assert_eq!(counts(&taken), [1, 0, 1, 0], "{taken}");
    let after = by_key("after", &other);
    assert_eq!(by_key("through", &one), sold);
    assert_eq!((&after["total_cents"], &after["lines"][0]["tray_code"]), (&json!(2_310), &json!(fresh[1])));
    // A return over HTTP, once.
    let sold = act(&shop.till, "/v1/sales", &json!({"lines": [{"tray_code": saku[2], "grams": 1}]}));
    assert_eq!(sold.expect(409).json()["code"], "already_sold");
    let sale_id = all[0]["sale_id"].as_i64().unwrap();
    let path = format!("/v1/sales/{sale_id}/returns");
    let body =
        json!({"lines": [{"tray_code": saku[2], "grams": 200, "refund_cents": 600, "reason": "changed their mind"}]});
    let call = || shop.till.post(&path).idempotency_key("a-return-of-the-test").json(&body).send();
    let first = call().expect(201).json();
    assert_eq!(first, call().expect(201).json());
    // What was written about it is for people, not for the till.
    assert_eq!(shop.till.get(&path).send().expect(200).json(), first);
    assert_eq!(first["lines"][0].get("reason"), None);
    let mut said = shop.reader.get(&path).send().expect(200).json();
    assert_eq!(said["lines"][0]["reason"].take(), "changed their mind");
    assert!(said["lines"][0].as_object_mut().unwrap().remove("reason").is_some() && said == first, "{said}");
    assert_eq!(act(&shop.reader, &path, &body).status, 403);
    assert_eq!(shop.tray(&saku[2])["net_weight_g"], 0);
    assert_sound(&shop);
}
