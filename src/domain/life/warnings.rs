//! What a reader of a life should know beside its end: where the temperature leaves a band or the models, what was assumed, what the shop
//! has validated itself.

use super::curve::Curve;
use super::rate::ice::{Band, band};
use super::rate::{Domain, model_domain};
use crate::domain::place::StorageMethod;
use crate::domain::profile::Rules;
use crate::units::instant::Instant;

/// Something a reader of a life should know.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Warning {
    /// A superchill place was measured above its band, or below it.
    NotSuperchilled,
    PartlyFrozen,
    /// The rate models are doubtful at this temperature, or do not hold.
    ModelDoubtful,
    OutsideModel,
    /// More of its time was assumed than measured.
    MostlyAssumed,
    /// A limit looser than the profile is in force, on the shop's own ground.
    ValidatedByShop,
}

impl Warning {
    pub const ALL: [Warning; 6] = [
        Warning::NotSuperchilled,
        Warning::PartlyFrozen,
        Warning::ModelDoubtful,
        Warning::OutsideModel,
        Warning::MostlyAssumed,
        Warning::ValidatedByShop,
    ];

    pub const fn as_str(self) -> &'static str {
        match self {
            Warning::NotSuperchilled => "not_superchilled",
            Warning::PartlyFrozen => "partly_frozen",
            Warning::ModelDoubtful => "model_doubtful",
            Warning::OutsideModel => "outside_model",
            Warning::MostlyAssumed => "mostly_assumed",
            Warning::ValidatedByShop => "validated_by_shop",
        }
    }

    /// What it means, in a sentence for people.
    pub const fn in_words(self) -> &'static str {
        match self {
            Warning::NotSuperchilled => {
                "The place is measured warmer than superchilled fish is kept; it earns no longer life."
            }
            Warning::PartlyFrozen => {
                "The place is measured colder than superchilled fish is kept: fish freezes partly and earns no longer life."
            }
            Warning::ModelDoubtful => "The rate models are doubtful at this temperature.",
            Warning::OutsideModel => "The rate models do not hold at this temperature.",
            Warning::MostlyAssumed => "More than half of the time was assumed, not measured.",
            Warning::ValidatedByShop => "A limit looser than the profile is in force; the shop has validated it.",
        }
    }

    const fn bit(self) -> u8 {
        1 << self as u8
    }
}

/// A set of warnings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Warnings(u8);

impl Warnings {
    pub fn has(self, warning: Warning) -> bool {
        self.0 & warning.bit() != 0
    }

    pub fn iter(self) -> impl Iterator<Item = Warning> {
        Warning::ALL.into_iter().filter(move |warning| self.has(*warning))
    }

    pub fn note(&mut self, warning: Warning, when: bool) {
        if when {
            self.0 |= warning.bit();
        }
    }
}

/// What the temperature of the place says, as last measured and as it counts now, and what the rules of the shop say always.
pub fn of_place(rules: &Rules, curve: &Curve, method: StorageMethod, now: Instant) -> Warnings {
    let mut warnings = Warnings::default();
    warnings.note(Warning::ValidatedByShop, rules.validated().next().is_some());
    if method == StorageMethod::Frozen {
        return warnings;
    }
    let (counted, measured_now) = curve.temperature_at(now);
    let last = curve.last_reading().filter(|reading| reading.at <= now).map(|reading| reading.temperature);
    let measured = if measured_now { Some(counted) } else { last };
    for temperature in [Some(counted), measured].into_iter().flatten() {
        match model_domain(temperature) {
            Ok(Domain::Normal) => {}
            Ok(Domain::Doubtful) => warnings.note(Warning::ModelDoubtful, true),
            Err(_) => warnings.note(Warning::OutsideModel, true),
        }
    }
    if let Some(temperature) = measured.filter(|_| method == StorageMethod::Superchill) {
        let place = band(rules.rates.freezing_point, rules.rates.band_depth_mc, temperature);
        warnings.note(Warning::NotSuperchilled, place == Band::NotSuperchilled);
        warnings.note(Warning::PartlyFrozen, place == Band::PartlyFrozen);
    }
    warnings
}
