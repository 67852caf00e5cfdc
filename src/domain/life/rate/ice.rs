//! Ice in fish: how much of its water is frozen, where superchilling begins and ends, and how long frozen fish stays fit for use.

use crate::units::temperature::MilliCelsius;

/// Where a temperature stands in the superchill range: from the initial freezing point to so much below it (1 to 2 °C: EFSA BIOHAZ
/// 2021, EFSA J. 19(1):6378, abstract).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Band {
    NotSuperchilled,
    Inside,
    PartlyFrozen,
}

/// The band a temperature lies in; both edges are inside.
pub fn band(freezing_point: MilliCelsius, depth_mc: i64, temperature: MilliCelsius) -> Band {
    if temperature > freezing_point {
        Band::NotSuperchilled
    } else if temperature.get() < freezing_point.get() - depth_mc {
        Band::PartlyFrozen
    } else {
        Band::Inside
    }
}

/// Share of the water that is ice, 1 - Tf/T below the freezing point (ideal freezing-point depression; from memory). Some 10 points too
/// high at -5 °C, since some water never freezes (FAO Fisheries Technical Paper 340, s. 19, measured 70 %).
pub fn ice_fraction(freezing_point: MilliCelsius, temperature: MilliCelsius) -> f64 {
    if temperature >= freezing_point || freezing_point.get() >= 0 {
        return 0.0;
    }
    1.0 - freezing_point.get() as f64 / temperature.get() as f64
}

/// The same, less what is bound to protein: times (water - 0.4 protein) / water, by mass (ASHRAE Refrigeration, ch. 9; from memory).
pub fn ice_fraction_bound(freezing_point: MilliCelsius, temperature: MilliCelsius, water: f64, protein: f64) -> f64 {
    ice_fraction(freezing_point, temperature) * ((water - 0.4 * protein) / water).clamp(0.0, 1.0)
}

/// Practical storage life at a temperature, in the unit of the life `base` at -18 °C: so many times shorter for 10 °C more.
pub fn practical_storage_life(base: f64, temperature: MilliCelsius, q10_permille: i64) -> f64 {
    let tens = (temperature.get() as f64 + 18_000.0) / 10_000.0;
    base / (q10_permille as f64 / 1_000.0).powf(tens)
}
