//! How fast the clocks run at a temperature: the published models (here), the exact sum over a straight line (`law`), the rules of each
//! storage method (`regime`), what is known of a whole stretch (`course`), and ice (`ice`). Which budget a fish gets stands in `budget`; what was measured where, in `curve`.
//!
//! All spans are microseconds. Time used is counted in equivalents at 0 °C ("ice time"), rounded up, so that no rounding
//! ever lengthens a life.

pub mod course;
pub mod ice;
pub mod law;
pub mod regime;

use crate::units::instant::MICROS_PER_HOUR;
use crate::units::temperature::MilliCelsius;

/// What is summed over a curve, beside plain time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Sum {
    Raw,
    Colour,
    Frozen,
    Exposed,
    Hot,
}

impl Sum {
    pub const ALL: [Sum; 5] = [Sum::Raw, Sum::Colour, Sum::Frozen, Sum::Exposed, Sum::Hot];
}

/// How long tuna that was never frozen keeps its colour, as time at 0 °C: 6 days at 4 °C (bluefin: Seki et al. 2016, Asian Fisheries
/// Science 29(4):232-244, abstract) at the rate both models' envelope has there, 1.96 (from memory, as the models are).
pub const COLOUR_BUDGET_MICROS: i64 = 6 * 24 * MICROS_PER_HOUR / 100 * 196;

/// How fast a clock runs, in millionths of its speed at 0 °C. Zero is a stopped clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Pace(i64);

/// A temperature outside the domain of the rate models.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OutsideModel {
    pub temperature: MilliCelsius,
}

impl std::fmt::Display for OutsideModel {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "the rate models hold from -4 to 25 °C, not at {}", self.temperature)
    }
}

/// Where a temperature stands in the models' domain (-3 to 15 °C normal, to -4 and to 25 °C with a warning).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Domain {
    Normal,
    Doubtful,
}

/// The rate models hold from -4 to 25 °C. Below, the square-root formula climbs again (its value at -20 °C equals that in
/// ice), above, other spoilage takes over: both are refused (FAO Fisheries Technical Paper 348, s. 6.1; the range is from memory).
pub fn model_domain(temperature: MilliCelsius) -> Result<Domain, OutsideModel> {
    match temperature.get() {
        -3_000..=15_000 => Ok(Domain::Normal),
        -4_000..=25_000 => Ok(Domain::Doubtful),
        _ => Err(OutsideModel { temperature }),
    }
}

/// Relative rate of spoilage by the square-root model for temperate-water fish, (1 + 0.1 T)^2 with T in °C (Olley & Ratkowsky
/// 1973; FAO 348 Eq. 6.b; coefficients from memory). Exact, rounded up to a millionth.
pub fn square_root_rate(temperature: MilliCelsius) -> Result<Pace, OutsideModel> {
    model_domain(temperature)?;
    let root = 10_000 + temperature.get();
    Ok(Pace((root * root + 99) / 100))
}

/// Relative rate by the exponential model for tropical-water fish, e^(0.12 T) (Dalgaard & Huss 1997; coefficient from memory).
/// Rounded up to a millionth.
pub fn exponential_rate(temperature: MilliCelsius) -> Result<Pace, OutsideModel> {
    model_domain(temperature)?;
    // At most 25,000 milli-degrees, exact in f64; the result is below 21 and is an integer from here on.
    let exact = (0.000_12 * f64::from(i32::try_from(temperature.get()).unwrap_or(i32::MAX))).exp() * 1_000_000.0;
    #[allow(clippy::cast_possible_truncation, reason = "bounded by the domain guard: 0.6 to 20.1 million")]
    Ok(Pace((exact - 1e-6).ceil() as i64))
}

/// The cautious envelope: the faster of both models.
pub fn cautious_rate(temperature: MilliCelsius) -> Result<Pace, OutsideModel> {
    Ok(square_root_rate(temperature)?.max(exponential_rate(temperature)?))
}

impl Pace {
    pub const STOPPED: Pace = Pace(0);
    /// The speed in melting ice.
    pub const ICE: Pace = Pace(1_000_000);

    pub const fn millionths(self) -> i64 {
        self.0
    }

    /// A pace as it was written down; nothing runs backwards.
    pub fn from_millionths(millionths: i64) -> Pace {
        Pace(millionths.max(0))
    }
}

#[cfg(test)]
#[path = "rate_tests.rs"]
mod tests;
