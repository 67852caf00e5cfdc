//! Readings in JSON: their shape, and how each becomes a reading or the reason why it is none.

use crate::domain::life::curve::Reading;
use crate::domain::logger::{Fault, Line, Unit, figure};
use crate::units::instant::Instant;
use serde::{Deserialize, Deserializer};
use serde_json::Value;
use utoipa::ToSchema;

/// Readings in one body, up to 10,000. One that is wrong does not lose the others.
#[derive(Debug, Deserialize, ToSchema)]
#[schema(as = PostReadings)]
#[serde(deny_unknown_fields)]
pub struct PostReadingsBody {
    #[schema(value_type = Vec<PostReading>)]
    pub readings: Vec<Value>,
}

/// A reading: an instant with its offset, and the temperature in one of both units.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostReading {
    #[schema(example = "2026-11-25T08:00:00+00:00")]
    pub at: String,
    /// Degrees Celsius, as a number or as text.
    #[serde(default, deserialize_with = "present")]
    #[schema(value_type = Option<f64>, example = 1.2)]
    pub celsius: Option<Value>,
    /// Degrees Fahrenheit, as a number or as text.
    #[serde(default, deserialize_with = "present")]
    #[schema(value_type = Option<f64>, example = 34.2)]
    pub fahrenheit: Option<Value>,
}

/// A null that stands there is a sensor that says nothing, and not a field that is missing.
fn present<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<Value>, D::Error> {
    Value::deserialize(deserializer).map(Some)
}

/// One reading of a list.
pub fn of_value(number: u64, value: Value) -> Line {
    // serde would take a list for an object's fields in order.
    let read = if value.is_object() {
        serde_json::from_value(value).map_err(|e| e.to_string())
    } else {
        Err(NO_OBJECT.into())
    };
    Line { number, found: read.map_err(Fault::unreadable).and_then(judged) }
}

/// One line of a stream; none when it is blank.
pub fn of_line(number: u64, line: &[u8]) -> Option<Line> {
    let line = if number == 1 { line.strip_prefix(b"\xef\xbb\xbf").unwrap_or(line) } else { line };
    let text = line.trim_ascii();
    if text.is_empty() {
        return None;
    }
    let read = if text.starts_with(b"{") {
        serde_json::from_slice(text).map_err(|e| e.to_string())
    } else {
        Err(NO_OBJECT.into())
    };
    Some(Line { number, found: read.map_err(Fault::unreadable).and_then(judged) })
}

const NO_OBJECT: &str = "must be an object with `at` and `celsius` or `fahrenheit`";

fn judged(said: PostReading) -> Result<Reading, Fault> {
    let at = Instant::parse(&said.at).map_err(|e| Fault::unreadable(e.to_string()))?;
    let (value, unit) = match (said.celsius, said.fahrenheit) {
        (Some(value), None) => (value, Unit::Celsius),
        (None, Some(value)) => (value, Unit::Fahrenheit),
        (Some(_), Some(_)) => return Err(Fault::unreadable("has both celsius and fahrenheit")),
        (None, None) => return Err(Fault::unreadable("has neither celsius nor fahrenheit")),
    };
    let text = match value {
        Value::String(text) => text,
        Value::Number(number) => number.to_string(),
        Value::Null => String::new(),
        Value::Bool(_) | Value::Array(_) | Value::Object(_) => {
            return Err(Fault::unreadable("the temperature must be a number or text"));
        }
    };
    Ok(Reading { at, temperature: figure::read(&text, unit)? })
}
