//! Readings over the wire: what each line earns, whole files that are refused, bodies that break off, pause or never end, and the memory
//! that a large one takes.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant as Stopwatch};

use sakudana::units::instant::{Instant, MICROS_PER_HOUR, MICROS_PER_MINUTE, MICROS_PER_SECOND};
use sakudana::web::clock;
use serde_json::{Value, json};

use crate::setting::Shop;
use crate::support::http::Answer;

const OUTCOMES: [&str; 8] =
    ["accepted", "repeated", "contradicting", "sensor_fault", "in_future", "too_old", "unreadable", "late"];

pub fn are_taken(shop: &Shop) {
    line_by_line(shop);
    exports_are_local_to_the_shop(shop);
    what_is_said_beside_is_checked(shop);
    json_lines_that_are_none(shop);
    whole_bodies_are_refused(shop);
    pages_go_back_in_time(shop);
}

pub fn flow(shop: &Shop) {
    a_body_that_breaks_off_leaves_what_was_taken(shop);
    a_large_file_takes_little_memory(shop);
    a_body_that_stands_still_is_given_up(shop);
}

fn path(place: &str) -> String {
    format!("/v1/places/{place}/readings")
}

fn minutes_ago(minutes: i64) -> Instant {
    clock::now().floor_minute().plus_micros(-minutes * MICROS_PER_MINUTE)
}

fn post(shop: &Shop, place: &str, kind: &str, body: &str) -> Answer {
    shop.logger.post(&path(place)).bytes(kind, body.as_bytes()).send()
}

fn csv(shop: &Shop, place: &str, body: &str) -> Value {
    post(shop, place, "text/csv", body).expect(200).json()
}

/// What was counted, in words.
fn told(taken: &Value) -> String {
    let counted = OUTCOMES.iter().filter(|outcome| taken[**outcome] != 0);
    counted.map(|outcome| format!("{outcome} {}", taken[*outcome])).collect::<Vec<_>>().join(", ")
}

fn stored(shop: &Shop, place: &str) -> Vec<(String, i64)> {
    let answer = shop.reader.get(&format!("{}?limit=10000", path(place))).send().expect(200).json();
    let entries = answer.as_array().unwrap().iter();
    entries.map(|e| (e["at"].as_str().unwrap().to_owned(), e["temperature_mc"].as_i64().unwrap())).collect()
}

fn line_by_line(shop: &Shop) {
    let at: Vec<Instant> = [60, 45, 30, 15].into_iter().map(minutes_ago).collect();
    let file = format!("time,temp\n{},1.0\n{},1.5\nbroken\n{},2.0\n", at[0], at[1], at[3]);
    let first = csv(shop, "cold-room", &file);
    assert_eq!(told(&first), "accepted 3, unreadable 1");
    assert_eq!((&first["lines"], &first["not_listed"], &first["listed"][0]["line"]), (&json!(4), &json!(0), &json!(4)));
    let again = csv(shop, "cold-room", &file);
    assert_eq!(told(&again), "repeated 3, unreadable 1");
    assert_eq!(again["listed"].as_array().unwrap().len(), 4);

    let ahead = clock::now().plus_micros(MICROS_PER_HOUR);
    let body = json!({"readings": [
        {"at": at[2].to_string(), "celsius": "1,7"},
        {"at": at[1].to_string(), "celsius": 1.6},
        {"at": at[0].to_string(), "fahrenheit": 33},
        {"at": ahead.to_string(), "celsius": 1},
        {"at": "2001-01-01T00:00:00Z", "celsius": 1},
        {"at": at[2].to_string(), "celsius": null},
        {"at": at[2].to_string(), "celsius": 85.0},
        {"at": at[2].to_string(), "celcius": 1},
        {"at": minutes_ago(5).to_string(), "celsius": -0.0},
    ]});
    let mixed = shop.logger.post(&path("cold-room")).json(&body).send().expect(200).json();
    let expected = "accepted 2, contradicting 2, sensor_fault 2, in_future 1, too_old 1, unreadable 1, late 1";
    assert_eq!(told(&mixed), expected);
    let listed: Vec<(u64, &str)> = mixed["listed"]
        .as_array()
        .unwrap()
        .iter()
        .map(|l| (l["line"].as_u64().unwrap(), l["outcome"].as_str().unwrap()))
        .collect();
    let expected = [
        (2, "contradicting"),
        (3, "contradicting"),
        (4, "in_future"),
        (5, "too_old"),
        (6, "sensor_fault"),
        (7, "sensor_fault"),
        (8, "unreadable"),
    ];
    assert_eq!(listed, expected);
    // The warmer counts: 1.6 over 1.5, and 1.0 over 33 °F.
    let temperatures: Vec<i64> = stored(shop, "cold-room").into_iter().rev().map(|(_, milli)| milli).collect();
    assert_eq!(temperatures, [1_000, 1_600, 1_700, 2_000, 0]);
}

/// The shop of these tests is nine hours ahead of UTC.
fn exports_are_local_to_the_shop(shop: &Shop) {
    let local = |at: Instant| at.plus_micros(9 * MICROS_PER_HOUR).to_chrono().format("%d.%m.%Y;%H:%M").to_string();
    let (one, other) = (minutes_ago(600), minutes_ago(590));
    let file = format!("Nr.;Datum;Uhrzeit;Temperatur (\u{b0}C)\r\n1;{};0,5\r\n2;{};-0,5\r\n", local(one), local(other));
    let latin_1: Vec<u8> = file.chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect();
    let answer =
        shop.logger.post(&path("show-case")).bytes("text/csv; charset=iso-8859-1", &latin_1).send().expect(200);
    assert_eq!(told(&answer.json()), "accepted 2");
    let expected = vec![(other.to_string(), -500), (one.to_string(), 500)];
    assert_eq!(stored(shop, "show-case"), expected);
    // Said otherwise, the same wall times are other instants, nine hours on and in the future.
    let answer = shop.manager.post(&format!("{}?zone=UTC", path("show-case"))).bytes("text/csv", &latin_1).send();
    let expected =
        if minutes_ago(590).plus_micros(9 * MICROS_PER_HOUR) > clock::now() { "in_future 2" } else { "accepted 2" };
    assert_eq!(told(&answer.expect(200).json()), expected);
}

fn what_is_said_beside_is_checked(shop: &Shop) {
    let file = format!("time,a,b\n{},1.0,41\n", minutes_ago(700));
    let ask = |query: &str, kind: &str, body: &str| {
        shop.logger.post(&format!("{}?{query}", path("bench"))).bytes(kind, body.as_bytes()).send()
    };
    for (query, field) in [
        ("unit=k", "unit"),
        ("unit=", "unit"),
        ("zone=Mars%2FOlympus", "zone"),
        ("zone=", "zone"),
        ("date_order=ymd", "date_order"),
        ("column=", "column"),
        ("column=0", "column"),
        ("column=257", "column"),
        (&format!("column={}", "x".repeat(81)), "column"),
        ("column=c", "column"),
    ] {
        let problem = ask(query, "text/csv", &file).expect(422).json();
        assert_eq!(problem["errors"][0]["field"], field, "{query}");
    }
    for query in ["unit=c&unit=f", "units=c", "column=%FF%FE"] {
        assert_eq!(
            ask(query, "text/csv", &file).status,
            if query.starts_with("column") { 422 } else { 400 },
            "{query}"
        );
    }
    let problem = ask("unit=f", "application/json", r#"{"readings":[]}"#).expect(422).json();
    assert_eq!(problem["errors"][0]["field"], "unit");
    assert_eq!(told(&ask("column=b&unit=f", "text/csv", &file).expect(200).json()), "accepted 1");
    assert_eq!(stored(shop, "bench")[0].1, 5_000);
}

/// Broken readings in JSON, each alone in a stream between two good ones and in a list between them.
#[rustfmt::skip]
const JSON: &[(&str, &str)] = &[
    (r#"{"at":"AT","celsius":1}"#, "accepted 3"),
    (r#"{"celsius":"1,25","at":"AT"}"#, "accepted 3"),
    (r#"{"at":"AT","fahrenheit":"34.7"}"#, "accepted 3"),
    (r#"{"at":"AT","celsius":"1.2 °C"}"#, "accepted 3"),
    (r#"{"at":"AT","celsius":1e0}"#, "accepted 3"),
    (r#"{"at":"AT","celsius":""}"#, "accepted 2, sensor_fault 1"),
    (r#"{"at":"AT","celsius":"ERR"}"#, "accepted 2, sensor_fault 1"),
    (r#"{"at":"AT","celsius":null}"#, "accepted 2, sensor_fault 1"),
    (r#"{"at":"AT","celsius":-127}"#, "accepted 2, sensor_fault 1"),
    (r#"{"at":"AT","fahrenheit":185}"#, "accepted 2, sensor_fault 1"),
    (r#"{"at":"AT","celsius":1e300}"#, "accepted 2, sensor_fault 1"),
    (r#"{"at":"AT"}"#, "accepted 2, unreadable 1"),
    (r#"{"celsius":1}"#, "accepted 2, unreadable 1"),
    (r#"{"at":"AT","celsius":1,"fahrenheit":33.8}"#, "accepted 2, unreadable 1"),
    (r#"{"at":"AT","celsius":1,"humidity":80}"#, "accepted 2, unreadable 1"),
    (r#"{"at":"AT","celsius":true}"#, "accepted 2, unreadable 1"),
    (r#"{"at":"AT","celsius":[1]}"#, "accepted 2, unreadable 1"),
    (r#"{"at":"AT","celsius":{"value":1}}"#, "accepted 2, unreadable 1"),
    (r#"{"at":"AT","celsius":"warm"}"#, "accepted 2, unreadable 1"),
    (r#"{"at":1795593600,"celsius":1}"#, "accepted 2, unreadable 1"),
    (r#"{"at":"2026-11-25 08:00","celsius":1}"#, "accepted 2, unreadable 1"),
    (r#"{"at":"2026-11-25T08:00:00","celsius":1}"#, "accepted 2, unreadable 1"),
    (r#"{"at":"","celsius":1}"#, "accepted 2, unreadable 1"),
    (r#"{"at":null,"celsius":1}"#, "accepted 2, unreadable 1"),
    (r#""AT""#, "accepted 2, unreadable 1"),
    ("{}", "accepted 2, unreadable 1"),
    ("null", "accepted 2, unreadable 1"),
    ("7", "accepted 2, unreadable 1"),
];

/// What only a stream can hold without being malformed as a whole.
#[rustfmt::skip]
const LINES: &[(&str, &str)] = &[
    (r#"["AT",1]"#, "accepted 2, unreadable 1"),
    (r#"{"at":"AT","celsius":1"#, "accepted 2, unreadable 1"),
    (r#"{"at":"AT","celsius":01}"#, "accepted 2, unreadable 1"),
    (r#"{"at":"AT","celsius":NaN}"#, "accepted 2, unreadable 1"),
    (r#"{"at":"AT","celsius":1}{"at":"AT","celsius":1}"#, "accepted 2, unreadable 1"),
    (r#"{"at":"AT","celsius":1,"celsius":2}"#, "accepted 2, unreadable 1"),
    ("{'at':'AT','celsius':1}", "accepted 2, unreadable 1"),
    ("at,celsius", "accepted 2, unreadable 1"),
    ("\u{0}", "accepted 2, unreadable 1"),
    ("   ", "accepted 2"),
    ("", "accepted 2"),
];

fn json_lines_that_are_none(shop: &Shop) {
    // A place of its own would need forty places: each row has minutes of its own.
    let mut minute = 1_000;
    let mut next = || {
        minute += 1;
        minutes_ago(minute).to_string()
    };
    let mut row = |line: &str, expected: &str, kinds: &[&str]| {
        for kind in kinds {
            let [one, at, other] = [next(), next(), next()];
            let good = |at: &str| json!({"at": at, "celsius": 1}).to_string();
            let lines = [good(&one), line.replace("AT", &at), good(&other)];
            let body = if *kind == "application/json" {
                format!("{{\"readings\":[{}]}}", lines.join(","))
            } else {
                format!("\u{feff}{}\r\n", lines.join("\n"))
            };
            let taken = post(shop, "freezer", kind, &body).expect(200).json();
            let found = told(&taken).replace(", late 2", "").replace(", late 3", "");
            assert_eq!(found, expected, "{kind} {line}: {taken}");
        }
    };
    for (line, expected) in JSON {
        row(line, expected, &["application/json", "application/x-ndjson"]);
    }
    for (line, expected) in LINES {
        row(line, expected, &["application/x-ndjson"]);
    }
    row(&"x".repeat(5_000), "accepted 2, unreadable 1", &["application/x-ndjson"]);
}

fn whole_bodies_are_refused(shop: &Shop) {
    let before = stored(shop, "front-case");
    let many = format!("{{\"readings\":[{}]}}", vec![r#"{"at":"2026-11-25T08:00:00Z","celsius":1}"#; 10_001].join(","));
    let spaced = format!("{{\"readings\":[]{}}}", " ".repeat(2 * 1024 * 1024));
    for (kind, body, status, code) in [
        ("application/json", "{", 400, "malformed_json"),
        ("application/json", "[]", 422, "invalid_value"),
        ("application/json", "{}", 422, "invalid_value"),
        ("application/json", r#"{"readings":{}}"#, 422, "invalid_value"),
        ("application/json", r#"{"readings":[],"more":1}"#, 422, "invalid_value"),
        ("application/json", &many, 422, "invalid_value"),
        ("application/json", &spaced, 413, "payload_too_large"),
        ("text/csv", "", 422, "unreadable_file"),
        ("text/csv", "\u{1}\0\0\0binary\0", 422, "unreadable_file"),
        ("text/csv", "time,humidity\n2026-11-25 08:00,80 %\n", 422, "unreadable_file"),
        ("text/csv", "time,temp\n03/04/2026 08:00,1.0\n", 422, "unreadable_file"),
        ("text/csv", "time,temp 1,temp 2\n2026-11-25 08:00,1.0,2.0\n", 422, "unreadable_file"),
        ("text/plain", "time,temp\n2026-11-25 08:00,1.0\n", 415, "unsupported_media_type"),
        ("application/octet-stream", "time,temp\n", 415, "unsupported_media_type"),
        ("application/x-www-form-urlencoded", "time=temp", 415, "unsupported_media_type"),
    ] {
        let problem = post(shop, "front-case", kind, body).expect(status).json();
        assert_eq!(problem["code"], code, "{kind} {}: {problem}", &body[..body.len().min(60)]);
    }
    // One that says it is too large is refused before it comes.
    let mut stream = connect(shop);
    stream.write_all(head(shop, "front-case", 256 * 1024 * 1024 + 1).as_bytes()).unwrap();
    assert!(heard(&mut stream).starts_with("HTTP/1.1 413 "));
    assert_eq!(stored(shop, "front-case"), before);
    post(shop, "nowhere", "text/csv", "time,temp\n2026-11-25 08:00,1.0\n").expect(404);
    shop.reader.get(&path("nowhere")).send().expect(404);
    shop.logger.get(&path("front-case")).send().expect(403);
    shop.till.post(&path("front-case")).bytes("text/csv", b"time,temp\n").send().expect(403);
    // Nothing but blank lines is an empty stream, and no mistake.
    assert_eq!(told(&post(shop, "front-case", "application/x-ndjson", "\n\n").expect(200).json()), "");
}

fn pages_go_back_in_time(shop: &Shop) {
    let all = stored(shop, "cold-room");
    let mut next = Some(format!("{}?limit=2", path("cold-room")));
    let mut found = Vec::new();
    while let Some(address) = next {
        let page = shop.counter.get(&address).send().expect(200);
        let entries = page.json();
        found.extend(entries.as_array().unwrap().iter().map(|e| e["at"].as_str().unwrap().to_owned()));
        next = page.header("link").map(|link| link.trim_start_matches('<').split_once('>').unwrap().0.to_owned());
    }
    assert_eq!(found, all.iter().map(|(at, _)| at.clone()).collect::<Vec<_>>());
    let between = format!("{}?from={}&to={}", path("cold-room"), all[3].0, all[1].0);
    let inside = shop.counter.get(&between).send().expect(200).json();
    assert_eq!(inside.as_array().unwrap().len(), 3, "both ends are included");
    for query in ["limit=0", "limit=10001", "from=yesterday", "to=2026-11-25", "from=2026-11-25T08:00:00"] {
        shop.counter.get(&format!("{}?{query}", path("cold-room"))).send().expect(422);
    }
    for query in ["cursor=1", "before=1"] {
        shop.counter.get(&format!("{}?{query}", path("cold-room"))).send().expect(400);
    }
}

/// Lines a second apart, the newest first when `backwards`.
fn long_file(count: i64) -> String {
    let first = minutes_ago(20_000);
    let mut text = "time;temperature\n".to_owned();
    for n in 0..count {
        let at = first.plus_micros(n * MICROS_PER_SECOND);
        let milli = n % 3_000;
        text += &format!("{at};{}.{:03}\n", milli / 1_000, milli % 1_000);
    }
    text
}

fn connect(shop: &Shop) -> TcpStream {
    let base = shop.server.url("");
    let stream = TcpStream::connect(base.trim_start_matches("http://")).expect("the server");
    stream.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
    stream
}

fn head(shop: &Shop, place: &str, length: usize) -> String {
    let (key, _) = crate::setting::new_key(&shop.owner, "another logger", "logger");
    format!(
        "POST {} HTTP/1.1\r\nHost: shop\r\nAuthorization: Bearer {key}\r\nContent-Type: text/csv\r\nContent-Length: {length}\r\n\r\n",
        path(place)
    )
}

/// The beginning of an answer.
fn heard(stream: &mut TcpStream) -> String {
    let mut heard = [0; 4_096];
    let count = stream.read(&mut heard).expect("an answer");
    String::from_utf8_lossy(&heard[..count]).into_owned()
}

fn a_body_that_breaks_off_leaves_what_was_taken(shop: &Shop) {
    let file = long_file(12_000);
    {
        let mut stream = connect(shop);
        stream.write_all(head(shop, "front-case", file.len()).as_bytes()).unwrap();
        stream.write_all(&file.as_bytes()[..file.len() * 3 / 4]).unwrap();
        let begun = Stopwatch::now();
        while stored(shop, "front-case").len() < 5_000 {
            assert!(begun.elapsed() < Duration::from_secs(30), "nothing was taken");
            std::thread::sleep(Duration::from_millis(50));
        }
    }
    let kept = stored(shop, "front-case").len();
    assert_eq!(kept % 5_000, 0, "whole transactions");
    let taken = csv(shop, "front-case", &file);
    let count = |outcome: &str| usize::try_from(taken[outcome].as_u64().unwrap()).unwrap();
    assert_eq!((count("accepted") + count("repeated"), count("lines")), (12_000, 12_000));
    assert!(count("repeated") >= kept, "{}", told(&taken));
    assert_eq!((taken["listed"].as_array().unwrap().len(), count("not_listed")), (200, count("repeated") - 200));
    assert_eq!(told(&csv(shop, "front-case", &file)), "repeated 12000");
}

/// Kibibytes of the server's memory.
fn memory(shop: &Shop, field: &str) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{}/status", shop.server.process_id()))
        .expect("Linux tells of a process");
    let line = status.lines().find_map(|line| line.strip_prefix(field)).expect("the field is there");
    line.trim().trim_end_matches("kB").trim().parse().expect("a number of KiB")
}

fn a_large_file_takes_little_memory(shop: &Shop) {
    const LINES: i64 = 200_000;
    let file = long_file(LINES);
    // Forgets the peak of what was done before (proc(5), clear_refs).
    std::fs::write(format!("/proc/{}/clear_refs", shop.server.process_id()), "5").expect("a process of ours");
    let before = memory(shop, "VmRSS:");
    let begun = Stopwatch::now();
    let taken = csv(shop, "freezer", &file);
    let (took, after) = (begun.elapsed(), memory(shop, "VmHWM:"));
    assert_eq!(taken["lines"], LINES);
    let grown = after.saturating_sub(before);
    println!("{LINES} lines, {} bytes in {took:?}: the server's memory grew by {grown} KiB to {after} KiB", file.len());
    assert!(grown < 40 * 1024, "{grown} KiB");
    let again = csv(shop, "freezer", &file);
    assert_eq!(again["repeated"], LINES);
}

fn a_body_that_stands_still_is_given_up(shop: &Shop) {
    let mut stream = connect(shop);
    stream.write_all(head(shop, "show-case", 1_000).as_bytes()).unwrap();
    stream.write_all(b"time,temp\n").unwrap();
    // Slow, but not still.
    std::thread::sleep(Duration::from_secs(5));
    stream.write_all(b"2026-11-25 08:00").unwrap();
    let begun = Stopwatch::now();
    let heard = heard(&mut stream);
    // What it lets the server wait counts together, with a second for each kibibyte.
    assert!((3..12).contains(&begun.elapsed().as_secs()), "{:?}", begun.elapsed());
    assert!(heard.starts_with("HTTP/1.1 408 ") && heard.contains("request_timeout"), "{heard}");
}
