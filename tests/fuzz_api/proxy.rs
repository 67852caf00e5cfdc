//! A proxy that passes every request on and, where it is told to, breaks one promise of the answer. One request a connection.

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::thread;

/// A promise that is broken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// Status 500.
    Defect,
    /// A status that is not in the document.
    OtherStatus,
    /// JSON of another shape.
    OtherSchema,
    /// The right words under the wrong content type.
    OtherType,
    /// No ETag.
    NoVersion,
    /// A 405 without `Allow`.
    NoAllow,
    /// What is wrong is taken as if it were right.
    TakesAll,
    /// No answer at all.
    HangsUp,
}

/// Listens until the test ends.
pub struct Proxy {
    pub base: String,
}

impl Proxy {
    /// Breaks the answers of the addresses that begin like this.
    pub fn before(server: &str, faults: Vec<(&'static str, Fault)>) -> Proxy {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let base = format!("http://{}", listener.local_addr().unwrap());
        let server = server.trim_start_matches("http://").to_owned();
        thread::spawn(move || {
            for stream in listener.incoming().map_while(Result::ok) {
                let (server, faults) = (server.clone(), faults.clone());
                thread::spawn(move || {
                    // Whoever hangs up in the middle has had enough.
                    let _ = pass(stream, &server, &faults);
                });
            }
        });
        Proxy { base }
    }
}

fn pass(mut client: TcpStream, server: &str, faults: &[(&str, Fault)]) -> std::io::Result<()> {
    let (head, body) = message(&mut client)?;
    let mut upstream = TcpStream::connect(server)?;
    let closing: String =
        head.lines().filter(|line| !named(line, "connection")).flat_map(|line| [line, "\r\n"]).collect();
    upstream.write_all(format!("{closing}Connection: close\r\n\r\n").as_bytes())?;
    upstream.write_all(&body)?;
    let (head, body) = message(&mut upstream)?;
    let address = closing.split(' ').nth(1).unwrap_or_default();
    let answer = match faults.iter().find(|(path, _)| address.starts_with(path)) {
        None => Some((head, body)),
        Some((_, fault)) => broken(*fault, head, body),
    };
    if let Some((head, body)) = answer {
        let head: String = head
            .lines()
            .filter(|line| !["connection", "content-length", "transfer-encoding"].iter().any(|name| named(line, name)))
            .flat_map(|line| [line, "\r\n"])
            .collect();
        client.write_all(format!("{head}Connection: close\r\nContent-Length: {}\r\n\r\n", body.len()).as_bytes())?;
        client.write_all(&body)?;
    }
    Ok(())
}

fn named(line: &str, name: &str) -> bool {
    line.split(':').next().is_some_and(|found| found.eq_ignore_ascii_case(name))
}

fn broken(fault: Fault, head: String, body: Vec<u8>) -> Option<(String, Vec<u8>)> {
    let status = head.split(' ').nth(1).unwrap_or_default().to_owned();
    let with_status = |other: &str| head.replacen(&status, other, 1);
    let without = |name: &str| head.lines().filter(|line| !named(line, name)).collect::<Vec<_>>().join("\r\n");
    Some(match fault {
        Fault::Defect => (with_status("500"), body),
        Fault::OtherStatus if status == "200" => (with_status("202"), body),
        Fault::OtherSchema if status == "200" => (head, br#"{"lots":"none"}"#.to_vec()),
        Fault::OtherType if status == "200" => (head.replace("application/json", "text/plain"), body),
        Fault::NoVersion => (without("etag"), body),
        Fault::NoAllow => (without("allow"), body),
        Fault::TakesAll if matches!(status.as_str(), "400" | "422") => {
            let verdict = br#"{"scanned":"","verdict":"stop","stops":[]}"#.to_vec();
            (with_status("200").replace("problem+json", "json"), verdict)
        }
        Fault::HangsUp => return None,
        _ => (head, body),
    })
}

/// Head without its empty line, and body by its length, or until the end where it has none.
fn message(stream: &mut TcpStream) -> std::io::Result<(String, Vec<u8>)> {
    let mut bytes = Vec::new();
    let mut piece = [0; 16 * 1024];
    loop {
        if let Some(end) = bytes.windows(4).position(|four| four == b"\r\n\r\n") {
            let head = String::from_utf8_lossy(&bytes[..end]).into_owned();
            let length = head.lines().find(|line| named(line, "content-length"));
            let length = length.and_then(|line| line.split_once(':')?.1.trim().parse::<usize>().ok()).unwrap_or(0);
            // What answers a HEAD has a length and no body: the server closes.
            let have = bytes.len() - end - 4;
            if have >= length {
                return Ok((head, bytes.split_off(end + 4)));
            }
        }
        let count = stream.read(&mut piece)?;
        if count == 0 {
            let end = bytes.windows(4).position(|four| four == b"\r\n\r\n").unwrap_or(bytes.len());
            let head = String::from_utf8_lossy(&bytes[..end]).into_owned();
            return Ok((head, bytes.get(end + 4..).unwrap_or_default().to_vec()));
        }
        bytes.extend_from_slice(&piece[..count]);
    }
}
