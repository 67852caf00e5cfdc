//! Reads what temperature loggers say: bytes in, lines out, each line a reading or the reason why it is none. Made for files of any
//! length: nothing is kept but a few lines. Pure; what is done with readings is decided by `settle` and remembered elsewhere.
//!
//! A file is understood without being told how: `header` and `guess` find the columns by the `words` above them or by what stands in
//! them, `stamp` reads times, `wall_time` makes instants of local times, `figure` reads temperatures. What the file itself says (an offset,
//! a unit) counts before what the caller says of it.

pub mod cells;
pub mod csv;
pub mod figure;
pub mod guess;
pub mod header;
pub mod lines;
pub mod settle;
pub mod stamp;
pub mod tally;
pub mod wall_time;
pub mod words;

use crate::domain::life::curve::Reading;
use crate::domain::refusal::{Code, Refusal};
use crate::units::instant::{Instant, MICROS_PER_HOUR, MICROS_PER_MINUTE};
use crate::units::zone::Zone;

/// What became of a line. Every line that is no comment, no blank and no header has exactly one outcome.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    Accepted,
    /// The same instant and temperature were there.
    Repeated,
    /// The instant was there with another temperature: the warmer counts, both are kept.
    Contradicting,
    /// No temperature a sensor of a fish counter can have measured.
    SensorFault,
    InFuture,
    TooOld,
    Unreadable,
}

impl Outcome {
    pub const ALL: [Outcome; 7] = [
        Outcome::Accepted,
        Outcome::Repeated,
        Outcome::Contradicting,
        Outcome::SensorFault,
        Outcome::InFuture,
        Outcome::TooOld,
        Outcome::Unreadable,
    ];

    pub const fn as_str(self) -> &'static str {
        match self {
            Outcome::Accepted => "accepted",
            Outcome::Repeated => "repeated",
            Outcome::Contradicting => "contradicting",
            Outcome::SensorFault => "sensor_fault",
            Outcome::InFuture => "in_future",
            Outcome::TooOld => "too_old",
            Outcome::Unreadable => "unreadable",
        }
    }
}

/// Why a line gives no reading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    pub outcome: Outcome,
    pub reason: String,
}

impl Fault {
    pub fn unreadable(reason: impl Into<String>) -> Fault {
        Fault { outcome: Outcome::Unreadable, reason: reason.into() }
    }
}

/// One line that says something, numbered as in the file, from 1.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    pub number: u64,
    pub found: Result<Reading, Fault>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    Celsius,
    Fahrenheit,
}

/// How `03/04/2026` is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DateOrder {
    DayFirst,
    MonthFirst,
}

/// Which column holds the temperature.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Column {
    /// From 1.
    Number(usize),
    Name(String),
}

/// What the caller says of a file; the file's own word counts before it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Options {
    /// Where local times are local.
    pub zone: Zone,
    pub unit: Unit,
    pub date_order: Option<DateOrder>,
    pub column: Option<Column>,
}

impl Options {
    /// Nothing said but where the place is.
    pub const fn plain(zone: Zone) -> Options {
        Options { zone, unit: Unit::Celsius, date_order: None, column: None }
    }
}

/// Clocks of loggers run a little ahead; more than this is a wrong clock.
const AHEAD_MICROS: i64 = 2 * MICROS_PER_MINUTE;
/// No fish of the counter is older, frozen or not.
const OLD_MICROS: i64 = 400 * 24 * MICROS_PER_HOUR;

/// Refuses a reading whose instant cannot be meant.
pub fn in_time(at: Instant, now: Instant) -> Result<(), Fault> {
    if at.since(now) > AHEAD_MICROS {
        let reason = format!("{at} has not come yet: set the logger's clock, or say its zone");
        return Err(Fault { outcome: Outcome::InFuture, reason });
    }
    if now.since(at) > OLD_MICROS {
        let reason = format!("{at} is more than 400 days ago");
        return Err(Fault { outcome: Outcome::TooOld, reason });
    }
    Ok(())
}

/// Nothing in a file can be understood.
fn refused(field: &str, reason: impl Into<String>) -> Refusal {
    Refusal::new(Code::UnreadableFile, field, reason)
}

/// The beginning of what a cell says, for a reason.
fn quoted(text: &str) -> String {
    let short: String = text.chars().take(40).map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect();
    format!("{short:?}")
}
