//! The rules in force: those of a jurisdiction's profile (`us`, `eu`), and over them the shop's own stricter settings, or looser ones it
//! has validated itself and says so.

use crate::domain::shop::Jurisdiction;
use crate::units::temperature::MilliCelsius;

/// Which rate model the raw and colour clocks run by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RawModel {
    SquareRoot,
    Exponential,
    /// The faster of both.
    Cautious,
}

/// What the sums over a curve depend on. The same for every place of a shop.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rates {
    pub model: RawModel,
    /// Initial freezing point: the warm edge of the superchill band.
    pub freezing_point: MilliCelsius,
    /// How far below the freezing point the band reaches, in milli-degrees.
    pub band_depth_mc: i64,
    /// A superchilled hour never counts less than 1000/this of an hour in ice: 1500 is one and a half times the life.
    pub superchill_cap_permille: i64,
    /// At or below this, fish in a freezer is frozen through and its raw clock stands still.
    pub frozen_through: MilliCelsius,
    /// Above these, exposure counts.
    pub safe: MilliCelsius,
    pub hot: MilliCelsius,
    /// How many times faster frozen fish ages at 10 °C more, in permille; and below which temperature no further credit is given.
    pub frozen_q10_permille: i64,
    pub coldest_credit: MilliCelsius,
}

/// The rules of one shop.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rules {
    pub jurisdiction: Jurisdiction,
    pub rates: Rates,
}
