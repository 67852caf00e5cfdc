//! The table `[shop.hours]`: when the shop is open, weekday by weekday.

use super::reader::Section;
use crate::domain::hours::{OpeningHours, Span};
use chrono::NaiveTime;
use toml::Value;

pub(super) const DAYS: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];
const DAY: &str = "must be from opening to closing, such as \"10:00-19:00\", or \"closed\"";

/// Reads `[shop.hours]`; what is wrong with it goes to the section's problems.
pub fn read(shop: &mut Section<'_>) -> OpeningHours {
    let table = match shop.value("hours") {
        None => return OpeningHours::default(),
        Some(Value::Table(table)) => table,
        Some(other) => {
            shop.wrong("hours", &other, "must be a table, [shop.hours]");
            return OpeningHours::default();
        }
    };
    let found = Value::Table(table.clone());
    let hours = shop.inner("hours", table, |section| {
        let mut hours = OpeningHours::default();
        for (day, key) in hours.days.iter_mut().zip(DAYS) {
            *day = section.text(key, *day, DAY, span);
        }
        hours
    });
    if hours.days.iter().all(Option::is_none) {
        shop.wrong("hours", &found, "the shop has to open on some day");
    }
    hours
}

/// A day's hours; the inner none is a day on which it stays closed.
#[expect(clippy::option_option, reason = "a day that cannot be read, and one that is closed")]
fn span(text: &str) -> Option<Option<Span>> {
    if text == "closed" {
        return Some(None);
    }
    let (open, close) = text.split_once('-')?;
    let (open, close) = (time(open)?, time(close)?);
    (open < close).then_some(Some(Span { open, close }))
}

/// A time of the day as HH:MM.
pub fn time(text: &str) -> Option<NaiveTime> {
    (text.len() == 5).then(|| NaiveTime::parse_from_str(text, "%H:%M").ok())?
}
