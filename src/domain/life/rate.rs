//! How fast the clocks run at a temperature: where the published models hold (here), the models and the exact sum over a straight line (`law`),
//! the rules of each storage method (`regime`), what is known of a whole stretch (`course`), and ice (`ice`). Which budget a fish gets stands
//! in `budget`; what was measured where, in `curve`.
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

#[cfg(test)]
mod tests {
    use super::*;

    /// The trap of the square-root formula: at -20 °C it gives 1.0 again, as in ice, at -30 °C 4.0. None of it is in the domain.
    #[test]
    fn below_and_above_the_domain_is_refused() {
        let domain = |milli| MilliCelsius::new(milli).ok().map(model_domain);
        for milli in [-4_001, -10_000, -20_000, -30_000, 25_001, 60_000] {
            assert!(domain(milli).is_some_and(|found| found.is_err()), "{milli}");
        }
        assert_eq!(domain(15_001), Some(Ok(Domain::Doubtful)));
    }
}
