//! Knots: the instants at which the temperature of a place takes a new direction, each with the sums up to it. How they come to be is
//! `laying`'s.

use crate::domain::life::rate::Sum;
use crate::domain::life::rate::course::Course;
use crate::domain::life::rate::regime::{Evidence, FINENESS, Line, Regime};
use crate::domain::life::wear::Wear;
use crate::domain::place::StorageMethod;
use crate::domain::profile::Rates;
use crate::units::instant::Instant;
use crate::units::temperature::MilliCelsius;

/// Running sums in microseconds. Plain measured time is what is left of the time between two knots.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Sums {
    pub raw: i64,
    pub colour: i64,
    pub frozen: i64,
    pub exposed: i64,
    pub hot: i64,
    pub assumed: i64,
}

impl Sums {
    pub fn plus(self, other: Sums) -> Sums {
        Sums {
            raw: self.raw.saturating_add(other.raw),
            colour: self.colour.saturating_add(other.colour),
            frozen: self.frozen.saturating_add(other.frozen),
            exposed: self.exposed.saturating_add(other.exposed),
            hot: self.hot.saturating_add(other.hot),
            assumed: self.assumed.saturating_add(other.assumed),
        }
    }

    /// Of sums that are known to fit.
    #[inline]
    pub fn plus_small(self, other: Sums) -> Sums {
        Sums {
            raw: self.raw.wrapping_add(other.raw),
            colour: self.colour.wrapping_add(other.colour),
            frozen: self.frozen.wrapping_add(other.frozen),
            exposed: self.exposed.wrapping_add(other.exposed),
            hot: self.hot.wrapping_add(other.hot),
            assumed: self.assumed.wrapping_add(other.assumed),
        }
    }

    /// The largest of them.
    pub fn largest(&self) -> i64 {
        self.raw.max(self.colour).max(self.frozen).max(self.exposed).max(self.hot).max(self.assumed)
    }

    pub fn minus(self, other: Sums) -> Sums {
        Sums {
            raw: self.raw - other.raw,
            colour: self.colour - other.colour,
            frozen: self.frozen - other.frozen,
            exposed: self.exposed - other.exposed,
            hot: self.hot - other.hot,
            assumed: self.assumed - other.assumed,
        }
    }

    pub fn of(&self, sum: Sum) -> i64 {
        match sum {
            Sum::Raw => self.raw,
            Sum::Colour => self.colour,
            Sum::Frozen => self.frozen,
            Sum::Exposed => self.exposed,
            Sum::Hot => self.hot,
        }
    }

    /// The wear of a stretch of `micros` that began at `earlier`.
    pub fn wear_since(&self, earlier: &Sums, micros: i64) -> Wear {
        let Sums { raw, colour, frozen, exposed, hot, assumed } = self.minus(*earlier);
        Wear {
            raw_micros: raw,
            colour_micros: colour,
            frozen_micros: frozen,
            exposed_micros: exposed,
            hot_micros: hot,
            measured_micros: micros - assumed,
            assumed_micros: assumed,
        }
    }
}

/// A temperature in parts of a milli-degree, so that a line cut at the start of an era keeps its course.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fine(i32);

impl Fine {
    pub fn new(temperature: MilliCelsius) -> Fine {
        Fine::from_mc(temperature.get() as f64)
    }

    pub fn from_mc(mc: f64) -> Fine {
        Fine((mc * FINENESS).round() as i32)
    }

    pub fn mc(self) -> f64 {
        f64::from(self.0) / FINENESS
    }
}

/// Rounded up to a whole milli-degree, but for what only the arithmetic put there.
pub fn rounded(mc: f64) -> MilliCelsius {
    MilliCelsius::nearest((mc - 1e-6).ceil())
}

/// The bit that tells assumed kinds by their number.
const ASSUMED: u64 = 1;
/// The bits that tell the method of a kind, and what they are for a freezer.
const METHOD: u64 = 6;
const FROZEN: u64 = 4;

/// The rule that holds between two knots.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Kind {
    pub method: StorageMethod,
    pub evidence: Evidence,
}

impl Kind {
    /// Below `COUNT`.
    fn number(self) -> usize {
        let method = match self.method {
            StorageMethod::Chill => 0,
            StorageMethod::Superchill => 2,
            StorageMethod::Frozen => 4,
            StorageMethod::Ambient => 6,
        };
        method + usize::from(self.evidence == Evidence::Assumed)
    }

    /// Of the last three bits.
    fn from_number(number: u64) -> Kind {
        let method = match (number & 7) >> 1 {
            0 => StorageMethod::Chill,
            1 => StorageMethod::Superchill,
            2 => StorageMethod::Frozen,
            _ => StorageMethod::Ambient,
        };
        Kind { method, evidence: if number & ASSUMED != 0 { Evidence::Assumed } else { Evidence::Measured } }
    }
}

/// The tariffs of every kind, by its number.
#[derive(Debug)]
pub struct Regimes([Regime; 8]);

impl Regimes {
    pub fn new(rates: &Rates) -> Regimes {
        Regimes([0, 1, 2, 3, 4, 5, 6, 7].map(|number| {
            let kind = Kind::from_number(number);
            Regime::new(rates, kind.method, kind.evidence)
        }))
    }

    pub fn of(&self, kind: Kind) -> &Regime {
        self.numbered(kind.number())
    }

    /// Of the last three bits.
    #[inline]
    fn numbered(&self, number: usize) -> &Regime {
        let Regimes(all) = self;
        let [first, ..] = all;
        all.get(number & 7).unwrap_or(first)
    }
}

/// From its instant to that of the next one the temperature goes evenly from `from` to `to`.
#[derive(Debug, Clone, Copy)]
pub struct Bend {
    /// The instant, and in the last six bits the numbers of the course and the kind: in order of time all the same.
    stamp: u64,
    from: Fine,
    to: Fine,
}

/// A bend as it is laid, with the sums up to it.
#[derive(Debug, Clone, Copy)]
pub struct Laid {
    pub bend: Bend,
    pub sums: Sums,
}

/// A bend as it is kept, in half a line of the processor's cache: a question about any instant waits for one knot, and the instants of
/// those beside it.
#[derive(Debug, Clone, Copy)]
#[repr(align(32))]
pub struct Knot {
    pub bend: Bend,
    /// The raw sum up to the instant.
    pub raw: i64,
    /// Which of the other sums are those up to the instant.
    pub rest: u32,
}

const _: () = assert!(size_of::<Knot>() == 32);
const _: () = assert!(Instant::MAXIMUM < 1 << 58);

/// The sums beside the raw one. Outside a freezer they stand still for most of the time, and many knots share them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Rest {
    /// How far the colour sum is ahead of the raw one.
    ahead: i64,
    frozen: i64,
    exposed: i64,
    hot: i64,
    assumed: i64,
}

impl Rest {
    pub fn of(sums: &Sums) -> Rest {
        let Sums { raw, colour, frozen, exposed, hot, assumed } = *sums;
        Rest { ahead: colour - raw, frozen, exposed, hot, assumed }
    }

    #[inline(always)]
    pub fn with(&self, raw: i64) -> Sums {
        let Rest { ahead, frozen, exposed, hot, assumed } = *self;
        Sums { raw, colour: raw.wrapping_add(ahead), frozen, exposed, hot, assumed }
    }
}

impl Bend {
    pub fn new((at, until): (i64, i64), (from, to): (Fine, Fine), kind: Kind, regimes: &Regimes) -> Bend {
        let course = regimes.of(kind).course(Line { from_mc: from.mc(), to_mc: to.mc(), micros: until - at });
        Bend { stamp: at.cast_unsigned() << 6 | course.number() << 3 | kind.number() as u64, from, to }
    }

    pub fn at(&self) -> i64 {
        (self.stamp >> 6).cast_signed()
    }

    pub fn kind(&self) -> Kind {
        Kind::from_number(self.stamp)
    }

    fn regime<'a>(&self, regimes: &'a Regimes) -> &'a Regime {
        regimes.numbered(self.stamp as usize)
    }

    /// It begins at or before an instant, given as `Bend::through`.
    #[inline]
    pub fn begins_within(&self, through: u64) -> bool {
        self.stamp <= through
    }

    /// The last stamp there can be at an instant.
    #[inline]
    pub fn through(at: i64) -> u64 {
        at.cast_unsigned() << 6 | 63
    }

    fn course(&self) -> Course {
        Course::from_number(self.stamp >> 3)
    }

    /// The temperature `micros` after the knot, of `length` to the next.
    pub fn mc_after(&self, micros: i64, length: i64) -> f64 {
        let (from, to) = (self.from.mc(), self.to.mc());
        if micros == length { to } else { from + (to - from) * (micros as f64 / length as f64) }
    }

    fn line(&self, micros: i64, length: i64) -> Line {
        Line { from_mc: self.from.mc(), to_mc: self.mc_after(micros, length), micros }
    }

    /// What the raw sum gains in the first `micros` after the knot, of `length` to the next.
    #[inline(always)]
    pub fn raw_gain(&self, regimes: &Regimes, micros: i64, length: i64) -> i64 {
        let rise = (i64::from(self.to.0) - i64::from(self.from.0)) as f64 * (1.0 / FINENESS);
        let share = micros as f64 / length as f64;
        match self.course().square_micros(self.from.mc(), rise, share, micros) {
            Some(gain) => gain,
            None => self.rarer_raw_gain(regimes, micros, length),
        }
    }

    #[inline(never)]
    fn rarer_raw_gain(&self, regimes: &Regimes, micros: i64, length: i64) -> i64 {
        self.regime(regimes).raw_on(self.course(), self.line(micros, length))
    }

    /// What one sum gains in the first `micros` after the knot, of `length` to the next.
    pub fn gain(&self, sum: Sum, regimes: &Regimes, micros: i64, length: i64) -> i64 {
        if sum == Sum::Raw || sum == Sum::Colour && self.stamp & METHOD != FROZEN {
            return self.raw_gain(regimes, micros, length);
        }
        self.regime(regimes).micros_on(self.course(), sum, self.line(micros, length))
    }

    /// What all sums gain in the first `micros` after the knot, of `length` to the next.
    #[inline(always)]
    pub fn gains(&self, regimes: &Regimes, micros: i64, length: i64) -> Sums {
        let raw = self.raw_gain(regimes, micros, length);
        let assumed = if self.stamp & ASSUMED == 0 { 0 } else { micros };
        let gains = Sums { raw, colour: raw, assumed, ..Sums::default() };
        if self.course().cool && self.stamp & METHOD != FROZEN {
            return gains;
        }
        self.rarer_gains(regimes, (micros, length), gains)
    }

    #[inline(never)]
    fn rarer_gains(&self, regimes: &Regimes, (micros, length): (i64, i64), gains: Sums) -> Sums {
        let (course, line) = (self.course(), self.line(micros, length));
        let wear = self.regime(regimes).wear_beside(course, line, gains.raw);
        Sums {
            colour: wear.colour_micros,
            frozen: wear.frozen_micros,
            exposed: wear.exposed_micros,
            hot: wear.hot_micros,
            ..gains
        }
    }

    /// The longest time after it, up to `length`, in which a sum gains no more than `left`.
    pub fn span_within(&self, sum: Sum, regimes: &Regimes, left: i64, length: i64) -> i64 {
        if self.from == self.to {
            return self.regime(regimes).span_within(sum, self.from.mc(), left).map_or(length, |span| span.min(length));
        }
        if self.gain(sum, regimes, length, length) <= left {
            return length;
        }
        let (mut within, mut beyond) = (0, length);
        while beyond - within > 1 {
            let middle = within + (beyond - within) / 2;
            if self.gain(sum, regimes, middle, length) <= left { within = middle } else { beyond = middle }
        }
        within
    }
}
