//! Reads the time of a reading as loggers write it. What is ambiguous is not guessed: a date in slashes or hyphens that does not begin
//! with its year needs to be told whether the day or the month comes first.

use super::DateOrder;
use crate::units::instant::{Instant, MICROS_PER_SECOND};
use chrono::{Datelike, NaiveDate, NaiveDateTime, NaiveTime};

/// A time as it was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stamp {
    /// With its offset, or counted from 1970.
    At(Instant),
    /// On the clock on the wall.
    Local(NaiveDateTime),
}

/// Why a text is no time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoStamp {
    NotATime,
    DateOnly,
    TimeOnly,
    /// Day or month first?
    OrderUnknown,
    /// Such as 30 February, or 25 o'clock.
    NoSuchTime,
    Before1970,
}

impl NoStamp {
    pub const fn reason(self) -> &'static str {
        match self {
            NoStamp::NotATime => "is no time in any form that is read here",
            NoStamp::DateOnly => "is a date without its time",
            NoStamp::TimeOnly => "is a time without its date",
            NoStamp::OrderUnknown => "may have the day or the month first: say date_order=dmy or date_order=mdy",
            NoStamp::NoSuchTime => "is no date of the calendar, or no time of the day",
            NoStamp::Before1970 => "lies before 1970: the logger's clock was not set",
        }
    }
}

/// A date and a time in one text.
pub fn read(text: &str, order: Option<DateOrder>) -> Result<Stamp, NoStamp> {
    let text = text.trim();
    if let Some(counted) = counted(text) {
        return counted;
    }
    let mut scan = Scan(text.as_bytes());
    let Some(date) = scan.date(order)? else {
        let mut scan = Scan(text.as_bytes());
        return Err(if scan.clock()?.is_some() { NoStamp::TimeOnly } else { NoStamp::NotATime });
    };
    if scan.0.is_empty() {
        return Err(NoStamp::DateOnly);
    }
    scan.between();
    finish(date, &mut scan)
}

/// A date and a time in two texts. A date that brings a midnight along (spreadsheets do) is a date.
pub fn read_two(date: &str, time: &str, order: Option<DateOrder>) -> Result<Stamp, NoStamp> {
    let mut scan = Scan(date.trim().as_bytes());
    let Some(day) = scan.date(order)? else { return Err(NoStamp::NotATime) };
    if !scan.0.is_empty() {
        scan.between();
        let midnight = scan.clock()?.is_some_and(|(time, _)| time == NaiveTime::MIN);
        if !midnight || !scan.0.is_empty() {
            return Err(NoStamp::NotATime);
        }
    }
    finish(day, &mut Scan(time.trim().as_bytes()))
}

/// Whether a text is a date and nothing else, or would be if the order were known.
pub fn is_date(text: &str, order: Option<DateOrder>) -> bool {
    let mut scan = Scan(text.trim().as_bytes());
    match scan.date(order) {
        Ok(found) => found.is_some() && scan.0.is_empty(),
        Err(why) => why == NoStamp::OrderUnknown && scan.0.is_empty(),
    }
}

/// Whether a text is a time of day and nothing else.
pub fn is_time(text: &str) -> bool {
    let mut scan = Scan(text.trim().as_bytes());
    matches!(scan.clock(), Ok(Some(_))) && scan.0.is_empty()
}

/// Whether a text is seconds or milliseconds since 1970.
pub fn is_counted(text: &str) -> bool {
    counted(text.trim()).is_some()
}

/// An offset from UTC in microseconds: `Z`, `+01:00`, `-0530`, `+1`; empty is none.
pub fn offset(text: &str) -> Option<i64> {
    let mut scan = Scan(text.trim().as_bytes());
    let found = scan.offset()?;
    scan.0.is_empty().then_some(found)
}

fn finish(date: NaiveDate, scan: &mut Scan<'_>) -> Result<Stamp, NoStamp> {
    let Some((time, leap)) = scan.clock()? else { return Err(NoStamp::NotATime) };
    scan.blanks();
    let offset = scan.offset();
    if !scan.0.is_empty() {
        return Err(NoStamp::NotATime);
    }
    // Second 60 is the second that follows.
    let leap = if leap { MICROS_PER_SECOND } else { 0 };
    let local = date.and_time(time);
    if date.year() < 1970 {
        return Err(NoStamp::Before1970);
    }
    match offset {
        None if leap == 0 => Ok(Stamp::Local(local)),
        None => Ok(Stamp::Local(local + chrono::Duration::seconds(1))),
        Some(offset) => {
            let micros = local.and_utc().timestamp_micros() + leap - offset;
            Instant::from_micros(micros).map(Stamp::At).map_err(|_| NoStamp::Before1970)
        }
    }
}

/// Nine or ten digits are seconds since 1970, twelve or thirteen milliseconds: from 1973 to 2286 both.
fn counted(text: &str) -> Option<Result<Stamp, NoStamp>> {
    let (whole, fraction) = text.split_once(['.', ',']).unwrap_or((text, ""));
    let plain = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
    if !plain(whole) || !plain(fraction) || fraction.len() > 9 {
        return None;
    }
    let number: i64 = whole.parse().ok()?;
    let micros = match whole.len() {
        9 | 10 => number * MICROS_PER_SECOND + micros_of(fraction.as_bytes()),
        12 | 13 => number * 1_000,
        _ => return None,
    };
    Some(Instant::from_micros(micros).map(Stamp::At).map_err(|_| NoStamp::NoSuchTime))
}

/// The first six digits of a fraction of a second.
fn micros_of(fraction: &[u8]) -> i64 {
    (0..6).fold(0, |sum, place| {
        let digit = fraction.get(place).map_or(0, |byte| i64::from(byte.wrapping_sub(b'0')));
        sum * 10 + digit
    })
}

const MONTHS: [&[u8; 3]; 12] =
    [b"jan", b"feb", b"mar", b"apr", b"may", b"jun", b"jul", b"aug", b"sep", b"oct", b"nov", b"dec"];

/// What is left of a text; each step takes its part from the front.
struct Scan<'a>(&'a [u8]);

impl<'a> Scan<'a> {
    /// Up to `most` digits: their number and how many.
    fn digits(&mut self, most: usize) -> Option<(u32, usize)> {
        let count = self.0.iter().take(most).take_while(|b| b.is_ascii_digit()).count();
        let (digits, rest) = self.0.split_at_checked(count)?;
        self.0 = rest;
        let value = digits.iter().fold(0, |sum, digit| sum * 10 + u32::from(digit - b'0'));
        (count > 0).then_some((value, count))
    }

    fn one_of(&mut self, wanted: &[u8]) -> Option<u8> {
        let (first, rest) = self.0.split_first()?;
        wanted.contains(first).then(|| {
            self.0 = rest;
            *first
        })
    }

    fn blanks(&mut self) {
        while self.one_of(b" ").is_some() {}
    }

    /// What stands between a date and its time.
    fn between(&mut self) {
        if self.one_of(b"Tt").is_none() {
            self.one_of(b",");
            self.blanks();
        }
    }

    fn month_name(&mut self) -> Option<u32> {
        let (name, rest) = self.0.split_at_checked(3)?;
        let month =
            MONTHS.iter().zip(1..).find(|(known, _)| name.eq_ignore_ascii_case(known.as_slice())).map(|(_, n)| n)?;
        self.0 = rest;
        Some(month)
    }

    /// None when no date stands here; what the date is of is then not taken.
    fn date(&mut self, order: Option<DateOrder>) -> Result<Option<NaiveDate>, NoStamp> {
        let Some((first, width)) = self.digits(4) else { return Ok(None) };
        let Some(mark) = self.one_of(b"-/. ") else { return Ok(None) };
        if width <= 2
            && let Some(month) = self.month_name()
        {
            let year = self.one_of(b"-/. ").and_then(|_| self.year());
            return year.map(|year| calendar(year, month, first)).transpose();
        }
        if mark == b' ' || width == 3 {
            return Ok(None);
        }
        let Some((second, _)) = self.digits(2) else { return Ok(None) };
        if self.one_of(&[mark]).is_none() {
            return Ok(None);
        }
        if width == 4 {
            let Some((day, _)) = self.digits(2) else { return Ok(None) };
            return calendar(first, second, day).map(Some);
        }
        let Some(year) = self.year() else { return Ok(None) };
        match (mark, order) {
            (b'.', _) | (_, Some(DateOrder::DayFirst)) => calendar(year, second, first).map(Some),
            (_, Some(DateOrder::MonthFirst)) => calendar(year, first, second).map(Some),
            (_, None) => Err(NoStamp::OrderUnknown),
        }
    }

    /// Four digits, or two of this century.
    fn year(&mut self) -> Option<u32> {
        match self.digits(4)? {
            (year, 4) => Some(year),
            (year, 2) => Some(2_000 + year),
            _ => None,
        }
    }

    /// A time of day, and whether it was second 60.
    fn clock(&mut self) -> Result<Option<(NaiveTime, bool)>, NoStamp> {
        let Some((hour, _)) = self.digits(2) else { return Ok(None) };
        if self.one_of(b":").is_none() {
            return Ok(None);
        }
        let Some((minute, 2)) = self.digits(2) else { return Ok(None) };
        let (mut second, mut micros) = (0, 0);
        if self.one_of(b":").is_some() {
            let Some((value, 2)) = self.digits(2) else { return Ok(None) };
            second = value;
            if self.one_of(b".,").is_some() {
                let count = self.0.iter().take_while(|b| b.is_ascii_digit()).count();
                let (fraction, rest) = self.0.split_at_checked(count).ok_or(NoStamp::NotATime)?;
                micros = u32::try_from(micros_of(fraction)).map_err(|_| NoStamp::NotATime)?;
                self.0 = rest;
            }
        }
        let hour = self.half_of_day(hour)?;
        let leap = second == 60;
        let second = if leap { 59 } else { second };
        let time = NaiveTime::from_hms_micro_opt(hour, minute, second, micros).ok_or(NoStamp::NoSuchTime)?;
        Ok(Some((time, leap)))
    }

    /// The hour of 24, after `am` or `pm` if one of them follows.
    fn half_of_day(&mut self, hour: u32) -> Result<u32, NoStamp> {
        let mut ahead = Scan(self.0);
        ahead.blanks();
        let afternoon = match ahead.one_of(b"AaPp") {
            None => return Ok(hour),
            Some(letter) => letter.eq_ignore_ascii_case(&b'p'),
        };
        ahead.one_of(b".");
        if ahead.one_of(b"Mm").is_none() {
            return Ok(hour);
        }
        ahead.one_of(b".");
        self.0 = ahead.0;
        match hour {
            12 => Ok(if afternoon { 12 } else { 0 }),
            1..=11 => Ok(if afternoon { hour + 12 } else { hour }),
            _ => Err(NoStamp::NoSuchTime),
        }
    }

    /// An offset in microseconds, where one stands.
    fn offset(&mut self) -> Option<i64> {
        for name in [b"UTC".as_slice(), b"GMT"] {
            if self.0.get(..3).is_some_and(|here| here.eq_ignore_ascii_case(name)) {
                self.0 = self.0.get(3..).unwrap_or_default();
                self.blanks();
                return self.signed_offset().or(Some(0));
            }
        }
        if self.one_of(b"Zz").is_some() {
            return Some(0);
        }
        self.signed_offset()
    }

    fn signed_offset(&mut self) -> Option<i64> {
        let before = self.0;
        let sign = if self.one_of(b"+-")? == b'-' { -1 } else { 1 };
        let found = self.digits(2).and_then(|(hours, _)| {
            let minutes =
                if self.one_of(b":").is_some() { self.digits(2)?.0 } else { self.digits(2).unwrap_or((0, 0)).0 };
            // No zone was ever further from UTC than sixteen hours.
            (hours <= 16 && minutes < 60).then(|| i64::from(hours * 60 + minutes))
        });
        if found.is_none() {
            self.0 = before;
        }
        found.map(|minutes| sign * minutes * 60 * MICROS_PER_SECOND)
    }
}

fn calendar(year: u32, month: u32, day: u32) -> Result<NaiveDate, NoStamp> {
    let year = i32::try_from(year).map_err(|_| NoStamp::NoSuchTime)?;
    NaiveDate::from_ymd_opt(year, month, day).ok_or(NoStamp::NoSuchTime)
}
