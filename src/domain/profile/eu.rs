//! The profile of the European Union: every constant with its source and how well it is known (source: read in it; secondary: read in a
//! text quoting it; memory: recalled, not confirmed; common practice: no source to cite). Where the law read names no number, that is
//! said, and a guidance figure stands in. National law and the inspector decide.

use super::{
    AcrossFreezing, Counting, CountsFrom, DateMark, Exposure, FreezingRule, ParasiteRules, Rates, RawModel, Rules,
    Running,
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

/// Frozen fish is at -18 °C in all parts, in transport briefly up to 3 °C warmer (source: Reg. (EC) 853/2004 Annex III s. VIII ch. VII and
/// VIII, extracts): at -15 °C it is still frozen through.
const FROZEN_THROUGH: MilliCelsius = MilliCelsius::clamped(-15_000);

/// The law read has no number for the time above a temperature. These are the figures of the guidance of the United States, taken as
/// the shop's own measure: counted strictly above 40 °F, hot strictly above 70 °F (memory, high: FDA, Fish and Fishery Products Hazards and
/// Controls Guidance, 4th ed., ch. 7).
const SAFE: MilliCelsius = MilliCelsius::clamped(4_444);
const HOT: MilliCelsius = MilliCelsius::clamped(21_111);

/// Never frozen: at most 4 h in all if any part of it was hot, else 8 h; previously frozen: 12 h and 24 h (memory, high: the same chapter;
/// no number in the law read).
const EXPOSURE: Exposure = Exposure {
    minutes: 8 * 60,
    hot_minutes: 4 * 60,
    previously_frozen_minutes: 24 * 60,
    previously_frozen_hot_minutes: 12 * 60,
};

/// Fresh fish is kept at a temperature approaching that of melting ice (secondary: Reg. (EC) 853/2004 Annex III s. VIII ch. VII); read as up
/// to 2 °C (common practice, no source).
const COLD_LIMIT: MilliCelsius = MilliCelsius::clamped(2_000);

/// No date mark in days: none in the part of the law read. How days would be counted if the shop sets some is taken from the stricter
/// texts in use elsewhere (common practice, no source in this law).
const DATE_MARK: DateMark =
    DateMark { days: None, counting: Counting::CalendarDays, across: AcrossFreezing::ThawDayCounts };

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

/// Every part at -20 °C for 24 h, or at -35 °C for 15 h, against parasites other than trematodes (source: Reg. (EU) 1276/2011 amending
/// Reg. (EC) 853/2004 Annex III s. VIII ch. III D, German text).
const FREEZING: [FreezingRule; 2] = [
    FreezingRule {
        name: "eu_24_h_at_minus_20_in_all_parts",
        solid_at: None,
        hold_at: MilliCelsius::clamped(-20_000),
        hold_hours: 24,
        counts_from: CountsFrom::AllParts,
    },
    FreezingRule {
        name: "eu_15_h_at_minus_35_in_all_parts",
        solid_at: None,
        hold_at: MilliCelsius::clamped(-35_000),
        hold_hours: 15,
        counts_from: CountsFrom::AllParts,
    },
];

pub fn profile() -> Rules {
    Rules {
        jurisdiction: Jurisdiction::Eu,
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
        date_mark: DATE_MARK,
        frozen_days: FROZEN_DAYS,
        thawed_colour_permille: THAWED_COLOUR_PERMILLE,
        parasites: ParasiteRules {
            // No list of species in the part of the law read (source: the same chapter).
            exempt: &[],
            other_grounds: "epidemiological data and the authority's approval for wild fish, or farmed from embryos on feed free of parasites \
                            (Reg. (EU) 1276/2011)",
            freezing: &FREEZING,
            record_days_after_sale: None,
        },
        own: Vec::new(),
    }
}
