//! Implied decimals: the digits of a value and how many of them stand behind the point. Never a binary fraction.

use super::message::Element;
use std::fmt;

/// A number as its digits say it: `digits` / 10^`scale`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Decimal {
    pub digits: u64,
    pub scale: u32,
}

impl Decimal {
    /// The number of an element whose identifier ends in the count of decimals (31nn to 36nn, 390n to 395n). For an amount with a
    /// currency the three digits before it are no part of it.
    pub fn of(element: &Element) -> Option<Decimal> {
        let scale = element.ai.as_bytes().get(3).filter(|b| b.is_ascii_digit()).map(|b| u32::from(b - b'0'))?;
        let digits = match element.ai.get(..3)? {
            "391" | "393" => element.value.get(3..)?,
            family if matches!(family.get(..2), Some("31" | "32" | "33" | "34" | "35" | "36" | "39")) => &element.value,
            _ => return None,
        };
        let plain = (1..=15).contains(&digits.len()) && digits.bytes().all(|b| b.is_ascii_digit());
        Some(Decimal { digits: plain.then(|| digits.parse().ok()).flatten()?, scale })
    }

    /// The same number in whole parts of 10^-`places`; none when it has finer parts or does not fit.
    pub fn in_parts(self, places: u32) -> Option<i64> {
        let digits = i64::try_from(self.digits).ok()?;
        if places >= self.scale {
            return digits.checked_mul(10_i64.checked_pow(places - self.scale)?);
        }
        let divisor = 10_i64.checked_pow(self.scale - places)?;
        (digits % divisor == 0).then_some(digits / divisor)
    }
}

impl fmt::Display for Decimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let scale = usize::try_from(self.scale).unwrap_or(0);
        let text = format!("{:0width$}", self.digits, width = scale + 1);
        match text.split_at_checked(text.len() - scale) {
            Some((whole, fraction)) if !fraction.is_empty() => write!(f, "{whole}.{fraction}"),
            _ => f.write_str(&text),
        }
    }
}
