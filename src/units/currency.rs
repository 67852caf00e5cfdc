//! How a shop writes its money and its weights: sign, decimals and decimal mark, kilograms or pounds. Amounts are `money`'s, weights `mass`'s.

use super::mass::Grams;
use super::money::PricePerKg;

/// One currency as a shop writes it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Currency {
    /// ISO 4217 code.
    pub code: String,
    /// What stands beside amounts.
    pub sign: String,
    /// Whether the sign stands before the amount, as in $9.95, or after it, as in 9.95 €.
    pub sign_first: bool,
    pub mark: DecimalMark,
}

/// What stands before the decimals.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DecimalMark {
    Point,
    Comma,
}

impl DecimalMark {
    pub const fn as_str(self) -> &'static str {
        match self {
            DecimalMark::Point => ".",
            DecimalMark::Comma => ",",
        }
    }

    pub fn parse(text: &str) -> Option<DecimalMark> {
        [DecimalMark::Point, DecimalMark::Comma].into_iter().find(|mark| mark.as_str() == text)
    }

    /// A whole number of `10^-decimals`.
    pub fn write(self, amount: i64, decimals: u32) -> String {
        let unit = 10_i64.pow(decimals.min(6));
        if unit == 1 {
            return amount.to_string();
        }
        let width = usize::try_from(decimals.min(6)).unwrap_or(0);
        let (minus, size, unit) = (if amount < 0 { "-" } else { "" }, amount.unsigned_abs(), unit.unsigned_abs());
        format!("{minus}{}{}{:0width$}", size / unit, self.as_str(), size % unit)
    }
}

/// ISO 4217 codes whose minor unit is not a hundredth, with its decimals (ISO 4217 list of currencies: from memory).
const OTHER_DECIMALS: [(&str, u32); 25] = [
    ("BIF", 0),
    ("CLP", 0),
    ("DJF", 0),
    ("GNF", 0),
    ("ISK", 0),
    ("JPY", 0),
    ("KMF", 0),
    ("KRW", 0),
    ("PYG", 0),
    ("RWF", 0),
    ("UGX", 0),
    ("UYI", 0),
    ("VND", 0),
    ("VUV", 0),
    ("XAF", 0),
    ("XOF", 0),
    ("XPF", 0),
    ("BHD", 3),
    ("IQD", 3),
    ("JOD", 3),
    ("KWD", 3),
    ("LYD", 3),
    ("OMR", 3),
    ("TND", 3),
    ("CLF", 4),
];

impl Currency {
    /// None when the code is not three capital letters.
    pub fn new(code: &str, sign: &str, sign_first: bool, mark: DecimalMark) -> Option<Currency> {
        let shaped = code.len() == 3 && code.bytes().all(|b| b.is_ascii_uppercase());
        shaped.then(|| Currency { code: code.to_owned(), sign: sign.to_owned(), sign_first, mark })
    }

    /// Decimals of the minor unit in which amounts are kept.
    pub fn decimals(&self) -> u32 {
        OTHER_DECIMALS.iter().find(|(code, _)| *code == self.code).map_or(2, |(_, decimals)| *decimals)
    }

    /// An amount in minor units with its sign. A sign of letters keeps its distance on either side.
    pub fn write(&self, minor: impl Into<i64>) -> String {
        let minor: i64 = minor.into();
        let amount = self.mark.write(minor.saturating_abs(), self.decimals());
        let word = self.sign.chars().next_back().is_some_and(char::is_alphabetic);
        let minus = if minor < 0 { "-" } else { "" };
        match (self.sign_first, word) {
            (true, false) => format!("{minus}{}{amount}", self.sign),
            (true, true) => format!("{minus}{} {amount}", self.sign),
            (false, _) => format!("{minus}{amount} {}", self.sign),
        }
    }
}

/// The unit in which a shop's customers buy.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WeightUnit {
    Kilogram,
    Pound,
}

impl WeightUnit {
    pub const fn as_str(self) -> &'static str {
        match self {
            WeightUnit::Kilogram => "kg",
            WeightUnit::Pound => "lb",
        }
    }

    pub fn parse(text: &str) -> Option<WeightUnit> {
        [WeightUnit::Kilogram, WeightUnit::Pound].into_iter().find(|unit| unit.as_str() == text)
    }

    /// A weight for a label: `268 g`, `1.240 kg`, and before it `0.590 lb` where pounds are asked for, rounded down so that it never
    /// overstates (NIST labelling fact sheet on the UPLR: three decimals at most, converted values rounded down).
    pub fn write(self, weight: Grams, mark: DecimalMark) -> String {
        let metric = if weight.get() < 1_000 {
            format!("{} g", weight.get())
        } else {
            format!("{} kg", mark.write(weight.get(), 3))
        };
        match self {
            WeightUnit::Kilogram => metric,
            WeightUnit::Pound => format!("{} lb ({metric})", mark.write(weight.pound_thousandths_down(), 3)),
        }
    }

    /// A price per unit for a label. The shop keeps prices per kilogram and the total is reckoned from that one; a price per pound is derived
    /// from it and only about right, which is said: multiplied with the pounds it need not give the total.
    pub fn write_price(self, price: PricePerKg, currency: &Currency) -> String {
        let per_kg = format!("{}/kg", currency.write(price));
        match self {
            WeightUnit::Kilogram => per_kg,
            WeightUnit::Pound => format!("{per_kg} (≈ {}/lb)", currency.write(price.per_pound())),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn currency(code: &str, sign: &str, sign_first: bool, mark: DecimalMark) -> Currency {
        Currency::new(code, sign, sign_first, mark).unwrap_or_else(|| panic!("{code}"))
    }

    #[test]
    fn amounts_are_written_as_the_shop_writes_them() {
        let euro = currency("EUR", "€", false, DecimalMark::Comma);
        assert_eq!((euro.write(1_997), euro.write(5)), ("19,97 €".into(), "0,05 €".into()));
        assert_eq!((euro.write(-5), DecimalMark::Comma.write(-150, 2)), ("-0,05 €".into(), "-1,50".into()));
        assert_eq!(currency("USD", "$", true, DecimalMark::Point).write(1_997), "$19.97");
        assert_eq!(currency("USD", "$", true, DecimalMark::Point).write(-1_997), "-$19.97");
        assert_eq!(currency("JPY", "¥", true, DecimalMark::Point).write(1_980), "¥1980");
        assert_eq!(currency("NOK", "kr", false, DecimalMark::Comma).write(24_990), "249,90 kr");
        assert_eq!(currency("CHF", "Fr.", true, DecimalMark::Point).write(995), "Fr.9.95");
        assert_eq!(currency("KWD", "KD", true, DecimalMark::Point).write(1_997), "KD 1.997");
        assert_eq!(Currency::new("eur", "€", true, DecimalMark::Point), None);
    }

    /// Conversions computed from 1 lb = 0.45359237 kg exactly (NIST SP 811, footnote 22).
    #[test]
    fn pounds_round_down_and_keep_the_price_per_kilogram_beside_them() {
        let dollar = currency("USD", "$", true, DecimalMark::Point);
        let weight = |grams| WeightUnit::Pound.write(Grams::new(grams).unwrap_or_default(), DecimalMark::Point);
        assert_eq!((weight(268), weight(18_600)), ("0.590 lb (268 g)".into(), "41.005 lb (18.600 kg)".into()));
        for (per_kg, words) in [(8_000, "$80.00/kg (≈ $36.29/lb)"), (7_450, "$74.50/kg (≈ $33.79/lb)")] {
            let price = PricePerKg::new(per_kg).unwrap_or_default();
            assert_eq!(WeightUnit::Pound.write_price(price, &dollar), words);
        }
        let comma = WeightUnit::Kilogram.write(Grams::new(1_240).unwrap_or_default(), DecimalMark::Comma);
        assert_eq!(comma, "1,240 kg");
    }
}
