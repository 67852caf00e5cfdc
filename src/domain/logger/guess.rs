//! Finds the columns of a file that has no header, from a line of it.

use super::cells::{Cells, SEPARATORS};
use super::header::{Layout, TimeColumns, is_stamp};
use super::{Column, Options, figure, stamp};

/// How this line would be read, if it holds a time and after it a number.
pub fn layout(line: &str, options: &Options) -> Option<Layout> {
    let mut cells = Cells::default();
    SEPARATORS.into_iter().find_map(|separator| {
        cells.cut(line, separator);
        let texts = cells.all(line);
        let (time, after) = time_columns(&texts, options)?;
        let temperature = temperature(&texts, after, options)?;
        Some(Layout { separator, time, temperature, unit: None, unit_column: None, offset: None, width: None })
    })
}

/// The columns of the time, and the first column after them. What is written as a date goes before what may be a number of seconds, since
/// other numbers are as long.
fn time_columns(texts: &[&str], options: &Options) -> Option<(TimeColumns, usize)> {
    let written = |text: &&str| !stamp::is_counted(text) && is_stamp(text, options);
    if let Some(at) = texts.iter().position(written) {
        return Some((TimeColumns::One(at), at + 1));
    }
    let is_date = |text: &str| stamp::is_date(text, options.date_order);
    for (at, pair) in texts.windows(2).enumerate() {
        match pair {
            [one, other] if is_date(one) && stamp::is_time(other) => {
                return Some((TimeColumns::Two { date: at, time: at + 1 }, at + 2));
            }
            [one, other] if stamp::is_time(one) && is_date(other) => {
                return Some((TimeColumns::Two { date: at + 1, time: at }, at + 2));
            }
            _ => {}
        }
    }
    let at = texts.iter().position(|text| stamp::is_counted(text))?;
    Some((TimeColumns::One(at), at + 1))
}

fn temperature(texts: &[&str], after: usize, options: &Options) -> Option<usize> {
    match &options.column {
        Some(Column::Number(number)) => number.checked_sub(1).filter(|at| *at < texts.len()),
        Some(Column::Name(_)) => None,
        None => texts.iter().enumerate().skip(after).find(|(_, text)| figure::is_number(text)).map(|(at, _)| at),
    }
}

/// Whether `1,2` after the time may be one number with a decimal comma or two numbers: both are whole, and a comma separates.
pub fn may_be_a_decimal_comma(line: &str, layout: &Layout) -> CommaDoubt {
    let mut cells = Cells::default();
    cells.cut(line, layout.separator);
    let whole = |at: usize| {
        let text = cells.get(line, at);
        let digits = text.strip_prefix('-').unwrap_or(text);
        !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit())
    };
    match (whole(layout.temperature), whole(layout.temperature + 1)) {
        (false, _) => CommaDoubt::None,
        (true, false) => CommaDoubt::Silent,
        (true, true) => CommaDoubt::Open,
    }
}

/// What a line says of decimal commas.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CommaDoubt {
    /// The temperature has a decimal point, or is no number: a comma only separates.
    None,
    /// A whole number with nothing after it.
    Silent,
    Open,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::zone::Zone;

    #[test]
    fn columns_are_found_without_a_header() {
        use TimeColumns::{One, Two};
        let rows = [
            ("2026-11-25 08:00,1.2", Some((b',', One(0), 1))),
            ("17;25.11.2026;08:00;1,2;80", Some((b';', Two { date: 1, time: 2 }, 3))),
            ("08:00:00\t2026/11/25\tfront\t1.2", Some((b'\t', Two { date: 1, time: 0 }, 3))),
            ("1764057600,1.2", Some((b',', One(0), 1))),
            ("1234567890,2026-11-25T08:00Z,1.2", Some((b',', One(1), 2))),
            ("11/25/2026 08:00,1.2", Some((b',', One(0), 1))),
            ("Start time,2026-11-25 08:00:00", None),
            ("Serial,4711", None),
            ("-20,00:15,0.4", None),
        ];
        for (line, expected) in rows {
            let found = layout(line, &Options::plain(Zone::UTC)).map(|l| (l.separator, l.time, l.temperature));
            assert_eq!(found, expected, "{line}");
        }
    }
}
