//! Reads the temperature of a reading as loggers write it, and knows what they write when they have none.

use super::{Fault, Outcome, Unit, quoted};
use crate::units::divide_half_up;
use crate::units::temperature::MilliCelsius;

/// What a sensor of a counter, a freezer or a bench can measure, in milli-degrees Celsius. Wider than any of them, and narrower than what
/// a broken one says (common practice, no source).
pub const COLDEST: i64 = -90_000;
pub const WARMEST: i64 = 60_000;

/// What stands in the place of a temperature that was not measured, in lower case.
const NO_VALUE: [&str; 22] = [
    "",
    "-",
    "--",
    "---",
    "----",
    "n/a",
    "na",
    "#n/a",
    "nan",
    "null",
    "none",
    "nil",
    "err",
    "error",
    "fault",
    "fail",
    "ol",
    "open",
    "short",
    "inf",
    "-inf",
    "no sensor",
];

/// Reads one cell. A unit in the cell counts before the one that is said.
pub fn read(text: &str, said: Unit) -> Result<MilliCelsius, Fault> {
    let (number, unit) = without_unit(text.trim());
    let Some(milli) = milli(number) else { return Err(no_number(text)) };
    let celsius = match unit.unwrap_or(said) {
        Unit::Celsius => milli,
        Unit::Fahrenheit => i64::try_from(divide_half_up((i128::from(milli) - 32_000) * 5, 9)).unwrap_or(i64::MAX),
    };
    if !(COLDEST..=WARMEST).contains(&celsius) {
        return Err(Fault { outcome: Outcome::SensorFault, reason: out_of_range(text, celsius) });
    }
    MilliCelsius::new(celsius).map_err(|e| Fault::unreadable(e.to_string()))
}

/// Whether a text is a number, with or without a unit of temperature, whatever it says.
pub fn is_number(text: &str) -> bool {
    milli(without_unit(text.trim()).0).is_some()
}

/// The unit, when a text is nothing else.
pub fn only_unit(text: &str) -> Option<Unit> {
    let bare = text.trim().trim_start_matches(['[', '(']).trim_end_matches([']', ')']);
    let (rest, unit) = without_unit(bare);
    unit.filter(|_| rest.is_empty())
}

fn no_number(text: &str) -> Fault {
    let said = text.trim().to_lowercase();
    if NO_VALUE.contains(&said.as_str()) || said.bytes().all(|b| matches!(b, b'#' | b'*' | b'?')) {
        let reason = if said.is_empty() {
            "no temperature stands there".into()
        } else {
            format!("the logger says {}", quoted(text))
        };
        return Fault { outcome: Outcome::SensorFault, reason };
    }
    Fault::unreadable(format!("{} is no temperature", quoted(text)))
}

/// Digital sensors say exactly 85 °C when they were read before they had measured, and -127 °C when they do not answer (common practice,
/// no source).
fn out_of_range(text: &str, celsius: i64) -> String {
    match celsius {
        85_000 => "exactly 85 °C is what a sensor says that has not measured".into(),
        -127_000 => "exactly -127 °C is what is written for a sensor that does not answer".into(),
        _ => format!("{} lies outside -90 to +60 °C", quoted(text.trim())),
    }
}

/// A text without the unit at its end, and the unit.
fn without_unit(text: &str) -> (&str, Option<Unit>) {
    // Most cells are bare numbers.
    let Some(last) = text.chars().next_back().filter(|c| !c.is_ascii_digit()) else { return (text, None) };
    let unit = match last {
        'C' | 'c' | '℃' => Unit::Celsius,
        'F' | 'f' | '℉' => Unit::Fahrenheit,
        _ => return (text, None),
    };
    let rest = text.get(..text.len() - last.len_utf8()).unwrap_or("").trim_end();
    let rest = rest.trim_end_matches(['°', 'º']);
    let rest = rest.strip_suffix("deg").or_else(|| rest.strip_suffix("Deg")).unwrap_or(rest);
    (rest.trim_end(), Some(unit))
}

/// A plain number in thousandths: a sign, digits, a decimal point or comma, digits. Decimals beyond the third are rounded half away from
/// zero. None when it is none.
fn milli(text: &str) -> Option<i64> {
    let (negative, digits) = match text.strip_prefix(['-', '\u{2212}']) {
        Some(rest) => (true, rest),
        None => (false, text.strip_prefix('+').unwrap_or(text)),
    };
    let (mut value, mut places, mut any) = (0_i64, None, false);
    for byte in digits.bytes() {
        match byte {
            b'0'..=b'9' => {
                any = true;
                let digit = i64::from(byte - b'0');
                match places {
                    // Far out of every range, whatever follows.
                    None if value > 99_999_999 => {}
                    None => value = value * 10 + digit,
                    Some(place @ 0..=2) => {
                        value = value * 10 + digit;
                        places = Some(place + 1);
                    }
                    Some(3) => {
                        value += i64::from(digit >= 5);
                        places = Some(4);
                    }
                    Some(_) => {}
                }
            }
            b'.' | b',' if places.is_none() => places = Some(0),
            b'e' | b'E' if any => return scientific(text),
            _ => return None,
        }
    }
    let missing = 3 - places.unwrap_or(0).min(3);
    let value = (0..missing).fold(value, |value, _| value * 10);
    any.then_some(if negative { -value } else { value })
}

/// `1.25E+00`, as instruments write.
fn scientific(text: &str) -> Option<i64> {
    let value: f64 = text.replace(',', ".").replace('\u{2212}', "-").parse().ok()?;
    let milli = (value * 1_000.0).round().clamp(-1e12, 1e12);
    #[allow(clippy::cast_possible_truncation, reason = "a whole number within what was clamped")]
    milli.is_finite().then_some(milli as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn celsius(text: &str) -> Option<i64> {
        read(text, Unit::Celsius).ok().map(MilliCelsius::get)
    }

    #[test]
    fn temperatures_are_read_as_they_are_written() {
        let rows = [
            ("1.2", 1_200),
            ("-1,25", -1_250),
            ("+0.5", 500),
            ("\u{2212}18", -18_000),
            (".5", 500),
            ("4.", 4_000),
            ("1.2 °C", 1_200),
            ("34.16°F", 1_200),
            ("34.16 F", 1_200),
            ("1.2℃", 1_200),
            ("1.2 deg C", 1_200),
            ("1.23456", 1_235),
            ("-1.23444", -1_234),
            ("1.25E+00", 1_250),
            ("0012.5", 12_500),
            ("60", 60_000),
            ("-90", -90_000),
        ];
        for (text, milli) in rows {
            assert_eq!(celsius(text), Some(milli), "{text}");
        }
        assert_eq!(read("32", Unit::Fahrenheit).map(MilliCelsius::get), Ok(0));
        assert_eq!(read("1,0 °C", Unit::Fahrenheit).map(MilliCelsius::get), Ok(1_000));
    }

    #[test]
    fn a_sensor_that_has_nothing_to_say_is_told_from_nonsense() {
        for fault in [
            "",
            "---",
            "ERR",
            "NaN",
            "85",
            "85.000",
            "-127",
            "185 °F",
            "60.001",
            "-90.001",
            "9999999999999",
            "1e300",
            "####",
        ] {
            assert_eq!(read(fault, Unit::Celsius).err().map(|f| f.outcome), Some(Outcome::SensorFault), "{fault}");
        }
        for nonsense in ["abc", "1.2.3", "1,234.5", "1 2", "e5", "12:00", "--5", "°C", "0x10"] {
            assert_eq!(read(nonsense, Unit::Celsius).err().map(|f| f.outcome), Some(Outcome::Unreadable), "{nonsense}");
        }
    }

    #[test]
    fn a_unit_alone_is_known() {
        assert_eq!(only_unit("[°F]"), Some(Unit::Fahrenheit));
        assert_eq!(only_unit("℃"), Some(Unit::Celsius));
        assert_eq!((only_unit("1 °C"), only_unit("")), (None, None));
    }
}
