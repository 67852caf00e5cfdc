//! GS1 forms a tray's code is written in: check digit, article number, Digital Link address. Reading what scanners send is `scan_text`'s.

use crate::units::mass::Grams;
use crate::units::money::Cents;
use chrono::{Datelike, NaiveDate};

/// The check digit of a GS1 number given without it (GS1 General Specifications 7.9.1: weights 3, 1, 3, 1 from the right);
/// none when there is a character that is not a digit, or nothing.
pub fn check_digit(digits: &str) -> Option<u8> {
    if digits.is_empty() {
        return None;
    }
    let sum = digits.bytes().rev().enumerate().try_fold(0_u32, |sum, (i, b)| {
        b.is_ascii_digit().then(|| sum + u32::from(b - b'0') * if i % 2 == 0 { 3 } else { 1 })
    })?;
    u8::try_from((10 - sum % 10) % 10).ok()
}

/// A restricted-circulation article number in fourteen digits for a cut inside this shop (GS1 prefix 29: for use inside a
/// company). A shop with its own GS1 prefix will print that instead.
pub fn article_number(item_number: i64) -> Option<String> {
    let body = format!("029{:010}", u64::try_from(item_number).ok()?);
    check_digit(&body).map(|check| format!("{body}{check}"))
}

/// What a tray's address says. Lot and tray code hold only letters, digits and hyphens, so they need no percent-encoding.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TrayLink<'a> {
    /// Scheme and host, no path: `https://fish.example`.
    pub base: &'a str,
    pub item_number: i64,
    pub lot_code: &'a str,
    pub tray_code: &'a str,
    /// Net weight (AI 3103) and price (AI 3922): left out for tubs, whose weight changes after printing.
    pub weight_and_price: Option<(Grams, Cents)>,
    /// AI 17.
    pub use_by: Option<NaiveDate>,
}

impl TrayLink<'_> {
    /// The GS1 Digital Link URI (URI syntax 1.6.0: key 01, then 10, then 21; attributes behind). None when a value cannot be said
    /// correctly: then nothing may be printed.
    pub fn address(&self) -> Option<String> {
        let plain =
            |text: &str| (1..=20).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-');
        if !plain(self.lot_code) || !plain(self.tray_code) {
            return None;
        }
        let article = article_number(self.item_number)?;
        let mut attributes = Vec::new();
        if let Some((weight, _)) = self.weight_and_price {
            attributes.push(format!("3103={:06}", (weight.get() < 1_000_000).then_some(weight.get())?));
        }
        if let Some(day) = self.use_by {
            attributes.push(format!("17={:02}{:02}{:02}", day.year().rem_euclid(100), day.month(), day.day()));
        }
        if let Some((_, price)) = self.weight_and_price {
            attributes.push(format!("3922={:03}", price.get()));
        }
        let query = if attributes.is_empty() { String::new() } else { format!("?{}", attributes.join("&")) };
        Some(format!("{}/01/{article}/10/{}/21/{}{query}", self.base, self.lot_code, self.tray_code))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// GS1, "How to calculate a check digit manually" (first row); GS1 India and GS1 UK check-digit pages; the biip library's
    /// reference examples.
    #[test]
    fn published_check_digits() {
        let rows = [
            ("629104150021", 3),
            ("890400021003", 7),
            ("501234567890", 0),
            ("37610425002123456", 9),
            ("950110153100", 0),
            ("9501234", 6),
            ("703801005447", 1),
            ("978820551237", 5),
            ("708000382434", 9),
            ("0952012345678", 8),
            ("9952012345678", 1),
        ];
        for (digits, expected) in rows {
            assert_eq!(check_digit(digits), Some(expected), "{digits}");
        }
        assert_eq!((check_digit(""), check_digit("12a4")), (None, None));
    }

    #[test]
    fn a_tray_is_said_in_order() {
        let mut link = TrayLink {
            base: "https://fish.example",
            item_number: 101,
            lot_code: "YFT-261125-01",
            tray_code: "C4H7K9P",
            weight_and_price: Grams::new(268).ok().zip(Cents::new(1_997).ok()),
            use_by: NaiveDate::from_ymd_opt(2026, 11, 27),
        };
        let article = article_number(101).unwrap_or_default();
        assert_eq!(article.len(), 14);
        assert_eq!(
            link.address(),
            Some(format!(
                "https://fish.example/01/{article}/10/YFT-261125-01/21/C4H7K9P?3103=000268&17=261127&3922=1997"
            ))
        );
        link.lot_code = "YFT 1";
        assert_eq!(link.address(), None);
    }
}
