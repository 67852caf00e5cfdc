//! Makes instants of local times in the order of a file. In the night the clocks are put back, an hour is shown twice: the file shows
//! which is which where its times go back once, and lines of that hour wait until it has. A file that does not show it is not guessed at.

use super::{Fault, Line};
use crate::domain::life::curve::Reading;
use crate::units::instant::{Instant, MICROS_PER_HOUR};
use crate::units::temperature::MilliCelsius;
use crate::units::zone::{Shown, Zone};
use chrono::{DateTime, NaiveDateTime};

/// Most lines that wait: more than a reading a second through an hour twice.
const MOST_HELD: usize = 20_000;

/// Local times of one file, in its order.
pub struct WallTime {
    zone: Zone,
    /// An hour of the wall clock that is shown once and as a whole, and its offset: nearly every line falls into the one of the line before.
    plain_hour: Option<(i64, i64)>,
    /// The last local time that was shown once.
    before: Option<i64>,
    held: Vec<Held>,
}

enum Held {
    Ready(Line),
    Twice { number: u64, local: i64, earlier: Instant, later: Instant, temperature: MilliCelsius },
}

impl WallTime {
    pub const fn new(zone: Zone) -> WallTime {
        WallTime { zone, plain_hour: None, before: None, held: Vec::new() }
    }

    /// A reading at a local time.
    pub fn take(&mut self, number: u64, local: NaiveDateTime, temperature: MilliCelsius, sink: &mut dyn FnMut(Line)) {
        let micros = local.and_utc().timestamp_micros();
        match self.shown(local, micros) {
            Shown::Once(at) => {
                self.settle(Some(micros), sink);
                self.before = Some(micros);
                sink(Line { number, found: Ok(Reading { at, temperature }) });
            }
            Shown::Never => {
                let reason =
                    format!("{local} was not on the clock in {}: it was put forward over it", self.zone.name());
                self.pass(Line { number, found: Err(Fault::unreadable(reason)) }, sink);
            }
            Shown::Twice(earlier, later) => {
                let another_night = |held: &Held| matches!(held, Held::Twice { local, .. } if (micros - local).abs() > 24 * MICROS_PER_HOUR);
                if self.held.len() >= MOST_HELD || self.held.iter().any(another_night) {
                    self.settle(None, sink);
                }
                self.held.push(Held::Twice { number, local: micros, earlier, later, temperature });
            }
        }
    }

    /// A line that is what it is, whatever the clock shows.
    pub fn pass(&mut self, line: Line, sink: &mut dyn FnMut(Line)) {
        if self.held.is_empty() {
            return sink(line);
        }
        if self.held.len() >= MOST_HELD {
            self.settle(None, sink);
            return sink(line);
        }
        self.held.push(Held::Ready(line));
    }

    /// Nothing follows.
    pub fn finish(&mut self, sink: &mut dyn FnMut(Line)) {
        self.settle(None, sink);
    }

    fn shown(&mut self, local: NaiveDateTime, micros: i64) -> Shown {
        let hour = micros.div_euclid(MICROS_PER_HOUR);
        if let Some((known, offset)) = self.plain_hour
            && known == hour
        {
            return Instant::from_micros(micros - offset).map_or(Shown::Never, Shown::Once);
        }
        let shown = self.zone.instants_of(local);
        let offset_of =
            |micros: i64| match DateTime::from_timestamp_micros(micros).map(|m| self.zone.instants_of(m.naive_utc())) {
                Some(Shown::Once(at)) => Some(micros - at.micros()),
                _ => None,
            };
        // The clocks change at most once within an hour, and would leave another offset at its end.
        let (first, last) = (offset_of(hour * MICROS_PER_HOUR), offset_of((hour + 1) * MICROS_PER_HOUR - 1));
        self.plain_hour = first.filter(|_| first == last).map(|offset| (hour, offset));
        shown
    }

    /// Lets the waiting lines go: earlier and later where the file shows them, refused where it does not.
    fn settle(&mut self, after: Option<i64>, sink: &mut dyn FnMut(Line)) {
        if self.held.is_empty() {
            return;
        }
        let held = std::mem::take(&mut self.held);
        let locals: Vec<(i64, i64)> = held
            .iter()
            .filter_map(|held| match held {
                Held::Twice { local, earlier, later, .. } => Some((*local, later.since(*earlier))),
                Held::Ready(_) => None,
            })
            .collect();
        let split = split(self.before, &locals, after);
        let mut index = 0;
        for held in held {
            match held {
                Held::Ready(line) => sink(line),
                Held::Twice { number, local, earlier, later, temperature } => {
                    let found = split.map(|split| {
                        let first_pass = (index < split.at) == split.forwards;
                        Reading { at: if first_pass { earlier } else { later }, temperature }
                    });
                    index += 1;
                    sink(Line { number, found: found.ok_or_else(|| ambiguous(local)) });
                }
            }
        }
        self.before = locals.last().map(|(local, _)| *local).or(self.before);
    }
}

fn ambiguous(local: i64) -> Fault {
    let shown = DateTime::from_timestamp_micros(local).map(|m| m.naive_utc().to_string()).unwrap_or_default();
    Fault::unreadable(format!(
        "{shown} was on the clock twice that night, and the file does not show which is meant: export with offsets"
    ))
}

/// Where the second showing begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Split {
    at: usize,
    /// The file goes forwards in time.
    forwards: bool,
}

/// Finds the one place where times go against the direction of the file. None when there is none, or more than one.
fn split(before: Option<i64>, locals: &[(i64, i64)], after: Option<i64>) -> Option<Split> {
    let (first, last) = (locals.first()?.0, locals.last()?.0);
    let ups = locals.windows(2).filter(|pair| matches!(pair, [a, b] if b.0 > a.0)).count();
    let downs = locals.windows(2).filter(|pair| matches!(pair, [a, b] if b.0 < a.0)).count();
    let forwards = match (before, after) {
        (Some(before), Some(after)) => after > before,
        (Some(before), None) => first > before,
        (None, Some(after)) => after > last,
        (None, None) if ups == downs => return None,
        (None, None) => ups > downs,
    };
    let mut found = None;
    for (at, pair) in (1..).zip(locals.windows(2)) {
        let [one, other] = pair else { continue };
        let against = if forwards { other.0 < one.0 } else { other.0 > one.0 };
        if against || (other.0 == one.0 && is_a_whole_step(before, locals, after, at)) {
            if found.is_some() {
                return None;
            }
            found = Some(Split { at, forwards });
        }
    }
    found
}

/// Whether two equal times are one step of the logger apart: the step beside them is as long as the clocks were put back. Otherwise they
/// are one line that stands there twice.
fn is_a_whole_step(before: Option<i64>, locals: &[(i64, i64)], after: Option<i64>, at: usize) -> bool {
    let local = |index: Option<usize>| index.and_then(|index| locals.get(index)).map(|(local, _)| *local);
    let Some((here, shift)) = locals.get(at).copied() else { return false };
    let earlier = if at >= 2 { local(at.checked_sub(2)) } else { before };
    let later = local(at.checked_add(1)).or(after);
    [earlier, later].into_iter().flatten().any(|beside| (beside - here).abs() == shift)
}
