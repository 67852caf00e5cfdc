//! Signing after Standard Webhooks: HMAC-SHA256 over id, time of the attempt and body, and checking it as a receiver would. Our own words for
//! the rules of the specification (standard-webhooks/standard-webhooks, spec/standard-webhooks.md).

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;
use subtle::ConstantTimeEq;

/// How a secret is written begins with this.
const SECRET: &str = "whsec_";
/// How a signature of this scheme begins.
const VERSION: &str = "v1,";
/// How far the clocks of sender and receiver may be apart, in seconds.
pub const TOLERANCE_S: i64 = 300;

/// A secret as its receiver is given it.
pub fn write_secret(secret: &[u8]) -> String {
    format!("{SECRET}{}", STANDARD.encode(secret))
}

/// Reads a written secret; of 24 to 64 bytes, or none.
pub fn read_secret(text: &str) -> Option<Vec<u8>> {
    let bytes = STANDARD.decode(text.strip_prefix(SECRET)?).ok()?;
    (24..=64).contains(&bytes.len()).then_some(bytes)
}

/// What is signed: `id.timestamp.body`.
fn mac(secret: &[u8], id: &str, timestamp: i64, body: &[u8]) -> Vec<u8> {
    // A key of any length is one for HMAC (RFC 2104, section 3): it cannot fail.
    let Ok(mut mac) = Hmac::<Sha256>::new_from_slice(secret) else { return Vec::new() };
    for part in [id.as_bytes(), b".", timestamp.to_string().as_bytes(), b".", body] {
        mac.update(part);
    }
    mac.finalize().into_bytes().to_vec()
}

/// The value of `webhook-signature`: one signature for each secret that is good, so that a receiver may know either.
pub fn sign(secrets: &[Vec<u8>], id: &str, timestamp: i64, body: &[u8]) -> String {
    let signed = secrets.iter().map(|secret| format!("{VERSION}{}", STANDARD.encode(mac(secret, id, timestamp, body))));
    signed.collect::<Vec<_>>().join(" ")
}

/// Why a message is not taken for ours.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Doubt {
    TooOld,
    TooEarly,
    NotSigned,
}

/// Checks a message as its receiver: `now` in seconds since 1970. A signature counts only as a whole: a short or empty one fits nothing.
pub fn verify(secret: &[u8], id: &str, timestamp: i64, signatures: &str, body: &[u8], now: i64) -> Result<(), Doubt> {
    if now.saturating_sub(timestamp) > TOLERANCE_S {
        return Err(Doubt::TooOld);
    }
    if timestamp.saturating_sub(now) > TOLERANCE_S {
        return Err(Doubt::TooEarly);
    }
    let expected = mac(secret, id, timestamp, body);
    let given = signatures.split(' ').filter_map(|one| STANDARD.decode(one.strip_prefix(VERSION)?).ok());
    // Slices of different lengths are never equal; each candidate is compared in full.
    let fits = given.fold(subtle::Choice::from(0), |fits, one| fits | expected.as_slice().ct_eq(&one));
    if bool::from(fits) { Ok(()) } else { Err(Doubt::NotSigned) }
}
