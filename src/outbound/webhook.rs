//! Carries one letter to a receiver over HTTP. Says only whether an answer came and with which status: what it means is decided in `domain`.
//!
//! The addresses a name stands for are judged when they are looked up for the connection itself, so that a name that changes between a check
//! and its use gains nothing. No redirect is followed and no proxy of the environment is asked.

use std::fmt;
use std::net::IpAddr;
use std::sync::Arc;
use std::time::Duration;
use ureq::config::Config;
use ureq::http::Uri;
use ureq::tls::{Certificate, PemItem, RootCerts, TlsConfig, parse_pem};
use ureq::unversioned::resolver::{DefaultResolver, ResolvedSocketAddrs, Resolver};
use ureq::unversioned::transport::{DefaultConnector, NextTimeout};
use ureq::{Agent, Error};

/// No more of an answer is read than this, of its head and of its body.
const LARGEST_ANSWER: u64 = 64 * 1024;
/// How long a connection is kept for the next letter: below the five seconds after which many servers close it.
const KEPT: Duration = Duration::from_secs(3);

/// Whether the server may connect to an address for a host and port.
pub type MayReach = Arc<dyn Fn(&str, u16, IpAddr) -> bool + Send + Sync>;
/// Whether a host and port are the shop's own, so that its own authority speaks for them.
pub type IsOurs = Arc<dyn Fn(&str, u16) -> bool + Send + Sync>;

/// How letters are carried.
#[derive(Clone)]
pub struct Road {
    pub may_reach: MayReach,
    pub is_ours: IsOurs,
    /// Certificates of the shop's own authority (DER). Where there are any, they and no others speak for receivers of the shop; for all others
    /// the authorities that browsers know do.
    pub authority: Vec<Vec<u8>>,
    /// For one letter, from the name to the end of the answer.
    pub timeout: Duration,
}

impl fmt::Debug for Road {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Road").field("timeout", &self.timeout).finish_non_exhaustive()
    }
}

/// Reads the certificates of a PEM file; none when it holds none.
pub fn read_authority(pem: &[u8]) -> Option<Vec<Vec<u8>>> {
    let mut found = Vec::new();
    for item in parse_pem(pem) {
        if let PemItem::Certificate(certificate) = item.ok()? {
            found.push(certificate.der().to_vec());
        }
    }
    (!found.is_empty()).then_some(found)
}

/// What is carried.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Letter<'a> {
    pub url: &'a str,
    pub id: &'a str,
    /// Unix seconds of this try.
    pub timestamp: i64,
    pub signature: &'a str,
    pub body: &'a str,
}

/// An answer's head.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Head {
    pub status: u16,
    pub retry_after: Option<String>,
}

/// Whoever carries letters. One for each receiver: it keeps the connection for a while.
pub struct Courier {
    road: Road,
    abroad: Agent,
    at_home: Agent,
}

impl Courier {
    pub fn on(road: &Road) -> Courier {
        let own = road.authority.iter().map(|der| Certificate::from_der(der).to_owned());
        let known = RootCerts::WebPki;
        let ours =
            if road.authority.is_empty() { known.clone() } else { RootCerts::new_with_certs(&own.collect::<Vec<_>>()) };
        Courier { abroad: agent(road, known), at_home: agent(road, ours), road: road.clone() }
    }

    /// Carries a letter; the head of the answer, or why there is none.
    pub fn carry(&self, letter: &Letter<'_>) -> Result<Head, String> {
        let uri: Uri = letter.url.parse().map_err(|_| "the address cannot be read".to_owned())?;
        let secure = uri.scheme_str() == Some("https");
        let port = uri.port_u16().unwrap_or(if secure { 443 } else { 80 });
        let ours = (self.road.is_ours)(uri.host().unwrap_or_default(), port);
        let agent = if ours { &self.at_home } else { &self.abroad };
        let sent = agent
            .post(letter.url)
            .header("Content-Type", "application/json")
            .header("webhook-id", letter.id)
            .header("webhook-timestamp", letter.timestamp.to_string())
            .header("webhook-signature", letter.signature)
            .send(letter.body);
        let mut response = sent.map_err(|error| self.in_words(&error))?;
        let retry_after =
            response.headers().get("retry-after").and_then(|value| value.to_str().ok()).map(str::to_owned);
        let head = Head { status: response.status().as_u16(), retry_after };
        // Read so that the connection can be used again; what it says is nobody's business, and so is whether it comes to its end.
        let rest = response.body_mut().with_config().limit(LARGEST_ANSWER).read_to_vec();
        if let Err(error) = rest {
            tracing::debug!(%error, "the rest of an answer");
        }
        Ok(head)
    }

    /// Why no answer came, without a word of the other side.
    fn in_words(&self, error: &Error) -> String {
        match error {
            Error::Timeout(_) => format!("no answer within {} s", self.road.timeout.as_secs()),
            Error::HostNotFound => "the name of the host leads nowhere".to_owned(),
            Error::Io(error) if error.kind() == std::io::ErrorKind::PermissionDenied => NOT_ALLOWED.to_owned(),
            // How rustls says through a stream what it found.
            Error::Io(error) if error.kind() == std::io::ErrorKind::InvalidData => tls_in_words(&error.to_string()),
            Error::Io(error) => format!("the connection failed: {}", error.kind()),
            Error::ConnectionFailed => "the connection failed".to_owned(),
            Error::Rustls(error) => tls_in_words(&error.to_string()),
            Error::Tls(words) => tls_in_words(words),
            _ => "the answer cannot be read".to_owned(),
        }
    }
}

/// What is wrong with a certificate, without the names in it.
fn tls_in_words(found: &str) -> String {
    let words = [
        ("UnknownIssuer", "its certificate is of no authority that is trusted"),
        // Signed by somebody who only calls himself by the name of an authority.
        ("BadSignature", "its certificate is of no authority that is trusted"),
        ("NotValidForName", "its certificate is for another name"),
        ("not valid for name", "its certificate is for another name"),
        ("xpired", "its certificate has expired"),
        ("NotValidYet", "its certificate is not valid yet"),
    ];
    let said = words.iter().find(|(part, _)| found.contains(part)).map_or("the handshake failed", |(_, said)| said);
    format!("TLS: {said}")
}

const NOT_ALLOWED: &str = "the name stands for an address that the settings do not allow";

fn agent(road: &Road, roots: RootCerts) -> Agent {
    let config: Config = Agent::config_builder()
        .http_status_as_error(false)
        .max_redirects(0)
        .max_redirects_will_error(false)
        .proxy(None)
        .max_idle_connections(1)
        .max_idle_connections_per_host(1)
        .max_idle_age(KEPT)
        .max_response_header_size(usize::try_from(LARGEST_ANSWER).unwrap_or(usize::MAX))
        .timeout_global(Some(road.timeout))
        .user_agent(concat!("sakudana/", env!("CARGO_PKG_VERSION")))
        .tls_config(TlsConfig::builder().root_certs(roots).build())
        .build();
    Agent::with_parts(config, DefaultConnector::default(), Guarded(Arc::clone(&road.may_reach)))
}

/// Looks names up, and leaves out every address that must not be connected to.
struct Guarded(MayReach);

impl fmt::Debug for Guarded {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Guarded")
    }
}

impl Resolver for Guarded {
    fn resolve(&self, uri: &Uri, config: &Config, timeout: NextTimeout) -> Result<ResolvedSocketAddrs, Error> {
        let found = DefaultResolver::default().resolve(uri, config, timeout)?;
        let host = uri.host().unwrap_or_default();
        let mut kept = self.empty();
        for address in found.iter().filter(|address| (self.0)(host, address.port(), address.ip())) {
            kept.push(*address);
        }
        if kept.is_empty() {
            return Err(Error::Io(std::io::Error::new(std::io::ErrorKind::PermissionDenied, NOT_ALLOWED)));
        }
        Ok(kept)
    }
}
