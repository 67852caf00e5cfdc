//! Counts what became of lines, and keeps the first of those that were not plainly accepted.

use super::{Line, Outcome, in_time};
use crate::domain::life::curve::Reading;
use crate::domain::logger::settle::Fate;
use crate::units::instant::Instant;

/// Most lines that are listed.
pub const LISTED: usize = 200;

/// A line that was not plainly accepted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    pub line: u64,
    pub outcome: Outcome,
    pub reason: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Tally {
    counts: [u64; 7],
    /// Accepted, and older than the newest reading the place had when the file began.
    pub late: u64,
    /// The first of those that were not accepted, by line.
    pub listed: Vec<Listed>,
}

impl Tally {
    pub fn count(&self, outcome: Outcome) -> u64 {
        self.counts.get(outcome as usize).copied().unwrap_or(0)
    }

    /// All lines that had an outcome.
    pub fn lines(&self) -> u64 {
        self.counts.iter().sum()
    }

    /// Lines that were not accepted and are not listed.
    pub fn unlisted(&self) -> u64 {
        let listed = u64::try_from(self.listed.len()).unwrap_or(u64::MAX);
        (self.lines() - self.count(Outcome::Accepted)).saturating_sub(listed)
    }

    /// Counts a line that comes after all lines counted before.
    pub fn note(&mut self, line: u64, outcome: Outcome, reason: impl FnOnce() -> String) {
        if let Some(count) = self.counts.get_mut(outcome as usize) {
            *count += 1;
        }
        if outcome != Outcome::Accepted && self.listed.len() < LISTED {
            self.listed.push(Listed { line, outcome, reason: reason() });
        }
    }

    /// Adds the tally of the lines that follow.
    pub fn add(&mut self, following: Tally) {
        for (count, more) in self.counts.iter_mut().zip(following.counts) {
            *count += more;
        }
        self.late += following.late;
        let room = LISTED.saturating_sub(self.listed.len());
        self.listed.extend(following.listed.into_iter().take(room));
    }
}

/// The readings among some lines that are in time, in their order.
pub fn storable(lines: &[Line], now: Instant) -> Vec<Reading> {
    lines.iter().filter_map(|line| line.found.as_ref().ok().copied()).filter(|r| in_time(r.at, now).is_ok()).collect()
}

/// Counts some lines; `fates` are those of their storable readings, `newest_before` is how far the place's readings went.
pub fn tally(lines: &[Line], now: Instant, fates: &[Fate], newest_before: Option<Instant>) -> Tally {
    let (mut tally, mut fates) = (Tally::default(), fates.iter());
    for line in lines {
        let fault = match &line.found {
            Err(fault) => Some(fault.clone()),
            Ok(reading) => in_time(reading.at, now).err(),
        };
        if let Some(fault) = fault {
            tally.note(line.number, fault.outcome, || fault.reason);
            continue;
        }
        match fates.next() {
            None | Some(Fate::New) => {
                let late =
                    line.found.as_ref().is_ok_and(|reading| newest_before.is_some_and(|newest| reading.at < newest));
                tally.late += u64::from(late);
                tally.note(line.number, Outcome::Accepted, String::new);
            }
            Some(Fate::Repeated) => tally.note(line.number, Outcome::Repeated, || "this reading was there".into()),
            Some(Fate::Raised { over }) => tally.note(line.number, Outcome::Contradicting, || {
                format!(
                    "{} thousandths of a degree Celsius were there for this instant; this one is warmer and counts",
                    over.get()
                )
            }),
            Some(Fate::SetAside { under }) => tally.note(line.number, Outcome::Contradicting, || {
                format!(
                    "{} thousandths of a degree Celsius are there for this instant; they are warmer and count",
                    under.get()
                )
            }),
        }
    }
    tally
}
