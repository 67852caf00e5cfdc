//! Whether the shop can do its work now, and what should be looked after before it cannot: every finding with its measure and its reason.

use super::desk::Desk;
use super::failure::Failure;
use super::fitness::Fitness;
use crate::store::vitals::{self, Files};
use crate::units::instant::{Instant, MICROS_PER_HOUR, MICROS_PER_SECOND};
use crate::units::zone::TZ_RELEASE;

/// Less room than this and the next hour of acts may find none: the write-ahead log alone grows to 4 MiB between checkpoints, and more
/// while somebody reads for long.
const LEAST_FREE_BYTES: u64 = 32 << 20;
/// Less than this is told in time: a few days of a shop, its log and its readings.
const LITTLE_FREE_BYTES: u64 = 1 << 30;
/// The log is cut back to 4 MiB at checkpoints; one that grew to this has somebody who reads without end.
const LARGE_LOG_BYTES: u64 = 64 << 20;
/// A copy a day, with some hours to spare.
const OLD_COPY_MICROS: i64 = 36 * MICROS_PER_HOUR;
/// Clocks of machines kept by NTP differ by less.
const CLOCK_SLACK_MICROS: i64 = 5 * MICROS_PER_SECOND;
/// 2026-11-01T00:00:00Z: no clock of a machine that runs this program can be before it was written. Raised with a release.
const WRITTEN_AFTER_MICROS: i64 = 1_793_491_200 * MICROS_PER_SECOND;

/// In the words of the health format (draft-inadarei-api-health-check-06, 3.1), the worst last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Status {
    Pass,
    Warn,
    Fail,
}

impl Status {
    pub const fn as_str(self) -> &'static str {
        match self {
            Status::Pass => "pass",
            Status::Warn => "warn",
            Status::Fail => "fail",
        }
    }
}

/// A measure, as far as there is one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Measure {
    Word(String),
    /// With its unit.
    Number(i64, &'static str),
}

/// One thing that was looked at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Check {
    /// `component:measurement`.
    pub name: &'static str,
    pub status: Status,
    pub measure: Measure,
    /// Why it does not pass.
    pub reason: Option<String>,
}

impl Check {
    fn judged(name: &'static str, measure: Measure, trouble: Option<(Status, String)>) -> Check {
        let (status, reason) = trouble.map_or((Status::Pass, None), |(status, reason)| (status, Some(reason)));
        Check { name, status, measure, reason }
    }
}

/// Everything that was looked at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Health {
    pub at: Instant,
    pub checks: Vec<Check>,
}

impl Health {
    /// That of the worst check.
    pub fn status(&self) -> Status {
        self.checks.iter().map(|check| check.status).max().unwrap_or(Status::Fail)
    }
}

impl Desk {
    /// Looks at everything once. A part that cannot be looked at fails; the others are looked at all the same.
    pub fn health(&self, now: Instant) -> Health {
        let seen = self.look(|reading, _| Ok((vitals::newest_act_at(reading)?, vitals::durability(reading)?)));
        let mut checks = vec![answers(self.database_kind(), &seen), writable(self.fitness(now))];
        if let Ok((newest, durability)) = &seen {
            checks.push(Check::judged("database:durability", Measure::Word(durability.clone()), None));
            checks.push(clock(now, *newest));
        }
        checks.extend(files(now, &self.store.files()));
        checks.push(Check::judged("time_zones:release", Measure::Word(TZ_RELEASE.to_owned()), None));
        Health { at: now, checks }
    }

    /// Leaves the note that a copy of the database was made.
    pub fn note_copy(&self, now: Instant) -> Result<(), Failure> {
        Ok(self.store.note_copy(now)?)
    }
}

fn answers<T>(kind: &'static str, seen: &Result<T, Failure>) -> Check {
    // What the database said goes to the log.
    let trouble = seen.as_ref().err().map(|error| {
        tracing::error!(%error, "the database does not answer");
        (Status::Fail, "the database does not answer".to_owned())
    });
    Check::judged("database:answers", Measure::Word(kind.to_owned()), trouble)
}

fn writable(fitness: Fitness) -> Check {
    let name = "database:writable";
    match fitness {
        Fitness::Writable => Check::judged(name, Measure::Word("yes".into()), None),
        Fitness::ReadOnly { since, reason } => {
            let text = format!("{} since {since}: the shop can only be read", reason.in_words());
            Check::judged(name, Measure::Word(reason.as_str().to_owned()), Some((Status::Fail, text)))
        }
    }
}

/// The clock against the record, which only grows, and against the time this program was written.
fn clock(now: Instant, newest: Option<Instant>) -> Check {
    let ahead = newest.map_or(0, |newest| newest.since(now));
    let trouble = if now.micros() < WRITTEN_AFTER_MICROS {
        Some("the clock stands before the time this program was written: dates on labels would be wrong")
    } else if ahead > CLOCK_SLACK_MICROS {
        Some("the newest act was recorded later than it is now: the clock was put back, or was wrong before")
    } else {
        None
    };
    let measure = Measure::Number(ahead.max(0) / MICROS_PER_SECOND, "s");
    Check::judged("clock:behind_record", measure, trouble.map(|text| (Status::Warn, text.to_owned())))
}

fn bytes(count: u64) -> Measure {
    Measure::Number(i64::try_from(count).unwrap_or(i64::MAX), "By")
}

fn files(now: Instant, files: &Files) -> Vec<Check> {
    let mut checks = Vec::new();
    if let Some(free) = files.free_bytes {
        let little = LITTLE_FREE_BYTES.max(files.database_bytes.unwrap_or(0));
        let trouble = match free {
            _ if free < LEAST_FREE_BYTES => Some((Status::Fail, "the disk is as good as full".to_owned())),
            _ if free < little => {
                Some((Status::Warn, "the disk runs full, or holds no copy of the database".to_owned()))
            }
            _ => None,
        };
        checks.push(Check::judged("disk:free", bytes(free), trouble));
    }
    if let Some(log) = files.log_bytes {
        let trouble = (log > LARGE_LOG_BYTES).then(|| (Status::Warn, "somebody reads without end".to_owned()));
        checks.push(Check::judged("log:size", bytes(log), trouble));
    }
    if let Some(copied) = files.copied_at {
        let age = now.since(copied);
        let trouble = match copied {
            Instant::EPOCH => Some("`sakudana backup` never made a copy"),
            _ if age > OLD_COPY_MICROS => Some("the last copy by `sakudana backup` is older than 36 hours"),
            _ => None,
        };
        let measure = match copied {
            Instant::EPOCH => Measure::Word("never".to_owned()),
            _ => Measure::Number(age.max(0) / MICROS_PER_SECOND, "s"),
        };
        checks.push(Check::judged("backup:age", measure, trouble.map(|text| (Status::Warn, text.to_owned()))));
    }
    checks
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> Instant {
        Instant::from_micros(WRITTEN_AFTER_MICROS + seconds * MICROS_PER_SECOND).unwrap_or(Instant::EPOCH)
    }

    #[test]
    fn clocks_are_held_against_the_record_and_the_calendar() {
        let rows = [
            (at(100), None, Status::Pass),
            (at(100), Some(at(99)), Status::Pass),
            (at(100), Some(at(105)), Status::Pass),
            (at(100), Some(at(106)), Status::Warn),
            (at(-1), None, Status::Warn),
            (Instant::EPOCH, None, Status::Warn),
        ];
        for (now, newest, status) in rows {
            assert_eq!(clock(now, newest).status, status, "{now} {newest:?}");
        }
    }

    #[test]
    fn disk_log_and_copies_have_their_limits() {
        let good = Files {
            free_bytes: Some(2 << 30),
            database_bytes: Some(1 << 20),
            log_bytes: Some(4 << 20),
            copied_at: Some(at(0)),
        };
        let now = at(36 * 3_600);
        let worst = |found: &Files| files(now, found).iter().map(|check| check.status).max();
        assert_eq!(worst(&good), Some(Status::Pass));
        let rows = [
            (Files { free_bytes: Some((1 << 30) - 1), ..good.clone() }, Status::Warn),
            (Files { database_bytes: Some(3 << 30), ..good.clone() }, Status::Warn),
            (Files { free_bytes: Some((32 << 20) - 1), ..good.clone() }, Status::Fail),
            (Files { log_bytes: Some((64 << 20) + 1), ..good.clone() }, Status::Warn),
            (Files { copied_at: Some(at(-1)), ..good.clone() }, Status::Warn),
            (Files { copied_at: Some(Instant::EPOCH), ..good.clone() }, Status::Warn),
        ];
        for (found, status) in rows {
            assert_eq!(worst(&found), Some(status), "{found:?}");
        }
        assert_eq!(worst(&Files::default()), None);
    }
}
