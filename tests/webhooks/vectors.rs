//! Signatures, against published and computed vectors, and against an unrelated library (standardwebhooks from PyPI).

use crate::support::python::lines;
use sakudana::domain::webhook::signature::{Doubt, read_secret, sign, verify, write_secret};

/// Row H-WH-5 of the reference: computed there from the rule of Standard Webhooks (`id.timestamp.body`, HMAC-SHA256, base64).
const SECRET: &str = "whsec_AQIDBAUGBwgJCgsMDQ4PEBESExQVFhcYGRobHB0eHyA=";
const ID: &str = "msg_counter_0001";
const AT: i64 = 1_795_599_000;
const BODY: &str =
    r#"{"type":"tray.created","timestamp":"2026-11-25T09:30:00.000000Z","data":{"tray":"T-0001","grams":250}}"#;
const SIGNATURE: &str = "v1,bgGzQyMJqVCvjiOPeMr/lW7QarS2CZAtcqi1jvBKaBw=";

fn secret() -> Vec<u8> {
    read_secret(SECRET).unwrap()
}

fn check(id: &str, at: i64, signature: &str, body: &str, now: i64) -> Result<(), Doubt> {
    verify(&secret(), id, at, signature, body.as_bytes(), now)
}

#[test]
fn a_message_is_signed_as_the_standard_says() {
    assert_eq!(secret(), (1..=32).collect::<Vec<u8>>());
    assert_eq!(write_secret(&secret()), SECRET);
    assert_eq!(BODY.len(), 102);
    assert_eq!(sign(&[secret()], ID, AT, BODY.as_bytes()), SIGNATURE);
    assert_eq!(check(ID, AT, SIGNATURE, BODY, AT), Ok(()));
}

/// Rows H-WH-6 and H-WH-3.
#[test]
fn clocks_may_be_five_minutes_apart_and_secrets_have_their_length() {
    for (apart, expected) in
        [(0, Ok(())), (299, Ok(())), (-299, Ok(())), (301, Err(Doubt::TooOld)), (-301, Err(Doubt::TooEarly))]
    {
        assert_eq!(check(ID, AT, SIGNATURE, BODY, AT + apart), expected, "{apart}");
    }
    assert_eq!(check(ID, i64::MIN, SIGNATURE, BODY, AT), Err(Doubt::TooOld));
    for (length, fits) in [(23, false), (24, true), (64, true), (65, false), (0, false)] {
        assert_eq!(read_secret(&write_secret(&vec![7; length])).is_some(), fits, "{length}");
    }
    assert!(read_secret(SECRET.trim_start_matches("whsec_")).is_none());
}

/// Row H-WH-7: what an early library let pass that compared as far as the shorter one went.
#[test]
fn a_short_or_empty_signature_fits_nothing() {
    let whole = SIGNATURE.trim_start_matches("v1,");
    for bad in [
        "",
        "v1",
        "v1,",
        "v1, ",
        " ",
        "v1,bgGz",
        "v1,bg==",
        "v2,bgGzQyMJqVCvjiOPeMr/lW7QarS2CZAtcqi1jvBKaBw=",
        "v1a,bgGzQyMJqVCvjiOPeMr/lW7QarS2CZAtcqi1jvBKaBw=",
        whole,
        &format!("v1,{whole}AAAA"),
        &format!("V1,{whole}"),
        &format!("v1,{}", whole.to_lowercase()),
    ] {
        assert_eq!(check(ID, AT, bad, BODY, AT), Err(Doubt::NotSigned), "{bad:?}");
    }
    for length in 0..whole.len() {
        assert!(check(ID, AT, &format!("v1,{}", &whole[..length]), BODY, AT).is_err(), "{length}");
    }
    for good in [format!("v1,AAAA {SIGNATURE}"), format!("{SIGNATURE} v1a,AAAA"), format!("v1, {SIGNATURE}")] {
        assert_eq!(check(ID, AT, &good, BODY, AT), Ok(()), "{good}");
    }
}

/// Row H-WH-8.
#[test]
fn one_changed_byte_anywhere_is_seen() {
    for at in 0..BODY.len() {
        let mut changed = BODY.as_bytes().to_vec();
        changed[at] ^= 1;
        assert!(verify(&secret(), ID, AT, SIGNATURE, &changed, AT).is_err(), "body {at}");
    }
    for at in 0..ID.len() {
        let mut changed = ID.as_bytes().to_vec();
        changed[at] ^= 1;
        assert!(check(std::str::from_utf8(&changed).unwrap(), AT, SIGNATURE, BODY, AT).is_err(), "id {at}");
    }
    for digit in 0..10_u32 {
        assert!(check(ID, AT + 10_i64.pow(digit.min(2)), SIGNATURE, BODY, AT).is_err());
    }
    let mut other = secret();
    other[31] ^= 1;
    assert!(verify(&other, ID, AT, SIGNATURE, BODY.as_bytes(), AT).is_err());
    // The point between the parts is where it is: no part can lend a byte to the next.
    assert!(check("msg_counter_0001.1", AT, SIGNATURE, BODY, AT).is_err());
}

/// While a secret is rotated both sign.
#[test]
fn two_secrets_sign_side_by_side() {
    let (old, new) = (secret(), vec![9; 32]);
    let both = sign(&[new.clone(), old.clone()], ID, AT, BODY.as_bytes());
    assert_eq!(both.split(' ').count(), 2);
    for known in [&old, &new] {
        assert_eq!(verify(known, ID, AT, &both, BODY.as_bytes(), AT), Ok(()));
    }
    assert!(verify(&[8; 32], ID, AT, &both, BODY.as_bytes(), AT).is_err());
}

const SIGN: &str = r#"
import sys, json
from datetime import datetime, timezone
from standardwebhooks.webhooks import Webhook
for line in sys.stdin:
    secret, id, at, body = json.loads(line)
    print(Webhook(secret).sign(id, datetime.fromtimestamp(at, tz=timezone.utc), body))
"#;

#[test]
fn an_unrelated_library_signs_alike() {
    let bodies = [BODY, "", "{}", "{\"name\":\"中とろ\\n\"}", &"x".repeat(19_999)];
    let cases: Vec<(Vec<u8>, String, i64, &str)> = bodies
        .iter()
        .enumerate()
        .flat_map(|(n, body)| {
            [24_usize, 32, 64]
                .map(|length| (vec![u8::try_from(n).unwrap() + 1; length], format!("msg_{n}_{length}"), AT, *body))
        })
        .collect();
    let asked: Vec<String> = cases
        .iter()
        .map(|(secret, id, at, body)| serde_json::to_string(&(write_secret(secret), id, at, body)).unwrap())
        .collect();
    for ((secret, id, at, body), theirs) in cases.iter().zip(lines(SIGN, &asked)) {
        assert_eq!(sign(std::slice::from_ref(secret), id, *at, body.as_bytes()), theirs, "{id}");
    }
}
