//! Dates and times inside GS1 values: six digits without a century, day 00 for the last day of the month, and times of day.

use super::fault::{Fault, What};
use chrono::{Datelike, NaiveDate};

/// Whether day 00 may stand for the last day of the month.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DayZero {
    LastOfMonth,
    Refused,
}

/// The year that two digits mean (GS1 General Specifications 7.12): from 49 years back to 50 ahead of the current one.
pub const fn full_year(two_digits: i32, current_year: i32) -> i32 {
    let century = current_year - current_year.rem_euclid(100);
    match two_digits - current_year.rem_euclid(100) {
        51..=99 => century - 100 + two_digits,
        -99..=-50 => century + 100 + two_digits,
        _ => century + two_digits,
    }
}

/// Checks `yymmdd`. Without a century the year 00 is taken for a leap year, as the GS1 checks do.
pub fn check_day(digits: &str, day_zero: DayZero) -> Result<(), Fault> {
    let Pairs(year, month, day) = pairs(digits)?;
    check_month_and_day(2_000 + year, month, day, day_zero)
}

fn check_month_and_day(year: i32, month: u32, day: u32, day_zero: DayZero) -> Result<(), Fault> {
    let first = NaiveDate::from_ymd_opt(year, month, 1).ok_or_else(|| Fault::at(What::Month, 2))?;
    if day == 0 && day_zero == DayZero::LastOfMonth {
        return Ok(());
    }
    first.with_day(day).map(drop).ok_or_else(|| Fault::at(What::Day, 4))
}

/// The day that `yymmdd` means in the year of the reader's clock.
pub fn day(digits: &str, current_year: i32) -> Result<NaiveDate, Fault> {
    let Pairs(year, month, day) = pairs(digits)?;
    let year = full_year(year, current_year);
    let first = NaiveDate::from_ymd_opt(year, month, 1).ok_or_else(|| Fault::at(What::Month, 2))?;
    if day == 0 {
        let next = first.checked_add_months(chrono::Months::new(1)).and_then(|next| next.pred_opt());
        return next.ok_or_else(|| Fault::at(What::Day, 4));
    }
    // A 29 February that fits in one century only is refused in the other.
    first.with_day(day).ok_or_else(|| Fault::at(What::Day, 4))
}

/// `yymmdd` of a day.
pub fn six_digits(day: NaiveDate) -> String {
    format!("{:02}{:02}{:02}", day.year().rem_euclid(100), day.month(), day.day())
}

/// Checks `yyyymmdd`.
pub fn check_long_day(digits: &str) -> Result<(), Fault> {
    let (century, rest) = digits.split_at_checked(2).ok_or_else(|| Fault::new(What::ValueTooShort))?;
    let century: i32 = century.parse().map_err(|_| Fault::new(What::NotADigit))?;
    let Pairs(year, month, day) = pairs(rest)?;
    check_month_and_day(century * 100 + year, month, day, DayZero::Refused)
}

/// Checks two digits of hours, minutes or seconds.
pub fn check_clock(digits: &str, below: u32) -> Result<(), Fault> {
    two(digits, 0).filter(|number| *number < below).map(drop).ok_or_else(|| Fault::new(What::Time))
}

/// Checks `hhmi`.
pub fn check_hour_and_minute(digits: &str) -> Result<(), Fault> {
    let (hour, minute) = digits.split_at_checked(2).ok_or_else(|| Fault::new(What::ValueTooShort))?;
    check_clock(hour, 24)?;
    check_clock(minute, 60).map_err(|fault| Fault::at(fault.what, 2))
}

fn two(digits: &str, at: usize) -> Option<u32> {
    let pair = digits.get(at..at + 2)?;
    pair.bytes().all(|b| b.is_ascii_digit()).then(|| pair.parse().ok()).flatten()
}

struct Pairs(i32, u32, u32);

fn pairs(digits: &str) -> Result<Pairs, Fault> {
    let read = || Some(Pairs(i32::try_from(two(digits, 0)?).ok()?, two(digits, 2)?, two(digits, 4)?));
    match read() {
        Some(pairs) if digits.len() == 6 => Ok(pairs),
        _ => Err(Fault::new(What::NotADigit)),
    }
}
