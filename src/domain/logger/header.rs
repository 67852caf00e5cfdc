//! Knows a header by its words, and what each column holds.

use super::cells::{Cells, SEPARATORS};
use super::{Column, Options, Unit, figure, refused, stamp, words};
use crate::domain::refusal::Refusal;

/// Where the time stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TimeColumns {
    One(usize),
    Two { date: usize, time: usize },
}

/// How the lines of a file are to be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Layout {
    pub separator: u8,
    pub time: TimeColumns,
    pub temperature: usize,
    /// What the header says of the unit.
    pub unit: Option<Unit>,
    /// The column that says it line by line.
    pub unit_column: Option<usize>,
    /// Offset of every time from UTC in microseconds, where the header says it.
    pub offset: Option<i64>,
    /// Columns that have a name; a line with more says something the header does not.
    pub width: Option<usize>,
}

/// A header, if the line is one. Refuses the file where a header leaves open which column is meant.
pub fn read(line: &str, options: &Options) -> Result<Option<Layout>, Refusal> {
    let mut cells = Cells::default();
    for separator in SEPARATORS {
        cells.cut(line, separator);
        let names = cells.all(line);
        if names.len() < 2 || names.iter().any(|name| is_data(name, options)) {
            continue;
        }
        let Some(time) = time_columns(&names) else { continue };
        let Some((temperature, unit)) = temperature_column(&names, options)? else { continue };
        let taken = match time {
            TimeColumns::One(only) => temperature == only,
            TimeColumns::Two { date, time } => temperature == date || temperature == time,
        };
        if taken {
            continue;
        }
        let width = names.iter().rposition(|name| !name.is_empty()).map(|last| last + 1);
        let offset = match time {
            TimeColumns::One(at) | TimeColumns::Two { time: at, .. } => names.get(at).and_then(|name| offset_in(name)),
        };
        let unit_column =
            names.iter().position(|name| words_of(name).iter().any(|word| words::UNIT.contains(&word.as_str())));
        return Ok(Some(Layout { separator, time, temperature, unit, unit_column, offset, width }));
    }
    Ok(None)
}

/// No header holds a time or a number of its own, or the marks of a web page or of JSON.
fn is_data(name: &str, options: &Options) -> bool {
    name.contains(['<', '{']) || figure::is_number(name) || is_stamp(name, options)
}

/// Whether a text is a date with a time, or would be if the order were known.
pub fn is_stamp(text: &str, options: &Options) -> bool {
    matches!(
        stamp::read(text, options.date_order),
        Ok(_) | Err(stamp::NoStamp::OrderUnknown | stamp::NoStamp::Before1970)
    )
}

fn words_of(name: &str) -> Vec<String> {
    let lower = name.to_lowercase();
    lower.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).map(str::to_owned).collect()
}

fn has(name: &str, list: &[&str], inside: &[&str]) -> bool {
    words_of(name).iter().any(|word| list.contains(&word.as_str())) || inside.iter().any(|part| name.contains(part))
}

/// What a name says of a time.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Says {
    Moment,
    Date,
    Time,
}

fn time_columns(names: &[&str]) -> Option<TimeColumns> {
    let says = |name: &&str| {
        if has(name, words::NOT_THE_TIME, &[]) || is_temperature(name) {
            return None;
        }
        let date = has(name, words::DATE, words::DATE_INSIDE);
        let time = has(name, words::TIME, words::TIME_INSIDE);
        if (date && time) || has(name, words::MOMENT, words::MOMENT_INSIDE) {
            return Some(Says::Moment);
        }
        if date { Some(Says::Date) } else { time.then_some(Says::Time) }
    };
    let found: Vec<Option<Says>> = names.iter().map(says).collect();
    let first = |wanted: Says| found.iter().position(|says| *says == Some(wanted));
    // `Time stamp` is a moment in two words.
    let spoken = |name: &&str| words_of(name).join("").contains("timestamp");
    match (first(Says::Moment).or_else(|| names.iter().position(spoken)), first(Says::Date), first(Says::Time)) {
        (Some(moment), ..) => Some(TimeColumns::One(moment)),
        (None, Some(date), Some(time)) => Some(TimeColumns::Two { date, time }),
        (None, Some(only), None) | (None, None, Some(only)) => Some(TimeColumns::One(only)),
        (None, None, None) => None,
    }
}

fn is_temperature(name: &str) -> bool {
    let outright = has(name, words::TEMPERATURE, words::TEMPERATURE_INSIDE) || figure::only_unit(name).is_some();
    outright && !has(name, words::NOT_THE_TEMPERATURE, &[])
}

/// The unit that a name says. A letter alone says it only as the last word: `Temp (F)`, but not `Temp F-room`, where degrees Celsius taken
/// for Fahrenheit would look colder than they were.
fn unit_in(name: &str) -> Option<Unit> {
    let lower = name.to_lowercase();
    let words = words_of(name);
    let says = |signs: &[&str], alone: &[&str]| {
        signs.iter().any(|sign| lower.contains(sign)) || words.last().is_some_and(|word| alone.contains(&word.as_str()))
    };
    let celsius = says(&["°c", "° c", "ºc", "℃", "celsius", "centigrade", "deg c"], &["c", "degc", "tempc"]);
    let fahrenheit = says(&["°f", "° f", "ºf", "℉", "fahrenheit", "deg f"], &["f", "degf", "tempf"]);
    match (celsius, fahrenheit) {
        (true, false) => Some(Unit::Celsius),
        (false, true) => Some(Unit::Fahrenheit),
        _ => None,
    }
}

/// The column of the temperature and what its name says of the unit.
fn temperature_column(names: &[&str], options: &Options) -> Result<Option<(usize, Option<Unit>)>, Refusal> {
    let with_unit = |at: usize| (at, names.get(at).and_then(|name| unit_in(name)));
    if let Some(column) = &options.column {
        return Ok(said_column(names, column).map(with_unit));
    }
    let outright = candidates(names, is_temperature);
    let weak = || candidates(names, |name| has(name, words::VALUE, &[]) && !has(name, words::NOT_THE_TEMPERATURE, &[]));
    let found = if outright.is_empty() { weak() } else { outright };
    match found.as_slice() {
        [] => Ok(None),
        [only] => Ok(Some(with_unit(*only))),
        [one, other] => match (unit_in(names.get(*one).unwrap_or(&"")), unit_in(names.get(*other).unwrap_or(&""))) {
            // The same temperature in both units.
            (Some(Unit::Celsius), Some(Unit::Fahrenheit)) => Ok(Some(with_unit(*one))),
            (Some(Unit::Fahrenheit), Some(Unit::Celsius)) => Ok(Some(with_unit(*other))),
            _ => Err(several(names, &found)),
        },
        _ => Err(several(names, &found)),
    }
}

fn candidates(names: &[&str], is_one: impl Fn(&str) -> bool) -> Vec<usize> {
    names.iter().enumerate().filter(|(_, name)| is_one(name)).map(|(at, _)| at).collect()
}

fn several(names: &[&str], found: &[usize]) -> Refusal {
    let list: Vec<String> = found.iter().filter_map(|at| names.get(*at)).map(|name| super::quoted(name)).collect();
    refused("column", format!("several columns hold temperatures: say column= with one of {}", list.join(", ")))
}

fn said_column(names: &[&str], column: &Column) -> Option<usize> {
    match column {
        // A number fits every line; only a name that is one makes this line a header.
        Column::Number(number) => {
            let at = number.checked_sub(1)?;
            names.get(at).filter(|name| name.chars().any(char::is_alphabetic)).map(|_| at)
        }
        Column::Name(name) => {
            let wanted = name.trim().to_lowercase();
            names.iter().position(|found| found.to_lowercase() == wanted)
        }
    }
}

/// The offset that a name such as `Time (UTC+01:00)` says.
fn offset_in(name: &str) -> Option<i64> {
    let upper = name.to_uppercase();
    let at = ["UTC", "GMT"].iter().find_map(|known| upper.find(known))?;
    let rest = upper.get(at..)?.trim_end_matches([')', ']', ' ']);
    stamp::offset(rest)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::zone::Zone;

    fn header(line: &str) -> Option<Layout> {
        read(line, &Options::plain(Zone::UTC)).ok().flatten()
    }

    #[test]
    fn headers_of_many_languages_name_their_columns() {
        use TimeColumns::{One, Two};
        let rows = [
            ("time,temperature", One(0), 1, None),
            ("No.;Datum;Uhrzeit;Temperatur [°C];Feuchte [%]", Two { date: 1, time: 2 }, 3, Some(Unit::Celsius)),
            ("Date/Time\tTemperature (°F)\tHumidity", One(0), 1, Some(Unit::Fahrenheit)),
            ("Horodatage;Température (°C);Point de rosée (°C)", One(0), 1, Some(Unit::Celsius)),
            ("Fecha,Hora,Valor,Alarma", Two { date: 0, time: 1 }, 2, None),
            ("timestamp,temp_f", One(0), 1, Some(Unit::Fahrenheit)),
            ("日時,温度(℃),湿度", One(0), 1, Some(Unit::Celsius)),
            ("#,Time Stamp,°C", One(1), 2, Some(Unit::Celsius)),
            ("Temperature (°F),Temperature (°C),Time", One(2), 1, Some(Unit::Celsius)),
            ("time,temp F-room", One(0), 1, None),
            ("Time;Max temp;Temp, °C;Min temp", One(0), 2, Some(Unit::Celsius)),
        ];
        for (line, time, temperature, unit) in rows {
            let found = header(line).map(|l| (l.time, l.temperature, l.unit));
            assert_eq!(found, Some((time, temperature, unit)), "{line}");
        }
    }

    #[test]
    fn what_is_no_header_is_not_taken_for_one() {
        for line in [
            "2026-11-25 08:00,1.2",
            "Start time,2026-11-25 08:00,Average temperature,1.2",
            "Serial,4711",
            "time",
            "Temperature log",
        ] {
            assert_eq!(header(line), None, "{line}");
        }
        assert!(read("time,temp 1,temp 2", &Options::plain(Zone::UTC)).is_err());
    }

    #[test]
    fn an_offset_in_the_header_is_heard() {
        let offset = |line: &str| header(line).and_then(|l| l.offset).map(|micros| micros / 60_000_000);
        assert_eq!(offset("Time (UTC),Temp"), Some(0));
        assert_eq!(offset("\"Date Time, GMT+01:00\",\"Temp, °C\""), Some(60));
        assert_eq!(offset("Time UTC-0530;Temp"), Some(-330));
        assert_eq!(offset("Time;Temp"), None);
    }
}
