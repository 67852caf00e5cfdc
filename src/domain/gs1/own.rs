//! The shop's own numbers, as its settings choose them: article numbers with or without a GS1 company prefix, and the linear code besides
//! the QR for tills that read no QR yet.

use super::check;
use super::fault::{Fault, What};
use super::restricted::{Layout, Measure};
use crate::units::mass::Grams;
use crate::units::money::Cents;

/// What a shop's codes are made of.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Codes {
    /// Digits of the shop's GS1 company prefix.
    pub gs1_prefix: Option<String>,
    pub linear: Option<Linear>,
}

/// The linear code: its layout, and how many decimals its price or weight has.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Linear {
    pub layout: Layout,
    pub decimals: u32,
    /// Decimals of the minor unit in which the shop keeps its prices.
    pub money_decimals: u32,
}

/// A price or a weight that a linear code carries.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Carried {
    Price(Cents),
    Weight(Grams),
}

/// What stands for a cut in a tray's code.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Article<'a> {
    /// For use inside a company alone: GS1 prefix 29.
    Restricted { item_number: i64 },
    /// A trade item of variable measure under the shop's own prefix.
    Gtin { prefix: &'a str, item_number: i64 },
}

impl Article<'_> {
    /// The article number in fourteen digits.
    pub fn number(&self) -> Result<String, Fault> {
        let unsaid = || Fault::of(What::DoesNotFit, "01");
        let (head, item) = match self {
            Article::Restricted { item_number } => ("029".to_owned(), *item_number),
            Article::Gtin { prefix, item_number } => (format!("9{prefix}"), *item_number),
        };
        let item = u64::try_from(item).map_err(|_| unsaid())?;
        let width = 13_usize.checked_sub(head.len()).ok_or_else(unsaid)?;
        let digits = format!("{item:0width$}");
        if digits.len() > width {
            return Err(unsaid());
        }
        check::with_check_digit(&format!("{head}{digits}")).ok_or_else(unsaid)
    }
}

impl Codes {
    /// The article that labels of a cut name from now on.
    pub fn article(&self, item_number: i64) -> Article<'_> {
        match &self.gs1_prefix {
            Some(prefix) => Article::Gtin { prefix, item_number },
            None => Article::Restricted { item_number },
        }
    }

    /// Whether an article number is one of this shop's, of whatever cut.
    pub fn is_own(&self, number: &str) -> bool {
        number.len() == 14
            && (number.starts_with("029")
                || self.gs1_prefix.as_ref().is_some_and(|p| number.strip_prefix('9').is_some_and(|n| n.starts_with(p))))
    }

    /// Whether an article number names the cut with this item number. The restricted number still does after the shop got its prefix:
    /// labels from before are still about.
    pub fn names(&self, number: &str, item_number: i64) -> bool {
        let says = |article: &Article<'_>| article.number().is_ok_and(|own| own == number);
        says(&self.article(item_number)) || says(&Article::Restricted { item_number })
    }

    /// The number of the linear code of a tray, or none where the shop prints none. Refused, never cut short, when an item number or a
    /// price has more digits than the layout, or finer parts.
    pub fn linear_number(&self, item_number: i64, price: Cents, weight: Grams) -> Result<Option<String>, Fault> {
        let Some(linear) = &self.linear else { return Ok(None) };
        linear.number(item_number, price, weight).map(Some)
    }
}

impl Linear {
    fn number(&self, item_number: i64, price: Cents, weight: Grams) -> Result<String, Fault> {
        let unsaid = || Fault::new(What::DoesNotFit);
        let value = match self.layout.measure() {
            Measure::Price => price.get(),
            Measure::Weight => weight.get(),
        };
        let item = u64::try_from(item_number).ok().filter(|item| *item > 0).ok_or_else(unsaid)?;
        let printed = rescaled(value, self.own_decimals(), self.decimals).ok_or_else(unsaid)?;
        // A measure of nothing is the number of a price table, not of a tray.
        let printed = u64::try_from(printed).ok().filter(|value| *value > 0).ok_or_else(unsaid)?;
        self.layout.build(item, printed)
    }

    /// What a number of this layout says.
    pub fn read(&self, number: &str) -> Result<(i64, Carried), Fault> {
        let unsaid = || Fault::new(What::DoesNotFit);
        let parts = self.layout.read(number)?;
        if parts.item == 0 || parts.measure == 0 {
            return Err(Fault::new(What::OtherLayout));
        }
        let item = i64::try_from(parts.item).map_err(|_| unsaid())?;
        let printed = i64::try_from(parts.measure).map_err(|_| unsaid())?;
        let value = rescaled(printed, self.decimals, self.own_decimals()).ok_or_else(unsaid)?;
        let carried = match self.layout.measure() {
            Measure::Price => Carried::Price(Cents::new(value).map_err(|_| unsaid())?),
            Measure::Weight => Carried::Weight(Grams::new(value).map_err(|_| unsaid())?),
        };
        Ok((item, carried))
    }

    /// Decimals of the whole numbers in which this program keeps the measure: minor units, grams.
    const fn own_decimals(&self) -> u32 {
        match self.layout.measure() {
            Measure::Price => self.money_decimals,
            Measure::Weight => 3,
        }
    }
}

/// A whole number of 10^-`from` in 10^-`to`; none when that is not whole.
fn rescaled(value: i64, from: u32, to: u32) -> Option<i64> {
    if to >= from {
        return value.checked_mul(10_i64.checked_pow(to - from)?);
    }
    let divisor = 10_i64.checked_pow(from - to)?;
    (value % divisor == 0).then_some(value / divisor)
}
