//! Plain yeses: JSON with the right headers, pages of a list, versions as ETags.

use super::problem::{Problem, Speech};
use crate::ops::changes::{FeedPosition, cursor};
use crate::ops::edit_catalogue::Expected;
use actix_web::http::StatusCode;
use actix_web::http::header::{self, HeaderMap};
use actix_web::{HttpRequest, HttpResponse};
use serde::Serialize;

/// What a handler ends with.
pub type Outcome = Result<HttpResponse, Problem>;

/// Most entries of one page of a list.
pub const PAGE_LIMIT: i64 = 200;

fn text<T: Serialize>(body: &T) -> Result<String, Problem> {
    serde_json::to_string(body).map_err(|_| Problem::of(Speech::Internal))
}

/// 200 with a body.
pub fn ok<T: Serialize>(body: &T) -> Outcome {
    Ok(HttpResponse::Ok()
        .content_type("application/json")
        .insert_header((header::CACHE_CONTROL, "no-store"))
        .body(text(body)?))
}

/// 200 or 201 with a body and its version as ETag.
pub fn versioned<T: Serialize>(body: &T, version: i64, created: bool) -> Outcome {
    let status = if created { StatusCode::CREATED } else { StatusCode::OK };
    let mut response = HttpResponse::build(status);
    response.content_type("application/json").insert_header((header::CACHE_CONTROL, "no-store"));
    response.insert_header((header::ETAG, format!("\"{version}\"")));
    Ok(response.body(text(body)?))
}

/// The outer form of a recorded act: 201 with a body.
pub fn created<T: Serialize>(body: &T) -> (u16, String) {
    (201, serde_json::to_string(body).unwrap_or_default())
}

/// One page of a list, with the address of the next one.
pub fn page<T: Serialize>(request: &HttpRequest, body: &T, next: Option<i64>) -> Outcome {
    page_of(request, text(body)?, "cursor", next.map(write_cursor))
}

/// The same where the parameter with the cursor, or the cursor itself, is of another kind.
pub fn page_until<T: Serialize>(request: &HttpRequest, body: &T, name: &str, next: Option<String>) -> Outcome {
    page_of(request, text(body)?, name, next)
}

/// The same of JSON already written, where the parameter with the cursor has a name of its own.
pub fn page_of(request: &HttpRequest, body: String, name: &str, next: Option<String>) -> Outcome {
    let mut response = HttpResponse::Ok();
    response.content_type("application/json").insert_header((header::CACHE_CONTROL, "no-store"));
    if let Some(next) = next {
        let ours = format!("{name}=");
        let kept: Vec<&str> =
            request.query_string().split('&').filter(|p| !p.is_empty() && !p.starts_with(&ours)).collect();
        let query = kept.into_iter().map(str::to_owned).chain([format!("{ours}{next}")]).collect::<Vec<_>>().join("&");
        response.insert_header((header::LINK, format!("<{}?{query}>; rel=\"next\"", request.path())));
    }
    Ok(response.body(body))
}

/// A cursor is opaque to clients: a number in hexadecimal with its check.
pub fn write_cursor(number: i64) -> String {
    sealed(&format!("{number:x}"))
}

fn sealed(body: &str) -> String {
    format!("{body}-{:08x}", crc32fast::hash(body.as_bytes()))
}

/// What stands before the check, if that is right.
fn unsealed(text: &str) -> Option<&str> {
    let (body, _) = text.split_once('-')?;
    (sealed(body) == text).then_some(body)
}

fn not_ours(field: &str) -> Problem {
    Problem::at(Speech::MalformedRequest, field, "is not a cursor of ours")
}

/// Reads a cursor; anything that was not made here is malformed.
pub fn read_cursor(text: Option<&str>) -> Result<Option<i64>, Problem> {
    let Some(text) = text else { return Ok(None) };
    let number = unsealed(text).and_then(|body| i64::from_str_radix(body, 16).ok());
    number.map(Some).ok_or_else(|| not_ours("cursor"))
}

/// The cursor of the change feed holds two numbers, so that neither kind is taken for the other.
pub fn write_feed_cursor((first, second): (i64, i64)) -> String {
    cursor(FeedPosition { xact: first, id: second })
}

pub fn read_feed_cursor(field: &str, text: &str) -> Result<(i64, i64), Problem> {
    let numbers = unsealed(text).and_then(|body| body.split_once('.')).and_then(|(first, second)| {
        Some((i64::from_str_radix(first, 16).ok()?, i64::from_str_radix(second, 16).ok()?))
    });
    numbers.ok_or_else(|| not_ours(field))
}

/// A whole number of the query.
pub fn number(
    field: &str,
    text: Option<&str>,
    range: std::ops::RangeInclusive<i64>,
    default: i64,
) -> Result<i64, Problem> {
    let Some(text) = text else { return Ok(default) };
    let value = text.parse::<i64>().ok().filter(|v| range.contains(v) && !text.starts_with('+'));
    value.ok_or_else(|| {
        Problem::invalid(field, format!("must be a whole number from {} to {}", range.start(), range.end()))
    })
}

/// A number in an address; whatever is none names nothing.
pub fn id(text: &str) -> Result<i64, Problem> {
    let plain = !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    text.parse().ok().filter(|_| plain).ok_or_else(|| Problem::of(Speech::NoSuchAddress))
}

/// What the caller of a change knows: `If-Match: "3"` or `If-None-Match: *`.
pub fn expected(headers: &HeaderMap) -> Result<Expected, Problem> {
    let text = |name: header::HeaderName| headers.get(name).map(|value| value.to_str().unwrap_or("").trim().to_owned());
    match (text(header::IF_MATCH), text(header::IF_NONE_MATCH)) {
        (None, None) => Err(Problem::at(
            Speech::PreconditionRequired,
            "If-Match",
            "add If-Match with the ETag from GET, or If-None-Match: * to create",
        )),
        (None, Some(star)) if star == "*" => Ok(Expected::New),
        (Some(tag), None) => {
            let version = tag.strip_prefix('"').and_then(|t| t.strip_suffix('"'));
            // Exactly as it was sent out: no sign, no leading zero.
            let version = version.and_then(|t| t.parse::<i64>().ok().filter(|v| v.to_string() == t));
            version.map(Expected::Version).ok_or_else(|| {
                Problem::at(Speech::MalformedRequest, "If-Match", "must be the ETag from GET, in quotes")
            })
        }
        _ => Err(Problem::at(Speech::MalformedRequest, "If-Match", "send either If-Match or If-None-Match: *")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cursors_are_read_back_and_nothing_else_is() {
        assert_eq!(read_cursor(Some(&write_cursor(4_711))).ok(), Some(Some(4_711)));
        for bad in ["", "1", "1-00000000", "zz-zz", "-1-abc"] {
            assert!(read_cursor(Some(bad)).is_err(), "{bad}");
            assert!(read_feed_cursor("after", bad).is_err(), "{bad}");
        }
        let feed = write_feed_cursor((77, 4_711));
        assert_eq!(read_feed_cursor("after", &feed).ok(), Some((77, 4_711)));
        assert!(read_cursor(Some(&feed)).is_err() && read_feed_cursor("after", &write_cursor(77)).is_err());
    }

    #[test]
    fn numbers_of_the_query_are_strict() {
        assert_eq!(number("limit", None, 1..=200, 50).ok(), Some(50));
        for bad in ["0", "201", "+5", "5.0", "abc", "", "9223372036854775808"] {
            assert!(number("limit", Some(bad), 1..=200, 50).is_err(), "{bad}");
        }
    }
}
