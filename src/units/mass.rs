//! Mass in whole grams, and its reading and writing in kilograms and pounds. Prices belong to `money`.

use super::{OutOfRange, Unreadable, divide_half_up, parse_decimal};
use std::fmt;

/// A mass of 0 to 10 t in whole grams.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Grams(i64);

/// One pound in micrograms: exactly 0.45359237 kg (NIST SP 811, footnote 22).
pub(super) const POUND_IN_MICROGRAMS: i128 = 453_592_370;

impl Grams {
    pub const ZERO: Grams = Grams(0);
    pub const MAXIMUM: i64 = 10_000_000;

    /// Refuses a negative mass and anything above 10 t.
    pub fn new(grams: i64) -> Result<Grams, OutOfRange> {
        if (0..=Self::MAXIMUM).contains(&grams) { Ok(Grams(grams)) } else { Err(out_of_range(grams)) }
    }

    pub const fn get(self) -> i64 {
        self.0
    }

    pub const fn is_zero(self) -> bool {
        self.0 == 0
    }

    /// `self - other`, or none when that would be less than nothing.
    pub fn minus(self, other: Grams) -> Option<Grams> {
        (self.0 >= other.0).then(|| Grams(self.0 - other.0))
    }

    /// `self + other`, refused above 10 t.
    pub fn plus(self, other: Grams) -> Result<Grams, OutOfRange> {
        Grams::new(self.0 + other.0)
    }

    /// Reads kilograms with at most three decimals, so exactly.
    pub fn from_kilograms(text: &str) -> Result<Grams, Unreadable> {
        let grams = parse_decimal(text, 3, "kilograms")?;
        Grams::new(grams).map_err(|_| Unreadable { measure: "kilograms", text: text.to_owned() })
    }

    /// Reads pounds with at most three decimals; the nearest gram, half away from zero.
    pub fn from_pounds(text: &str) -> Result<Grams, Unreadable> {
        let unreadable = || Unreadable { measure: "pounds", text: text.to_owned() };
        let thousandths = i128::from(parse_decimal(text, 3, "pounds")?);
        let grams = divide_half_up(thousandths * POUND_IN_MICROGRAMS, 1_000 * 1_000_000);
        Grams::new(i64::try_from(grams).map_err(|_| unreadable())?).map_err(|_| unreadable())
    }

    /// Thousandths of a pound, rounded down: a printed weight never overstates (NIST, packaging and labelling rule: from memory).
    pub fn pound_thousandths_down(self) -> i64 {
        let thousandths = i128::from(self.0) * 1_000_000 * 1_000 / POUND_IN_MICROGRAMS;
        i64::try_from(thousandths).unwrap_or(i64::MAX)
    }
}

fn out_of_range(grams: i64) -> OutOfRange {
    OutOfRange { measure: "mass in grams", value: grams.to_string(), minimum: 0, maximum: Grams::MAXIMUM }
}

impl fmt::Display for Grams {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0 < 1_000 {
            write!(f, "{} g", self.0)
        } else {
            write!(f, "{}.{:03} kg", self.0 / 1_000, self.0 % 1_000)
        }
    }
}

impl std::iter::Sum for Grams {
    /// Saturates at the largest mass; sums that must be exact use `plus`.
    fn sum<I: Iterator<Item = Grams>>(iter: I) -> Grams {
        Grams(iter.map(|g| g.0).sum::<i64>().min(Grams::MAXIMUM))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Conversion rows computed from 1 lb = 0.45359237 kg exactly (NIST SP 811, footnote 22).
    #[test]
    fn pounds_follow_the_exact_definition() -> Result<(), Unreadable> {
        for (grams, down) in
            [(268, 590), (195, 429), (18_600, 41_005), (31_400, 69_225), (454, 1_000), (453, 998), (1_000, 2_204)]
        {
            assert_eq!(Grams(grams).pound_thousandths_down(), down, "{grams} g");
        }
        for (pounds, grams) in [("0.69", 313), ("1", 454), ("0.250", 113), ("41.006", 18_600)] {
            assert_eq!(Grams::from_pounds(pounds)?.get(), grams, "{pounds} lb");
        }
        Ok(())
    }

    #[test]
    fn kilograms_are_read_exactly_or_not_at_all() {
        assert_eq!(Grams::from_kilograms("41.250").map(Grams::get), Ok(41_250));
        for bad in ["", "1,5", "1.2345", "-1", "1e3", "99999", ".5", "1.", "+1", "NaN"] {
            assert!(Grams::from_kilograms(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn bounds_hold() {
        assert!(Grams::new(-1).is_err() && Grams::new(10_000_001).is_err());
        assert_eq!(Grams::new(5).ok().and_then(|g| g.minus(Grams(6))), None);
        assert_eq!(Grams(1_005).to_string(), "1.005 kg");
    }
}
