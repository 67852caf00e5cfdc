//! Reads a JSON body: its type, size and time limited, its errors with the field. What the values mean is not judged here.

use super::problem::{Problem, Speech};
use actix_web::dev::Payload;
use actix_web::error::PayloadError;
use actix_web::{FromRequest, HttpMessage, HttpRequest, web};
use serde::de::DeserializeOwned;
use sha2::{Digest, Sha256};
use std::borrow::Cow;
use std::io::ErrorKind;
use std::time::Duration;

/// Largest body of one act, in bytes: a breakdown into 500 trays fits.
pub const LIMIT: usize = 128 * 1024;
/// A body that trickles longer than this is given up.
const PATIENCE: Duration = Duration::from_secs(10);

/// A body and the fingerprint of its content, the same for the same values however they are spaced or ordered.
pub struct Body<T> {
    pub value: T,
    pub fingerprint: String,
}

/// Reads and checks a body.
pub async fn read<T: DeserializeOwned>(request: &HttpRequest, payload: &mut Payload) -> Result<Body<T>, Problem> {
    if !request.content_type().eq_ignore_ascii_case("application/json") {
        return Err(Problem::of(Speech::MediaType));
    }
    let stream =
        web::Payload::from_request(request, payload).await.map_err(|_| Problem::of(Speech::MalformedRequest))?;
    let read = actix_web::rt::time::timeout(PATIENCE, stream.to_bytes_limited(LIMIT)).await;
    let bytes = read
        .map_err(|_| Problem::of(Speech::TooSlow))?
        .map_err(|_| Problem::of(Speech::TooLarge))?
        .map_err(|error| ended_early(error.as_error()))?;
    parse(&bytes)
}

/// Why a body did not come to its end: too slowly, or cut off.
pub fn ended_early(error: Option<&PayloadError>) -> Problem {
    match error {
        Some(PayloadError::Io(late)) if late.kind() == ErrorKind::TimedOut => Problem::of(Speech::TooSlow),
        _ => Problem::at(Speech::MalformedRequest, "", "the body ended early"),
    }
}

/// Reads JSON text. Text that is no JSON is malformed; JSON of the wrong shape is an invalid value with its field.
pub fn parse<T: DeserializeOwned>(bytes: &[u8]) -> Result<Body<T>, Problem> {
    let malformed = |e: serde_json::Error| Problem::at(Speech::MalformedJson, "", e.to_string());
    serde_json::from_slice::<serde::de::IgnoredAny>(bytes).map_err(malformed)?;
    let bytes = &*whole_numbers_spelt_plainly(bytes);
    let canonical: serde_json::Value = serde_json::from_slice(bytes).map_err(malformed)?;
    let fingerprint = Sha256::digest(canonical.to_string().as_bytes()).iter().map(|b| format!("{b:02x}")).collect();
    check_shape(&canonical, "")?;
    // Read again from the text: a value tree would forgive a field that stands twice.
    let mut reader = serde_json::Deserializer::from_slice(bytes);
    let value = serde_path_to_error::deserialize(&mut reader).map_err(|e| {
        let path = e.path().to_string();
        let place = if path == "." { String::new() } else { path.replace('[', "/").replace(']', "").replace('.', "/") };
        let words = without_position(&e.inner().to_string());
        // serde says these two of the object around the field.
        let named = |prefix: &str| words.strip_prefix(prefix).and_then(|rest| rest.strip_suffix('`'));
        match (named("missing field `"), named("duplicate field `")) {
            (Some(name), _) => Problem::invalid(&below(&place, name), "is missing"),
            (_, Some(name)) => Problem::invalid(&below(&place, name), "stands twice"),
            _ => Problem::invalid(&place, words),
        }
    })?;
    Ok(Body { value, fingerprint })
}

/// Largest whole number that a double holds exactly, with all below it: 2 to the 53rd.
const EXACT: f64 = 9_007_199_254_740_992.0;

/// JSON knows one kind of number, so that `150.0` and `1.5e2` are whole (JSON Schema 2020-12, validation, 6.1.1), and some clients write
/// them so; serde wants `150`. The text must be well-formed JSON; all else in it stays.
fn whole_numbers_spelt_plainly(text: &[u8]) -> Cow<'_, [u8]> {
    let mut plain: Option<Vec<u8>> = None;
    let (mut quoted, mut copied, mut at) = (false, 0, 0);
    while let Some(byte) = text.get(at) {
        match byte {
            b'\\' if quoted => at += 1,
            b'"' => quoted = !quoted,
            b'-' | b'0'..=b'9' if !quoted => {
                let rest = text.get(at..).unwrap_or_default();
                let token = rest
                    .split(|b| !matches!(b, b'0'..=b'9' | b'-' | b'+' | b'.' | b'e' | b'E'))
                    .next()
                    .unwrap_or_default();
                if let Some(whole) = plainly(token) {
                    let plain = plain.get_or_insert_with(Vec::new);
                    plain.extend_from_slice(text.get(copied..at).unwrap_or_default());
                    plain.extend_from_slice(whole.as_bytes());
                    copied = at + token.len();
                }
                at += token.len() - 1;
            }
            _ => {}
        }
        at += 1;
    }
    let Some(mut plain) = plain else { return Cow::Borrowed(text) };
    plain.extend_from_slice(text.get(copied..).unwrap_or_default());
    Cow::Owned(plain)
}

/// A number written with a point or an exponent that is whole after all.
fn plainly(token: &[u8]) -> Option<String> {
    if !token.iter().any(|b| matches!(b, b'.' | b'e' | b'E')) {
        return None;
    }
    let value: f64 = std::str::from_utf8(token).ok()?.parse().ok()?;
    // Negative zero is zero.
    (value.fract() == 0.0 && value.abs() <= EXACT).then(|| format!("{:.0}", value + 0.0))
}

fn below(place: &str, name: &str) -> String {
    if place.is_empty() { name.to_owned() } else { format!("{place}/{name}") }
}

/// What no body of this interface is, whatever its type: anything but an object, a list straight inside a list (serde would read it as an
/// object's fields in order), or text with a NUL, which PostgreSQL does not take.
fn check_shape(body: &serde_json::Value, place: &str) -> Result<(), Problem> {
    use serde_json::Value;
    match body {
        Value::Object(fields) => {
            for (name, inner) in fields {
                check_shape(inner, &below(place, name))?;
            }
            Ok(())
        }
        _ if place.is_empty() => Err(Problem::invalid(place, "the body must be a JSON object")),
        Value::Array(list) => {
            for (index, inner) in list.iter().enumerate() {
                let place = below(place, &index.to_string());
                if inner.is_array() {
                    return Err(Problem::invalid(&place, "must not be a list"));
                }
                check_shape(inner, &place)?;
            }
            Ok(())
        }
        Value::String(text) if text.contains('\0') => Err(Problem::invalid(place, "must not contain a NUL character")),
        _ => Ok(()),
    }
}

/// serde's words without the line and column, which would change with spacing.
fn without_position(text: &str) -> String {
    text.rsplit_once(" at line ").map_or(text, |(words, _)| words).to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(serde::Deserialize, Debug)]
    #[serde(deny_unknown_fields)]
    struct Example {
        lines: Vec<Line>,
    }

    #[derive(serde::Deserialize, Debug)]
    #[serde(deny_unknown_fields)]
    struct Line {
        grams: i64,
    }

    #[test]
    fn wrong_shapes_name_their_field() {
        let rows = [
            (r#"{"lines":[{"grams":1},{"grams":"2"}]}"#, "invalid_value", "lines/1/grams"),
            (r#"{"lines":[{"grams":1.5}]}"#, "invalid_value", "lines/0/grams"),
            (r#"{"lines":[{"grams":9223372036854775808}]}"#, "invalid_value", "lines/0/grams"),
            (r#"{"lines":[{"grams":1,"cost":2}]}"#, "invalid_value", "lines/0/cost"),
            (r#"{"lines":[],"lines":[]}"#, "invalid_value", "lines"),
            (r#"{}"#, "invalid_value", "lines"),
            (r#"{"lines":[{}]}"#, "invalid_value", "lines/0/grams"),
            (r#"[[[1]]]"#, "invalid_value", ""),
            (r#"{"lines":[[1]]}"#, "invalid_value", "lines/0"),
            (r#"{"lines":["a\u0000"]}"#, "invalid_value", "lines/0"),
            (r#"{"lines":"#, "malformed_json", ""),
            (r#"{"lines":[{"grams":01}]}"#, "malformed_json", ""),
            (r#"{"lines":[{"grams":NaN}]}"#, "malformed_json", ""),
            (r#"{"a":"\ud800"}"#, "malformed_json", ""),
        ];
        for (text, code, field) in rows {
            let problem = parse::<Example>(text.as_bytes()).err().unwrap();
            let found = problem.errors.first().map_or("", |e| e.field.as_str());
            assert_eq!((problem.code, found), (code, field), "{text}");
        }
    }

    #[test]
    fn whole_numbers_are_whole_however_they_are_spelt() {
        let rows = [
            (r#"{"a":150.0}"#, r#"{"a":150}"#),
            (r#"{"a":1.5e2,"b":[-0.0,-3.0E0,1e+3]}"#, r#"{"a":150,"b":[0,-3,1000]}"#),
            (r#"[1.5,0.1e0,150,-7,1e-3]"#, r#"[1.5,0.1e0,150,-7,1e-3]"#),
            (r#"{"1.0":"2.0 \" 3.0 \\","c":4.0}"#, r#"{"1.0":"2.0 \" 3.0 \\","c":4}"#),
            ("1.0", "1"),
            // Beyond what a double holds exactly nothing is guessed.
            ("[9007199254740992.0,9007199254740994.0,1e300]", "[9007199254740992,9007199254740994.0,1e300]"),
        ];
        for (text, plain) in rows {
            assert_eq!(String::from_utf8_lossy(&whole_numbers_spelt_plainly(text.as_bytes())), plain);
        }
        let grams = |text: &str| parse::<Example>(text.as_bytes()).map(|b| b.value.lines.first().map(|l| l.grams)).ok();
        assert_eq!(grams(r#"{"lines":[{"grams":150.0}]}"#), Some(Some(150)));
        assert_eq!(grams(r#"{"lines":[{"grams":150.5}]}"#), None);
        assert_eq!(grams(r#"{"lines":[{"grams":150.0,"grams":2}]}"#), None, "twice is twice");
    }

    #[test]
    fn the_fingerprint_is_of_the_content() {
        let print = |text: &str| parse::<serde_json::Value>(text.as_bytes()).map(|b| b.fingerprint).ok();
        assert_eq!(print(r#"{"a":1,"b":[2]}"#), print("{ \"b\": [2],\n \"a\": 1 }"));
        assert_eq!(print(r#"{"a":1}"#), print(r#"{"a":1.0}"#));
        assert_ne!(print(r#"{"a":1}"#), print(r#"{"a":2}"#));
    }
}
