//! The course of a stretch: the law its raw clock follows from one end to the other, and whether it stays below the temperatures at which
//! exposure counts. Found once, when the stretch is laid, so that a question about a part of it looks for nothing.

use super::law::Law;
use super::regime::{Line, TROPICAL, whole, whole_of_small};

/// What is known of a whole stretch, and so of every part of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Course {
    raw: RawLaw,
    /// Neither exposed nor hot anywhere.
    pub cool: bool,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum RawLaw {
    /// Steady, over an edge, or a law too rare to be told apart here: the tariff is to be asked.
    Other,
    /// (`at_zero` + `per_mc` T)^2: the square-root law, and the two commonest flat ones as lines that do not rise.
    Square {
        at_zero: f64,
        per_mc: f64,
    },
    Tropical,
}

const SQUARE_ROOT: RawLaw = RawLaw::Square { at_zero: 1.0, per_mc: 1e-4 };
const AS_IN_ICE: RawLaw = RawLaw::Square { at_zero: 1.0, per_mc: 0.0 };
const STOPPED: RawLaw = RawLaw::Square { at_zero: 0.0, per_mc: 0.0 };

/// Every course there is, by its number.
const ALL: [Course; 8] = [
    Course { raw: RawLaw::Other, cool: false },
    Course { raw: RawLaw::Other, cool: true },
    Course { raw: SQUARE_ROOT, cool: false },
    Course { raw: SQUARE_ROOT, cool: true },
    Course { raw: RawLaw::Tropical, cool: false },
    Course { raw: RawLaw::Tropical, cool: true },
    Course { raw: AS_IN_ICE, cool: true },
    Course { raw: STOPPED, cool: true },
];

impl Course {
    /// Of a line that lies wholly on one law, if it does.
    pub fn new(raw: Option<Law>, cool: bool) -> Course {
        let raw = match raw {
            Some(Law::SquareRoot) => SQUARE_ROOT,
            Some(law) if law == TROPICAL => RawLaw::Tropical,
            Some(Law::Flat(1.0)) => AS_IN_ICE,
            Some(Law::Flat(0.0)) => STOPPED,
            _ => RawLaw::Other,
        };
        let course = Course { raw, cool };
        if ALL.contains(&course) { course } else { Course { raw: RawLaw::Other, cool } }
    }

    /// Below eight.
    pub fn number(self) -> u64 {
        ALL.iter().position(|course| *course == self).map_or(0, |number| number as u64)
    }

    /// Of the last three bits.
    pub fn from_number(number: u64) -> Course {
        let [asking, ..] = ALL;
        ALL.get((number & 7) as usize).copied().unwrap_or(asking)
    }

    /// What the first part of a stretch adds to the raw sum, if it follows the commonest laws: `share` of a stretch that begins at a
    /// temperature and rises by so much in all.
    #[inline(always)]
    pub fn square_micros(self, from_mc: f64, rise_mc: f64, share: f64, micros: i64) -> Option<i64> {
        let RawLaw::Square { at_zero, per_mc } = self.raw else { return None };
        let a = at_zero + from_mc * per_mc;
        let rise = rise_mc * per_mc * share;
        // The mean of (a + x)^2 while x goes from nothing to all of the rise.
        let mean = a * (a + rise) + rise * rise * (1.0 / 3.0);
        Some(whole_of_small(mean * micros as f64))
    }

    /// The same for the tropical law.
    pub fn tropical_micros(self, line: Line) -> Option<i64> {
        let (low, high) = (line.from_mc.min(line.to_mc), line.from_mc.max(line.to_mc));
        (self.raw == RawLaw::Tropical).then(|| whole(TROPICAL.mean(low, high) * line.micros as f64))
    }
}
