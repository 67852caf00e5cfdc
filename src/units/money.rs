//! Money in minor currency units and prices per kilogram. One rounding rule: half up, once, at the line's total.

use super::mass::{Grams, POUND_IN_MICROGRAMS};
use super::{OutOfRange, divide_half_up};

/// An amount of 0 to 10 million major units, in minor units (cents). Signed sums live in the ledger as plain integers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Cents(i64);

impl Cents {
    pub const ZERO: Cents = Cents(0);
    pub const MAXIMUM: i64 = 1_000_000_000;

    /// Refuses a negative amount and anything above 10 million major units.
    pub fn new(cents: i64) -> Result<Cents, OutOfRange> {
        if (0..=Self::MAXIMUM).contains(&cents) {
            return Ok(Cents(cents));
        }
        Err(OutOfRange { measure: "money in cents", value: cents.to_string(), minimum: 0, maximum: Self::MAXIMUM })
    }

    pub const fn get(self) -> i64 {
        self.0
    }
}

impl From<Cents> for i64 {
    fn from(amount: Cents) -> i64 {
        amount.0
    }
}

/// A price per kilogram in cents, 0 to 100,000.00 a kilogram.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct PricePerKg(i64);

impl PricePerKg {
    pub const MAXIMUM: i64 = 10_000_000;

    /// Refuses a negative price and anything above 100,000.00 a kilogram.
    pub fn new(cents: i64) -> Result<PricePerKg, OutOfRange> {
        if (0..=Self::MAXIMUM).contains(&cents) {
            return Ok(PricePerKg(cents));
        }
        Err(OutOfRange {
            measure: "price per kilogram in cents",
            value: cents.to_string(),
            minimum: 0,
            maximum: Self::MAXIMUM,
        })
    }

    pub const fn get(self) -> i64 {
        self.0
    }

    /// The price of a weight, to the cent, an exact half up (as retail scales do: common practice, no source).
    pub fn for_weight(self, weight: Grams) -> Cents {
        let exact_thousandths = i128::from(self.0) * i128::from(weight.get());
        let cents = divide_half_up(exact_thousandths, 1_000);
        Cents(i64::try_from(cents).unwrap_or(i64::MAX))
    }

    /// The price of a pound, to the nearest minor unit: for showing beside the price per kilogram, not for reckoning with.
    pub fn per_pound(self) -> Cents {
        let exact = i128::from(self.0) * POUND_IN_MICROGRAMS;
        Cents(i64::try_from(divide_half_up(exact, 1_000_000_000)).unwrap_or(i64::MAX))
    }

    /// This price less a share in permille, rounded down to the cent, never below zero.
    pub fn lowered_by_permille(self, permille: i64) -> PricePerKg {
        let kept = (1_000 - permille.clamp(0, 1_000)) * self.0 / 1_000;
        PricePerKg(kept)
    }
}

impl From<PricePerKg> for i64 {
    fn from(price: PricePerKg) -> i64 {
        price.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Weight times unit price, exact decimal arithmetic, half up: rows computed; the rule is common practice, no source.
    #[test]
    fn price_of_a_weight_is_exact_and_half_up() {
        let rows = [
            (268, 7_450, 1_997),
            (268, 7_449, 1_996),
            (250, 1_994, 499),
            (250, 1_998, 500),
            (1_005, 100, 101),
            (125, 396, 50),
            (375, 788, 296),
            (690, 3_628, 2_503),
            (0, 7_450, 0),
        ];
        for (grams, per_kg, cents) in rows {
            let price = Grams::new(grams).map(|weight| PricePerKg(per_kg).for_weight(weight).get());
            assert_eq!(price, Ok(cents), "{grams} g at {per_kg}");
        }
    }

    #[test]
    fn a_lowered_price_never_rises_and_never_turns_negative() {
        assert_eq!(PricePerKg(7_450).lowered_by_permille(200).get(), 5_960);
        assert_eq!(PricePerKg(7_450).lowered_by_permille(2_000).get(), 0);
        assert_eq!(PricePerKg(7_450).lowered_by_permille(-5).get(), 7_450);
    }
}
