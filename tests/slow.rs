//! Clients that trickle, wait for ever or do not read are ended, and the others are served meanwhile. How fast anything is, is not asked:
//! every wait here is far longer than the server's patience.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "slow/clients.rs"]
mod clients;
#[path = "slow/gap.rs"]
mod gap;
mod support;

use clients::{Ended, KINDS, connect, hold};
use std::io::{Read, Write};
use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::Duration;
use support::server::{Kind, Server};

/// Slow clients at once: `SAKUDANA_SLOW_CLIENTS` for more.
fn how_many() -> usize {
    std::env::var("SAKUDANA_SLOW_CLIENTS").ok().and_then(|text| text.parse().ok()).unwrap_or(200)
}

fn address_of(server: &Server) -> SocketAddr {
    server.url("").trim_start_matches("http://").parse().unwrap()
}

/// Sockets the server has open, as the system counts them.
fn sockets(server: &Server) -> usize {
    let handles = std::fs::read_dir(format!("/proc/{}/fd", server.process_id())).unwrap();
    let is_socket = |target: std::path::PathBuf| target.to_string_lossy().starts_with("socket:");
    handles.filter_map(|handle| std::fs::read_link(handle.ok()?.path()).ok()).filter(|t| is_socket(t.clone())).count()
}

#[test]
fn slow_clients_are_ended_while_the_others_are_served() {
    let server = Server::start(Kind::Sqlite);
    let (address, client) = (address_of(&server), server.client());
    client.get("/readyz").send().expect(200);
    let before = sockets(&server);
    let all_ended = Arc::new(AtomicBool::new(false));
    let slow: Vec<_> = (0..how_many())
        .map(|number| {
            let kind = KINDS[number % KINDS.len()];
            thread::spawn(move || (kind, hold(address, kind)))
        })
        .collect();
    let served = {
        let all_ended = Arc::clone(&all_ended);
        thread::spawn(move || {
            let mut served = 0;
            while !all_ended.load(Ordering::Relaxed) {
                client.get("/readyz").send().expect(200);
                served += 1;
                thread::sleep(Duration::from_millis(200));
            }
            served
        })
    };
    let held: Vec<_> =
        slow.into_iter().map(|one| one.join().unwrap()).filter(|(_, end)| *end == Ended::Never).collect();
    all_ended.store(true, Ordering::Relaxed);
    assert!(held.is_empty(), "the server was held by {held:?}");
    assert!(served.join().unwrap() > 10, "nobody was served beside them");
    let mut left = sockets(&server);
    for _ in 0..50 {
        if left <= before {
            break;
        }
        thread::sleep(Duration::from_millis(200));
        left = sockets(&server);
    }
    assert!(left <= before, "{left} sockets are open, {before} were");
}

/// Slow is not the same as long: whoever keeps moving is heard to the end.
#[test]
fn a_client_that_keeps_moving_is_heard_to_the_end() {
    let server = Server::start(Kind::Sqlite);
    let owner = server.owner();
    let sign_in = serde_json::json!({"name": owner.name, "password": owner.password});
    let token = server.client().post("/v1/sign-in").json(&sign_in).send().expect(200).json()["token"]
        .as_str()
        .unwrap()
        .to_owned();
    let owner = server.client().with_key(&token);
    let place = serde_json::json!({"name": "Cold room", "method": "chill", "set_point_mc": 0, "upper_limit_mc": 2_000});
    owner.put("/v1/places/cold-room").header("If-None-Match", "*").json(&place).send().expect(201);
    let mut stream = connect(address_of(&server));
    stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
    // 60 kB in twenty seconds: twice as long as a silent client has, and three times as fast as the slowest allowed.
    let line = "2026-11-20T08:00:00Z,1.5\n";
    let body = format!("time,celsius\n{}", line.repeat(60_000 / line.len()));
    let head = format!(
        "POST /v1/places/cold-room/readings HTTP/1.1\r\nhost: a\r\nauthorization: Bearer {token}\r\ncontent-type: text/csv\r\n\
         content-length: {}\r\n\r\n",
        body.len()
    );
    stream.write_all(head.as_bytes()).unwrap();
    for piece in body.as_bytes().chunks(body.len() / 100 + 1) {
        stream.write_all(piece).unwrap();
        thread::sleep(Duration::from_millis(200));
    }
    let mut answer = [0; 12];
    stream.read_exact(&mut answer).unwrap();
    let status = String::from_utf8_lossy(&answer[9..]).into_owned();
    assert!(["200", "201"].contains(&status.as_str()), "{status}");
}

#[test]
fn one_address_cannot_take_all_connections() {
    let directory = tempfile::tempdir().unwrap();
    let settings = directory.path().join("shop.toml");
    std::fs::write(&settings, "[limits]\nconnections = 20\nconnections_of_one_address = 12\n").unwrap();
    let server = Server::start_with(&["--settings", settings.to_str().unwrap()], "shop.db", None);
    let address = address_of(&server);
    let first = |mut stream: std::net::TcpStream| {
        stream.write_all(b"GET /livez HTTP/1.1\r\nhost: a\r\n\r\n").ok();
        let mut answer = [0; 12];
        stream.read_exact(&mut answer).map(|()| (answer, stream)).ok()
    };
    let kept: Vec<_> = (0..12).filter_map(|_| first(connect(address))).collect();
    assert!(kept.len() == 12 && kept.iter().all(|(answer, _)| answer == b"HTTP/1.1 200"));
    // The answer may be lost with the connection; it is never a yes.
    assert!(first(connect(address)).is_none_or(|(answer, _)| &answer == b"HTTP/1.1 503"));
    let other = clients::connect_from("127.0.0.9:0".parse().unwrap(), address);
    assert_eq!(first(other).map(|(answer, _)| answer), Some(*b"HTTP/1.1 200"), "another address has its own");
    drop(kept);
    server.client().get("/livez").send().expect(200);
}
