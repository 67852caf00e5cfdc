//! Temperatures in thousandths of a degree Celsius, read in Celsius or Fahrenheit. What a temperature does to fish is `domain`'s.

use super::{OutOfRange, Unreadable, divide_half_up, parse_decimal};
use std::fmt;

/// A temperature of -100 to +100 °C in milli-degrees Celsius: wider than any counter, narrower than any sensor fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct MilliCelsius(i64);

impl MilliCelsius {
    pub const MINIMUM: i64 = -100_000;
    pub const MAXIMUM: i64 = 100_000;

    /// Refuses what lies outside -100 to +100 °C.
    pub fn new(milli_celsius: i64) -> Result<MilliCelsius, OutOfRange> {
        if (Self::MINIMUM..=Self::MAXIMUM).contains(&milli_celsius) {
            return Ok(MilliCelsius(milli_celsius));
        }
        let (minimum, maximum) = (Self::MINIMUM, Self::MAXIMUM);
        Err(OutOfRange {
            measure: "temperature in thousandths of a degree Celsius",
            value: milli_celsius.to_string(),
            minimum,
            maximum,
        })
    }

    /// The nearest temperature there can be: for constants, which are written inside the range.
    pub const fn clamped(milli_celsius: i64) -> MilliCelsius {
        if milli_celsius < Self::MINIMUM {
            MilliCelsius(Self::MINIMUM)
        } else if milli_celsius > Self::MAXIMUM {
            MilliCelsius(Self::MAXIMUM)
        } else {
            MilliCelsius(milli_celsius)
        }
    }

    /// The temperature nearest to a number of milli-degrees, held inside the range.
    pub fn nearest(milli_celsius: f64) -> MilliCelsius {
        // A float cast saturates, and takes what is no number for zero.
        MilliCelsius((milli_celsius.round() as i64).clamp(Self::MINIMUM, Self::MAXIMUM))
    }

    pub const fn get(self) -> i64 {
        self.0
    }

    /// Reads degrees Celsius with at most three decimals.
    pub fn from_celsius(text: &str) -> Result<MilliCelsius, Unreadable> {
        let milli = parse_decimal(text, 3, "degrees Celsius")?;
        MilliCelsius::new(milli).map_err(|_| Unreadable { measure: "degrees Celsius", text: text.to_owned() })
    }

    /// Reads degrees Fahrenheit with at most three decimals; the nearest milli-degree, half away from zero.
    pub fn from_fahrenheit(text: &str) -> Result<MilliCelsius, Unreadable> {
        let unreadable = || Unreadable { measure: "degrees Fahrenheit", text: text.to_owned() };
        let milli_fahrenheit = i128::from(parse_decimal(text, 3, "degrees Fahrenheit")?);
        let milli = divide_half_up((milli_fahrenheit - 32_000) * 5, 9);
        MilliCelsius::new(i64::try_from(milli).map_err(|_| unreadable())?).map_err(|_| unreadable())
    }

    /// Thousandths of a degree Fahrenheit, half away from zero.
    pub fn milli_fahrenheit(self) -> i64 {
        i64::try_from(divide_half_up(i128::from(self.0) * 9, 5)).unwrap_or(i64::MAX) + 32_000
    }
}

impl fmt::Display for MilliCelsius {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.0 < 0 { "-" } else { "" };
        let tenths = divide_half_up(i128::from(self.0.abs()), 100);
        write!(f, "{sign}{}.{} °C", tenths / 10, tenths % 10)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pairs printed side by side in the FDA Food Code (41 °F / 5 °C, -4 °F / -20 °C, -31 °F / -35 °C) and in FDA guidance
    /// (40 °F = 4.4 °C, 70 °F = 21.1 °C, 38 °F = 3.3 °C, each printed to a tenth).
    #[test]
    fn fahrenheit_agrees_with_the_printed_pairs() {
        for (fahrenheit, milli) in
            [("41", 5_000), ("-4", -20_000), ("-31", -35_000), ("32", 0), ("40", 4_444), ("70", 21_111), ("38", 3_333)]
        {
            assert_eq!(MilliCelsius::from_fahrenheit(fahrenheit).map(MilliCelsius::get), Ok(milli), "{fahrenheit} °F");
        }
        assert_eq!(MilliCelsius(5_000).milli_fahrenheit(), 41_000);
        assert_eq!(MilliCelsius(-20_000).milli_fahrenheit(), -4_000);
    }

    #[test]
    fn celsius_is_read_exactly() {
        assert_eq!(MilliCelsius::from_celsius("-1.5").map(MilliCelsius::get), Ok(-1_500));
        assert!(MilliCelsius::from_celsius("85,0").is_err() && MilliCelsius::from_celsius("127.0").is_err());
        assert_eq!(MilliCelsius(-1_500).to_string(), "-1.5 °C");
    }
}
