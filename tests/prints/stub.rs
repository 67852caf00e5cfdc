//! Printers that do what a real one does too seldom: answer rubbish, answer late, hang up. One connection at a time, over plain TCP.

#![allow(dead_code, reason = "two test programs share this file and each uses part of it")]

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::Duration;

use ipp::attribute::IppAttribute;
use ipp::model::{DelimiterTag, IppVersion, StatusCode};
use ipp::parser::IppParser;
use ipp::request::IppRequestResponse;
use ipp::value::IppValue;

/// The number of the operation.
pub const PRINT_JOB: u16 = 0x0002;

/// What a stub does with a request once it has all of it. None hangs up without a word.
pub type Reply = Box<dyn Fn(&Request) -> Option<Vec<u8>> + Send>;

/// An IPP request as a stub received it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Request {
    pub operation: u16,
    pub id: i32,
    pub job_name: Option<String>,
    /// Bytes after the attributes.
    pub document: usize,
}

/// A stub that listens until the test ends.
pub struct Stub {
    pub uri: String,
    requests: Arc<Mutex<Vec<Request>>>,
}

impl Stub {
    pub fn start(reply: Reply) -> Stub {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let uri = format!("ipp://127.0.0.1:{}/ipp/print", listener.local_addr().unwrap().port());
        let requests = Arc::new(Mutex::new(Vec::new()));
        let stub = Stub { uri, requests: Arc::clone(&requests) };
        thread::spawn(move || {
            for mut stream in listener.incoming().map_while(Result::ok) {
                let Some(request) = read_request(&mut stream) else { continue };
                requests.lock().unwrap().push(request.clone());
                if let Some(bytes) = reply(&request) {
                    let _ = stream.write_all(&bytes);
                }
            }
        });
        stub
    }

    /// A printer that says it is ready, takes every document, and hangs up over it.
    pub fn that_hangs_up() -> Stub {
        Stub::start(Box::new(|request| if request.operation == PRINT_JOB { None } else { Some(ready(request)) }))
    }

    pub fn requests(&self) -> Vec<Request> {
        self.requests.lock().unwrap().clone()
    }
}

/// Reads one HTTP request with its length said.
fn read_request(stream: &mut TcpStream) -> Option<Request> {
    stream.set_read_timeout(Some(Duration::from_secs(10))).unwrap();
    let mut got = Vec::new();
    let mut buffer = [0; 65_536];
    loop {
        if let Some(end) = got.windows(4).position(|w| w == b"\r\n\r\n") {
            let head = String::from_utf8_lossy(&got[..end]).to_lowercase();
            let length = head.lines().find_map(|line| line.strip_prefix("content-length: ")).expect("a length");
            let length: usize = length.trim().parse().unwrap();
            assert!(head.starts_with("post /ipp/print ") && head.contains("content-type: application/ipp"), "{head}");
            let body_at = end + 4;
            if got.len() == body_at + length {
                return Some(understood(&got[body_at..]));
            }
        }
        match stream.read(&mut buffer) {
            Ok(0) | Err(_) => return None,
            Ok(count) => got.extend_from_slice(&buffer[..count]),
        }
    }
}

fn understood(body: &[u8]) -> Request {
    let request = IppParser::new(std::io::Cursor::new(body.to_vec())).parse().expect("an IPP request");
    let (operation, id) = (request.header().operation_or_status, request.header().request_id);
    let attributes = request.attributes().groups().iter().flat_map(|group| group.attributes());
    let job_name = attributes
        .filter(|attribute| attribute.name().as_str() == "job-name")
        .map(|attribute| attribute.value().to_string())
        .next();
    let mut document = Vec::new();
    request.into_payload().read_to_end(&mut document).unwrap();
    Request { operation: u16::try_from(operation).unwrap(), id, job_name, document: document.len() }
}

pub fn http(status: &str, content_type: &str, body: &[u8]) -> Vec<u8> {
    let head = format!(
        "HTTP/1.1 {status}\r\nContent-Type: {content_type}\r\nContent-Length: {}\r\nConnection: close\r\n\r\n",
        body.len()
    );
    [head.as_bytes(), body].concat()
}

/// An IPP answer with this status and these attributes of the job.
pub fn answer(id: i32, status: u16, group: DelimiterTag, attributes: Vec<(&str, IppValue)>) -> Vec<u8> {
    let mut response = IppRequestResponse::new_response(IppVersion::v1_1(), StatusCode::SuccessfulOk, id).unwrap();
    response.header_mut().operation_or_status = i16::from_ne_bytes(status.to_ne_bytes());
    for (name, value) in attributes {
        response.attributes_mut().add(group, IppAttribute::with_name(name, value).unwrap());
    }
    http("200 OK", "application/ipp", &response.to_bytes())
}

/// A printer that says it is ready for everything we send.
pub fn ready(request: &Request) -> Vec<u8> {
    let keyword = |word: &str| IppValue::Keyword(word.try_into().unwrap());
    let attributes = vec![
        ("printer-state", IppValue::Enum(3)),
        ("printer-state-reasons", keyword("none")),
        ("printer-is-accepting-jobs", IppValue::Boolean(true)),
        ("document-format-supported", IppValue::MimeMediaType("image/pwg-raster".try_into().unwrap())),
        ("pwg-raster-document-type-supported", keyword("black_1")),
        ("pwg-raster-document-resolution-supported", IppValue::Resolution { cross_feed: 203, feed: 203, units: 3 }),
        ("media-supported", keyword("om_label_62x40mm")),
    ];
    answer(request.id, 0, DelimiterTag::PrinterAttributes, attributes)
}
