//! What the code of a tray says, in the two forms symbols carry: an address for the QR, an element string for other symbols. The one door for
//! whoever prints: nothing that a rule forbids comes out of it.

use super::dates;
use super::elements::{self, GS};
use super::fault::{Fault, What};
use super::link;
use super::message::Message;
use super::own::Article;
use super::rules;
use crate::units::mass::Grams;
use crate::units::money::Cents;
use chrono::{NaiveDate, NaiveTime, Timelike};

/// A tray's code before it is said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TrayLink<'a> {
    /// Scheme and host, no path: `https://fish.example`.
    pub base: &'a str,
    pub article: Article<'a>,
    pub lot_code: &'a str,
    pub tray_code: &'a str,
    /// Net weight (AI 310n) and price (AI 392n): left out for tubs, whose weight changes after printing.
    pub weight_and_price: Option<(Grams, Cents)>,
    /// Decimals of the minor unit the price is in: the n of AI 392n.
    pub money_decimals: u32,
    /// AI 17.
    pub use_by: Option<NaiveDate>,
    /// The minute on that day (AI 7003): for labels that nothing else tells from an older one of the same day.
    pub use_by_time: Option<NaiveTime>,
}

impl TrayLink<'_> {
    /// The GS1 Digital Link address; a fault when a value cannot be said correctly: then nothing may be printed.
    pub fn address(&self) -> Result<String, Fault> {
        link::build(self.base, &self.message()?)
    }

    /// The same as an element string, as a symbol holds it behind its leading FNC1.
    pub fn element_string(&self) -> Result<String, Fault> {
        Ok(elements::data(&self.message()?, GS))
    }

    /// Elements of fixed length first: then only the last ones need a separator.
    fn message(&self) -> Result<Message, Fault> {
        let mut message = Message::default();
        message.push("01", &self.article.number()?)?;
        if let Some((weight, _)) = self.weight_and_price {
            let (ai, value) = net_weight(weight)?;
            message.push(ai, &value)?;
        }
        if let Some(day) = self.use_by {
            message.push("17", &dates::six_digits(day))?;
        }
        if let Some((_, price)) = self.weight_and_price {
            let places = self.money_decimals;
            let width = usize::try_from(places).unwrap_or(0) + 1;
            message.push(&format!("392{places}"), &format!("{:0width$}", price.get()))?;
        }
        if let Some((day, time)) = self.use_by.zip(self.use_by_time) {
            message.push("7003", &to_the_minute(day, time))?;
        }
        message.push("10", self.lot_code)?;
        message.push("21", self.tray_code)?;
        rules::printable(&message)?;
        Ok(message)
    }
}

/// Ten digits: year, month, day, hour, minute.
pub fn to_the_minute(day: NaiveDate, time: NaiveTime) -> String {
    format!("{}{:02}{:02}", dates::six_digits(day), time.hour(), time.minute())
}

/// Kilograms with three decimals, or two where six digits do not reach (from 1,000 kg).
fn net_weight(weight: Grams) -> Result<(&'static str, String), Fault> {
    match weight.get() {
        grams @ 0..=999_999 => Ok(("3103", format!("{grams:06}"))),
        grams if grams % 10 == 0 => Ok(("3102", format!("{:06}", grams / 10))),
        _ => Err(Fault::of(What::DoesNotFit, "3103")),
    }
}
