//! The rules in force: those of a jurisdiction's profile (`us`, `eu`), and over them the shop's own settings (`own`): stricter ones, or
//! looser ones it has validated itself and says so. The two profiles are never mixed.

mod eu;
pub mod own;
mod us;

use crate::domain::shop::Jurisdiction;
use crate::units::instant::MICROS_PER_HOUR;
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

/// How long fish may have been above the safety temperature in all. Up to and including the limit is within it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Exposure {
    pub minutes: i64,
    /// When any part of it was above the hot temperature.
    pub hot_minutes: i64,
    /// The same two for fish of which every part was frozen before.
    pub previously_frozen_minutes: i64,
    pub previously_frozen_hot_minutes: i64,
}

/// What ends on the last day of a date mark: the day, or the hour of that day at which the first day began.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Counting {
    ClockHours,
    CalendarDays,
}

/// How the days of a date mark go on after freezing. The day of freezing and the frozen days never count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AcrossFreezing {
    /// The day of thawing takes the next number.
    ThawDayCounts,
    /// The day after thawing takes the next number.
    ThawDayFree,
}

/// The date mark. The day of cutting is day 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DateMark {
    /// None: no date mark.
    pub days: Option<i64>,
    pub counting: Counting,
    pub across: AcrossFreezing,
}

/// Which clocks run. The supplier's date cannot be switched off; the date mark is off when it has no days.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Running {
    pub raw: bool,
    pub colour: bool,
    pub exposure: bool,
    pub frozen: bool,
}

/// A species that need not be frozen before raw eating.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ExemptSpecies {
    pub scientific_name: &'static str,
    pub fao_code: &'static str,
}

/// From when on the time of a freezing counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CountsFrom {
    /// From the time the freezer holds the temperature.
    InFreezer,
    /// From the time the fish is solid, which a logger of the air cannot see.
    Solid,
    /// From the time every part has the temperature, which a logger of the air cannot see.
    AllParts,
}

/// One way of freezing that kills parasites.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FreezingRule {
    /// Stable name, kept in records.
    pub name: &'static str,
    /// The freezer is at or below this until the fish is solid.
    pub solid_at: Option<MilliCelsius>,
    /// Held at or below this …
    pub hold_at: MilliCelsius,
    /// … for at least so long.
    pub hold_hours: i64,
    pub counts_from: CountsFrom,
}

/// What a profile asks about parasites.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ParasiteRules {
    pub exempt: &'static [ExemptSpecies],
    /// What may stand in the shop's note when it exempts a species the profile does not list.
    pub other_grounds: &'static str,
    pub freezing: &'static [FreezingRule],
    /// How long a record is kept after the fish is sold; none where the law read names no number.
    pub record_days_after_sale: Option<i64>,
}

/// A setting of the shop that differs from its profile, in the words of the settings file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OwnSetting {
    pub name: &'static str,
    pub value: String,
    pub profile_value: String,
    /// Who validated a looser value, and on what ground; none for a stricter one.
    pub validated: Option<String>,
}

/// The rules of one shop.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rules {
    pub jurisdiction: Jurisdiction,
    pub rates: Rates,
    pub running: Running,
    /// Cold holding: a chilled place of the shop is not kept warmer.
    pub cold_limit: MilliCelsius,
    pub exposure: Exposure,
    pub date_mark: DateMark,
    /// Practical storage life at -18 °C, in days.
    pub frozen_days: i64,
    /// What thawed fish keeps of the colour life of fish that was never frozen.
    pub thawed_colour_permille: i64,
    pub parasites: ParasiteRules,
    /// Where the shop differs from its profile.
    pub own: Vec<OwnSetting>,
}

impl Rules {
    /// A profile as it is.
    pub fn of(jurisdiction: Jurisdiction) -> Rules {
        match jurisdiction {
            Jurisdiction::Us => us::profile(),
            Jurisdiction::Eu => eu::profile(),
        }
    }

    /// Settings in force that are looser than the profile, with the shop's ground.
    pub fn validated(&self) -> impl Iterator<Item = &OwnSetting> {
        self.own.iter().filter(|setting| setting.validated.is_some())
    }

    /// Practical storage life in equivalents at -18 °C.
    pub const fn frozen_micros(&self) -> i64 {
        self.frozen_days * 24 * MICROS_PER_HOUR
    }
}

impl Exposure {
    /// The limit in minutes. Heat never allows more than there would be without it.
    pub fn limit_minutes(&self, hot: bool, previously_frozen: bool) -> i64 {
        let (plain, with_heat) = if previously_frozen {
            (self.previously_frozen_minutes, self.previously_frozen_hot_minutes)
        } else {
            (self.minutes, self.hot_minutes)
        };
        if hot { plain.min(with_heat) } else { plain }
    }
}
