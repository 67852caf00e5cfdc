//! One IPP request and its answer over HTTP (RFC 8010). Its point is to say, when something breaks, whether the printer can have heard.

use super::attributes::Answer;
use ipp::parser::IppParser;
use ipp::request::IppRequestResponse;
use std::io::{Cursor, Read};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicI32, Ordering};
use std::time::Duration;
use ureq::http::Uri;
use ureq::{Agent, SendBody};

/// An answer larger than this is none of a printer's.
const LARGEST_ANSWER: u64 = 4 * 1024 * 1024;

/// Why there is no answer that can be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Broken {
    /// Not a byte of the request was taken: nothing can have been done.
    NothingSent(String),
    /// The request went out, all or part of it: it may have been done or not.
    Unclear(String),
}

/// The way to one printer.
pub struct Wire {
    agent: Agent,
    address: String,
    next_id: AtomicI32,
}

impl Wire {
    /// `uri` is an `ipp://` address; it becomes the HTTP address of RFC 8010, section 4: port 631 unless it says another.
    pub fn to(uri: &Uri, limit: Duration) -> Wire {
        let host = uri.host().unwrap_or_default();
        let port = uri.port_u16().unwrap_or(631);
        let agent = Agent::config_builder()
            .http_status_as_error(false)
            // A printer that sends us elsewhere has not taken the job, and what goes to it goes through nobody else.
            .max_redirects(0)
            .max_redirects_will_error(false)
            .proxy(None)
            .max_idle_connections(0)
            .timeout_connect(Some(limit))
            .timeout_global(Some(limit))
            .build()
            .into();
        Wire { agent, address: format!("http://{host}:{port}{}", uri.path()), next_id: AtomicI32::new(1) }
    }

    /// Sends a request, with its document if it has one, and reads the answer.
    pub fn ask(&self, mut request: IppRequestResponse, document: &[u8]) -> Result<Answer, Broken> {
        let id = self.next_id.fetch_add(1, Ordering::Relaxed).max(1);
        request.header_mut().request_id = id;
        let mut bytes = request.to_bytes().to_vec();
        bytes.extend_from_slice(document);
        let (status, body) = self.post(bytes)?;
        if status != 200 {
            return Err(http_refusal(status));
        }
        let parsed = IppParser::new(Cursor::new(body)).parse();
        let answer = parsed.map_err(|e| Broken::Unclear(format!("the printer's answer cannot be read: {e}")))?;
        let answered = answer.header().request_id;
        if answered != id {
            return Err(Broken::Unclear(format!("the printer answered request {answered}, not {id}")));
        }
        Ok(Answer::of(answer))
    }

    fn post(&self, bytes: Vec<u8>) -> Result<(u16, Vec<u8>), Broken> {
        let taken = Arc::new(AtomicBool::new(false));
        let length = bytes.len();
        let body = Noticed { bytes: Cursor::new(bytes), taken: Arc::clone(&taken) };
        let broken = |error: ureq::Error| {
            if taken.load(Ordering::SeqCst) {
                Broken::Unclear(format!("the connection broke: {error}"))
            } else {
                Broken::NothingSent(error.to_string())
            }
        };
        let sent = self
            .agent
            .post(&self.address)
            .header("Content-Type", "application/ipp")
            .header("Content-Length", length.to_string())
            .send(SendBody::from_owned_reader(body));
        let mut response = sent.map_err(broken)?;
        let read = response.body_mut().with_config().limit(LARGEST_ANSWER).read_to_vec();
        Ok((response.status().as_u16(), read.map_err(broken)?))
    }
}

/// What an HTTP status other than 200 says of the request. These refuse before they do anything (RFC 9110, section 15.5); of all others
/// nobody knows.
fn http_refusal(status: u16) -> Broken {
    let words = format!("the printer answered HTTP {status}");
    match status {
        401 | 403 | 404 | 405 | 411 | 413 | 415 | 421 | 426 => Broken::NothingSent(words),
        _ => Broken::Unclear(words),
    }
}

/// A body that remembers whether anything of it was taken.
struct Noticed {
    bytes: Cursor<Vec<u8>>,
    taken: Arc<AtomicBool>,
}

impl Read for Noticed {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        self.taken.store(true, Ordering::SeqCst);
        self.bytes.read(buffer)
    }
}
