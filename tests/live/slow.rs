//! Clients that take nothing: a stream is dropped and a snapshot cut off, each with a client beside it that takes its time and gets all.

use crate::PATIENCE;
use crate::listener::Listener;
use crate::setting::{new_key, sign_in};
use crate::support::server::Server;
use diesel::connection::SimpleConnection;
use diesel::{Connection, SqliteConnection};
use sakudana::ops::desk::Desk;
use sakudana::store::StoreOptions;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

const ROWS: usize = 40_000;

/// A shop with a long past and a full shelf, written past the program while nobody else has the database open; more than the buffers of
/// two sockets hold.
fn full_shop(directory: &std::path::Path, following: &str) -> (Server, String) {
    let file = directory.join("shop.db").display().to_string();
    drop(Desk::open(&StoreOptions { database: file.clone(), readers: 1 }, crate::ground::shop()).unwrap());
    let mut witness = SqliteConnection::establish(&file).unwrap();
    let offer = "'{\"tray_code\":\"T' || n || '\",\"cut_code\":\"saku\",\"cut_name\":\"Saku\",\"place_code\":\"case\",\"net_weight_g\":250,\"verdict\":\"sell\",\"filler\":\"' || hex(zeroblob(150)) || '\"}'";
    let numbers =
        format!("WITH RECURSIVE counting (n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM counting WHERE n < {ROWS})");
    witness
        .batch_execute(&format!(
            "PRAGMA foreign_keys = OFF; BEGIN; \
             {numbers} INSERT INTO changes (kind, at, tray_code, offer) SELECT 'time_passed', n, 'T' || n, {offer} FROM counting; \
             {numbers} INSERT INTO shelf (tray_id, tray_code, cut_code, place_code, sellable_g, offer) SELECT n, 'T' || n, 'saku', 'case', 250, {offer} FROM counting; \
             COMMIT"
        ))
        .unwrap();
    drop(witness);
    let settings = directory.join("shop.toml");
    std::fs::write(&settings, format!("[following]\n{following}\n")).unwrap();
    let server = Server::start_with(&["--settings", settings.to_str().unwrap()], &file, None);
    let owner = sign_in(&server.client(), &server.owner().name, &server.owner().password);
    let key = new_key(&owner, "till", "till").0;
    (server, key)
}

/// A request on a connection with little room for what comes back.
fn ask(server: &Server, path: &str, key: &str) -> TcpStream {
    let url = server.url("");
    let address = url.strip_prefix("http://").unwrap().trim_end_matches('/').to_owned();
    let mut connection = TcpStream::connect(&address).unwrap();
    socket2::SockRef::from(&connection).set_recv_buffer_size(8_192).unwrap();
    write!(connection, "GET {path} HTTP/1.1\r\nHost: {address}\r\nAuthorization: Bearer {key}\r\n\r\n").unwrap();
    connection
}

/// The cursor before everything, as the changes write it.
fn beginning(server: &Server, key: &str) -> String {
    let first = server.client().with_key(key).get("/v1/changes?limit=1").send().expect(200).json();
    first["changes"][0]["cursor"].as_str().unwrap().to_owned()
}

#[test]
fn a_listener_that_takes_nothing_is_dropped() {
    let directory = tempfile::tempdir().unwrap();
    let (server, key) = full_shop(directory.path(), "streams_per_client = 1\nstalled_seconds = 2");
    let from = beginning(&server, &key);
    let url = server.url(&format!("/v1/events?after={from}"));
    let stalled = ask(&server, &format!("/v1/events?after={from}"), &key);
    // It has the only place, until it is dropped.
    let begun = Instant::now();
    let mut refused = 0;
    let mut listener = loop {
        match Listener::open(&url, &key, &[]) {
            Ok(listener) if refused > 0 => break listener,
            // It came before the other one.
            Ok(early) => drop(early),
            Err(status) => {
                assert_eq!(status, 429);
                refused += 1;
            }
        }
        assert!(begun.elapsed() < PATIENCE, "the place is never given back: {}", server.log());
        std::thread::sleep(Duration::from_millis(100));
    };
    // The control: one that reads, though with pauses, is told everything.
    for number in 2..=ROWS {
        let change = listener.change(|_| true);
        assert_eq!(change["tray_code"], format!("T{number}"));
        if number % 10_000 == 0 {
            std::thread::sleep(Duration::from_millis(600));
        }
    }
    drop(stalled);
}

#[test]
fn a_snapshot_that_is_not_taken_is_cut_off() {
    let directory = tempfile::tempdir().unwrap();
    let (server, key) = full_shop(directory.path(), "snapshot_seconds = 3");
    let mut slow = ask(&server, "/v1/live-stock", &key);
    let begun = Instant::now();
    while !server.log().contains("took too long over a large answer") {
        assert!(begun.elapsed() < PATIENCE, "it is not cut off: {}", server.log());
        std::thread::sleep(Duration::from_millis(100));
    }
    let mut heard = Vec::new();
    // The connection may be ended by the server or by the system.
    let _ = slow.read_to_end(&mut heard);
    assert!(!heard.ends_with(b"0\r\n\r\n"), "a part does not look like the whole");
    // The control: one that takes it gets all of it.
    let whole = server.client().with_key(&key).get("/v1/live-stock").send().expect(200).json();
    assert_eq!(
        (whole["trays"].as_array().unwrap().len(), &whole["cuts"][0]["trays"]),
        (ROWS, &serde_json::json!(ROWS))
    );
}

#[test]
fn one_client_cannot_take_all_the_snapshots() {
    let directory = tempfile::tempdir().unwrap();
    let (server, key) = full_shop(directory.path(), "snapshot_seconds = 50");
    let owner = sign_in(&server.client(), &server.owner().name, &server.owner().password);
    let other = new_key(&owner, "other", "till").0;
    // One is being told, and takes nothing; the others wait for it and are told to come again.
    let mut first = ask(&server, "/v1/live-stock", &key);
    first.read_exact(&mut [0]).unwrap();
    let more: Vec<TcpStream> = (0..6).map(|_| ask(&server, "/v1/live-stock", &key)).collect();
    let refused = server.client().with_key(&key).get("/v1/live-stock").send().expect(503);
    assert_eq!(refused.json()["code"], "busy", "{}", refused.text());
    assert!(refused.header("retry-after").is_some());
    // The control: another till is told all of it meanwhile.
    let whole = server.client().with_key(&other).get("/v1/live-stock").send().expect(200).json();
    assert_eq!(whole["trays"].as_array().unwrap().len(), ROWS);
    // Whoever goes gives the seat back.
    drop((first, more));
    let begun = Instant::now();
    while server.client().with_key(&key).get("/v1/live-stock").send().status != 200 {
        assert!(begun.elapsed() < PATIENCE, "the seat is never given back: {}", server.log());
    }
}
