//! What every answer carries, whatever it answers, and how long the server waits for a body that does not come.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use serde_json::json;

use crate::setting::{Shop, fresh_key};
use crate::support::http::Answer;

pub fn stands(shop: &Shop) {
    every_answer_is_guarded(shop);
    a_trickling_body_is_cut(shop);
    the_log_tells_no_secret(shop);
}

fn every_answer_is_guarded(shop: &Shop) {
    let paths = [
        "/livez",
        "/readyz",
        "/problems",
        "/v1/openapi.json",
        "/docs/",
        "/",
        "/no/such/page",
        "/v1/no-such",
        "/v1/trays",
    ];
    let mut answers: Vec<(&str, Answer)> = paths.iter().map(|path| (*path, shop.anonymous.get(path).send())).collect();
    for path in ["/v1/trays", "/v1/trays/CCCCCCC", "/v1/lots?limit=0", "/v1/cuts/lean-saku", "/v1/keys"] {
        answers.push((path, shop.reader.get(path).send()));
    }
    answers.push(("/v1/trays", shop.reader.delete("/v1/trays").send()));
    answers.push(("/v1/scans", shop.till.post("/v1/scans").bytes("application/json", b"{").send()));
    answers.push(("/v1/sales", shop.till.post("/v1/sales").idempotency_key(&fresh_key()).json(&json!({})).send()));
    for (path, answer) in answers {
        assert_eq!(answer.header("x-content-type-options"), Some("nosniff"), "{path}");
        let policy = answer.header("content-security-policy").unwrap_or_default();
        assert!(policy.starts_with("default-src 'none'; script-src 'self'"), "{path}: {policy}");
        assert!(policy.contains("frame-ancestors 'none'"), "{path}: {policy}");
        assert_eq!(policy.contains("unsafe-inline"), path.starts_with("/docs"), "{path}");
        assert_eq!(answer.header("referrer-policy"), Some("same-origin"), "{path}");
        assert_eq!(answer.header("access-control-allow-origin"), None, "{path}");
        if path.starts_with("/v1/") && path != "/v1/openapi.json" {
            assert_eq!(answer.header("cache-control"), Some("no-store"), "{path}");
        }
    }
}

/// A body of a hundred bytes, one each half second: the server gives up after ten seconds, well before the fifty it would take.
fn a_trickling_body_is_cut(shop: &Shop) {
    let base = shop.server.url("");
    let mut stream = TcpStream::connect(base.trim_start_matches("http://")).expect("the server");
    stream.set_read_timeout(Some(Duration::from_millis(500))).unwrap();
    let head =
        "POST /v1/sign-in HTTP/1.1\r\nHost: shop\r\nContent-Type: application/json\r\nContent-Length: 100\r\n\r\n{";
    stream.write_all(head.as_bytes()).unwrap();
    let begun = Instant::now();
    let mut heard = Vec::new();
    let mut piece = [0; 4096];
    while heard.is_empty() && begun.elapsed() < Duration::from_secs(30) {
        match stream.read(&mut piece) {
            Ok(0) => break,
            Ok(count) => heard.extend_from_slice(&piece[..count]),
            Err(_) => {
                let _ = stream.write_all(b" ");
            }
        }
    }
    let waited = begun.elapsed();
    assert!((9..16).contains(&waited.as_secs()), "{waited:?}");
    let heard = String::from_utf8_lossy(&heard);
    assert!(heard.starts_with("HTTP/1.1 408 ") && heard.contains("request_timeout"), "{heard}");
}

fn the_log_tells_no_secret(shop: &Shop) {
    let secret = "a secret that nobody may log";
    let body = json!({"name": "someone", "password": secret});
    shop.anonymous.post("/v1/sign-in").json(&body).send().expect(401);
    shop.anonymous.with_key("sdt_shown-by-mistake").get("/v1/trays?cut=hidden-word").send().expect(401);
    let log = shop.server.log();
    assert!(log.contains("/v1/sign-in"), "the log has a line a request");
    for hidden in [secret, "shown-by-mistake", "hidden-word"] {
        assert!(!log.contains(hidden), "{hidden} is in the log");
    }
}
