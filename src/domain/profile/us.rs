//! The profile of the United States: every constant with its source and how well it is known (source: read in it; secondary: read in a
//! text quoting it; memory: recalled, not confirmed; common practice: no source to cite). Guidance, not law, where it says so. The local
//! food code and the inspector decide.

use super::{
    AcrossFreezing, Counting, CountsFrom, DateMark, ExemptSpecies, Exposure, FreezingRule, ParasiteRules, Rates,
    RawModel, Rules, Running,
};
use crate::domain::shop::Jurisdiction;
use crate::units::temperature::MilliCelsius;

/// Raw and colour clocks run by the faster of two rate models (memory: Olley & Ratkowsky 1973; Dalgaard & Huss 1997; the choice of the
/// envelope is ours).
const MODEL: RawModel = RawModel::Cautious;

/// Initial freezing point of fish: about -1 °C (source: Johnston et al. 1994, FAO Fisheries Technical Paper 340, s. 19). Other prints run
/// from -0.5 to -2.5 °C, so it is a setting.
const FREEZING_POINT: MilliCelsius = MilliCelsius::clamped(-1_000);

/// Superchilled is down to 2 °C below the freezing point (source: EFSA BIOHAZ 2021, EFSA Journal 19(1):6378, abstract: 1 to 2 °C).
const BAND_DEPTH_MC: i64 = 2_000;

/// Superchilling earns at most one and a half times the life in ice: cod at -1 °C (secondary: Merritt 1965, quoted by Love 1967), and for
/// skipjack no more than 3 days (source: Trans. Japan Soc. Refrig. Air Cond. Eng. 12(2), abstract). Data on tuna is thin.
const SUPERCHILL_CAP_PERMILLE: i64 = 1_500;

/// Frozen is 5 °F (-15 °C) or colder (source: California Health & Safety Code 110965).
const FROZEN_THROUGH: MilliCelsius = MilliCelsius::clamped(-15_000);

/// Exposure counts strictly above 40 °F, and is hot strictly above 70 °F (memory, high: FDA, Fish and Fishery Products Hazards and Controls
/// Guidance, 4th ed., ch. 7; guidance).
const SAFE: MilliCelsius = MilliCelsius::clamped(4_444);
const HOT: MilliCelsius = MilliCelsius::clamped(21_111);

/// Never frozen: at most 4 h in all if any part of it was above 70 °F, else 8 h; previously frozen: 12 h and 24 h (memory, high: the same
/// chapter; guidance).
const EXPOSURE: Exposure = Exposure {
    minutes: 8 * 60,
    hot_minutes: 4 * 60,
    previously_frozen_minutes: 24 * 60,
    previously_frozen_hot_minutes: 12 * 60,
};

/// Cold holding at 41 °F (5 °C) or colder (source: FDA Food Code 3-501.16, read in Washington WAC 246-215-03525).
const COLD_LIMIT: MilliCelsius = MilliCelsius::clamped(5_000);

/// Seven calendar days, the day of preparation or of opening being day 1 (source: FDA Food Code 3-501.17, read in Minnesota R. 4626.0400).
/// Whether fish sold for raw eating is date-marked is for the local regulator.
const DATE_MARK_DAYS: i64 = 7;

/// To the end of the last day, not to the hour: both are in use (source: Conference for Food Protection 2016, Issue I-034).
const COUNTING: Counting = Counting::CalendarDays;

/// The day it goes into the freezer and the frozen time do not count, the day of thawing takes the next number (source: Food Code Adoption
/// in North Carolina: Date Marking). Minnesota's text allows a day more; the stricter is the default.
const ACROSS: AcrossFreezing = AcrossFreezing::ThawDayCounts;

/// Fish generally keeps good quality at -18 °C for no more than 2 to 3 months (source: Howgate 2001, seafood mailing list, UC Davis); the
/// lower end, months of 30 days. Remembered tables say 4 to 9 months and contradict each other, so no group gets more.
const FROZEN_DAYS: i64 = 60;

/// Q10 of frozen fish is 3 to 3.5 (source: Labuza 2001, same list). The lower one gives colder storage the smaller credit; what warmer
/// storage takes with it is smaller too, by less than a tenth from -18 to -12 °C.
const FROZEN_Q10_PERMILLE: i64 = 3_000;

/// No further credit below -40 °C: bigeye kept at -40 °C was the coldest that was followed past thawing (source: metmyoglobin reductase
/// study, Nippon Suisan Gakkaishi, abstract; the bound is ours).
const COLDEST_CREDIT: MilliCelsius = MilliCelsius::clamped(-40_000);

/// Thawed tuna keeps its colour half as long as never frozen (source: Seki et al. 2016, Asian Fisheries Science 29(4):232-244, abstract:
/// 3 days against 6 at 4 °C).
const THAWED_COLOUR_PERMILLE: i64 = 500;

/// Tunas that need no freezing before raw eating (source: FDA Food Code 3-402.11, read in WAC 246-215-03425 and Minnesota R. 4626.0350).
/// Pacific bluefin, longtail tuna and skipjack are not on it. FAO 3-alpha codes: memory, high.
const EXEMPT: [ExemptSpecies; 6] = [
    ExemptSpecies { scientific_name: "Thunnus alalunga", fao_code: "ALB" },
    ExemptSpecies { scientific_name: "Thunnus albacares", fao_code: "YFT" },
    ExemptSpecies { scientific_name: "Thunnus atlanticus", fao_code: "BLF" },
    ExemptSpecies { scientific_name: "Thunnus maccoyii", fao_code: "SBF" },
    ExemptSpecies { scientific_name: "Thunnus obesus", fao_code: "BET" },
    ExemptSpecies { scientific_name: "Thunnus thynnus", fao_code: "BFT" },
];

/// The three ways of FDA Food Code 3-402.11(A)(1) to (3) (source: the same): frozen and stored at -20 °C for 168 h; frozen solid at -35 °C
/// and stored there for 15 h; frozen solid at -35 °C and stored at -20 °C for 24 h.
const FREEZING: [FreezingRule; 3] = [
    FreezingRule {
        name: "us_168_h_at_minus_20",
        solid_at: None,
        hold_at: MilliCelsius::clamped(-20_000),
        hold_hours: 168,
        counts_from: CountsFrom::InFreezer,
    },
    FreezingRule {
        name: "us_solid_and_15_h_at_minus_35",
        solid_at: Some(MilliCelsius::clamped(-35_000)),
        hold_at: MilliCelsius::clamped(-35_000),
        hold_hours: 15,
        counts_from: CountsFrom::Solid,
    },
    FreezingRule {
        name: "us_solid_at_minus_35_and_24_h_at_minus_20",
        solid_at: Some(MilliCelsius::clamped(-35_000)),
        hold_at: MilliCelsius::clamped(-20_000),
        hold_hours: 24,
        counts_from: CountsFrom::Solid,
    },
];

/// Freezing records and suppliers' letters are kept for 90 calendar days after sale (secondary: FDA Food Code 3-402.12, in a CDC vessel
/// inspection text).
const RECORD_DAYS_AFTER_SALE: i64 = 90;

pub fn profile() -> Rules {
    Rules {
        jurisdiction: Jurisdiction::Us,
        rates: Rates {
            model: MODEL,
            freezing_point: FREEZING_POINT,
            band_depth_mc: BAND_DEPTH_MC,
            superchill_cap_permille: SUPERCHILL_CAP_PERMILLE,
            frozen_through: FROZEN_THROUGH,
            safe: SAFE,
            hot: HOT,
            frozen_q10_permille: FROZEN_Q10_PERMILLE,
            coldest_credit: COLDEST_CREDIT,
        },
        running: Running { raw: true, colour: true, exposure: true, frozen: true },
        cold_limit: COLD_LIMIT,
        exposure: EXPOSURE,
        date_mark: DateMark { days: Some(DATE_MARK_DAYS), counting: COUNTING, across: ACROSS },
        frozen_days: FROZEN_DAYS,
        thawed_colour_permille: THAWED_COLOUR_PERMILLE,
        parasites: ParasiteRules {
            exempt: &EXEMPT,
            other_grounds: "farmed on pellets without live parasites, or another exemption of the local food code (FDA Food Code 3-402.11)",
            freezing: &FREEZING,
            record_days_after_sale: Some(RECORD_DAYS_AFTER_SALE),
        },
        own: Vec::new(),
    }
}
