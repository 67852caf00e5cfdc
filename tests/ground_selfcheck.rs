//! Proves the ground the other tests stand on, with no server of ours: databases of their own, a
//! watched process, an honest client, decoders that read and that refuse.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

mod support;

use std::process::Command;

use diesel::connection::SimpleConnection;
use diesel::{Connection, PgConnection};
use qrcode::{Color, EcLevel, QrCode};
use support::decoders::{zbar, zxing};
use support::http::Client;
use support::postgres::fresh_database;
use support::server::{OwnerSignIn, Server};

#[test]
#[should_panic(expected = "SAKUDANA_TEST_NOTHING is not set: start the tests with `bash tests/run`")]
fn a_missing_peer_is_a_failure_not_a_skip() {
    support::from_tests_run("SAKUDANA_TEST_NOTHING");
}

#[test]
fn two_tests_never_share_a_database() {
    let one = fresh_database();
    let two = fresh_database();
    let sql = "CREATE TABLE only_here (id int)";
    PgConnection::establish(one.url()).unwrap().batch_execute(sql).unwrap();
    PgConnection::establish(two.url()).unwrap().batch_execute(sql).unwrap();
}

#[test]
fn a_database_goes_with_its_guard_even_while_it_is_in_use() {
    let database = fresh_database();
    let url = database.url().to_owned();
    let mut held = PgConnection::establish(&url).unwrap();
    drop(database);
    assert!(held.batch_execute("SELECT 1").is_err());
    let error = PgConnection::establish(&url).err().unwrap();
    assert!(error.to_string().contains("does not exist"), "{error}");
}

#[test]
fn the_cluster_keeps_its_promises_to_disk() {
    let database = fresh_database();
    let mut connection = PgConnection::establish(database.url()).unwrap();
    // A durability test on a cluster without fsync would prove nothing.
    let sql = "DO $$ BEGIN ASSERT current_setting('fsync') = 'on'; \
               ASSERT current_setting('synchronous_commit') = 'on'; \
               ASSERT current_setting('server_encoding') = 'UTF8'; END $$";
    connection.batch_execute(sql).unwrap();
}

#[test]
fn a_start_is_read_and_a_stop_is_heard() {
    let mut server = Server::from_command(
        shell(
            "echo starting; echo 'owner sign-in: owner kt-93-xq'; echo loud >&2; \
             echo 'listening on http://127.0.0.1:4711'; \
             trap 'exit 7' TERM; while :; do sleep 0.05; done",
        ),
        None,
    );
    assert_eq!(server.url("/v1"), "http://127.0.0.1:4711/v1");
    let expected = OwnerSignIn { name: "owner".to_owned(), password: "kt-93-xq".to_owned() };
    assert_eq!(server.owner(), &expected);
    assert_eq!(server.stop(), Some(7));
    assert_eq!(server.stop(), Some(7));
    assert!(server.log().contains("starting"));
}

#[test]
fn a_second_start_prints_no_owner() {
    let server = Server::from_command(shell("echo 'listening on http://127.0.0.1:4711'; exec sleep 60"), None);
    assert!(!server.printed_owner());
}

#[test]
#[should_panic(expected = "no such database")]
fn a_server_that_dies_early_shows_its_last_words() {
    Server::from_command(shell("echo no such database >&2; sleep 0.2; exit 2"), None);
}

#[test]
fn a_call_sends_what_was_asked_and_an_answer_hides_nothing() {
    let client = Client::new(&echo()).with_key("k-1");
    let answer = client
        .patch("/v1/things?x=1")
        .idempotency_key("i-1")
        .if_match("\"3\"")
        .json(&serde_json::json!({"a": 1}))
        .send();
    assert_eq!(answer.status, 409);
    assert_eq!(answer.header("x-twice"), Some("yes"));
    let heard = answer.text().to_lowercase();
    for line in [
        "patch /v1/things?x=1 http/1.1\r\n",
        "authorization: bearer k-1\r\n",
        "idempotency-key: i-1\r\n",
        "if-match: \"3\"\r\n",
        "content-type: application/json\r\n",
        "content-length: 7\r\n",
        "\r\n\r\n{\"a\":1}",
    ] {
        assert!(heard.contains(line), "{line:?} is not in {heard}");
    }
}

#[test]
fn every_method_goes_out_with_and_without_a_body() {
    let client = Client::new(&echo());
    for method in ["GET", "POST", "PUT", "PATCH", "DELETE"] {
        let bare = client.call(method, "/").send();
        assert!(bare.text().starts_with(&format!("{method} / ")), "{}", bare.text());
        assert!(!bare.text().to_lowercase().contains("authorization"));
        let full = client.call(method, "/").bytes("text/csv", b"a;b\xff").send();
        assert!(full.body.ends_with(b"a;b\xff"), "{method}: {}", full.text());
    }
}

#[test]
#[should_panic(expected = "GET http://127.0.0.1:1/")]
fn no_answer_is_not_an_answer() {
    Client::new("http://127.0.0.1:1").get("/").send();
}

#[test]
fn both_decoders_read_what_is_there() {
    let text = "https://example.org/01/09506000134352/10/ABC-1/21/0042?17=261231";
    let png = qr_png(text);
    assert_eq!(zxing(&png), [text]);
    assert_eq!(zbar(&png), [text]);
}

#[test]
fn both_decoders_find_nothing_where_nothing_is() {
    let png = grey_png(&vec![255; 200 * 200], 200);
    assert!(zxing(&png).is_empty());
    assert!(zbar(&png).is_empty());
}

#[test]
#[should_panic(expected = "zxing-cpp")]
fn a_file_that_is_no_picture_is_an_error_for_zxing() {
    zxing(b"no picture");
}

#[test]
#[should_panic(expected = "zbarimg")]
fn a_file_that_is_no_picture_is_an_error_for_zbar() {
    zbar(b"no picture");
}

fn shell(script: &str) -> Command {
    let mut command = Command::new("sh");
    command.args(["-c", script]);
    command
}

/// A server that answers 409 with the request it heard as the body; gives its address.
fn echo() -> String {
    use std::io::{Read, Write};
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let address = listener.local_addr().unwrap();
    std::thread::spawn(move || {
        for mut stream in listener.incoming().flatten() {
            let mut heard = Vec::new();
            let mut piece = [0; 4096];
            while !is_whole(&heard) {
                let count = stream.read(&mut piece).unwrap();
                assert!(count > 0, "the client left early");
                heard.extend_from_slice(&piece[..count]);
            }
            let head = format!(
                "HTTP/1.1 409 Conflict\r\nX-Twice: yes\r\nX-Twice: no\r\nContent-Length: {}\r\n\
                 Connection: close\r\n\r\n",
                heard.len()
            );
            stream.write_all(head.as_bytes()).unwrap();
            stream.write_all(&heard).unwrap();
        }
    });
    format!("http://{address}")
}

fn is_whole(heard: &[u8]) -> bool {
    let Some(head) = heard.windows(4).position(|four| four == b"\r\n\r\n") else {
        return false;
    };
    let lines = String::from_utf8_lossy(&heard[..head]).to_lowercase();
    let length = lines
        .lines()
        .find_map(|line| line.strip_prefix("content-length: "))
        .map_or(0, |length| length.parse().unwrap());
    heard.len() >= head + 4 + length
}

/// Eight dots to a module and a quiet zone of four modules (ISO/IEC 18004).
fn qr_png(text: &str) -> Vec<u8> {
    const DOTS: usize = 8;
    const QUIET: usize = 4;
    let code = QrCode::with_error_correction_level(text, EcLevel::M).unwrap();
    let modules = code.width();
    let side = (modules + 2 * QUIET) * DOTS;
    let mut grey = vec![255; side * side];
    for y in 0..modules {
        for x in 0..modules {
            if code[(x, y)] == Color::Dark {
                for row in 0..DOTS {
                    let start = ((y + QUIET) * DOTS + row) * side + (x + QUIET) * DOTS;
                    grey[start..start + DOTS].fill(0);
                }
            }
        }
    }
    grey_png(&grey, side)
}

fn grey_png(grey: &[u8], width: usize) -> Vec<u8> {
    let mut file = Vec::new();
    let height = grey.len() / width;
    let mut encoder = png::Encoder::new(&mut file, width as u32, height as u32);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::Eight);
    let mut writer = encoder.write_header().unwrap();
    writer.write_image_data(grey).unwrap();
    writer.finish().unwrap();
    file
}
