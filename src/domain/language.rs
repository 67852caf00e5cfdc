//! The languages that customers are spoken to in, and how each writes its dates. What is said in them stands where it is said.

use crate::units::instant::Instant;
use crate::units::zone::{Zone, write_day};
use chrono::{Datelike, NaiveDate, Timelike};

/// A language of the pages for customers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Language {
    English,
    Japanese,
}

impl Language {
    pub const ALL: [Language; 2] = [Language::English, Language::Japanese];

    /// The tag of BCP 47.
    pub const fn tag(self) -> &'static str {
        match self {
            Language::English => "en",
            Language::Japanese => "ja",
        }
    }

    /// Reads a tag in either case, without regions: `en`, `JA`.
    pub fn parse(tag: &str) -> Option<Language> {
        Self::ALL.into_iter().find(|language| language.tag().eq_ignore_ascii_case(tag))
    }

    /// What the language calls itself, so that whoever reads only this one finds it.
    pub const fn own_name(self) -> &'static str {
        match self {
            Language::English => "English",
            Language::Japanese => "日本語",
        }
    }

    /// `26 Nov 2026`, as on the label; `2026年11月26日`.
    pub fn day(self, day: NaiveDate) -> String {
        match self {
            Language::English => write_day(day),
            Language::Japanese => format!("{}年{}月{}日", day.year(), day.month(), day.day()),
        }
    }

    /// A day, or the first and the last of several.
    pub fn days(self, from: NaiveDate, to: NaiveDate) -> String {
        match self {
            _ if from == to => self.day(from),
            Language::English => format!("{} to {}", self.day(from), self.day(to)),
            Language::Japanese => format!("{}～{}", self.day(from), self.day(to)),
        }
    }

    /// An instant to the minute, on the wall clock of the shop.
    pub fn moment(self, zone: Zone, instant: Instant) -> String {
        match self {
            Language::English => zone.write(instant),
            Language::Japanese => {
                let (day, time) = (self.day(zone.day_of(instant)), zone.time_of(instant));
                format!("{day} {}:{:02}", time.hour(), time.minute())
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::zone::parse_day;

    #[test]
    fn each_language_writes_its_own_dates() {
        let day = |text: &str| parse_day(text).unwrap_or_default();
        let (one, other) = (day("2026-01-05"), day("2026-11-26"));
        assert_eq!(Language::English.days(one, other), "5 Jan 2026 to 26 Nov 2026");
        assert_eq!(Language::Japanese.days(one, other), "2026年1月5日～2026年11月26日");
        assert_eq!(Language::Japanese.days(one, one), "2026年1月5日");
        let tokyo = Zone::parse("Asia/Tokyo").unwrap_or(Zone::UTC);
        let moment = Instant::parse("2026-11-26T00:05:59Z").unwrap_or(Instant::EPOCH);
        assert_eq!(Language::Japanese.moment(tokyo, moment), "2026年11月26日 9:05");
        assert_eq!(Language::English.moment(tokyo, moment), "26 Nov 2026 09:05");
    }

    #[test]
    fn tags_are_read_in_either_case() {
        assert_eq!(Language::parse("JA"), Some(Language::Japanese));
        assert_eq!((Language::parse("fr"), Language::parse("ja-JP"), Language::parse("")), (None, None, None));
    }
}
