//! The line between a till and the server is cut after every byte of a sale, and after every byte of its answer. The same key settles each.

use crate::setting::{Shop, new_key};
use crate::support::server::Kind;
use crate::till::{Till, verify};
use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::Duration;

struct Line {
    address: String,
    access: String,
    till: Till,
}

impl Line {
    fn open() -> Line {
        let till = Till::at(Shop::open(Kind::Sqlite));
        let address = till.shop.server.url("").trim_start_matches("http://").to_owned();
        let access = new_key(&till.shop.owner, "till on a bad line", "till").0;
        Line { address, access, till }
    }

    /// A whole sale of a gram, as it goes over the wire.
    fn request(&self, key: &str) -> Vec<u8> {
        let body = self.till.body(None).to_string();
        let head = format!(
            "POST /v1/sales HTTP/1.1\r\nHost: {}\r\nAuthorization: Bearer {}\r\nIdempotency-Key: {key}\r\n\
             Content-Type: application/json\r\nContent-Length: {}\r\nConnection: close\r\n\r\n",
            self.address,
            self.access,
            body.len()
        );
        (head + &body).into_bytes()
    }

    fn send(&self, bytes: &[u8]) -> TcpStream {
        let mut stream = TcpStream::connect(&self.address).unwrap();
        stream.set_nodelay(true).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
        stream.write_all(bytes).unwrap();
        stream
    }

    /// The answer to a whole request.
    fn ask(&self, key: &str) -> String {
        let mut answer = String::new();
        self.send(&self.request(key)).read_to_string(&mut answer).unwrap();
        assert!(answer.starts_with("HTTP/1.1 201 "), "{key}: {answer}");
        answer
    }
}

fn replayed(answer: &str) -> bool {
    answer.to_ascii_lowercase().contains("idempotent-replayed: true")
}

#[test]
fn a_line_cut_after_every_byte_loses_and_doubles_nothing() {
    let line = Line::open();
    let length = line.request("cut-request-00000").len();
    let mut settled = 0;
    for sent in 0..=length {
        let key = format!("cut-request-{sent:05}");
        drop(line.send(&line.request(&key)[..sent]));
        let answer = line.ask(&key);
        assert!(sent == length || !replayed(&answer), "{sent} of {length} bytes were taken for a sale");
        assert!(replayed(&line.ask(&key)), "{key}");
        settled += 1;
    }
    let answered = line.ask("cut-answer-length");
    settled += 1;
    let mut found_done = 0;
    for heard in 0..answered.len() {
        let key = format!("cut-answer-{heard:06}");
        let mut stream = line.send(&line.request(&key));
        let mut some = vec![0; heard];
        stream.read_exact(&mut some).unwrap();
        drop(stream);
        let again = line.ask(&key);
        assert!(heard == 0 || replayed(&again), "a byte of the answer was heard, and it was done anew: {key}");
        found_done += usize::from(replayed(&again));
        settled += 1;
    }
    println!("{length} bytes of a request, {} of an answer: {settled} sales settled", answered.len());
    assert!(length > 200 && found_done + 1 >= answered.len());
    assert_eq!(line.till.tub_grams(), 9_000 - settled, "each of them once");
    verify(&line.till.shop.database);
}
