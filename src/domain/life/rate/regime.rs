//! What an hour costs in a place of each storage method, measured or assumed: for every sum its rate at a temperature, and the exact
//! amount over a straight line. Where the temperatures come from is `curve`'s.

use super::course::Course;
use super::law::{Law, Tariff};
use super::{COLOUR_BUDGET_MICROS, Sum};
use crate::domain::life::wear::Wear;
use crate::domain::place::StorageMethod;
use crate::domain::profile::{Rates, RawModel};
use crate::units::instant::MICROS_PER_HOUR;
use crate::units::temperature::MilliCelsius;

/// Whether a temperature was read or had to be taken for granted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Evidence {
    Measured,
    Assumed,
}

/// The tariffs of one storage method under one kind of evidence.
#[derive(Debug, Clone, PartialEq)]
pub struct Regime {
    raw: Tariff,
    /// None where nothing is frozen, and colour goes as fast as raw.
    colour: Option<Tariff>,
    /// None where nothing is frozen.
    frozen: Option<Tariff>,
    exposed: Tariff,
    hot: Tariff,
}

/// A straight line between two temperatures, or a stretch of one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    pub from_mc: f64,
    pub to_mc: f64,
    pub micros: i64,
}

/// Temperatures are told apart to this fraction of a milli-degree where an edge belongs to its warmer side.
pub const FINENESS: f64 = 16_384.0;

/// Parts of an hour that a steady rate is rounded up to: 1e-12.
const STEADY: f64 = 1e12;

impl Regime {
    pub fn new(rates: &Rates, method: StorageMethod, evidence: Evidence) -> Regime {
        let frozen_place = method == StorageMethod::Frozen;
        Regime {
            raw: raw(rates, method, evidence),
            colour: frozen_place.then(|| frozen_colour(rates)),
            frozen: frozen_place.then(|| frozen_storage(rates)),
            exposed: Tariff::above(mc(rates.safe)),
            hot: Tariff::above(mc(rates.hot)),
        }
    }

    fn tariff(&self, sum: Sum) -> Option<&Tariff> {
        match sum {
            Sum::Raw => Some(&self.raw),
            Sum::Colour => Some(self.colour.as_ref().unwrap_or(&self.raw)),
            Sum::Frozen => self.frozen.as_ref(),
            Sum::Exposed => Some(&self.exposed),
            Sum::Hot => Some(&self.hot),
        }
    }

    /// The rate of one sum, as a plain number.
    pub fn rate(&self, sum: Sum, temperature: MilliCelsius) -> f64 {
        self.tariff(sum).map_or(0.0, |tariff| tariff.rate(mc(temperature)))
    }

    /// What is known of a line as a whole. A steady one is counted in integers, which a course does not do, nor anything of weeks.
    pub fn course(&self, line: Line) -> Course {
        let told = line.from_mc != line.to_mc && line.micros < 1 << 40;
        let raw = if told { self.raw.law_over(line.from_mc, line.to_mc) } else { None };
        let warmest = line.from_mc.max(line.to_mc);
        Course::new(raw, self.exposed.rate(warmest) == 0.0 && self.hot.rate(warmest) == 0.0)
    }

    /// What a line adds to one sum: the exact integral, rounded up to a whole microsecond.
    pub fn micros(&self, sum: Sum, line: Line) -> i64 {
        self.tariff(sum).map_or(0, |tariff| along(tariff, line))
    }

    /// The same of a part of a stretch of this course, but for the raw sum.
    pub fn micros_on(&self, course: Course, sum: Sum, line: Line) -> i64 {
        match sum {
            Sum::Exposed | Sum::Hot if course.cool => 0,
            _ => self.micros(sum, line),
        }
    }

    /// What a part of a stretch of this course adds to the raw sum.
    #[inline(never)]
    pub fn raw_on(&self, course: Course, line: Line) -> i64 {
        course.tropical_micros(line).unwrap_or_else(|| along(&self.raw, line))
    }

    /// What a part of a stretch of this course adds to every sum, of which raw is known. Measured and assumed time is left to whoever
    /// knows.
    #[inline(never)]
    pub fn wear_beside(&self, course: Course, line: Line, raw_micros: i64) -> Wear {
        let mut wear = Wear { raw_micros, colour_micros: raw_micros, ..Wear::default() };
        if self.frozen.is_some() {
            wear.colour_micros = self.micros(Sum::Colour, line);
            wear.frozen_micros = self.micros(Sum::Frozen, line);
        }
        if !course.cool {
            wear.exposed_micros = along(&self.exposed, line);
            wear.hot_micros = along(&self.hot, line);
        }
        wear
    }

    /// The longest span at a steady temperature that adds no more than `amount` to a sum; none when the sum stands still.
    pub fn span_within(&self, sum: Sum, at_mc: f64, amount: i64) -> Option<i64> {
        let rate = i128::from(steady(self.tariff(sum)?, at_mc));
        let span = i128::from(amount) * i128::from(STEADY as i64) / if rate > 0 { rate } else { return None };
        Some(i64::try_from(span).unwrap_or(i64::MAX))
    }
}

fn mc(temperature: MilliCelsius) -> f64 {
    temperature.get() as f64
}

/// Up to a whole number, unless it lies so little above one that only the arithmetic can have put it there: 4 units in the last place.
#[inline]
pub fn whole(exact: f64) -> i64 {
    let exact = exact * (1.0 - 4.0 * f64::EPSILON);
    // `ceil` would be a call on processors that need not know the instruction.
    let cut = exact as i64;
    cut.saturating_add(i64::from(exact > cut as f64))
}

/// The same of what is below 2^51, where it takes less.
#[inline(always)]
pub fn whole_of_small(exact: f64) -> i64 {
    /// 2^52: a float as large has no fraction left.
    const WHOLE: f64 = 4_503_599_627_370_496.0;
    let exact = exact * (1.0 - 4.0 * f64::EPSILON);
    let nearest = exact + WHOLE;
    let cut = nearest.to_bits().wrapping_sub(WHOLE.to_bits()).cast_signed();
    cut + i64::from(exact > nearest - WHOLE)
}

/// A steady rate in whole parts of 1e-12, rounded up.
fn steady(tariff: &Tariff, at_mc: f64) -> i64 {
    whole(tariff.rate(at_mc) * STEADY)
}

/// A steady temperature may be held for centuries and is counted in integers; a line is as long as two readings are apart.
#[inline(never)]
fn along(tariff: &Tariff, line: Line) -> i64 {
    if line.from_mc != line.to_mc {
        return whole(tariff.mean(line.from_mc, line.to_mc) * line.micros as f64);
    }
    let parts = i128::from(steady(tariff, line.from_mc)) * i128::from(line.micros);
    let one = i128::from(STEADY as i64);
    i64::try_from((parts + one - 1) / one).unwrap_or(i64::MAX)
}

/// Where the two models cross above 0 °C (computed from both: 15.7901 °C), in milli-degrees.
pub const CROSSING_MC: f64 = 15_790.081_360_252_53;

/// The square-root model ends at -10 °C, where it says nothing happens any more; below that it would climb again.
const SQUARE_ROOT_ENDS_MC: f64 = -10_000.0;

pub const TROPICAL: Law = Law::Exponential { at_zero: 1.0, per_mc: 0.000_12 };

/// No sum runs faster than this, so that centuries of it can still be counted; above 57 °C nothing is left to tell apart.
const FASTEST: f64 = 1_000.0;

/// The law of the model at a temperature.
fn model_law(model: RawModel, at_mc: f64) -> Law {
    let law = uncapped_law(model, at_mc);
    if law.rate(at_mc) > FASTEST { Law::Flat(FASTEST) } else { law }
}

fn uncapped_law(model: RawModel, at_mc: f64) -> Law {
    let root = if at_mc > SQUARE_ROOT_ENDS_MC { Law::SquareRoot } else { Law::Flat(0.0) };
    match model {
        RawModel::SquareRoot => root,
        RawModel::Exponential => TROPICAL,
        RawModel::Cautious => faster(root, TROPICAL, at_mc),
    }
}

fn faster(one: Law, other: Law, at_mc: f64) -> Law {
    if other.rate(at_mc) > one.rate(at_mc) { other } else { one }
}

/// Edges at which the law of any model may change, and at which it passes the rate `least`.
fn model_edges(least: f64) -> Vec<f64> {
    let root = (least.sqrt() - 1.0) * 10_000.0;
    let exponential = |rate: f64| rate.ln() / 0.000_12;
    vec![SQUARE_ROOT_ENDS_MC, root, exponential(least), 0.0, CROSSING_MC, exponential(FASTEST)]
}

/// The raw clock: ice time by the model of the rules, never slower than ice, with two exceptions that must be earned. A superchilled hour
/// that was measured inside the band counts down to `1000 / superchill_cap_permille`; below the band fish is partly frozen and earns
/// nothing, which is the one place where warmer is slower. And in a freezer nothing runs at or below `frozen_through`.
fn raw(rates: &Rates, method: StorageMethod, evidence: Evidence) -> Tariff {
    let or_ice = |at_mc| faster(Law::Flat(1.0), model_law(rates.model, at_mc), at_mc);
    match (method, evidence) {
        (StorageMethod::Superchill, Evidence::Measured) => {
            let top = mc(rates.freezing_point);
            // The lower edge belongs to the band.
            let bottom = top - rates.band_depth_mc as f64 - 1.0 / FINENESS;
            let least = 1_000.0 / rates.superchill_cap_permille.max(1_000) as f64;
            let edges = [model_edges(least), vec![bottom, top]].concat();
            Tariff::new(edges, |at_mc| match at_mc {
                below if below <= bottom => Law::Flat(1.0),
                inside if inside <= top => faster(Law::Flat(least), model_law(rates.model, inside), inside),
                above => or_ice(above),
            })
        }
        (StorageMethod::Frozen, _) => {
            let through = mc(rates.frozen_through);
            let edges = [model_edges(1.0), vec![through]].concat();
            Tariff::new(edges, |at_mc| if at_mc <= through { Law::Flat(0.0) } else { or_ice(at_mc) })
        }
        _ => Tariff::new(model_edges(1.0), or_ice),
    }
}

/// Colour of frozen tuna. At -18 °C the whole budget is gone after 14 days (metmyoglobin above 30 %: Yang et al. 2016, Meat Research
/// 30(2):26-30, abstract), at -30 °C after 28 (same: Q10 1.78). Autoxidation is fastest at -10 °C (Chow, Ochiai & Watabe 2004, J. Food
/// Biochem., abstract: colour loss is not monotone), so from there up that rate holds until the raw clock runs faster.
fn frozen_colour(rates: &Rates) -> Tariff {
    const WORST_MC: f64 = -10_000.0;
    let per_mc = 1.78_f64.ln() / 10_000.0;
    let at_minus_18 = COLOUR_BUDGET_MICROS as f64 / (14 * 24 * MICROS_PER_HOUR) as f64;
    let law = Law::Exponential { at_zero: at_minus_18 * (18_000.0 * per_mc).exp(), per_mc };
    let coldest = mc(rates.coldest_credit).min(WORST_MC);
    let worst = law.rate(WORST_MC);
    let edges = [model_edges(worst), vec![coldest, WORST_MC]].concat();
    Tariff::new(edges, |at_mc| match at_mc {
        deep if deep <= coldest => Law::Flat(law.rate(coldest)),
        frozen if frozen <= WORST_MC => law,
        mild if mild <= 0.0 => Law::Flat(worst),
        warm => faster(Law::Flat(worst), model_law(rates.model, warm), warm),
    })
}

/// Storage life of frozen fish, in time at -18 °C: so many times faster for 10 °C more (3 to 3.5: Labuza 2001, seafood mailing list, UC
/// Davis), without credit below the coldest temperature that earns any.
fn frozen_storage(rates: &Rates) -> Tariff {
    let per_mc = (rates.frozen_q10_permille.max(1_001) as f64 / 1_000.0).ln() / 10_000.0;
    let law = Law::Exponential { at_zero: (18_000.0 * per_mc).exp(), per_mc };
    let coldest = mc(rates.coldest_credit);
    let fastest = FASTEST.ln() / per_mc - 18_000.0;
    Tariff::new(vec![coldest, fastest], |at_mc| match at_mc {
        deep if deep <= coldest => Law::Flat(law.rate(coldest)),
        warm if warm > fastest => Law::Flat(FASTEST),
        _ => law,
    })
}
