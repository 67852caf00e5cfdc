//! Measures: grams, money, temperatures, instants, the shop's time zone. Values that exist are valid.
//! No rule of the shop lives here, and nothing here knows any other room.

pub mod currency;
pub mod instant;
pub mod mass;
pub mod money;
pub mod share;
pub mod temperature;
pub mod zone;

use std::fmt;

/// A value outside the bounds its measure allows. Names the measure, the value and both bounds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OutOfRange {
    pub measure: &'static str,
    pub value: String,
    pub minimum: i64,
    pub maximum: i64,
}

impl fmt::Display for OutOfRange {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} must be from {} to {}, not {}", self.measure, self.minimum, self.maximum, self.value)
    }
}

impl std::error::Error for OutOfRange {}

/// Text that is not a number of the form the measure is written in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unreadable {
    pub measure: &'static str,
    pub text: String,
}

impl fmt::Display for Unreadable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?} cannot be read as {}", self.text, self.measure)
    }
}

impl std::error::Error for Unreadable {}

/// Reads a plain decimal (`-12.5`, `0.690`) as a whole number of 10^-`places`; more places than that are refused,
/// so nothing is rounded in reading.
pub(crate) fn parse_decimal(text: &str, places: u32, measure: &'static str) -> Result<i64, Unreadable> {
    let unreadable = || Unreadable { measure, text: text.chars().take(40).collect() };
    let trimmed = text.trim();
    let (negative, digits) = match trimmed.strip_prefix('-') {
        Some(rest) => (true, rest),
        None => (false, trimmed),
    };
    let (whole, fraction) = digits.split_once('.').unwrap_or((digits, ""));
    let places_usize = usize::try_from(places).map_err(|_| unreadable())?;
    let plain = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
    let well_formed =
        !whole.is_empty() && plain(whole) && plain(fraction) && !(fraction.is_empty() && digits.contains('.'));
    if !well_formed || whole.len() > 12 || fraction.len() > places_usize {
        return Err(unreadable());
    }
    let whole: i64 = whole.parse().map_err(|_| unreadable())?;
    let padded = format!("{fraction:0<places_usize$}");
    let fraction: i64 = if padded.is_empty() { 0 } else { padded.parse().map_err(|_| unreadable())? };
    let value = whole.checked_mul(10_i64.pow(places)).and_then(|v| v.checked_add(fraction)).ok_or_else(unreadable)?;
    Ok(if negative { -value } else { value })
}

/// Divides and rounds half away from zero; the one rounding rule for money and converted weights.
/// The divisor is positive by contract of its callers (constants).
pub(crate) fn divide_half_up(numerator: i128, divisor: i128) -> i128 {
    let half = divisor / 2;
    if numerator >= 0 { (numerator + half) / divisor } else { -((-numerator + half) / divisor) }
}
