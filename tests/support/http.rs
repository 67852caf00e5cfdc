//! A small HTTP client: one call, one answer, every status an answer. Follows no redirect and keeps
//! no cookie, so that a test sees what the server said.

use std::time::Duration;

use serde::Serialize;
use serde_json::Value;
use ureq::Agent;
use ureq::http::Request;

/// No call of a test takes this long unless something hangs.
const LIMIT: Duration = Duration::from_secs(60);

/// An answer larger than this is a mistake.
const LARGEST: u64 = 64 * 1024 * 1024;

/// A base address and, perhaps, a key.
#[derive(Clone)]
pub struct Client {
    agent: Agent,
    base: String,
    key: Option<String>,
}

impl Client {
    /// A client without a key; `base` has no slash at its end.
    pub fn new(base: &str) -> Self {
        let agent = Agent::config_builder()
            .http_status_as_error(false)
            .max_redirects(0)
            .max_redirects_will_error(false)
            .allow_non_standard_methods(true)
            // A kept connection can be closed by the server just as the next call uses it.
            .max_idle_connections(0)
            .proxy(None)
            .timeout_global(Some(LIMIT))
            .build()
            .into();
        Self { agent, base: base.to_owned(), key: None }
    }

    /// The same client with `Authorization: Bearer KEY` on each call.
    pub fn with_key(&self, key: &str) -> Self {
        Self { key: Some(key.to_owned()), ..self.clone() }
    }

    /// The key, for a request that is written by hand.
    pub fn key(&self) -> Option<&str> {
        self.key.as_deref()
    }

    pub fn get(&self, path: &str) -> Call {
        self.call("GET", path)
    }

    pub fn post(&self, path: &str) -> Call {
        self.call("POST", path)
    }

    pub fn put(&self, path: &str) -> Call {
        self.call("PUT", path)
    }

    pub fn patch(&self, path: &str) -> Call {
        self.call("PATCH", path)
    }

    pub fn delete(&self, path: &str) -> Call {
        self.call("DELETE", path)
    }

    /// Any method, for walking a list of operations.
    pub fn call(&self, method: &str, path: &str) -> Call {
        let call = Call {
            agent: self.agent.clone(),
            method: method.to_owned(),
            url: format!("{}{path}", self.base),
            headers: Vec::new(),
            body: None,
        };
        match &self.key {
            Some(key) => call.header("Authorization", &format!("Bearer {key}")),
            None => call,
        }
    }
}

/// A call that is being put together.
#[must_use = "nothing is sent before `send`"]
pub struct Call {
    agent: Agent,
    method: String,
    url: String,
    headers: Vec<(String, String)>,
    body: Option<Vec<u8>>,
}

impl Call {
    pub fn header(mut self, name: &str, value: &str) -> Self {
        self.headers.push((name.to_owned(), value.to_owned()));
        self
    }

    /// The header `Idempotency-Key`.
    pub fn idempotency_key(self, key: &str) -> Self {
        self.header("Idempotency-Key", key)
    }

    /// The header `If-Match`, quotes included by the caller.
    pub fn if_match(self, tag: &str) -> Self {
        self.header("If-Match", tag)
    }

    pub fn json(self, body: &impl Serialize) -> Self {
        let bytes = serde_json::to_vec(body).expect("a body that is JSON");
        self.bytes("application/json", &bytes)
    }

    /// Raw bytes, right or wrong, under any content type.
    pub fn bytes(mut self, content_type: &str, body: &[u8]) -> Self {
        self.body = Some(body.to_vec());
        self.header("Content-Type", content_type)
    }

    /// # Panics
    /// When no whole HTTP answer comes back.
    pub fn send(self) -> Answer {
        let what = format!("{} {}", self.method, self.url);
        self.try_send().unwrap_or_else(|error| panic!("{what}: {error}"))
    }

    /// For a server that may be gone: a failed connection is an answer too.
    pub fn try_send(self) -> Result<Answer, ureq::Error> {
        let mut request = Request::builder().method(self.method.as_str()).uri(&self.url);
        for (name, value) in &self.headers {
            request = request.header(name, value);
        }
        let sent = match self.body {
            Some(body) => self.agent.run(request.body(body).expect("a well-formed request")),
            None => self.agent.run(request.body(()).expect("a well-formed request")),
        };
        let mut response = sent?;
        let body = response.body_mut().with_config().limit(LARGEST).read_to_vec()?;
        let headers = response
            .headers()
            .iter()
            .map(|(name, value)| {
                let value = String::from_utf8_lossy(value.as_bytes()).into_owned();
                (name.as_str().to_owned(), value)
            })
            .collect();
        Ok(Answer { status: response.status().as_u16(), headers, body })
    }
}

/// What the server answered.
#[derive(Debug, Clone)]
pub struct Answer {
    pub status: u16,
    /// Names in lower case, in the order they came.
    pub headers: Vec<(String, String)>,
    pub body: Vec<u8>,
}

impl Answer {
    /// The first header of this name, whatever its case.
    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers.iter().find(|(found, _)| found.eq_ignore_ascii_case(name)).map(|(_, value)| value.as_str())
    }

    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    /// # Panics
    /// When the body is not JSON; the panic holds the body.
    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.body)
            .unwrap_or_else(|error| panic!("{} is not JSON ({error}): {}", self.status, self.text()))
    }

    /// Returns itself when the status is the expected one.
    ///
    /// # Panics
    /// Otherwise, with the body, which says why.
    #[track_caller]
    pub fn expect(self, status: u16) -> Self {
        assert_eq!(self.status, status, "{}", self.text());
        self
    }
}
